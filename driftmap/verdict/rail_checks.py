"""Checks of the rail, and of how steadily a rocket leaves it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import inf
from typing import Final

import numpy as np

from driftmap.air.atmosphere import FloatArray
from driftmap.air.wind import WindProfile
from driftmap.montecarlo.cloud import Cloud
from driftmap.rocket.balance import Balance
from driftmap.rules import surface_wind
from driftmap.verdict.check import Check, Kind, Outcome, at_least
from driftmap.verdict.comparing import exact
from driftmap.verdict.limits import Limit

__all__ = ["rail_checks"]


_TOO_STEADY: Final = 6.0  # calibres; no flier aims for more: common practice, no source

_IN_A_GUST: Final = 0.75
"""Share of the least rail speed over the wind that the slowest flights must reach: the rule
of thumb is made for the wind as read, and these meet its gusts and its error; assumed."""


def rail_checks(
    cloud: Cloud, wind: WindProfile, limits: Mapping[str, Limit]
) -> list[Check]:
    """Hold the rail's tilt and the speed on leaving it against their limits."""
    tilt = float(np.degrees(cloud.plan.flight.rail.angle.value))
    limit = limits["rail_tilt"]  # a file's own; the code's is a line of the rules
    over_wind = cloud.rail_speed / np.maximum(cloud.rail_wind, 0.1)
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
    ]


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
    note = ""
    if middle > _TOO_STEADY and outcome == "pass":
        outcome, note = "warn", "a margin so large is a slip of the pen, or wrong fins"
    return replace(
        check, value=middle, interval=(low, high), outcome=outcome, note=note
    )


def _in_a_gust(check: Check, speed: float, wind: WindProfile) -> Check:
    """Let the lower end of the interval be that of a launch in a gust."""
    assert check.interval is not None
    assert check.limit is not None
    if wind.gust == 0:
        return check
    low, high = check.interval
    mean, _ = surface_wind(wind)
    interval = (min(low, speed / (mean + wind.gust)), high)
    outcome = check.outcome
    if outcome == "pass":
        outcome = at_least(interval, _IN_A_GUST * check.limit)
    return replace(check, interval=interval, outcome=outcome)


def _reaches(
    kind: Kind, values: FloatArray, unit: str, limit: Limit, *, slowest: float = 1.0
) -> Check:
    """Compare the middle of flights with a least value, and the slowest with a share of it."""
    low, middle, high = (float(v) for v in np.quantile(values, [0.05, 0.5, 0.95]))
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
