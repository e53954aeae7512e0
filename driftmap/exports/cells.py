"""How likely each square of ground is hit by at least one piece of a flight."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from driftmap.checks import FloatArray
from driftmap.ground.grid import probability_grid
from driftmap.hazard.sampling import weighted_mean
from driftmap.montecarlo.cloud import Cloud

__all__ = ["FLOOR", "Cells", "hit_cells"]

FLOOR: Final = 1e-4
"""Least probability of a square that is written, unless asked otherwise."""


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Squares of ground and the probability that a flight hits them.

    Parameters
    ----------
    east, north : ndarray, shape (k,)
        Centres from the pad [m].
    estimate, lower, upper : ndarray, shape (k,)
        Probability that at least one piece lands in the square, with its interval.
    size : float
        Side of a square [m].
    """

    east: FloatArray
    north: FloatArray
    estimate: FloatArray
    lower: FloatArray
    upper: FloatArray
    size: float

    def corners(self) -> tuple[FloatArray, FloatArray]:
        """Give the corners, counterclockwise from the south-west, closed.

        Returns
        -------
        east, north : ndarray, shape (k, 5)
            Corners from the pad [m].
        """
        half = self.size / 2
        return (
            self.east[:, None] + half * np.array([-1, 1, 1, -1, -1]),
            self.north[:, None] + half * np.array([-1, -1, 1, 1, -1]),
        )


_COARSER: Final = 5
"""Squares are so many times wider than the cells of `probability_grid`: a square is
looked at by itself, and shall hold more than a few chance hits."""


def hit_cells(
    cloud: Cloud, *, floor: float = FLOOR, size: float | None = None
) -> Cells:
    """Count, for each square, the flights of which a piece lands in it.

    Parameters
    ----------
    cloud : Cloud
        Landing points.
    floor : float
        Squares with a smaller probability are left out, in [0, 1].
    size : float, optional
        Side of a square [m]; by default about a tenth of the width of the middle half
        of the cloud.

    Returns
    -------
    Cells
        All cases by their likelihood, from south-west to north-east. A trial is a
        flight: three fins in one square are one hit. Squares that no flight hit are
        left out whatever the floor; they are not proven safe.

    Raises
    ------
    ValueError
        If `floor` is no probability, or squares of this size would be too many.

    Notes
    -----
    Estimate and interval are those of `driftmap.hazard.probability.mixture`: the trial is a flight
    with all its cases.
    """
    if not 0 <= floor <= 1:
        raise ValueError(f"'floor' must lie in 0 to 1 (got {floor})")
    # Only the edges of the grids are used: they suit the spread of the points.
    if size is None:
        size = _COARSER * probability_grid(cloud.east, cloud.north).cell
    lattice = probability_grid(cloud.east, cloud.north, cell=size)
    rows, columns = lattice.probability.shape
    column, row = (
        (np.floor(axis / size) - np.floor(axis.min() / size)).astype(np.int64)
        for axis in (cloud.east, cloud.north)
    )
    cell = row * columns + column
    p = _by_cell(cloud, cell, rows * columns)
    hit = np.flatnonzero((p[0] > 0) & (p[0] >= floor))
    estimate, lower, upper = p[:, hit]
    return Cells(
        lattice.east[hit % columns],
        lattice.north[hit // columns],
        estimate,
        lower,
        upper,
        lattice.cell,
    )


def _by_cell(cloud: Cloud, cell: NDArray[np.int64], size: int) -> FloatArray:
    """Give estimate, lower and upper by cell, shape (3, size)."""
    keys, weights = [], []
    for case in cloud.tree.cases:
        parts = list(cloud.of(case.name))
        who = parts[0].who
        landed = np.concatenate([cell[p.rows].reshape(p.count, -1) for p in parts])
        # A second piece of a flight in the same cell adds nothing.
        key = np.unique(who * size + landed)
        keys.append(key)
        flight = np.searchsorted(who, key // size)
        weights.append(cloud.weights(case, who)[flight])
    key, place = np.unique(np.concatenate(keys), return_inverse=True)
    chance = np.bincount(place, np.concatenate(weights))
    where = key % size
    order = np.argsort(where, kind="stable")
    found, starts = np.unique(where[order], return_index=True)
    p = np.zeros((3, size))
    for one, values in zip(found, np.split(chance[order], starts[1:]), strict=True):
        most = max(1.0, values.max())
        mean = weighted_mean(values[values > 0], cloud.flights, most)
        p[:, one] = mean.estimate, mean.lower, min(mean.upper, 1.0)
    return p
