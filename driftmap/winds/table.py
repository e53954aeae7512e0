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
from driftmap.errors import at
from driftmap.winds.law import LOG_TOP
from driftmap.winds.reading import Reading, Setting
from driftmap.winds.sonde import NEAR, Placed, laid_out
from driftmap.winds.text import (
    NAMES,
    check_names,
    level_from,
    names_of,
    number_of,
    reader,
    remarks_of,
    rows_of,
    told_time,
    vertical,
)
from driftmap.winds.uncertainty import FRESH_ERROR

__all__ = ["looks_like_table", "read_table", "write_table"]

MOST_LAYERS: Final = 20_000
_MAY_BE_EMPTY: Final = ("from", "gust", "error")
_TIME: Final = "time"
_FORECAST: Final = "# forecast"
_TIMES: Final = ("read", "valid", "based on")


def looks_like_table(text: str) -> bool:
    """Tell whether its first line names a column of a table of layers."""
    return any(name in NAMES for name in names_of(text))


@reader
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
    times = _times(text)
    levels: list[Placed] = []
    read = []
    for where, cells in rows_of(text, (*NAMES, _TIME), _check, 1, MOST_LAYERS):
        with at(where):
            if _TIME in cells:
                read.append(told_time(cells.pop(_TIME)))
            row = {k: _number(cell, k) for k, cell in cells.items()}
            height = vertical(row, setting, lenient=True)
            if height < -NEAR or (height < 0 and "height" in "".join(row)):
                vertical(row, setting)  # which says what is wrong
            levels.append((where, _knowable(level_from(row, height, setting, source))))
    flown, moved = laid_out(levels, source, setting)
    if read and times.keys() - {"based on"}:
        raise ValueError("tells its time twice: in a column and a # line")
    return Reading(
        source=source,
        kind="aloft",
        levels=flown,
        valid=min(read, default=times.get("valid", times.get("read"))),
        based_on=times.get("based on"),
        forecast=_forecast(text, times),
        assumed=moved,
    )


def _check(names: list[str]) -> None:
    check_names(name for name in names if name != _TIME)


_LEAST_ERROR: Final = 0.2
"""Error of a component near the ground that no meter is better than [m s⁻¹]; assumed."""


def _knowable(level: WindLevel) -> WindLevel:
    """Take an error of layers that is less than anyone's for one that was not told."""
    least = FRESH_ERROR if level.height > LOG_TOP else _LEAST_ERROR
    less = level.error is not None and level.error < least
    return replace(level, error=None) if less else level


def _forecast(text: str, times: dict[str, datetime]) -> bool:
    named = any(line.strip().lower() == _FORECAST for line in text.splitlines())
    return named or "valid" in times or "based on" in times


def _times(text: str) -> dict[str, datetime]:
    """Give the times that the lines of remarks tell."""
    times = {}
    for what, (where, told) in remarks_of(
        text, _TIMES, r"(?:(?:at|for)\s+)?\d.*"
    ).items():
        with at(where):
            times[what] = told_time(re.sub(r"^\D+", "", told))
    if {"read", "valid"} <= set(times) or {"read", "based on"} <= set(times):
        raise ValueError("is either read, or a forecast: valid, based on")
    return times


def _number(cell: str, name: str) -> float:
    if not cell and name.startswith(_MAY_BE_EMPTY):
        return math.nan
    return number_of(cell, name)


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
