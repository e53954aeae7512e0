"""Flights weighed by what was seen; the weights live beside the cloud."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import log, sqrt

import numpy as np

from driftmap.core.checks import FloatArray
from driftmap.core.errors import DriftmapError
from driftmap.observations.figures import MeasuredSight, SeenMoment
from driftmap.observations.flown import ROCKET, Flown
from driftmap.observations.observation import (
    FoundState,
    Observation,
    Walked,
    Went,
)

__all__ = [
    "AtOddsError",
    "Weighed",
    "bodies_of",
    "effective_number",
    "log_likelihoods",
    "weigh",
    "without",
]


_DOUBTED = 0.5  # chance of a mistake from which a report is said to be at odds


class AtOddsError(DriftmapError):
    """What was seen fits no flight that was flown."""


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """Flights weighed by what was seen.

    Flights by case with their weights before, a case perhaps in several lots; `weights` after,
    (k,) for each of them, which all together add up to 1; `log_evidence`, the logarithm of
    the mean likelihood over all flights; `doubted`, what was told but is taken as wrong
    altogether, as nothing flown comes near it.
    """

    cases: tuple[Flown, ...]
    observations: tuple[Observation, ...]
    weights: tuple[FloatArray, ...]
    log_evidence: float
    doubted: tuple[Observation, ...]

    @property
    def lots(self) -> dict[str, list[tuple[Flown, FloatArray]]]:
        """The lots of each case, with their weights."""
        found: dict[str, list[tuple[Flown, FloatArray]]] = {}
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
        own, chances = self.squares, self.chances
        whole = sum(own.values())
        return {
            name: sqrt(own[name] * (1 - p) ** 2 + (whole - own[name]) * p**2)
            for name, p in chances.items()
        }

    @property
    def effective(self) -> float:
        """Number of equally weighed flights that would tell as much."""
        return effective_number(np.concatenate(self.weights))

    def lying(self, piece: str) -> dict[str, tuple[FloatArray, FloatArray]]:
        """Give where a piece may lie in each case.

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
    """Give the effective number of weighed flights, ``sum(w)**2 / sum(w**2)``.

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
    flown: Flown, observations: Sequence[Observation]
) -> list[FloatArray]:
    """Give the logarithm of each observation's likelihood for each flight.

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


def weigh(cases: Sequence[Flown], observations: Sequence[Observation]) -> Weighed:
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
    weights, total = _to_one([np.exp(own - highest) for own in logs])
    doubted = tuple(
        seen
        for number, seen in enumerate(observations)
        if isinstance(seen, MeasuredSight | Went)
        and sum(
            float(own @ seen.mistaken(told[number]))
            for own, told in zip(weights, each, strict=True)
        )
        > _DOUBTED
    )
    evidence = highest + log(total)
    return Weighed(tuple(cases), tuple(observations), weights, evidence, doubted)


def without(known: Weighed, walks: Sequence[Walked]) -> Weighed:
    """Give the weights as if some ground had not been walked."""
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
