"""Every check of a flight at a site in a wind; and go, hold or no-go."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final, Literal, TypeAlias

import numpy as np

from driftmap.air.atmosphere import FloatArray
from driftmap.air.wind import WindProfile
from driftmap.failures.cases import WORKS
from driftmap.ground.site import OCCUPIED, Area, Site
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
from driftmap.rules import RuleResult
from driftmap.verdict.check import ALL_CASES, Check, Outcome, at_least, at_most
from driftmap.verdict.limits import Limit

__all__ = ["AreaHit", "Verdict", "decide", "judge"]

Verdict: TypeAlias = Literal["go", "hold", "no-go"]

_NEAR_GROUND: Final = 60.0  # m; the surface-layer law reaches the ground from there

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


def judge(
    cloud: Cloud,
    site: Site,
    wind: WindProfile,
    limits: Mapping[str, Limit],
    *,
    harm: Harm | None = None,
    known: Mapping[str, Probability] = MappingProxyType({}),
    rules: Iterable[RuleResult] = (),
) -> tuple[tuple[Check, ...], tuple[AreaHit, ...]]:
    """Check a cloud against a site.

    Parameters
    ----------
    cloud : Cloud
        Landing points.
    site : Site
        Areas, boundary and waiver.
    wind : WindProfile
        The wind the cloud was flown in.
    limits : mapping of str to Limit
        From `driftmap.verdict.limits.read_limits`.
    harm : Harm, optional
        Harm to people, from `driftmap.hazard.exposure.harm_of`.
    known : mapping of str to Probability
        Better figures for some areas, by name, from `driftmap.hazard.precise.sharpen`.
    rules : iterable of RuleResult
        What the rules of the range say, from `driftmap.rules.evaluate`.

    Returns
    -------
    checks : tuple of Check
        Every line.
    areas : tuple of AreaHit
        Probabilities for every area, checked or not.
    """
    areas = []
    for area in site.areas:
        hits = struck(cloud, inside(area.shape))
        total = known.get(area.name) or mixture(cloud, hits)
        areas.append(AreaHit(area, total, per_case(hits)))
    checks = [
        *(check for hit in areas for check in _people(hit, limits)),
        *([] if harm is None else _harm(harm, limits)),
        *_ground(cloud, site, limits),
        _ceiling(cloud, site, limits),
        *_on_the_way(cloud, site, limits),
        *_recovery(cloud, limits),
        *_rail(cloud, limits),
        *_wind(cloud, wind, limits),
        *_missing(cloud),
        *(_rule(result) for result in rules),
    ]
    return tuple(checks), tuple(areas)


def decide(checks: Iterable[Check]) -> Verdict:
    """Turn checks into a verdict.

    Parameters
    ----------
    checks : iterable of Check
        All checks.

    Returns
    -------
    {"go", "hold", "no-go"}
        No-go if one fails, hold if one warns or there is none, else go.
    """
    outcomes = {check.outcome for check in checks}
    if "fail" in outcomes:
        return "no-go"
    return "go" if outcomes == {"pass"} else "hold"


def _share(name: str, case: str, area: str, p: Probability, limit: Limit) -> Check:
    interval = (p.lower, p.upper)
    return Check(
        name=name,
        case=case,
        area=area,
        value=p.estimate,
        interval=interval,
        limit=limit.value,
        unit="share",
        outcome=at_most(interval, limit.value),
        source=limit.source,
    )


def _people(hit: AreaHit, limits: Mapping[str, Limit]) -> list[Check]:
    area = hit.area
    occupied = area.role in OCCUPIED or bool(area.people)
    if not occupied and area.role not in _KEPT_CLEAR:
        return []
    checks = [
        _share("a piece lands in", ALL_CASES, area.name, hit.total, limits["area_hit"])
    ]
    if occupied:
        limit = limits["area_hit_in_failure"]
        checks += [
            _share("a piece lands in, if", name, area.name, p, limit)
            for name, p in hit.cases.items()
            if name != WORKS
        ]
    return checks


def _harm(harm: Harm, limits: Mapping[str, Limit]) -> list[Check]:
    """Hold collective and individual risk against their limits.

    The yardstick of individual risk is one made for the public of licensed launches, who
    have no say; going beyond it is a matter to be judged, so it holds and never fails.
    """
    total, limit = harm.casualties.total, limits["expected_casualties"]
    figures = [("casualties expected", "", total, limit)]
    if harm.spots:
        worst = max(harm.spots, key=lambda spot: spot.risk.upper)
        name, bound = "risk to one person at the worst spot", limits["individual_risk"]
        figures.append((name, worst.area, worst.risk, bound))
    checks = [
        Check(
            name=name,
            case=ALL_CASES,
            area=area,
            value=p.estimate,
            interval=(p.lower, p.upper),
            limit=limit.value,
            unit="per flight",
            outcome=at_most((p.lower, p.upper), limit.value),
            source=limit.source,
        )
        for name, area, p, limit in figures
    ]
    checks = [
        replace(check, outcome="warn")
        if check.area and check.outcome == "fail"
        else check
        for check in checks
    ]
    checks += [
        Check(
            name="head count not known, so no casualties were counted",
            area=area,
            outcome="warn",
            source="missing input",
        )
        for area in harm.casualties.uncounted
    ]
    return checks


def _ground(cloud: Cloud, site: Site, limits: Mapping[str, Limit]) -> list[Check]:
    checks = []
    for what, key, shape in (
        ("boundary", "outside_boundary", site.boundary),
        ("waiver", "outside_waiver", site.waiver.shape),
    ):
        p = mixture(cloud, struck(cloud, outside(shape)))
        name = f"a piece lands outside the {what}"
        checks.append(_share(name, ALL_CASES, what, p, limits[key]))
    return checks


def _ceiling(cloud: Cloud, site: Site, limits: Mapping[str, Limit]) -> Check:
    over = int((cloud.apogee.height > site.waiver.ceiling).sum())
    p = binomial(over, cloud.flights)
    name = "apogee above the waiver's ceiling"
    return _share(name, ALL_CASES, "waiver", p, limits["above_ceiling"])


def _on_the_way(cloud: Cloud, site: Site, limits: Mapping[str, Limit]) -> list[Check]:
    """Hold the way up against the waiver's cylinder and the heads of people."""
    out, paths = out_of_waiver(cloud, site.waiver), ways_up(cloud)
    limit = limits["outside_waiver"]
    name = "the way up leaves the waiver's cylinder"
    return [
        _share(name, ALL_CASES, "waiver", out, limit),
        *(
            _share(
                "the way up passes over",
                ALL_CASES,
                area.name,
                passing_over(paths, area.shape),
                limits["overflight"],
            )
            for area in site.areas
            if area.role in OCCUPIED or area.people
        ),
    ]


