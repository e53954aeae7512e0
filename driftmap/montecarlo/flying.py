"""One block of flights through the way up and every case, to the ground."""

from __future__ import annotations

from dataclasses import replace
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from driftmap.air.column import draw_air
from driftmap.air.turbulence import thermals
from driftmap.air.wind import WindProfile
from driftmap.core.checks import FloatArray, IntArray
from driftmap.core.spread import draw_all, stream
from driftmap.formulas.flutter import flutter_margin
from driftmap.montecarlo.columns import Block
from driftmap.montecarlo.falls import Falls, Job, Leg, moment, of_flights
from driftmap.montecarlo.launch import Plan, rockets
from driftmap.montecarlo.lean import PLAIN, Lean, Steered
from driftmap.montecarlo.openings import (
    chosen,
    met,
    not_yet_noted,
    outcomes,
    stiffness_of,
    stood,
    ways_to_openings,
)
from driftmap.montecarlo.staging import Ways
from driftmap.rocket.bodies import Bench
from driftmap.rocket.case import (
    LIGHTS,
    SELDOM,
    Body,
    Breaks,
    Case,
    CaseTree,
    Opening,
    Release,
    Stage,
)
from driftmap.rocket.flight import BOOSTER, Device
from driftmap.rocket.opening_outcomes import luck_of
from driftmap.trajectory.motion import Ascent, Motion

_Moment: TypeAlias = tuple[Release, tuple[Stage, ...], str]

