"""Checks of the ground and the people on it, of boundary, waiver and ceiling."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from driftmap.core.estimate import Estimate, binomial
from driftmap.ground.areas import PAD, Area, Site
from driftmap.ground.roles import PASSED
from driftmap.hazard.exposure import Harm
from driftmap.hazard.harm import PERSON_RADIUS, THRESHOLDS
from driftmap.hazard.probability import (
    beyond_reach,
    inside,
    mixture,
    never_there,
    out_of_waiver,
    outside,
    passing_over,
    per_case,
    reached,
    struck,
    ways_up,
    widened_by,
)
from driftmap.montecarlo.cloud import Cloud
from driftmap.rocket.likelihood import BARE, WORKS
from driftmap.verdict.check import MISSING_INPUT, Check, Kind, estimated, held
from driftmap.verdict.limits import Limit

_WIRES: Final = 10.0
"""How far a rocket with its canopy and cord may come down beside the line as drawn and
hang on it [m]; assumed."""

_TALL: Final = 25.0
"""Height of wires [m], which what drifts with the wind meets before the ground beneath: as it
leans on its way down, so far on it would have landed. As of a line on steel towers; assumed."""

_SPAN: Final = 10.0
"""Half of a power line's width at the least [m], as of one drawn without a width: its wires
hang apart and sway, however thin they are told; assumed."""

_FETCHING: Final = (
    "nobody climbs or pokes for a rocket on a power line, nobody wades for one: an "
    "association's training counts five deaths in fifteen years on power lines "
    "(secondary source)"
)

_STRIPS: Final = ("road", "railway")

_GAP: Final = 30.0
"""Ground drawn in pieces nearer to each other than this counts as one [m]: people walk
between, and what lies between houses lies among them. Assumed."""

_DOT: Final = 100.0  # m²
_DOTS: Final = 6
_SCATTERED: Final = 100.0
"""So many spots smaller than `_DOT`, nearer to each other than this [m], are one scattered
crowd, and all the ground among them is theirs: people do not stay on their spots. Assumed."""

_KEPT_CLEAR: Final = (*PASSED, "closed ground")
"""Roles nothing may come down in though no head count is given."""

USUAL_DAY: Final = 30
"""Flights of a club's day, where no file tells them; assumed."""

_DAY_UNTOLD: Final = (
    f"how many flights the day has is not told, and {USUAL_DAY} such as this one would pass the "
    "day's limit on casualties: tell flights_today in the site file"
)

_FARTHEST_CREW: Final = 1000.0
"""Distance from the pad beyond which nobody presses the button [m]: the longest distance of
any table is 610 m; assumed."""


@dataclass(frozen=True, slots=True)
class AreaHit:
    """How often a flight puts a piece into an area.

    Parameters
    ----------
    area : Area
        The area.
    total : Estimate
        All cases by their likelihood.
    cases : mapping of str to Estimate
        Each case taken as certain.
    """

    area: Area
    total: Estimate
    cases: Mapping[str, Estimate]


def area_hits(
    cloud: Cloud, site: Site, known: Mapping[str, Estimate], *, by_case: bool = True
) -> tuple[AreaHit, ...]:
    """Return how often a flight puts a piece into each area; better figures are kept.

    ``by_case``: whether for each case as well.
    """
    areas, out_of_reach = [], beyond_reach(cloud)
    for area in site.areas:
        if out_of_reach(area.shape):
            never = never_there(cloud)
            names = (case.name for case in cloud.tree.cases)
            areas.append(AreaHit(area, never, dict.fromkeys(names, never)))
            continue
        if area.peopled:
            hits = reached(cloud, area.shape, beyond=PERSON_RADIUS)
        else:
            hits = struck(cloud, inside(area.shape))
        total = known.get(area.name) or mixture(cloud, hits)
        areas.append(AreaHit(area, total, per_case(cloud, hits) if by_case else {}))
    return tuple(areas)


