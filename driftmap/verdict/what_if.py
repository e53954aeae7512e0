"""What would change a verdict, each change flown: other recovery, another aim, less wind."""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import starmap
from math import degrees, pi, radians
from typing import Final, TypeAlias

from driftmap.air.transformed import scaled
from driftmap.air.wind import MAST, WindProfile, reported_at
from driftmap.hazard.harm import KILLS
from driftmap.montecarlo.launch import Plan
from driftmap.rocket.alternatives import PLANNED, alternatives
from driftmap.rocket.fields import Azimuth
from driftmap.rocket.flight import Flight
from driftmap.verdict.assessment import Assessment
from driftmap.verdict.check import BY_FLIGHTS, FAILS, RANK, Check, Kind, Verdict, decide
from driftmap.verdict.setup import Setup, checks_of

_Heard: TypeAlias = Callable[[int, int], None]
"""What is told how many are done since the last time, and how many are left."""

_Plan: TypeAlias = tuple[Setup, WindProfile]
Through: TypeAlias = Callable[
    [Callable[[Setup, WindProfile], tuple[Check, ...]], Sequence[_Plan]],
    Iterable[tuple[Check, ...]],
]
"""What gives the checks of each plan, in their order, by the function it is given."""

_DIRECTIONS: Final = 8
_WEAKER: Final = (0.75, 0.5, 0.25)
_BETWEEN: Final = (0.625, 0.375, 0.125, 0.05)
"""Shares of the wind between those, down to next to none."""
_FEW: Final = 2000
"""Flights that show of most changes that they come out no better."""

_RUNNERS_UP: Final = 3
"""Kinds of change of which the best is flown in full, though its word is no milder than the plan's."""

_ROOM: Final = 0.05
"""Share of a limit by which the figure of a few flights may be off; some standard errors of
their quantiles. Assumed."""


def _deaf(done: int, left: int) -> None:
    del done, left


@dataclass(frozen=True, slots=True)
class Turn:
    """A change to the plan, and what it comes to.

    Parameters
    ----------
    kind : {"recovery", "rail", "wind", "both"}
        What is changed; two changes at once where no single one gives a go.
    name : str
        How, in words; for the wind, its share of the present speed.
    wind : float
        Speed of the wind at 10 m [m s⁻¹].
    verdict : {"go", "hold", "no-go"}
        The verdict without the questions of the rules, which no change answers.
    failing, warning : int
        Lines that fail and that hold.
    speed, energy : float or None
        How fast the rocket lands when recovery works [m s⁻¹], and with what energy [J];
        None where it never does.
    """

    kind: str
    name: str
    wind: float
    verdict: Verdict
    failing: int
    warning: int
    speed: float | None = None
    energy: float | None = None


@dataclass(frozen=True, slots=True)
class Turning:
    """What would turn a verdict, and what nothing that was flown does.

    Parameters
    ----------
    better : tuple of Turn
        Changes with a better verdict, or as good a one with fewer lines against it; the
        best first.
    stays : tuple of Check
        Lines of the plan that no change, not even the weakest wind, brings within its
        limit; what fails first. While there are any, no change flown is a go. None of what
        is counted out of flights: two changes, or more flights, may yet bring that in.
    wait_for : float or None
        Strongest of the weaker winds flown from which on down all are go, those between and a
        calm too [m s⁻¹ at 10 m].
    """

    better: tuple[Turn, ...]
    stays: tuple[Check, ...]
    wait_for: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class _Change:
    """A change to the plan: of what kind, how in words, and what is flown then."""

    kind: str
    name: str
    flight: Flight
    wind: WindProfile


@dataclass(frozen=True, slots=True, eq=False)
class _Tried:
    """A change, what it comes to, the lines against it, and whether it was flown in full."""

    change: _Change
    turn: Turn
    against: frozenset[tuple[str, ...]]
    whole: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class _Trial:
    """The plan, what it comes to as it is, and by what changes to it are flown."""

    plan: Assessment
    now: Turn
    progress: _Heard
    through: Through


