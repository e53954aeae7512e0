"""Ranks and proper scores of forecasts made of landing points."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from driftmap.core.checks import FloatArray

__all__ = ["depth_rank", "energy_score", "log_score", "normal_energy"]


def _distances(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(((a[:, :, None] - b[:, None, :]) ** 2).sum(axis=0)))


def energy_score(found: ArrayLike, forecast: ArrayLike) -> float:
    r"""Energy score of a forecast made of points; less is better.

    .. math:: \mathrm{ES} = \frac{1}{m} \sum_i \lVert x_i - y \rVert
              - \frac{1}{2 m^2} \sum_{i,j} \lVert x_i - x_j \rVert

    Parameters
    ----------
    found : array_like, shape (2,)
        Where it lay [m].
    forecast : array_like, shape (2, m)
        Landings foretold [m].

    Returns
    -------
    float
        Score [m].

    References
    ----------
    .. [1] T. Gneiting and A. E. Raftery, "Strictly proper scoring rules, prediction, and
       estimation", J. American Statistical Association 102, 359-378, 2007, Eq. (22) (from
       memory). Checked against an independent library in
       ``tests/reference/test_proper_scores.py``.

    Examples
    --------
    >>> energy_score([0.0, 0.0], [[3.0, 3.0], [4.0, 4.0]])
    5.0
    """
    y, x = np.asarray(found, float)[:, None], np.asarray(forecast, float)
    return float(_distances(x, y).mean() - _distances(x, x).mean() / 2)


def normal_energy(found: ArrayLike, mean: ArrayLike, cov: ArrayLike) -> float:
    """Energy score of a normal forecast, from even points of it.

    ``found`` and ``mean``, shape (2,): where it lay, and the mean of the forecast [m];
    ``cov``, shape (2, 2): covariance of the forecast [m²].
    """
    radius, turn = (np.arange(20) + 0.5) / 20, np.arange(20) * 2 * np.pi / 20
    r = np.sqrt(-2 * np.log1p(-radius))[:, None]
    unit = np.stack([(r * np.cos(turn)).ravel(), (r * np.sin(turn)).ravel()])
    points = (
        np.asarray(mean, float)[:, None] + np.linalg.cholesky(np.asarray(cov)) @ unit
    )
    return energy_score(found, points)


def log_score(found: ArrayLike, forecast: ArrayLike) -> float:
    """Logarithmic score of a forecast made of points: minus the logarithm of its density.

    The density is a normal kernel estimate with the normal-reference width (D. W. Scott,
    Multivariate Density Estimation, 1992, from memory).

    ``found``, shape (2,): where it lay [m]; ``forecast``, shape (2, m): landings
    foretold [m].
    """
    y, x = np.asarray(found, float)[:, None], np.asarray(forecast, float)
    turn, size = _whitening(x)
    off = ((turn @ (x - y)) ** 2).sum(axis=0)
    top = float(-off.min() / 2)
    total = float(np.exp(-off / 2 - top).mean())
    return -float(np.log(total) + top - np.log(2 * np.pi * size))


def _whitening(points: FloatArray) -> tuple[FloatArray, float]:
    """Give what makes the kernel round, and the area it stands for."""
    wide = np.cov(points) * points.shape[1] ** (-1 / 3) + np.eye(2) * 1e-6
    root = np.linalg.cholesky(wide)
    return np.linalg.inv(root), float(np.prod(np.diag(root)))


def depth_rank(found: ArrayLike, forecast: ArrayLike) -> float:
    """Give the share of all chance that the line through the find holds, 0 to 1.

    The find and the landings foretold are treated alike: each has a density estimated from
    all the others. If the find is one more landing of the same kind, the rank is uniform,
    exactly, whatever the shape of the cloud.

    ``found``, shape (2,): where it lay [m]; ``forecast``, shape (2, m): landings
    foretold [m].

    Result: 0 at the densest place; 1 beyond all landings foretold.
    """
    y = np.asarray(found, float)[:, None]
    points = np.concatenate([np.asarray(forecast, float), y], axis=1)
    turn, _ = _whitening(points)
    flat = turn @ points
    kernel = np.exp(-(_distances(flat, flat) ** 2) / 2)
    np.fill_diagonal(kernel, 0.0)
    density = kernel.sum(axis=1)
    # Denser ones, and half of itself: the middle of its step.
    return float((np.count_nonzero(density[:-1] > density[-1]) + 0.5) / density.size)
