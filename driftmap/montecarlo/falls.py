"""Bodies on their way down; those that fall alike are flown together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from driftmap.air.column import AirColumn
from driftmap.core.checks import FloatArray, IntArray
from driftmap.core.spread import stream
from driftmap.formulas.fragments import fragment_speed, strike_offsets, throws
from driftmap.montecarlo.launch import Plan
from driftmap.rocket.case import Body, Burn, Case, Release, Stage
from driftmap.trajectory.descent import coast, fall
from driftmap.trajectory.failed_burn import Burning, burn_all
from driftmap.trajectory.motion import Ascent, Motion
from driftmap.trajectory.rocket import Rocket

LANDED: Final = ("east", "north", "time", "speed", "angle", "energy")
"""What is kept of a landing."""

KNOT_COLUMNS: Final = ("time", "east", "north", "height", "v_up")
"""What is kept, where asked for, of the start of each stage of a fall and of its end."""


_THROWN: Final = 3  # pieces of which the one thrown farthest is followed; assumed


@dataclass(slots=True, eq=False)
class FallJob:
    """One body of some flights on its way down.

    Parameters
    ----------
    release : Release
        Where and how it is let go.
    body : Body
        What comes down.
    copy : int
        Which of several alike, from 1.
    who : ndarray of int, shape (n,)
        The flights.
    state : Motion, shape (n,)
        Where the bodies are now.
    whole, own, mass : ndarray, shape (n,)
        Mass of the rocket in one piece, of the body once it rides on nothing, and of what falls
        now [kg].
    stages : tuple of Stage
        All stages of its fall.
    flown : int
        How many of these the rocket in one piece has flown already.
    knots : list of Motion
        Where each stage begins, as far as it has come.
    """

    release: Release
    body: Body
    copy: int
    who: IntArray
    state: Motion
    whole: FloatArray
    own: FloatArray
    mass: FloatArray
    stages: tuple[Stage, ...]
    flown: int
    knots: list[Motion] = field(default_factory=list)

    def landed(self) -> FloatArray:
        """Return `LANDED`, shape (6, flights)."""
        state = self.state
        speed = state.speed
        flat = np.hypot(state.v_east, state.v_north)
        angle = np.arctan2(np.maximum(-state.v_up, 0.0), flat)
        angle[state.v_up >= 0] = np.pi / 2  # it never left the ground
        energy = self.mass * speed**2 / 2
        return np.stack([state.east, state.north, state.time, speed, angle, energy])

    def kept(self) -> NDArray[np.float32]:
        """Return `KNOT_COLUMNS` at the start of each stage and on landing, shape (k + 1, 5, flights)."""
        rows = [[getattr(knot, name) for name in KNOT_COLUMNS] for knot in self.knots]
        return np.array(rows, dtype=np.float32)


class Leg(NamedTuple):
    """Some bodies, and the stage of their fall that they are to be taken through."""

    state: Motion
    stage: Stage
    mass: FloatArray
    who: IntArray
    copy: int = 1


class Falls:
    """What takes the bodies of one block of flights down: their draws, their air.

    Parameters
    ----------
    plan : Plan
        What the rockets share.
    draws : mapping of str to ndarray, shape (n,)
        Inputs of the flights; those drawn later are read as they come in.
    air : AirColumn
        The air of the flights.
    streams : (int, int)
        Seed of the run, and number of the block.
    way : callable
        Gives the rockets of a way up, and the way.
    """

    def __init__(
        self,
        plan: Plan,
        draws: Mapping[str, FloatArray],
        air: AirColumn,
        streams: tuple[int, int],
        way: Callable[[str], tuple[Rocket, Ascent]],
    ) -> None:
        self._fall_rise, self._draws, self._air = plan.fall_rise, draws, air
        self._streams, self._way, self._falling = streams, way, air.for_falls()
        middle = plan.spreads["lift-off mass"].middle
        self.weigh = draws["lift-off mass"] / middle
        self.fallen: dict[tuple[Release, tuple[Stage, ...]], Motion] = {}

    def bring_down(self, jobs: Sequence[FallJob]) -> None:
        """Follow bodies to the ground, those that fall alike together."""
        for number in range(1, max((len(job.stages) for job in jobs), default=1)):
            self._through([job for job in jobs if number < len(job.stages)], number)
        # Their last stage ends on the ground, however many came before it.
        self._through(jobs, None)

    def thrown_on(self, case: Case, body: Body, rocket: FallJob) -> FallJob:
        """Throw a piece on from where the rocket struck: the farthest of a few."""
        rng, struck = stream(*self._streams, f"strike of {case.name}"), rocket.state
        thrown = strike_offsets(np.tile(struck.speed, (_THROWN, 1)), rng)
        reach = np.hypot(thrown.east, thrown.north)
        one = reach.argmax(0), np.arange(rocket.who.size)
        east, north, speed, angle = (values[one] for values in thrown)
        rows = struck.rows()
        rows[:2] += east, north
        flat = speed * np.cos(angle) / np.maximum(reach[one], 1e-9)
        rows[3:6] = flat * east, flat * north, -speed * np.sin(angle)
        state = Motion(*rows)
        return replace(
            rocket,
            body=body,
            state=state,
            mass=body.mass * self.weigh[rocket.who],
            knots=[*rocket.knots[:-1], state],
        )

    def _through(self, jobs: Iterable[FallJob], number: int | None) -> None:
        """Take bodies through a stage by its number, or through the last of each."""
        legs: list[tuple[FallJob, Leg]] = []
        lit: list[tuple[FallJob, Stage]] = []
        for job in jobs:
            at = len(job.stages) if number is None else number
            stage, before = job.stages[at - 1], len(job.body.before)
            if at <= job.flown:
                done = self.fallen[job.release, job.stages[:at]]
                job.state = of_flights(done, job.who)
            else:
                if at == before + 1 and job.body.kick is not None:
                    job.state = self._thrown(job.state, job.body, job.copy, job.who)
                if stage.burn is not None:
                    lit.append((job, stage))
                else:
                    mass = job.whole if at <= before else job.mass
                    leg = Leg(job.state, stage, mass, job.who, job.copy)
                    legs.append((job, leg))
                continue
            job.knots.append(job.state)
        self._burn_on(lit)
        flown = self.fly_all([leg for _, leg in legs])
        for (job, _), job.state in zip(legs, flown, strict=True):
            job.knots.append(job.state)

    def fly_all(self, legs: Sequence[Leg]) -> list[Motion]:
        """Follow bodies through one stage each, those that fall alike together."""
        alike: dict[tuple[bool, bool], list[int]] = defaultdict(list)
        for number, leg in enumerate(legs):
            if leg.who.size:
                falls = leg.stage.until in ("ground", "height")
                alike[falls, leg.stage.nose_first].append(number)
        after = [leg.state for leg in legs]
        for (falls, nose), numbers in alike.items():
            # Together with others that start about as high, to pass over layers above.
            numbers.sort(key=lambda number: -float(legs[number].state.height[0]))
            some = [legs[number] for number in numbers]
            flown = self._fly_alike(some, falls=falls, nose=nose)
            for number, leg, state in zip(numbers, some, flown, strict=True):
                after[number] = self._with_glide(leg, state)
        return after

    def _fly_alike(
        self, legs: Sequence[Leg], *, falls: bool, nose: bool
    ) -> list[Motion]:
        start = np.concatenate([leg.state.rows() for leg in legs], axis=1)
        mass = np.concatenate([leg.mass for leg in legs])
        area = np.concatenate([self._drag_area(leg) for leg in legs])
        end = np.concatenate([self._end(leg) for leg in legs])
        who = np.concatenate([leg.who for leg in legs])
        rise = self._fall_rise if nose else None
        air, state = self._falling, Motion(*start)
        if falls:  # one thread: blocks of flights are shared among them
            state = fall(
                state, mass, area, air, floor=end, rise=rise, who=who, threads=1
            )
        else:
            state = coast(state, mass, area, air, end, rise=rise, who=who)
        cuts = np.cumsum([leg.who.size for leg in legs])[:-1]
        return [Motion(*part) for part in np.split(state.rows(), cuts, axis=1)]

    def _drag_area(self, leg: Leg) -> FloatArray:
        area = np.zeros(leg.who.size)
        for size, name in leg.stage.drag:
            area += size * self._draws[name.replace("{n}", str(leg.copy))][leg.who]
        return area

    def _end(self, leg: Leg) -> FloatArray:
        """Return the height or the time at which a stage ends."""
        if leg.stage.until == "ground":
            return np.zeros(leg.who.size)
        mark = self._draws[leg.stage.mark][leg.who]
        if leg.stage.until == "time":
            return np.asarray(mark)
        if leg.stage.gone:
            mark = mark - self._draws[leg.stage.gone][leg.who]
        least = np.maximum(mark, 0.0)
        return np.asarray(
            least if leg.stage.until == "height" else leg.state.time + least
        )

    def _with_glide(self, leg: Leg, state: Motion) -> Motion:
        if not leg.stage.glide:
            return state
        glide = leg.stage.glide.replace("{n}", str(leg.copy))
        over = np.maximum(-state.v_up, 0.0) if leg.stage.per_sink else 1.0
        return self._glided(state, glide, state.time - leg.state.time, leg.who, over)

    def _burn_on(self, lit: Sequence[tuple[FallJob, Stage]]) -> None:
        """Let rockets burn on, each with the motor whose turn it is."""
        turns = [self._turns(job, stage) for job, stage in lit]
        burning = [burns for turn in turns for _, burns in turn]
        ends = iter(burn_all(burning, self._air))
        for (job, _), turn in zip(lit, turns, strict=True):
            rows, mass = job.state.rows(), job.mass.copy()
            for some, (_, body, _) in turn:
                after = next(ends)
                rows[:, some] = after.rows()
                mass[some] = body.mass + body.left(after.time)
            job.state, job.mass = Motion(*rows), job.own if job.body.rides else mass
            job.knots.append(job.state)

    def _turns(
        self, job: FallJob, stage: Stage
    ) -> list[tuple[IntArray, tuple[Motion, Burning, IntArray]]]:
        """Return which of some rockets burn on with a motor, and how, for each that some have."""
        burn, who, mass = stage.burn, job.who, job.mass
        assert burn is not None
        rocket = self._way(job.release.way)[0]
        upper, late = rocket.upper, np.zeros(who.size, bool)
        if upper is not None:
            late = burn.upper | (job.state.time >= np.asarray(upper.parts)[who])
            mass = np.where(late, np.minimum(mass, upper.mass[who]), mass)
        turns = []
        for motor, mine in ((rocket, ~late), (upper or rocket, late)):
            some = np.flatnonzero(mine)
            if some.size:
                state = of_flights(job.state, some)
                burns = self._burning(stage, burn, state, motor, mass[some], who[some])
                turns.append((some, burns))
        return turns

    def _burning(
        self,
        stage: Stage,
        burn: Burn,
        state: Motion,
        rocket: Rocket,
        mass: FloatArray,
        who: IntArray,
    ) -> tuple[Motion, Burning, IntArray]:
        """Return how some bodies burn on with a motor, from which state and in whose air."""
        toward = np.full((3, who.size), np.nan)
        if burn.tilt:
            # One bearing for each input: cases that share it go off the same way.
            bearing = stream(*self._streams, f"{burn.tilt} bearing").uniform(
                0, 2 * np.pi, rocket.mass.size
            )
            tilt, turn = self._draws[burn.tilt][who], bearing[who]
            flat = np.sin(tilt)
            way = np.stack([flat * np.sin(turn), flat * np.cos(turn), np.cos(tilt)])
            if burn.turned:
                rows = state.rows()
                rows[3:6] = state.speed * way
                state = Motion(*rows)
            else:
                toward = way
        lights = np.broadcast_to(rocket.lights, rocket.mass.shape)[who]
        burn_time, propellant = rocket.burn_time[who], rocket.propellant[who]
        share = self._draws[burn.share][who] if burn.share else np.ones(who.size)
        if burn.turned:  # that share of the motors is lit; the others stay full
            propellant = propellant * share
        delivered = rocket.curve.delivered((state.time - lights) / burn_time)
        body = Burning(
            mass=mass - propellant * (1 - delivered),
            propellant=propellant,
            impulse=rocket.impulse[who],
            burn_time=burn_time,
            curve=rocket.curve,
            drag_area=self._drag_area(Leg(state, stage, mass, who)),
            share=share,
            toward=toward,
            lights=lights,
        )
        return state, body, who

    def _glided(
        self,
        state: Motion,
        glide: str,
        seconds: FloatArray,
        who: IntArray,
        over: FloatArray | float,
    ) -> Motion:
        """Add the way glided through the air, and the speed of it."""
        east = over * self._draws[f"{glide} east"][who]
        north = over * self._draws[f"{glide} north"][who]
        rows = state.rows()
        rows[0] += seconds * east
        rows[1] += seconds * north
        rows[3] += east
        rows[4] += north
        return Motion(*rows)

    def _thrown(self, state: Motion, body: Body, copy: int, who: IntArray) -> Motion:
        """Add the velocity of a throw in any upward direction."""
        assert body.kick is not None
        share = self._draws[body.kick.share][who]
        speed = fragment_speed(body.kick.energy, share, body.mass)
        rng = stream(*self._streams, f"throw of {body.name} {copy}")
        rows = state.rows()
        rows[3:6] += throws(speed, rng)
        return Motion(*rows)


def moment(
    release: Release,
    ascent: Ascent,
    draws: Mapping[str, FloatArray],
    broken: Mapping[str, FloatArray],
) -> Motion:
    """Return the state in which the bodies of a case are let go.

    ``ascent``, shape (n,): the way up; ``draws`` and ``broken``, shape (n,): inputs
    drawn; times at which fins break off, by the key of it [s].

    Result: state then, shape (n,).
    """
    top, off = ascent.apogee, ascent.rail_exit.time
    mark = draws.get(release.mark, top.time)
    match release.at:
        case "max q":
            time = ascent.max_q()[0]
        case "breaks":
            # Flights in which nothing breaks are let go at apogee and then not counted.
            time = np.minimum(broken[release.mark], top.time)
        case "rail":
            time = off
        case "burn":
            time = off + mark * (_pushed_until(ascent) - off)
        case "off rail":
            time = np.maximum(mark, off)
        case "coast":
            one_burn = ascent.burnout == ascent.first_burnout
            start = np.where(one_burn, _pushed_until(ascent), ascent.burnout)
            time = start + mark * (top.time - start)
        case "time" | "first second":
            time = mark
        case _:
            return top
    return ascent.at(time)


def _pushed_until(ascent: Ascent) -> FloatArray:
    """Return when the first burn has done its work: a weak tail may go on for seconds [s]."""
    fastest, off = ascent.max_q()[0], ascent.rail_exit.time
    return np.clip(fastest, off, ascent.first_burnout)


def of_flights(motion: Motion, who: IntArray) -> Motion:
    """Take some of the flights."""
    return Motion(*motion.rows()[:, who])
