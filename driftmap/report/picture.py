"""The field from above as one plain picture: two zones, the people, pad, wind, north."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from html import escape
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.ground.areas import PAD
from driftmap.report.corners import north_sign, scale_bar, wind_sign
from driftmap.report.frames import SHEET, Frame, Size, field_edge, fit
from driftmap.report.instructions import Watch
from driftmap.report.marks import DRAWN_KINDS, middle_of
from driftmap.report.page import text_of
from driftmap.report.plates import Drawn, Room, widths
from driftmap.report.positions import farthest, reach_of, to_clear, ways
from driftmap.report.reasons import zone_lines
from driftmap.report.sheetfacts import Spot
from driftmap.report.tails import Plate

POSTER: Final = (560.0, 390.0)
"""Size of the poster's picture: the fewer points, the larger its words."""

_NUMBER: Final = (25.0, 25.0)
"""Size of a plate that bears a number alone."""

_CLEAR: Final = 56.0
"""How far behind clear ground's edge its word is best."""

_ROUND: Final = 2000.0
"""A circle so large is straight on a picture."""

_ARROW: Final = 20.0
"""So much wider is a plate that bears an arrow."""

_TOLD: Final = 74.0
"""Height of a zone's word with what falls there below it."""


def field_picture(seen: Watch, size: Size = SHEET) -> str:
    """Draw the plan; people bear their number in the order of the places.

    Result: an ``svg`` element; every name from a file is escaped.
    """
    a, voice = seen.told, seen.voice
    people = [spot for spot in seen.places if spot.stand]
    frame = fit(seen.opening, size)
    room = _room(frame, seen, people)
    ends = shapely.union_all([frame.pixels(way.line) for way in ways(seen)])
    about = ends.buffer(2 * _CLEAR)
    corners = [
        wind_sign(a, voice, room, about),
        north_sign(voice, room, about),
        scale_bar(frame, voice, room, about),
    ]
    words = _words(frame, seen, room)
    sent = {way.name: math.radians(way.pointed) for way in ways(seen)}
    numbers = _numbers(people, sent, room)
    clear = _clear(frame, seen, room)
    names = [*numbers, *clear, *_line_names(frame, seen, room)]
    drawn = [*_ground(frame, seen, people), _pad(frame), *corners]
    wide, high = size
    name = escape(voice.say("picture.name"))
    return (
        f'<svg class="plan" viewBox="0 0 {wide:g} {high:g}" role="img" '
        f'aria-label="{name}">{_PATTERNS}{"".join([*drawn, *names, *words])}</svg>'
    )


def _ground(frame: Frame, seen: Watch, people: Sequence[Spot]) -> list[str]:
    """Draw zones, lines and areas, the ground of people last."""
    wide, high = frame.size
    parts = [f'<rect class="ground" width="{wide:g}" height="{high:g}"/>']
    # Danger lies over caution: where both fall, the worse one counts.
    for zone in reversed(seen.drawn):
        parts.append(_shape(f"zone {zone.kind}", frame, zone.shape))
        parts.append(_shape(f"hatch {zone.kind}", frame, zone.shape))
    parts += field_edge(frame, seen.told.site.boundary)
    for kind, line in _lines(seen).items():
        if kind != "boundary":
            path = frame.line(frame.seen(line))
            parts.append(f'<path class="{kind}" d="{path}"/>' if path else "")
    for spot in seen.places:
        if not spot.stand:
            parts += _closed(frame, spot)
    return [*parts, *(_shape(f"people {s.seen}", frame, s.area.shape) for s in people)]


def _lines(seen: Watch) -> dict[str, BaseGeometry]:
    """Return the edges that are drawn as lines and named."""
    site = seen.told.site
    found = {"boundary": site.boundary.boundary, "waiver": site.waiver.shape.boundary}
    if seen.astray:
        found["astray"] = PAD.buffer(seen.astray, 24).exterior
    return found


def _room(frame: Frame, seen: Watch, people: Sequence[Spot]) -> Room:
    """Say what names must not hide."""
    x, y = frame.spot(0.0, 0.0)
    box = frame.pixels(frame.box())
    zone = {z.kind: frame.pixels(z.shape) for z in seen.drawn}
    closed = (s.area.shape for s in seen.places if not s.stand)
    keep = shapely.union_all([*closed, *_lines(seen).values()])
    drawn = Drawn(**zone, keep=frame.pixels(keep), pad=shapely.Point(x, y).buffer(9.0))
    grounds = [box & frame.pixels(spot.area.shape) for spot in people]
    room = Room(grounds, drawn, frame.size)
    room.take_point(x, y, 18.0)
    return room


