"""Whether a case explains what was found: each observation held against all others."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from driftmap.core.checks import FloatArray
from driftmap.core.spread import stream
from driftmap.observations.figures import MeasuredSight
from driftmap.observations.flown import Flown
from driftmap.observations.observation import MISTAKEN, Observation, Odds
from driftmap.observations.weighing import (
    Weighed,
    effective_number,
    log_likelihoods,
)

__all__ = ["ODD", "fit_of"]

ODD: Final = 0.01
"""A case that shows something so odd more seldom than this does not explain it."""

_DRAWN: Final = 400  # flights and reports drawn for each check
_ENOUGH: Final = 400.0  # effective flights it wants: each of four things can be odd


def fit_of(plain: Weighed) -> dict[str, float]:
    """Say how well each case fits what was found.

    Parameters
    ----------
    plain : Weighed
        Plain flights, weighed by what was found and seen.

    Returns
    -------
    dict of str to float
        For each case, how often its flights would show something as odd as what was found,
        or odder; NaN where that is as odd as so few flights could show.

    Notes
    -----
    A posterior predictive check that leaves out what it checks [1]_: reports of each
    observation are drawn from the flights of the case as weighed by all the other
    observations, errors and all, and the share of reports that are less likely there than
    the true one is taken. The least share counts, times the number of observations
    (Bonferroni), so that a true case is called odd too seldom rather than too often. Where the
    other observations leave few flights, their say is softened until enough remain.
    Beside n flights the oddest of all is one in n + 1 and no odder: a case that rests on a
    handful of flights is never called odd, nor is it then called fit. The table of
    ``tests/benchmarks/bench_afterwards.py`` tells how often a true one is, all cases alike in
    number.

    References
    ----------
    .. [1] A. Gelman, X.-L. Meng, H. Stern, "Posterior predictive assessment of model
       fitness via realized discrepancies", Statistica Sinica 6, 1996; leaving one out:
       A. Gelfand, D. Dey, H. Chang, 1992 (both from memory).
    """
    odds = [seen for seen in plain.observations if isinstance(seen, Odds)]
    told = [seen for seen in plain.observations if not isinstance(seen, Odds)]
    return {
        case: _fit([flown for flown, _ in lots], told)
        for case, lots in plain.lots.items()
        if all(o.by_case.get(case, 1.0) > 0 for o in odds)
    }


def _fit(lots: Sequence[Flown], told: Sequence[Observation]) -> float:
    if not told:
        return 1.0
    prior = np.concatenate([flown.prior for flown in lots])
    each = np.concatenate([log_likelihoods(flown, told) for flown in lots], axis=1)
    found = [
        _odd(lots, seen, prior * _softened(np.delete(each, number, axis=0).sum(axis=0)))
        for number, seen in enumerate(told)
        if isinstance(seen, MeasuredSight)
    ]
    # NaN where one cannot be told, unless another is odd by itself.
    odd = min((one for one in found if one < ODD / len(found)), default=None)
    if odd is None and np.isnan(found).any():
        return float("nan")
    return min(1.0, (odd or min(found)) * len(found)) if found else 1.0


def _softened(log_weight: FloatArray) -> FloatArray:
    """Raise likelihoods to a power that leaves enough effective flights."""
    top = log_weight - log_weight.max()
    power = 1.0
    while (
        effective_number(np.exp(power * top)) < min(_ENOUGH, top.size / 4)
        and power > 1e-6
    ):
        power *= 0.7
    return np.asarray(np.exp(power * top))


def _odd(lots: Sequence[Flown], seen: MeasuredSight, weights: FloatArray) -> float:
    """Give the share of reports that are less likely than the one that was made."""
    # In errors about what was told, which so stands at 0.
    shown = -np.concatenate([seen.figure(flown).misses() for flown in lots], axis=2)
    if np.isnan(shown).any(axis=0).all():
        return MISTAKEN / 2
    rng = stream(lots[0].cloud.seed, 0, f"fit of {lots[0].case.name}")
    flights = rng.choice(weights.size, _DRAWN, p=weights / weights.sum())
    points = shown[:, rng.integers(shown.shape[1], size=_DRAWN), flights]
    points = points[:, ~np.isnan(points).any(axis=0)]
    if points.shape[1] < _DRAWN / 10:
        return MISTAKEN / 2
    size, count = points.shape
    # Few flights, drawn again and again, are no cloud: each stands for a kernel as wide
    # as befits their effective number, and reports are drawn from these.
    rest = min(effective_number(weights), float(count))
    kernel = np.cov(points).reshape(size, size) * rest ** (-2 / (size + 4))
    wide = kernel + np.eye(size)
    root = np.linalg.cholesky(wide)
    turn = np.linalg.inv(root)
    reports = points + root @ rng.standard_normal(points.shape)
    # Each report is judged by the other flights, as the true one is by all of them.
    near = _density(turn @ reports, turn @ points, leave=True)
    own = _density(np.zeros((size, 1)), turn @ points, leave=False)[0]
    seldom = (1 + np.count_nonzero(near <= own)) / (1 + count)
    least = 1 / (1 + rest)
    return float("nan") if seldom <= least >= ODD else float(max(seldom, least))


def _density(at: FloatArray, points: FloatArray, *, leave: bool) -> FloatArray:
    off = ((at[:, :, None] - points[:, None, :]) ** 2).sum(axis=0)
    kernel = np.exp(-off / 2)
    if leave:
        np.fill_diagonal(kernel, 0.0)
        return np.asarray(kernel.sum(axis=1) / (points.shape[1] - 1))
    return np.asarray(kernel.mean(axis=1))
