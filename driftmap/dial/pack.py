"""Landings of many winds as few bytes: outlines thinned, whole metres, small steps.

The stream is a row of whole numbers, each in groups of seven bits, low ones first, the
eighth bit saying that more follow (as LEB128 does). Signed ones are folded: 0, -1, 1, -2 …
become 0, 1, 2, 3 …

For each wind, likelihoods of all cases, then all pieces in their order. A likelihood is a
share times `SHARE_STEPS`, rounded up; 0 if the case never came up. A piece is 0 if it never
came down, else 1; signed mean east and north [m]; radius and farthest point [m], rounded up;
soonest [s], rounded down, and latest, rounded up; speed [dm/s] and energy [J], rounded up;
then for each line the number of its rings, and for each ring the number of its corners and
signed steps east and north [m], the first from the pad, each next from the one before.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np
import shapely

from driftmap.dial.compute import Landing, Node

__all__ = ["SHARE_STEPS", "TOLERANCE", "line_error", "pack_nodes"]

TOLERANCE: Final = 1.5
"""Farthest that thinning leaves a corner of an outline beside it [m]."""

SHARE_STEPS: Final = 100_000
"""Steps in which a likelihood is told."""

Pieces = Sequence[tuple[str, str, int]]


def line_error(tolerance: float) -> float:
    """Say how far packing may move a line.

    Parameters
    ----------
    tolerance : float
        Tolerance of the thinning [m].

    Returns
    -------
    float
        The tolerance, and half the diagonal of a square metre for the rounding [m].
    """
    return tolerance + math.sqrt(0.5)


def pack_nodes(
    nodes: Iterable[Node], pieces: Pieces, *, tolerance: float = TOLERANCE
) -> bytes:
    """Pack the landings of winds.

    Parameters
    ----------
    nodes : iterable of Node
        The winds, in the order of the stream.
    pieces : sequence of (str, str, int)
        Every case and body, as `Dial.pieces`.
    tolerance : float
        Tolerance of the thinning [m].

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
            stream += [0] if landing is None else [1, *_landing(landing, tolerance)]
    return _groups(stream)


def _landing(landing: Landing, tolerance: float) -> list[int]:
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
        numbers += _outline(line, tolerance)
    return numbers


def _up(value: float) -> int:
    return math.ceil(value - 1e-9)


def _folded(value: int) -> int:
    return 2 * value if value >= 0 else -2 * value - 1


def _outline(shape: shapely.MultiPolygon, tolerance: float) -> list[int]:
    slim = shapely.simplify(shape, tolerance)
    rings = [
        r for polygon in shapely.get_parts(slim) for r in shapely.get_rings(polygon)
    ]
    numbers = [len(rings)]
    for ring in rings:
        # The last corner is the first again; the reader closes rings itself.
        corners = np.rint(shapely.get_coordinates(ring)[:-1]).astype(int)
        steps = np.diff(corners, axis=0, prepend=[[0, 0]]).ravel()
        numbers.append(len(corners))
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
