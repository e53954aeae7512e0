"""Which further flights to fly where few fit what was seen, chosen by what is drawn before each.

Where each fits best, and how narrowly, is climbed to by its lean; which are worth flying at all
is learned from the first.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final, TypeAlias

import numpy as np

from driftmap.core.checks import FloatArray, Kept
from driftmap.montecarlo.importance_sampling import Mixture
from driftmap.observations.case_flights import ROCKET, CaseFlights
from driftmap.observations.figures import MeasuredSight, SeenMoment, Trace, log_density
from driftmap.observations.observation import FoundState, Observation, Odds
from driftmap.observations.weighing import Weighed
from driftmap.rocket.case import LIGHTS

_STEPS: Final = 4  # of Newton's method; each takes six looks
_STEEPEST: Final = 1e10  # of the negative curvature
_NUDGE: Final = 0.02  # standard deviations of lean
_LONGEST: Final = 1.5  # a step may be, in standard deviations
_FARTHEST: Final = 5.0  # standard deviations a flight may be leaned
_WIDER: Final = 1.3  # kernels than the curvature says: tails cost less than they save
_UNSURE: Final = 0.08  # error of the linear response over the way it is used for
_BESIDE: Final = (-1.6, -0.8, 0.0, 0.8, 1.6)  # kernels along the way of least certainty
_STILL: Final = (SeenMoment, Trace)  # times and heights: no lean of the wind moves them
_STENCIL: Final = np.array([(0, 0), (1, 0), (-1, 0), (0, 1), (0, -1), (1, 1)]).T
_NEAR: Final = 0.5  # of a kernel's width that leaning again could not make less


@dataclass(frozen=True, slots=True, eq=False)
class Best:
    """Where each flight of a case fits best, how narrowly, and how well."""

    middle: FloatArray  # (2, k)
    along: FloatArray  # (2, k), the way in which it fits least narrowly
    width: FloatArray  # (k,), in all other ways
    sure: FloatArray  # (k,), the part of it that is not the response's error
    chance: FloatArray  # (k,) logarithm of the evidence about it

    @property
    def total(self) -> float:
        """Logarithm of all evidence about the case."""
        return float(np.logaddexp.reduce(self.chance))

    @property
    def near(self) -> bool:
        """Whether leaning again could hardly make kernels narrower."""
        return float(np.median(self.sure / self.width)) > _NEAR


def best_lean(flown: CaseFlights, told: Sequence[Observation]) -> Best:
    """Climb to the likeliest lean of each flight by Newton's method."""
    own = flown.own_lean
    smooth = [seen for seen in told if isinstance(seen, MeasuredSight)]
    worth = partial(
        _worth, flown, [s for s in smooth if not isinstance(s, _STILL)], own
    )
    at = np.zeros_like(own)
    for _ in range(_STEPS):
        value, slope, curve = _stencil(worth, at)
        step = np.linalg.solve(curve, slope.T[..., None])[..., 0].T
        size = np.maximum(np.hypot(*step) / _LONGEST, 1.0)
        at = np.clip(at + step / size, -_FARTHEST, _FARTHEST)
    value, _, curve = _stencil(worth, at)
    narrow, turn = np.linalg.eigh(curve)
    short, long = 1 / np.sqrt(narrow[:, 1]), 1 / np.sqrt(narrow[:, 0])
    along = turn[:, :, 0].T * np.sqrt(np.maximum(long**2 - short**2, 0.0))
    missing = np.minimum(np.hypot(*(at - own)), 3.0)
    sure = _WIDER * short + 0.5 * np.hypot(*along)
    width = np.hypot(sure, _UNSURE * missing)
    odds = [_near_density(s, flown) for s in smooth if isinstance(s, _STILL)]
    odds += [s.log_likelihood(flown) for s in told if isinstance(s, Odds | FoundState)]
    with np.errstate(divide="ignore"):
        prior = np.log(flown.prior) + sum(odds, np.zeros(flown.who.size))
    chance = value + np.log(short * long) + prior
    return Best(at, along, np.minimum(width, 1.0), sure, chance)


def _worth(
    flown: CaseFlights,
    observations: Sequence[MeasuredSight],
    own: FloatArray,
    lean: FloatArray,
) -> FloatArray:
    """Return the logarithm of likelihood times density of a lean, shape (k,)."""
    moved = flown.leaned(lean - own)
    total = -(lean**2).sum(axis=0) / 2
    for seen in observations:
        total = total + _near_density(seen, moved)
    return np.asarray(total)


def _near_density(seen: MeasuredSight, flown: CaseFlights) -> FloatArray:
    """Return the logarithm of the density of what was measured.

    Without mistakes the top is one, and smooth; flights that show nothing of the kind stay
    where they are.
    """
    near = log_density(seen.figure(flown))
    return np.where(np.isfinite(near), near, -1e3)


def _stencil(worth: partial[FloatArray], at: FloatArray) -> tuple[FloatArray, ...]:
    """Return value (k,), gradient (2, k) and negative curvature (k, 2, 2)."""
    value = [worth(at + _NUDGE * step[:, None]) for step in _STENCIL.T]
    mid, e, w, n, s, en = value
    slope = np.stack([e - w, n - s]) / (2 * _NUDGE)
    ee, nn = (e + w - 2 * mid) / _NUDGE**2, (n + s - 2 * mid) / _NUDGE**2
    cross = (en - e - n + mid) / _NUDGE**2
    curve = -np.moveaxis(np.array([[ee, cross], [cross, nn]]), -1, 0)
    # Never flatter than the lean's own density: where sight bends the other way, the
    # step then stays one uphill. Never so steep that the flat way is lost in rounding.
    low, turn = np.linalg.eigh(curve)
    low = np.clip(low, 1.0, _STEEPEST)
    return mid, slope, np.asarray(np.einsum("kij,kj,klj->kil", turn, low, turn))


def mixture_of(flown: CaseFlights, best: Best, plain: float) -> Mixture:
    """Give every flight of a case kernels along the way of least certainty."""
    size, flights = len(_BESIDE), flown.flights
    middle, width = np.zeros((size, flights, 2)), np.ones((size, flights))
    share = np.zeros((size, flights))
    each = np.exp(-np.square(_BESIDE) / 2)
    for row, beside in enumerate(_BESIDE):
        middle[row, flown.who] = (best.middle + beside * best.along).T
        width[row, flown.who] = best.width
        share[row, flown.who] = each[row] / each.sum()
    return Mixture(middle, width, share, plain)


WorthFlying: TypeAlias = Callable[[Mapping[str, Kept]], FloatArray]
"""The chance to be given to each flight, by its inputs."""

_KEPT: Final = 0.95  # of the effective flights that all of them would bring
_LEAST: Final = 0.05  # of the flights that hardly fit; each of them stands for the rest
_INPUTS: Final = 12  # of a flight; those that move its landing most
_FEWEST: Final = 2000  # flights of a case from which it can be learned what fits
_SPOKEN: Final = 0.01  # chance of a case below which it takes what flights there are
_DEEP: Final = 12.0  # logarithm of a weight, below the greatest, that is no weight
_SOFT: Final = 3.0  # by which flights that fit badly count less in the fit
_SLICES: Final = 40
"""Slices of the flights by how well they are thought to fit, the best ones thin."""


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
        """Return what each flight adds to the squares of all weights, 1 on average."""
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

    def __init__(self, flown: CaseFlights, own: FloatArray) -> None:
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
        """Return the square of the weight to be expected, 1 on average."""
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


def _telling(flown: CaseFlights, draws: Mapping[str, Kept]) -> list[str]:
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
