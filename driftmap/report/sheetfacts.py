"""The figures of the briefing sheet: falls, places, the way up."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from driftmap.core.points import mean_point
from driftmap.ground.areas import Area
from driftmap.hazard.harm import HURTS
from driftmap.hazard.zones import Zone, ZoneKind, grade, strength
from driftmap.montecarlo.columns import Part
from driftmap.montecarlo.margins import landed
from driftmap.report.marks import seen_outcome, worst_of, zone_at
from driftmap.rocket.case import Case
from driftmap.rocket.cases import BROKEN
from driftmap.rocket.likelihood import BARE, WORKS
from driftmap.rocket.stage_cases import LATE
from driftmap.verdict.assessment import Assessment
from driftmap.verdict.check import Kind, Outcome

_NOTHING: Final = "nothing deploys"


@dataclass(frozen=True, slots=True)
class Fall:
    """One kind of piece coming down in one case.

    Parameters
    ----------
    case, cause, piece : str
        Names of the case, of its cause and of the piece.
    count : int
        How many there are.
    distance, azimuth : float
        Mean landing point from the pad [m], [rad].
    radius, reach : float
        Nine in ten land within these distances of the mean point and of the pad [m].
    first, last : float
        Nine in ten land between these times since lift-off [s].
    speed, energy : float
        Median speed [m s⁻¹] and energy [J] on landing.
    strength : float
        Energy by which it is graded [J].
    worst : float
        Energy on landing that 1 in 20 pass [J].
    unopened : bool
        Whether it is the rocket, let go at the top and falling nose first.
    """

    case: str
    cause: str
    piece: str
    count: int
    distance: float
    azimuth: float
    radius: float
    reach: float
    first: float
    last: float
    speed: float
    energy: float
    strength: float
    worst: float
    unopened: bool

    @property
    def works(self) -> bool:
        """Whether this is the case in which all goes as planned."""
        return self.case in {WORKS, BARE}

    @property
    def harms(self) -> bool:
        """Whether it can injure; the rocket itself is never left out, however softly it lands."""
        return self.piece == "rocket" or self.worst >= HURTS.value

    @property
    def deadly(self) -> bool:
        """Whether it can kill or maim."""
        return grade(self.strength) == "danger"

    @property
    def around(self) -> bool:
        """Whether it lands about the pad rather than to one side of it."""
        return self.distance < self.radius / 2


def falls(assessment: Assessment) -> list[Fall]:
    """Give every piece of every case, recovery that works first, then the soonest.

    Result: pieces of a case stay together, in order of their landing; those of the
    plan, as they leave the pad: the rocket that people follow first, then its booster.
    """
    found = [_fall(assessment, part) for part in assessment.cloud.parts]
    earliest: dict[str, float] = {}
    for fall in found:
        earliest[fall.case] = min(earliest.get(fall.case, math.inf), fall.first)
    planned = [fall for fall in found if fall.works]
    failed = [fall for fall in found if not fall.works]
    failed.sort(key=lambda fall: (earliest[fall.case], fall.case, fall.first))
    return [*planned, *failed]


def _fall(a: Assessment, part: Part) -> Fall:
    found = landed(a.cloud, part)
    case = next(c for c in a.cloud.tree.cases if c.name == part.case)
    return Fall(
        case=part.case,
        cause=case.cause,
        piece=part.body,
        count=part.count,
        distance=math.hypot(found.east, found.north),
        azimuth=math.atan2(found.east, found.north),
        radius=found.radius,
        reach=found.reach,
        first=found.time.p5,
        last=found.time.p95,
        speed=found.speed.p50,
        energy=found.energy.p50,
        strength=strength(a.cloud, part),
        worst=found.energy.p95,
        unopened=_unopened(case, part.body),
    )


def _unopened(case: Case, body: str) -> bool:
    """Return whether a body is the rocket past its top with nothing open.

    One whose motor lights late, its nose far over, is under power instead.
    """
    if body != "rocket" or case.release.at != "apogee" or case.release.way == LATE:
        return False
    rocket = next(one for one in case.bodies if one.name == body)
    return rocket.stages[-1].nose_first


def arrivals(found: Sequence[Fall]) -> list[Fall]:
    """Pick of every piece the falls that harm soonest and hardest.

    Result: one or two of each piece that can injure where something fails, or kill even
    as planned, in the order of their seconds. What is thrown where the rocket strikes is
    down with the rocket.
    """
    harm = [fall for fall in found if fall.harms and fall.piece != BROKEN]
    harm = [fall for fall in harm if fall.deadly or not fall.works]
    picked: list[Fall] = []
    for piece in dict.fromkeys(fall.piece for fall in harm):
        own = [fall for fall in harm if fall.piece == piece]
        picked.append(min(own, key=lambda fall: fall.first))
        picked.append(max(own, key=lambda fall: fall.energy))
    return sorted(dict.fromkeys(picked), key=lambda fall: fall.first)


def straight_down(found: Sequence[Fall]) -> Fall | None:
    """Pick the fall that follows when nothing opens at the top.

    Result: what strikes hardest of that case, for a booster may come down softly all
    the same; or the hardest failure where the flight has no such case; None if no failure
    was flown. It starts with the soonest of all causes: a motor that stays unlit, stages
    that stay together.
    """
    failed = [fall for fall in found if not fall.works]
    own = [fall for fall in failed if fall.case == _NOTHING] or failed
    if not own:
        return None
    fall = max(own, key=lambda one: one.energy)
    unopened = [one for one in failed if one.unopened]
    return replace(fall, first=min(one.first for one in (fall, *unopened)))


@dataclass(frozen=True, slots=True, eq=False)
class Spot:
    """An area as seen from the pad.

    Parameters
    ----------
    area : Area
        The area.
    distance, azimuth : float
        Its nearest point, and its middle, from the pad [m], [rad].
    outcome : {"pass", "warn", "fail"}
        The worst that the checks say of it, open questions aside.
    hit : bool
        Whether pieces land in it too often, or perhaps too often.
    kind : {"danger", "caution"} or None
        The zone it reaches into.
    inside : bool
        Whether it lies wholly in that zone.
    seen : {"pass", "warn", "fail"}
        How it is marked: ground of people in a zone never looks clear of it, and who stands in
        caution moves where others in it must.
    """

    area: Area
    distance: float
    azimuth: float
    outcome: Outcome
    hit: bool
    kind: ZoneKind | None
    inside: bool
    seen: Outcome

    @property
    def stand(self) -> bool:
        """Whether people are there during flights."""
        return self.area.occupied


def spots(assessment: Assessment, zoned: Sequence[Zone]) -> list[Spot]:
    """Give every area as seen from the pad.

    ``zoned``: danger before caution.

    Result: in the order of the site file.
    """
    found = []
    for area in assessment.site.areas:
        middle = area.shape.representative_point()
        landing = (
            check
            for check in assessment.checks
            if check.area == area.name
            and check.kind in {Kind.LANDS_IN, Kind.LANDS_IN_FAILURE}
        )
        said = worst_of(assessment.checks, area.name)
        kind = zone_at(area.shape, zoned)
        spot = Spot(
            area,
            area.distance,
            math.atan2(middle.x, middle.y),
            said,
            any(c.outcome != "pass" for c in landing),
            kind,
            any(z.kind == kind and z.shape.covers(area.shape) for z in zoned),
            seen_outcome(said, kind if area.occupied else None),
        )
        found.append(spot)
    return _alike(found)


def _alike(found: Sequence[Spot]) -> list[Spot]:
    """Let whoever stands in caution move if others who stand in it must.

    A person there is hit as often; only the chance that anybody is hit depends on how many stand
    together.
    """
    mild = [spot for spot in found if spot.stand and spot.kind == "caution"]
    if all(spot.seen != "fail" for spot in mild):
        return list(found)
    return [replace(s, seen="fail") if s in mild else s for s in found]


@dataclass(frozen=True, slots=True)
class Climb:
    """The way up, as people on the ground see it.

    Parameters
    ----------
    azimuth, distance : float
        Mean place of apogee from over the pad [rad], [m].
    height : float
        Median apogee above the site [m].
    first, last : float
        Nine in ten flights reach apogee between these times [s].
    """

    azimuth: float
    distance: float
    height: float
    first: float
    last: float

    @property
    def around(self) -> bool:
        """Whether it is straight up to anyone who looks: less than 3° from overhead."""
        return self.distance <= 0.05 * self.height


def climb(assessment: Assessment) -> Climb:
    """Describe the way up."""
    top = assessment.cloud.apogee
    east, north = mean_point(top.east, top.north)
    height = float(np.median(top.height))
    first, last = (float(q) for q in np.quantile(top.time, [0.05, 0.95]))
    azimuth, distance = math.atan2(east, north), math.hypot(east, north)
    return Climb(azimuth, distance, height, first, last)