def _recovery(cloud: Cloud, limits: Mapping[str, Limit]) -> list[Check]:
    """Hold what the flight does to itself against its limits."""
    works = [c.probability for c in cloud.tree.cases if c.name == WORKS]
    fails = 1.0 - sum(works)
    checks = [
        _exact("recovery does not work", fails, "share", limits["recovery_fails"])
    ]
    if any(name.startswith("flutter of") for name in cloud.margins):
        flutter = binomial(int(cloud.fluttered.sum()), cloud.flights)
        limit = limits["fins_flutter_off"]
        checks.append(_share("fins flutter off", ALL_CASES, "", flutter, limit))
    if works:
        rows = next(cloud.of(WORKS)).rows
        sinking = cloud.speed[rows] * np.sin(cloud.angle[rows])
        low, middle, high = (float(v) for v in np.quantile(sinking, [0.05, 0.5, 0.95]))
        limit = limits["descent_speed"]
        checks.append(
            Check(
                name="descent at landing when recovery works",
                value=middle,
                interval=(low, high),
                limit=limit.value,
                unit="m/s",
                outcome=at_most((low, high), limit.value),
                source=limit.source,
            )
        )
    return checks


def _rail(cloud: Cloud, limits: Mapping[str, Limit]) -> list[Check]:
    tilt = float(np.degrees(cloud.plan.flight.rail.angle.value))
    over_wind = cloud.rail_speed / np.maximum(cloud.rail_wind, 0.1)
    return [
        _exact("rail's tilt from the vertical", tilt, "deg", limits["rail_tilt"]),
        _reaches(
            "speed leaving the rail", cloud.rail_speed, "m/s", limits["rail_speed"]
        ),
        _reaches(
            "rail speed over the wind's speed",
            over_wind,
            "times",
            limits["rail_speed_over_wind"],
        ),
    ]


