"""Read a thrust curve: a motor's data sheet, or what a load cell wrote."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from types import MappingProxyType
from typing import Final

from driftmap.core.errors import FlightError, PlacedError, at, located, quoted
from driftmap.core.tables import check_remarks, header_of, number_of, rows_of
from driftmap.core.units import DIMENSIONS
from driftmap.rocket.stages import BURNS

_TIMES: Final = MappingProxyType({"s": 1.0, "sec": 1.0, "ms": 1e-3})
_GRAM: Final = DIMENSIONS["force"]["kgf"] / 1000
_THRUSTS: Final = MappingProxyType(
    {unit.lower(): DIMENSIONS["force"][unit] for unit in ("N", "lbf", "kgf")}
    # A scale that shows mass shows the weight of that mass.
    | {"lb": DIMENSIONS["force"]["lbf"], "kg": 1000 * _GRAM, "g": _GRAM}
)
_NAMES: Final = (("time|t", _TIMES), ("thrust|force|load|f", _THRUSTS))
_MOST: Final = 100_000  # rows
_DECIMAL: Final = re.compile(
    r"(?:^|;)\s*[-+]?(?:0,\d+|\d+,(?:\d\d?|\d{4,}))\s*(?:;|$)", re.MULTILINE
)
"""A number whose comma cannot part thousands: commas are decimals in all of its table."""
_NOISE: Final = 0.05  # of the greatest thrust; a load cell's zero wanders. Assumed


def read_curve(text: str, source: str) -> tuple[list[float], list[float]]:
    """Read a thrust curve.

    ``text``: a header and a row for each moment, cells parted by commas, semicolons
    (numbers may then have a decimal comma) or tabs; lines that start with ``#`` are
    passed over. Columns in either order: ``time_s`` or ``time_ms``; ``thrust_n``,
    ``thrust_lbf`` or ``thrust_kgf``. Thrust below zero by less than 5 % of the greatest
    counts as none; ``source``: name of the file.

    Result: from time 0 on [s], [N]; what follows the last thrust is cut off, and so is
    what comes before it reaches 5 % of its greatest, but for the row before; one that ends
    above that is cut off too soon. Raises
    `FlightError` if anything in it cannot be used, by its line.
    """
    check_remarks(text, source, FlightError)
    if header_of(text)[1] == ";" and _DECIMAL.search(text):
        text = text.replace(",", ".")
    columns: dict[str, float] = {}  # time and thrust, with their factors to SI
    points: list[tuple[float, float]] = []
    places: list[str] = []

    def find(names: list[str]) -> None:
        columns.update(_columns(names))

    with located(source, "", FlightError):
        for where, cells in rows_of(text, None, find, 2, _MOST):
            with at(where):
                points.append(_point(cells, columns, points[-1:]))
            places.append(where)
        return _cleaned(points, places)


def _columns(header: list[str]) -> Iterator[tuple[str, float]]:
    """Find time and thrust, each with the factor to SI."""
    for names, units in _NAMES:
        told = [
            re.fullmatch(rf"({names})(?:[\s_]+|\s*[\[(])(\w+)[\])]?", c) for c in header
        ]
        own = [m for m in told if m is not None and m[2] in units]
        if len(own) != 1 or len(header) != 2:
            raise ValueError(
                f"header {quoted(','.join(header))}; two columns are wanted, time_s or "
                "time_ms, and thrust_n, thrust_lbf or thrust_kgf"
            )
        yield own[0][0], units[own[0][2]]


def _point(
    cells: dict[str, str],
    columns: dict[str, float],
    before: Sequence[tuple[float, float]],
) -> tuple[float, float]:
    time, thrust = (
        number_of(cells[name], name) * factor for name, factor in columns.items()
    )
    if time < 0:
        raise ValueError(f"time {time:g} must not be negative")
    if before and time <= before[0][0]:
        raise ValueError(f"time {time:g} must follow {before[0][0]:g}")
    return time, thrust


def _cleaned(
    points: Sequence[tuple[float, float]], places: Sequence[str]
) -> tuple[list[float], list[float]]:
    """Take small thrusts below zero as noise, and end the curve with its thrust."""
    most = max(thrust for _, thrust in points)
    if most <= 0:
        raise ValueError("holds no thrust above zero")
    for where, (_, thrust) in zip(places, points, strict=True):
        if thrust < -_NOISE * most:
            raise PlacedError(
                where,
                f"{thrust:g} N is below zero by more than noise, {_NOISE:.0%} of the "
                "greatest thrust",
            )
    if points[-1][1] > _NOISE * most:
        raise PlacedError(
            places[-1],
            f"ends with {points[-1][1]:g} N, the motor still pushing; go on until the thrust "
            f"is back under {_NOISE:.0%} of its greatest",
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
