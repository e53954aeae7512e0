"""Read an altimeter's record: comma-separated time, height and perhaps speed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

import numpy as np

from driftmap.errors import FlightError, nearest, quoted
from driftmap.rocket.record import Record
from driftmap.units import FOOT

__all__ = ["read_record"]

_MOST_LINES: Final = 500_000  # 100 a second for more than an hour
_COLUMNS: Final[Mapping[str, tuple[str, float, float]]] = MappingProxyType(
    {
        "time_s": ("time", 1.0, 1e7),
        "height_m": ("height", 1.0, 30_000.0),
        "height_ft": ("height", FOOT, 30_000.0),
        "speed_mps": ("speed", 1.0, 3000.0),
        "speed_fps": ("speed", FOOT, 3000.0),
    }
)
"""Column name: what it holds, its unit in SI, and the largest size taken for no mistake."""


def read_record(text: str, source: str) -> Record:
    """Read a record.

    Parameters
    ----------
    text : str
        A header and a row for each moment; lines that start with ``#`` are passed over.
        Columns in any order: ``time_s``; ``height_m`` or ``height_ft``; and, if it was
        recorded, ``speed_mps`` or ``speed_fps`` (upward).
    source : str
        Name of the file.

    Returns
    -------
    Record
        The record in SI.

    Raises
    ------
    FlightError
        If anything in it cannot be used, by its line.
    """
    lines = [
        (number, line)
        for number, line in enumerate(text.splitlines(), 1)
        if line.strip() and not line.startswith("#")
    ]
    if len(lines) > _MOST_LINES:
        raise FlightError(
            source, "", f"holds {len(lines):,} lines; accepted are {_MOST_LINES:,}"
        )
    if len(lines) < 2:
        raise FlightError(source, "", "holds no rows; a header and rows are wanted")
    names = _header(source, *lines[0])
    rows = np.array([_row(source, number, line, names) for number, line in lines[1:]])
    columns = {_COLUMNS[name][0]: rows[:, i] for i, name in enumerate(names)}
    back = np.flatnonzero(np.diff(columns["time"]) < 0)
    if back.size:
        before, after = columns["time"][back[0] : back[0] + 2]
        where = f"line {lines[back[0] + 2][0]}"
        raise FlightError(
            source, where, f"time_s {after:g} must not go back from {before:g}"
        )
    return Record(columns["time"], columns["height"], columns.get("speed"))


def _header(source: str, number: int, line: str) -> list[str]:
    names = [cell.strip().strip('"').lower() for cell in line.split(",")]
    where = f"line {number}"
    for name in names:
        if name not in _COLUMNS:
            told = f"unknown column {quoted(name)}; {nearest(name, _COLUMNS)}"
            raise FlightError(source, where, told)
    held = [_COLUMNS[name][0] for name in names]
    for quantity in ("time", "height"):
        if quantity not in held:
            raise FlightError(source, where, f"has no {quantity}; known: {_known()}")
    if len(set(held)) < len(held):
        raise FlightError(source, where, "names one quantity twice")
    return names


def _known() -> str:
    return ", ".join(_COLUMNS)


def _row(source: str, number: int, line: str, names: list[str]) -> list[float]:
    cells, where = line.split(","), f"line {number}"
    if len(cells) != len(names):
        raise FlightError(
            source, where, f"has {len(cells)} cells; the header names {len(names)}"
        )
    return [
        _cell(source, where, name, cell)
        for name, cell in zip(names, cells, strict=True)
    ]


def _cell(source: str, where: str, name: str, cell: str) -> float:
    _, unit, most = _COLUMNS[name]
    try:
        value = float(cell) * unit
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise FlightError(
            source, where, f"{name} {cell.strip()[:40]!r} is not a finite number"
        )
    if abs(value) > most:
        raise FlightError(
            source, where, f"{name} {cell.strip()} must lie within ±{most / unit:,.0f}"
        )
    return value
