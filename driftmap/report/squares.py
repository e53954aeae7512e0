"""The square grid for radio talk, and the rings and bearings about the pad."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from driftmap.core.checks import FloatArray
from driftmap.core.units import FOOT
from driftmap.report.words import Units

__all__ = ["Bounds", "Squares", "lay_squares", "ring_step", "rings", "spokes"]

Bounds = tuple[float, float, float, float]
"""West, south, east, north from the pad [m]."""

_LETTERS: Final = "ABCDEFGHJKLMNPQRSTUVWXYZ"  # no I and no O: they are heard as 1 and 0
_SIZES: Final[dict[Units, tuple[float, ...]]] = {
    "us": tuple(FOOT * n * 10**k for k in range(7) for n in (50, 100, 200, 250)),
    "si": tuple(float(n * 10**k) for k in range(7) for n in (20, 25, 50, 100)),
}
_MOST: Final = 12
"""Squares along a side: more are too small to read, and too many to say."""

_MOST_RINGS: Final = 5
_SPOKE: Final = 30  # deg


@dataclass(frozen=True, slots=True)
class Squares:
    """A grid of named squares; the pad stands where four of them meet.

    Parameters
    ----------
    size : float
        Side of a square [m].
    west, south : float
        Lower left corner of square A1 from the pad [m].
    columns, rows : int
        Squares toward east, named by letters, and toward north, named by numbers.
    """

    size: float
    west: float
    south: float
    columns: int
    rows: int

    @property
    def letters(self) -> str:
        """Letters of the columns from west to east."""
        return _LETTERS[: self.columns]

    def lines(self) -> list[FloatArray]:
        """Give the lines of the grid.

        Result: east and north of points along each line [m], shape (5, 2).
        """
        east = self.west + self.size * np.arange(self.columns + 1)
        north = self.south + self.size * np.arange(self.rows + 1)
        # Straight on the ground is not straight on the map: a few points bend it.
        along_e = np.linspace(east[0], east[-1], 5)
        along_n = np.linspace(north[0], north[-1], 5)
        return [
            *(np.column_stack([np.full(5, e), along_n]) for e in east),
            *(np.column_stack([along_e, np.full(5, n)]) for n in north),
        ]


def lay_squares(bounds: Bounds, units: Units) -> Squares:
    """Cover ground with the smallest round squares of which a dozen a side suffice.

    ``bounds``: west, south, east, north to cover [m]; ``units``: whether sides are
    round in feet or in metres.
    """
    west, south, east, north = bounds
    for size in _SIZES[units]:
        first, low = math.floor(west / size), math.floor(south / size)
        columns, rows = math.ceil(east / size) - first, math.ceil(north / size) - low
        if max(columns, rows) <= _MOST:
            break
    # No ground on Earth is wider than a dozen of the largest.
    columns, rows = (min(max(n, 1), len(_LETTERS)) for n in (columns, rows))
    return Squares(size, first * size, low * size, columns, rows)


def ring_step(reach: float, units: Units) -> float:
    """Choose a round distance between rings.

    ``reach``: distance the rings should cover [m]; ``units``: whether it is round in
    feet or in metres.
    """
    sizes = _SIZES[units]
    return next((s for s in sizes if s * _MOST_RINGS >= reach), sizes[-1])


def rings(step: float) -> list[tuple[float, FloatArray]]:
    """Draw circles about the pad, so far apart [m].

    Result: radius, and points around from the pad, shape (n, 2) [m].
    """
    turn = np.radians(np.arange(0, 361, 5))
    circle = np.column_stack([np.sin(turn), np.cos(turn)])
    return [(float(r), r * circle) for r in step * np.arange(1, _MOST_RINGS + 1)]


def spokes(step: float) -> list[tuple[int, FloatArray]]:
    """Draw bearings out from the innermost ring.

    Result: bearing from true north [deg], and both ends from the pad, shape (2, 2) [m].
    """
    ends = step * np.array([1.0, _MOST_RINGS])
    return [
        (d, np.outer(ends, [math.sin(math.radians(d)), math.cos(math.radians(d))]))
        for d in range(0, 360, _SPOKE)
    ]
