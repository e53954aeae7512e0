"""One verdict among many: what a sweep flies, in a form that travels between workers."""

from __future__ import annotations

import copyreg
import io
import pickle
from collections.abc import Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any, Final, Literal, TypeAlias

import numpy as np

from driftmap.air.wind import STILL_AIR, WindProfile
from driftmap.core.errors import DriftmapError
from driftmap.core.estimate import Estimate, weighted_share
from driftmap.ground.areas import Site
from driftmap.hazard.exposure import Danger
from driftmap.hazard.outlines import Lines
from driftmap.hazard.probability import outside
from driftmap.montecarlo.cloud import Cloud, fly
from driftmap.montecarlo.margins import landed
from driftmap.rocket.cases import build_cases
from driftmap.rocket.flight import Flight
from driftmap.rocket.likelihood import WORKS
from driftmap.verdict.check import RANK, Check, Kind, Verdict, decide, decide_ahead
from driftmap.verdict.judgement import SCOUTS, Need, flights_needed, judge_all
from driftmap.verdict.launch_checks import wind_checks
from driftmap.verdict.limits import Limit, read_limits, tightened
from driftmap.verdict.setup import Setup, flown, in_stronger

NOT_KNOWN: Final = "not known"
"""Finding where there is no verdict: a flight that could not be flown, a lost worker."""

Finding: TypeAlias = Verdict | Literal["not known"]

Held: TypeAlias = Check | str
"""What speaks against a go: a check, or in words why there is no verdict; empty for none."""

FINDINGS: Final[tuple[Finding, ...]] = (*RANK, NOT_KNOWN)
"""Findings, the mildest first."""

_WORST_FIRST: Final = ("fail", "warn")

_ANYTHING: Final = Estimate(1.0, 0.0, 1.0, 0, 0)
"""A share of which nothing is known."""


@dataclass(frozen=True, slots=True)
class Strike:
    """Where the rocket comes down in the case in which it strikes hardest.

    The mean landing from the pad, and the radius about it that holds nine in ten [m].
    """

    case: str
    east: float
    north: float
    radius: float


@dataclass(frozen=True, slots=True)
class Trial:
    """One verdict with what it rests on.

    What people must answer on the day does not depend on what is planned: questions that
    are still open are set aside, and named wherever a planned "go" is told. On the day
    an open question makes the verdict hold.

    Parameters
    ----------
    verdict : {"go", "hold", "no-go", "not known"}
        The verdict but for open questions; "not known" where the flight could not be
        flown.
    checks : tuple of Check
        Every check, as an assessment makes them.
    stray : Estimate
        Share of flights that land a piece outside the boundary though recovery works.
    problem : str
        Why the flight could not be flown.
    strike : Strike or None
        Where it comes down hardest, of the cases that do not go any way.
    """

    verdict: Finding
    checks: tuple[Check, ...] = ()
    stray: Estimate = _ANYTHING
    problem: str = ""
    strike: Strike | None = None

    @property
    def questions(self) -> tuple[str, ...]:
        """What people must still answer before any go."""
        asked = (
            held_name(c) for c in self.checks if c.question and c.outcome != "pass"
        )
        return tuple(dict.fromkeys(asked))

    @property
    def blocks(self) -> tuple[Check, ...]:
        """Checks that do not pass, the worst first, but for open questions.

        Of those that hold, first what lies beyond its limit by the best estimate.
        """
        return tuple(
            check
            for outcome in _WORST_FIRST
            for check in sorted(self.checks, key=_weight, reverse=True)
            if check.outcome == outcome and not check.question
        )

    @property
    def held_by(self) -> Held:
        """What speaks most against a go; empty for a go."""
        return self.problem or next(iter(self.blocks), "")

    @property
    def blocked_by(self) -> str:
        """What speaks most against a go, in words; empty for a go."""
        return held_name(self.held_by)


def unknown_trial(problem: object) -> Trial:
    """Say why there is no verdict, in one line."""
    return Trial(NOT_KNOWN, problem=" ".join(str(problem).split()))


