"""Points in the plane and on the Earth: turned, their mean, their distance, radii that hold a share."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.core.checks import FloatArray
from driftmap.core.spread import weighted_place

COMPASS: Final = (
    *("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE"),
    *("S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW"),
)
"""The points of the compass, clockwise from north."""

SHARES: Final = (0.5, 0.9, 0.99)
"""Shares of the landing points that contours and radii are given for."""

EARTH: Final = 6_371_000.0
"""Radius of the Earth as a sphere [m] (IUGG, mean)."""


def over_ground(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Return the distance of two places in degrees [m], over a sphere (haversine)."""
    lat, lon, other_lat, other_lon = map(math.radians, (*one, *other))
    half = math.sin((lat - other_lat) / 2) ** 2
    half += math.cos(lat) * math.cos(other_lat) * math.sin((lon - other_lon) / 2) ** 2
    return 2 * EARTH * math.asin(min(1.0, math.sqrt(half)))


def turn(
    east: ArrayLike, north: ArrayLike, angle: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Turn vectors clockwise by an angle [rad], as bearings run.

    Examples
    --------
    East turned by 90° is south:

    >>> east, north = turn(1.0, 0.0, np.radians(90.0))
    >>> float(east.round(12)), float(north)
    (0.0, -1.0)
    """
    both: tuple[Any, Any] = np.cos(angle), np.sin(angle)
    # A plain number leaves vectors in single precision as they are.
    cos, sin = both if np.ndim(angle) else map(float, both)
    e, n = np.asarray(east), np.asarray(north)
    return np.asarray(cos * e + sin * n), np.asarray(cos * n - sin * e)


def check_cloud(
    east: ArrayLike, north: ArrayLike, weights: ArrayLike | None
) -> tuple[FloatArray, FloatArray]:
    """Check a cloud of landing points.

    ``east`` and ``north``, shape (n,): landing points [m]; ``weights``, shape (n,):
    weight of each point; None if all weigh the same.

    Result: east and north [m], shape (2, n), and weights that sum to 1, shape (n,).
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
    """Return the distances from the mean point within which shares of the points lie [m].

    ``east`` and ``north``, shape (n,): landing points [m]; ``shares``, shape (k,): in (0, 1);
    ``weights``, shape (n,): weight of each point; by default all weigh the same.

    Result: the smallest radius that holds each share, shape (k,). Raises `ValueError` if there
    are no points, one is not finite, or a share is out of range.

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
