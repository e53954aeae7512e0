"""Soundings of the Integrated Global Radiosonde Archive, version 2.

Columns as in "Format Description of IGRA 2 Sounding Data Files" (NOAA NCEI).
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Final

from driftmap.errors import WindError
from driftmap.winds.choice import choose_station, choose_time
from driftmap.winds.reading import Reading, Setting
from driftmap.winds.sonde import SondeRow, sounding
from driftmap.winds.times import show_time

__all__ = ["looks_like_igra", "read_igra", "sounding_time"]

_HEADER: Final = re.compile(
    r"#(?P<station>\w{11}) (?P<day>\d{4} \d\d \d\d) (?P<hour>\d\d) "
    r"(?P<release>[\d ]{4}) (?P<count>[ \d]{4})(?:\s|$)"
)
_MISSING: Final = (-9999, -8888)  # never told; taken out by quality control
_NO_HOUR: Final = 99
_FIRST_YEAR: Final = 1905  # NOAA NCEI, from memory
_NO_RELEASE: Final = "9999"


def looks_like_igra(text: str) -> bool:
    """Tell whether a text is such a file.

    Parameters
    ----------
    text : str
        Text of a file.

    Returns
    -------
    bool
        Whether it starts with the header of a sounding.
    """
    return bool(re.match(r"#[A-Z][A-Z0-9]{10} \d{4} ", text.lstrip()))


def read_igra(text: str, source: str, setting: Setting) -> Reading:
    """Read one sounding.

    Parameters
    ----------
    text : str
        One sounding or many.
    source : str
        Name of the file.
    setting : Setting
        Station and time that are meant, and the altitude of the site.

    Returns
    -------
    Reading
        The sounding nearest to the flight, or the latest.

    Raises
    ------
    WindError
        If a line breaks the format, or no level has a wind.
    """
    lines = [(n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip()]
    starts = [i for i, (_, line) in enumerate(lines) if line.startswith("#")]
    heads = {i: _header(*lines[i], source) for i in starts}
    names = [head["station"] for head in heads.values()]
    station, named = choose_station(names, setting, source)
    mine = [i for i in starts if heads[i]["station"] == station]
    times = [_time(heads[i], source, lines[i][0]) for i in mine]
    chosen, notes = choose_time(times, setting, source)
    time, first = times[chosen], mine[chosen]
    end = next((i for i in starts if i > first), len(lines))
    rows = [_row(n, line, source) for n, line in lines[first + 1 : end]]
    counted = int(heads[first]["count"])
    if len(rows) != counted:
        raise WindError(
            source,
            f"line {lines[first][0]}",
            f"header counts {counted} levels, {len(rows)} follow; it is cut short or "
            "mixed up",
        )
    return sounding(
        rows,
        name=f"sounding {station} {show_time(time)}",
        source=source,
        valid=time,
        setting=setting,
        assumed=(*named, *notes),
    )


def sounding_time(text: str, source: str) -> datetime:
    """Give the time of a sounding from its header alone.

    Parameters
    ----------
    text : str
        One sounding, its header first.
    source : str
        Name of the file.

    Returns
    -------
    datetime
        Time of release, or else the nominal hour, in UTC.

    Raises
    ------
    WindError
        If the header is not that of a sounding.
    """
    return _time(_header(1, text.split("\n", 1)[0], source), source, 1)


def _header(number: int, line: str, source: str) -> re.Match[str]:
    found = _HEADER.match(line)
    if not found or not found["count"].strip().isdecimal():
        raise WindError(
            source, f"line {number}", f"header {line[:36]!r} is not that of a sounding"
        )
    return found


def _time(head: re.Match[str], source: str, number: int) -> datetime:
    """Give the release time where told, or else the nominal hour."""
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
        raise WindError(source, f"line {number}", f"its time: {problem}") from None
    # A balloon for 00 UTC is let go late on the day before.
    early = hour != _NO_HOUR and time - day > timedelta(hours=hour + 12)
    return time - timedelta(days=1) if early else time


def _row(number: int, line: str, source: str) -> SondeRow:
    where = f"line {number}"
    pressure = _field(line, 9, 15, "pressure", source, where)
    height = _field(line, 16, 21, "height", source, where)
    temperature = _field(line, 22, 27, "temperature", source, where)
    direction = _field(line, 40, 45, "direction", source, where)
    speed = _field(line, 46, 51, "speed", source, where)
    return SondeRow(
        where=where,
        pressure=None if pressure is None else float(pressure),
        geopotential=None if height is None else float(height),
        temperature=None if temperature is None else temperature / 10 + 273.15,
        direction=None if direction is None else float(direction),
        speed=None if speed is None else speed / 10,
    )


def _field(
    line: str, start: int, end: int, what: str, source: str, where: str
) -> int | None:
    text = line[start:end].strip()
    try:
        value = int(text)
    except ValueError:
        raise WindError(
            source,
            where,
            f"{what} {text!r} in columns {start + 1}-{end}; the line is cut short or "
            "out of its columns",
        ) from None
    return None if value in _MISSING else value