def turns(
    assessment: Assessment, *, progress: _Heard = _deaf, through: Through = starmap
) -> Turning:
    """Fly changes to a plan and say what comes out better.

    ``progress`` is told after each change how many are done and left; ``through`` works
    through the changes, in processes say.

    Result: what was found, on the same flights and draws as the plan: single changes, and two
    at once where no single one gives a go and nothing stands against all of them.
    """
    a = assessment
    now = _weigh(_Change("", "", a.flight, a.wind), a.checks)
    fly_all = partial(_fly_all, _Trial(a, now, progress, through))
    own = _own_azimuth(a.cloud.plan)
    tried = fly_all(_changes(a.flight, a.wind, own), now.verdict)
    stays = tuple(
        check
        for outcome in ("fail", "warn")
        for check in _against(a.checks)
        if check.outcome == outcome and check.kind not in BY_FLIGHTS
        if all(_line(check) in t.against for t in tried)
    )
    known = (now.verdict, *(t.turn.verdict for t in tried if t.whole))
    mildest = min(known, key=RANK.index)
    if not stays and mildest != "go":
        tried += fly_all(_pairs(tried), mildest)
    better = [t.turn for t in tried if t.whole and _order(t.turn) < _order(now)]
    wait = None if now.verdict == "go" else _wait_for(t.turn for t in tried)
    if wait is not None:  # in less wind it may come down where people are
        less = [scaled(a.wind, share) for share in _BETWEEN if share * now.wind < wait]
        lulls = (_Change("wind", "a lull", a.flight, wind) for wind in less)
        calm = all(fly_all([lull], mildest)[0].turn.verdict == "go" for lull in lulls)
        wait = wait if calm else None
    return Turning(tuple(sorted(better, key=_order)), stays, wait)


def _fly_all(
    trial: _Trial, changes: Iterable[_Change], mildest: Verdict
) -> list[_Tried]:
    """Fly changes to a plan: as often as the plan what may come out better, the rest a few times."""
    every, own = list(changes), trial.plan.setup
    plans = [(replace(own, flight=change.flight), change.wind) for change in every]
    found, left = dict[int, _Tried](), list(range(len(every)))
    if own.samples > 2 * _FEW:
        few = [(replace(setup, samples=_FEW), wind) for setup, wind in plans]
        seen = list(trial.through(checks_of, few))
        left = _promising(trial, mildest, every, seen)
        found = {
            i: replace(_tried(every[i], _but_for(checks, _stands)), whole=False)
            for i, checks in enumerate(seen)
            if i not in left
        }
        trial.progress(len(found), len(left))
    rest = trial.through(checks_of, [plans[i] for i in left])
    for i, checks in zip(left, rest, strict=True):
        found[i] = _tried(every[i], checks)
        trial.progress(1, len(every) - len(found))
    return [found[i] for i in range(len(every))]


def _promising(
    trial: _Trial,
    mildest: Verdict,
    changes: Sequence[_Change],
    seen: Iterable[tuple[Check, ...]],
) -> list[int]:
    """Pick which changes to fly as often as the plan, by what a few flights show.

    All that may have a milder word than the mildest known, and the best of the
    three kinds that may come out best in other ways.
    """
    plan = trial.plan
    held = {_line(c) for c in _against(plan.checks)}
    milder, others = list[int](), dict[int, tuple[int, ...]]()
    for i, (change, checks) in enumerate(zip(changes, seen, strict=True)):
        least = _tried(change, _but_for(checks, partial(_surely, held))).turn
        if RANK.index(least.verdict) < RANK.index(mildest):
            milder.append(i)
        elif _order(least) < _order(trial.now):
            others[i] = _order(_tried(change, _but_for(checks, _stands)).turn)
    best = dict[tuple[bool, ...], int]()
    for i in sorted(others, key=lambda i: others[i]):
        flight, wind = changes[i].flight, changes[i].wind
        best.setdefault((flight.rail == plan.flight.rail, wind is plan.wind), i)
    return sorted([*milder, *list(best.values())[:_RUNNERS_UP]])


def _but_for(
    checks: Iterable[Check], counts: Callable[[Check], bool]
) -> tuple[Check, ...]:
    """Let all lines of a few flights pass that do not count, as more flights may show."""
    return tuple(c if counts(c) else replace(c, outcome="pass") for c in checks)


def _stands(check: Check, room: float = 0.0) -> bool:
    """Return whether a line is against a plan by its figure, not by how few flights tell it.

    ``room``: the share of its limit by which it must be beyond it.
    """
    if check.outcome == "pass" or check.value is None or check.limit is None:
        return check.outcome != "pass"
    if check.sense == "least":
        return check.value < (1 - room) * check.limit
    return check.value > (1 + room) * check.limit


