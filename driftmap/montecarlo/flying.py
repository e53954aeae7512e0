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
    local_air,
    through_air,
)
from driftmap.air.wind import WindProfile
from driftmap.failures.case import Body, Case, CaseTree, Opening, Release, Stage
from driftmap.failures.cases import WORKS
from driftmap.formulas.burst import fragment_speed, throws
from driftmap.formulas.canopies import CANOPIES
from driftmap.formulas.flutter import flutter_margin, flutter_speed
from driftmap.formulas.opening import LINKS, Inflation, opening_load, what_gives
from driftmap.montecarlo.launch import Plan, rockets
from driftmap.montecarlo.lean import Lean
from driftmap.rocket.flight import Device, Piece
from driftmap.spread import draw_all, stream
from driftmap.trajectory.ascent import Ascent, ascend
from driftmap.trajectory.descent import coast, fall
from driftmap.trajectory.motion import Motion

__all__ = ["KNOT", "LANDED", "WAY_UP", "Block", "fly_block"]

BoolArray: TypeAlias = NDArray[np.bool_]

LANDED: Final = ("east", "north", "time", "speed", "angle", "energy")
"""What is kept of a landing."""

WAY_UP: Final = ("east", "north", "height", "v_east", "v_north", "v_up", "time")
"""What is kept of apogee; rail speed, rail wind, time and size of max q follow it."""

KNOT: Final = ("time", "east", "north", "height", "v_up")
"""What is kept, where asked for, of the start of each stage of a fall and of its end."""


