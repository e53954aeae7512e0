"""Contours that hold a share of the landing points."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, TypeAlias, cast

import contourpy
import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from driftmap.core.checks import FloatArray
from driftmap.core.points import SHARES, check_cloud, check_shares
from driftmap.core.spread import even_points, even_weights, weighted_place

_POINT_SIZE: Final = 0.5
"""Radius of the disc over which each point is spread for contours [m].

Half a metre is less than the length of a rocket, and gives points that coincide or lie
on a line an area of their own.
"""

_Filled: TypeAlias = tuple[
    list[FloatArray], list[NDArray[np.uint32]], list[NDArray[np.uint32]]
]
"""Points of all outlines with their holes, where each ring starts, and each outline's first."""

_LEAST_ROOM: Final = 100.0  # m; about all points, for a contour to bulge into
_SCOUTS: Final = 50_000  # points that size the grid; the level itself uses all points
_CELLS_ACROSS: Final = 400  # the most; the time of smoothing grows as its square
_DEVIATION: Final = 2  # cells in a standard deviation of smoothing
_AT_ONCE: Final = 1 << 18  # points that are worked on together
_STRIP: Final = 64  # cells smoothed at once
_REACH: Final = 5 * _DEVIATION  # cells; beyond it nothing is left of a point
_AWAY: Final = np.arange(_STRIP) + _REACH - np.arange(_STRIP + 2 * _REACH)[:, None]
_KERNEL: Final = np.exp(-((_AWAY / _DEVIATION) ** 2) / 2)


@dataclass(frozen=True, slots=True, eq=False)
class Contour:
    """The smallest ground that holds a share of the landing points.

    Parameters
    ----------
    share : float
        Share of the points inside, in (0, 1).
    shape : shapely.MultiPolygon
        Its outline in metres from the pad [m].
    area : float
        Its area [m²].
    """

    share: float
    shape: shapely.MultiPolygon
    area: float


def containment(
    east: ArrayLike,
    north: ArrayLike,
    shares: Sequence[float] = SHARES,
    *,
    weights: ArrayLike | None = None,
) -> tuple[Contour, ...]:
    r"""Draw contours that hold given shares of the landing points.

    Each is a level line of the smoothed density, the level being the density that the
    wanted share of the points exceeds: the smallest ground with that share [1]_.
    Contours of one call are nested.

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
    tuple of Contour, length k
        In the order of `shares`.

    Raises
    ------
    ValueError
        If there are no points, one is not finite, or a share is not in (0, 1).

    Notes
    -----
    The density is a Gaussian kernel estimate of width :math:`h = s\,n^{-1/6}`, the
    normal-reference rule for two dimensions [2]_, on a grid along the principal axes
    of the cloud with both scaled to one; `s` is the standard deviation of a Gaussian
    that covers as much ground as the densest nine tenths of the points. Smoothing
    rounds what is smaller than `h` and may join parts that lie closer; the share inside
    stays right, as the level is set from the points themselves. Parts more than a
    hundred of their own widths apart get a coarser lattice and too large an area.
    What is counted is simulated points: a contour knows no error of the model. Few
    points draw the outer contours too small: the 99 % one of a Gaussian cloud by 16 %
    in area with 1,000 points, by 1 % with 20,000.

    References
    ----------
    .. [1] R. J. Hyndman, "Computing and graphing highest density regions", The American
       Statistician 50(2), 120-126, 1996. From memory.
    .. [2] D. W. Scott, *Multivariate Density Estimation*, Wiley, 1992. From memory.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> half, most = containment(*rng.normal(0, 100, (2, 20_000)), (0.5, 0.9))
    >>> half.shape.covers(shapely.Point(0, 0)), most.area > half.area
    (True, True)
    """
    points, share = check_cloud(east, north, weights)
    wanted = check_shares(shares)
    ends = points.min(axis=1), points.max(axis=1)
    points += _discs(points.shape[1])
    scouts = _equal_sample(points, share)
    axes, centre = _axes(scouts)
    flat = _whiten(axes, centre, points)
    x, y = _lattice(
        flat if scouts is points else _whiten(axes, centre, scouts),
        1 / float(share @ share),  # equal points that would vary as much
        float(wanted.max()),
        _POINT_SIZE / float(np.sqrt(abs(np.linalg.det(axes)))),
    )
    del points, scouts  # of a million flights each copy counts
    density = _smoothed(x, y, flat, share)
    each = _interpolate(x, y, density, flat)
    del flat
    levels = _levels(each, share, wanted)
    lines = contourpy.contour_generator(
        x, y, density, fill_type=contourpy.FillType.ChunkCombinedOffsetOffset
    )
    shapes = [
        _shape(cast("_Filled", lines.filled(level, np.inf)), axes, centre)
        for level in levels
    ]
    held = [_held(shape, *ends) for shape in shapes]
    return tuple(
        Contour(float(part), shape, float(shape.area))
        for part, shape in zip(wanted, held, strict=True)
    )