def field_image(seen: Watch) -> str:
    """Return the plan as a file of its own, with its style."""
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


def drawn_kinds(seen: Watch) -> frozenset[str]:
    """Say what is in the sheet's picture, so that its legend names nothing else."""
    box = fit(seen.opening, SHEET).box()
    kinds = {kind for kind, line in _lines(seen).items() if line.intersects(box)}
    for spot in seen.places:
        if spot.area.shape.intersects(box):
            kinds.add("people" if spot.stand else _kind(spot))
    return frozenset(kinds)


def _kind(spot: Spot) -> str:
    """Say how ground that nobody is in is drawn; on paper water is closed ground."""
    kind = DRAWN_KINDS.get(spot.area.role, "keep")
    return "closed" if kind in ("keep", "water") else kind


def _shape(kind: str, frame: Frame, shape: BaseGeometry) -> str:
    path = frame.path(frame.seen(shape))
    return f'<path class="{kind}" d="{path}"/>' if path else ""


def _closed(frame: Frame, spot: Spot) -> list[str]:
    """Draw ground to keep off; a road is two lines, a railway bears ties, a power line masts."""
    kind, shape = _kind(spot), spot.area.shape
    if kind == "closed":
        return [_shape(kind, frame, shape)]
    drawn = [_shape(f"area {kind}", frame, shape)]
    if kind == "road":
        return [*drawn, _shape("lane", frame, shape)]
    beads = shapely.MultiLineString(
        [line for line in middle_of(shape) if len(line) > 1]
    )
    return [*drawn, f'<path class="beads {kind}" d="{frame.line(frame.seen(beads))}"/>']


def _numbers(
    people: Sequence[Spot], sent: Mapping[str, float], room: Room
) -> list[str]:
    """Draw the number of every place that is in sight, on its ground or with a tail.

    From afar to the pad, so that those of a crowd stand in the order of their grounds. Who
    is far off stands in the list beside the picture, which names all and tells where.
    """
    seen = (i for i, ground in enumerate(room.grounds) if not ground.is_empty)
    wide, high = _NUMBER
    tails, plates = [], []
    for i in sorted(seen, key=lambda i: -people[i].distance):
        go = sent.get(people[i].area.name)
        told = people[i].kind if people[i].seen != "pass" else None
        home = getattr(room.drawn, told) if told else shapely.Polygon()
        at = room.number(i, (wide + _ARROW * (go is not None), high), home)
        tails.append(at.tail(people[i].seen))
        plates.append(_plate(at, str(i + 1), people[i].seen, go))
    return [*tails, *plates]


def _line_names(frame: Frame, seen: Watch, room: Room) -> list[str]:
    """Name each edge on its line; one out of the picture is told by the words beside it."""
    voice, parts = seen.voice, []
    ceiling = voice.exact_distance(seen.told.site.waiver.ceiling)
    words = {
        "boundary": voice.say("map.edge"),
        "waiver": voice.say("map.ceiling", height=ceiling),
        "astray": voice.say("map.astray", distance=voice.away(seen.astray)),
    }
    for kind, line in _lines(seen).items():
        size = widths(words[kind], 9.6), 20.0
        plate = room.along(frame.pixels(line), size)
        if plate is not None:
            x, y = plate.left + plate.width / 2, plate.top + 16
            told = escape(words[kind])
            parts.append(
                f'<text class="line-name" x="{x:.1f}" y="{y:.1f}">{told}</text>'
            )
    return parts


def _plate(plate: Plate, number: str, outcome: str, go: float | None) -> str:
    """Draw a number, and which way [rad] whoever must move is sent."""
    x, y, half = plate.left, plate.top, plate.height / 2
    arrow = ""
    box = (
        f'x="{x:.1f}" y="{y:.1f}" width="{plate.width:.1f}" height="{plate.height:.1f}"'
    )
    if go is not None:
        arrow, x = _arrow(x + _ARROW / 2 + 3, y + half, go), x + _ARROW
    return (
        f'<g class="name {outcome}"><rect {box} rx="{half:g}"/>'
        f'<circle cx="{x + half:.1f}" cy="{y + half:.1f}" r="{half - 3:g}"/>'
        f'<text class="number" x="{x + half:.1f}" y="{y + half + 6:.1f}">{number}</text>{arrow}</g>'
    )


