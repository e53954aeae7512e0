"""Ground so far out that no piece can come down there."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from driftmap.hazard.probability import Probability, binomial
from driftmap.montecarlo.cloud import Cloud

__all__ = ["LEAST", "TIMES", "clear_from", "farthest", "unseen_beyond"]

TIMES: Final = 2.0
"""How many times as far as the farthest landing counts as out of reach."""

LEAST: Final = 500
"""Flights of each case without which nothing is said to be out of reach."""


def farthest(cloud: Cloud) -> float:
    """Give the distance from the pad that no piece of any flight was seen to pass.

    Parameters
    ----------
    cloud : Cloud
        Landing points, and the ways up.

    Returns
    -------
    float
        Of all landings of all cases, and of all points of the ways up [m].

    Raises
    ------
    ValueError
        If a landing point is not finite.
    """
    far = float(np.hypot(cloud.east, cloud.north).max())
    if not np.isfinite(far):
        raise ValueError("'cloud' must hold finite landing points only")
    return max(far, float(np.hypot(cloud.way[:, 0], cloud.way[:, 1]).max()))


def clear_from(cloud: Cloud) -> float:
    """Give the distance from the pad beyond which ground is out of reach.

    Parameters
    ----------
    cloud : Cloud
        Landing points.

    Returns
    -------
    float
        Twice the farthest that any piece came down [m]; infinite where a case was flown
        too seldom to say so.

    Notes
    -----
    Let `S` be the chance of a landing farther out than a distance. Of `n` flights none
    passed the farthest, so its `S` is at most ``3.69 / n``. Where the tail falls off at
    least as fast as an exponential, `log S` is concave and 0 at the pad, hence
    ``S(2 r) <= S(r)**2``: at most 5.5e-5 with 500 flights, below any limit on a share of
    flights. Drift is a sum of bounded and bell-shaped errors times a time of fall, whose
    tail falls off faster than that.

    It errs to the safe side three times: the farthest is that of all pieces and cases
    together, not of the one at hand; it counts in every direction, though wind has one;
    and a case that was flown less than `LEAST` times says nothing, so that nothing is
    beyond reach. It says nothing of what was not flown, or of a wind that turns out
    another one.
    """
    fewest = min((part.flights for part in cloud.parts), default=0)
    return TIMES * farthest(cloud) if fewest >= LEAST else np.inf


def unseen_beyond(flights: int) -> Probability:
    """Bound the chance of a landing beyond reach.

    Parameters
    ----------
    flights : int
        Flights of the case.

    Returns
    -------
    Probability
        None seen, with the square of the bound for none seen as its upper end.

    Examples
    --------
    >>> round(unseen_beyond(3000).upper, 8)
    1.51e-06
    """
    none = binomial(0, flights)
    return replace(none, upper=none.upper**2)