def people_checks(
    cloud: Cloud, site: Site, hits: Sequence[AreaHit], limits: Mapping[str, Limit]
) -> list[Check]:
    """Hold hits of people, and of ground kept clear, against their limits.

    All ground where people are or may be counts as one, so that cutting it up, by role
    too, changes nothing; the lines of single areas tell where.
    """
    crowd = _union(tuple(a for a in site.areas if a.peopled), people=True)
    clear = [a for a in site.areas if a.role in _KEPT_CLEAR and not a.peopled]
    judged = {c.name for c in cloud.tree.cases if not (c.any_way or c.rare)}
    found = [check for hit in hits for check in details(hit, limits, judged)]
    if not crowd.is_empty:
        hit = reached(cloud, crowd, beyond=PERSON_RADIUS)
        total = _known(hits, mixture(cloud, hit), _between(cloud, site, crowd))
        found.append(estimated(Kind.AMONG_PEOPLE, total, limits["area_hit"]))
        found += _if(Kind.AMONG_PEOPLE_IN_FAILURE, cloud, hit, limits)
    if clear:
        hit = reached(cloud, _union(tuple(clear)))
        p = mixture(cloud, hit)
        found.append(estimated(Kind.ON_CLEAR_GROUND, p, limits["area_hit"]))
    return [*found, *_wires_and_water(cloud, site, limits)]


def _wires_and_water(
    cloud: Cloud, site: Site, limits: Mapping[str, Limit]
) -> Iterator[Check]:
    """Hold landings where fetching a rocket kills: on power lines, and in water."""
    for role, kind, key in (
        ("power line", Kind.ON_POWER_LINE, "power_line_hit"),
        ("water", Kind.IN_WATER, "water_hit"),
    ):
        ground = tuple(area for area in site.areas if area.role == role)
        if ground:
            wires = role == "power line"
            where = _wires(ground) if wires else _union(ground)
            beyond = max(_WIRES, _TALL * _leaning(cloud)) if wires else 0.0
            p = mixture(cloud, reached(cloud, where, beyond=beyond))
            yield estimated(kind, p, limits[key], note=_FETCHING)


def _leaning(cloud: Cloud) -> float:
    """Return how far most of what comes down as planned goes on for each metre that it sinks."""
    angles = [cloud.angle[p.rows] for p in cloud.parts if p.case in (WORKS, BARE)]
    steep = float(np.median(np.concatenate(angles or [cloud.angle])))
    return 1 / math.tan(max(steep, 0.01))


@lru_cache(maxsize=64)
def _wires(areas: tuple[Area, ...]) -> BaseGeometry:
    """Join power lines, none thinner than `_SPAN` to either side."""
    parts = shapely.get_parts(_union(areas))
    half = shapely.length(shapely.maximum_inscribed_circle(parts))
    return shapely.union_all(shapely.buffer(parts, np.maximum(_SPAN - half, 0.0)))


def _if(
    kind: Kind,
    cloud: Cloud,
    struck: Mapping[str, NDArray[np.bool_]],
    limits: Mapping[str, Limit],
) -> Iterator[Check]:
    """Take each failure as certain; one that may go any way is judged by its risk.

    One too rare to be judged by itself is counted in the mixture alone.
    """
    limit = limits["area_hit_in_failure"]
    chances = per_case(cloud, struck)
    for case in cloud.tree.cases:
        if case.name != WORKS and not (case.any_way or case.rare):
            yield estimated(kind, chances[case.name], limit, case=case.name)


@lru_cache(maxsize=4096)  # the places of a layout
def _union(areas: tuple[Area, ...], *, people: bool = False) -> BaseGeometry:
    """Join areas to one ground, gaps and holes closed that are drawn about nothing.

    People walk into a hole, and from one piece to the next; but nobody stands on all that a
    road or a railway goes round, unless people are counted on it.
    """
    strips = [a.shape for a in areas if a.role in _STRIPS and not a.people]
    rest = [a.shape for a in areas if a.role not in _STRIPS or a.people]
    parts = shapely.get_parts(rest)
    among = _among_dots(parts) if people else []
    ground = _closed([_filled(part) for part in parts], among)
    ground = shapely.union_all([_filled(part) for part in shapely.get_parts(ground)])
    return _closed([ground, *strips]) if strips else ground