def _arrow(x: float, y: float, azimuth: float) -> str:
    """Draw a broad arrow about a spot."""
    return (
        '<path class="go" d="M-8 -3H1V-8L10 0L1 8V3H-8Z" transform="translate('
        f'{x:.1f} {y:.1f}) rotate({math.degrees(azimuth) - 90:.0f})"/>'
    )


def _words(frame: Frame, seen: Watch, room: Room) -> list[str]:
    """Write into each zone its signal word, and what falls there if that has room.

    Of one that runs out of the picture, where to; how far where its reach is not in sight.
    """
    parts: list[str] = []
    worse: BaseGeometry = shapely.Polygon()
    for zone in seen.drawn:
        lines = zone_lines(seen.told.flight, zone, seen.voice)
        word = seen.voice.say(f"zone.{zone.kind}")
        told, on, box = word, None, frame.box()
        if not box.covers(zone.shape):
            end = farthest(zone.shape - box)
            on = math.atan2(end.x, end.y)
        ends = reach_of(zone.shape)
        if out := [e for e in ends if not box.covers(shapely.Point(e.east, e.north))]:
            far, on = seen.voice.away(out[0].distance), out[0].azimuth
            told = seen.voice.say("picture.beyond", zone=word, distance=far)
        short = _wide(told, on)
        sizes = [
            (max(short, *(widths(line, 9.6) for line in lines)), _TOLD),
            *(
                (wide, 30.0)
                for wide in sorted({short, _wide(word, on), _wide(word)})[::-1]
            ),
        ]
        shape = frame.pixels(zone.shape)
        plate = room.word(shape, worse, sizes)
        parts.append(plate.tail(zone.kind))
        if plate.width < short:
            told, on = word, on if plate.width >= _wide(word, on) else None
        lines = lines if plate.height == _TOLD else []
        parts.append(_signal(plate, zone.kind, told, lines, on))
        worse = shapely.union(worse, shape)
    return parts


def _wide(word: str, on: float | None = None) -> float:
    return widths(word, 13.5) + 24 + _ARROW * (on is not None)


def _clear(frame: Frame, seen: Watch, room: Room) -> list[str]:
    """Mark clear ground: where people who must move are sent, or about the nearest who may stay."""
    lines = [frame.pixels(way.line) for way in to_clear(seen)]
    if not lines:
        return []
    line = max(lines, key=shapely.length)
    word = seen.voice.say("zone.clear")
    (x, y), (u, v) = line.coords
    way = np.array([u - x, v - y]) / line.length
    # Beyond the end, so that people's numbers have room, and no way but theirs.
    spot = shapely.Point((u, v) + _CLEAR * way)
    ahead = shapely.Point((u, v) + _ROUND * way).buffer(_ROUND, 64)
    # The word may lie over a road, of which the way keeps clear.
    clear = seen.told.site.boundary - shapely.union_all([z.shape for z in seen.zones])
    ground = frame.pixels(clear & frame.box()) & ahead & spot.buffer(3 * _CLEAR)
    plate = room.inside(ground, (_wide(word), 30.0), spot)
    return [] if plate is None else [_signal(plate, "clear", word, [])]


def _signal(
    plate: Plate,
    kind: str,
    word: str,
    lines: Sequence[str],
    on: float | None = None,
) -> str:
    """Draw a word with what falls there below it, and an arrow whither [rad] it goes on."""
    middle = plate.left + plate.width / 2
    wide = _wide(word, on)
    left, arrow = middle - wide / 2, ""
    if on is not None:
        arrow = _arrow(left + wide - _ARROW / 2 - 6, plate.top + 15, on)
    text = "".join(
        f'<text x="{middle:.1f}" y="{plate.top + 48 + 20 * i:.1f}">{escape(line)}</text>'
        for i, line in enumerate(lines)
    )
    return (
        f'<g class="signal {kind}"><rect x="{left:.1f}" y="{plate.top:.1f}" '
        f'width="{wide:.1f}" height="30" rx="3"/><text class="word" '
        f'x="{middle - (_ARROW / 2 if arrow else 0):.1f}" y="{plate.top + 22:.1f}">{escape(word)}</text>{arrow}{text}</g>'
    )


def _pad(frame: Frame) -> str:
    x, y = frame.spot(0.0, 0.0)
    return (
        f'<g class="pad" transform="translate({x:.1f} {y:.1f})"><circle r="9"/>'
        '<path d="M-16 0H16M0 -16V16"/></g>'
    )
