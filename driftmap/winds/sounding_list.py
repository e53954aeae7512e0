"""Soundings as weather services list them.

Lists are told by the names of their columns: right-aligned under ``PRES HGHT TEMP … DRCT SKNT``
with a line of units, or comma-separated under ``pressure_hPa, geopotential height_m, …
wind direction_degree, wind speed_m/s``.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from datetime import UTC, datetime, timedelta
from typing import Final, TypeAlias

from driftmap.core.errors import PlacedError, at
from driftmap.core.tables import rows_of
from driftmap.core.units import kelvin
from driftmap.winds.reading import Reading, Setting, words
from driftmap.winds.sonde import SondeRow, away_of, last_before, sounding
from driftmap.winds.text import meanings, reader, unit_size
from driftmap.winds.times import show_time
from driftmap.winds.unread import check_figure, is_harmless

_QUANTITIES: Final = meanings("sounding")
_FAR: Final = 100  # lines into a file that a heading is looked for
_MOST: Final = 20_000  # levels
_LONGEST: Final = timedelta(hours=4)  # that a balloon rises; assumed
_NEEDED: Final = ("geopotential", "direction", "speed")
_TITLE: Final = re.compile(
    r"\s*(?P<station>\S+(?:\s+[^\d\s]+)*?)\s+Observations\s+at\s+(?P<hour>\d\d)Z\s+"
    r"(?P<day>\d\d\s+[A-Za-z]{3}\s+\d{4})\s*"
)
_STANDS: Final = re.compile(r"\s*Station (latitude|longitude):\s*(\S+)")
_COLUMNS: Final = re.compile(r"\s*PRES\s+HGHT\s+.*?\bDRCT\s+(?:SKNT|SPED)\b")
_INDEX: Final = re.compile(
    r"(?!.*(?:wind|gust|speed)).*:\s*[-+.\d/]*\s*", re.IGNORECASE
)
_LEVEL: Final = re.compile(r"\s*-?\d[-+.\d\s]*")
_COMMAS: Final = re.compile(r"(?:^|,)\s*wind direction_\w+\s*(?:,|$)", re.IGNORECASE)


def looks_like_sounding_list(text: str) -> bool:
    """Return whether the column names of a list are in a text."""
    lines = text.lstrip().splitlines()[:_FAR]
    return bool(
        _COMMAS.search(lines[0].rstrip() if lines else "")
        or any(_COLUMNS.match(line) or _TITLE.match(line) for line in lines)
    )


@reader
def read_sounding_list(text: str, source: str, setting: Setting) -> Reading:
    """Read one sounding of those in a list, each under its title."""
    lines = text.splitlines()
    if _COMMAS.search(text.lstrip().split("\n", 1)[0].rstrip()):
        return _from_commas(text, setting)
    heads = [i for i, line in enumerate(lines) if _COLUMNS.match(line)]
    if not heads:
        raise ValueError("no line of columns PRES HGHT … DRCT SKNT; it is cut short")
    above = [-1, *heads]
    titles = [_title(lines[a + 1 : b]) for a, b in zip(above, heads, strict=False)]
    reading = last_before(
        [station for station, _ in titles],
        lambda k: titles[k][1],
        lambda k: _from_list(lines, heads[k:], titles[k], setting),
        source,
        setting,
    )
    _check_beside(lines)
    return reading


def _check_beside(lines: list[str]) -> None:
    """Refuse what stands beside the levels and could tell a wind that nobody reads."""
    for n, line in enumerate(lines, 1):
        known = any(form.fullmatch(line) for form in (_LEVEL, _INDEX, _TITLE))
        if any(map(str.isdigit, line)) and not known:
            raise PlacedError(
                f"line {n}",
                f"is no level, title or index: {line.strip()[:40]!r}; what tells "
                "another wind stands in a file of its own",
            )


def _from_list(
    lines: list[str],
    heads: list[int],
    title: tuple[str, datetime | None],
    setting: Setting,
) -> Reading:
    """Read the sounding below the first of these lines of columns."""
    head, end = [*heads, len(lines)][:2]
    name = _name(*title)
    return sounding(
        _fixed_rows(lines, head),
        name=name,
        valid=title[1],
        setting=setting,
        away=away_of(*_told_place(lines[head:end]), name, setting, station=title[0]),
    )


def _told_place(lines: list[str]) -> tuple[str, str]:
    """Find where the station stands among the indices below its levels."""
    told = {m[1]: m[2] for line in lines if (m := _STANDS.match(line))}
    return told.get("latitude", ""), told.get("longitude", "")


def _name(station: str, time: datetime | None) -> str:
    words = ("sounding", station, show_time(time) if time else "")
    return " ".join(word for word in words if word)


def _title(lines: list[str]) -> tuple[str, datetime | None]:
    """Find the station and time in the lines above the columns."""
    for line in lines:
        found = _TITLE.match(line)
        if found:
            day = " ".join(found["day"].split())
            try:
                time = datetime.strptime(f"{day} {found['hour']}", "%d %b %Y %H")
            except ValueError:
                return _station(found["station"]), None
            return _station(found["station"]), time.replace(tzinfo=UTC)
    return "", None


def _station(text: str) -> str:
    """Shorten ``72327 BNA Nashville`` to what it is called by."""
    words = text.upper().split()
    return words[1] if words[0].isdigit() and len(words) > 1 else words[0]


_Columns: TypeAlias = dict[str, tuple[slice, float]]
"""The characters each quantity stands in, and the size of its unit in SI."""


def _fixed_rows(lines: list[str], head: int) -> list[SondeRow]:
    if head + 1 >= len(lines):
        raise PlacedError(f"line {head + 1}", "no line of units follows")
    with at(f"line {head + 1}"):
        columns = _fixed_columns(lines[head], lines[head + 1])
    rows: list[SondeRow] = []
    odd = 0
    for n, line in enumerate(lines[head + 2 :], head + 3):
        if not line.strip() or set(line.strip()) == {"-"}:
            if rows and not line.strip():
                _check_end(lines[n:], f"line {n}")
                break
            continue
        if not re.match(r"\s*-?\d+\.?\d*(\s|$)", line):
            odd = odd or n  # indices and remarks follow the levels
            continue
        if odd:
            raise PlacedError(f"line {odd}", "is no level, though levels follow it")
        for quantity, (part, _) in columns.items() if n == len(lines) else ():
            if line[part].strip() and len(line) < part.stop:
                raise PlacedError(f"line {n}", f"{quantity} is cut short")
        cells = {q: (line[part].strip(), size) for q, (part, size) in columns.items()}
        rows.append(_list_row(cells, f"line {n}"))
    return rows


def _check_end(rest: list[str], where: str) -> None:
    """Refuse an empty line between levels, below which they would not be heard."""
    follows = next((line for line in rest if line.strip()), "")
    if _LEVEL.fullmatch(follows):
        raise PlacedError(where, "is empty, though levels follow it")


def _fixed_columns(names: str, units: str) -> _Columns:
    columns: _Columns = {}
    start = 0
    for found in re.finditer(r"\S+", names):
        part, start = slice(start, found.end()), found.end()
        if quantity := _QUANTITIES.get(found[0].lower()):
            _check_once(quantity, columns)
            columns[quantity] = part, _size(quantity, units[part].strip())
        else:
            _check_harmless(found[0])
    return columns


def _check_harmless(name: str) -> None:
    if not is_harmless(name):
        text = f"column {name[:40]!r} is not read and may tell of wind: take it out"
        raise ValueError(text)


def _check_once(quantity: str, held: Collection[str]) -> None:
    if quantity in held:
        raise ValueError(f"two columns of {quantity}; keep one of them")


def _size(quantity: str, unit: str) -> float:
    return unit_size("sounding", quantity, unit, quantity)


def _from_commas(text: str, setting: Setting) -> Reading:
    held: dict[str, tuple[str, float]] = {}  # column of each quantity, size of its unit

    def find(names: list[str]) -> None:
        for name in names:
            label, _, unit = name.rpartition("_")
            if quantity := _QUANTITIES.get(label):
                _check_once(quantity, held)
                held[quantity] = name, _size(quantity, unit)
            else:
                _check_harmless(name)
        for quantity in _NEEDED:
            if quantity not in held:
                raise ValueError(f"no column of {quantity}")

    rows, stamps, place = [], [], ("", "")
    for where, cells in rows_of(text, None, find, 0, _MOST):
        with at(where):
            for name in cells.keys() - {name for name, _ in held.values()}:
                check_figure(cells[name], name)
        told = {q: (cells[name], size) for q, (name, size) in held.items()}
        rows.append(_list_row(told, where))
        stamps.append(cells.get("time", ""))
        if len(rows) == 1:
            place = cells.get("latitude", ""), cells.get("longitude", "")
    times = [time for stamp in stamps if (time := _clock(stamp))]
    time = min(times, default=None)
    if time and max(times) - time > _LONGEST:
        raise ValueError("holds rows of times hours apart; keep one sounding")
    name = _name("", time)
    away = away_of(*place, name, setting)
    return sounding(rows, name=name, valid=time, setting=setting, away=away)


def _clock(text: str) -> datetime | None:
    try:
        return datetime.strptime(text, "%Y-%m-%d %H:%M:%S").replace(tzinfo=UTC)
    except ValueError:
        return None


def _list_row(cells: dict[str, tuple[str, float]], where: str) -> SondeRow:
    """Read a level from what stands in its columns, with the sizes of their units."""
    told: dict[str, float | None] = dict.fromkeys(words("names")["sounding"])
    for quantity, (cell, size) in cells.items():
        if cell:
            try:
                told[quantity] = float(cell) * size
            except ValueError:
                raise PlacedError(
                    where, f"{quantity} {cell[:20]!r}; accepted is a number or a blank"
                ) from None
    celsius = told.pop("temperature")
    return SondeRow(where=where, temperature=kelvin(celsius), **told)