def _surely(held: Container[tuple[str, ...]], check: Check) -> bool:
    """Return whether a line that a few flights show is against a plan by many as well.

    ``held``: the lines against the plan as it is, by all of its flights.
    """
    counted = check.kind in BY_FLIGHTS or check.unit == "share"
    if counted and check.interval is not None and check.limit is not None:
        return check.interval[0] > FAILS.get(check.kind, 1.0) * check.limit
    told = check.value is not None or check.outcome == "fail" or _line(check) in held
    return told and _stands(check, _ROOM)


def _tried(change: _Change, checks: tuple[Check, ...]) -> _Tried:
    against = frozenset(map(_line, _against(checks)))
    return _Tried(change, _weigh(change, checks), against)


def _line(check: Check) -> tuple[str, ...]:
    return check.kind, check.name, check.case, check.area


def _against(checks: Iterable[Check]) -> list[Check]:
    return [c for c in checks if c.outcome != "pass" and not c.question]


def _wait_for(tried: Iterable[Turn]) -> float | None:
    """Find the strongest of the winds tried below which none was flown that is not go."""
    found = None
    weaker = (turn for turn in tried if turn.kind == "wind")
    for turn in sorted(weaker, key=lambda turn: turn.wind):
        if turn.verdict != "go":
            return found
        found = turn.wind
    return found


def _pairs(tried: Iterable[_Tried]) -> Iterator[_Change]:
    """Put the best changes of two kinds together."""
    ranked = sorted(tried, key=lambda t: _order(t.turn))
    best = {
        kind: next((t for t in ranked if t.turn.kind == kind), None)
        for kind in ("recovery", "rail")
    }
    first, second = best["recovery"], best["rail"]
    if first is not None and second is not None:
        yield _both(first, second)
    for weak in (t for t in ranked if t.turn.kind == "wind"):
        for one in best.values():
            if one is not None:
                yield _both(one, weak)


def _both(one: _Tried, other: _Tried) -> _Change:
    name = f"{one.turn.name}, and {other.turn.name}"
    flight = one.change.flight
    if other.turn.kind == "rail":
        flight = flight.model_copy(update={"rail": other.change.flight.rail})
    return _Change("both", name, flight, other.change.wind)


def _own_azimuth(plan: Plan) -> Azimuth:
    """Keep the rail where it was aimed; where that is all around it stays so."""
    return "into the wind" if plan.leans_anywhere else plan.azimuth


def _changes(flight: Flight, wind: WindProfile, azimuth: Azimuth) -> Iterator[_Change]:
    for name, other in alternatives(flight).items():
        # To leave recovery out is no help, whatever else it keeps within its limits.
        if name != PLANNED and (other.recovery or not flight.recovery):
            yield _Change("recovery", name, other, wind)
    upright = flight.aimed(azimuth, radians(1.0))
    yield _Change("rail", "1° from the vertical", upright, wind)
    tilt = degrees(flight.rail.angle.value)
    for i in range(_DIRECTIONS):
        toward = 2 * pi * i / _DIRECTIONS
        name = f"{tilt:.3g}° toward {degrees(toward):03.0f}°"
        yield _Change("rail", name, flight.aimed(toward), wind)
    for share in _WEAKER:
        yield _Change("wind", f"{share:.0%} of the wind", flight, scaled(wind, share))


def _weigh(change: _Change, checks: tuple[Check, ...]) -> Turn:
    lines = [c for c in checks if not c.question]
    speed = next((c.value for c in checks if c.kind is Kind.DESCENT), None)
    return Turn(
        kind=change.kind,
        name=change.name,
        wind=float(reported_at(change.wind, MAST)[1]),
        verdict=decide(lines),
        failing=sum(check.outcome == "fail" for check in lines),
        warning=sum(check.outcome == "warn" for check in lines),
        speed=speed,
        energy=None if speed is None else change.flight.dry_mass * speed**2 / 2,
    )


def _order(turn: Turn) -> tuple[int, int, bool, int]:
    """Rank changes; one whose every good flight can kill comes after those that cannot."""
    kills = turn.energy is None or turn.energy >= KILLS.value
    return RANK.index(turn.verdict), turn.failing, kills, turn.warning
