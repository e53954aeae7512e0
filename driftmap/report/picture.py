"""The field from above as one plain picture: two zones, the people, pad, wind, north."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Final

import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.hazard.zones import Zone
from driftmap.report.instruct import Watch
from driftmap.report.marks import in_sight, ring_step
from driftmap.report.page import text_of
from driftmap.report.plates import HEIGHT, WIDTH, Frame, Plate, Room, fit, ticks, widths
from driftmap.report.reasons import zone_lines
from driftmap.report.sheetfacts import Spot
from driftmap.report.voice import Voice
from driftmap.report.windsketch import broad_arrow
from driftmap.report.windtold import CALM, where_read, wind_as_read
from driftmap.verdict.assessment import Assessment
from driftmap.verdict.check import OUTCOMES

__all__ = ["drawn_kinds", "field_image", "field_picture"]

_WAYS: Final = ("road", "railway", "power line")
_MOST_NAMES: Final = 6
"""People's places that bear their names; where there are more, all bear numbers alone."""

_TOLD: Final = 74.0
"""Height of a zone's word with what falls there below it."""

_LONGEST: Final = 22  # characters of a name in the picture
_SIGNS: Final = {"pass": "", "warn": "! ", "fail": "✕ "}


def field_picture(seen: Watch) -> str:
    """Draw the plan; people bear their number in the order of the places.

    Result: an ``svg`` element; every name from a file is escaped.
    """
    a, places, zones, voice = seen.told, seen.places, seen.drawn, seen.voice
    people = [spot for spot in places if spot.stand]
    frame = _frame(people, zones)
    parts = [_PATTERNS, f'<rect class="ground" width="{WIDTH:g}" height="{HEIGHT:g}"/>']
    # Danger lies over caution: where both fall, the worse one counts.
    for zone in reversed(zones):
        parts.append(_shape(f"zone {zone.kind}", frame, zone.shape))
        parts.append(_shape(f"hatch {zone.kind}", frame, zone.shape))
    parts += _field_edge(frame, a.site.boundary)
    for spot in places:
        if not spot.stand:
            parts += _closed(frame, spot)
    parts += [_shape(f"people {s.seen}", frame, s.area.shape) for s in people]
    danger = shapely.union_all([z.shape for z in zones if z.kind == "danger"])
    grounds = [frame.pixels(spot.area.shape) for spot in people]
    room = Room(grounds, frame.pixels(danger))
    room.take(*_corners(a), (0.0, HEIGHT - 44, _scale(frame, voice)[1], HEIGHT))
    room.take_point(*frame.spot(0.0, 0.0), 18.0)
    parts += [_pad(frame), _north(voice), _scale(frame, voice)[0], _wind(a, voice)]
    words = _words(frame, zones, room, a, voice)
    parts += [*_names(frame, people, room, voice), *words]
    name = escape(voice.say("picture.name"))
    return (
        f'<svg class="plan" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" '
        f'aria-label="{name}">{"".join(parts)}</svg>'
    )


def field_image(seen: Watch) -> str:
    """Give the plan as a file of its own, with its style."""
    start, rest = field_picture(seen).split(">", 1)
    styles = "\n".join(text_of(name) for name in ("look.css", "picture.css"))
    own = "text { font-family: sans-serif; } svg.plan { border: 0; }"
    style = f"<style><![CDATA[{styles}\n{own}]]></style>"
    return f'{start} xmlns="http://www.w3.org/2000/svg">{style}{rest}'


_PATTERNS: Final = (
    '<defs><pattern id="no-entry" width="10" height="10" patternUnits="userSpaceOnUse">'
    '<circle class="grain" cx="3" cy="3" r="1.5"/></pattern>'
    '<pattern id="stripes" width="14" height="14" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate(45)"><path class="stripe" d="M0 0V14"/></pattern></defs>'
)


def _frame(people: Sequence[Spot], zones: Sequence[Zone]) -> Frame:
    """Show pad and people whole, and zones unless they dwarf everything."""
    near = [s.area.shape for s in people if in_sight(s.area.shape, zones)]
    return fit(shapely.union_all(near), [zone.shape for zone in zones])


