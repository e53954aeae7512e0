"""Landings of many winds in little text: taut lines, thinned, coarse units, small steps.

A line is drawn taut, as a string round the ground that holds a share of the landings: it
leaves none of that ground out, and needs a third of the corners.

The text is a row of whole numbers in `SYMBOLS`. A number below `FINAL` is the symbol at its
place. A larger one is written from its low end: symbols from `FINAL` on stand for the rest of
a division by how many of them there are, until what is left is below `FINAL`. Signed numbers
are folded: 0, -1, 1, -2 … become 0, 1, 2, 3 …

For each wind, likelihoods of all cases, then all pieces in their order. A likelihood is a
share times `SHARE_STEPS`, rounded up; 0 if the case never came up. A piece is 0 if it never
came down, else 1; signed mean east and north [m]; radius and farthest point [m], rounded up;
soonest [s], rounded down, and latest, rounded up; speed [dm/s], energy and typical
energy [J], rounded up;
the unit of its lines as a power of two [m]; then for each line the number of its corners and
signed steps east and north in that unit, the first from the pad, each next from the one
before.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.dial.node import Landing, Node

__all__ = [
    "FINAL",
    "FINENESS",
    "SHARE_STEPS",
    "SYMBOLS",
    "TOLERANCE",
    "line_error",
    "pack_nodes",
]

SYMBOLS: Final = "".join(chr(c) for c in range(32, 127) if chr(c) not in '"\\<')
"""Symbols that stand for themselves in a script: printable, and neither quote, backslash nor
the start of a tag."""

FINAL: Final = 76
"""How many of `SYMBOLS` end a number; the other 16 say that more follow."""

TOLERANCE: Final = 1.5
"""Least distance by which thinning may leave a corner of an outline beside it [m]."""

FINENESS: Final = 400.0
"""The lines of a piece are thinned by the width of the outer one over this, where that is
more than `TOLERANCE`: a screen shows no more."""

SHARE_STEPS: Final = 100_000
"""Steps in which a likelihood is told."""

Pieces = Sequence[tuple[str, str, int]]


def line_error(width: float, fineness: float = FINENESS) -> float:
    """Say how far packing may move the taut lines of a piece.

    Parameters
    ----------
    width : float
        Larger of the extents of the outer one east and north [m].
    fineness : float
        As for `pack_nodes`.

    Returns
    -------
    float
        The tolerance of thinning, and half the diagonal of a unit for the rounding, with
        a hundredth more for the two together [m].
    """
    tolerance = _tolerance(width, fineness)
    return 1.01 * (tolerance + 2.0 ** _power(tolerance) * math.sqrt(0.5))


def _tolerance(width: float, fineness: float) -> float:
    return max(TOLERANCE, width / fineness)


def _power(tolerance: float) -> int:
    """Find the largest unit no longer than the tolerance, as a power of two."""
    return math.floor(math.log2(tolerance))


def pack_nodes(
    nodes: Iterable[Node], pieces: Pieces, *, fineness: float = FINENESS
) -> str:
    """Pack the landings of winds.

    Parameters
    ----------
    nodes : iterable of Node
        The winds, in the order of the text.
    pieces : sequence of (str, str, int)
        Every case and body, as `Dial.pieces`.
    fineness : float
        Width of an outline over what thinning may move it by.

    Returns
    -------
    str
        The text of the module's docstring.
    """
    cases = list(dict.fromkeys(case for case, _, _ in pieces))
    stream: list[int] = []
    for node in nodes:
        likely, landings = node.likely or {}, node.landings or {}
        for case in cases:
            stream.append(_up(likely.get(case, 0.0) * SHARE_STEPS))
        for case, body, _ in pieces:
            landing = landings.get((case, body))
            stream += [0] if landing is None else [1, *_landing(landing, fineness)]
    return _written(stream)


def _landing(landing: Landing, fineness: float) -> list[int]:
    numbers = [
        *(_folded(round(v)) for v in landing.mean),
        _up(landing.radius),
        _up(landing.farthest),
        math.floor(landing.soonest),
        _up(landing.latest),
        _up(landing.speed * 10),
        _up(landing.energy),
        _up(landing.typical),
    ]
    west, south, east, north = landing.lines[-1].bounds
    tolerance = _tolerance(max(east - west, north - south), fineness)
    power = _power(tolerance)
    numbers.append(power)
    for line in landing.lines:
        numbers += _corners(_thinned(shapely.convex_hull(line), tolerance), 2.0**power)
    return numbers


def _thinned(taut: BaseGeometry, tolerance: float) -> BaseGeometry:
    """Leave corners out, none farther than the tolerance from what is left.

    The thinning of the geometry library may go beyond it where a ring begins and ends.
    """
    step = tolerance
    while True:
        thin = shapely.simplify(taut, step)
        if shapely.hausdorff_distance(thin.boundary, taut.boundary) <= tolerance:
            return thin
        step /= 2


def _up(value: float) -> int:
    return math.ceil(value - 1e-9)


def _folded(value: int) -> int:
    return 2 * value if value >= 0 else -2 * value - 1


def _corners(ring: BaseGeometry, unit: float) -> list[int]:
    # The last corner is the first again; the reader closes the ring itself.
    places = np.rint(shapely.get_coordinates(ring)[:-1] / unit).astype(int)
    steps = np.diff(places, axis=0, prepend=[[0, 0]]).ravel()
    return [len(places), *np.where(steps >= 0, 2 * steps, -2 * steps - 1).tolist()]


def _written(numbers: Iterable[int]) -> str:
    out = []
    more = len(SYMBOLS) - FINAL
    for number in numbers:
        rest = number
        while rest >= FINAL:
            out.append(SYMBOLS[FINAL + rest % more])
            rest //= more
        out.append(SYMBOLS[rest])
    return "".join(out)