def _held(
    shape: shapely.MultiPolygon, low: FloatArray, high: FloatArray
) -> shapely.MultiPolygon:
    """Cut off what lies farther from all points, `low` to `high`, than they from each other.

    A handful of points strewn over hundreds of kilometres would be smoothed round the Earth.
    """
    room = float((high - low).max()) + _LEAST_ROOM
    box = (*(low - room), *(high + room))
    if np.all(np.subtract(shape.bounds, box) * (1, 1, -1, -1) >= 0):
        return shape
    return shapely.MultiPolygon(
        list(shapely.get_parts(shapely.clip_by_rect(shape, *box)))
    )


def _discs(count: int) -> FloatArray:
    """Spread points over their discs, evenly and always the same way."""
    return _even_discs(max(count, _SCOUTS))[:, :count]


@lru_cache(maxsize=1)  # but for the largest clouds they are the same for all
def _even_discs(count: int) -> FloatArray:
    across, round_it = even_points(count)
    radius, angle = _POINT_SIZE * np.sqrt(across), 2 * np.pi * round_it
    return np.asarray(radius * np.stack([np.cos(angle), np.sin(angle)]))


def _equal_sample(points: FloatArray, share: FloatArray) -> FloatArray:
    """Take every n-th point by weight: a sample of points of equal weight."""
    size = min(points.shape[1], _SCOUTS)
    if size == points.shape[1] and even_weights(share):
        return points
    places = np.searchsorted(np.cumsum(share), (np.arange(size) + 0.5) / size)
    return np.asarray(points[:, np.minimum(places, points.shape[1] - 1)])