def drawn_kinds(told: Watch) -> frozenset[str]:
    """Say what is in the picture, so that its legend names nothing else."""
    people = [spot for spot in told.places if spot.stand]
    seen = _frame(people, told.drawn).box()
    boundary = told.told.site.boundary.boundary
    kinds = {"boundary"} if boundary.intersects(seen) else set()
    for spot in told.places:
        if spot.area.shape.intersects(seen):
            way = "way" if spot.area.role in _WAYS else "closed"
            kinds.add("people" if spot.stand else way)
    return frozenset(kinds)


def _shape(kind: str, frame: Frame, shape: BaseGeometry) -> str:
    path = frame.path(frame.seen(shape))
    return f'<path class="{kind}" d="{path}"/>' if path else ""


def _field_edge(frame: Frame, boundary: BaseGeometry) -> list[str]:
    """Draw the edge of the field with ticks that point inward."""
    line = frame.seen(boundary.boundary, grow=0.0)
    if line.is_empty:
        return []
    return [
        f'<path class="edge" d="{frame.line(line)}"/>',
        f'<path class="tick" d="{ticks(frame, boundary)}"/>',
    ]


def _closed(frame: Frame, spot: Spot) -> list[str]:
    """Draw ground to keep off; a road is two lines, never one that looks like an edge."""
    kinds = ("way", "lane") if spot.area.role in _WAYS else ("closed",)
    return [_shape(kind, frame, spot.area.shape) for kind in kinds]


def _corners(a: Assessment) -> list[tuple[float, float, float, float]]:
    """Give the corners that wind and north stand in."""
    wind, _ = wind_as_read(a.wind)
    found = [(WIDTH - 62, 0.0, WIDTH, 76.0)]
    return [*found, (0.0, 0.0, 250.0, 92.0)] if wind.speed > CALM else found


def _names(frame: Frame, people: Sequence[Spot], room: Room, voice: Voice) -> list[str]:
    """Set a plate for every place with people: failing ones first, none is dropped."""
    order = sorted(range(len(people)), key=lambda i: -OUTCOMES.index(people[i].seen))
    plates = []
    for i in order:
        spot, number = people[i], str(i + 1)
        ground = shapely.intersection(spot.area.shape, frame.box())
        if ground.is_empty:
            continue  # far off: the list beside the picture tells where
        aim = ground.representative_point()
        text = ""
        if len(people) <= _MOST_NAMES:
            name = spot.area.name
            text = name if len(name) <= _LONGEST else f"{name[: _LONGEST - 1]}…"
            if spot.area.people:
                text += f" · {voice.count(spot.area.people)}"
            text = f"{_SIGNS[spot.seen]}{text}"
        sizes = [(34.0 + widths(text), 30.0)] if text else []
        plate, which = room.place(
            frame.spot(aim.x, aim.y), [*sizes, (30.0, 30.0)], own=i
        )
        told = text if which < len(sizes) else ""
        plates.append((plate, number, told, spot.seen))
    leads = [plate.leader() for plate, *_ in plates]
    return [*leads, *(_plate(*told) for told in plates)]


def _plate(plate: Plate, number: str, text: str, outcome: str) -> str:
    x, y = plate.left, plate.top
    box = (
        f'x="{x:.1f}" y="{y:.1f}" width="{plate.width:.1f}" height="{plate.height:.1f}"'
    )
    words = (
        f'<text class="who" x="{x + 31:.1f}" y="{y + 21:.1f}"><tspan>{escape(text)}'
        "</tspan></text>"
        if text
        else ""
    )
    return (
        f'<g class="name {outcome}"><rect {box} rx="4"/>'
        f'<circle cx="{x + 15:.1f}" cy="{y + 15:.1f}" r="12"/>'
        f'<text class="number" x="{x + 15:.1f}" y="{y + 21:.1f}">{number}</text>{words}</g>'
    )


