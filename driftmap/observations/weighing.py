"""Flights weighed by what was seen, beside the cloud; and whether a case explains it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import log, sqrt
from typing import Final

import numpy as np

from driftmap.core.checks import FloatArray
from driftmap.core.errors import DriftmapError
from driftmap.core.spread import stream
from driftmap.observations.case_flights import ROCKET, CaseFlights
from driftmap.observations.figures import MeasuredSight, SeenMoment
from driftmap.observations.observation import (
    MISTAKEN,
    FoundState,
    Observation,
    Odds,
    Walked,
    Went,
)

_DEEPEST = 300.0  # logarithm of a weight below the greatest that is none
_ROUGH: Final = 0.2
"""How well evidence by patches is known, as a share of it: it is off by about that from exact evidence
in ``tests/analytic/test_known_posterior.py``."""

_ROUNDING = 1e-9  # chance of no mistake that may be rounding alone
_DOUBTED = 0.5  # chance of a mistake from which a report is said to be at odds


class AtOddsError(DriftmapError):
    """What was seen fits no flight that was flown."""


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """Flights weighed by what was seen.

    Flights by case with their weights before, a case perhaps in several lots; `weights` after,
    (k,) for each of them, which all together add up to 1; `log_evidence`, the logarithm of
    the mean likelihood over all flights; `doubted`, what was told but is taken as wrong
    altogether, as nothing flown comes near it; `right`, what is left of each weight if no
    report is wrong altogether.
    """

    cases: tuple[CaseFlights, ...]
    observations: tuple[Observation, ...]
    weights: tuple[FloatArray, ...]
    log_evidence: float
    doubted: tuple[Observation, ...]
    right: tuple[FloatArray, ...]

    @property
    def lots(self) -> dict[str, list[tuple[CaseFlights, FloatArray]]]:
        """The lots of each case, with their weights."""
        found: dict[str, list[tuple[CaseFlights, FloatArray]]] = {}
        for flown, own in zip(self.cases, self.weights, strict=True):
            found.setdefault(flown.case.name, []).append((flown, own))
        return found

    @property
    def chances(self) -> dict[str, float]:
        """Chance of each case after what was seen."""
        return {
            name: sum(float(own.sum()) for _, own in lots)
            for name, lots in self.lots.items()
        }

    @property
    def squares(self) -> dict[str, float]:
        """Sum of the squares of each case's weights: few heavy flights make it large."""
        return {
            name: sum(float(own @ own) for _, own in lots)
            for name, lots in self.lots.items()
        }

    @property
    def errors(self) -> dict[str, float]:
        """Standard error of each chance, as of a ratio of weighted means."""
        chances = self.chances
        own = {
            name: square + (_ROUGH * chances[name]) ** 2 * self.lots[name][0][0].coarse
            for name, square in self.squares.items()
        }
        whole = sum(own.values())
        return {
            name: sqrt(own[name] * (1 - p) ** 2 + (whole - own[name]) * p**2)
            for name, p in chances.items()
        }

    @property
    def effective(self) -> float:
        """Number of equally weighed flights that would tell as much."""
        return effective_number(np.concatenate(self.weights))

    @property
    def fitting(self) -> float:
        """That number with no report taken as wrong: where none fits, all fit alike badly."""
        return effective_number(np.concatenate(self.right))

    @property
    def hits(self) -> dict[str, float]:
        """That number of each case."""
        found: dict[str, list[FloatArray]] = {}
        for flown, right in zip(self.cases, self.right, strict=True):
            found.setdefault(flown.case.name, []).append(right)
        return {n: effective_number(np.concatenate(own)) for n, own in found.items()}

    def lying(self, piece: str) -> dict[str, tuple[FloatArray, FloatArray]]:
        """Return where a piece may lie in each case.

        ``piece``: name of a body; where it does not come off it lies with the rocket.

        Result: east and north [m], and weights, which over all cases add up to 1, shape
        (2, m).
        """
        found = {}
        for name, lots in self.lots.items():
            places, weights = [], []
            for flown, own in lots:
                place = flown.landing(piece)[:, :, own > 0]
                copies = place.shape[1]
                places.append(place.reshape(2, -1))
                weights.append(np.tile(own[own > 0] / copies, copies))
            found[name] = np.concatenate(places, axis=1), np.concatenate(weights)
        return found


def effective_number(weights: FloatArray) -> float:
    """Return the effective number of weighed flights, ``sum(w)**2 / sum(w**2)``.

    ``weights``, shape (n,): weights, in any scale.

    Result: from 1 to n (L. Kish, *Survey Sampling*, 1965, from memory); 0 without any
    weight.
    """
    w = np.asarray(weights, float)
    if not w.any():
        return 0.0
    w = w / w.max()
    return float(w.sum() ** 2 / (w @ w))


