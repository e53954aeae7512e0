"""Read a thrust curve: a motor's data sheet, or what a load cell wrote."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Sequence
from types import MappingProxyType
from typing import Final

from driftmap.core.errors import FlightError, quoted
from driftmap.core.files import check_remarks
from driftmap.core.units import DIMENSIONS
from driftmap.rocket.stages import BURNS

__all__ = ["read_curve"]

_TIMES: Final = MappingProxyType({"s": 1.0, "sec": 1.0, "ms": 1e-3})
_GRAM: Final = DIMENSIONS["force"]["kgf"] / 1000
_THRUSTS: Final = MappingProxyType(
    {unit.lower(): DIMENSIONS["force"][unit] for unit in ("N", "lbf", "kgf")}
    # A scale that shows mass shows the weight of that mass.
    | {"lb": DIMENSIONS["force"]["lbf"], "kg": 1000 * _GRAM, "g": _GRAM}
)
_NAMES: Final = (("time|t", _TIMES), ("thrust|force|load|f", _THRUSTS))
_NOISE: Final = 0.05  # of the greatest thrust; a load cell's zero wanders. Assumed


def read_curve(text: str, source: str) -> tuple[list[float], list[float]]:
    """Read a thrust curve.

    ``text``: a header and a row for each moment, cells parted by commas, semicolons
    (numbers may then have a decimal comma) or tabs; lines that start with ``#`` are
    passed over. Columns in either order: ``time_s`` or ``time_ms``; ``thrust_n``,
    ``thrust_lbf`` or ``thrust_kgf``. Thrust below zero by less than 5 % of the greatest
    counts as none; ``source``: name of the file.

    Result: from time 0 on [s], [N]; what follows the last thrust is cut off, and so is
    what comes before it reaches 5 % of its greatest, but for the row before. Raises
    `FlightError` if anything in it cannot be used, by its line.
    """
    check_remarks(text, source, FlightError)
    parted = _separator(text)
    lines = list(csv.reader(text.splitlines(), delimiter=parted))
    rows = [(n, line) for n, line in enumerate(lines, 1) if line and line[0][:1] != "#"]
    header = [cell.strip().lower() for cell in rows[0][1]] if rows else []
    columns = _columns(source, header)
    points = [_point(source, n, cells, columns, parted) for n, cells in rows[1:]]
    for (before, _), (time, _), (number, _) in zip(
        points, points[1:], rows[2:], strict=False
    ):
        if time <= before:
            raise FlightError(
                source, f"line {number}", f"time {time:g} must follow {before:g}"
            )
    if len(points) < 2:
        raise FlightError(source, "", "needs two points or more")
    return _cleaned(source, points, [number for number, _ in rows[1:]])


def _separator(text: str) -> str:
    lines = (line for line in text.splitlines() if line.strip() and line[0] != "#")
    header = next(lines, "")
    return next((mark for mark in (";", "\t") if mark in header), ",")


def _columns(source: str, header: Sequence[str]) -> tuple[tuple[int, float], ...]:
    """Find time and thrust, each with the factor to SI."""
    found = []
    for names, units in _NAMES:
        told = [
            re.fullmatch(rf"({names})(?:[\s_]+|\s*[\[(])(\w+)[\])]?", c) for c in header
        ]
        own = [(i, m[2]) for i, m in enumerate(told) if m is not None and m[2] in units]
        if len(own) != 1 or len(header) != 2:
            raise FlightError(
                source,
                "header",
                f"is {quoted(','.join(header))}; two columns are wanted, time_s or time_ms, "
                "and thrust_n, thrust_lbf or thrust_kgf",
            )
        (column, unit) = own[0]
        found.append((column, units[unit]))
    return tuple(found)


def _point(
    source: str,
    number: int,
    cells: Sequence[str],
    columns: Sequence[tuple[int, float]],
    parted: str,
) -> tuple[float, float]:
    where = f"line {number}"
    if len(cells) != 2:
        raise FlightError(
            source, where, f"has {len(cells)} cells; time and thrust are wanted"
        )
    if parted == ";":
        cells = [cell.replace(",", ".") for cell in cells]
    told = parted.join(cells)
    try:
        time, thrust = (float(cells[i]) * factor for i, factor in columns)
    except ValueError:
        raise FlightError(source, where, f"{told!r} is not two numbers") from None
    if not (math.isfinite(time) and math.isfinite(thrust)) or time < 0:
        raise FlightError(
            source, where, f"{told!r} must be finite, and time not negative"
        )
    return time, thrust


def _cleaned(
    source: str, points: Sequence[tuple[float, float]], numbers: Sequence[int]
) -> tuple[list[float], list[float]]:
    """Take small thrusts below zero as noise, and end the curve with its thrust."""
    most = max(thrust for _, thrust in points)
    if most <= 0:
        raise FlightError(source, "", "holds no thrust above zero")
    for number, (_, thrust) in zip(numbers, points, strict=True):
        if thrust < -_NOISE * most:
            raise FlightError(
                source,
                f"line {number}",
                f"{thrust:g} N is below zero by more than noise, {_NOISE:.0%} of the "
                "greatest thrust",
            )
    kept = [(time, max(thrust, 0.0)) for time, thrust in points]
    last = max(i for i, (_, thrust) in enumerate(kept) if thrust > 0)
    kept = kept[: last + 2]
    lit = next(i for i, (_, thrust) in enumerate(kept) if thrust >= BURNS * most)
    if lit > 1:  # before that nothing moves: the clock starts where the motor does
        kept = [(time - kept[lit - 1][0], thrust) for time, thrust in kept[lit - 1 :]]
    if kept[0][0] > 0:
        kept.insert(0, (0.0, 0.0))
    return [time for time, _ in kept], [thrust for _, thrust in kept]
