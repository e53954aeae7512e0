"""Checks of the ground and the people on it, of boundary, waiver and ceiling."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from driftmap.failures.cases import WORKS
from driftmap.ground.site import Area, Site
from driftmap.hazard.exposure import Harm
from driftmap.hazard.overhead import out_of_waiver, passing_over, ways_up
from driftmap.hazard.probability import (
    Probability,
    binomial,
    inside,
    mixture,
    outside,
    per_case,
    struck,
)
from driftmap.montecarlo.cloud import Cloud
from driftmap.verdict.check import ALL_CASES, Check, Kind, at_most
from driftmap.verdict.comparing import share
from driftmap.verdict.limits import Limit

__all__ = ["AreaHit", "area_hits", "ground_checks", "harm_checks", "people_checks"]

_KEPT_CLEAR: Final = ("building", "road", "railway", "airport", "closed ground")
"""Roles nothing may come down in though no head count is given."""


@dataclass(frozen=True, slots=True)
class AreaHit:
    """How often a flight puts a piece into an area.

    Parameters
    ----------
    area : Area
        The area.
    total : Probability
        All cases by their likelihood.
    cases : mapping of str to Probability
        Each case taken as certain.
    """

    area: Area
    total: Probability
    cases: Mapping[str, Probability]


def area_hits(
    cloud: Cloud, site: Site, known: Mapping[str, Probability]
) -> tuple[AreaHit, ...]:
    """Give how often a flight puts a piece into each area; better figures are kept."""
    areas = []
    for area in site.areas:
        hits = struck(cloud, inside(area.shape))
        total = known.get(area.name) or mixture(cloud, hits)
        areas.append(AreaHit(area, total, per_case(hits)))
    return tuple(areas)


def people_checks(hits: Sequence[AreaHit], limits: Mapping[str, Limit]) -> list[Check]:
    """Hold hits of areas with people, or kept clear, against their limits."""
    return [check for hit in hits for check in _people(hit, limits)]


def ground_checks(cloud: Cloud, site: Site, limits: Mapping[str, Limit]) -> list[Check]:
    """Hold landings and apogees against boundary and waiver, and the way up."""
    return [
        *_ground(cloud, site, limits),
        _ceiling(cloud, site, limits),
        *_on_the_way(cloud, site, limits),
    ]


def _people(hit: AreaHit, limits: Mapping[str, Limit]) -> list[Check]:
    area = hit.area
    if not area.occupied and area.role not in _KEPT_CLEAR:
        return []
    checks = [share(Kind.LANDS_IN, ALL_CASES, area.name, hit.total, limits["area_hit"])]
    if area.occupied:
        limit = limits["area_hit_in_failure"]
        checks += [
            share(Kind.LANDS_IN_FAILURE, name, area.name, p, limit)
            for name, p in hit.cases.items()
            if name != WORKS
        ]
    return checks


def harm_checks(harm: Harm, limits: Mapping[str, Limit]) -> list[Check]:
    """Hold collective and individual risk against their limits.

    The yardstick of individual risk is one made for the public of licensed launches, who
    have no say; going beyond it is a matter to be judged, so it holds and never fails.
    """
    total, limit = harm.casualties.total, limits["expected_casualties"]
    figures = [(Kind.CASUALTIES, "", total, limit)]
    if harm.spots:
        worst = max(harm.spots, key=lambda spot: spot.risk.upper)
        bound = limits["individual_risk"]
        figures.append((Kind.INDIVIDUAL_RISK, worst.area, worst.risk, bound))
    checks = [
        Check(
            kind=kind,
            case=ALL_CASES,
            area=area,
            value=p.estimate,
            interval=(p.lower, p.upper),
            limit=limit.value,
            unit="per flight",
            outcome=at_most((p.lower, p.upper), limit.value),
            source=limit.source,
        )
        for kind, area, p, limit in figures
    ]
    checks = [
        replace(check, outcome="warn")
        if check.area and check.outcome == "fail"
        else check
        for check in checks
    ]
    checks += [
        Check(
            kind=Kind.HEAD_COUNT,
            area=area,
            outcome="warn",
            source="missing input",
        )
        for area in harm.casualties.uncounted
    ]
    return checks


def _ground(cloud: Cloud, site: Site, limits: Mapping[str, Limit]) -> list[Check]:
    checks = []
    for kind, what, key, shape in (
        (Kind.OUTSIDE_BOUNDARY, "boundary", "outside_boundary", site.boundary),
        (Kind.OUTSIDE_WAIVER, "waiver", "outside_waiver", site.waiver.shape),
    ):
        p = mixture(cloud, struck(cloud, outside(shape)))
        checks.append(share(kind, ALL_CASES, what, p, limits[key]))
    return checks


def _ceiling(cloud: Cloud, site: Site, limits: Mapping[str, Limit]) -> Check:
    over = int((cloud.apogee.height > site.waiver.ceiling).sum())
    p = binomial(over, cloud.flights)
    return share(Kind.ABOVE_CEILING, ALL_CASES, "waiver", p, limits["above_ceiling"])


def _on_the_way(cloud: Cloud, site: Site, limits: Mapping[str, Limit]) -> list[Check]:
    """Hold the way up against the waiver's cylinder and the heads of people."""
    out, paths = out_of_waiver(cloud, site.waiver), ways_up(cloud)
    limit = limits["outside_waiver"]
    return [
        share(Kind.WAY_UP_OUT, ALL_CASES, "waiver", out, limit),
        *(
            share(
                Kind.OVERFLIGHT,
                ALL_CASES,
                area.name,
                passing_over(paths, area.shape),
                limits["overflight"],
            )
            for area in site.areas
            if area.occupied
        ),
    ]