def bodies_of(observations: Sequence[Observation]) -> set[str] | None:
    """Name the bodies that observations look at; None where any may show them.

    What cloth did shows on whatever hangs under it.
    """
    named: set[str] = set()
    for seen in observations:
        if isinstance(seen, FoundState) or (
            isinstance(seen, SeenMoment) and seen.what == "opened"
        ):
            return None
        named.add(getattr(seen, "piece", ROCKET))
    return named


def log_likelihoods(
    flown: CaseFlights, observations: Sequence[Observation]
) -> list[FloatArray]:
    """Return the logarithm of each observation's likelihood for each flight.

    ``flown``: flights of one case.

    Result: one for each observation, shape (k,).
    """
    walks: dict[str, list[Walked]] = {}
    told = []
    for seen in observations:
        if isinstance(seen, Walked):
            before = walks.setdefault(seen.piece, [])
            told.append(seen.log_likelihood(flown, before))
            before.append(seen)
        else:
            told.append(seen.log_likelihood(flown))
    return told


def weigh(cases: Sequence[CaseFlights], observations: Sequence[Observation]) -> Weighed:
    """Weigh flights by what was seen.

    ``cases``: the flights by case; ``observations``: what was seen; each is taken to
    err by itself.

    Raises `AtOddsError` if nothing that was flown comes near to what was seen; names
    the observation most at odds with all others.
    """
    each = [log_likelihoods(flown, observations) for flown in cases]
    with np.errstate(divide="ignore"):
        logs = [np.log(f.prior) + sum(own) for f, own in zip(cases, each, strict=True)]
    highest = max(float(own.max()) for own in logs)
    if not np.isfinite(highest):
        raise AtOddsError(_at_odds(observations, each))
    # Numbers too small for their full precision are slow, and weigh nothing.
    near = [np.where(own > highest - _DEEPEST, own - highest, -np.inf) for own in logs]
    weights, total = _to_one([np.exp(own) for own in near])
    doubts, right = _taken_right(observations, each, weights)
    doubted = tuple(
        seen
        for seen, doubt in zip(observations, doubts, strict=True)
        if doubt > _DOUBTED
    )
    evidence = highest + log(total)
    return Weighed(tuple(cases), tuple(observations), weights, evidence, doubted, right)


def _taken_right(
    observations: Sequence[Observation],
    each: Sequence[Sequence[FloatArray]],
    weights: Sequence[FloatArray],
) -> tuple[FloatArray, tuple[FloatArray, ...]]:
    """Return the chance that each report is wrong altogether, and the weights left if none is."""
    doubts, right = np.zeros(len(observations)), []
    for told, own in zip(each, weights, strict=True):
        fits = own
        for number, seen in enumerate(observations):
            if isinstance(seen, MeasuredSight | Went):
                wrong = seen.mistaken(told[number])
                doubts[number] += own @ wrong
                fits = fits * np.where(wrong < 1 - _ROUNDING, 1 - wrong, 0.0)
        right.append(fits)
    return doubts, tuple(right)


def without(known: Weighed, walks: Sequence[Walked]) -> Weighed:
    """Return the weights as if some ground had not been walked."""
    if not walks:
        return known
    raw = [
        own / np.exp(sum(log_likelihoods(flown, walks)))
        for flown, own in zip(known.cases, known.weights, strict=True)
    ]
    return replace(known, weights=_to_one(raw)[0])


def _to_one(raw: Sequence[FloatArray]) -> tuple[tuple[FloatArray, ...], float]:
    """Make weights add up to 1; give what they added up to."""
    total = sum(float(w.sum()) for w in raw)
    return tuple(w / total for w in raw), total


def _at_odds(
    observations: Sequence[Observation], each: Sequence[Sequence[FloatArray]]
) -> str:
    """Name what no flight allows, or what no flight allows beside the rest."""
    for number, seen in enumerate(observations):
        if all(not np.isfinite(own[number]).any() for own in each):
            return f"no flight allows this: {seen.says()}"
    return "no flight allows all of what was told together; one thing must be wrong"


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


def _fit(lots: Sequence[CaseFlights], told: Sequence[Observation]) -> float:
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


def _odd(
    lots: Sequence[CaseFlights], seen: MeasuredSight, weights: FloatArray
) -> float:
    """Return the share of reports that are less likely than the one that was made."""
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
