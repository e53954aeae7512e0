"""Soundings of IGRA version 2.

Columns as in "Format Description of IGRA 2 Sounding Data Files" (NOAA NCEI).
"""

from __future__ import annotations

import itertools
import re
from datetime import UTC, datetime, timedelta
from typing import Final

from driftmap.core.errors import PlacedError, WindError, at, located
from driftmap.core.units import kelvin
from driftmap.winds.reading import Reading, Setting
from driftmap.winds.sonde import SondeRow, away_of, last_before, sounding
from driftmap.winds.text import reader
from driftmap.winds.times import show_time

_HEADER: Final = re.compile(
    r"#(?P<station>\w{11}) (?P<day>\d{4} \d\d \d\d) (?P<hour>\d\d) "
    r"(?P<release>[\d ]{4}) (?P<count>[ \d]{4})(?:\s|$)"
)
_MISSING: Final = (-9999, -8888)  # never told; taken out by quality control
_ROW_ENDS: Final = 51  # column in which the wind speed ends
_NO_HOUR: Final = 99
_FIRST_YEAR: Final = 1905  # NOAA NCEI, from memory
_NO_RELEASE: Final = "9999"


def looks_like_igra(text: str) -> bool:
    """Return whether a text starts with the header of a sounding of IGRA."""
    return bool(re.match(r"#[A-Z][A-Z0-9]{10} \d{4} ", text.lstrip()))


@reader
def read_igra(text: str, source: str, setting: Setting) -> Reading:
    """Read of one sounding or many the last before the flight, and doubt it by those near it."""
    lines = [(n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip()]
    starts = [i for i, (_, line) in enumerate(lines) if line.startswith("#")]
    heads = [_header(*lines[i]) for i in starts]
    return last_before(
        [head["station"] for head in heads],
        lambda k: _time(heads[k], lines[starts[k]][0]),
        lambda k: _sounding(lines[starts[k] :], heads[k], setting),
        source,
        setting,
    )


def _sounding(
    lines: list[tuple[int, str]], head: re.Match[str], setting: Setting
) -> Reading:
    """Read the sounding whose header is the first of these lines."""
    time, rows = _time(head, lines[0][0]), []
    for n, line in itertools.takewhile(lambda one: one[1][0] != "#", lines[1:]):
        with at(f"line {n}"):
            rows.append(_row(n, line))
    counted = int(head["count"])
    if len(rows) != counted:
        raise PlacedError(
            f"line {lines[0][0]}",
            f"header counts {counted} levels, {len(rows)} follow; it is cut short or "
            "mixed up",
        )
    name = f"sounding {head['station']} {show_time(time)}"
    return sounding(
        rows,
        name=name,
        valid=time,
        setting=setting,
        away=away_of(*_place(lines[0][1]), name, setting),
    )


def _place(head: str) -> tuple[str, str]:
    """Return latitude and longitude from a header, in which they are in 1/10,000 of a degree."""
    return f"{head[55:62]}e-4", f"{head[63:71]}e-4"


def sounding_time(text: str, source: str) -> datetime:
    """Return the time of a sounding of IGRA from its header alone: release, or nominal hour."""
    with located(source, "", WindError):
        return _time(_header(1, text.split("\n", 1)[0]), 1)


def _header(number: int, line: str) -> re.Match[str]:
    found = _HEADER.match(line)
    if not found or not found["count"].strip().isdecimal():
        raise PlacedError(
            f"line {number}", f"header {line[:36]!r} is not that of a sounding"
        )
    return found


def _time(head: re.Match[str], number: int) -> datetime:
    """Return the release time where told, or else the nominal hour."""
    hour, release = int(head["hour"]), head["release"]
    try:
        day = datetime.strptime(head["day"], "%Y %m %d").replace(tzinfo=UTC)
        if day.year < _FIRST_YEAR:
            raise ValueError(f"year {day.year}; the archive begins in {_FIRST_YEAR}")
        if release == _NO_RELEASE or release[2:] == str(_NO_HOUR):
            if hour == _NO_HOUR:
                raise ValueError("no hour")
            return day + timedelta(hours=hour)
        time = day + timedelta(hours=int(release[:2]), minutes=int(release[2:]))
    except ValueError as problem:
        raise PlacedError(f"line {number}", f"its time: {problem}") from None
    # A balloon for 00 UTC is let go late on the day before.
    early = hour != _NO_HOUR and time - day > timedelta(hours=hour + 12)
    return time - timedelta(days=1) if early else time


def _row(number: int, line: str) -> SondeRow:
    if len(line) < _ROW_ENDS:
        raise ValueError(f"{len(line)} characters, of {_ROW_ENDS}; it is cut short")
    height = _field(line, 16, 21, "height")
    temperature = _field(line, 22, 27, "temperature", 10.0)
    return SondeRow(
        where=f"line {number}",
        pressure=_field(line, 9, 15, "pressure"),
        geopotential=height,
        temperature=kelvin(temperature),
        direction=_field(line, 40, 45, "direction"),
        speed=_field(line, 46, 51, "speed", 10.0),
    )


def _field(
    line: str, start: int, end: int, what: str, over: float = 1.0
) -> float | None:
    text = line[start:end].strip()
    try:
        value = int(text)
    except ValueError:
        raise ValueError(
            f"{what} {text!r} in columns {start + 1}-{end}; the line is cut short or "
            "out of its columns"
        ) from None
    return None if value in _MISSING else value / over
