"""More flights where what was seen says: each is leaned, on its own luck, to fit it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Final

import numpy as np

from driftmap.air.wind import WindProfile
from driftmap.checks import FloatArray
from driftmap.failures.cases import CERTAIN
from driftmap.hazard.steering import Mixture
from driftmap.montecarlo.cloud import Cloud, Steered, fly
from driftmap.observations.figures import MeasuredSight, log_density
from driftmap.observations.flown import Flown, flown_cases
from driftmap.observations.observation import Observation, Odds, State
from driftmap.observations.weighing import Known, weigh
from driftmap.spread import stream

__all__ = ["ENOUGH", "know"]

ENOUGH: Final = 200.0
"""Effective flights below which more are flown toward what was seen."""

_AGAIN: Final = (
    16_384  # flights flown again; whole blocks, so that their luck is the same
)
_PLAIN: Final = 0.2  # share of flights drawn plainly
_TURNS: Final = 2
_STEPS: Final = 4  # of Newton's method; each takes six looks
_STEEPEST: Final = 1e10  # of the negative curvature
_NUDGE: Final = 0.02  # standard deviations of lean
_LONGEST: Final = 1.5  # a step may be, in standard deviations
_FARTHEST: Final = 5.0  # standard deviations a flight may be leaned
_WIDER: Final = 1.3  # kernels than the curvature says: tails cost less than they save
_UNSURE: Final = 0.08  # error of the linear response over the way it is used for
_BESIDE: Final = (-1.6, -0.8, 0.0, 0.8, 1.6)  # kernels along the way of least certainty
_HOPELESS: Final = 1e-4  # share of all evidence below which a case is not flown again
_STENCIL: Final = np.array([(0, 0), (1, 0), (-1, 0), (0, 1), (0, -1), (1, 1)]).T


def know(
    cloud: Cloud,
    wind: WindProfile,
    observations: Sequence[Observation],
    *,
    enough: float = ENOUGH,
    most_lots: int = 4,
) -> Known:
    """Weigh a cloud by what was seen, and fly more toward it where few flights remain.

    ``cloud``: plain flights, their falls kept; ``wind``: the wind they flew in;
    ``enough``: effective flights to reach; ``most_lots``: how many lots are flown at
    the most.

    Result: the weighed flights; `Known.effective` tells how many they stand for.

    The flights flown again keep their luck but for the part of the wind's error that
    carries a fall farthest. That is drawn about where the flight fits best, and weights
    undo the lean exactly (`driftmap.hazard.steering.Mixture`).
    """
    cases = flown_cases(cloud, wind)
    known = weigh(cases, observations)
    if known.effective >= enough or not _can_lean(known):
        return known
    few = flown_cases(cloud, wind, first=_AGAIN, slopes=_slopes(cases))
    lots: list[Flown] = []
    for lot in range(most_lots):
        if lot:
            few = _plain(few, wind)
        leaned = few
        for turn in range(_TURNS):
            # The second time each is leaned by what it then misses by, which is little.
            leaned = _again(leaned, observations, wind, turn)
        lots += leaned
        more = weigh(_pooled(lots, cases), observations)
        if more.effective > known.effective:
            known = more
        if known.effective >= enough:
            break
        few = leaned
    return known


def _can_lean(known: Known) -> bool:
    measured = any(isinstance(seen, MeasuredSight) for seen in known.observations)
    return measured and any(flown.slopes for flown in known.cases)


def _slopes(cases: Sequence[Flown]) -> dict[str, Any]:
    return {flown.case.name: flown.slopes for flown in cases}


def _pooled(lots: Sequence[Flown], cases: Sequence[Flown]) -> list[Flown]:
    """Put lots together; cases that were not worth flying again stay as they were."""
    count = Counter(flown.case.name for flown in lots)
    pooled = [replace(f, prior=f.prior / count[f.case.name]) for f in lots]
    return [*pooled, *(f for f in cases if f.case.name not in count)]


def _plain(few: Sequence[Flown], wind: WindProfile) -> tuple[Flown, ...]:
    """Fly another lot of the same cases, on other luck."""
    cloud = few[0].cloud
    wanted = {flown.case.name for flown in few}
    again = _flown_again(cloud, wind, cloud.seed + 1, cloud.flights, None, wanted)
    return flown_cases(again, wind, slopes=_slopes(few))


def _again(
    few: Sequence[Flown],
    observations: Sequence[Observation],
    wind: WindProfile,
    turn: int,
) -> tuple[Flown, ...]:
    """Fly the likely cases again, each flight leaned as fits it best."""
    aims = [_best_lean(flown, observations) for flown in few]
    most = np.logaddexp.reduce([aim.total for aim in aims])
    wanted = {
        flown.case.name
        for flown, aim in zip(few, aims, strict=True)
        if aim.total - most > np.log(_HOPELESS) or flown.case.cause == CERTAIN
    }
    cloud = few[0].cloud
    flights = min(_AGAIN, cloud.flights)
    mixture = _mixture(few, aims, flights)
    lean = mixture.draw(stream(cloud.seed, turn, "toward what was seen"))
    again = _flown_again(cloud, wind, cloud.seed, flights, lean, wanted)
    weights = mixture.weights(lean)
    return flown_cases(again, wind, weights=weights, slopes=_slopes(few))


def _flown_again(
    cloud: Cloud,
    wind: WindProfile,
    seed: int,
    flights: int,
    lean: FloatArray | None,
    wanted: set[str],
) -> Cloud:
    plan = cloud.plan
    if lean is None:
        lean = stream(seed, 0, "lean of another lot").standard_normal((flights, 2))
    return fly(
        plan.flight,
        wind,
        plan.sky.altitude,
        samples=flights,
        seed=seed,
        day=plan.sky.day,
        steered=Steered(np.ascontiguousarray(lean.T), wanted),
        keep_falls=True,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Best:
    """Where each flight of a case fits best, how narrowly, and how well."""

    middle: FloatArray  # (2, k)
    along: FloatArray  # (2, k), the way in which it fits least narrowly
    width: FloatArray  # (k,), in all other ways
    chance: FloatArray  # (k,) logarithm of the evidence about it

    @property
    def total(self) -> float:
        return float(np.logaddexp.reduce(self.chance))


def _best_lean(flown: Flown, observations: Sequence[Observation]) -> _Best:
    """Climb to the likeliest lean of each flight by Newton's method."""
    own = np.stack([flown.cloud.draws["lean east"], flown.cloud.draws["lean north"]])
    own = own[:, flown.who]
    smooth = [seen for seen in observations if isinstance(seen, MeasuredSight)]
    worth = partial(_worth, flown, smooth, own)
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
    width = np.hypot(_WIDER * short + 0.5 * np.hypot(*along), _UNSURE * missing)
    # What a lean of the wind does not move.
    still = (Odds, State)
    odds = [s.log_likelihood(flown) for s in observations if isinstance(s, still)]
    with np.errstate(divide="ignore"):
        prior = np.log(flown.prior) + sum(odds, np.zeros(flown.who.size))
    chance = value + np.log(short * long) + prior
    return _Best(at, along, np.minimum(width, 1.0), chance)


