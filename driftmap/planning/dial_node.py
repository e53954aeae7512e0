"""One wind of a dial, and its result."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Literal, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray

from driftmap.core.checks import FloatArray
from driftmap.core.points import SHARES as ALL
from driftmap.core.points import turn
from driftmap.ground.areas import turned_shape
from driftmap.ground.contours import Contour, containment
from driftmap.hazard.outlines import Lines
from driftmap.hazard.smoothing import taut
from driftmap.hazard.zones import strength
from driftmap.montecarlo.cloud import Cloud
from driftmap.montecarlo.columns import Part
from driftmap.montecarlo.margins import landed
from driftmap.planning.assumed_winds import Wind
from driftmap.planning.envelope import placed
from driftmap.verdict.check import Check, Verdict
from driftmap.verdict.consequence_checks import maiming

_DIAL_SHARES: Final = (0.9, 0.99)
"""Shares of the landing points that a dial draws lines about."""


DialWord: TypeAlias = Literal["go", "go if aloft", "hold", "no-go"]
PieceKey: TypeAlias = tuple[str, str]
"""A case and a body."""

WORDS: Final[tuple[DialWord, ...]] = ("go", "go if aloft", "hold", "no-go")
"""What a dial can say of a wind, the mildest first."""


Apart: TypeAlias = Literal["", "any way", "rare"]

APART: Final[tuple[Apart, ...]] = ("", "any way", "rare")
"""Whether a piece belongs to a zone, first of all."""


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
    graded : float
        Kinetic energy by which harm is graded [J].
    apart : {"", "any way", "rare"}
        Why it belongs to no zone, as `driftmap.hazard.zones.zones` has it: it may come
        down on any side, or is too rare to be judged by itself.
    lines : tuple of shapely.MultiPolygon
        Ground that holds each of `_DIAL_SHARES`, from the pad [m]; the outer one taut.
    """

    mean: tuple[float, float]
    radius: float
    farthest: float
    soonest: float
    latest: float
    speed: float
    energy: float
    graded: float
    apart: Apart
    lines: tuple[shapely.MultiPolygon, ...]

    def turned(self, angle: float) -> Landing:
        """Turn it about the pad.

        Result: the same landing, of a wind turned as much.
        """
        east, north = turn(self.mean[0], self.mean[1], angle)
        lines = tuple(turned_shape(line, angle) for line in self.lines)
        return replace(self, mean=(float(east), float(north)), lines=lines)


@dataclass(frozen=True, slots=True, eq=False)
class DialNode:
    """A wind of a dial, or all winds of one of its cells, with what came of it.

    Parameters
    ----------
    wind : (float, float)
        Speed at the meter [m s⁻¹] and direction it comes from [deg]; of a cell, those of
        its middle.
    verdict : {"go", "hold", "no-go"}
        The verdict, open questions of the rules included; hold where the flight could not
        be flown.
    checks : tuple of Check
        Every check; of a cell, bounds that hold in all its winds.
    likely : mapping of str to float
        Likelihood of each case.
    landings : mapping of (str, str) to Landing
        By case and body.
    supposed : bool
        Whether a go depends on winds above what a reading at the meter tells.
    whole : bool
        Whether its checks bound those of every wind of a cell, or of a wider span.
    drawn : bool
        Whether nothing was flown here: one word holds all over a wider span, and landings
        are drawn between those of the winds flown about it.
    problem : str
        Why the flight could not be flown.
    """

    wind: Wind
    verdict: Verdict
    checks: tuple[Check, ...] = ()
    likely: Mapping[str, float] | None = None
    landings: Mapping[PieceKey, Landing] | None = None
    supposed: bool = True
    whole: bool = False
    drawn: bool = False
    problem: str = ""

    @property
    def word(self) -> DialWord:
        """What the dial says of this wind."""
        if self.verdict == "go" and self.supposed:
            return "go if aloft"
        return self.verdict


def severity(node: DialNode) -> int:
    """Rank a wind by its word, the mildest first."""
    return WORDS.index(node.word)


