"""Work a dial out: fly and judge every case in every wind, on the same luck."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from driftmap.air import turbulence
from driftmap.air.wind import turn
from driftmap.dial.winds import metered_wind
from driftmap.errors import DriftmapError
from driftmap.failures.cases import build_cases
from driftmap.ground.contours import containment
from driftmap.ground.grid import mean_point, radii
from driftmap.montecarlo.cloud import Cloud, Part
from driftmap.planning.supposed import Supposition
from driftmap.planning.sweep import Hands, Lost, sweep
from driftmap.planning.trial import Setup, flown, judged, pack, unpack
from driftmap.rocket.flight import Flight
from driftmap.spread import even_points
from driftmap.verdict.check import Check, Verdict, decide

__all__ = ["SHARES", "Dial", "Landing", "Node", "Reach", "compute_dial"]

SHARES: Final = (0.9, 0.99)
"""Shares of the landing points that a dial draws lines about."""

_MOST: Final = 40.0  # m/s; no one flies, and the law of the surface layer is no guide
_HALFWAY: Final = 24  # winds between, flown to see how well the dial reads there

Wind = tuple[float, float]
"""Speed at the meter [m s⁻¹] and direction it comes from [deg]."""


@dataclass(frozen=True, slots=True)
class Reach:
    """The winds that a dial is worked out for: calm, and every step up to the top.

    Parameters
    ----------
    top : float
        Strongest wind at the meter [m s⁻¹].
    speeds : int
        Steps from calm to the top.
    directions : int
        Directions, evenly about the compass from north.

    Raises
    ------
    ValueError
        If there is nothing to step through.
    """

    top: float
    speeds: int = 10
    directions: int = 36

    def __post_init__(self) -> None:
        if not 0.5 <= self.top <= _MOST:
            raise ValueError(f"'top' must lie in 0.5 to {_MOST:g} m/s (got {self.top})")
        if self.speeds < 1 or self.directions < 4:
            raise ValueError("a dial needs one speed and four directions or more")

    @property
    def step(self) -> float:
        """From one speed to the next [m s⁻¹]."""
        return self.top / self.speeds

    @property
    def turn(self) -> float:
        """From one direction to the next [deg]."""
        return 360.0 / self.directions

    def winds(self) -> list[Wind]:
        """Give the winds in their order: calm, then speed by speed all directions.

        Returns
        -------
        list of (float, float)
            Speed [m s⁻¹] and direction [deg].
        """
        around = [j * self.turn for j in range(self.directions)]
        speeds = [i * self.step for i in range(1, self.speeds + 1)]
        return [(0.0, 0.0), *itertools.product(speeds, around)]

    def cells(self, count: int) -> list[tuple[int, int]]:
        """Pick cells between four winds, spread evenly and always the same.

        Parameters
        ----------
        count : int
            How many; all, where there are no more.

        Returns
        -------
        list of (int, int)
            Number of the speed below and of the direction to the left.
        """
        down, along = even_points(8 * count)
        rows = (down * self.speeds).astype(int).tolist()
        columns = (along * self.directions).astype(int)
        found = dict.fromkeys(zip(rows, columns.tolist(), strict=True))
        return list(found)[:count]

    def middle(self, cell: tuple[int, int]) -> Wind:
        """Give the wind halfway between the four of a cell.

        Parameters
        ----------
        cell : (int, int)
            From `cells`.

        Returns
        -------
        float, float
            Speed [m s⁻¹] and direction [deg].
        """
        return (cell[0] + 0.5) * self.step, (cell[1] + 0.5) * self.turn


@dataclass(frozen=True, slots=True, eq=False)
class Landing:
    """How one piece comes down in one wind.

    Parameters
    ----------
    mean : (float, float)
        East and north of the mean landing from the pad [m].
    radius : float
        Radius about it that holds 90 % [m].
    farthest : float
        Distance from the pad to the farthest point of the 99 % line [m].
    soonest, latest : float
        Times after lift-off that 5 and 95 % come before [s].
    speed, energy : float
        Speed [m s⁻¹] and kinetic energy [J] that 95 % stay under.
    lines : tuple of shapely.MultiPolygon
        Ground that holds each of `SHARES`, from the pad [m].
    """

    mean: tuple[float, float]
    radius: float
    farthest: float
    soonest: float
    latest: float
    speed: float
    energy: float
    lines: tuple[shapely.MultiPolygon, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Node:
    """One wind of a dial with what came of it.

    Parameters
    ----------
    wind : (float, float)
        Speed at the meter [m s⁻¹] and direction it comes from [deg].
    verdict : {"go", "hold", "no-go"}
        The verdict, open questions of the rules included; hold where the flight could not
        be flown.
    but_questions : {"go", "hold", "no-go"}
        The verdict if every open question were answered well.
    checks : tuple of Check
        Every check.
    flown : mapping of str to int
        Flights of each case.
    likely : mapping of str to float
        Likelihood of each case.
    landings : mapping of (str, str) to Landing
        By case and body.
    problem : str
        Why the flight could not be flown.
    """

    wind: Wind
    verdict: Verdict
    but_questions: Verdict
    checks: tuple[Check, ...] = ()
    flown: Mapping[str, int] | None = None
    likely: Mapping[str, float] | None = None
    landings: Mapping[tuple[str, str], Landing] | None = None
    problem: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Dial:
    """A dial worked out.

    Parameters
    ----------
    setup : Setup
        What was flown, where, and with how many samples.
    supposition : Supposition
        How the wind aloft follows the meter.
    reach : Reach
        The winds.
    nodes : tuple of Node
        One for each of ``reach.winds()``.
    halfway : mapping of (int, int) to Node
        Winds in the middle of some cells, by cell.
    pieces : tuple of (str, str, int)
        Every case and body that may come down, and how many of the body there are.
    assumed : tuple of str
        What was assumed.
    """

    setup: Setup
    supposition: Supposition
    reach: Reach
    nodes: tuple[Node, ...]
    halfway: Mapping[tuple[int, int], Node]
    pieces: tuple[tuple[str, str, int], ...]
    assumed: tuple[str, ...]


def compute_dial(
    setup: Setup,
    supposition: Supposition,
    reach: Reach,
    *,
    hands: Hands | None = None,
    halfway: int = _HALFWAY,
) -> Dial:
    """Fly and judge every case in every wind of a dial.

    Parameters
    ----------
    setup : Setup
        What is flown, and where; one seed serves all winds, so that they differ by the
        wind alone.
    supposition : Supposition
        How the wind aloft follows the meter.
    reach : Reach
        The winds.
    hands : Hands, optional
        Who works on it; threads by default. A part is all directions of one speed, or
        as many winds as there are speeds where the rail has a bearing of its own.
    halfway : int
        Cells in whose middle a wind is flown as well.

    Returns
    -------
    Dial
        The dial. A wind that could not be flown holds, and says why.

    Raises
    ------
    DriftmapError
        If flight and site cannot be assessed in any wind.

    Notes
    -----
    Where the rail follows the wind, each speed is flown once, from north, and turned for
    every other direction (`Cloud.turned`): directions then differ by the ground alone. A
    rail with a bearing of its own is flown in every wind, on the same luck.
    """
    first, notes = _scouted(setup, supposition)
    winds, cells = reach.winds(), reach.cells(halfway)
    wanted = [*winds, *(reach.middle(cell) for cell in cells)]
    parts = _parts(setup.flight, wanted, reach.speeds)
    work = partial(_part, pack(setup), supposition)
    done = sweep(work, parts, hands)
    found: dict[Wind, Node] = {}
    for part, got in zip(parts, done, strict=True):
        if isinstance(got, Lost):
            found |= {wind: _unknown(wind, got.reason) for wind in part}
        else:
            found |= zip(part, got, strict=True)
    return Dial(
        setup,
        supposition,
        reach,
        tuple(found[wind] for wind in winds),
        {cell: found[reach.middle(cell)] for cell in cells},
        tuple((case, body, count) for case, body, count in first),
        notes,
    )


def _scouted(
    setup: Setup, supposition: Supposition
) -> tuple[list[tuple[str, str, int]], tuple[str, ...]]:
    """List the pieces and what is assumed; let bad input raise before the long work."""
    wind = metered_wind(supposition, 0.0, 1.0)
    tree = build_cases(setup.flight)
    few = Setup(setup.flight, setup.site, 20, setup.seed, setup.day, setup.answers)
    cloud = flown(few, wind)
    judged(cloud, few, wind)
    day = "standard atmosphere: no temperature or pressure was given"
    notes = (
        *setup.site.assumed,
        *wind.assumed,
        *cloud.plan.assumed,
        *tree.assumed,
        *(() if setup.day else (day,)),
        f"turbulence from the mean wind at 6 m; {turbulence.ASSUMED}",
        "the ground is flat, at the pad's elevation",
    )
    pieces = [(c.name, b.name, b.count) for c in tree.cases for b in c.bodies]
    return pieces, tuple(dict.fromkeys(notes))


def _parts(flight: Flight, winds: Sequence[Wind], most: int) -> list[tuple[Wind, ...]]:
    """Group winds so that a part is worth handing out.

    Where one flight serves all directions, a part is all winds of one speed.
    """
    if flight.rail.follows_wind:
        groups = itertools.groupby(sorted(winds), key=lambda wind: wind[0])
        return [tuple(group) for _, group in groups]
    ordered = sorted(winds, key=lambda wind: (wind[1], wind[0]))
    starts = range(0, len(ordered), most)
    return [tuple(ordered[start : start + most]) for start in starts]


@dataclass(frozen=True, slots=True, eq=False)
class _Flown:
    """A cloud with what is told of its landings."""

    cloud: Cloud
    landings: Mapping[tuple[str, str], Landing]

    def turned(self, from_deg: float) -> _Flown:
        """Turn everything as a wind from north turns to another direction."""
        angle = math.radians(from_deg)
        turned = {key: _turned(one, angle) for key, one in self.landings.items()}
        return _Flown(self.cloud.turned(angle), turned)


def _part(packed: bytes, supposition: Supposition, winds: Sequence[Wind]) -> list[Node]:
    setup = unpack(packed)

    def fly(wind: Wind) -> _Flown:
        cloud = flown(setup, metered_wind(supposition, wind[1], wind[0]))
        landings = {
            (part.case, part.body): _landing(cloud, part) for part in cloud.parts
        }
        return _Flown(cloud, landings)

    if not setup.flight.rail.follows_wind:
        return [_node(setup, supposition, wind, fly) for wind in winds]
    # A flight whose rail follows the wind is the same from everywhere, but for a turn.
    first = lru_cache(1)(lambda speed: fly((speed, 0.0)))
    return [
        _node(setup, supposition, wind, lambda w: first(w[0]).turned(w[1]))
        for wind in winds
    ]


def _node(
    setup: Setup, supposition: Supposition, wind: Wind, fly: Callable[[Wind], _Flown]
) -> Node:
    try:
        done = fly(wind)
        air = metered_wind(supposition, wind[1], wind[0])
        trial = judged(done.cloud, setup, air)
    except (DriftmapError, ValueError) as problem:
        return _unknown(wind, " ".join(str(problem).split()))
    return Node(
        wind,
        decide(trial.checks),
        decide(check for check in trial.checks if not check.question),
        trial.checks,
        {part.case: part.flights for part in done.cloud.parts},
        {case.name: case.probability for case in done.cloud.tree.cases},
        done.landings,
    )


def _unknown(wind: Wind, problem: str) -> Node:
    return Node(wind, "hold", "hold", problem=problem)


def _landing(cloud: Cloud, part: Part) -> Landing:
    rows = part.rows
    east, north = cloud.east[rows], cloud.north[rows]
    lines = tuple(line.shape for line in containment(east, north, SHARES))
    corners = shapely.get_coordinates(lines[-1])
    times = np.quantile(cloud.time[rows], [0.05, 0.95])
    return Landing(
        mean_point(east, north),
        float(radii(east, north, (0.9,))[0]),
        float(np.hypot(corners[:, 0], corners[:, 1]).max()),
        float(times[0]),
        float(times[1]),
        float(np.quantile(cloud.speed[rows], 0.95)),
        float(np.quantile(cloud.energy[rows], 0.95)),
        lines,
    )


def _turned(landing: Landing, angle: float) -> Landing:
    def about_pad(corners: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.stack(turn(corners[:, 0], corners[:, 1], angle), axis=1)

    east, north = turn(landing.mean[0], landing.mean[1], angle)
    lines = [shapely.transform(line, about_pad) for line in landing.lines]
    return replace(landing, mean=(float(east), float(north)), lines=tuple(lines))
