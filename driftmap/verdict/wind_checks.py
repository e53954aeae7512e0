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
_ASSUMED: Final = "default of this tool, no source"


def wind_checks(
    cloud: Cloud, wind: WindProfile, limits: Mapping[str, Limit]
) -> list[Check]:
    """Hold the surface wind against a limit of its own, and how well the wind is known."""
    return [
        *_surface(wind, limits["surface_wind"]),
        *_aloft(cloud, wind, limits),
        *_lowest(wind),
        *_age(wind, limits["wind_age"]),
        *_warned(wind),
    ]


def _aloft(cloud: Cloud, wind: WindProfile, limits: Mapping[str, Limit]) -> list[Check]:
    """Hold where the flight is far from any height at which the wind was read.

    Not known is no reason against a flight, but none for it either: these never fail.
    """
    top = float(np.quantile(cloud.apogee.height, 0.95))
    gap, layer = limits["wind_gap"], limits["wind_layer"]
    deepest = max(
        (
            high - low
            for low, high in zip(wind.read[:-1], wind.read[1:], strict=True)
            if top - low > gap.value
        ),
        default=0.0,
    )
    checks = [
        exact(Kind.WIND_GAP, max(0.0, top - wind.known_to), "m", gap),
        exact(Kind.WIND_LAYER, deepest, "m", layer),
    ]
    return [_never_against(check) for check in checks]


def _never_against(check: Check) -> Check:
    return replace(check, outcome="warn") if check.outcome == "fail" else check


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
            source=_ASSUMED,
            note="add a reading at head height",
        )
    ]


def _age(wind: WindProfile, limit: Limit) -> list[Check]:
    """Hold on a wind that is old, or of which nobody said when it was read."""
    if wind.undated or wind.age is None:
        named = ", ".join(wind.undated) or wind.source or "the wind"
        return [
            Check(
                kind=Kind.WIND_UNDATED,
                outcome="warn",
                source=limit.source,
                note=f"say when it was read: {named}",
            )
        ]
    hours = replace(limit, value=limit.value / 3600)
    return [_never_against(exact(Kind.WIND_AGE, float(wind.age), "h", hours))]


def _warned(wind: WindProfile) -> list[Check]:
    """Hold on what the reports warn of, and where they disagree."""
    return [
        Check(kind=Kind.WIND_WARNED, name=said, outcome="warn", source=_ASSUMED)
        for said in wind.warned
    ]
