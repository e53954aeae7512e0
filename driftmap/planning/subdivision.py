"""A grid of winds cut into the widest spans that one verdict covers.

Where one verdict holds over a wider span, that is judged as one and no wind in it is flown.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Final, TypeAlias, TypeVar

T = TypeVar("T")

Span: TypeAlias = tuple[int, int, int, int]
"""Cells of a grid of winds: from one speed to another, and from one direction to another."""

_WIDE: Final = 45.0  # deg; widest span that is judged as one
_HIGH: Final = 5.0  # m/s; from its slow end to its fast one


def most_cells(size: tuple[int, int], step: float, turn: float) -> tuple[int, int]:
    """Say how many speeds and directions the widest span holds; one cell where cells are wide.

    ``size``: of the grid; ``step`` and ``turn``: of a cell [m s⁻¹] [deg].
    """
    if turn > _WIDE or step > _HIGH:
        return 1, 1
    rows = math.ceil(size[0] / math.ceil(size[0] * step / _HIGH))
    return min(rows, int(_HIGH / step + 1e-9)), int(_WIDE / turn + 1e-9)


def settled_spans(
    wanted: Iterable[Span],
    size: tuple[int, int],
    most: tuple[int, int],
    judge: Callable[[Span], T | Sequence[str]],
) -> dict[Span, T]:
    """Find the widest spans about some cells that have one result.

    ``wanted``: what each must hold; ``size``: of the grid; ``most``: from `most_cells`;
    ``judge``: what can be told of a span, or the words in its four corners.

    Result: that, by what was wanted; what can only be judged by itself is left out. Spans
    are cut in two the way that words change. Those of the same speeds are judged one after
    the other, as turns of each other that share their flights.
    """
    found: dict[Span, T] = {}
    about: dict[Span, list[Span]] = {}
    for one in wanted:
        about.setdefault(tile(one, size, most), []).append(one)
    while about:
        parts: dict[Span, list[Span]] = {}
        for span, held in sorted(about.items()):
            inner = [one for one in held if one != span and _holds(span, one)]
            told = judge(span) if inner else ()
            if not isinstance(told, Sequence):
                found |= dict.fromkeys(inner, told)
                continue
            for one in inner:
                parts.setdefault(_part(span, told, one), []).append(one)
        about = parts
    return found


def tile(cell: Span, size: tuple[int, int], most: tuple[int, int]) -> Span:
    """Return the widest span about where a cell begins."""
    (i, up), (j, on) = (
        (at // wide * wide, min(at // wide * wide + wide, end))
        for at, end, wide in zip(cell[::2], size, most, strict=True)
    )
    return i, up, j, on


def _holds(span: Span, cell: Span) -> bool:
    return span[1] >= cell[1] and span[3] >= cell[3]  # it begins there already


def _part(span: Span, words: Sequence[str], cell: Span) -> Span:
    """Return the half of a span that a cell begins in, or the quarter."""
    (i, up, j, on), (a, b, c, d) = span, words
    rows = not (a == c and b == d and on - j > 1)
    columns = not (a == b and c == d and up - i > 1)
    if rows or not columns:  # all four alike: the speed is what most hangs on
        i, up = _half(i, up, cell[0])
    if columns:
        j, on = _half(j, on, cell[2])
    return i, up, j, on


def _half(low: int, high: int, at: int) -> tuple[int, int]:
    # In powers of two, so that a span's middle lies on the ends of the next.
    middle = low + 2 ** ((high - low - 1).bit_length() - 1) if high - low > 1 else high
    return (low, middle) if at < middle else (middle, high)