def landings_of(cloud: Cloud) -> tuple[dict[PieceKey, Landing], Lines]:
    """Tell how every piece of a cloud comes down.

    ``cloud``: the flights in one wind.

    Result: that by case and body, and the same lines with those of
    `driftmap.verdict.consequence_checks.maiming`, for a verdict.
    """
    asked = maiming(cloud)
    drawn = {
        key: _drawn(cloud, part, ALL if key in asked else _DIAL_SHARES)
        for part in cloud.parts
        for key in [(part.case, part.body)]
    }
    apart: dict[str, Apart] = {
        case.name: "any way" if case.any_way else "rare" if case.rare else ""
        for case in cloud.tree.cases
    }
    return {
        key: _landing(cloud, part, apart[part.case], drawn[key])
        for part in cloud.parts
        for key in [(part.case, part.body)]
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
    every = zip(*(one.lines for one in landings), strict=True)
    hulls = [shapely.geometrycollections(rings).convex_hull for rings in every]
    lines = tuple(np.asarray(shapely.multipolygons(np.array(hulls)[:, None])))
    return Landing(
        mean=far.mean, farthest=far.farthest, lines=lines, **_worst(landings)
    )


def _worst(landings: Sequence[Landing]) -> dict[str, Any]:
    return {
        "radius": max(one.radius for one in landings),
        "soonest": min(one.soonest for one in landings),
        "latest": max(one.latest for one in landings),
        "speed": max(one.speed for one in landings),
        "energy": max(one.energy for one in landings),
        "graded": max(one.graded for one in landings),
        "apart": min((one.apart for one in landings), key=APART.index),
    }


def drawn_landings(
    five: Sequence[Mapping[PieceKey, Landing]],
    half: float,
    places: Sequence[tuple[float, float]],
) -> list[dict[PieceKey, Landing]]:
    """Draw landings in winds between those flown.

    ``five``: landings in the corners of a span, and in its middle; ``half``: from there
    to its sides [rad]; ``places``: as for `driftmap.planning.envelope.placed`.

    Result: for each place the corners of taut lines, each between those that lie
    farthest the same way; figures at their worst. A piece that does not come down in
    each of the five has one landing all over.
    """
    found: list[dict[PieceKey, Landing]] = [{} for _ in places]
    u, v = np.array(places).T
    for key in dict.fromkeys(key for own in five for key in own):
        landings = [own[key] for own in five if key in own]
        if len(landings) < len(five):
            joined = joined_landing(landings)
            for place in found:
                place[key] = joined
            continue
        sides = (half, -half, half, -half, 0.0)
        seen = np.array([_seen(*pair) for pair in zip(landings, sides, strict=True)])
        east, north = placed(u, v, seen, half)
        far = np.hypot(east[:, -1], north[:, -1]).max(axis=1).tolist()
        means = zip(east[:, 0, 0].tolist(), north[:, 0, 0].tolist(), strict=True)
        worst, lines = _worst(landings), _taut(east[:, 1:], north[:, 1:])
        for place, mean, farthest, own in zip(found, means, far, lines, strict=True):
            place[key] = Landing(
                mean=mean, farthest=farthest, lines=tuple(own), **worst
            )
    return found


def _taut(east: FloatArray, north: FloatArray) -> NDArray[np.object_]:
    """Go round some places each, shape (..., places); what has no width gets one."""
    hulls: Any = shapely.convex_hull(shapely.linestrings(np.stack([east, north], -1)))
    thin = shapely.area(hulls) == 0
    hulls[thin] = shapely.buffer(hulls[thin], _THIN)
    return np.asarray(shapely.multipolygons(hulls[..., None]))


_THIN: Final = 0.5  # m; about lines that have no width
_ROUND: Final = 2 * np.pi * np.arange(48) / 48
_OUTWARD: Final = np.array([np.sin(_ROUND), np.cos(_ROUND)])
"""Ways in which the farthest corners of two lines are taken for the same."""


def _seen(landing: Landing, side: float) -> NDArray[np.float64]:
    """Return the mean, and each line's farthest corners all round, turned; (2, lines, ways)."""
    rows = [np.tile(turn(*landing.mean, side), (_ROUND.size, 1))]
    for line in landing.lines:
        east, north = shapely.get_coordinates(line).T
        corners = np.stack(turn(east, north, side), axis=1)
        rows.append(corners[(corners @ _OUTWARD).argmax(axis=0)])
    return np.moveaxis(np.array(rows), 2, 0)


def _landing(
    cloud: Cloud, part: Part, apart: Apart, drawn: tuple[Contour, ...]
) -> Landing:
    inner, outer = (line.shape for line in drawn if line.share in _DIAL_SHARES)
    at = cloud.east[part.rows], cloud.north[part.rows]
    lines = (inner, taut(outer, *at, part.weights))
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
        strength(cloud, part),
        apart,
        lines,
    )