def nearness(check: Check) -> float:
    """Say how near a check is to its limit.

    ``check``: a check of a verdict.

    Result: its worse end over its limit; 1 is at the limit, more is beyond it.
    """
    if check.interval is None or check.limit is None:
        return 0.0 if check.outcome == "pass" else np.inf
    low, high = check.interval
    if check.sense == "least":
        return check.limit / max(low, 1e-9)
    over = np.inf if high > 0 else 0.0
    return high / check.limit if check.limit else over


def _weight(check: Check) -> tuple[bool, float]:
    """Say how much a check speaks against a go."""
    if check.value is None or check.limit is None:
        return True, nearness(check)
    over = check.value - check.limit
    return (over < 0 if check.sense == "least" else over > 0), nearness(check)


def held_name(check: Held) -> str:
    """Return what holds, in words.

    Result: of a check what, where and in which case.
    """
    if isinstance(check, str):
        return check
    name = check.name.removesuffix(", if")
    if check.kind in {Kind.LANDS_IN, Kind.LANDS_IN_FAILURE}:
        name = f"{name} {check.area}"
    elif check.area and check.area not in name:
        name = f"{name}, {check.area}"
    return f"if {check.case}: {name}" if check.kind is Kind.LANDS_IN_FAILURE else name


def judged(
    cloud: Cloud,
    setup: Setup,
    wind: WindProfile,
    *,
    danger: Danger | None = None,
    lines: Lines | None = None,
) -> Trial:
    """Judge a cloud at a site: the checks of an assessment, all of them.

    ``setup``: whose site and limits count; ``wind``: the wind the cloud was flown in;
    ``danger`` and ``lines``: as for `driftmap.verdict.judgement.judge_all`, where they are
    known already.
    """
    site = setup.site
    checks = judge_all(
        cloud, site, wind, answers=setup.answers, lines=lines, danger=danger
    ).checks
    stray, strike = _stray(cloud, site), _strike(cloud)
    return Trial(decide_ahead(checks), checks, stray, strike=strike)


def _strike(cloud: Cloud) -> Strike | None:
    """Sum up the fall of the rocket that strikes with most."""
    anywhere = {case.name for case in cloud.tree.cases if case.any_way}
    falls = [p for p in cloud.parts if p.body == "rocket" and p.case not in anywhere]
    if not falls:
        return None
    hardest = max(falls, key=lambda part: float(part.quantile(cloud.energy, 0.5)))
    found = landed(cloud, hardest)
    return Strike(hardest.case, found.east, found.north, found.radius)


def _stray(cloud: Cloud, site: Site) -> Estimate:
    """Say how often a piece leaves the site though recovery works."""
    parts = list(cloud.of(WORKS))
    if not parts:  # a recovery that never works says nothing of where it would land
        return _ANYTHING
    beyond = outside(site.boundary)
    hits = [
        beyond(cloud.east[p.rows], cloud.north[p.rows]).reshape(p.count, -1)
        for p in parts
    ]
    hit = np.asarray(np.concatenate(hits).any(axis=0))
    return weighted_share(hit, parts[0].stands_for)


def try_flight(setup: Setup, wind: WindProfile) -> Trial:
    """Return the verdict on a flight in a wind.

    ``setup``: what is flown, and where.

    Result: the verdict; "not known" where the flight cannot be flown, never "go".
    """
    try:
        trial = judged(flown(setup, wind), setup, wind)
        checks = (*trial.checks, *in_stronger(setup, wind, trial.checks))
    except (DriftmapError, ValueError) as problem:
        return unknown_trial(problem)
    return replace(trial, verdict=decide_ahead(checks), checks=checks)


@dataclass(frozen=True, slots=True)
class Basis:
    """What every verdict of a plan rests on.

    Parameters
    ----------
    questions : tuple of str
        What people must still answer before any go.
    assumed : tuple of str
        What was assumed of site, flight and air.
    need : Need
        The least number of flights with which a go can be.
    aloft : bool
        Whether a go depends on winds aloft that nobody has read.
    """

    questions: tuple[str, ...]
    assumed: tuple[str, ...]
    need: Need
    aloft: bool = False

    @property
    def conditions(self) -> tuple[str, ...]:
        """What every go of the plan depends on; an assessment holds without it."""
        count = len(self.questions)
        aloft = "the winds aloft are as supposed: on the day, read or ask for them"
        rules = (
            f"{count} {'question' if count == 1 else 'questions'} of the rules "
            f"{'is' if count == 1 else 'are'} answered well on the day"
        )
        return (*[aloft] * self.aloft, *[rules] * bool(count))


