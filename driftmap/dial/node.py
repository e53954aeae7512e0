"""One wind of a dial with what came of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal, TypeAlias, cast

import numpy as np
import shapely
from numpy.typing import NDArray

from driftmap.air.wind import turn
from driftmap.dial.reach import Wind
from driftmap.ground.contours import Contour, containment
from driftmap.montecarlo.cloud import Cloud, Part
from driftmap.montecarlo.margins import landed
from driftmap.verdict.check import Check, Verdict
from driftmap.verdict.consequence_checks import SHARES as ALL
from driftmap.verdict.consequence_checks import Lines, maiming

__all__ = [
    "SHARES",
    "WORDS",
    "Landing",
    "Node",
    "Word",
    "joined_landing",
    "landings_of",
]

SHARES: Final = (0.9, 0.99)
"""Shares of the landing points that a dial draws lines about."""


Word: TypeAlias = Literal["go", "go if aloft", "hold", "no-go"]

WORDS: Final[tuple[Word, ...]] = ("go", "go if aloft", "hold", "no-go")
"""What a dial can say of a wind, the mildest first."""


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
    typical : float
        Median kinetic energy, by which harm is graded [J].
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
    typical: float
    lines: tuple[shapely.MultiPolygon, ...]

    def turned(self, angle: float) -> Landing:
        """Turn it about the pad.

        Result: the same landing, of a wind turned as much.
        """

        def about_pad(corners: NDArray[np.float64]) -> NDArray[np.float64]:
            return np.stack(turn(corners[:, 0], corners[:, 1], angle), axis=1)

        east, north = turn(self.mean[0], self.mean[1], angle)
        lines = tuple(shapely.transform(line, about_pad) for line in self.lines)
        return replace(self, mean=(float(east), float(north)), lines=lines)


@dataclass(frozen=True, slots=True, eq=False)
class Node:
    """A wind of a dial, or all winds of one of its cells, with what came of it.

    Parameters
    ----------
    wind : (float, float)
        Speed at the meter [m s⁻¹] and direction it comes from [deg]; of a cell, those of
        its middle.
    verdict : {"go", "hold", "no-go"}
        The verdict, open questions of the rules included; hold where the flight could not
        be flown.
    but_questions : {"go", "hold", "no-go"}
        The verdict if every open question were answered well.
    checks : tuple of Check
        Every check; of a cell, bounds that hold in all its winds.
    flown : mapping of str to int
        Flights of each case.
    likely : mapping of str to float
        Likelihood of each case.
    landings : mapping of (str, str) to Landing
        By case and body.
    supposed : bool
        Whether the flight rises above what a reading at the meter tells of the wind.
    whole : bool
        Whether this is a cell, whose checks bound those of every wind in it.
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
    supposed: bool = True
    whole: bool = False
    problem: str = ""

    @property
    def word(self) -> Word:
        """What the dial says of this wind."""
        if self.verdict == "go" and self.supposed:
            return "go if aloft"
        return self.verdict


def landings_of(cloud: Cloud) -> tuple[dict[tuple[str, str], Landing], Lines]:
    """Tell how every piece of a cloud comes down.

    ``cloud``: the flights in one wind.

    Result: by case and body. Result: the same lines, and those of
    `driftmap.verdict.consequence_checks.maiming`, for a verdict.
    """
    asked = maiming(cloud)
    drawn = {
        key: _drawn(cloud, part, ALL if key in asked else SHARES)
        for part in cloud.parts
        for key in [(part.case, part.body)]
    }
    return {
        (part.case, part.body): _landing(cloud, part, drawn[part.case, part.body])
        for part in cloud.parts
    }, {key: drawn[key] for key in asked}


def _drawn(cloud: Cloud, part: Part, shares: Sequence[float]) -> tuple[Contour, ...]:
    return containment(
        cloud.east[part.rows], cloud.north[part.rows], shares, weights=part.weights
    )


def joined_landing(landings: Sequence[Landing]) -> Landing:
    """Put the landings of a piece in several winds together, each figure at its worst.

    ``landings``: one or more; the mean is that of the one that goes farthest.

    Result: its lines go round all of theirs, taut.
    """
    far = max(landings, key=lambda one: one.farthest)
    return Landing(
        far.mean,
        max(one.radius for one in landings),
        far.farthest,
        min(one.soonest for one in landings),
        max(one.latest for one in landings),
        max(one.speed for one in landings),
        max(one.energy for one in landings),
        max(one.typical for one in landings),
        tuple(
            shapely.MultiPolygon(
                [cast("shapely.Polygon", shapely.union_all(rings).convex_hull)]
            )
            for rings in zip(*(one.lines for one in landings), strict=True)
        ),
    )


def _landing(cloud: Cloud, part: Part, drawn: tuple[Contour, ...]) -> Landing:
    lines = tuple(line.shape for line in drawn if line.share in SHARES)
    corners = shapely.get_coordinates(lines[-1])
    found = landed(cloud, part)
    return Landing(
        (found.east, found.north),
        found.radius,
        float(np.hypot(corners[:, 0], corners[:, 1]).max()),
        found.time.p5,
        found.time.p95,
        found.speed.p95,
        found.energy.p95,
        found.energy.p50,
        lines,
    )
