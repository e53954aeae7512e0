"""Every check with its figure, its limit and its source; and go, hold or no-go."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from driftmap.atmosphere import FloatArray
from driftmap.cases import WORKS
from driftmap.cloud import Cloud
from driftmap.hazard import Probability, binomial, inside, mixture, outside, per_case
from driftmap.limits import Limit
from driftmap.site import OCCUPIED, Area, Site
from driftmap.wind import WindProfile

__all__ = ["ALL_CASES", "AreaHit", "Check", "Outcome", "decide", "judge"]

Outcome = Literal["pass", "warn", "fail"]
Verdict = Literal["go", "hold", "no-go"]

ALL_CASES: Final = "all cases"
_KEPT_CLEAR: Final = ("building", "road", "railway", "airport", "closed ground")
"""Roles nobody may be hit in though no head count is given."""


@dataclass(frozen=True, slots=True)
class Check:
    """One line of the verdict.

    Parameters
    ----------
    name : str
        What was checked.
    case, area : str
        Which case and which area; empty where there is none.
    value : float
        The figure.
    interval : (float, float)
        Its interval.
    limit : float
        What it is compared with.
    unit : str
        Unit of the three.
    outcome : {"pass", "warn", "fail"}
        Within the limit, not surely so, or over it.
    source : str
        Where the limit comes from.
    """

    name: str
    case: str
    area: str
    value: float
    interval: tuple[float, float]
    limit: float
    unit: str
    outcome: Outcome
    source: str


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
    cloud: Cloud, site: Site, wind: WindProfile, limits: Mapping[str, Limit]
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
        From `driftmap.limits.read_limits`.

    Returns
    -------
    checks : tuple of Check
        Every line.
    areas : tuple of AreaHit
        Probabilities for every area, checked or not.
    """
    areas = []
    for area in site.areas:
        cases = per_case(cloud, inside(area.shape))
        areas.append(AreaHit(area, mixture(cloud, cases), cases))
    checks = [
        *(check for hit in areas for check in _people(hit, limits)),
        *_ground(cloud, site, limits),
        _ceiling(cloud, site, limits),
        *_rail(cloud, limits),
        *_wind(cloud, wind, limits),
        *_missing(cloud),
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


def _below(interval: tuple[float, float], limit: float) -> Outcome:
    """Compare a figure that must not exceed its limit."""
    lower, upper = interval
    if not (np.isfinite(lower) and np.isfinite(upper)):
        return "warn"
    if upper <= limit:
        return "pass"
    return "fail" if lower > limit else "warn"


def _share(name: str, case: str, area: str, p: Probability, limit: Limit) -> Check:
    interval = (p.lower, p.upper)
    outcome = _below(interval, limit.value)
    return Check(
        name,
        case,
        area,
        p.estimate,
        interval,
        limit.value,
        "share",
        outcome,
        limit.source,
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


def _ground(cloud: Cloud, site: Site, limits: Mapping[str, Limit]) -> list[Check]:
    checks = []
    for what, key, shape in (
        ("boundary", "outside_boundary", site.boundary),
        ("waiver", "outside_waiver", site.waiver.shape),
    ):
        p = mixture(cloud, per_case(cloud, outside(shape)))
        checks.append(
            _share(f"a piece lands outside the {what}", ALL_CASES, what, p, limits[key])
        )
    return checks


def _ceiling(cloud: Cloud, site: Site, limits: Mapping[str, Limit]) -> Check:
    over = int((cloud.apogee.height > site.waiver.ceiling).sum())
    p = binomial(over, cloud.flights)
    name = "apogee above the waiver's ceiling"
    return _share(name, ALL_CASES, "waiver", p, limits["above_ceiling"])


def _rail(cloud: Cloud, limits: Mapping[str, Limit]) -> list[Check]:
    rail = cloud.plan.flight.rail
    tilt, limit = float(np.degrees(rail.angle.value)), limits["rail_tilt"]
    return [
        Check(
            "rail's tilt from the vertical",
            "",
            "",
            tilt,
            (tilt, tilt),
            limit.value,
            "deg",
            _below((tilt, tilt), limit.value),
            limit.source,
        ),
        _at_least(
            "speed leaving the rail", cloud.rail_speed, limits["rail_speed"], "m/s"
        ),
        _at_least(
            "that speed over the wind's",
            cloud.rail_speed / np.maximum(cloud.rail_wind, 0.1),
            limits["rail_speed_over_wind"],
            "times",
        ),
    ]


def _at_least(name: str, values: FloatArray, limit: Limit, unit: str) -> Check:
    """Compare the middle 90 % of flights with a least value."""
    low, middle, high = (float(v) for v in np.quantile(values, [0.05, 0.5, 0.95]))
    outcome: Outcome = "warn"
    if low >= limit.value:
        outcome = "pass"
    elif middle < limit.value:
        outcome = "fail"
    return Check(
        name, "", "", middle, (low, high), limit.value, unit, outcome, limit.source
    )


def _wind(cloud: Cloud, wind: WindProfile, limits: Mapping[str, Limit]) -> list[Check]:
    east, north = wind.at(10.0)
    speed, error = float(np.hypot(east, north)), float(wind.error[0])
    limit = limits["surface_wind"]
    # The reading itself is compared, as the code does; its error widens the interval.
    over = speed > limit.value
    surface = Check(
        "wind at 10 m",
        "",
        "",
        speed,
        (max(speed - 2 * error, 0.0), speed + 2 * error),
        limit.value,
        "m/s",
        "fail" if over else "pass",
        limit.source,
    )
    top = float(np.quantile(cloud.apogee.height, 0.95))
    gap, limit = max(0.0, top - wind.known_to), limits["wind_gap"]
    known = Check(
        "height flown above the highest wind known",
        "",
        "",
        gap,
        (gap, gap),
        limit.value,
        "m",
        "pass" if gap <= limit.value else "warn",
        limit.source,
    )
    return [surface, known, *_age(wind, limits["wind_age"])]


def _age(wind: WindProfile, limit: Limit) -> list[Check]:
    if wind.age is None:
        return []
    hours, most = float(wind.age), limit.value / 3600
    outcome: Outcome = "pass" if hours <= most else "warn"
    source = limit.source
    return [
        Check(
            "age of the wind", "", "", hours, (hours, hours), most, "h", outcome, source
        )
    ]


def _missing(cloud: Cloud) -> list[Check]:
    """Hold where a failure could not be flown."""
    return [
        Check(text, "", "", 1.0, (1.0, 1.0), 0.0, "cases", "warn", "missing input")
        for text in cloud.tree.missing
    ]
