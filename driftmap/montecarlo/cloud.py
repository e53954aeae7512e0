"""The landing cloud: draw the uncertain inputs once, fly every case, keep the columns."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from math import ceil
from typing import Final

import numpy as np
from numpy.typing import NDArray

from driftmap.air.column import Sky
from driftmap.air.day import AirDay
from driftmap.air.wind import WindProfile
from driftmap.core.checks import FloatArray, Kept
from driftmap.core.errors import (
    FlightError,
    FlightPathError,
    NoGoError,
    TooHighError,
    WeakThrustError,
)
from driftmap.core.points import turn
from driftmap.core.pools import in_order
from driftmap.montecarlo.caveats import above_apogee, not_flown
from driftmap.montecarlo.columns import (
    Block,
    Part,
    landings_by_part,
    parts_of,
    side_by_side,
)
from driftmap.montecarlo.falls import LANDED
from driftmap.montecarlo.flying import WAY_UP, fly_block
from driftmap.montecarlo.launch import Plan, plan_launch
from driftmap.montecarlo.lean import PLAIN, Steered
from driftmap.rocket.case import Case, CaseTree
from driftmap.rocket.cases import build_cases
from driftmap.rocket.flight import Flight
from driftmap.rocket.likelihood import TOO_RARE, default_likelihood
from driftmap.trajectory.motion import Motion

BLOCK: Final = 4096  # flights flown together; part of what a seed means
_DRAWN: Final = 24_576  # flights drawn together at most, where few of them are flown


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class Cloud:
    """Where everything came down, as columns: `m` landings in `n` flights.

    Parameters
    ----------
    east, north : ndarray, shape (m,)
        Landing points from the pad [m].
    time : ndarray, shape (m,)
        Time of landing since lift-off [s].
    speed : ndarray, shape (m,)
        Speed over the ground on landing [m s⁻¹].
    angle : ndarray, shape (m,)
        Angle of the path below the horizontal on landing [rad].
    energy : ndarray, shape (m,)
        Kinetic energy on landing [J].
    parts : tuple of Part
        Which rows belong to which body of which case.
    tree : CaseTree
        The cases that were flown, with their probabilities, which add up to 1.
    fluttered : ndarray of bool, shape (n,)
        Flights whose own draws let fins flutter off.
    plan : Plan
        What the rockets shared.
    draws : mapping of str to ndarray, shape (n,)
        The inputs drawn, by name, of single precision but for the leans.
    apogee : Motion, shape (n,)
        State at apogee of each flight, when nothing goes wrong before.
    way : ndarray of float32, shape (p, 3, n)
        East, north and height at even steps in time from the pad to apogee [m].
    rail_speed, rail_wind : ndarray, shape (n,)
        Speed on leaving the rail, and the wind there [m s⁻¹].
    max_q : ndarray, shape (2, n)
        Time [s] and size [Pa] of the greatest dynamic pressure.
    margins : mapping of str to ndarray, shape (n,)
        Flutter margins by name, for flights with such data.
    openings : mapping of (str, str) to ndarray of float32, shape (7, n)
        What devices met on opening, by cause and device, in every flight and whatever
        came of it: the rows of `driftmap.montecarlo.openings.OPENED`.
    fastest : ndarray, shape (2, n)
        Greatest speed through the air [m s⁻¹] and Mach number on the way up.
    flights, seed : int
        Number of flights, and the seed.
    falls : mapping of (str, str) to ndarray of float32, shape (k + 1, 5, copies, flights)
        Where asked for: `driftmap.montecarlo.falls.KNOT_COLUMNS` at the start of each of the
        ``k`` stages of a fall and on landing, by case and body.
    """

    east: Kept
    north: Kept
    time: Kept
    speed: Kept
    angle: Kept
    energy: Kept
    parts: tuple[Part, ...]
    tree: CaseTree
    fluttered: NDArray[np.bool_]
    plan: Plan
    draws: Mapping[str, Kept]
    apogee: Motion
    way: Kept
    rail_speed: FloatArray
    rail_wind: FloatArray
    max_q: FloatArray
    margins: Mapping[str, Kept]
    openings: Mapping[tuple[str, str], Kept]
    fastest: FloatArray
    flights: int
    seed: int
    falls: Mapping[tuple[str, str], Kept] = field(default_factory=dict)

    def of(self, case: str) -> Iterator[Part]:
        """Go through the parts of one case, by its name: one for each body."""
        return (part for part in self.parts if part.case == case)

    def weights(self, case: Case) -> FloatArray:
        """Return the likelihood of a case of the tree in its own flights, `Part.who`.

        Result: likelihood of the case times the flights that each stands for; over all
        cases and flights these add up to the number of flights, shape (k,).
        """
        return np.asarray(case.likelihood * next(self.of(case.name)).stands_for)

    def turned(self, angle: float) -> Cloud:
        """Turn everything about the pad, as if the wind came from elsewhere.

        Nothing that a flight is made of knows north from east but the wind and a rail of
        fixed aim: errors, gusts, glide and throws go all ways alike. So where the rail
        follows the wind, this is a cloud of the same flight in the wind turned at all
        heights alike.

        Result: the same flights, turned. Raises `ValueError` if the rail does not
        follow the wind, or falls were kept.
        """
        if self.falls or not self.plan.flight.rail.follows_wind:
            raise ValueError(
                "'turned' needs a rail that follows the wind, and no falls kept"
            )
        top, draws, way = self.apogee, dict(self.draws), self.way.copy()
        for name in [n for n in draws if n.endswith(" east")]:
            other = name.removesuffix("east") + "north"
            draws[name], draws[other] = turn(draws[name], draws[other], angle)
        way[:, 0], way[:, 1] = turn(way[:, 0], way[:, 1], angle)
        east, north = turn(self.east, self.north, angle)
        top_east, top_north = turn(top.east, top.north, angle)
        v_east, v_north = turn(top.v_east, top.v_north, angle)
        return replace(
            self,
            east=east,
            north=north,
            plan=self.plan.turned(angle),
            draws=draws,
            apogee=replace(
                top, east=top_east, north=top_north, v_east=v_east, v_north=v_north
            ),
            way=way,
        )


def fly(  # noqa: PLR0913 - all but three are options
    flight: Flight,
    wind: WindProfile,
    site_altitude: float,
    *,
    samples: int,
    seed: int,
    day: AirDay | None = None,
    steered: Steered = PLAIN,
    after: int = 0,
    bodies: Collection[str] | None = None,
    keep_falls: bool = False,
    progress: Callable[[int], None] | None = None,
) -> Cloud:
    """Fly every case of a flight many times.

    Parameters
    ----------
    flight : Flight
        The flight as planned.
    wind : WindProfile
        The wind as known, with its error.
    site_altitude : float
        Altitude of the site above mean sea level [m].
    samples : int
        Flights in each case.
    seed : int
        Seed; the same seed gives the same points on any number of threads.
    day : AirDay, optional
        Surface readings; the standard atmosphere when left out.
    steered : Steered, optional
        Inputs to lean. Such flights must be weighed, as in `driftmap.hazard.precise`; the
        cloud's own probabilities of cases mean nothing.
    after : int
        Flights of this seed that another cloud holds; whole blocks of 4096.
    bodies : collection of str, optional
        Bodies to bring down beside the rocket; all when left out. Their landings are the
        same either way.
    keep_falls : bool
        Whether to keep where each stage of a fall begins.
    progress : callable, optional
        Called with 0 once the flights are under way, and then with the number of them done
        since the last call.

    Returns
    -------
    Cloud
        Landing points and what led to them.

    Raises
    ------
    FlightError
        If the flight cannot leave the rail or leaves the modelled air.
    ValueError
        If `samples` is not positive.
    """
    if samples < 1:
        raise ValueError(f"'samples' must be positive (got {samples})")
    tree = _asked(build_cases(flight), steered, bodies)
    plan = plan_launch(flight, wind, Sky(site_altitude, day))

    size = BLOCK if steered.worth is None else max(BLOCK, _evenly(samples, _DRAWN))

    def block(start: int) -> Block:
        count, number = min(size, samples - start), (after + start) // BLOCK
        own = steered.of(slice(start, start + count))
        return fly_block(
            plan, tree, wind, count, seed, number, steered=own, keep_falls=keep_falls
        )

    while True:
        try:
            blocks = _flown(block, range(0, samples, size), samples, progress)
            flown = side_by_side(blocks, samples)
            return _cloud(flown, plan, tree, seed)
        except WeakThrustError as problem:
            text = f"in some of the flights, {problem}"
            raise NoGoError(flight.source, "", text) from None
        except FlightPathError as problem:
            if not isinstance(problem, TooHighError) or plan.top >= plan.sky.top:
                raise FlightError(flight.source, "", str(problem)) from None
            # The luckiest rise far above the plan: fly all of them in deeper air.
            plan = replace(plan, top=min(2 * plan.top, plan.sky.top))


def _asked(
    tree: CaseTree, steered: Steered, bodies: Collection[str] | None
) -> CaseTree:
    """Leave out cases and bodies that are not to be flown."""
    cases = tuple(c for c in tree.cases if steered.flies(c.name))
    if bodies is not None:
        wanted = {"rocket", *bodies}  # what pieces are thrown on from
        cases = tuple(
            replace(c, bodies=tuple(b for b in c.bodies if b.name in wanted))
            for c in cases
        )
    return replace(tree, cases=cases)


def fly_again(cloud: Cloud, wind: WindProfile) -> Callable[..., Cloud]:
    """Return `fly` for the flight of a cloud, in its own air."""
    sky = cloud.plan.sky
    return partial(fly, cloud.plan.flight, wind, sky.altitude, day=sky.day)


def _evenly(samples: int, most: int) -> int:
    """Share flights out evenly to an even number of parts, for there are mostly two cores."""
    return ceil(samples / (2 * ceil(samples / (2 * most))))


def _flown(
    block: Callable[[int], Block],
    starts: range,
    samples: int,
    progress: Callable[[int], None] | None,
) -> Iterator[Block]:
    """Fly blocks on all processors."""
    # What every block asks for, and is slow to import: once, not in each process.
    import scipy.special  # noqa: F401, PLC0415

    tell = progress or int
    flown = in_order(block, starts, meanwhile=partial(tell, 0))
    for start, done in zip(starts, flown, strict=True):
        yield done
        tell(min(starts.step, samples - start))


def _cloud(flown: Block, plan: Plan, tree: CaseTree, seed: int) -> Cloud:
    """Make a cloud of its columns; a case that never happened is left out."""
    parts = tuple(parts_of(flown, tree))
    if tree.cases and not parts:
        text = f"nothing asked for happened in {flown.count:,} flights"
        raise FlightError(plan.flight.source, "", text)
    top, row = np.asarray(flown.ways["top"], float), WAY_UP.index
    notes = above_apogee(plan.flight, flown.draws, top[row("height")])
    shared = _shared(plan.flight, tree, flown.stands_for, flown.count)
    missing = *shared.missing, *not_flown(flown, plan.flight)
    fluttered = np.zeros(flown.count, bool)
    for margin in flown.margins.values():
        fluttered |= margin < 1
    return Cloud(
        **dict(zip(LANDED, landings_by_part(flown, parts), strict=True)),
        parts=parts,
        tree=replace(shared, assumed=(*shared.assumed, *notes), missing=missing),
        fluttered=fluttered,
        plan=plan,
        draws=flown.draws,
        apogee=Motion(*top[: row("rail speed")]),
        way=flown.ways["way"],
        rail_speed=top[row("rail speed")],
        rail_wind=top[row("rail wind")],
        max_q=top[row("time of max q") : row("top speed")],
        fastest=top[row("top speed") :],
        margins=flown.margins,
        openings=flown.openings,
        flights=flown.count,
        seed=seed,
        falls=flown.falls,
    )


def _shared(
    flight: Flight, tree: CaseTree, stands_for: Mapping[str, FloatArray], samples: int
) -> CaseTree:
    """Give each case its share of all flights; a case that never happens is left out."""
    cases, notes = [], []
    for case in tree.cases:
        share = float(stands_for[case.name].sum()) / samples
        if not stands_for[case.name].size:
            notes.append(
                f"{case.name}: not once in {samples:,} flights, so it has no landing points"
            )
            continue
        likely = max(case.likelihood, default_likelihood(case.cause, flight))
        rare = share * likely < TOO_RARE
        if rare:
            notes.append(
                f"{case.name}: about {share * case.likelihood:.0e} of flights; counted, but "
                f"too rare (below {TOO_RARE:.0e}) to be judged by itself"
            )
        shared = replace(case, probability=case.likelihood * share, rare=rare)
        cases.append(shared)
    return replace(tree, cases=tuple(cases), assumed=(*tree.assumed, *notes))
