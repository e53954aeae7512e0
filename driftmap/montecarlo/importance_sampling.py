"""Spend flights where something rare happens, and weigh them so that nothing is skewed.

A `Mixture` draws two standard normal inputs of each flight, such as the error of the mean wind,
about values that land a body in an area. The weights undo that exactly.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.core.checks import FloatArray
from driftmap.core.estimate import CONFIDENCE, Estimate, weighted_mean

_ENOUGH_HITS: Final = 50.0
"""Effective hits from which the largest weight seen stands for the largest there is.
Chosen by trial: see the coverage test in ``tests/analytic/test_steering.py``."""


@dataclass(frozen=True, slots=True, eq=False)
class Mixture:
    """Where to draw two standard normal inputs of each flight, so that it hits.

    Each flight has a mixture of its own: plain draws, so that no weight passes 1 over
    their share and a flight that lands somewhere by a way nobody thought of keeps its
    say [1]_ [2]_; and round normal kernels about the inputs that were found to bring it to
    the place. A flight without kernels is drawn plainly and weighs 1.

    Parameters
    ----------
    middle : ndarray, shape (k, n, 2)
        Middles of the kernels of each flight.
    width : ndarray, shape (k, n)
        Their standard deviations.
    share : ndarray, shape (k, n)
        Their shares in the aimed draws of each flight: they sum to 1, or are all 0.
    plain : float
        Share of the plain draws.

    Raises
    ------
    ValueError
        If shapes do not match, or a width or share is out of range.

    References
    ----------
    .. [1] T. Hesterberg, "Weighted average importance sampling and defensive mixture
       distributions", Technometrics 37(2), 185-194, 1995 (from memory).
    .. [2] A. Owen and Y. Zhou, "Safe and effective importance sampling", J. American
       Statistical Association 95, 135-143, 2000 (from memory).
    """

    middle: FloatArray
    width: FloatArray
    share: FloatArray
    plain: float = 0.2

    def __post_init__(self) -> None:
        if self.middle.shape != (*self.width.shape, 2) or self.width.ndim != 2:
            raise ValueError("'middle' must have shape (k, n, 2), 'width' (k, n)")
        if self.share.shape != self.width.shape or not 0 < self.plain <= 1:
            raise ValueError("'share' must have shape (k, n), 'plain' lie in (0, 1]")
        total = self.share.sum(axis=0)
        if not np.all((np.abs(total - 1) < 1e-9) | (total == 0)):
            raise ValueError("'share' must sum to 1 for each flight, or be all 0")
        if not (np.all(self.share >= 0) and np.all(self.width > 0)):
            raise ValueError("'share' must not be negative, 'width' be positive")
        if not (np.isfinite(self.middle).all() and np.isfinite(self.width).all()):
            raise ValueError("'middle' and 'width' must be finite")

    @property
    def largest_weight(self) -> float:
        """Greatest weight a draw can have."""
        return 1 / self.plain

    def draw(self, rng: np.random.Generator) -> FloatArray:
        """Draw the inputs.

        Result: inputs, to be weighed with `weights`, shape (n, 2).
        """
        n = self.width.shape[1]
        noise, one = rng.standard_normal((n, 2)), np.arange(n)
        aimed = (rng.random(n) >= self.plain) & (self.share.sum(axis=0) > 0)
        below = np.cumsum(self.share, axis=0) < rng.random(n)
        which = np.minimum(below.sum(axis=0), len(self.share) - 1)
        wide = np.where(aimed, self.width[which, one], 1.0)[:, None]
        middle = np.where(aimed[:, None], self.middle[which, one], 0.0)
        return np.asarray(middle + wide * noise)

    def weights(self, draws: ArrayLike) -> FloatArray:
        r"""Weigh draws so that weighted means are those of standard normal inputs.

        .. math:: w(z) = \varphi(z) / \Bigl(a\,\varphi(z) + (1 - a) \sum_k s_k\,
                  \varphi\bigl((z - c_k) / b_k\bigr) / b_k^2\Bigr)

        Parameters
        ----------
        draws : array_like, shape (n, 2)
            From `draw`.

        Returns
        -------
        ndarray, shape (n,)
            Weights; their expectation is 1.
        """
        z = np.asarray(draws, dtype=float)
        away = ((z - self.middle) ** 2).sum(axis=2) / self.width**2
        # Densities over that of a plain draw; one that overflows to infinity weighs 0.
        with np.errstate(over="ignore"):
            ratio = np.exp(((z**2).sum(axis=1) - away) / 2) / self.width**2
        aimed = (self.share * ratio).sum(axis=0)
        mixed = self.plain + (1 - self.plain) * aimed
        return np.asarray(np.where(self.share.sum(axis=0) > 0, 1 / mixed, 1.0))


def aim(draws: ArrayLike, landings: ArrayLike, target: ArrayLike) -> FloatArray:
    """Find the inputs that most likely land a body at a place.

    Landing points are taken as linear in the inputs, with a normal rest; the answer is
    then the mean of the inputs given that the body lands there. A poor fit costs
    precision, never truth.

    ``draws``, shape (n, d): plain standard normal inputs of a few flights;
    ``landings``, shape (n, 2): where those flights landed [m]; ``target``, shape (2,):
    the place [m].

    Result: the inputs, shape (d,).
    """
    z, points = np.asarray(draws, float), np.asarray(landings, float)
    design = np.column_stack([np.ones(len(z)), z])
    fit, *_ = np.linalg.lstsq(design, points, rcond=None)
    rest = points - design @ fit
    slope = fit[1:]
    spread = slope.T @ slope + rest.T @ rest / len(z)
    away = np.asarray(target, float) - fit[0]
    return np.asarray(slope @ np.linalg.lstsq(spread, away, rcond=None)[0])


def response(draws: ArrayLike, landings: ArrayLike, time: ArrayLike) -> FloatArray:
    """Find how far a body is carried by each of two inputs, in the time it takes.

    ``draws``, shape (n, 2): plain standard normal inputs of a few flights;
    ``landings``, shape (n, 2): where those flights landed [m]; ``time``, shape (n,):
    how long each was in the air, times how large an input is for its number [s].

    Result: way east and north by each input [m s⁻¹]: the transpose of what a regression
    of landings on inputs times time has as slope, shape (2, 2).
    """
    z, t = np.asarray(draws, float), np.asarray(time, float)
    design = np.column_stack([np.ones(len(z)), z * t[:, None]])
    fit, *_ = np.linalg.lstsq(design, np.asarray(landings, float), rcond=None)
    return np.asarray(fit[1:].T)


def tilted_mean(
    values: ArrayLike, flights: int, bound: float, *, confidence: float = CONFIDENCE
) -> Estimate:
    """Return the mean of weighted flights drawn from a `Mixture`, with its interval.

    ``values``, shape (k,): weight times what the flight adds, for each flight that adds
    something; ``flights``: number of all flights; ``bound``: most one flight can add:
    `Mixture.largest_weight` times the most it adds plain.

    With few effective hits, ``sum(v)**2 / sum(v**2) < 50``, the interval allows for one
    flight of the greatest weight that went unseen, and is wide. With more it takes the
    largest weight seen for the largest there is. That assumes the aimed draws found the
    main way in; a way that only plain draws could find, with a probability below ``4 *
    bound / flights``, can stay hidden, as it would from that many plain flights.
    """
    v = np.asarray(values, dtype=float)
    v = v[v != 0]
    largest = bound
    if v.size and v.sum() ** 2 >= _ENOUGH_HITS * (v @ v):
        if not v.max() <= bound * (1 + 1e-12):
            raise ValueError("'values' must not pass 'bound'")
        largest = float(v.max())
    return weighted_mean(v, flights, largest, confidence=confidence)
