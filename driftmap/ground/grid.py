"""Where landing points gather: mean point, radii, probability by cell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from driftmap.core.checks import FloatArray

__all__ = [
    "SHARES",
    "Grid",
    "check_cloud",
    "check_shares",
    "mean_point",
    "probability_grid",
    "radii",
    "weighted_place",
]

SHARES: Final = (0.5, 0.9, 0.99)
"""Shares of the landing points that contours and radii are given for."""

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


def check_cloud(
    east: ArrayLike, north: ArrayLike, weights: ArrayLike | None
) -> tuple[FloatArray, FloatArray]:
    """Check a cloud of landing points.

    ``east`` and ``north``, shape (n,): landing points [m]; ``weights``, shape (n,):
    weight of each point; None if all weigh the same.

    Result: east and north [m], shape (2, n). Result: weights that sum to 1, shape (n,).
    Raises `ValueError` if there are no points, one is not finite, or the weights are no
    weights.
    """
    points = np.stack([np.ravel(np.asarray(x, dtype=float)) for x in (east, north)])
    n = points.shape[1]
    if n == 0:
        raise ValueError("the cloud must hold at least one landing point")
    share = (
        np.full(n, 1.0 / n)
        if weights is None
        else np.ravel(np.asarray(weights, dtype=float))
    )
    if share.size != n:
        raise ValueError(f"'weights' must hold one for each point (got {share.size})")
    if not np.all(np.isfinite(points)):
        bad = int(np.sum(~np.isfinite(points).all(axis=0)))
        raise ValueError(f"every landing point must be finite ({bad} of {n} are not)")
    if not (np.all(share >= 0) and 0 < share.sum() < np.inf):
        raise ValueError("'weights' must be finite, not negative, and not all zero")
    return points, share / share.sum()


def mean_point(
    east: ArrayLike, north: ArrayLike, *, weights: ArrayLike | None = None
) -> tuple[float, float]:
    """Mean of the landing points.

    ``east`` and ``north``, shape (n,): landing points [m]; ``weights``, shape (n,):
    weight of each point; by default all weigh the same.

    Result: the mean point [m]. Raises `ValueError` if there are no points or one is not
    finite.
    """
    points, share = check_cloud(east, north, weights)
    mean = points @ share
    return float(mean[0]), float(mean[1])


def radii(
    east: ArrayLike,
    north: ArrayLike,
    shares: Sequence[float] = SHARES,
    *,
    weights: ArrayLike | None = None,
) -> FloatArray:
    """Distances from the mean point within which a share of the points lies.

    Parameters
    ----------
    east, north : array_like, shape (n,)
        Landing points [m].
    shares : sequence of float, shape (k,)
        Shares in (0, 1).
    weights : array_like, shape (n,), optional
        Weight of each point; by default all weigh the same.

    Returns
    -------
    ndarray, shape (k,)
        Radius for each share: the smallest that holds it [m].

    Raises
    ------
    ValueError
        If there are no points, one is not finite, or a share is not in (0, 1).

    Examples
    --------
    >>> radii([0, 1, 2, 3, 4], [0, 0, 0, 0, 0], [0.2, 0.9])
    array([0., 2.])
    """
    points, share = check_cloud(east, north, weights)
    points -= (points @ share)[:, None]
    distance = np.hypot(*points)
    order = np.argsort(distance)
    return np.asarray(
        distance[order][weighted_place(share[order], check_shares(shares))]
    )


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


def check_shares(shares: Sequence[float]) -> FloatArray:
    """Check shares that a contour or a radius shall hold.

    ``shares``, shape (k,): shares in (0, 1).

    Result: the same, shape (k,). Raises `ValueError` if there are none, or one is not
    between 0 and 1.
    """
    wanted = np.asarray(shares, dtype=float)
    if not np.all((wanted > 0) & (wanted < 1)) or wanted.size == 0:
        raise ValueError(f"'shares' must lie between 0 and 1 (got {shares})")
    return wanted


def weighted_place(ordered_share: FloatArray, wanted: FloatArray) -> NDArray[np.intp]:
    """Find where in a row of points wanted shares are reached.

    ``ordered_share``, shape (n,): weights that sum to 1, in the order of the row;
    ``wanted``, shape (k,): shares in (0, 1).

    Result: index of the first point up to which each share lies, shape (k,).
    """
    # The last digits of a sum of a million shares must not push past an exact step.
    place = np.searchsorted(np.cumsum(ordered_share), wanted - 1e-9)
    return np.minimum(place, ordered_share.size - 1)
