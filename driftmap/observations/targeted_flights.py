"""More flights where what was seen says: each is leaned, on its own draws, to fit it."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import partial
from math import ceil
from typing import Any, Final

import numpy as np

from driftmap.air.wind import WindProfile
from driftmap.core.checks import FloatArray
from driftmap.core.errors import FlightError
from driftmap.core.spread import stream
from driftmap.montecarlo.cloud import BLOCK, Cloud, fly_again
from driftmap.montecarlo.importance_sampling import Mixture
from driftmap.montecarlo.lean import Steered
from driftmap.observations.case_flights import ROCKET, CaseFlights, flown_cases
from driftmap.observations.figures import Find, MeasuredSight
from driftmap.observations.observation import Observation
from driftmap.observations.proposal import (
    Best,
    WorthFlying,
    best_lean,
    mixture_of,
    worth_flying,
)
from driftmap.observations.weighing import Weighed, log_likelihoods, weigh

ENOUGH: Final = 200.0
"""Effective flights below which more are flown toward what was seen."""

LOT: Final = 20_480
"""Flights of all cases, where no more are asked for."""

FIRST: Final = 8192
"""Flights of all cases, in whole blocks and evenly for two or four processors, where more are
asked for: beyond these only cases are flown that can be true."""

_MOST: Final = 4  # blocks of a case in one lot
_WANTED: Final = 800  # flights to which a case happened, to be flown again in one lot
_TURNS: Final = 2
_PLAIN: Final = 0.4
"""Share of flights drawn plainly in the end. Where the wind that fits was found wrongly, or there
are two, only they tell, and the fewer they are the more each weighs."""

_HOPELESS: Final = 1e-4  # share of all evidence below which a case is not flown again
_HARDLY: Final = 3e-3
"""Share below which once is enough; plain share of turns before the last."""

_SEEN: Final = 20.0  # effective flights of a case below which they lie too far apart
_LITTLE: Final = 0.02  # share of all weights' squares below which a case is sure enough


def plainly(
    cloud: Cloud,
    wind: WindProfile,
    observations: Sequence[Observation],
    *,
    samples: int = 0,
    sparing: bool = False,
    progress: Callable[[int], None] | None = None,
) -> Weighed:
    """Weigh a cloud by what was seen, brought to so many flights a case.

    ``cloud``: plain flights, their falls kept; ``wind``: the wind they flew in;
    ``samples``: flights a case, where the case can still be true; ``sparing``: of those
    that by their inputs can hardly fit only some are flown, and stand for the others.
    """
    known = weigh(flown_cases(cloud, wind), observations)
    if samples <= cloud.flights:
        return known
    worth = worth_flying(known) if sparing else None
    return _flown_on(known, wind, samples, worth, progress)


def know(
    plain: Weighed, wind: WindProfile, *, enough: float = ENOUGH, most_lots: int = 4
) -> Weighed:
    """Fly more toward what was seen where few plain flights remain.

    ``plain``: from `plainly`; ``wind``: the wind they flew in; ``enough``: effective flights
    to reach; ``most_lots``: how many lots are flown at the most.

    Result: the weighed flights; `Weighed.effective` tells how many they stand for.

    The flights flown again keep their draws but for the part of the wind's error that carries a
    fall farthest. That is drawn about where the flight fits best, and weights undo the lean
    exactly (`driftmap.montecarlo.importance_sampling.Mixture`). Each case is leaned by itself:
    a flight that fits in one way as this case and in another as that would otherwise hit by
    chance alone as one of them, and then weigh more than all others.
    """
    known, observations = plain, plain.observations
    # Nothing measured, or no plain flights that told how a lean carries them.
    told = any(isinstance(seen, MeasuredSight) for seen in observations)
    leans = told and any(flown.slopes for flown in plain.cases)
    if plain.fitting >= enough or not leans:
        return _in_patches(plain)
    first = [lots[0][0] for lots in plain.lots.values()]
    slopes = {flown.case.name: flown.slopes for flown in first}
    few = [_first(flown, wind, slopes) for flown in first]
    lots: list[CaseFlights] = []
    for lot in range(most_lots):
        if lot:
            unsure = _unsure(known)
            few = _other_draws([f for f in few if f.case.name in unsure], wind)
        lots += _toward(few, observations, wind)
        count = Counter(flown.case.name for flown in lots)
        pooled = [replace(f, prior=f.prior / count[f.case.name]) for f in lots]
        # Cases that were not worth flying again stay as they were.
        rest = [f for f in plain.cases if f.case.name not in count]
        known = weigh([*pooled, *rest], observations)
        if known.fitting >= enough:
            break
    return _in_patches(known)


def _flown_on(
    known: Weighed,
    wind: WindProfile,
    samples: int,
    worth: WorthFlying | None,
    progress: Callable[[int], None] | None,
) -> Weighed:
    """Fly the cases that can still be true so many times in all."""
    cloud = known.cases[0].cloud
    still = {f.case.name for f in known.cases if _at_most(f, known) > _HOPELESS}
    more = _fly_again(
        cloud,
        wind,
        samples - cloud.flights,
        Steered(None, still, worth),
        after=cloud.flights,
        progress=progress,
    )
    if more is None:
        return known
    share = cloud.flights / samples
    before = [
        replace(f, prior=f.prior * share) if f.case.name in still else f
        for f in known.cases
    ]
    own = np.ones(more.flights)
    if worth is not None:
        own = more.flights / (samples - cloud.flights) / worth(more.draws)
    slopes = {f.case.name: f.slopes for f in known.cases}
    beyond = [
        replace(f, prior=f.prior * (1 - share))
        for f in flown_cases(more, wind, weights=own, slopes=slopes)
    ]
    return weigh([*before, *beyond], known.observations)


def _at_most(flown: CaseFlights, known: Weighed) -> float:
    """Return the chance of a case, were all its flights as good as the best, by patches."""
    told = log_likelihoods(flown.as_patches(), known.observations)
    best = float(np.max(sum(told, np.zeros(flown.who.size))))
    return float(flown.prior.sum() * np.exp(best - known.log_evidence))


def _in_patches(known: Weighed) -> Weighed:
    """Let flights of cases that hardly hit what was found each stand for a patch of ground.

    No lean of the wind brings there what went off its path or tipped over on the rod: it
    would hit by chance alone, nearly always too seldom, and at times far too often. Several
    finds are told from the rocket's, or from the first that is no mistake.
    """
    if not any(isinstance(seen, Find) for seen in known.observations):
        return known
    few = {name for name, hits in known.hits.items() if hits < _SEEN}
    if not few:
        return known

    def rough(anchor: Find | None = None) -> Weighed:
        told = None if anchor is None else anchor.told
        cases = [f.as_patches(told) if f.case.name in few else f for f in known.cases]
        return weigh(cases, known.observations)

    by_itself = rough()
    finds = [
        seen
        for seen in known.observations
        if isinstance(seen, Find) and seen not in by_itself.doubted
    ]
    finds.sort(key=lambda find: find.piece != ROCKET)
    return rough(finds[0]) if finds else by_itself


def _first(
    flown: CaseFlights, wind: WindProfile, slopes: Mapping[str, Any]
) -> CaseFlights:
    """Take as many whole blocks of flights as bring enough to which the case happened."""
    cloud = flown.cloud
    blocks = ceil(_WANTED / flown.who.size * cloud.flights / BLOCK)
    found = flown_cases(cloud, wind, first=min(blocks, _MOST) * BLOCK, slopes=slopes)
    return next((f for f in found if f.case.name == flown.case.name), flown)


def _unsure(known: Weighed) -> set[str]:
    """Name the cases whose few flights keep the effective number down."""
    squares = known.squares
    least = _LITTLE * sum(squares.values())
    return {name for name, own in squares.items() if own >= least}


def _other_draws(few: Sequence[CaseFlights], wind: WindProfile) -> list[CaseFlights]:
    """Fly some cases plainly once more, with other draws."""
    found: list[CaseFlights] = []
    for flown in few:
        seed = flown.cloud.seed + 1
        rng = stream(seed, 0, "lean of another lot")
        lean = rng.standard_normal((flown.flights, 2))
        found += _flown_again(flown, wind, lean, seed=seed)
    return found


def _toward(
    few: Sequence[CaseFlights], observations: Sequence[Observation], wind: WindProfile
) -> list[CaseFlights]:
    """Fly cases again, each flight leaned as fits it best, turn by turn closer.

    What a flight then misses by is a part of what it missed by before.
    """
    done: list[CaseFlights] = []
    leaned, plain = list(few), {flown.case.name: flown for flown in few}
    with ThreadPoolExecutor(os.cpu_count()) as pool:  # cases share the processors
        for turn in range(1, _TURNS + 1):
            aims = list(pool.map(partial(best_lean, told=observations), leaned))
            most = np.logaddexp.reduce([aim.total for aim in aims])
            jobs: list[tuple[CaseFlights, Best, CaseFlights | None]] = []
            for flown, aim in zip(leaned, aims, strict=True):
                share = np.exp(aim.total - most)
                if turn == 1 and share < _HOPELESS:
                    continue
                last = turn == _TURNS or share < _HARDLY or aim.near
                jobs.append((flown, aim, plain[flown.case.name] if last else None))
            fly_each = partial(_leaned_to, wind=wind, turn=turn)
            lots = list(pool.map(fly_each, *zip(*jobs, strict=True)))
            leaned = []
            for (_, _, beside), own in zip(jobs, lots, strict=True):
                (leaned if beside is None else done).extend(own)
    return done


def _leaned_to(
    flown: CaseFlights,
    aim: Best,
    plain: CaseFlights | None,
    *,
    wind: WindProfile,
    turn: int,
) -> list[CaseFlights]:
    """Fly a case leaned toward its aim; the last time, put its plain flights beside."""
    mixture = mixture_of(flown, aim, _HARDLY if plain is None else _PLAIN)
    what = f"toward what was seen, {flown.case.name}"
    lean = mixture.draw(stream(flown.cloud.seed, turn, what))
    leant = _flown_again(flown, wind, lean, weights=_shared(mixture, lean))
    if plain is None or not leant:
        return [*leant]
    draws = plain.cloud.draws
    own = np.array([draws["lean east"], draws["lean north"]], float).T
    share = _shared(mixture, own[: flown.flights])[plain.who]
    return [*leant, replace(plain, prior=plain.prior * share)]


def _shared(mixture: Mixture, lean: FloatArray) -> FloatArray:
    """Weigh leans of flights of which each has one from the mixture, and a plain one.

    Both count as what either could have been (balance heuristic of E. Veach and
    L. Guibas, 1995, from memory), so that neither outweighs the other by much.
    """
    alone = mixture.weights(lean)
    return 2 * alone / (1 + alone)


def _flown_again(
    flown: CaseFlights,
    wind: WindProfile,
    lean: FloatArray,
    *,
    weights: FloatArray | None = None,
    seed: int | None = None,
) -> tuple[CaseFlights, ...]:
    """Fly the flights of a case again, leaned; none if it happens to none of them then."""
    case = flown.case.name
    steered = Steered(np.ascontiguousarray(lean.T), {case})
    more = _fly_again(flown.cloud, wind, flown.flights, steered, seed=seed)
    if more is None:
        return ()
    return flown_cases(more, wind, weights=weights, slopes={case: flown.slopes})


def _fly_again(
    cloud: Cloud,
    wind: WindProfile,
    samples: int,
    steered: Steered,
    *,
    seed: int | None = None,
    after: int = 0,
    progress: Callable[[int], None] | None = None,
) -> Cloud | None:
    """Fly what a cloud flew in its own air; None if nothing asked for happens then."""
    try:
        return fly_again(cloud, wind)(
            samples=samples,
            seed=cloud.seed if seed is None else seed,
            steered=steered,
            after=after,
            bodies={body.name for c in cloud.tree.cases for body in c.bodies},
            keep_falls=True,
            progress=progress,
        )
    except FlightError:
        return None
