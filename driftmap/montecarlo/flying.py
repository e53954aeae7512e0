"""One block of flights through the way up and every case, to the ground."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, TypeAlias

import numpy as np

from driftmap.air.wind import WindProfile
from driftmap.core.checks import FloatArray, IntArray, Kept
from driftmap.core.spread import stream
from driftmap.montecarlo.columns import Block
from driftmap.montecarlo.falls import FallJob, Falls, Leg, moment, of_flights
from driftmap.montecarlo.launch import Plan
from driftmap.montecarlo.lean import PLAIN, Steered
from driftmap.montecarlo.openings import (
    chosen_flights,
    met_at_opening,
    not_yet_noted,
    outcomes,
    stiffness_of,
    ways_to_openings,
)
from driftmap.montecarlo.way_up import Breakage, DrawnFlights
from driftmap.rocket.bodies import Bench
from driftmap.rocket.case import (
    SELDOM,
    Body,
    Breaks,
    Case,
    CaseTree,
    Opening,
    Release,
    Stage,
)
from driftmap.rocket.opening_outcomes import outcome_draw
from driftmap.rocket.stages import BOOSTER, Device
from driftmap.trajectory.motion import Motion

_Moment: TypeAlias = tuple[Release, tuple[Stage, ...], str]

WAY_UP: Final = (
    *("east", "north", "height", "v_east", "v_north", "v_up", "time"),
    *("rail speed", "rail wind", "time of max q", "max q", "top speed", "top Mach"),
)
"""What is kept of the way up: the state at apogee, as of `Motion`, and what led there."""

_WAY_POINTS: Final = 9


def fly_block(
    plan: Plan,
    tree: CaseTree,
    wind: WindProfile,
    count: int,
    seed: int,
    number: int,
    *,
    steered: Steered = PLAIN,
    keep_falls: bool = False,
) -> Block:
    """Fly a block of flights through every case.

    ``plan``: what the rockets share; ``wind``: the wind as known, with its error; ``count``:
    flights in the block; ``seed`` and ``number``: seed of the run, and which block of it this
    is; ``steered``: what they have of the wind's error in place of draws, and which of them
    are flown at all; ``keep_falls``: whether to keep where each stage of a fall begins.

    Result: landings and what led to them. Raises `ValueError` if a flight cannot leave
    the rail or leaves the column of air.
    """
    drawn = DrawnFlights(plan, tree, wind, count, (seed, number), steered)
    breakage = Breakage(drawn, tree)
    releases = Releases(drawn, breakage.first)
    releases.fly_ahead(tree)
    openings = _Openings(releases)
    who, stands_for = dict[str, IntArray](), dict[str, FloatArray]()
    for case in tree.cases:
        who[case.name], stands_for[case.name] = _happens(case, breakage, openings)
        openings.watch(case)
    jobs = _brought_down(tree, who, releases)
    return Block(
        drawn.count,
        ways=_ways(drawn),
        draws={
            # Nothing is flown by them any more; but leans weigh flights.
            name: values if name.startswith("lean ") else values.astype(np.float32)
            for name, values in drawn.draws.items()
        },
        margins=breakage.margins,
        openings={
            key: opened.astype(np.float32) for key, opened in openings.noted.items()
        },
        who=who,
        stands_for=stands_for,
        landed={
            key: np.stack([job.landed().T for job in copies], axis=1, dtype=np.float32)
            for key, copies in jobs.items()
        },
        falls={
            key: np.stack([job.kept() for job in copies], axis=2)
            for key, copies in (jobs if keep_falls else {}).items()
        },
    )


def _happens(
    case: Case, breakage: Breakage, openings: _Openings
) -> tuple[IntArray, FloatArray]:
    """Choose the flights of a case, given its cause, and what each stands for."""
    if isinstance(case.only, Breaks):
        return breakage.flights[case.only.key]
    drawn, chance = openings.releases.drawn, 1.0 - breakage.chance
    natural = breakage.holds.copy()
    if case.ahead:
        chance, natural = np.ones_like(chance), np.ones_like(natural)
    if case.any_way or case.seldom:  # which fewer flights know as well
        natural &= np.arange(natural.size) % SELDOM == 0
    for opening in case.only:
        ends = openings.ends(opening, case)
        chance *= ends[opening.result]
        below = np.cumsum(ends, axis=0)
        draw = drawn.draws[outcome_draw(opening.device)]
        natural &= np.sum(draw >= below[:2], axis=0) == opening.result
    return chosen_flights(
        chance, natural, stream(*drawn.streams, f"flights of {case.name}")
    )


def _brought_down(
    tree: CaseTree, who: Mapping[str, IntArray], releases: Releases
) -> dict[tuple[str, str], list[FallJob]]:
    """Follow every body of every case to the ground: each copy of it, by case and body."""
    jobs = {
        (case.name, body.name): [
            releases.let_go(body.release or case.release, body, copy, who[case.name])
            for copy in range(1, body.count + 1)
        ]
        for case in tree.cases
        for body in case.bodies
        if not body.broken
    }
    releases.falls.bring_down([job for copies in jobs.values() for job in copies])
    for case in tree.cases:
        for body in (body for body in case.bodies if body.broken):
            rocket = jobs[case.name, "rocket"][0]
            thrown = releases.falls.thrown_on(case, body, rocket)
            jobs[case.name, body.name] = [thrown]
    return jobs


def _ways(drawn: DrawnFlights) -> dict[str, Kept]:
    """Return what `Block.ways` holds of the way up."""
    ascent, top = drawn.ascent, drawn.ascent.apogee.time
    # Straight lines join positions at even steps in time well enough.
    states = [ascent.at(top * share) for share in np.linspace(0, 1, _WAY_POINTS)]
    rows = [(state.east, state.north, state.height) for state in states]
    figures = [
        *ascent.apogee.rows(),
        ascent.rail_exit.speed,
        ascent.rail_wind,
        *ascent.max_q(),
        ascent.speed.max(axis=0),
        ascent.mach().max(axis=0),
    ]
    ways: dict[str, Kept] = {
        "way": np.array(rows, dtype=np.float32),
        "top": np.stack(figures),
    }
    if drawn.plan.flight.sustainer is not None:
        ways[BOOSTER] = drawn.way(BOOSTER)[1].apogee.time
    return ways


class Releases:
    """The bodies of a block of flights let go, each moment and stage in one piece flown once."""

    def __init__(self, drawn: DrawnFlights, broken: Mapping[str, FloatArray]) -> None:
        self.drawn, self._broken = drawn, broken
        self.falls = Falls(drawn.plan, drawn.draws, drawn.air, drawn.streams, drawn.way)
        self._states: dict[Release, Motion] = {}
        self._masses: dict[Release, tuple[FloatArray, FloatArray]] = {}

    def release(self, release: Release) -> Motion:
        """Return the state in which bodies are let go."""
        if release not in self._states:
            ascent, draws = self.drawn.way(release.way)[1], self.drawn.draws
            self._states[release] = moment(release, ascent, draws, self._broken)
        return self._states[release]

    def fly_ahead(self, tree: CaseTree) -> None:
        """Fly what the rockets in one piece fly until devices open, of all cases together."""
        wanted = dict.fromkeys(ways_to_openings(tree))
        for depth in range(1, 1 + max((len(way) for _, way in wanted), default=0)):
            ways = dict.fromkeys(
                (release, way[:depth]) for release, way in wanted if len(way) >= depth
            )
            legs = [self._whole_leg(*way) for way in ways]
            self.falls.fallen |= zip(ways, self.falls.fly_all(legs), strict=True)

    def fall(self, release: Release, stages: tuple[Stage, ...]) -> Motion:
        """Follow all rockets in one piece through some stages, each flown once."""
        if not stages:
            return self.release(release)
        if (release, stages) not in self.falls.fallen:
            self.falls.fallen[release, stages] = self.falls.fly_all(
                [self._whole_leg(release, stages)]
            )[0]
        return self.falls.fallen[release, stages]

    def _whole_leg(self, release: Release, stages: tuple[Stage, ...]) -> Leg:
        """Return the last of some stages, for all rockets in one piece."""
        before = self.fall(release, stages[:-1])
        everyone = np.arange(self.drawn.count)
        return Leg(before, stages[-1], self.whole(release), everyone)

    def whole(self, release: Release) -> FloatArray:
        """Mass of what is let go in one piece, with what is not yet burnt [kg]."""
        return self._whole_and_left(release)[0]

    def _whole_and_left(self, release: Release) -> tuple[FloatArray, FloatArray]:
        """Return that mass, and the first motor's propellant as not yet burnt [kg]."""
        if release not in self._masses:
            rocket, time = self.drawn.way(release.way)[0], self.release(release).time
            flight, first = self.drawn.plan.flight, self.drawn.rocket
            if rocket.upper is not None:
                whole = rocket.mass_at(time)
            else:
                unburnt = rocket.propellant * (1 - rocket.burnt(time))
                whole = np.asarray(flight.dry_mass * self.falls.weigh + unburnt)
            left = first.propellant * (1 - first.burnt(time))
            self._masses[release] = whole, left
        return self._masses[release]

    def _flown(self, release: Release, body: Body, stages: tuple[Stage, ...]) -> int:
        """Count the stages that the rocket in one piece has flown already."""
        flight = self.drawn.plan.flight
        whole = (body.name, body.mass) in (
            ("rocket", flight.dry_mass),
            (BOOSTER, flight.booster_mass),
        )
        most = len(stages) if whole else len(body.before)
        flown = (
            n for n in range(most, 0, -1) if (release, stages[:n]) in self.falls.fallen
        )
        return next(flown, 0)

    def let_go(self, release: Release, body: Body, copy: int, who: IntArray) -> FallJob:
        """Let go of one body of some flights."""
        start = self.release(release)
        whole, left = (of_all[who] for of_all in self._whole_and_left(release))
        stages = (*body.before, *body.stages)
        flown = self._flown(release, body, stages)
        mass = own = body.mass * self.falls.weigh[who]
        rest = whole - self.drawn.plan.flight.dry_mass * self.falls.weigh[who]
        if body.rides:
            mass = whole
        elif any(stage.burn is not None and stage.burn.alone for stage in stages):
            mass = mass + left
        elif body.name == "rocket":
            mass = mass + rest - (left if body.unlit else 0.0)
        state = of_flights(start, who)
        return FallJob(
            release=release,
            body=body,
            copy=copy,
            who=who,
            state=state,
            whole=whole,
            own=own,
            mass=mass,
            stages=stages,
            flown=flown,
            knots=[state],
        )


