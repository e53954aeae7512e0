"""Plans as pictures: limits by direction, pads of a layout, the hours of a season."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Final

import numpy as np

from driftmap.core.units import DIMENSIONS, show, unit_of
from driftmap.ground.areas import Area, Site
from driftmap.planning.layout import Place
from driftmap.planning.shares import GoShare
from driftmap.planning.windlimits import DirectionLimit
from driftmap.report.frames import Frame
from driftmap.report.marks import LETTERS, ring_step
from driftmap.report.page import printable, svg
from driftmap.report.plates import Room, widths
from driftmap.report.sentences import subject
from driftmap.report.voice import Voice
from driftmap.report.words import least_told, most_told

_SIZE, _REACH = 640.0, 250.0
_ROOM: Final = 0.9
"""Of the reach: beyond it there is no room for a letter."""


def dial_svg(
    limits: Sequence[DirectionLimit], most: float, voice: Voice, share: float
) -> str:
    """Draw wind limits about the compass, each wedge to where the wind comes from.

    ``most``: speed at the rim [m s⁻¹]; ``share``: wind at head height for each of that,
    as the speeds are told.
    Raises `ValueError` if there are no limits or the rim is not a positive speed.
    """
    if not limits or not most > 0:
        raise ValueError("'limits' must not be empty and 'most' be positive")
    half = 180.0 / len(limits)
    wedges = "".join(_wedges(limit, half, most, voice, share) for limit in limits)
    letters = _held_letters(beyond(limit, voice) for limit in limits)
    wedges += "".join(_letter(limit, letters, most, voice) for limit in limits)
    middle = _SIZE / 2
    start = f'<g transform="translate({middle:.0f} {middle:.0f})">{wedges}'
    parts = [start, *_rings(most * share, half, voice), *_compass(voice), "</g>"]
    look, name = 'class="dial" role="group"', voice.say("plan.limits_name")
    return svg((0, 0, _SIZE, _SIZE), name, parts, look)


def _wedges(
    limit: DirectionLimit, half: float, most: float, voice: Voice, share: float
) -> str:
    def speed(value: float, toward: Callable[..., float] = most_told) -> str:
        # Never milder than what was judged.
        told = toward(value * share, voice.units, 0.1)
        return voice.number(show(told, "speed", voice.units, digits=1))

    at = limit.from_deg
    named = f"{at:.0f}°"
    if limit.problem:
        why = voice.say("plan.wedge_unknown", at=named)
        return _wedge(at, half, 0.0, _REACH, "dark", why)

    def said(told: str) -> str:
        what = subject(limit.held_by, voice)
        return voice.say("plan.dot_held", told=told, what=what) if what else told

    none = "" if limit.go else said(voice.say("plan.wedge_not", at=named))
    found = [_wedge(at, half, 0.0, _REACH, "rest", none)]
    for span in limit.go:
        low, high = span
        lightest = limit.from_lightest(span)
        kind, low = ("go", 0.0) if lightest else ("once", low)
        ends = {"low": speed(low, least_told), "high": speed(high)}
        told = said(voice.say("plan.wedge", at=named, **ends))
        reach = (low / most * _REACH, max(high / most * _REACH, 2.0))
        found.append(_wedge(at, half, *reach, kind, told))
    return "".join(found)


def _letter(
    limit: DirectionLimit,
    letters: Mapping[str, tuple[str, int]],
    most: float,
    voice: Voice,
) -> str:
    """Write what holds into the ground beyond the strongest go."""
    letter, _ = letters.get(beyond(limit, voice), ("", 0))
    reached = max((high for _, high in limit.go), default=0.0) / most
    if not letter or reached > _ROOM:
        return ""
    x, y = _point((1 + reached) / 2 * _REACH, limit.from_deg)
    return f'<text class="held" x="{x:.1f}" y="{y:.1f}">{letter}</text>'


def _wedge(
    at: float, half: float, inner: float, outer: float, kind: str, told: str
) -> str:
    wide = 1 if half > 90 else 0
    half = min(half, 179.99)
    corners = [
        _point(radius, at + turn)
        for radius, turn in (
            (inner, -half),
            (outer, -half),
            (outer, half),
            (inner, half),
        )
    ]
    (a, b), (c, d), (e, f), (g, h) = corners
    path = (
        f"M{a:.1f} {b:.1f}L{c:.1f} {d:.1f}A{outer:.1f} {outer:.1f} 0 {wide} 1 {e:.1f} "
        f"{f:.1f}L{g:.1f} {h:.1f}A{inner:.1f} {inner:.1f} 0 {wide} 0 {a:.1f} {b:.1f}Z"
    )
    title = f"<title>{printable(told)}</title>" if told else ""
    return f'<path class="{kind}" d="{path}">{title}</path>'


def _point(radius: float, bearing: float) -> tuple[float, float]:
    angle = math.radians(bearing)
    return radius * math.sin(angle), -radius * math.cos(angle)


def _rings(most: float, half: float, voice: Voice) -> Iterable[str]:
    unit = unit_of("speed", voice.units)
    size = DIMENSIONS["speed"][unit]
    step = 5.0 if voice.units == "us" else 2.0
    for i in range(1, int(most / size / step + 1e-3) + 1):
        radius = i * step * size / most * _REACH
        x, y = _point(radius, half)  # between wedges, whose middles bear letters
        yield (
            f'<circle class="ring" r="{radius:.1f}"/>'
            f'<text x="{x:.1f}" y="{y + 15:.1f}">{i * step:.0f} {unit}</text>'
        )


def _compass(voice: Voice) -> Iterable[str]:
    for i in range(8):
        name = voice.point(math.radians(45.0 * i))
        x, y = _point(_REACH + 28, 45.0 * i)
        yield f'<text x="{x:.1f}" y="{y + 5:.1f}">{printable(name)}</text>'


_WIDTH: Final = 900.0
_LETTER_SIZES: Final = (13, 30)
"""Sizes of letters: on a wide screen, and on a phone, which shrinks the picture."""

_STEPS: Final = 5
"""Steps of colour for the share that is go; the style has them, by day and by night."""


def layout_svg(site: Site, places: Sequence[Place], best: int, voice: Voice) -> str:
    """Draw candidates over the ground, north up, the first ``best`` of them numbered.

    Result: an ``svg`` element; every text is escaped.
    """
    west, south, east, north = site.boundary.bounds
    view = Frame(west, north, _WIDTH / max(east - west, north - south))
    size = ((east - west) * view.scale + 40, (north - south) * view.scale + 40)
    people = [a for a in site.areas if a.occupied]
    letters = _held_letters(held_of(place, voice) for place in places)
    drawn = [
        (site.boundary, "field", voice.say("map.edge")),
        *((a.shape, "people" if a.occupied else "area", a.name) for a in site.areas),
    ]
    parts = [
        *(
            f'<path class="{kind}" fill-rule="evenodd" d="{view.path(shape)}">'
            f"<title>{printable(name)}</title></path>"
            for shape, kind, name in drawn
        ),
        *(_dot(view, place, letters, voice) for place in places),
        *_numbers(view, [p for p in places if not p.broken][:best]),
        *(
            line
            for each in _LETTER_SIZES
            for line in _called(view, size, people, places, each, voice)
        ),
        _scale(view, size[1], voice),
    ]
    each = f'style="--each:{_apart(places) * view.scale:.1f}px"'
    look, name = f'class="layout" role="group" {each}', voice.say("plan.layout_name")
    return svg((-20, -20, *size), name, parts, look)


def _apart(places: Sequence[Place]) -> float:
    """Give the spacing of candidates [m]."""
    east = np.unique([round(place.east) for place in places])
    return float(np.diff(east).min(initial=1000.0))


def _held_letters(reasons: Iterable[str]) -> dict[str, tuple[str, int]]:
    """Give each reason a letter and its count, the commonest first; the rarest share the last."""
    counts = Counter(filter(None, reasons)).most_common()
    last = len(LETTERS) - 1
    return {what: (LETTERS[min(i, last)], n) for i, (what, n) in enumerate(counts)}


def held_key(reasons: Iterable[str], voice: Voice) -> list[str]:
    """Write what holds, by the letters of a picture, if anything does."""
    letters = _held_letters(reasons)
    rows = (
        f"<li><b>{letter}</b> {printable(what)} ({voice.count(count)}×)</li>"
        for what, (letter, count) in letters.items()
    )
    title = printable(voice.say("plan.held_by"))
    key = f'<h2>{title}</h2><ul class="held-key">{"".join(rows)}</ul>'
    return [key] if letters else []


def held_of(place: Place, voice: Voice) -> str:
    """Say what holds a candidate, the figures of a rule left out."""
    if place.broken:
        return place.broken[0].partition(": ")[0]
    return subject(place.held_by, voice) if place.go < 1 else ""


def beyond(limit: DirectionLimit, voice: Voice) -> str:
    """Say what holds beyond a limit."""
    return "" if limit.problem else subject(limit.held_by, voice)


def _called(
    view: Frame,
    size: tuple[float, float],
    areas: Sequence[Area],
    places: Sequence[Place],
    letters: int,
    voice: Voice,
) -> Iterable[str]:
    """Write names beside areas, clear of all areas, of candidates, of each other and the scale."""
    grounds = [view.pixels(area.shape) for area in areas]
    room = Room(grounds, size=(size[0] - 24, size[1] - 24))
    long, told = _bar(view, voice)
    right = long + 16 + widths(told, 0.7 * letters)
    room.take((0.0, size[1] - 40 - letters, right, size[1]))
    for ground in grounds:
        room.take(ground.bounds)
    for place in places:
        room.take_point(*view.spot(place.east, place.north), 0.6 * letters)
    kind = f"called at-{letters}"
    for i, area in enumerate(areas):
        box = (widths(area.name, 0.62 * letters), 1.3 * letters)
        plate = room.place(i, box)
        if plate is None:  # over other names nobody reads it: a tap tells it
            continue
        if plate.lead is not None:
            (x, y), (u, v) = plate.lead.coords
            yield f'<path class="{kind} lead" d="M{x:.0f} {y:.0f}L{u:.0f} {v:.0f}"/>'
        yield (
            f'<text class="{kind}" x="{plate.left:.0f}" y="{plate.top + letters:.0f}">{printable(area.name)}</text>'
        )


def _bar(view: Frame, voice: Voice) -> tuple[float, str]:
    """Give a round length in the picture, and tell it."""
    metres = ring_step(_WIDTH / view.scale, voice.units)
    return metres * view.scale, voice.exact_distance(metres)


def _scale(view: Frame, foot: float, voice: Voice) -> str:
    """Draw a bar of a round length above the foot of the picture."""
    (long, told), y = _bar(view, voice), foot - 36
    return (
        f'<path class="scale" d="M0 {y - 6:.0f}V{y:.0f}H{long:.0f}V{y - 6:.0f}"/>'
        f'<text x="{long + 8:.0f}" y="{y:.0f}">{printable(told)}</text>'
    )


def _dot(
    view: Frame, place: Place, letters: Mapping[str, tuple[str, int]], voice: Voice
) -> str:
    x, y = view.spot(place.east, place.north)
    spot = f'cx="{x:.1f}" cy="{y:.1f}" r="5"'
    letter, _ = letters.get(held_of(place, voice), ("", 0))
    step = min(int(place.go * _STEPS), _STEPS - 1)
    light = " light" if step >= _DARK and not place.broken else ""
    mark = f'<text class="held{light}" x="{x:.1f}" y="{y:.1f}">{letter}</text>'
    if place.broken:
        told = printable(place.broken[0])
        return f'<circle class="barred" {spot}><title lang="en">{told}</title></circle>{mark}'
    told = voice.say(
        "plan.dot",
        share=voice.percent(place.go),
        distance=voice.exact_away(place.to_people),
    )
    if what := subject(place.held_by, voice):
        told = voice.say("plan.dot_held", told=told, what=what)
    return (
        f'<circle class="dot step-{step}" {spot}><title>{printable(told)}</title>'
        f"</circle>{mark if letter else ''}"
    )


def _numbers(view: Frame, places: Sequence[Place]) -> Iterable[str]:
    for rank, place in enumerate(places, 1):
        x, y = view.spot(place.east, place.north)
        yield (
            f'<circle class="best" cx="{x:.1f}" cy="{y:.1f}" r="8"/>'
            f'<g class="rank" transform="translate({x:.1f} {y:.1f})"><circle/>'
            f"<text>{rank}</text></g>"
        )


_LEFT, _TOP, _CELL, _ROW = 46.0, 28.0, 30.0, 26.0
_DARK: Final = 3  # fills from here on take figures of the paper's colour
_LEAST_KNOWN: Final = 0.5


def season_svg(cells: Mapping[tuple[int, int], GoShare], voice: Voice) -> str:
    """Draw the share of hours that were go, by month, 1 to 12, and hour of the day.

    Figures are percent of the known hours; a dashed frame marks a cell of which less than
    half is known. Hours before the first and after the last known of any day are left out.
    """
    known = [hour for (_, hour), share in cells.items() if share.known] or [0, 23]
    shown = range(min(known), max(known) + 1)
    width, height = _LEFT + len(shown) * _CELL + 10, _TOP + 12 * _ROW + 10
    hours = (
        f'<text x="{_LEFT + (i + 0.5) * _CELL:.0f}" y="{_TOP - 10:.0f}">{hour:02d}</text>'
        for i, hour in enumerate(shown)
    )
    names = (
        f'<text x="22" y="{_TOP + (m + 0.65) * _ROW:.0f}">{printable(name)}</text>'
        for m, name in enumerate(months(voice))
    )
    drawn = (
        _cell(i, month, hour, cells.get((month, hour)), voice)
        for month in range(1, 13)
        for i, hour in enumerate(shown)
    )
    look = f'class="year" role="group" style="--hours:{len(shown)}"'
    name = voice.say("plan.season_name")
    return svg((0, 0, width, height), name, [*hours, *names, *drawn], look)


def months(voice: Voice) -> list[str]:
    """Name the months, January first."""
    names = voice.say("plan.months").split()
    return names if len(names) == 12 else [str(n) for n in range(1, 13)]


def _cell(
    column: int, month: int, hour: int, share: GoShare | None, voice: Voice
) -> str:
    x, y = _LEFT + column * _CELL, _TOP + (month - 1) * _ROW
    box = f'x="{x + 1:.0f}" y="{y + 1:.0f}" width="{_CELL - 2:.0f}" height="{_ROW - 2:.0f}"'
    if share is None or not share.known:
        return f'<rect class="none" {box}><title>{printable(voice.say("plan.not_known"))}</title></rect>'
    step = min(int(share.share * _STEPS), _STEPS - 1)
    thin = " thin" if share.coverage < _LEAST_KNOWN else ""
    told = voice.say(
        "plan.cell",
        month=months(voice)[month - 1],
        hour=f"{hour:02d}",
        share=voice.percent(share.share),
        known=voice.count(share.known),
        low=voice.percent(share.lower),
        high=voice.percent(share.upper),
        coverage=voice.percent(share.coverage),
    )
    light = "light" if step >= _DARK else "figure"
    return (
        f'<rect class="step-{step}{thin}" {box}><title>{printable(told)}</title></rect>'
        f'<text class="{light}" x="{x + _CELL / 2:.0f}" y="{y + _ROW * 0.65:.0f}">'
        f"{share.share * 100:.0f}</text>"
    )