WAY_UP: Final = ("east", "north", "height", "v_east", "v_north", "v_up", "time")
"""What is kept of apogee; rail speed, rail wind, time and size of max q, and the greatest
speed through the air and Mach number follow it."""

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

    ``plan``: what the rockets share; ``wind``: the wind as known, with its error;
    ``count``: flights in the block; ``seed`` and ``number``: seed of the run, and which
    block of it this is; ``steered``: what they have of the wind's error in place of draws,
    and which of them are flown at all; ``keep_falls``: whether to keep where each stage of a fall begins.

    Result: landings and what led to them. Raises `ValueError` if a flight cannot leave
    the rail or leaves the column of air.
    """
    block = _Flights(plan, tree, wind, count, seed, number, steered)
    block.fly_ahead(tree)
    happened: dict[str, IntArray] = {}
    stands_for: dict[str, FloatArray] = {}
    jobs: dict[tuple[str, str], list[Job]] = {}
    for case in tree.cases:
        who, stands_for[case.name] = block.happens(case)
        happened[case.name] = who
        block.watch_openings(case)
        for body in (body for body in case.bodies if not body.broken):
            jobs[case.name, body.name] = [
                block.let_go(body.release or case.release, body, copy, who)
                for copy in range(1, body.count + 1)
            ]
    block.falls.bring_down([job for copies in jobs.values() for job in copies])
    for case in tree.cases:
        for body in (body for body in case.bodies if body.broken):
            rocket = jobs[case.name, "rocket"][0]
            jobs[case.name, body.name] = [block.falls.thrown_on(case, body, rocket)]
    ascent, falls = block.ascent, {}
    if keep_falls:
        falls = {
            key: np.stack([job.kept() for job in copies], axis=2)
            for key, copies in jobs.items()
        }
    top = np.stack(
        [
            *ascent.apogee.rows(),
            ascent.rail_exit.speed,
            ascent.rail_wind,
            *ascent.max_q(),
            ascent.speed.max(axis=0),
            ascent.mach().max(axis=0),
        ]
    )
    return Block(
        block.weigh.size,
        ways={"way": _way(ascent), "top": top, **block.booster_top()},
        draws={
            # Nothing is flown by them any more; but leans weigh flights.
            name: drawn if name.startswith("lean ") else drawn.astype(np.float32)
            for name, drawn in block.draws.items()
        },
        margins=block.margins,
        openings={
            key: opened.astype(np.float32) for key, opened in block.openings.items()
        },
        who=happened,
        stands_for=stands_for,
        landed={
            key: np.stack([job.landed().T for job in copies], axis=1, dtype=np.float32)
            for key, copies in jobs.items()
        },
        falls=falls,
    )


def _way(ascent: Ascent) -> NDArray[np.float32]:
    """Take the position at even steps in time; straight lines join them well enough."""
    top = ascent.apogee.time
    states = [ascent.at(top * share) for share in np.linspace(0, 1, _WAY_POINTS)]
    rows = [(state.east, state.north, state.height) for state in states]
    return np.array(rows, dtype=np.float32)


class _Flights:
    """The flights of one block, their luck, their air and their way up."""

    def __init__(
        self,
        plan: Plan,
        tree: CaseTree,
        wind: WindProfile,
        count: int,
        seed: int,
        number: int,
        steered: Steered,
    ) -> None:
        self.plan = plan
        spreads = {**plan.spreads, **tree.spreads}
        self.draws = draw_all(spreads, count, seed, number)
        self._seed = (seed, number)
        rng = stream(seed, number, "wind")
        lean = Lean(wind, plan, steered.lean)
        self.air = draw_air(wind, plan.sky, plan.top, count, rng, steer=lean)
        self.draws |= {"lean east": lean.along[0], "lean north": lean.along[1]}
        self.draws["lean size"] = lean.size
        self._note_wind()
        self._draw_headings(count)
        if steered.worth is not None:
            count = self._spare(steered.worth(self.draws))
        if wind.convection is not None:
            luck = stream(seed, number, "thermals")
            up = thermals(self.air.height, wind.convection, count, luck)
            self.air = replace(self.air, up=up)
        self.rocket = rockets(plan, self.draws)
        self._way = Ways(plan.flight, self.rocket, self.draws, self.air)
        self.ascent = self._way("")[1]
        if self.rocket.upper is not None:
            self.draws[LIGHTS] = np.asarray(self.rocket.upper.lights)
        self.falls = Falls(plan, self.draws, self.air, self._seed, self._way)
        self.weigh = self.falls.weigh
        self.margins: dict[str, FloatArray] = {}
        self.openings: dict[tuple[str, str], FloatArray] = {}
        self._let_go: dict[Release, Motion] = {}
        self._masses: dict[Release, tuple[FloatArray, FloatArray]] = {}
        self._met: dict[_Moment, FloatArray] = {}
        self._ends: dict[_Moment, FloatArray] = {}
        self._bench = Bench(plan.flight)
        self._shed: dict[str, tuple[FloatArray, IntArray, FloatArray]] = {}
        self.shed_chance = np.zeros(count)
        self.keeps_fins = np.ones(count, bool)
        for what in [c.only for c in tree.cases if isinstance(c.only, Breaks)]:
            self._watch(what)

    def _spare(self, chance: FloatArray) -> int:
        """Let go of flights that are not worth flying; give how many are left."""
        rng, air = stream(*self._seed, "flown at all"), self.air
        kept = np.flatnonzero(rng.random(chance.size) < chance)
        self.draws = {name: drawn[kept] for name, drawn in self.draws.items()}
        self.air = replace(air, east=air.east[:, kept], north=air.north[:, kept])
        return kept.size

    def _note_wind(self) -> None:
        """Keep the mean wind below apogee as an input of each flight."""
        z = self.air.height
        low = z <= max(self.plan.apogee, z[1])
        weight = np.gradient(z[low])
        for name, column in (("east", self.air.east), ("north", self.air.north)):
            self.draws[f"wind {name}"] = np.average(column[low], axis=0, weights=weight)

    def _draw_headings(self, count: int) -> None:
        """Turn each glide into a velocity that keeps its heading all the way down."""
        for name in [n for n in self.draws if n.endswith(" glide")]:
            rng = stream(*self._seed, f"{name} heading")
            heading = rng.uniform(0, 2 * np.pi, count)
            self.draws[f"{name} east"] = self.draws[name] * np.sin(heading)
            self.draws[f"{name} north"] = self.draws[name] * np.cos(heading)

    def _watch(self, what: Breaks) -> None:
        """Hold the way up against what fins stand; those that break by two ways do so once.

        Strength is drawn apart from the way up, so that a fin which rarely breaks may be
        flown more often with another draw of it.
        """
        ascent, count = self.ascent, self.weigh.size
        used, limit, luck = stood(what, ascent, self.draws, self.plan)
        time = ascent.rows[:, 6]
        margin = flutter_margin(used, limit * luck, time)
        self.margins[what.key] = margin.least
        natural = np.isfinite(margin.first) & self.keeps_fins
        drawn = np.sort(luck)
        below = np.searchsorted(drawn, luck / margin.least)
        rng = stream(*self._seed, f"flights of {what.fin.name}")
        chance = (1 - self.shed_chance) * below / count
        who, stands_for = chosen(chance, natural, rng)
        first = np.full(count, np.inf)
        own = drawn[(rng.random(who.size) * below[who]).astype(int)]
        own = np.where(natural[who], luck[who], own)
        way = flutter_margin(used[:, who], limit[:, who] * own, time[:, who])
        first[who] = way.first
        self._shed[what.key] = (first, who, stands_for)
        self.shed_chance = self.shed_chance + chance
        self.keeps_fins &= ~natural

    def release(self, release: Release) -> Motion:
        """Give the state in which bodies are let go."""
        if release not in self._let_go:
            first = {key: shed[0] for key, shed in self._shed.items()}
            ascent = self._way(release.way)[1]
            self._let_go[release] = moment(release, ascent, self.draws, first)
        return self._let_go[release]

    def booster_top(self) -> dict[str, FloatArray]:
        """Give when the booster is at its highest, where one falls away [s]."""
        if self.plan.flight.sustainer is None:
            return {}
        return {BOOSTER: self._way(BOOSTER)[1].apogee.time}

    def fly_ahead(self, tree: CaseTree) -> None:
        """Fly what the rockets in one piece fly until devices open, of all cases together."""
        wanted = dict.fromkeys(ways_to_openings(tree))
        for depth in range(1, 1 + max((len(way) for _, way in wanted), default=0)):
            ways = dict.fromkeys(
                (release, way[:depth]) for release, way in wanted if len(way) >= depth
            )
            legs = [self._whole_leg(*way) for way in ways]
            self.falls.fallen |= zip(ways, self.falls.fly_all(legs), strict=True)

    def happens(self, case: Case) -> tuple[IntArray, FloatArray]:
        """Choose the flights of a case, given its cause, and what each stands for."""
        if isinstance(case.only, Breaks):
            return self._shed[case.only.key][1:]
        chance, natural = 1.0 - self.shed_chance, self.keeps_fins.copy()
        if case.ahead:
            chance, natural = np.ones_like(chance), np.ones_like(natural)
        if case.any_way or case.seldom:  # which fewer flights know as well
            natural &= np.arange(natural.size) % SELDOM == 0
        for opening in case.only:
            ends = self._outcomes(opening, case)
            chance *= ends[opening.result]
            below = np.cumsum(ends, axis=0)
            luck = self.draws[luck_of(opening.device)]
            natural &= np.sum(luck >= below[:2], axis=0) == opening.result
        return chosen(chance, natural, stream(*self._seed, f"flights of {case.name}"))

    def _outcomes(self, opening: Opening, case: Case) -> FloatArray:
        """Give the chances of each end of an opening, shape (3, n)."""
        device, release = opening.device, opening.release or case.release
        moment = (release, opening.before, device.name)
        opened = self._opened(device, release, opening.before)
        self.openings.setdefault((case.cause, device.name), opened)
        if moment not in self._ends:
            self._ends[moment] = outcomes(opened, self._bench.strengths(device))
        return self._ends[moment]

    def watch_openings(self, case: Case) -> None:
        """Note what every other device meets that opens on the way down."""
        for name, release, way in not_yet_noted(case, self.openings):
            opened = self._opened(self._device(name), release, way)
            self.openings[case.cause, name] = opened

    def _device(self, name: str) -> Device:
        return next(d for d in self.plan.flight.devices if d.name == name)

    def _opened(
        self, device: Device, release: Release, before: tuple[Stage, ...]
    ) -> FloatArray:
        """Give what a device meets as it opens after some stages of a fall, (7, n)."""
        moment = (release, before, device.name)
        if moment not in self._met:
            state = self._fall(release, before)
            length = self.plan.flight.falling.length
            rocket, ascent = self._way(release.way)
            free = ascent.burnout
            if release.way == BOOSTER and rocket.upper:  # packed until the stages part
                free = np.maximum(free, rocket.upper.parts)
            stiffness = stiffness_of(device, self._bench.strengths(device), length)
            self._met[moment] = met(
                device,
                self.draws,
                state,
                self._whole(release),
                self.air,
                rope=(self._bench.cloth_mass(device), stiffness),
                burnout=free,
            )
        return self._met[moment]

    def _fall(self, release: Release, stages: tuple[Stage, ...]) -> Motion:
        """Follow all rockets in one piece through some stages, each flown once."""
        if not stages:
            return self.release(release)
        if (release, stages) not in self.falls.fallen:
            self.falls.fallen[release, stages] = self.falls.fly_all(
                [self._whole_leg(release, stages)]
            )[0]
        return self.falls.fallen[release, stages]

    def _whole_leg(self, release: Release, stages: tuple[Stage, ...]) -> Leg:
        """Give the last of some stages, for all rockets in one piece."""
        before = self._fall(release, stages[:-1])
        everyone = np.arange(self.weigh.size)
        return Leg(before, stages[-1], self._whole(release), everyone)

    def _whole(self, release: Release) -> FloatArray:
        """Mass of what is let go in one piece, with what is not yet burnt [kg]."""
        return self._whole_and_left(release)[0]

    def _whole_and_left(self, release: Release) -> tuple[FloatArray, FloatArray]:
        """Give that mass, and the first motor's propellant as not yet burnt [kg]."""
        if release not in self._masses:
            rocket, time = self._way(release.way)[0], self.release(release).time
            if rocket.upper is not None:
                whole = rocket.mass_at(time)
            else:
                unburnt = rocket.propellant * (1 - rocket.burnt(time))
                whole = np.asarray(self.plan.flight.dry_mass * self.weigh + unburnt)
            left = self.rocket.propellant * (1 - self.rocket.burnt(time))
            self._masses[release] = whole, left
        return self._masses[release]

    def _flown(self, release: Release, body: Body, stages: tuple[Stage, ...]) -> int:
        """Count the stages that the rocket in one piece has flown already."""
        flight = self.plan.flight
        whole = (body.name, body.mass) in (
            ("rocket", flight.dry_mass),
            (BOOSTER, flight.booster_mass),
        )
        most = len(stages) if whole else len(body.before)
        flown = (
            n for n in range(most, 0, -1) if (release, stages[:n]) in self.falls.fallen
        )
        return next(flown, 0)

    def let_go(self, release: Release, body: Body, copy: int, who: IntArray) -> Job:
        """Let go of one body of some flights."""
        start = self.release(release)
        whole, left = (of_all[who] for of_all in self._whole_and_left(release))
        stages = (*body.before, *body.stages)
        flown = self._flown(release, body, stages)
        mass = own = body.mass * self.weigh[who]
        rest = whole - self.plan.flight.dry_mass * self.weigh[who]
        if body.rides:
            mass = whole
        elif any(stage.burn is not None and stage.burn.alone for stage in stages):
            mass = mass + left
        elif body.name == "rocket":
            mass = mass + rest - (left if body.unlit else 0.0)
        state = of_flights(start, who)
        return Job(
            release, body, copy, who, state, whole, own, mass, stages, flown, [state]
        )