def basis_of(
    setup: Setup, *winds: WindProfile, known: Sequence[WindProfile] = ()
) -> Basis:
    """Find what a plan rests on, by flying a few flights.

    ``setup``: what is flown, and where; ``winds``: winds that questions and assumptions
    may depend on; of the latter, those that hold in all of them are told; ``known``:
    where winds are supposed, the same winds as far as a reading would tell them.

    Result: each question and each assumption once. Raises `DriftmapError` if the flight
    cannot be flown, or site and rules do not fit.
    """
    few = scouts(setup)
    clouds = [flown(few, wind) for wind in winds]
    pairs = zip(clouds, winds, strict=True)
    asked = [q for cloud, wind in pairs for q in judged(cloud, few, wind).questions]
    notes = [note for cloud in clouds[:1] for note in cloud.plan.assumed]
    notes = [n for n in notes if all(n in cloud.plan.assumed for cloud in clouds)]
    assumed = (
        *setup.site.assumed,
        *notes,
        *build_cases(setup.flight).assumed,
        *(cloud.plan.sky.told for cloud in clouds[:1]),
    )
    needs = (flights_needed(cloud, setup.site, setup.answers) for cloud in clouds)
    return Basis(
        tuple(dict.fromkeys(asked)),
        tuple(dict.fromkeys(assumed)),
        max(needs, key=lambda need: need.flights),
        any(
            hangs_on_aloft(cloud, few, wind, read)
            for cloud, wind, read in zip(clouds, winds, known, strict=False)
        ),
    )


def scouts(setup: Setup) -> Setup:
    """Take few flights of a setup, to find what its verdicts rest on.

    Result: the same with at most 500 flights.
    """
    return replace(setup, samples=min(setup.samples, SCOUTS))


def in_still_air(flight: Flight, altitude: float) -> Cloud:
    """Fly a few times in still air, for pictures of the flight alone."""
    return fly(flight, STILL_AIR, altitude, samples=200, seed=1, keep_falls=True)


def hangs_on_aloft(
    cloud: Cloud, setup: Setup, wind: WindProfile, known: WindProfile
) -> bool:
    """Return whether a go depends on winds aloft that nobody has read, or of which more is told.

    ``cloud``: flights in a supposed wind; ``wind``: that; ``known``: the same wind as far
    as a reading at the ground tells it.

    Result: whether an assessment in the wind as it is known would hold for it, or looks at
    other winds too: stronger reports, members of an ensemble, what was set aside.
    """
    others = (wind.stronger, wind.members is not None, wind.with_most, wind.with_aside)
    checks = wind_checks(cloud, known, limits_believed(setup))
    return any(others) or decide(checks) == "hold"


def limits_believed(setup: Setup) -> dict[str, Limit]:
    """Return the limits of the day of the flights, none eased but by a word that counts then."""
    when = None if setup.answers is None else setup.answers.when
    return tightened(read_limits(setup.flight, setup.site, when=when))


def _read_only(values: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(values)  # whose own name cannot be pickled


class _Pickler(pickle.Pickler):
    """A pickler that can also write read-only mappings."""

    dispatch_table = copyreg.dispatch_table | {
        MappingProxyType: lambda view: (_read_only, (dict(view),))
    }


def pack(value: object) -> bytes:
    """Write setups or sites as bytes that any worker reads back.

    Every worker reads a copy of its own: a site is not shared between threads, because
    geometries are prepared on first use.

    Result: for `unpack`, on the same version of the package.
    """
    out = io.BytesIO()
    _Pickler(out).dump(value)
    return out.getvalue()


def unpack(packed: bytes) -> Any:
    """Read back what `pack` wrote."""
    return pickle.loads(packed)