def _exact(name: str, value: float, unit: str, limit: Limit) -> Check:
    """Compare a figure that is known; beyond its limit it fails."""
    return Check(
        name=name,
        value=value,
        interval=(value, value),
        limit=limit.value,
        unit=unit,
        outcome=at_most((value, value), limit.value),
        source=limit.source,
    )


def _reaches(name: str, values: FloatArray, unit: str, limit: Limit) -> Check:
    """Compare the middle of flights with a least value, and then the slowest of them."""
    low, middle, high = (float(v) for v in np.quantile(values, [0.05, 0.5, 0.95]))
    outcome: Outcome = at_least((low, high), limit.value)
    if middle < limit.value:
        outcome = "fail"
    return Check(
        name=name,
        value=middle,
        interval=(low, high),
        limit=limit.value,
        unit=unit,
        outcome=outcome,
        source=limit.source,
        sense="least",
    )


def _wind(cloud: Cloud, wind: WindProfile, limits: Mapping[str, Limit]) -> list[Check]:
    speed = float(np.hypot(*wind.at(10.0)))
    error = 2 * float(np.interp(10.0, wind.height, wind.error))
    low = (level for level in wind.levels if level.height <= _NEAR_GROUND)
    gust = max((level.gust or 0.0 for level in low), default=0.0)
    interval = (max(speed - error, 0.0), max(speed + error, gust))
    limit = limits["surface_wind"]
    surface = Check(
        name="wind at 10 m",
        value=speed,
        interval=interval,
        limit=limit.value,
        unit="m/s",
        outcome="fail" if speed > limit.value else at_most(interval, limit.value),
        source=limit.source,
    )
    top = float(np.quantile(cloud.apogee.height, 0.95))
    gap = _exact(
        "height flown above the highest wind known",
        max(0.0, top - wind.known_to),
        "m",
        limits["wind_gap"],
    )
    if gap.outcome == "fail":  # not known is no reason against, but none for either
        gap = replace(gap, outcome="warn")
    return [surface, gap, *_lowest(wind), *_age(wind, limits["wind_age"])]


def _lowest(wind: WindProfile) -> list[Check]:
    """Hold where no wind was read near the ground."""
    lowest = wind.read_from or 0.0
    if lowest <= _NEAR_GROUND:
        return []
    return [
        Check(
            name="no wind read near the ground",
            value=lowest,
            interval=(lowest, lowest),
            limit=_NEAR_GROUND,
            unit="m",
            outcome="warn",
            source="default of this tool, no source",
            note="add a reading at head height",
        )
    ]


def _age(wind: WindProfile, limit: Limit) -> list[Check]:
    """Hold on a wind that is old, or whose report has a time but the flight has none."""
    if wind.age is None:
        if not wind.dated:
            return []
        return [
            Check(
                name="age of the wind: the report has a time, the flight has none",
                outcome="warn",
                source=limit.source,
                note="give the time of the flight with --when",
            )
        ]
    hours = replace(limit, value=limit.value / 3600)
    check = _exact("age of the wind", float(wind.age), "h", hours)
    return [replace(check, outcome="warn") if check.outcome == "fail" else check]


def _missing(cloud: Cloud) -> list[Check]:
    """Hold where a failure could not be flown."""
    return [
        Check(name=text, outcome="warn", source="missing input")
        for text in cloud.tree.missing
    ]


def _rule(result: RuleResult) -> Check:
    """Turn a line of the rules into a check; what is not answered holds."""
    value = result.value
    governs = f"; {result.governs}" if result.governs else ""
    return Check(
        name=result.what,
        area=result.area,
        value=value,
        interval=None if value is None else (value, value),
        limit=result.limit,
        unit=result.unit,
        outcome="warn" if result.outcome == "ask" else result.outcome,
        source=f"{result.rules}: {result.source}",
        sense="least" if result.sense == "at least" else "most",
        note=result.why + governs,
        question=result.outcome == "ask",
    )