def _closed(
    drawn: Sequence[BaseGeometry], among: Sequence[BaseGeometry] = ()
) -> BaseGeometry:
    """Close gaps, nowhere nearer to the pad than what is drawn: round it a hole is real."""
    ground = shapely.union_all(drawn)
    if ground.is_empty:
        return ground
    closed = widened_by(ground, _GAP / 2).buffer(-_GAP / 2).union(ground)
    whole = shapely.union_all([closed, *_bridges(shapely.get_parts(closed)), *among])
    return whole.difference(PAD.buffer(ground.distance(PAD))).union(ground)


def _among_dots(parts: Iterable[BaseGeometry]) -> list[BaseGeometry]:
    """Return the ground among people drawn as many small spots."""
    dots = [part for part in parts if part.area < _DOT]
    if len(dots) < _DOTS:
        return []
    spots = shapely.points([part.representative_point().coords[0] for part in dots])
    about = shapely.get_parts(shapely.union_all(shapely.buffer(spots, _SCATTERED / 2)))
    groups = [spots[shapely.intersects(whole, spots)] for whole in about]
    return [_joined(group) for group in groups if group.size >= _DOTS]


def _joined(spots: NDArray[np.object_]) -> BaseGeometry:
    """Lay strips as wide as a spot from each to those about it; what they ring counts too."""
    net = shapely.delaunay_triangles(shapely.multipoints(spots), only_edges=True)
    ways = shapely.get_parts(net)
    ways = ways[shapely.length(ways) <= _SCATTERED]
    strips = shapely.buffer([*ways, *spots], math.sqrt(_DOT) / 2)
    return shapely.union_all(
        [_filled(p) for p in shapely.get_parts(shapely.union_all(strips))]
    )


def _bridges(parts: NDArray[np.object_]) -> NDArray[np.object_]:
    """Span the gaps between pieces of ground that lie near each other."""
    one, other = shapely.STRtree(parts).query(parts, predicate="dwithin", distance=_GAP)
    pairs = one < other
    mine, theirs = parts[one[pairs]], parts[other[pairs]]
    ends = [
        shapely.intersection(mine, shapely.buffer(theirs, _GAP)),
        shapely.intersection(theirs, shapely.buffer(mine, _GAP)),
    ]
    spans = shapely.convex_hull(shapely.geometrycollections(np.stack(ends, axis=-1)))
    return np.asarray(spans)


def _filled(part: shapely.Polygon) -> BaseGeometry:
    holes = [r for r in part.interiors if shapely.Polygon(r).contains(PAD)]
    return shapely.Polygon(part.exterior, holes)


def _between(cloud: Cloud, site: Site, crowd: BaseGeometry) -> Estimate | None:
    """Return how often ground is hit that lies between the areas of people; None without any."""
    drawn = shapely.union_all([a.shape for a in site.areas if a.peopled])
    gaps = crowd.difference(drawn.buffer(PERSON_RADIUS))
    if gaps.area < 1.0:
        return None
    return mixture(cloud, reached(cloud, gaps, beyond=PERSON_RADIUS))


def _known(
    hits: Sequence[AreaHit], plain: Estimate, between: Estimate | None
) -> Estimate:
    """Take the better figures of single areas for all of them, where these are better.

    No more flights hit one of them, or what lies between, than the sum of those that hit each.
    """
    totals = [hit.total for hit in hits if hit.area.peopled]
    totals += [] if between is None else [between]
    upper = sum(p.upper for p in totals)
    if upper >= plain.upper:
        return plain
    estimate = min(sum(p.estimate for p in totals), upper)
    lower = min(max(p.lower for p in totals), estimate)
    return replace(plain, estimate=estimate, lower=lower, upper=upper)


