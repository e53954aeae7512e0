"""A wind as lines of the terminal: its levels, how well it is known, what was assumed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from driftmap.air.wind import WindLevel, WindProfile
from driftmap.core.errors import visible
from driftmap.core.units import DIMENSIONS, ZERO_CELSIUS, show
from driftmap.winds.reading import Reading


def wind_lines(
    wind: WindProfile, gust: float | None, system: str, top: float
) -> Iterator[str]:
    """Tell a merged wind up to a height [m]; ``gust``: the one that counts [m s⁻¹]."""
    yield from _levels(wind.levels, system, top)
    age = "no source is dated"
    if wind.age is not None:
        age = f"oldest dated source {wind.age:.1f} h from the flight"
    gusts = f"; gusts to {show(gust, 'speed', system)} count" if gust else ""
    yield f"known to {show(wind.known_to, 'length', system)}; {age}{gusts}"
    undated = "{} does not say when it was read; give --read-at"
    for note in (*map(undated.format, wind.undated), *wind.warned):
        yield f"holds: {visible(note)}"
    yield from _notes(wind.assumed)


def decoded_lines(
    readings: Sequence[Reading], system: str, top: float
) -> Iterator[str]:
    """Tell what each report says by itself, up to a height [m]."""
    for one in readings:
        yield f"{visible(one.source)}{_air(one, system)}\n"
        yield from _levels(one.levels, system, top)
    yield from _notes(note for one in readings for note in one.assumed)


def _levels(levels: Sequence[WindLevel], system: str, top: float) -> Iterator[str]:
    shown = [level for level in levels if level.height <= top] or levels[:1]
    yield _table(shown, system)
    if len(shown) < len(levels):
        left, high = len(levels) - len(shown), show(top, "length", system)
        yield f"and {left} levels above {high}; --top shows them"
    yield ""


def _notes(notes: Iterable[str]) -> Iterator[str]:
    return (f"assumed: {visible(note)}" for note in dict.fromkeys(notes))


def _air(reading: Reading, system: str) -> str:
    """Tell the temperature and pressure that a surface report gives."""
    text = ""
    kelvin = reading.levels[0].temperature
    if reading.kind == "surface" and kelvin is not None:
        celsius = kelvin - ZERO_CELSIUS
        us = f"{celsius * 1.8 + 32:.0f} °F"
        text += f", {us if system == 'us' else f'{celsius:.0f} °C'}"
    if reading.pressure is not None:
        us = f"{reading.pressure / DIMENSIONS['pressure']['inHg']:.2f} inHg"
        text += f", {us if system == 'us' else f'{reading.pressure / 100:.0f} hPa'}"
    return text


def _table(levels: Iterable[WindLevel], system: str) -> str:
    """Set levels as a table in the units picked, the highest first, as the sky is."""
    head = ("height", "from", "speed", "gust", "source")
    rows = [_cells(level, system) for level in reversed(list(levels))]
    widths = [max(len(row[i]) for row in (head, *rows)) for i in range(4)]
    return "\n".join(
        "  ".join([*(c.rjust(w) for c, w in zip(row, widths, strict=False)), row[4]])
        for row in (head, *rows)
    )


def _cells(level: WindLevel, system: str) -> tuple[str, ...]:
    if level.speed == 0:
        bearing = "calm"
    elif level.direction is None:
        bearing = "variable"
    else:
        bearing = f"{round(math.degrees(level.direction)) or 360:03d}°"
    return (
        show(level.height, "length", system),
        bearing,
        show(level.speed, "speed", system),
        "" if level.gust is None else show(level.gust, "speed", system),
        "".join(c if c.isprintable() else "?" for c in level.source),
    )