def _words(
    frame: Frame, zones: Sequence[Zone], room: Room, a: Assessment, voice: Voice
) -> list[str]:
    """Write the signal word and what falls into each zone, where there is room for it."""
    parts: list[str] = []
    above = shapely.union_all(room.grounds)
    for zone in zones:
        lines = zone_lines(a.flight, zone, voice)
        word = voice.say(f"zone.{zone.kind}")
        short = widths(word, 13.5) + 24
        wide = max(short, *(widths(line, 9.6) for line in lines))
        shape = frame.pixels(zone.shape)
        free = shapely.difference(shape, above)
        ground = free if not free.is_empty else shape
        plate = room.inside(ground, [(wide, _TOLD), (short, 30.0)])
        told = lines if plate.height == _TOLD else []
        parts.append(_signal(plate, zone.kind, word, told))
        above = shapely.union(above, shape)
    return parts


def _signal(plate: Plate, kind: str, word: str, lines: Sequence[str]) -> str:
    middle = plate.left + plate.width / 2
    half = (widths(word, 13.5) + 24) / 2
    told = "".join(
        f'<text x="{middle:.1f}" y="{plate.top + 48 + 20 * i:.1f}">{escape(line)}</text>'
        for i, line in enumerate(lines)
    )
    return (
        f'<g class="signal {kind}"><rect x="{middle - half:.1f}" y="{plate.top:.1f}" '
        f'width="{2 * half:.1f}" height="30" rx="3"/><text class="word" '
        f'x="{middle:.1f}" y="{plate.top + 22:.1f}">{escape(word)}</text>{told}</g>'
    )


def _pad(frame: Frame) -> str:
    x, y = frame.spot(0.0, 0.0)
    return (
        f'<g class="pad" transform="translate({x:.1f} {y:.1f})"><circle r="9"/>'
        '<path d="M-16 0H16M0 -16V16"/></g>'
    )


def _north(voice: Voice) -> str:
    return (
        f'<rect class="corner" x="{WIDTH - 62:g}" width="62" height="76"/>'
        f'<g class="north" transform="translate({WIDTH - 34:g} 34)">'
        '<path d="M0 -24L11 14L0 6L-11 14Z"/>'
        f'<text y="34">{escape(voice.say("picture.north"))}</text></g>'
    )


def _scale(frame: Frame, voice: Voice) -> tuple[str, float]:
    """Draw the scale, and say how far it reaches from the left."""
    length = ring_step(WIDTH / frame.scale, voice.units)
    width, told = length * frame.scale, voice.distance(length)
    bar = (
        f'<rect class="corner" y="{HEIGHT - 36:g}" width="{22 + width + widths(told, 12.0):.0f}" height="36"/>'
        f'<g class="scale" transform="translate(14 {HEIGHT - 14:g})">'
        f'<path d="M0 -8V0H{width:.1f}V-8"/>'
        f'<text x="{width + 8:.1f}" y="0">{escape(told)}</text></g>'
    )
    return bar, 22 + width + widths(told, 12.0)


def _wind(a: Assessment, voice: Voice) -> str:
    """Draw the wind as a broad arrow in the corner, blowing over the field."""
    read, mast = wind_as_read(a.wind)
    if read.speed <= CALM:
        return ""
    if arrow := broad_arrow(read):
        arrow = f'<g class="wind" transform="translate(48 48)">{arrow}</g>'
    high = voice.say(
        "picture.mast",
        speed=voice.speed(mast.speed),
        height=voice.distance(mast.height),
    )
    first = " ".join([voice.say("picture.wind"), voice.speed(read.speed)])
    where = where_read(read, voice)
    wide = 104 + max(widths(first, 12.5), widths(where), widths(high))
    return (
        f'<rect class="corner" width="{wide:.0f}" height="88"/>'
        f'{arrow}<text class="say" x="94" y="30">{escape(first)}</text>'
        f'<text class="say small" x="94" y="52">{escape(where)}</text>'
        f'<text class="say small" x="94" y="72">{escape(high)}</text>'
    )
