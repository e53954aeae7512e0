"""How likely each square of the ground is to be hit by a flight."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from driftmap.core.checks import FloatArray
from driftmap.core.estimate import weighted_mean
from driftmap.core.points import check_cloud
from driftmap.montecarlo.cloud import Cloud

_LEAST_CHANCE: Final = 1e-4
"""Least probability of a square that is written, unless asked otherwise."""


@dataclass(frozen=True, slots=True, eq=False)
class HitCells:
    """Squares of ground by their centres from the pad, and their side [m].

    With the probability that at least one piece of a flight lands there, and its interval.
    """

    east: FloatArray
    north: FloatArray
    estimate: FloatArray
    lower: FloatArray
    upper: FloatArray
    size: float

    def corners(self) -> tuple[FloatArray, FloatArray]:
        """Return the corners, counterclockwise from the south-west, closed.

        Result: corners from the pad [m], shape (k, 5).
        """
        half = self.size / 2
        return (
            self.east[:, None] + half * np.array([-1, 1, 1, -1, -1]),
            self.north[:, None] + half * np.array([-1, -1, 1, 1, -1]),
        )


_ACROSS: Final = 50  # steps across the middle half of the cloud
_COARSER: Final = 5
"""Squares are so many steps wide: a square is looked at by itself, and shall hold more than a
few chance hits."""

_MOST: Final = 1_000_000  # squares; a cloud 1,000 of them wide and high


def hit_cells(
    cloud: Cloud, *, floor: float = _LEAST_CHANCE, size: float | None = None
) -> HitCells:
    """Count, for each square, the flights of which a piece lands in it.

    ``floor``: squares with a smaller probability are left out, in [0, 1]; ``size``:
    side of a square [m]; by default about a tenth of the width of the middle half of
    the cloud.

    Result: all cases by their likelihood, from south-west to north-east. A trial is a
    flight: three fins in one square are one hit. Squares that no flight hit are left
    out whatever the floor; they are not proven safe. Raises `ValueError` if `floor` is
    no probability, or squares of this size would be too many.

    Estimate and interval are those of `driftmap.hazard.probability.mixture`: the trial
    is a flight with all its cases.
    """
    if not 0 <= floor <= 1:
        raise ValueError(f"'floor' must lie in 0 to 1 (got {floor})")
    points, _ = check_cloud(cloud.east, cloud.north, None)
    size = _side(points) if size is None else size
    if not 0 < size < np.inf:
        raise ValueError(f"a square must be more than 0 m wide (got {size})")
    first = np.floor(points.min(axis=1) / size)
    columns, rows = (np.floor(points.max(axis=1) / size) - first + 1).tolist()
    if columns * rows > _MOST:
        raise ValueError(
            f"squares of {size:g} m would be more than {_MOST:,}; make them wider"
        )
    column, row = (np.floor(points / size) - first[:, None]).astype(np.int64)
    p = _by_cell(cloud, row * int(columns) + column, int(columns * rows))
    hit = np.flatnonzero((p[0] > 0) & (p[0] >= floor))
    up, along = np.divmod(hit, int(columns))
    east, north = (first[:, None] + (along, up) + 0.5) * size
    estimate, lower, upper = p[:, hit]
    return HitCells(east, north, estimate, lower, upper, size)


def _side(points: FloatArray) -> float:
    """Pick a round side: fine for the bulk, yet not too many squares for the extremes [m]."""
    quarter, most = np.quantile(points, (0.25, 0.75), axis=1)
    bulk = float((most - quarter).max()) / _ACROSS
    extent = np.ptp(points, axis=1)
    for exponent in range(12):
        for step in (1.0, 2.0, 5.0):
            size: float = step * 10.0**exponent
            if size >= bulk and np.prod(extent / size + 2) <= _MOST:
                return _COARSER * size
    raise ValueError("the cloud is wider than the Earth")


def _by_cell(cloud: Cloud, cell: NDArray[np.int64], size: int) -> FloatArray:
    """Return estimate, lower and upper by cell, shape (3, size)."""
    keys, weights = [], []
    for case in cloud.tree.cases:
        parts = list(cloud.of(case.name))
        who = parts[0].who
        landed = np.concatenate([cell[p.rows].reshape(p.count, -1) for p in parts])
        # A second piece of a flight in the same cell adds nothing.
        key = np.unique(who * size + landed)
        keys.append(key)
        flight = np.searchsorted(who, key // size)
        weights.append(cloud.weights(case)[flight])
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
