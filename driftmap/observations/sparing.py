"""Which further flights are worth flying, by what is drawn of them before they fly."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final, TypeAlias

import numpy as np

from driftmap.core.checks import FloatArray, Kept
from driftmap.observations.flown import ROCKET, Flown
from driftmap.observations.weighing import Weighed
from driftmap.rocket.case import LIGHTS

WorthFlying: TypeAlias = Callable[[Mapping[str, Kept]], FloatArray]
"""The chance to be given to each flight, by its inputs."""

_KEPT: Final = 0.95  # of the effective flights that all of them would bring
_LEAST: Final = 0.05  # of the flights that hardly fit; each of them stands for the rest
_INPUTS: Final = 12  # of a flight; those that move its landing most
_FEWEST: Final = 2000  # flights of a case from which it can be learned what fits
_SPOKEN: Final = 0.01  # chance of a case below which it takes what flights there are
_DEEP: Final = 12.0  # logarithm of a weight, below the greatest, that is no weight
_SOFT: Final = 3.0  # by which flights that fit badly count less in the fit
_SLICES: Final = (
    40  # of flights by how well they are thought to fit, the best ones thin
)


def worth_flying(known: Weighed) -> WorthFlying | None:
    """Learn from flights weighed by what was seen which others are worth flying.

    ``known``: plain flights, one lot a case.

    Result: the chance to be given to each flight, by its inputs; one that is flown then
    stands for one over it. None where nothing can be learned. Whatever is learned, weighted
    means stay right: it only costs effective flights, about a tenth.
    """
    told = [
        (chance, _Case(flown, own))
        for flown, own in zip(known.cases, known.weights, strict=True)
        if (chance := float(own.sum())) > _SPOKEN and flown.who.size >= _FEWEST
    ]
    if not told:
        return None
    rest = 1 - sum(chance for chance, _ in told)

    def worth(draws: Mapping[str, Kept]) -> FloatArray:
        """Give what each flight adds to the squares of all weights, 1 on average."""
        return np.asarray(rest + sum(chance * case(draws) for chance, case in told))

    each = worth(known.cases[0].cloud.draws)
    root, most = np.sqrt(each), float(each.sum()) / _KEPT
    low, high = 0.0, 100.0
    for _ in range(30):
        size = (low + high) / 2
        enough = float((each / np.clip(size * root, _LEAST, 1.0)).sum()) < most
        low, high = (low, size) if enough else (size, high)
    return lambda draws: np.clip(high * np.sqrt(worth(draws)), _LEAST, 1.0)


class _Case:
    """How the square of a flight's weight goes with its inputs in one case."""

    def __init__(self, flown: Flown, own: FloatArray) -> None:
        draws = {name: column[flown.who] for name, column in flown.cloud.draws.items()}
        self._inputs = [
            (name, float(draws[name].mean()), float(draws[name].std()))
            for name in _telling(flown, draws)
        ]
        terms = self._terms(draws)
        logs = np.log(np.maximum(own, own.max() * np.exp(-_DEEP)))
        count = np.exp((logs - logs.max()) / _SOFT)
        self._fit = np.linalg.solve(
            (terms * count) @ terms.T + 1e-6 * np.eye(len(terms)),
            (terms * count) @ logs,
        )
        score = self._fit @ terms
        edges = np.quantile(score, 1 - np.geomspace(1.0, 1 / 200, _SLICES))
        place = np.digitize(score, edges[1:])
        size = np.bincount(place, minlength=_SLICES)
        self._score = np.bincount(place, score, _SLICES) / np.maximum(size, 1)
        square = np.bincount(place, own**2, _SLICES) / np.maximum(size, 1)
        self._log = np.log(square / np.mean(own**2) + 1e-6)

    def __call__(self, draws: Mapping[str, Kept]) -> FloatArray:
        """Give the square of the weight to be expected, 1 on average."""
        score = self._fit @ self._terms(draws)
        return np.asarray(np.exp(np.interp(score, self._score, self._log)))

    def _terms(self, draws: Mapping[str, Kept]) -> FloatArray:
        """Lay out a polynomial of the second degree in the inputs, shape (t, k)."""
        x = [
            (np.asarray(draws[name], float) - middle) / spread
            for name, middle, spread in self._inputs
        ]
        pairs = [a * b for i, a in enumerate(x) for b in x[i:]]
        return np.array([np.ones(x[0].size), *x, *pairs])


def _telling(flown: Flown, draws: Mapping[str, Kept]) -> list[str]:
    """Name the inputs that move the landing of the rocket most, in place or in time.

    When motors light in the air is known of what has flown, not before.
    """
    lies = np.concatenate([flown.landing(ROCKET)[:, 0], flown.landed(ROCKET)[:1]])
    names = [
        name
        for name, column in draws.items()
        if name != LIGHTS and np.isfinite(column).all() and np.ptp(column) > 0
    ]
    x = np.array([draws[name] for name in names], float)
    x = (x - x.mean(axis=1)[:, None]) / x.std(axis=1)[:, None]
    moves, *_ = np.linalg.lstsq(
        x @ x.T, x @ (lies - lies.mean(axis=1)[:, None]).T, rcond=None
    )
    far = np.square(moves / lies.std(axis=1)).sum(axis=1)
    return [names[i] for i in np.argsort(-far)[:_INPUTS]]
