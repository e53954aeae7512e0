"""Spend flights where something rare happens, and weigh them so that nothing is skewed.

A `Proposal` leans the draws of a few standard normal inputs, such as the error of the mean
wind, toward values that land a body in an area. The weights undo that exactly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.air.atmosphere import FloatArray
from driftmap.hazard.sampling import CONFIDENCE, Estimate, weighted_mean

__all__ = ["Proposal", "aim", "drift_direction", "steer", "tilted_mean"]

_ENOUGH_HITS: Final = 25.0
"""Effective hits from which the largest weight seen stands for the largest there is.
Chosen by trial: see the coverage test in ``tests/analytic/test_steering.py``."""


@dataclass(frozen=True, slots=True, eq=False)
class Proposal:
    """A mixture of normal distributions to draw standard normal inputs from.

    The first part is the plain distribution itself, so that no weight passes 1 over its
    share: a flight that lands somewhere by a way nobody thought of keeps its say.

    Parameters
    ----------
    centres : array_like, shape (k, d)
        Middle of each part; the first must be 0.
    shares : array_like, shape (k,)
        Share of the draws in each part; they sum to 1.

    Raises
    ------
    ValueError
        If the first centre is not 0, or the shares are not positive or do not sum to 1.

    References
    ----------
    .. [1] T. Hesterberg, "Weighted average importance sampling and defensive mixture
       distributions", Technometrics 37(2), 185-194, 1995 (from memory).
    .. [2] A. Owen and Y. Zhou, "Safe and effective importance sampling", J. American
       Statistical Association 95, 135-143, 2000 (from memory).
    """

    centres: FloatArray
    shares: FloatArray

    def __post_init__(self) -> None:
        centres = np.array(self.centres, dtype=float, ndmin=2)
        shares = np.array(self.shares, dtype=float)
        if shares.shape != centres.shape[:1] or np.any(centres[0] != 0):
            raise ValueError("'centres' must start with 0 and match 'shares'")
        if not (np.all(shares > 0) and abs(shares.sum() - 1) < 1e-9):
            raise ValueError("'shares' must be positive and sum to 1")
        if not np.all(np.isfinite(centres)):
            raise ValueError("'centres' must be finite")
        for name, values in (("centres", centres), ("shares", shares)):
            values.setflags(write=False)
            object.__setattr__(self, name, values)

    @classmethod
    def toward(
        cls, centres: Sequence[ArrayLike], *, plain: float = 0.2, halfway: float = 0.25
    ) -> Proposal:
        """Make a mixture of plain draws, draws about centres, and draws half-way there.

        Those half-way keep a flight that reaches a place with less help than most from
        carrying a weight that outdoes all others.

        Parameters
        ----------
        centres : sequence of array_like, shape (d,)
            From `aim`.
        plain, halfway : float
            Shares of the draws; the centres have the rest, each as much as the others.

        Returns
        -------
        Proposal
            The mixture.
        """
        places = np.atleast_2d(np.asarray(centres, dtype=float))
        each = np.ones(len(places)) / len(places)
        return cls(
            np.vstack([np.zeros((1, places.shape[1])), places, places / 2]),
            np.concatenate([[plain], (1 - plain - halfway) * each, halfway * each]),
        )

    @property
    def largest_weight(self) -> float:
        """Greatest weight a draw can have."""
        return float(1 / self.shares[0])

    def draw(self, count: int, rng: np.random.Generator) -> FloatArray:
        """Draw inputs.

        Parameters
        ----------
        count : int
            Number of flights.
        rng : numpy.random.Generator
            Source of randomness.

        Returns
        -------
        ndarray, shape (count, d)
            Inputs, to be weighed with `weights`.
        """
        part = rng.choice(self.shares.size, count, p=self.shares)
        noise = rng.standard_normal((count, self.centres.shape[1]))
        return np.asarray(noise + self.centres[part])

    def weights(self, draws: ArrayLike) -> FloatArray:
        r"""Weigh draws so that weighted means are those of the plain distribution.

        .. math:: w(z) = 1 / \sum_k a_k \exp(c_k \cdot z - |c_k|^2 / 2)

        Parameters
        ----------
        draws : array_like, shape (n, d)
            From `draw`.

        Returns
        -------
        ndarray, shape (n,)
            Weights; their expectation is 1.
        """
        z = np.asarray(draws, dtype=float)
        ratio = z @ self.centres.T - (self.centres**2).sum(axis=1) / 2
        # The first part has ratio 0: a sum that overflows to infinity weighs 0, rightly.
        with np.errstate(over="ignore"):
            return np.asarray(1 / (np.exp(ratio) @ self.shares))


def aim(draws: ArrayLike, landings: ArrayLike, target: ArrayLike) -> FloatArray:
    """Find the inputs that most likely land a body at a place.

    Landing points are taken as linear in the inputs, with a normal rest; the answer is
    then the mean of the inputs given that the body lands there. A poor fit costs
    precision, never truth.

    Parameters
    ----------
    draws : array_like, shape (n, d)
        Plain standard normal inputs of a few flights.
    landings : array_like, shape (n, 2)
        Where those flights landed [m].
    target : array_like, shape (2,)
        The place [m].

    Returns
    -------
    ndarray, shape (d,)
        Centre for a part of a `Proposal`.
    """
    z, points = np.asarray(draws, float), np.asarray(landings, float)
    design = np.column_stack([np.ones(len(z)), z])
    fit, *_ = np.linalg.lstsq(design, points, rcond=None)
    rest = points - design @ fit
    slope = fit[1:]
    spread = slope.T @ slope + rest.T @ rest / len(z)
    away = np.asarray(target, float) - fit[0]
    return np.asarray(slope @ np.linalg.lstsq(spread, away, rcond=None)[0])


def drift_direction(
    heights: ArrayLike, error: ArrayLike, correlation_height: float, top: float
) -> FloatArray:
    """Give the pattern of wind errors by height that carries a falling body farthest.

    Parameters
    ----------
    heights : array_like, shape (k,)
        Heights at which the wind's error is drawn, increasing [m].
    error : array_like, shape (k,)
        Standard error of the wind there [m s⁻¹].
    correlation_height : float
        As in `driftmap.air.wind.WindProfile` [m].
    top : float
        Height the body falls from [m].

    Returns
    -------
    ndarray, shape (k,)
        Unit vector in the standard normal numbers that make the chain of errors; zeros
        where the wind has no error.
    """
    z = np.asarray(heights, float)
    keep = np.exp(-np.diff(z) / correlation_height)
    below = np.minimum(z, top)
    depth = np.zeros_like(z)  # each level stands for half the layers beside it
    depth[:-1] += np.diff(below) / 2
    depth[1:] += np.diff(below) / 2
    pull = depth * np.asarray(error, float)
    # What a number does to its own level is passed on, fading, to all levels above.
    for i in range(z.size - 2, -1, -1):
        pull[i] += keep[i] * pull[i + 1]
    pull[1:] *= np.sqrt(1 - keep**2)
    size = np.linalg.norm(pull)
    return np.asarray(pull / size if size > 0 else pull)


def steer(noise: ArrayLike, direction: ArrayLike, along: ArrayLike) -> FloatArray:
    """Give standard normal numbers a wanted component along a direction.

    Parameters
    ----------
    noise : array_like, shape (k, n)
        Standard normal numbers of ``n`` flights.
    direction : array_like, shape (k,)
        Unit vector.
    along : array_like, shape (n,)
        Wanted component of each flight, such as one column of `Proposal.draw`.

    Returns
    -------
    ndarray, shape (k, n)
        The numbers, unchanged across the direction.
    """
    x, a = np.asarray(noise, float), np.asarray(direction, float)
    return np.asarray(x + np.outer(a, np.asarray(along, float) - a @ x))


def tilted_mean(
    values: ArrayLike, flights: int, bound: float, *, confidence: float = CONFIDENCE
) -> Estimate:
    """Give the mean of weighted flights drawn from a `Proposal`, with its interval.

    Parameters
    ----------
    values : array_like, shape (k,)
        Weight times what the flight adds, for each flight that adds something.
    flights : int
        Number of all flights.
    bound : float
        Most one flight can add: `Proposal.largest_weight` times the most it adds plain.
    confidence : float
        Two-sided confidence.

    Returns
    -------
    Estimate
        Mean and interval.

    Notes
    -----
    With few effective hits, ``sum(v)**2 / sum(v**2) < 25``, the interval allows for one
    flight of the greatest weight that went unseen, and is wide. With more it takes the
    largest weight seen for the largest there is. That assumes the aimed draws found the
    main way in; a way that only plain draws could find, with a probability below
    ``4 * bound / flights``, can stay hidden, as it would from that many plain flights.
    """
    v = np.asarray(values, dtype=float)
    v = v[v != 0]
    largest = bound
    if v.size and v.sum() ** 2 >= _ENOUGH_HITS * (v @ v):
        if not v.max() <= bound * (1 + 1e-12):
            raise ValueError("'values' must not pass 'bound'")
        largest = float(v.max())
    return weighted_mean(v, flights, largest, confidence=confidence)
