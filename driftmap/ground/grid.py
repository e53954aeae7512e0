"""Probability of landing by square cell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.core.checks import FloatArray
from driftmap.core.points import check_cloud

__all__ = ["Grid", "probability_grid"]

_MOST_CELLS: Final = 1_000_000  # 8 MB of float64; a cloud 1,000 cells wide and high


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Probability of landing by square cell.

    Parameters
    ----------
    east_edges : ndarray, shape (nx + 1,)
        Cell edges toward east, whole multiples of the cell size [m].
    north_edges : ndarray, shape (ny + 1,)
        Cell edges toward north, whole multiples of the cell size [m].
    probability : ndarray, shape (ny, nx)
        Probability of landing in each cell; sums to 1.
    cell : float
        Cell size [m].
    """

    east_edges: FloatArray
    north_edges: FloatArray
    probability: FloatArray
    cell: float

    def __post_init__(self) -> None:
        if self.probability.shape != (
            self.north_edges.size - 1,
            self.east_edges.size - 1,
        ):
            raise ValueError("'probability' must have the shape (ny, nx)")
        for values in (self.east_edges, self.north_edges, self.probability):
            values.setflags(write=False)

    @property
    def east(self) -> FloatArray:
        """Cell centres toward east, shape (nx,) [m]."""
        return np.asarray((self.east_edges[:-1] + self.east_edges[1:]) / 2)

    @property
    def north(self) -> FloatArray:
        """Cell centres toward north, shape (ny,) [m]."""
        return np.asarray((self.north_edges[:-1] + self.north_edges[1:]) / 2)


def probability_grid(
    east: ArrayLike,
    north: ArrayLike,
    *,
    weights: ArrayLike | None = None,
    cell: float | None = None,
) -> Grid:
    """Probability of landing by square cell; every point is counted.

    ``east`` and ``north``, shape (n,): landing points [m]; ``weights``, shape (n,):
    weight of each point; by default all weigh the same; ``cell``: cell size [m]; by
    default 1, 2 or 5 times a power of ten that puts about fifty cells across the middle
    half of the cloud, more where points lie far out.

    Result: cells from the lowest to the highest point, edges on multiples of the size.
    Raises `ValueError` if there are no points, one is not finite, or cells of this size
    would be more than a million.
    """
    points, share = check_cloud(east, north, weights)
    low, high = points.min(axis=1), points.max(axis=1)
    if cell is None:
        cell = _cell_size(points)
    if not 0 < cell < np.inf:
        raise ValueError(f"'cell' must be more than 0 m (got {cell})")
    first = np.floor(low / cell)
    counts = np.floor(high / cell) - first + 1
    if counts.prod() > _MOST_CELLS:
        raise ValueError(
            f"'cell' must leave {_MOST_CELLS:,} cells or fewer (got {cell:g} m for a "
            f"cloud of {high[0] - low[0]:,.0f} by {high[1] - low[1]:,.0f} m)"
        )
    nx, ny = (int(count) for count in counts)
    column, row = (np.floor(points / cell) - first[:, None]).astype(int)
    total = np.bincount(row * nx + column, share, nx * ny).reshape(ny, nx)
    return Grid(
        east_edges=(first[0] + np.arange(nx + 1)) * cell,
        north_edges=(first[1] + np.arange(ny + 1)) * cell,
        probability=total / total.sum(),
        cell=float(cell),
    )


def _cell_size(points: FloatArray) -> float:
    """Pick a round cell size: fine for the bulk, yet not too many for the extremes."""
    quarter, most = np.quantile(points, (0.25, 0.75), axis=1)
    bulk = float((most - quarter).max()) / 50
    extent = np.ptp(points, axis=1)
    for exponent in range(12):
        for step in (1.0, 2.0, 5.0):
            size: float = step * 10.0**exponent
            if size >= bulk and np.prod(extent / size + 2) <= _MOST_CELLS:
                return size
    raise ValueError("the cloud is wider than the Earth")