_WAY_POINTS: Final = 9


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
    way_up : ndarray, shape (11, count)
        Apogee, rail speed, rail wind, time and size of the greatest dynamic pressure.
    way : ndarray of float32, shape (p, 3, count)
        East, north and height at even steps in time from the pad to apogee [m].
    draws, margins : dict of str to ndarray, shape (count,)
        Inputs drawn; opening loads and flutter margins.
    falls : dict of (str, str) to ndarray of float32, shape (k + 1, 5, copies, flights)
        `KNOT` at the start of each of the ``k`` stages of a fall and on landing; empty
        when not asked for.
    """

    count: int
    landed: dict[tuple[str, str], FloatArray]
    who: dict[str, IntArray]
    way_up: FloatArray
    way: NDArray[np.float32]
    draws: dict[str, FloatArray]
    margins: dict[str, FloatArray]
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
    falls: dict[tuple[str, str], NDArray[np.float32]] = {}
    for case in tree.cases:
        start = block.release(case)
        happens = block.happens(case, start)
        who = happened[case.name] = np.flatnonzero(happens)
        for body in case.bodies:
            fallen = [
                block.come_down(start, body, i + 1, who) for i in range(body.count)
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
        ]
    )
    way = _way(ascent)
    return Block(
        count, landed, happened, way_up, way, block.draws, block.margins, falls
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
        self.flutter: dict[str, FloatArray] = {}
        self._results: dict[tuple[Release, tuple[Stage, ...], str], IntArray] = {}
        for case in tree.cases:
            if isinstance(case.only, Piece):
                self._watch(case.only)
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

    def _watch(self, fin: Piece) -> None:
        """Hold the way up against the flutter speed of a fin."""
        shape = fin.planform()
        assert shape is not None
        ascent = self.ascent
        limit = flutter_speed(
            shape,
            self.draws[f"{fin.name} shear modulus"],
            self.plan.sky.pressure(np.maximum(ascent.rows[:, 2], 0.0)),
            ascent.sound,
            knock_down=self.draws.get(f"{fin.name} printed", 1.0),
        )
        limit = limit * self.draws[f"{fin.name} flutter boundary"]
        margin = flutter_margin(ascent.speed, limit, ascent.rows[:, 6])
        self.margins[f"flutter of {fin.name}"] = margin.least
        self.flutter[fin.name] = margin.first

    def release(self, case: Case) -> Motion:
        """Give the state in which the bodies of a case are let go."""
        ascent, release = self.ascent, case.release
        top = ascent.apogee
        if release.at == "max q":
            return ascent.at(ascent.max_q()[0])
        if release.at == "flutter":
            # Flights that never flutter are let go at apogee and then not counted.
            return ascent.at(np.minimum(self.flutter[release.mark], top.time))
        if not release.mark:
            return top
        mark = self.draws[release.mark]
        if release.at == "coast":
            return ascent.at(ascent.burnout + mark * (top.time - ascent.burnout))
        return ascent.at(mark)  # "time", or the share of the first second

    def happens(self, case: Case, start: Motion) -> BoolArray:
        """Tell the flights that a case happens to, given its cause."""
        if isinstance(case.only, Piece):
            own = self.flutter[case.only.name]
            # A flight belongs to the fin that flutters first.
            first = np.min(list(self.flutter.values()), axis=0)
            return np.asarray(np.isfinite(own) & (own == first))
        happens = np.ones(self.weigh.size, bool)
        for opening in case.only:
            happens &= self._opens(opening, case, start)
        return happens

    def _opens(self, opening: Opening, case: Case, start: Motion) -> BoolArray:
        """Find the openings that end as wanted, from the load on the canopy."""
        device = opening.device
        key = (case.release, opening.before, device.name)
        if key not in self._results:
            state = start
            whole = self._whole(start)
            everyone = np.arange(self.weigh.size)
            for stage in opening.before:
                state = self._fly(state, stage, whole, everyone)
            load = self._load(device, opening.drag, state)
            cause = "as planned" if case.cause == WORKS else case.cause
            self.margins[f"opening load of {device.name}, {cause}"] = load
            luck = np.stack([self.draws[f"luck of the {link}"] for link in LINKS])
            strength = {str(link): force for link, force in device.strength.items()}
            self._results[key] = what_gives(load, strength, luck).result
        return np.asarray(self._results[key] == opening.result)

    def _whole(self, start: Motion) -> FloatArray:
        """Mass of the rocket in one piece, with the propellant not yet burnt [kg]."""
        left = self.rocket.propellant * (1 - self.rocket.burnt(start.time))
        return np.asarray(self.plan.flight.dry_mass * self.weigh + left)

    def _load(self, device: Device, drag: str, start: Motion) -> FloatArray:
        kind = CANOPIES[device.type]
        canopy = Inflation(
            diameter=device.nominal_diameter,
            drag_area=device.cloth_area * self.draws[drag],
            load_factor=float(np.mean(kind.load_factor)),
            filling=float(np.mean(kind.filling)),
            exponent=kind.exponent,
        )
        near = local_air(self.air, start.height, np.arange(self.weigh.size))
        _, _, speed, density = through_air(start.rows(), near)
        dive = np.clip(-start.v_up / np.maximum(speed, 1e-9), -1, 1)
        return opening_load(canopy, self._whole(start), speed, density, dive=dive).peak

    def come_down(
        self, start: Motion, body: Body, copy: int, who: IntArray
    ) -> tuple[FloatArray, NDArray[np.float32]]:
        """Follow one body of some flights to the ground.

        Gives `LANDED`, shape (6, flights), and `KNOT` at the start of each stage and on
        landing, shape (k + 1, 5, flights).
        """
        state = _some(start, who)
        whole = self._whole(start)
        knots = [state]
        for stage in body.before:
            state = self._fly(state, stage, whole[who], who)
            knots.append(state)
        mass = body.mass * self.weigh[who]
        if body.name == "rocket":
            mass = mass + whole[who] - self.plan.flight.dry_mass * self.weigh[who]
        if body.kick is not None:
            state = self._thrown(state, body, copy, who)
        for stage in body.stages:
            state = self._fly(state, stage, mass, who, copy)
            knots.append(state)
        speed = state.speed
        flat = np.hypot(state.v_east, state.v_north)
        angle = np.arctan2(np.maximum(-state.v_up, 0.0), flat)
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
            state = self._glided(state, stage.glide, state.time - before, who)
        return state

    def _glided(
        self, state: Motion, glide: str, seconds: FloatArray, who: IntArray
    ) -> Motion:
        """Add the way glided through the air."""
        return Motion(
            state.east + seconds * self.draws[f"{glide} east"][who],
            state.north + seconds * self.draws[f"{glide} north"][who],
            *state.rows()[2:],
        )

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
