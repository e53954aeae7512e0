"""Checks of the rail, of how steadily a rocket leaves it, and of how well the wind is known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import inf
from typing import Final

import numpy as np

from driftmap.air.wind import WindProfile
from driftmap.core.checks import FloatArray
from driftmap.montecarlo.cloud import Cloud
from driftmap.montecarlo.margins import ends
from driftmap.rocket.balance import Balance
from driftmap.rules import expected_altitude, surface_wind
from driftmap.verdict.check import Check, Kind, Outcome, at_least, at_most, exact
from driftmap.verdict.limits import Limit

__all__ = ["rail_checks", "wind_checks"]

_CALM: Final = 0.1  # m/s; a rail speed over less says nothing

_IN_A_GUST: Final = 0.75
"""Share of the least rail speed over the wind that the slowest flights must reach: the rule
of thumb is made for the wind as read, and these meet its gusts and its error; assumed."""


def rail_checks(
    cloud: Cloud, wind: WindProfile, limits: Mapping[str, Limit]
) -> list[Check]:
    """Hold the rail's tilt and the speed on leaving it against their limits."""
    tilt = float(np.degrees(cloud.plan.flight.rail.angle.value))
    limit = limits["rail_tilt"]  # a file's own; the code's is a line of the rules
    over_wind = cloud.rail_speed / np.maximum(cloud.rail_wind, _CALM)
    return [
        *([] if limit.value == inf else [exact(Kind.RAIL_TILT, tilt, "deg", limit)]),
        _reaches(Kind.RAIL_SPEED, cloud.rail_speed, "m/s", limits["rail_speed"]),
        _in_a_gust(
            _reaches(
                Kind.RAIL_OVER_WIND,
                over_wind,
                "times",
                limits["rail_speed_over_wind"],
                slowest=_IN_A_GUST,
            ),
            float(np.median(cloud.rail_speed)),
            wind,
        ),
        _steady(cloud.plan.balance, limits["static_margin"]),
        *_upper_steady(cloud.plan.upper_balance, limits["static_margin"]),
    ]


def _upper_steady(balance: Balance | None, limit: Limit) -> list[Check]:
    """Hold an upper stage that may not be stable by itself."""
    if balance is None:
        return []
    check = _steady(balance, limit)
    name = "static margin of the sustainer"
    told = f"{name} not known" if not balance.known else name
    note = check.note.replace("airframe.", "sustainer.")
    return [replace(check, name=told, note=note)]


def _steady(balance: Balance, limit: Limit) -> Check:
    """Hold a rocket that may not be stable, or of which nobody said."""
    low, middle, high = balance.margin
    check = Check(
        kind=Kind.STATIC_MARGIN,
        name="" if balance.known else "static margin not known",
        limit=limit.value,
        unit="cal",
        outcome="warn",
        source=limit.source,
        sense="least",
        note="state airframe.stability, or centre_of_mass and the fins' shape",
    )
    if not balance.known:
        return check
    outcome = at_least((low, high), limit.value)
    return replace(check, value=middle, interval=(low, high), outcome=outcome, note="")


def _in_a_gust(check: Check, speed: float, wind: WindProfile) -> Check:
    """Let the lower end of the interval be that of a launch in a gust."""
    assert check.interval is not None
    assert check.limit is not None
    low, high = check.interval
    mean, _ = surface_wind(wind)
    interval = (min(low, speed / max(mean + wind.gust, _CALM)), high)
    outcome = check.outcome
    if outcome == "pass":
        outcome = at_least(interval, _IN_A_GUST * check.limit)
    return replace(check, interval=interval, outcome=outcome)


def _reaches(
    kind: Kind, values: FloatArray, unit: str, limit: Limit, *, slowest: float = 1.0
) -> Check:
    """Compare the middle of flights with a least value, and the slowest with a share of it."""
    low, middle, high = ends(values)
    outcome: Outcome = at_least((low, high), slowest * limit.value)
    if middle < limit.value:
        outcome = "fail"
    return Check(
        kind=kind,
        value=middle,
        interval=(low, high),
        limit=limit.value,
        unit=unit,
        outcome=outcome,
        source=limit.source,
        sense="least",
    )


_NEAR_GROUND: Final = 60.0  # m; the surface-layer law reaches the ground from there
_ASSUMED: Final = "default of this tool, no source"
_CLEAR: Final = (
    "safety codes of associations: into no cloud (from memory); the height reported "
    "above its station counts as above the pad (assumed)"
)


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
        *_into_cloud(cloud, wind),
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
    lowest = wind.read_from
    assert lowest is not None  # a profile fills it in
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
    """Hold on what the reports warn of, and where they disagree; tell what was set aside."""
    warned = [
        Check(kind=Kind.WIND_WARNED, name=said, outcome="warn", source=_ASSUMED)
        for said in wind.warned
    ]
    if not wind.aside:
        return warned
    aside = Check(
        kind=Kind.WIND_WARNED,
        name=wind.aside,
        outcome="pass",
        source="whoever set it aside answers for it",
        beside=True,
    )
    return [*warned, aside]


def _into_cloud(cloud: Cloud, wind: WindProfile) -> list[Check]:
    """Hold where the flight goes up into cloud that hides most of the sky.

    What is reported above a station some way off is for people to see: it never fails.
    """
    if wind.cloud_base is None:
        return []
    top = expected_altitude(cloud)
    base = Limit(wind.cloud_base, "length", "low", _CLEAR)
    return [_never_against(exact(Kind.INTO_CLOUD, top, "m", base))]
