"""How the wind's error is correlated over height, and winds drawn with it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.air.wind import WindProfile
from driftmap.core.checks import FloatArray

_KEPT: Final = 0.99  # of the variance of the likeness over height

_ONE_THREAD: Final = 200_000
"""Products up to which BLAS multiplies matrices in one thread (OpenBLAS: 262,144), so that no
sum depends on the number of threads."""

_ALIKE: Final = 750.0
"""Height over which the errors of a wind without `modes` stay alike [m]: they are correlated as
``exp(-|dz| / 750 m)``; assumed."""

TAILS: Final = 5.5
"""Degrees of freedom of the errors of a wind with `WindProfile.modes`: on some days all of
them are large. The most likely ones of drifts through real winds are 3 to 4 from 300 m, 5 to
8 from 900 m and higher, and about 5.5 on the whole."""


def modes_of(covariance: FloatArray, error: FloatArray) -> FloatArray:
    """Reduce the covariance of an error over height to a few patterns.

    Parameters
    ----------
    covariance : ndarray, shape (k, k)
        Covariance between the heights [m² s⁻²].
    error : ndarray, shape (k,)
        Standard error at each height, which the patterns keep exactly [m s⁻¹].

    Returns
    -------
    ndarray, shape (k, r)
        Patterns that hold all but a hundredth of the likeness over height; drifts stray by up to
        a hundredth more.
    """
    size = np.sqrt(np.maximum(np.diag(covariance), 1e-12))
    values, vectors = np.linalg.eigh(covariance / np.multiply.outer(size, size))
    share = np.cumsum(values[::-1]) / values.sum()
    count = int(np.searchsorted(share, _KEPT)) + 1
    modes = vectors[:, ::-1][:, :count] * np.sqrt(np.maximum(values[::-1][:count], 0))
    # One sign for each pattern: eigenvectors have none, and draws must not depend on it.
    modes *= np.where(modes.sum(axis=0) < 0, -1.0, 1.0)
    return np.asarray(modes * (error / np.linalg.norm(modes, axis=1))[:, None])


def error_modes(wind: WindProfile, heights: ArrayLike) -> FloatArray:
    """Return the patterns of a wind's error at the heights of a column of air.

    Parameters
    ----------
    wind : WindProfile
        The wind as known.
    heights : array_like, shape (k,)
        Heights above the site, increasing [m].

    Returns
    -------
    ndarray, shape (k, r)
        As `WindProfile.modes`; of a wind without any, those of errors alike over 750 m.
    """
    z = np.asarray(heights, dtype=float)
    if wind.modes is not None:
        columns = [np.interp(z, wind.height, mode) for mode in wind.modes.T]
        return np.stack(columns, axis=1)
    alike = np.exp(-np.abs(np.subtract.outer(z, z)) / _ALIKE)
    return np.asarray(
        np.interp(z, wind.height, wind.error)[:, None] * np.linalg.cholesky(alike)
    )


def draw_wind(
    wind: WindProfile,
    heights: ArrayLike,
    count: int,
    rng: np.random.Generator,
    *,
    steer: Callable[[FloatArray, FloatArray], FloatArray] | None = None,
) -> tuple[FloatArray, FloatArray]:
    """Draw winds that the profile and its error allow.

    The error of each component is alike over height as `error_modes` tells, and Gaussian;
    where the wind has `modes`, with a size of its own for each flight, so that it has the
    tails of Student's t. An ensemble is drawn member by member, and the error added to each.

    Parameters
    ----------
    wind : WindProfile
        The wind as known.
    heights : array_like, shape (k,)
        Heights above the site, increasing [m].
    count : int
        Number of winds.
    rng : numpy.random.Generator
        Source of randomness.
    steer : callable, optional
        Changes the standard normal numbers of the errors, shape (2, r, count), before
        they are used, knowing the sizes that they are to have, shape (count,); see
        `driftmap.montecarlo.lean`.

    Returns
    -------
    east, north : ndarray, shape (k, count)
        Velocity of the air toward east and north [m s⁻¹].
    """
    z = np.asarray(heights, dtype=float)
    modes = error_modes(wind, z)
    sizes, order = rng.spawn(2)
    # Pattern by pattern: the first ones have the same deviates however many there are.
    normal = np.moveaxis(rng.standard_normal((modes.shape[1], 2, count)), 0, 1)
    size = np.ones(count)
    if wind.modes is not None:
        size = np.sqrt((TAILS - 2) / sizes.chisquare(TAILS, count))
    if steer is not None:
        normal = steer(normal, size)
    noise = np.empty((2, z.size, count))
    few = max(1, _ONE_THREAD // modes.size)
    for a in range(0, count, few):
        np.matmul(modes, normal[..., a : a + few], out=noise[..., a : a + few])
    noise *= size  # in place, as large arrays cost more to make than to fill
    noise += _means(wind, z, count, order)
    return noise[0], noise[1]


def _means(
    wind: WindProfile, z: FloatArray, count: int, rng: np.random.Generator
) -> FloatArray:
    """Return what the error is added to, shape (2, k, 1) or (2, k, count)."""
    if wind.members is None:
        return np.stack(wind.at(z))[:, :, None]
    each = [
        [np.interp(z, wind.height, part) for part in member] for member in wind.members
    ]
    # Every member is flown equally often, in an order that means nothing.
    order = rng.permutation(count) % len(each)
    return np.moveaxis(np.array(each), 0, -1)[:, :, order]
