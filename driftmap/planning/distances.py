"""Where pads and people may stand: allowed ground, and the distances that rules ask for."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import FloatArray
from driftmap.core.errors import SiteError
from driftmap.ground.areas import Area, Site
from driftmap.ground.projection import to_local
from driftmap.ground.roles import OCCUPIED
from driftmap.rocket.flight import Flight
from driftmap.rules.evaluate import evaluate
from driftmap.rules.facts import Facts, facts_of, of_each_motor
from driftmap.rules.reading import picked_rules
from driftmap.rules.result import RuleResult
from driftmap.rules.ruleset import RuleSet
from driftmap.rules.vocabulary import CLASS_BOUNDS, GROUPS, RULE_KINDS, motor_class

Candidate: TypeAlias = tuple[float, float]
"""East and north of where a pad, or the middle of an area, is tried [m]."""

MOST: Final = 2000
"""Most candidates of one kind."""

_ABOUT: Final = 120  # candidates aimed at where no spacing is given
_ROUND: Final = (10.0, 15.0, 20.0, 30.0, 50.0, 75.0, 100.0, 150.0, 200.0, 300.0, 500.0)


def moved(site: Site, east: float, north: float) -> Site:
    """See a site from a pad elsewhere on it.

    ``site``: the site about its own pad; ``east`` and ``north``: the other pad from
    that one [m].

    Result: the same ground in metres about the other pad, projected anew; elevation and
    everything else stay. Raises `ValueError` if the pad lies outside boundary or
    waiver.
    """
    if east == north == 0.0:
        return site
    longitude, latitude = (float(v) for v in site.to_lonlat(east, north))

    def again(xy: FloatArray) -> FloatArray:
        return np.column_stack(to_local((longitude, latitude), *site.to_lonlat(*xy.T)))

    drawn = [*(a.shape for a in site.areas), site.boundary, site.waiver.shape]
    *areas, boundary, waiver = shapely.transform(np.array(drawn), again)
    return replace(
        site,
        longitude=longitude,
        latitude=latitude,
        areas=tuple(
            replace(area, shape=shape)
            for area, shape in zip(site.areas, areas, strict=True)
        ),
        boundary=boundary,
        waiver=replace(
            site.waiver,
            shape=waiver,
            centre=tuple(again(np.array([site.waiver.centre]))[0].tolist()),
        ),
    )


def allowed_ground(site: Site) -> BaseGeometry:
    """Return the ground a pad or people could stand on.

    Result: inside boundary and waiver, outside every area that is drawn [m]. Raises
    `SiteError` if there is none.
    """
    ground = shapely.intersection(site.boundary, site.waiver.shape)
    free = shapely.difference(ground, shapely.union_all([a.shape for a in site.areas]))
    if free.is_empty:
        raise SiteError(
            site.source, "", "has no free ground inside boundary and waiver"
        )
    return free


def lattice(ground: BaseGeometry, spacing: float | None) -> FloatArray:
    """Lay points over ground, one of them at the pad.

    ``ground``: where they may lie [m]; ``spacing``: distance between neighbours [m]; a
    round one that gives about 120 points if None.

    Result: east and north of each [m], shape (n, 2). Raises `ValueError` if there would
    be more than `MOST`.
    """
    step = spacing or _spacing(ground)
    west, south, east, north = ground.bounds
    count = (east - west) * (north - south) / step**2
    if count > 20 * MOST:
        raise ValueError(_many(count, step))
    x = step * np.arange(math.ceil(west / step), math.floor(east / step) + 1)
    y = step * np.arange(math.ceil(south / step), math.floor(north / step) + 1)
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    kept = points[shapely.intersects_xy(ground, points[:, 0], points[:, 1])]
    if len(kept) > MOST:
        raise ValueError(_many(len(kept), step))
    return np.asarray(kept)


def _spacing(ground: BaseGeometry) -> float:
    wanted = math.sqrt(ground.area / _ABOUT)
    return min(_ROUND, key=lambda size: abs(math.log(size / wanted)))


def _many(count: float, step: float) -> str:
    return (
        f"{step:g} m apart gives {count:,.0f} candidates; accepted are {MOST:,} at most"
    )


def pad_spots(site: Site, spacing: float | None) -> list[Candidate]:
    """List where pads are tried; raises `ValueError` if that would be too many."""
    points = lattice(allowed_ground(site), spacing).tolist()
    return list(dict.fromkeys([(0.0, 0.0), *((x, y) for x, y in points)]))


def stand_spots(site: Site, area: str, spacing: float | None) -> list[Candidate]:
    """List where an area of people is tried, that as drawn first.

    Raises `SiteError` if there is none so named, `ValueError` if that would be too many.
    """
    own = _area(site, area)
    rest = replace(site, areas=tuple(a for a in site.areas if a.name != area))
    free = allowed_ground(rest)
    shapely.prepare(free)
    spots = [(own.shape.centroid.x, own.shape.centroid.y)]
    for x, y in lattice(free, spacing).tolist():
        if free.covers(_area(stand_at(site, area, x, y), area).shape):
            spots.append((x, y))
    return spots


def _area(site: Site, name: str) -> Area:
    for area in site.areas:
        if area.name == name:
            return area
    known = ", ".join(a.name for a in site.areas if a.role in OCCUPIED)
    raise SiteError(site.source, "", f"no area is named {name!r}; accepted: {known}")


def stand_at(site: Site, name: str, east: float, north: float) -> Site:
    """Move an area of a site as it is, with its middle to another place.

    ``name``: name of the area; ``east`` and ``north``: where its middle goes [m].
    """

    def put(area: Area) -> Area:
        if area.name != name:
            return area
        middle = area.shape.centroid
        shift = np.array([east - middle.x, north - middle.y])
        return replace(area, shape=shapely.transform(area.shape, lambda xy: xy + shift))

    return replace(site, areas=tuple(map(put, site.areas)))


_OF_THE_PAD: Final = frozenset(
    name
    for name, kind in RULE_KINDS.items()
    if kind.fact in GROUPS or kind.fact == "boundary_distance"
)
"""Rules that speak of where the pad stands."""

_ALTITUDES: Final = 60  # steps from the ground to the waiver's ceiling


@dataclass(frozen=True, slots=True)
class Clearances:
    """What keeps pads away from people and edges.

    Parameters
    ----------
    sets : tuple of RuleSet
        Rules of the range.
    distance : float
        A distance that people and edge must keep from the pad beside them [m].
    """

    sets: tuple[RuleSet, ...] = ()
    distance: float = 0.0

    @classmethod
    def at(cls, site: Site, names: Sequence[str], distance: float) -> Clearances:
        """Take the rules named, or those of the site; none need be where a distance is."""
        if distance and not names and not site.rules.strip():
            return cls((), distance)
        return cls(picked_rules(site, names), distance)


@dataclass(frozen=True, slots=True)
class Capacity:
    """The largest flight the distance rules let a pad host.

    Parameters
    ----------
    total_impulse : float
        Greatest class bound, one motor [N s]; 0 where not even the least class may fly.
    motor_class : str
        Its letter; empty for none.
    altitude : float
        Greatest height above the site, with that impulse, that neither the waiver's
        ceiling nor a rule on distances forbids [m].
    impulse_held_by, altitude_held_by : str
        What forbids more.
    """

    total_impulse: float
    motor_class: str
    altitude: float
    impulse_held_by: str
    altitude_held_by: str


def too_near(keep: Clearances, site: Site, facts: Facts) -> tuple[str, ...]:
    """Say which rules on distances a pad breaks.

    ``site``: the site about that pad.

    Result: one for each; empty where none is broken. What is open until someone answers
    is not counted as broken: the rules command asks it.
    """
    return (
        *(
            _told(result)
            for result in evaluate(keep.sets, facts, only=_OF_THE_PAD)
            if result.outcome == "fail" and result.name in _OF_THE_PAD
        ),
        *(
            f"{name}: {span:.0f} m from the pad, at least {keep.distance:.0f} m"
            for name, span in (
                *((area.name, area.distance) for area in site.areas if area.occupied),
                ("boundary", site.to_boundary),
            )
            if span < keep.distance
        ),
    )


def _told(result: RuleResult) -> str:
    to = f" ({result.area})" if result.area else ""
    value = "" if result.value is None else f": {result.value:.0f} m"
    limit = "" if result.limit is None else f", {result.sense} {result.limit:.0f} m"
    return f"{result.what}{to}{value}{limit}"


def capacity(keep: Clearances, flight: Flight, site: Site) -> Capacity:
    """Find the largest flight that distance rules let a pad host.

    ``flight``: a flight whose mass and motor count stand for the larger one; ``site``:
    the site about that pad.

    Result: by class bounds and in steps of a sixtieth of the waiver's ceiling.

    Only distances from the pad are asked: a rule on lift-off mass or a landing outside
    the field can forbid a flight that this allows. Limits that grow with the flight are
    taken to grow without a gap, so the first that is forbidden ends the search.
    """
    ceiling = site.waiver.ceiling
    facts = facts_of(flight, site, altitude=ceiling / _ALTITUDES)

    def broken(**changed: float) -> tuple[str, ...]:
        numbers = {**facts.numbers, "motor_count": 1.0, "stages": 1.0, **changed}
        for name in ("motor_impulse", "motor_thrust", "motor_propellant"):
            numbers.pop(name, None)  # those of the flight's own motor
        return too_near(keep, site, of_each_motor(Facts(numbers, facts.groups)))

    impulse, held = _largest(CLASS_BOUNDS, lambda v: broken(total_impulse=v))
    steps = [ceiling * i / _ALTITUDES for i in range(1, _ALTITUDES + 1)]
    altitude, high_held = _largest(
        steps, lambda v: broken(total_impulse=impulse, expected_altitude=v)
    )
    return Capacity(
        impulse,
        motor_class(impulse) if impulse else "",
        altitude if impulse else 0.0,
        held or "the largest class there is",
        (high_held or "the waiver's ceiling") if impulse else held,
    )


def _largest(
    values: Sequence[float], broken: Callable[[float], tuple[str, ...]]
) -> tuple[float, str]:
    """Go up until something is broken; give the last value before, and what broke."""
    best = 0.0
    for value in values:
        if wrong := broken(value):
            return best, wrong[0]
        best = value
    return best, ""
