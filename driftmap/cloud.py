"""The landing cloud: draw the uncertain inputs once, fly every case, keep the columns."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Final

import numpy as np

from driftmap.air import AirColumn, draw_air
from driftmap.ascent import Ascent, ascend
from driftmap.atmosphere import FloatArray
from driftmap.cases import Body, CaseTree, Release, build_cases
from driftmap.descent import coast, fall
from driftmap.errors import FlightError
from driftmap.flight import Flight
from driftmap.launch import Plan, plan_launch, rockets
from driftmap.motion import Motion
from driftmap.spread import draw_all, stream
from driftmap.wind import WindProfile

__all__ = ["Cloud", "Part", "fly"]

_BLOCK: Final = 4096  # flights flown together; part of what a seed means


@dataclass(frozen=True, slots=True)
class Part:
    """Where one body of one case stands in the columns of a cloud.

    Parameters
    ----------
    case, body : str
        Names of the case and of the body.
    count : int
        How many of the body there are; flights run fastest, then copies.
    rows : slice
        Rows of the columns, ``count * flights`` of them.
    """

    case: str
    body: str
    count: int
    rows: slice


@dataclass(frozen=True, slots=True, eq=False)
class Cloud:
    """Where everything came down, as columns.

    Parameters
    ----------
    east, north : ndarray, shape (m,)
        Landing points from the pad [m].
    time : ndarray, shape (m,)
        Time of landing since lift-off [s].
    speed : ndarray, shape (m,)
        Speed over the ground on landing [m s⁻¹].
    energy : ndarray, shape (m,)
        Kinetic energy on landing [J].
    parts : tuple of Part
        Which rows belong to which body of which case.
    tree : CaseTree
        The cases that were flown.
    plan : Plan
        What the rockets shared.
    apogee : Motion, shape (n,)
        State at apogee of each flight, when nothing goes wrong before.
    rail_speed, rail_wind : ndarray, shape (n,)
        Speed on leaving the rail, and the wind there [m s⁻¹].
    max_q : ndarray, shape (2, n)
        Time [s] and size [Pa] of the greatest dynamic pressure.
    flights, seed : int
        Number of flights in each case, and the seed.
    """

    east: FloatArray
    north: FloatArray
    time: FloatArray
    speed: FloatArray
    energy: FloatArray
    parts: tuple[Part, ...]
    tree: CaseTree
    plan: Plan
    apogee: Motion
    rail_speed: FloatArray
    rail_wind: FloatArray
    max_q: FloatArray
    flights: int
    seed: int

    def of(self, case: str) -> Iterator[Part]:
        """Go through the parts of one case.

        Parameters
        ----------
        case : str
            Name of the case.

        Yields
        ------
        Part
            One for each body.
        """
        return (part for part in self.parts if part.case == case)


def fly(
    flight: Flight,
    wind: WindProfile,
    site_altitude: float,
    *,
    samples: int,
    seed: int,
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
    progress : callable, optional
        Called with the number of flights done since the last call.

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
    tree = build_cases(flight)
    plan = plan_launch(flight, wind, site_altitude)
    cloud = _empty(tree, plan, samples, seed)
    starts = range(0, samples, _BLOCK)

    def block(start: int) -> int:
        stop = min(start + _BLOCK, samples)
        _fly_block(cloud, wind, site_altitude, start, stop)
        return stop - start

    try:
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            for done in pool.map(block, starts):
                if progress is not None:
                    progress(done)
    except ValueError as problem:
        raise FlightError(flight.source, "", str(problem)) from None
    return cloud


def _empty(tree: CaseTree, plan: Plan, samples: int, seed: int) -> Cloud:
    parts, at = [], 0
    for case in tree.cases:
        for body in case.bodies:
            size = body.count * samples
            parts.append(Part(case.name, body.name, body.count, slice(at, at + size)))
            at += size
    east, north, time, speed, energy = (np.full(at, np.nan) for _ in range(5))
    flights = np.full((11, samples), np.nan)
    return Cloud(
        east=east,
        north=north,
        time=time,
        speed=speed,
        energy=energy,
        parts=tuple(parts),
        tree=tree,
        plan=plan,
        apogee=Motion(*flights[:7]),
        rail_speed=flights[7],
        rail_wind=flights[8],
        max_q=flights[9:],
        flights=samples,
        seed=seed,
    )


def _fly_block(
    cloud: Cloud, wind: WindProfile, site_altitude: float, start: int, stop: int
) -> None:
    """Fly the flights from `start` to `stop` and write them into the cloud."""
    number, count = start // _BLOCK, stop - start
    spreads = {**cloud.plan.spreads, **cloud.tree.spreads}
    draws = draw_all(spreads, count, cloud.seed, number)
    rng = stream(cloud.seed, number, "wind")
    air = draw_air(wind, site_altitude, cloud.plan.top, count, rng)
    ascent = ascend(rockets(cloud.plan, draws), air)
    _note_ascent(cloud, ascent, slice(start, stop))
    weigh = draws["lift-off mass"] / cloud.plan.spreads["lift-off mass"].middle
    parts = iter(cloud.parts)
    for case in cloud.tree.cases:
        release = _release(case.release, ascent, draws)
        for body in case.bodies:
            part = next(parts)
            for copy in range(body.count):
                landed = _come_down(release, body, copy + 1, weigh, draws, air)
                at = part.rows.start + copy * cloud.flights
                _note_landing(
                    cloud, landed, body.mass * weigh, slice(at + start, at + stop)
                )


def _release(
    release: Release, ascent: Ascent, draws: Mapping[str, FloatArray]
) -> Motion:
    if release.at == "max q":
        return ascent.at(ascent.max_q()[0])
    if release.at == "coast":
        wait = ascent.apogee.time - ascent.burnout
        return ascent.at(ascent.burnout + draws[release.mark] * wait)
    if release.at == "time":
        return ascent.at(draws[release.mark])
    return ascent.apogee


def _come_down(
    start: Motion,
    body: Body,
    copy: int,
    weigh: FloatArray,
    draws: Mapping[str, FloatArray],
    air: AirColumn,
) -> Motion:
    """Follow one body of every flight through its stages to the ground."""
    state = start
    for stage in body.stages:
        area = sum(a * draws[name.replace("{n}", str(copy))] for a, name in stage.drag)
        mass = body.mass * weigh
        if stage.until == "time":
            state = coast(state, mass, area, air, draws[stage.mark])
        elif stage.until == "height":
            state = fall(
                state, mass, area, air, floor=np.maximum(draws[stage.mark], 0.0)
            )
        else:
            state = fall(state, mass, area, air)
    return state


def _note_ascent(cloud: Cloud, ascent: Ascent, rows: slice) -> None:
    top = ascent.apogee.rows()
    for name, column in zip(_MOTION, top, strict=True):
        getattr(cloud.apogee, name)[rows] = column
    cloud.rail_speed[rows] = ascent.rail_exit.speed
    cloud.rail_wind[rows] = ascent.rail_wind
    cloud.max_q[:, rows] = ascent.max_q()


def _note_landing(cloud: Cloud, landed: Motion, mass: FloatArray, rows: slice) -> None:
    speed = landed.speed
    cloud.east[rows], cloud.north[rows] = landed.east, landed.north
    cloud.time[rows], cloud.speed[rows] = landed.time, speed
    cloud.energy[rows] = mass * speed**2 / 2


_MOTION: Final = ("east", "north", "height", "v_east", "v_north", "v_up", "time")