class _Openings:
    """What devices meet as they open in a block of flights, and how that ends."""

    def __init__(self, releases: Releases) -> None:
        self.releases = releases
        self.noted: dict[tuple[str, str], FloatArray] = {}
        self._bench = Bench(releases.drawn.plan.flight)
        self._met: dict[_Moment, FloatArray] = {}
        self._ends: dict[_Moment, FloatArray] = {}

    def ends(self, opening: Opening, case: Case) -> FloatArray:
        """Return the chances of each end of an opening, shape (3, n)."""
        device, release = opening.device, opening.release or case.release
        moment = (release, opening.before, device.name)
        opened = self._opened(device, release, opening.before)
        self.noted.setdefault((case.cause, device.name), opened)
        if moment not in self._ends:
            self._ends[moment] = outcomes(opened, self._bench.strengths(device))
        return self._ends[moment]

    def watch(self, case: Case) -> None:
        """Note what every other device meets that opens on the way down."""
        devices = {d.name: d for d in self.releases.drawn.plan.flight.devices}
        for name, release, way in not_yet_noted(case, self.noted):
            opened = self._opened(devices[name], release, way)
            self.noted[case.cause, name] = opened

    def _opened(
        self, device: Device, release: Release, before: tuple[Stage, ...]
    ) -> FloatArray:
        """Return what a device meets as it opens after some stages of a fall, (7, n)."""
        moment = (release, before, device.name)
        if moment not in self._met:
            drawn = self.releases.drawn
            rocket, ascent = drawn.way(release.way)
            free = ascent.burnout
            if release.way == BOOSTER and rocket.upper:  # packed until the stages part
                free = np.maximum(free, rocket.upper.parts)
            length = drawn.plan.flight.falling.length
            stiffness = stiffness_of(device, self._bench.strengths(device), length)
            self._met[moment] = met_at_opening(
                device,
                drawn.draws,
                self.releases.fall(release, before),
                self.releases.whole(release),
                drawn.air,
                rope=(self._bench.cloth_mass(device), stiffness),
                burnout=free,
            )
        return self._met[moment]
