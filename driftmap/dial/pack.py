"""Landings of many winds as few bytes: outlines thinned, coarse units, small steps.

The stream is a row of whole numbers, each in groups of seven bits, low ones first, the
eighth bit saying that more follow (as LEB128 does). Signed ones are folded: 0, -1, 1, -2 …
become 0, 1, 2, 3 …

For each wind, likelihoods of all cases, then all pieces in their order. A likelihood is a
share times `SHARE_STEPS`, rounded up; 0 if the case never came up. A piece is 0 if it never
came down, else 1; signed mean east and north [m]; radius and farthest point [m], rounded up;
soonest [s], rounded down, and latest, rounded up; speed [dm/s] and energy [J], rounded up;
then for each line its unit as a power of two [m], the number of its rings, and for each ring
the number of its corners and signed steps east and north in that unit, the first from the
pad, each next from the one before.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np
import shapely

from driftmap.dial.compute import Landing, Node

__all__ = ["FINENESS", "SHARE_STEPS", "TOLERANCE", "line_error", "pack_nodes"]

TOLERANCE: Final = 1.5
"""Least distance by which thinning may leave a corner of an outline beside it [m]."""

FINENESS: Final = 400
"""An outline wider than this many times `TOLERANCE` is thinned by its width over this: a
screen shows no more."""

SHARE_STEPS: Final = 100_000
"""Steps in which a likelihood is told."""

Pieces = Sequence[tuple[str, str, int]]


def line_error(width: float, fineness: float = FINENESS) -> float:
    """Say how far packing may move an outline.

    Parameters
    ----------
    width : float
        Larger of its extents east and north [m].
    fineness : float
        As for `pack_nodes`.

    Returns
    -------
    float
        The tolerance of thinning, and half the diagonal of a unit for the rounding [m].
    """
    tolerance = _tolerance(width, fineness)
    return tolerance + 2.0 ** _power(tolerance) * math.sqrt(0.5)


def _tolerance(width: float, fineness: float) -> float:
    return max(TOLERANCE, width / fineness)


def _power(tolerance: float) -> int:
    """Find the largest unit no longer than the tolerance, as a power of two."""
    return math.floor(math.log2(tolerance))


def pack_nodes(
    nodes: Iterable[Node], pieces: Pieces, *, fineness: float = FINENESS
) -> bytes:
    """Pack the landings of winds.

    Parameters
    ----------
    nodes : iterable of Node
        The winds, in the order of the stream.
    pieces : sequence of (str, str, int)
        Every case and body, as `Dial.pieces`.
    fineness : float
        Width of an outline over what thinning may move it by.

    Returns
    -------
    bytes
        The stream of the module's docstring.
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
    return _groups(stream)


def _landing(landing: Landing, fineness: float) -> list[int]:
    numbers = [
        *(_folded(round(v)) for v in landing.mean),
        _up(landing.radius),
        _up(landing.farthest),
        math.floor(landing.soonest),
        _up(landing.latest),
        _up(landing.speed * 10),
        _up(landing.energy),
    ]
    for line in landing.lines:
        numbers += _outline(line, fineness)
    return numbers


def _up(value: float) -> int:
    return math.ceil(value - 1e-9)


def _folded(value: int) -> int:
    return 2 * value if value >= 0 else -2 * value - 1


def _outline(shape: shapely.MultiPolygon, fineness: float) -> list[int]:
    west, south, east, north = shape.bounds
    tolerance = _tolerance(max(east - west, north - south), fineness)
    power = _power(tolerance)
    slim = shapely.simplify(shape, tolerance)
    rings = [
        ring for part in shapely.get_parts(slim) for ring in shapely.get_rings(part)
    ]
    numbers = [power, len(rings)]
    for ring in rings:
        # The last corner is the first again; the reader closes rings itself.
        places = shapely.get_coordinates(ring)[:-1] / 2.0**power
        steps = np.diff(np.rint(places).astype(int), axis=0, prepend=[[0, 0]]).ravel()
        numbers.append(len(places))
        numbers += np.where(steps >= 0, 2 * steps, -2 * steps - 1).tolist()
    return numbers


def _groups(numbers: Iterable[int]) -> bytes:
    """Write numbers in groups of seven bits."""
    out = bytearray()
    for number in numbers:
        rest = number
        while rest > 127:
            out.append(rest & 127 | 128)
            rest >>= 7
        out.append(rest)
    return bytes(out)