def ground_checks(cloud: Cloud, site: Site, limits: Mapping[str, Limit]) -> list[Check]:
    """Hold landings and apogees against boundary and waiver, and the way up."""
    away = outside(site.boundary)(cloud.east, cloud.north)
    aloft = outside(site.waiver.shape)(cloud.east, cloud.north)
    hurts = away & (cloud.energy >= THRESHOLDS["open"].value)
    over = int((cloud.apogee.height > site.waiver.ceiling).sum())

    def landing(beyond: NDArray[np.bool_]) -> Estimate:
        return mixture(cloud, struck(cloud, lambda *_: beyond))

    rows = (
        (Kind.HURTFUL_OUTSIDE, "boundary", "hurtful_outside_boundary", landing(hurts)),
        (Kind.OUTSIDE_BOUNDARY, "boundary", "outside_boundary", landing(away)),
        (Kind.OUTSIDE_WAIVER, "waiver", "outside_waiver", landing(aloft)),
        (Kind.ABOVE_CEILING, "waiver", "above_ceiling", binomial(over, cloud.flights)),
        (
            Kind.WAY_UP_OUT,
            "waiver",
            "outside_waiver",
            out_of_waiver(cloud, site.waiver),
        ),
        *(
            (Kind.OVERFLIGHT, what, "overflight", p)
            for what, p in _overhead(cloud, site)
        ),
    )
    return [estimated(kind, p, limits[key], area=what) for kind, what, key, p in rows]


def _overhead(cloud: Cloud, site: Site) -> Iterator[tuple[str, Estimate]]:
    """Count flights whose way up passes over people, all together and in each area."""
    occupied = [area for area in site.areas if area.perhaps_occupied]
    if occupied:
        paths, crowd = ways_up(cloud), _union(tuple(occupied))
        yield "people", passing_over(paths, crowd.buffer(PERSON_RADIUS))
        yield from ((area.name, passing_over(paths, area.shape)) for area in occupied)


def details(
    hit: AreaHit, limits: Mapping[str, Limit], judged: Set[str] = frozenset()
) -> list[Check]:
    """Tell of one area what is judged of all together; of cases those to be judged."""
    area = hit.area
    if not area.peopled and area.role not in _KEPT_CLEAR:
        return []
    told = partial(estimated, area=area.name)
    checks = [told(Kind.LANDS_IN, hit.total, limits["area_hit"])]
    if area.peopled:
        limit = limits["area_hit_in_failure"]
        checks += [
            told(Kind.LANDS_IN_FAILURE, p, limit, case=name)
            for name, p in hit.cases.items()
            if name in judged
        ]
    return checks


def harm_checks(
    cloud: Cloud, site: Site, harm: Harm, limits: Mapping[str, Limit]
) -> list[Check]:
    """Hold collective and individual risk against their limits."""
    total, worst = harm.casualties.total, harm.worst
    risk = partial(estimated, unit="per flight")
    checks = [risk(Kind.CASUALTIES, total, limits["expected_casualties"])]
    most = limits["casualties_in_a_day"]
    if site.flights_today is not None:
        day = _times(total, site.flights_today)
        checks.append(risk(Kind.CASUALTIES_IN_A_DAY, day, most))
    elif total.estimate * USUAL_DAY > most.value:
        told = held(Kind.MISSING, MISSING_INPUT, _DAY_UNTOLD, question=True)
        checks.append(told)  # of no day yet it is set aside, as what people answer
    if worst is not None:
        limit, area = limits["individual_risk"], worst.area
        checks.append(risk(Kind.INDIVIDUAL_RISK, worst.risk, limit, area=area))
    limit = limits["casualties_if_it_happens"]
    checks += (
        risk(Kind.CASUALTIES_IF, harm.if_it_happens[case.name], limit, case=case.name)
        for case in cloud.tree.cases
        if not (case.any_way or case.rare)
    )
    unknown = harm.casualties.uncounted
    checks += (held(Kind.HEAD_COUNT, MISSING_INPUT, area=area) for area in unknown)
    counted = [a for a in site.areas if a.people or (a.occupied and a.people is None)]
    if not any(area.distance <= _FARTHEST_CREW for area in counted):
        checks.append(held(Kind.NOBODY_NEAR, MISSING_INPUT))
    return checks


def _times(p: Estimate, number: int) -> Estimate:
    lower, upper = p.lower * number, p.upper * number
    return replace(p, estimate=p.estimate * number, lower=lower, upper=upper)
