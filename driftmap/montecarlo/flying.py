"""One block of flights through the way up and every case, to the ground."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from driftmap.air.atmosphere import FloatArray
from driftmap.air.column import (
    AirColumn,
    IntArray,
    draw_air,
)
from driftmap.air.wind import WindProfile
from driftmap.failures.bodies import Bench
from driftmap.failures.case import Body, Breaks, Case, CaseTree, Opening, Release, Stage
from driftmap.failures.outcomes import luck_of
from driftmap.formulas.burst import fragment_speed, throws
from driftmap.formulas.flutter import flutter_margin
from driftmap.montecarlo.burning import burn_stage, moment
from driftmap.montecarlo.fins import stood
from driftmap.montecarlo.launch import Plan, rockets
from driftmap.montecarlo.lean import Lean
from driftmap.montecarlo.openings import chosen, met, outcomes, stiffness_of
from driftmap.rocket.flight import Device
from driftmap.spread import draw_all, stream
from driftmap.trajectory.ascent import Ascent, ascend
from driftmap.trajectory.descent import coast, fall
from driftmap.trajectory.motion import Motion

__all__ = ["KNOT", "LANDED", "WAY_UP", "Block", "fly_block"]

_Moment: TypeAlias = tuple[Release, tuple[Stage, ...], str]

LANDED: Final = ("east", "north", "time", "speed", "angle", "energy")
"""What is kept of a landing."""

WAY_UP: Final = ("east", "north", "height", "v_east", "v_north", "v_up", "time")
"""What is kept of apogee; rail speed, rail wind, time and size of max q, and the greatest
speed through the air and Mach number follow it."""

KNOT: Final = ("time", "east", "north", "height", "v_up")
"""What is kept, where asked for, of the start of each stage of a fall and of its end."""


_WAY_POINTS: Final = 9
_SELDOM: Final = 4  # of so many flights one is flown for a case told by its risk alone


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """What came of a block of flights.

    Parameters
    ----------
    count : int
        Flights in the block.
    landed : dict of (str, str) to ndarray, shape (6, copies, flights)
        Landings by case and body, `LANDED`, for the flights the case happened to.
    who : dict of str to ndarray of int, shape (flights,)
        Those flights by case, numbered within the block.
    stands_for : dict of str to ndarray, shape (flights,)
        Flights of the block that each of them stands for, given the cause.
    way_up : ndarray, shape (13, count)
        Apogee, rail speed, rail wind, time and size of the greatest dynamic pressure.
    way : ndarray of float32, shape (p, 3, count)
        East, north and height at even steps in time from the pad to apogee [m].
    draws, margins : dict of str to ndarray, shape (count,)
        Inputs drawn; flutter margins.
    openings : dict of (str, str) to ndarray, shape (7, count)
        What devices met on opening, by cause and device: `OPENED`.
    falls : dict of (str, str) to ndarray of float32, shape (k + 1, 5, copies, flights)
        `KNOT` at the start of each of the ``k`` stages of a fall and on landing; empty
        when not asked for.
    """

    count: int
    landed: dict[tuple[str, str], FloatArray]
    who: dict[str, IntArray]
    stands_for: dict[str, FloatArray]
    way_up: FloatArray
    way: NDArray[np.float32]
    draws: dict[str, FloatArray]
    margins: dict[str, FloatArray]
    openings: dict[tuple[str, str], FloatArray]
    falls: dict[tuple[str, str], NDArray[np.float32]]


def fly_block(
    plan: Plan,
    tree: CaseTree,
    wind: WindProfile,
    count: int,
    seed: int,
    number: int,
    *,
    lean: FloatArray | None = None,
    keep_falls: bool = False,
) -> Block:
    """Fly a block of flights through every case.

    Parameters
    ----------
    plan : Plan
        What the rockets share.
    tree : CaseTree
        The cases.
    wind : WindProfile
        The wind as known, with its error.
    count : int
        Flights in the block.
    seed, number : int
        Seed of the run, and which block of it this is.
    lean : ndarray, shape (2, count), optional
        What each flight draws of the part of the wind's error east and north that
        carries a fall farthest; plain draws when left out.
    keep_falls : bool
        Whether to keep where each stage of a fall begins.

    Returns
    -------
    Block
        Landings and what led to them.

    Raises
    ------
    ValueError
        If a flight cannot leave the rail or leaves the column of air.
    """
    block = _Flights(plan, tree, wind, count, seed, number, lean)
    landed: dict[tuple[str, str], FloatArray] = {}
    happened: dict[str, IntArray] = {}
    stands_for: dict[str, FloatArray] = {}
    falls: dict[tuple[str, str], NDArray[np.float32]] = {}
    for case in tree.cases:
        start = block.release(case)
        who, stands_for[case.name] = block.happens(case, start)
        happened[case.name] = who
        block.watch_openings(case, start)
        for body in case.bodies:
            fallen = [
                block.come_down(case.release, start, body, i + 1, who)
                for i in range(body.count)
            ]
            landed[case.name, body.name] = np.stack([f[0] for f in fallen], axis=1)
            if keep_falls:
                falls[case.name, body.name] = np.stack([f[1] for f in fallen], axis=2)
    ascent = block.ascent
    way_up = np.stack(
        [
            *ascent.apogee.rows(),
            ascent.rail_exit.speed,
            ascent.rail_wind,
            *ascent.max_q(),
            ascent.speed.max(axis=0),
            ascent.mach().max(axis=0),
        ]
    )
    way = _way(ascent)
    return Block(
        count,
        landed,
        happened,
        stands_for,
        way_up,
        way,
        block.draws,
        block.margins,
        block.openings,
        falls,
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
        wanted: FloatArray | None,
    ) -> None:
        self.plan = plan
        spreads = {**plan.spreads, **tree.spreads}
        self.draws = draw_all(spreads, count, seed, number)
        self._seed = (seed, number)
        rng = stream(seed, number, "wind")
        lean = Lean(wind, plan, wanted)
        self.air = draw_air(wind, plan.sky, plan.top, count, rng, steer=lean)
        self.draws |= {"lean east": lean.along[0], "lean north": lean.along[1]}
        self.rocket = rockets(plan, self.draws)
        self.ascent = ascend(self.rocket, self.air)
        middle = plan.spreads["lift-off mass"].middle
        self.weigh = self.draws["lift-off mass"] / middle
        self.margins: dict[str, FloatArray] = {}
        self.openings: dict[tuple[str, str], FloatArray] = {}
        self._met: dict[_Moment, FloatArray] = {}
        self._ends: dict[_Moment, FloatArray] = {}
        self._fallen: dict[tuple[Release, tuple[Stage, ...]], Motion] = {}
        self._bench = Bench(plan.flight)
        self._shed: dict[str, tuple[FloatArray, IntArray, FloatArray]] = {}
        self.shed_chance = np.zeros(count)
        self.keeps_fins = np.ones(count, bool)
        for what in [c.only for c in tree.cases if isinstance(c.only, Breaks)]:
            self._watch(what)
        self._note_wind()
        self._draw_headings()

    def _note_wind(self) -> None:
        """Keep the mean wind below apogee as an input of each flight."""
        z = self.air.height
        low = z <= max(self.plan.apogee, z[1])
        weight = np.gradient(z[low])
        for name, column in (("east", self.air.east), ("north", self.air.north)):
            self.draws[f"wind {name}"] = np.average(column[low], axis=0, weights=weight)

    def _draw_headings(self) -> None:
        """Turn each glide into a velocity that keeps its heading all the way down."""
        for name in [n for n in self.draws if n.endswith(" glide")]:
            rng = stream(*self._seed, f"{name} heading")
            heading = rng.uniform(0, 2 * np.pi, self.weigh.size)
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

    def release(self, case: Case) -> Motion:
        """Give the state in which the bodies of a case are let go."""
        first = {key: shed[0] for key, shed in self._shed.items()}
        return moment(case.release, self.ascent, self.draws, first)

    def happens(self, case: Case, start: Motion) -> tuple[IntArray, FloatArray]:
        """Choose the flights of a case, given its cause, and what each stands for."""
        if isinstance(case.only, Breaks):
            return self._shed[case.only.key][1:]
        chance, natural = 1.0 - self.shed_chance, self.keeps_fins.copy()
        if case.any_way or case.seldom:  # which fewer flights know as well
            natural &= np.arange(natural.size) % _SELDOM == 0
        for opening in case.only:
            ends = self._outcomes(opening, case, start)
            chance *= ends[opening.result]
            below = np.cumsum(ends, axis=0)
            luck = self.draws[luck_of(opening.device)]
            natural &= np.sum(luck >= below[:2], axis=0) == opening.result
        return chosen(chance, natural, stream(*self._seed, f"flights of {case.name}"))

    def _outcomes(self, opening: Opening, case: Case, start: Motion) -> FloatArray:
        """Give the chances of each end of an opening, shape (3, n)."""
        device, moment = (
            opening.device,
            (case.release, opening.before, opening.device.name),
        )
        opened = self._opened(device, case.release, opening.before, start)
        self.openings.setdefault((case.cause, device.name), opened)
        if moment not in self._ends:
            self._ends[moment] = outcomes(opened, self._bench.strengths(device))
        return self._ends[moment]

    def watch_openings(self, case: Case, start: Motion) -> None:
        """Note what every other device meets that opens on the way down."""
        rocket = next((b for b in case.bodies if b.name == "rocket"), None)
        if rocket is None or isinstance(case.only, Breaks):
            return
        stages = (*rocket.before, *rocket.stages)
        for number, stage in enumerate(stages):
            if stage.opens and (case.cause, stage.opens) not in self.openings:
                device = self._device(stage.opens)
                opened = self._opened(device, case.release, stages[:number], start)
                self.openings[case.cause, device.name] = opened

    def _device(self, name: str) -> Device:
        return next(d for d in self.plan.flight.recovery if d.name == name)

    def _opened(
        self, device: Device, release: Release, before: tuple[Stage, ...], start: Motion
    ) -> FloatArray:
        """Give what a device meets as it opens after some stages of a fall, (7, n)."""
        moment = (release, before, device.name)
        if moment not in self._met:
            state = self._fall(release, before, start)
            length = self.plan.flight.airframe.length
            stiffness = stiffness_of(device, self._bench.strengths(device), length)
            self._met[moment] = met(
                device,
                self.draws,
                state,
                self._whole(start),
                self.air,
                rope=(self._bench.cloth_mass(device), stiffness),
                burnout=self.ascent.burnout,
            )
        return self._met[moment]

    def _fall(
        self, release: Release, stages: tuple[Stage, ...], start: Motion
    ) -> Motion:
        """Follow all rockets in one piece through some stages, each flown once."""
        if not stages:
            return start
        if (release, stages) not in self._fallen:
            before = self._fall(release, stages[:-1], start)
            everyone = np.arange(self.weigh.size)
            mass = self._whole(start)
            state = self._fly(before, stages[-1], mass, everyone)
            self._fallen[release, stages] = state
        return self._fallen[release, stages]

    def _whole(self, start: Motion) -> FloatArray:
        """Mass of the rocket in one piece, with the propellant not yet burnt [kg]."""
        left = self.rocket.propellant * (1 - self.rocket.burnt(start.time))
        return np.asarray(self.plan.flight.dry_mass * self.weigh + left)

    def _flown(self, release: Release, body: Body, stages: tuple[Stage, ...]) -> int:
        """Count the stages that the rocket in one piece has flown already."""
        whole = body.name == "rocket" and body.mass == self.plan.flight.dry_mass
        most = len(stages) if whole else len(body.before)
        flown = (n for n in range(most, 0, -1) if (release, stages[:n]) in self._fallen)
        return next(flown, 0)

    def come_down(
        self, release: Release, start: Motion, body: Body, copy: int, who: IntArray
    ) -> tuple[FloatArray, NDArray[np.float32]]:
        """Follow one body of some flights to the ground.

        Gives `LANDED`, shape (6, flights), and `KNOT` at the start of each stage and on
        landing, shape (k + 1, 5, flights).
        """
        whole = self._whole(start)
        stages = (*body.before, *body.stages)
        flown = self._flown(release, body, stages)
        mass = empty = body.mass * self.weigh[who]
        alone = any(stage.burn is not None and stage.burn.alone for stage in stages)
        if (body.name == "rocket" and not body.unlit) or alone:
            mass = mass + whole[who] - self.plan.flight.dry_mass * self.weigh[who]
        state = _some(start, who)
        knots = [state]
        for number, stage in enumerate(stages, 1):
            together = number <= len(body.before)
            if number <= flown:
                state = _some(self._fallen[release, stages[:number]], who)
            else:
                if number == len(body.before) + 1 and body.kick is not None:
                    state = self._thrown(state, body, copy, who)
                if stage.burn is not None:
                    state, mass = self._burn_on(state, stage, empty, who)
                else:
                    weight = whole[who] if together else mass
                    state = self._fly(state, stage, weight, who, copy)
            knots.append(state)
        speed = state.speed
        flat = np.hypot(state.v_east, state.v_north)
        angle = np.arctan2(np.maximum(-state.v_up, 0.0), flat)
        angle[speed == 0] = np.pi / 2  # it never left the ground
        energy = mass * speed**2 / 2
        landed = [state.east, state.north, state.time, speed, angle, energy]
        kept = [[getattr(knot, name) for name in KNOT] for knot in knots]
        return np.stack(landed), np.array(kept, dtype=np.float32)

    def _fly(
        self,
        state: Motion,
        stage: Stage,
        mass: FloatArray,
        who: IntArray,
        copy: int = 1,
    ) -> Motion:
        """Follow bodies through one stage of their fall."""
        if who.size == 0:
            return state
        air = _columns(self.air, who)
        area = np.zeros(who.size)
        for size, name in stage.drag:
            area += size * self.draws[name.replace("{n}", str(copy))][who]
        rise = self.plan.fall_rise if stage.nose_first else None
        before = state.time
        if stage.until == "ground":
            state = fall(state, mass, area, air, rise=rise)
        else:
            mark = self.draws[stage.mark][who]
            if stage.until == "height":
                floor = np.maximum(mark, 0.0)
                state = fall(state, mass, area, air, floor=floor, rise=rise)
            else:
                end = mark if stage.until == "time" else before + np.maximum(mark, 0)
                state = coast(state, mass, area, air, end, rise=rise)
        if stage.glide:
            glide = stage.glide.replace("{n}", str(copy))
            over = np.maximum(-state.v_up, 0.0) if stage.per_sink else 1.0
            state = self._glided(state, glide, state.time - before, who, over)
        return state

    def _burn_on(
        self, state: Motion, stage: Stage, empty: FloatArray, who: IntArray
    ) -> tuple[Motion, FloatArray]:
        """Let some rockets burn on; give their mass after it as well."""
        if who.size == 0:
            return state, empty
        return burn_stage(
            stage,
            state,
            self.rocket,
            _columns(self.air, who),
            self.draws,
            empty=empty,
            who=who,
            luck=self._seed,
        )

    def _glided(
        self,
        state: Motion,
        glide: str,
        seconds: FloatArray,
        who: IntArray,
        over: FloatArray | float,
    ) -> Motion:
        """Add the way glided through the air, and what glides by its sinking strikes so."""
        east = over * self.draws[f"{glide} east"][who]
        north = over * self.draws[f"{glide} north"][who]
        rows = state.rows()
        rows[0] += seconds * east
        rows[1] += seconds * north
        if isinstance(over, np.ndarray):
            rows[3] += east
            rows[4] += north
        return Motion(*rows)

    def _thrown(self, state: Motion, body: Body, copy: int, who: IntArray) -> Motion:
        """Add the velocity of a throw in any upward direction."""
        assert body.kick is not None
        share = self.draws[body.kick.share][who]
        speed = fragment_speed(body.kick.energy, share, body.mass)
        rng = stream(*self._seed, f"throw of {body.name} {copy}")
        rows = state.rows()
        rows[3:6] += throws(speed, rng)
        return Motion(*rows)


def _some(motion: Motion, who: IntArray) -> Motion:
    return Motion(*motion.rows()[:, who])


def _columns(air: AirColumn, who: IntArray) -> AirColumn:
    if who.size == air.east.shape[1]:
        return air
    return AirColumn(
        air.height, air.density, air.sound, air.east[:, who], air.north[:, who]
    )