def _worth(
    flown: Flown,
    observations: Sequence[MeasuredSight],
    own: FloatArray,
    lean: FloatArray,
) -> FloatArray:
    """Give the logarithm of likelihood times density of a lean, shape (k,)."""
    moved = flown.leaned(lean - own)
    total = -(lean**2).sum(axis=0) / 2
    for seen in observations:
        # Without mistakes the top is one, and smooth; flights that show nothing of the
        # kind stay where they are.
        near = log_density(seen.figure(moved), mistaken=0.0)
        total = total + np.where(np.isfinite(near), near, -1e3)
    return np.asarray(total)


def _stencil(worth: partial[FloatArray], at: FloatArray) -> tuple[FloatArray, ...]:
    """Give value (k,), gradient (2, k) and negative curvature (k, 2, 2)."""
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


def _mixture(cases: Sequence[Flown], aims: Sequence[_Best], flights: int) -> Mixture:
    """Give every flight a kernel for each case, by the evidence it stands for."""
    size = len(cases) * len(_BESIDE)
    middle, width = np.zeros((size, flights, 2)), np.ones((size, flights))
    chance = np.full((size, flights), -np.inf)
    row = 0
    for flown, best in zip(cases, aims, strict=True):
        for beside in _BESIDE:
            middle[row, flown.who] = (best.middle + beside * best.along).T
            width[row, flown.who] = best.width
            chance[row, flown.who] = best.chance - beside**2 / 2
            row += 1
    most = chance.max(axis=0)
    share = np.exp(chance - np.where(np.isfinite(most), most, 0.0))
    total = share.sum(axis=0)
    share = np.divide(share, total, out=np.zeros_like(share), where=total > 0)
    return Mixture(middle, width, share, _PLAIN)
