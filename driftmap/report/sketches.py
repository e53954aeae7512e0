"""Plans as pictures: limits by direction, the hours of a season, and what holds by its letter."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Final

from driftmap.core.units import DIMENSIONS, show, unit_of
from driftmap.planning.shares import GoShare
from driftmap.planning.windlimits import DirectionLimit
from driftmap.report.marks import LETTERS
from driftmap.report.page import printable, svg
from driftmap.report.sentences import subject
from driftmap.report.voice import Voice
from driftmap.report.words import rounded_down, rounded_up

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
    letters = held_letters(beyond(limit, voice) for limit in limits)
    wedges += "".join(_letter(limit, letters, most, voice) for limit in limits)
    middle = _SIZE / 2
    start = f'<g transform="translate({middle:.0f} {middle:.0f})">{wedges}'
    parts = [start, *_rings(most * share, half, voice), *_compass(voice), "</g>"]
    look, name = 'class="dial" role="group"', voice.say("plan.limits_name")
    return svg((0, 0, _SIZE, _SIZE), name, parts, look)


def _wedges(
    limit: DirectionLimit, half: float, most: float, voice: Voice, share: float
) -> str:
    def speed(value: float, toward: Callable[..., float] = rounded_down) -> str:
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
        ends = {"low": speed(low, rounded_up), "high": speed(high)}
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


def held_letters(reasons: Iterable[str]) -> dict[str, tuple[str, int]]:
    """Give each reason a letter and its count, the commonest first; the rarest share the last."""
    counts = Counter(filter(None, reasons)).most_common()
    last = len(LETTERS) - 1
    return {what: (LETTERS[min(i, last)], n) for i, (what, n) in enumerate(counts)}


def held_key(reasons: Iterable[str], voice: Voice) -> list[str]:
    """Write what holds, by the letters of a picture, if anything does."""
    letters = held_letters(reasons)
    rows = (
        f"<li><b>{letter}</b> {printable(what)} ({voice.count(count)}×)</li>"
        for what, (letter, count) in letters.items()
    )
    title = printable(voice.say("plan.held_by"))
    key = f'<h2>{title}</h2><ul class="held-key">{"".join(rows)}</ul>'
    return [key] if letters else []


def beyond(limit: DirectionLimit, voice: Voice) -> str:
    """Say what holds beyond a limit."""
    return "" if limit.problem else subject(limit.held_by, voice)


STEPS: Final = 5
"""Steps of colour for the share that is go; the style has them, by day and by night."""

DARK: Final = 3
"""Step from which on a fill takes letters of the paper's colour."""

_LEFT, _TOP, _CELL, _ROW = 46.0, 28.0, 30.0, 26.0
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
    step = min(int(share.share * STEPS), STEPS - 1)
    thin = " thin" if share.coverage < _LEAST_KNOWN else ""
    text = voice.say(
        "plan.cell",
        month=months(voice)[month - 1],
        hour=f"{hour:02d}",
        share=voice.percent(share.share),
        known=voice.count(share.known),
        low=voice.percent(share.lower),
        high=voice.percent(share.upper),
        coverage=voice.percent(share.coverage),
    )
    light = "light" if step >= DARK else "figure"
    return (
        f'<rect class="step-{step}{thin}" {box}><title>{printable(text)}</title></rect>'
        f'<text class="{light}" x="{x + _CELL / 2:.0f}" y="{y + _ROW * 0.65:.0f}">'
        f"{share.share * 100:.0f}</text>"
    )
