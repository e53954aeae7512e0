"""A share or a mean over flights with its interval; how many flights are enough."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.core.checks import BoolArray, FloatArray
from driftmap.core.spread import even_weights

CONFIDENCE: Final = 0.95
"""Two-sided confidence of every interval."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A mean over simulated flights.

    The interval covers sampling error only, not error in the wind or the physics.

    Parameters
    ----------
    estimate, lower, upper : float
        Best estimate and two-sided interval.
    hits, flights : int
        Flights that contributed, and all flights.
    """

    estimate: float
    lower: float
    upper: float
    hits: int
    flights: int


def weighted_mean(
    values: ArrayLike, flights: int, largest: float, *, confidence: float = CONFIDENCE
) -> Estimate:
    """Return the mean of a quantity that few flights contribute to, with its interval.

    Each flight that contributes counts as a Poisson event of its own weight, and the sum
    as gamma distributed [1]_. With equal weights the interval is the exact one of a
    Poisson count; with none it ends at ``largest * 3.69 / flights``, not at 0. It is wider
    than need be where most flights contribute: a Poisson count varies more than one that
    cannot pass `flights`.

    ``values``, shape (k,): what each contributing flight adds; flights that add nothing may be
    left out; ``flights``: number of all; ``largest``: most that one flight can add.

    Raises `ValueError` if a value is negative, not finite or above `largest`, or more flights
    contribute than there are.

    References
    ----------
    .. [1] M. P. Fay and E. J. Feuer, "Confidence intervals for directly standardized
       rates: a method based on the gamma distribution", Statistics in Medicine 16,
       791-801, 1997 (from memory).

    Examples
    --------
    >>> few = weighted_mean([2.0, 2.0], 1000, 2.0)
    >>> few.estimate, round(few.lower, 5), round(few.upper, 5)
    (0.004, 0.00048, 0.01445)
    >>> round(weighted_mean([], 1000, 1.0).upper, 6)
    0.003689
    """
    v = np.asarray(values, dtype=float)
    v = v[v != 0]
    if flights < 1 or v.size > flights:
        raise ValueError(
            f"'flights' must be positive and hold all values (got {flights})"
        )
    if not (0 < largest < math.inf and ((v > 0) & (v <= largest * (1 + 1e-12))).all()):
        raise ValueError("'values' must lie in 0 to 'largest', which must be positive")
    total, square, most = v.sum() / flights, (v @ v) / flights**2, largest / flights
    tail = (1 - confidence) / 2
    lower = _gamma_quantile(total, square, tail) if v.size else 0.0
    upper = _gamma_quantile(total + most, square + most**2, 1 - tail)
    return Estimate(float(total), lower, min(upper, largest), int(v.size), flights)


@lru_cache(maxsize=4096)  # most of what is asked for was never seen
def _gamma_quantile(mean: float, variance: float, level: float) -> float:
    from scipy.special import gammaincinv  # noqa: PLC0415 (slow to import)

    return float(gammaincinv(mean**2 / variance, level) * variance / mean)


def binomial(hits: int, flights: int) -> Estimate:
    """Return the share of hits with its exact interval (Clopper-Pearson) [1]_.

    With no hits the upper end is not 0. Raises `ValueError` if there are no flights, or more
    hits than flights.

    References
    ----------
    .. [1] C. J. Clopper and E. S. Pearson, Biometrika 26(4), 404-413, 1934 (from memory);
       in the form of NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.2 (read).

    Examples
    --------
    >>> p = binomial(0, 1000)
    >>> p.estimate, round(p.upper, 6)
    (0.0, 0.003682)
    """
    if not 0 <= hits <= flights or flights < 1:
        raise ValueError(f"'hits' must lie in 0 to 'flights' (got {hits} of {flights})")
    return Estimate(hits / flights, *_exact(hits, flights), hits, flights)


def weighted_share(hit: BoolArray, weights: FloatArray) -> Estimate:
    r"""Return the share of hits among flights that stand for different numbers of others.

    The interval is the exact one of as many equal flights as tell as much [1]_,

    .. math:: n^* = \min\left(\frac{(\sum w)^2}{\sum w^2},
              \frac{p (1 - p) (\sum w)^2}{\sum w^2 (h - p)^2}\right),

    the second where hits are seen: those that hit may weigh more than others.

    Parameters
    ----------
    hit : ndarray of bool, shape (k,)
        Whether each flight hits.
    weights : ndarray, shape (k,)
        Flights that each of them stands for.

    Returns
    -------
    Estimate
        Share by weight and its interval; that of `binomial` where all weigh the same.

    References
    ----------
    .. [1] E. L. Korn and B. I. Graubard, "Confidence intervals for proportions with small
       expected number of positive counts estimated from survey data", Survey Methodology
       24(2), 193-201, 1998 (from memory).
    """
    hits, flights = int(hit.sum()), hit.size
    if even_weights(weights):
        return binomial(hits, flights)
    weight = weights / weights.sum()
    share = float(weight[hit].sum())
    equal = 1 / float(weight @ weight)
    off = float(np.sum((weight * (hit - share)) ** 2))
    if 0 < hits < flights and off > 0:
        equal = min(equal, share * (1 - share) / off)
    return Estimate(share, *_exact(share * equal, equal), hits, flights)


@lru_cache(maxsize=4096)
def _exact(hits: float, flights: float) -> tuple[float, float]:
    """Return the ends of the interval of so many hits, which need not be whole."""
    from scipy.special import betaincinv  # noqa: PLC0415 (slow to import)

    tail, misses = (1 - CONFIDENCE) / 2, max(flights - hits, 0.0)
    lower = float(betaincinv(hits, misses + 1, tail)) if hits > 0 else 0.0
    upper = float(betaincinv(hits + 1, misses, 1 - tail)) if misses > 0 else 1.0
    return lower, upper


@dataclass(frozen=True, slots=True)
class Goal:
    """How well a figure must be known.

    Parameters
    ----------
    limit : float or None
        What it is compared with: the interval must not straddle it.
    relative : float
        Half-width of the interval as a share of the figure.
    absolute : float
        Half-width that is narrow enough whatever the figure.
    """

    limit: float | None = None
    relative: float = math.inf
    absolute: float = 0.0

    def met(self, estimate: Estimate) -> bool:
        """Say whether a figure is known well enough."""
        if self.limit is not None and estimate.lower <= self.limit < estimate.upper:
            return False
        if math.isinf(self.relative):
            return True
        half = (estimate.upper - estimate.lower) / 2
        return half <= max(self.absolute, self.relative * estimate.estimate)


def converge(
    sample: Callable[[int, float], Estimate],
    goal: Goal,
    *,
    first: int = 4096,
    cap: int = 1_048_576,
) -> tuple[tuple[Estimate, ...], bool]:
    """Double the number of flights until a figure is known well enough.

    Looking again and again until an interval pleases would spoil its promise. So every
    look uses a confidence that shares the chance of error among all looks up to the cap.

    ``sample``: takes a number of flights and a confidence; gives the figure; ``first`` and
    ``cap``: least and greatest number of flights.

    Result: every look, each with twice as many flights as the one before, and whether the
    last is known well enough; if not, a verdict must hold. Raises `ValueError` if `cap` is
    less than `first`.
    """
    if not 1 <= first <= cap:
        raise ValueError(f"'cap' must be at least 'first', {first} (got {cap})")
    count = int(math.log2(cap / first)) + 1
    each = 1 - (1 - CONFIDENCE) / count
    looks: list[Estimate] = []
    for flights in (first << look for look in range(count)):
        looks.append(sample(flights, each))
        if goal.met(looks[-1]):
            return tuple(looks), True
    return tuple(looks), False
