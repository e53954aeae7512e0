"""A table of layers of wind by height as comma-separated values; its headers name the units."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import datetime
from typing import Final

from driftmap.air.profile_law import LOG_TOP
from driftmap.air.uncertainty import FRESH_ERROR
from driftmap.air.wind import WindLevel
from driftmap.core.errors import at
from driftmap.core.tables import names_of, number_of, remarks_of, rows_of
from driftmap.winds import text as texts
from driftmap.winds.reading import SLIP, Reading, Setting
from driftmap.winds.text import GROUND, NAMES, Placed, laid_out, read_time
from driftmap.winds.times import show_time

_MOST_LAYERS: Final = 20_000
_MAY_BE_EMPTY: Final = ("from", "gust", "error")
_TIME: Final = "time"
_FORECAST: Final = re.compile(r"\s*#[#\s]*forecast\b", re.IGNORECASE)
_TIMES: Final = ("read", "valid", "based on")
_EITHER: Final = "is either read, or a forecast: valid, based on"


def looks_like_table(text: str) -> bool:
    """Return whether its first line names a column of a table of layers."""
    return any(name in NAMES for name in names_of(text))


@texts.reader
def read_table(text: str, source: str, setting: Setting) -> Reading:
    """Read a table of layers: header and rows, in any order, parted by commas, semicolons or tabs.

    Of the lines that start with ``#``, one says when it was read, ``# read 2026-05-09
    08:10-07:00``, or that it is a ``# forecast``, for when, ``# valid …``, and from data of
    what time, ``# based on …``; one, ``# away 12 km``, how far from the field. Columns:
    ``height_m`` or ``height_ft`` above the site, or ``altitude_m`` or ``altitude_ft`` above
    the sea; ``from_deg`` (or ``from_magnetic_deg``); ``speed_mps``, ``speed_mph``,
    ``speed_kt`` or ``speed_kmh``; or ``u_mps`` toward east and ``v_mps`` toward north in place
    of both; ``gust_`` and ``error_`` (of a component; what is less than that of a reading
    which tells none counts as that) with one of the same units, and ``time``, when each was
    read, of which the oldest counts. An empty direction is a variable wind, an empty gust is
    none.
    """
    times = _times(text)
    levels: list[Placed] = []
    read = []
    for where, cells in rows_of(text, (*NAMES, _TIME), _check, 1, _MOST_LAYERS):
        with at(where):
            if _TIME in cells:
                read.append(read_time(cells.pop(_TIME)))
            levels.append((where, _level(cells, source, setting)))
    flown, moved = laid_out(levels, source, setting)
    if read and max(read) - setting.seen_by > SLIP:
        raise ValueError(
            f"a row of {show_time(max(read))} is from after the flight or the present; "
            "check the day, the zone and --when"
        )
    if read and times.keys() - {"based on"}:
        raise ValueError("tells its time twice: in a column and a # line")
    return Reading(
        source=source,
        kind="aloft",
        levels=flown,
        valid=min(read, default=times.get("valid", times.get("read"))),
        away=0.0,  # unless told otherwise
        based_on=times.get("based on"),
        forecast=_forecast(text, times),
        assumed=moved,
    )


def _check(names: list[str]) -> None:
    texts.check_names(name for name in names if name != _TIME)


def _level(cells: dict[str, str], source: str, setting: Setting) -> WindLevel:
    row = {k: _number(cell, k) for k, cell in cells.items()}
    height = texts.vertical(row, setting, lenient=True)
    if height < -GROUND or (height < 0 and "height" in "".join(row)):
        texts.vertical(row, setting)  # which says what is wrong
    return _knowable(texts.level_from(row, height, setting, source))


_LEAST_ERROR: Final = 0.2
"""Error of a component near the ground that no meter is better than [m s⁻¹]; assumed."""


def _knowable(level: WindLevel) -> WindLevel:
    """Take an error of layers that is less than anyone's for one that was not told."""
    least = FRESH_ERROR if level.height > LOG_TOP else _LEAST_ERROR
    less = level.error is not None and level.error < least
    return replace(level, error=None) if less else level


def _forecast(text: str, times: dict[str, datetime]) -> bool:
    named = any(map(_FORECAST.match, text.splitlines()))
    if named and "read" in times:
        raise ValueError(_EITHER)
    return named or "valid" in times or "based on" in times


def _times(text: str) -> dict[str, datetime]:
    """Return the times that the lines of remarks tell."""
    times = {}
    found = remarks_of(text, _TIMES, r"(?:(?:at|for)\s+)?\d.*")
    for what, (where, told) in found.items():
        with at(where):
            times[what] = read_time(re.sub(r"^\D+", "", told))
    if {"read", "valid"} <= set(times) or {"read", "based on"} <= set(times):
        raise ValueError(_EITHER)
    return times


def _number(cell: str, name: str) -> float:
    if not cell and name.startswith(_MAY_BE_EMPTY):
        return math.nan
    return number_of(cell, name)
