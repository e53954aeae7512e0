"""A table of wind layers as comma-separated values; its header names the units."""

from __future__ import annotations

import csv
import io
import math
from typing import Final

from driftmap.air.wind import WindLevel, WindProfile, direction_and_speed
from driftmap.errors import WindError
from driftmap.winds.layers import (
    NAMES,
    check_names,
    level_from,
    nearest_name,
    vertical,
)
from driftmap.winds.reading import Reading, Setting, ordered

__all__ = ["looks_like_table", "read_table", "write_table"]

MOST_LAYERS: Final = 20_000
_MAY_BE_EMPTY: Final = ("from", "gust")


def looks_like_table(text: str) -> bool:
    """Tell whether a text is a table of layers.

    Parameters
    ----------
    text : str
        Text of a file.

    Returns
    -------
    bool
        Whether its first line names a column of one.
    """
    first = next((line for line in text.splitlines() if not _idle(line)), "")
    return any(name in NAMES for name in _names(first))


def _idle(line: str) -> bool:
    return not line.strip() or line.lstrip().startswith("#")


def _cells(line: str, mark: str) -> list[str]:
    return [cell.strip().strip('"').strip() for cell in line.split(mark)]


def _mark(header: str) -> str:
    """Find what parts the columns: spreadsheets also write semicolons and tabs."""
    return next((mark for mark in ",;\t" if mark in header), ",")


def _names(line: str) -> list[str]:
    return [cell.lower() for cell in _cells(line, _mark(line))]


def read_table(text: str, source: str, setting: Setting) -> Reading:
    """Read a table of layers.

    Parameters
    ----------
    text : str
        Header and rows, in any order, parted by commas, semicolons or tabs; lines that start with ``#`` are passed over.
        Columns: ``height_m`` or ``height_ft`` above the site, or ``altitude_m`` or
        ``altitude_ft`` above mean sea level; ``from_deg`` (or ``from_magnetic_deg``);
        ``speed_mps``, ``speed_mph``, ``speed_kt`` or ``speed_kmh``; optionally
        ``gust_`` with one of the same units. An empty direction is a variable wind, an
        empty gust is none.
    source : str
        Name of the file.
    setting : Setting
        Place and time of the flight.

    Returns
    -------
    Reading
        Layers, of unknown age.

    Raises
    ------
    WindError
        If anything in it cannot be used, by its line.
    """
    lines = [
        (n, line) for n, line in enumerate(text.splitlines(), 1) if not _idle(line)
    ]
    if not lines:
        raise WindError(source, "", "is empty; give a header and layers")
    if len(lines) > MOST_LAYERS:
        raise WindError(
            source, "", f"{len(lines)} lines; accepted are {MOST_LAYERS} at most"
        )
    mark = _mark(lines[0][1])
    names = _header(lines[0][1], source, f"line {lines[0][0]}")
    if not lines[1:]:
        raise WindError(source, "", "has a header but no layer; give at least one")
    levels = []
    for n, line in lines[1:]:
        where = f"line {n}"
        row = _row(_cells(line, mark), names, source, where)
        height = vertical(row, setting, source, where)
        levels.append((where, level_from(row, height, setting, source, where)))
    return Reading(source=source, kind="aloft", levels=ordered(levels, source))


def _header(line: str, source: str, where: str) -> list[str]:
    names = _names(line)
    for name in names:
        if name not in NAMES:
            raise WindError(
                source, where, f"unknown column {nearest_name(name, NAMES)}"
            )
    check_names(names, source, where)
    return names


def _row(
    cells: list[str], names: list[str], source: str, where: str
) -> dict[str, float]:
    if len(cells) != len(names):
        raise WindError(
            source, where, f"{len(cells)} cells; the header names {len(names)}"
        )
    return {
        name: _number(cell, name, source, where)
        for name, cell in zip(names, cells, strict=True)
    }


def _number(cell: str, name: str, source: str, where: str) -> float:
    if not cell and name.startswith(_MAY_BE_EMPTY):
        return math.nan
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise WindError(
            source, where, f"{name} {cell[:40]!r}; accepted is a finite number"
        )
    return value


def write_table(wind: WindProfile) -> str:
    """Write a wind as a table that `read_table` reads.

    Parameters
    ----------
    wind : WindProfile
        Any wind; of an ensemble the mean is written.

    Returns
    -------
    str
        Its levels, or its layers where it has none, with every digit.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["height_m", "from_deg", "speed_mps", "gust_mps"])
    for level in wind.levels or _layers(wind):
        bearing = "" if level.direction is None else math.degrees(level.direction)
        gust = "" if level.gust is None else level.gust
        writer.writerow([level.height, bearing, level.speed, gust])
    return out.getvalue()


def _layers(wind: WindProfile) -> list[WindLevel]:
    direction, speed = direction_and_speed(wind.east, wind.north)
    columns = (wind.height.tolist(), direction.tolist(), speed.tolist())
    return [WindLevel(*row, None, wind.source) for row in zip(*columns, strict=True)]
