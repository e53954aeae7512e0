"""A table of wind layers as comma-separated values; its header names the units."""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import replace
from datetime import datetime
from typing import Final

from driftmap.air.wind import WindLevel
from driftmap.errors import WindError
from driftmap.winds.law import LOG_TOP
from driftmap.winds.reading import Reading, Setting, ordered, parse_time
from driftmap.winds.sonde import NEAR, above_ground, without_doubles
from driftmap.winds.text import (
    NAMES,
    cells_of,
    check_names,
    idle,
    level_from,
    mark_of,
    nearest_name,
    number_of,
    vertical,
)
from driftmap.winds.uncertainty import FRESH_ERROR

__all__ = ["looks_like_table", "read_table", "write_table"]

MOST_LAYERS: Final = 20_000
_MAY_BE_EMPTY: Final = ("from", "gust", "error")
_TIME: Final = "time"
_FORECAST: Final = "# forecast"
_TOLD: Final = re.compile(
    r"\s*#\s*(?P<what>read|valid|based on)\s*:?\s*(?:(?:at|for)\s+)?(?P<time>\d.*)",
    re.IGNORECASE,
)


def looks_like_table(text: str) -> bool:
    """Tell whether its first line names a column of a table of layers."""
    first = next((line for line in text.splitlines() if not idle(line)), "")
    return any(name in NAMES for name in _names(first))


def _names(line: str) -> list[str]:
    return [cell.lower() for cell in cells_of(line, mark_of(line))]


def read_table(text: str, source: str, setting: Setting) -> Reading:
    """Read a table of layers.

    Parameters
    ----------
    text : str
        Header and rows, in any order, parted by commas, semicolons or tabs. Of the lines
        that start with ``#``, one says when it was read, ``# read 2026-05-09 08:10-07:00``,
        or that it is a ``# forecast``, for when, ``# valid …``, and from data of what
        time, ``# based on …``; the others are passed over.
        Columns: ``height_m`` or ``height_ft`` above the site, or ``altitude_m`` or
        ``altitude_ft`` above mean sea level; ``from_deg`` (or ``from_magnetic_deg``);
        ``speed_mps``, ``speed_mph``, ``speed_kt`` or ``speed_kmh``; optionally
        ``u_mps`` toward east and ``v_mps`` toward north in place of speed and direction;
        ``gust_`` and ``error_`` (of a component; what is less than that of a reading which
        tells none counts as that) with one of the same units, and ``time``, when each was
        read, of which the oldest counts. An empty direction is a variable
        wind, an empty gust is none.
    source : str
        Name of the file.
    setting : Setting
        Place and time of the flight.

    Returns
    -------
    Reading
        Layers; of unknown age where no time is told.

    Raises
    ------
    WindError
        If anything in it cannot be used, by its line.
    """
    lines = [(n, line) for n, line in enumerate(text.splitlines(), 1) if not idle(line)]
    if not lines:
        raise WindError(source, "", "is empty; give a header and layers")
    times = _times(text, source)
    if len(lines) > MOST_LAYERS:
        raise WindError(
            source, "", f"{len(lines)} lines; accepted are {MOST_LAYERS} at most"
        )
    mark = mark_of(lines[0][1])
    names = _header(lines[0][1], source, f"line {lines[0][0]}")
    if not lines[1:]:
        raise WindError(source, "", "has a header but no layer; give at least one")
    levels, read = [], []
    for n, line in lines[1:]:
        where = f"line {n}"
        cells = _by_name(cells_of(line, mark), names, source, where)
        if _TIME in cells:
            read.append(_time(cells.pop(_TIME), source, where))
        row = {k: _number(cell, k, source, where) for k, cell in cells.items()}
        height = vertical(row, setting, source, where, lenient=True)
        if height < -NEAR or (height < 0 and "height" in "".join(row)):
            vertical(row, setting, source, where)  # which says what is wrong
        level = level_from(row, height, setting, source, where)
        levels.append((where, _knowable(level)))
    clear, foot = above_ground(levels, source, setting)
    single, doubled = without_doubles(clear, source)
    if read and times.keys() - {"based on"}:
        raise WindError(source, "", "tells its time twice: in a column and a # line")
    return Reading(
        source=source,
        kind="aloft",
        levels=ordered(single, source),
        valid=min(read, default=times.get("valid", times.get("read"))),
        based_on=times.get("based on"),
        forecast=_forecast(text, times),
        assumed=foot + doubled,
    )


def _knowable(level: WindLevel) -> WindLevel:
    """Take an error of layers that is less than anyone's for one that was not told."""
    less = level.error is not None and level.error < FRESH_ERROR
    return replace(level, error=None) if less and level.height > LOG_TOP else level


def _forecast(text: str, times: dict[str, datetime]) -> bool:
    named = any(line.strip().lower() == _FORECAST for line in text.splitlines())
    return named or "valid" in times or "based on" in times


def _times(text: str, source: str) -> dict[str, datetime]:
    """Give the times that the lines of remarks tell."""
    times: dict[str, datetime] = {}
    for n, line in enumerate(text.splitlines(), 1):
        found = _TOLD.match(line)
        if found:
            what = found["what"].lower()
            if what in times:
                raise WindError(source, f"line {n}", f"'# {what}' stands twice")
            times[what] = _time(found["time"], source, f"line {n}")
    if {"read", "valid"} <= set(times) or {"read", "based on"} <= set(times):
        raise WindError(source, "", "is either read, or a forecast: valid, based on")
    return times


def _time(text: str, source: str, where: str) -> datetime:
    try:
        return parse_time(text)
    except ValueError:
        raise WindError(
            source,
            where,
            f"time {text[:40]!r}; accepted is such as 2026-05-09 08:10-07:00, or …Z",
        ) from None


def _header(line: str, source: str, where: str) -> list[str]:
    names = _names(line)
    for name in names:
        if name not in NAMES and name != _TIME:
            raise WindError(
                source, where, f"unknown column {nearest_name(name, (*NAMES, _TIME))}"
            )
    if len(set(names)) < len(names):
        twice = next(name for name in names if names.count(name) > 1)
        raise WindError(source, where, f"column {twice!r} stands twice")
    check_names((name for name in names if name != _TIME), source, where)
    return names


def _by_name(
    cells: list[str], names: list[str], source: str, where: str
) -> dict[str, str]:
    if len(cells) != len(names):
        raise WindError(
            source, where, f"{len(cells)} cells; the header names {len(names)}"
        )
    return dict(zip(names, cells, strict=True))


def _number(cell: str, name: str, source: str, where: str) -> float:
    if not cell and name.startswith(_MAY_BE_EMPTY):
        return math.nan
    try:
        value = number_of(cell)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise WindError(
            source, where, f"{name} {cell[:40]!r}; accepted is a finite number"
        )
    return value


def write_table(reading: Reading) -> str:
    """Write a reading as a table that `read_table` reads.

    Parameters
    ----------
    reading : Reading
        Any reading; of an ensemble the mean is written.

    Returns
    -------
    str
        Its times and its levels, with every digit.
    """
    out = io.StringIO()
    told = {
        "valid" if reading.forecast else "read": reading.valid,
        "based on": reading.based_on,
    }
    out.writelines(f"# {k} {t.isoformat()}\n" for k, t in told.items() if t is not None)
    if reading.forecast:
        out.write(f"{_FORECAST}\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["height_m", "from_deg", "speed_mps", "gust_mps", "error_mps"])
    for level in reading.levels:
        bearing = None if level.direction is None else math.degrees(level.direction)
        writer.writerow([level.height, bearing, level.speed, level.gust, level.error])
    return out.getvalue()
