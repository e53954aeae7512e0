"""Checks of the wind and of how well it is known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import inf
from typing import Final

import numpy as np

from driftmap.air.wind import WindProfile
from driftmap.montecarlo.cloud import Cloud
from driftmap.rules import surface_wind
from driftmap.verdict.check import Check, Kind, at_most
from driftmap.verdict.comparing import exact
from driftmap.verdict.limits import Limit

__all__ = ["wind_checks"]

_NEAR_GROUND: Final = 60.0  # m; the surface-layer law reaches the ground from there


def wind_checks(
    cloud: Cloud, wind: WindProfile, limits: Mapping[str, Limit]
) -> list[Check]:
    """Hold the surface wind against a limit of its own, and how well the wind is known."""
    top = float(np.quantile(cloud.apogee.height, 0.95))
    gap = exact(
        Kind.WIND_GAP,
        max(0.0, top - wind.known_to),
        "m",
        limits["wind_gap"],
    )
    if gap.outcome == "fail":  # not known is no reason against, but none for either
        gap = replace(gap, outcome="warn")
    return [
        *_surface(wind, limits["surface_wind"]),
        gap,
        *_lowest(wind),
        *_age(wind, limits["wind_age"]),
    ]


def _surface(wind: WindProfile, limit: Limit) -> list[Check]:
    """Hold the wind against a limit of a file's own; the code's is a line of the rules."""
    if limit.value == inf:
        return []
    speed, ends = surface_wind(wind)
    outcome = "fail" if speed > limit.value else at_most(ends, limit.value)
    return [
        Check(
            kind=Kind.SURFACE_WIND,
            value=speed,
            interval=ends,
            limit=limit.value,
            unit="m/s",
            outcome=outcome,
            source=limit.source,
        )
    ]


def _lowest(wind: WindProfile) -> list[Check]:
    """Hold where no wind was read near the ground."""
    lowest = wind.read_from or 0.0
    if lowest <= _NEAR_GROUND:
        return []
    return [
        Check(
            kind=Kind.WIND_NEAR_GROUND,
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
                kind=Kind.WIND_UNDATED,
                outcome="warn",
                source=limit.source,
                note="give the time of the flight with --when",
            )
        ]
    hours = replace(limit, value=limit.value / 3600)
    check = exact(Kind.WIND_AGE, float(wind.age), "h", hours)
    return [replace(check, outcome="warn") if check.outcome == "fail" else check]