def _axes(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return principal axes as columns (2, 2), each a standard deviation long."""
    least = np.eye(2) * _POINT_SIZE**2 / 4  # variance of the disc of a single point
    kept = points
    for _ in range(2):  # the second time without the outliers that the first one found
        centre = np.asarray(kept.mean(axis=1), dtype=float)
        offset = kept - centre[:, None]
        variance, turn = np.linalg.eigh(offset @ offset.T / kept.shape[1] + least)
        axes = np.asarray(turn * np.sqrt(variance), dtype=float)
        far = np.sum(_whiten(axes, centre, points) ** 2, axis=0)
        last = int(0.95 * (far.size - 1))
        # With room for rounding: two points lie equally far from their middle.
        kept = points[:, far <= np.partition(far, last)[last] * (1 + 1e-9)]
    return axes, centre


def _whiten(axes: FloatArray, centre: FloatArray, points: FloatArray) -> FloatArray:
    # Written out: a solver of the algebra library sets its threads to work on nothing.
    (a, b), (c, d) = np.linalg.inv(axes)
    east, north = points[0] - centre[0], points[1] - centre[1]
    return np.stack([a * east + b * north, c * east + d * north])


def _lattice(
    scouts: FloatArray, count: float, most: float, least: float
) -> tuple[FloatArray, FloatArray]:
    """Choose grid lines, one standard deviation of smoothing to every second one.

    The lattice holds all but so few points that the largest share can be reached, so
    outliers do not stretch it.
    """
    low, high = np.transpose([_narrowest(axis, (3 + most) / 4) for axis in scouts])
    stretch = np.maximum(1.0 - (high - low), 0.0) / 2
    low, high = low - stretch, high + stretch
    width = max(_scale(scouts, low, high) * count ** (-1 / 6), least)
    cell = max(width / 2, float((high - low).max()) / _CELLS_ACROSS)
    x, y = (
        np.arange(start - 8 * cell, stop + 9 * cell, cell)
        for start, stop in zip(low, high, strict=True)
    )
    return x, y


def _narrowest(values: FloatArray, part: float) -> tuple[float, float]:
    """Find the narrowest interval that holds a part of the values."""
    ordered = np.sort(values)
    inside = int(np.ceil(part * ordered.size))
    starts = ordered[: ordered.size - inside + 1]
    first = int(np.argmin(ordered[inside - 1 :] - starts))
    return float(ordered[first]), float(ordered[first + inside - 1])


def _scale(points: FloatArray, low: FloatArray, high: FloatArray) -> float:
    """Return the deviation of a Gaussian whose densest 90 % cover as much ground."""
    bins, n = 8, points.shape[1]
    across = (points - low[:, None]) / (high - low)[:, None]
    across = across[:, ((across >= 0) & (across <= 1)).all(axis=0)]
    for _ in range(3):  # until about fifty points share a cell where they are dense
        column, row = np.minimum(across * bins, bins - 1).astype(int)
        filled = np.cumsum(np.sort(np.bincount(column * bins + row))[::-1])
        cells = int(np.searchsorted(filled, 0.9 * filled[-1])) + 1
        area = cells * float(np.prod((high - low) / bins))
        finer = bins * np.sqrt(max(1, n // 50) / cells)
        bins = int(np.clip(finer, 1, _CELLS_ACROSS))
    return min(1.0, float(np.sqrt(area / (2 * np.pi * np.log(10)))))


def _smoothed(
    x: FloatArray, y: FloatArray, points: FloatArray, share: FloatArray
) -> FloatArray:
    """Count points by lattice node and smooth; shape (ny, nx), not normalised."""
    cell, total = x[1] - x[0], np.zeros(x.size * y.size)
    for some in _some_at_once(share.size):
        column, row = (
            np.floor((axis[some] - lines[0]) / cell + 0.5)
            for axis, lines in zip(points, (x, y), strict=True)
        )
        inside = (column >= 0) & (column < x.size) & (row >= 0) & (row < y.size)
        node = (row[inside] * x.size + column[inside]).astype(int)
        total += np.bincount(node, share[some][inside], total.size)
    counts = total.reshape(y.size, x.size)
    return _blurred(_blurred(counts).T).T


def _some_at_once(count: int) -> Iterator[slice]:
    return (slice(at, at + _AT_ONCE) for at in range(0, count, _AT_ONCE))


def _blurred(counts: FloatArray) -> FloatArray:
    """Smooth along rows, in strips: beyond five standard deviations nothing is left.

    Products of small matrices: the filter of scipy would cost 0.2 s to import.
    """
    size = counts.shape[1]
    padded = np.pad(counts, ((0, 0), (_REACH, _REACH)))
    strips = [padded[:, at : at + _STRIP + 2 * _REACH] for at in range(0, size, _STRIP)]
    return np.concatenate(
        [
            strip @ _KERNEL[: strip.shape[1], : strip.shape[1] - 2 * _REACH]
            for strip in strips
        ],
        axis=1,
    )


def _interpolate(
    x: FloatArray, y: FloatArray, density: FloatArray, points: FloatArray
) -> FloatArray:
    """Interpolate the density at points, linear along both axes; 0 off the lattice."""
    cell, corner = x[1] - x[0], density.ravel()
    result = np.zeros(points.shape[1])
    for some in _some_at_once(result.size):
        u, v = (points[0, some] - x[0]) / cell, (points[1, some] - y[0]) / cell
        inside = (u >= 0) & (u < x.size - 1) & (v >= 0) & (v < y.size - 1)
        u, v = u[inside], v[inside]
        i, j = u.astype(int), v.astype(int)
        u, v = u - i, v - j
        at = j * x.size + i
        low = corner[at] * (1 - u) + corner[at + 1] * u
        high = corner[at + x.size] * (1 - u) + corner[at + x.size + 1] * u
        result[some][inside] = low * (1 - v) + high * v
    return result


def _levels(density: FloatArray, share: FloatArray, wanted: FloatArray) -> FloatArray:
    """Return the levels that the wanted shares of the points exceed.

    A level lies midway to the next point down, the last one midway to none, so that
    the points themselves lie inside and not on the line.
    """
    order = np.argsort(-density)
    last = weighted_place(share[order], wanted)
    falling = np.append(density[order], 0.0)
    return np.asarray((falling[last] + falling[last + 1]) / 2)


def _shape(
    filled: _Filled, axes: FloatArray, centre: FloatArray
) -> shapely.MultiPolygon:
    """Turn filled contours of the lattice into polygons of the site."""
    (points,), (rings,), (outlines,) = filled
    ends = rings, outlines, np.array([0, outlines.size - 1])
    many = shapely.GeometryType.MULTIPOLYGON
    shape: shapely.MultiPolygon
    (shape,) = shapely.from_ragged_array(many, points @ axes.T + centre, ends)
    if shapely.is_valid(shape):
        return shape
    # Rings may touch themselves where two level lines meet; a buffer of 0 mends that.
    return shapely.MultiPolygon(
        [part for part in shapely.get_parts(shape.buffer(0.0)) if part.area > 0]
    )
