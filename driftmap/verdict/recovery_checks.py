"""Checks of what the flight does to itself."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np

from driftmap.failures.cases import BARE, WORKS
from driftmap.hazard.probability import binomial
from driftmap.montecarlo.cloud import Cloud
from driftmap.verdict.check import ALL_CASES, Check, Kind, Outcome, at_most
from driftmap.verdict.comparing import share
from driftmap.verdict.limits import LIMITS, Limit
from driftmap.verdict.opening_checks import opening_checks

__all__ = ["missing_checks", "recovery_checks"]


_TOO_FAST: Final = 20.0  # m/s on landing; beyond it, by default, it fails. Assumed
_TWICE: Final = 2.0  # times the default share of failures; beyond it, it fails


def recovery_checks(cloud: Cloud, limits: Mapping[str, Limit]) -> list[Check]:
    """Hold what the flight does to itself against its limits."""
    checks = [_fails(cloud, limits["recovery_fails"]), *_none_planned(cloud)]
    if any(name.startswith("flutter of") for name in cloud.margins):
        flutter = binomial(int(cloud.fluttered.sum()), cloud.flights)
        limit = limits["fins_flutter_off"]
        checks.append(share(Kind.FLUTTER, ALL_CASES, "", flutter, limit))
    if any(True for _ in cloud.of(WORKS)):
        checks.append(_descent(cloud, limits))
    return [*checks, *opening_checks(cloud, limits)]


def _fails(cloud: Cloud, limit: Limit) -> Check:
    """Give the share of flights whose recovery does not work, with its interval.

    It is exact where no opening can give and no fin can flutter, else sampled.
    """
    case = next((c for c in cloud.tree.cases if c.name in (WORKS, BARE)), None)
    if case is None:
        low, value, high = 1.0, 1.0, 1.0
    else:
        given = case.probability / case.likelihood
        ends = given, given
        if case.only or cloud.fluttered.any():
            held = binomial(round(given * cloud.flights), cloud.flights)
            ends = held.lower, held.upper
        # What goes wrong under power is no failure of recovery.
        works = 1 - sum(c.probability for c in cloud.tree.cases if c.any_way)
        low, high = (works - case.likelihood * end for end in reversed(ends))
        value = works - case.probability
    default = limit is LIMITS["recovery_fails"]
    return Check(
        kind=Kind.RECOVERY_FAILS,
        value=value,
        interval=(low, high),
        limit=limit.value,
        unit="share",
        outcome=_tiered(
            (low, high), limit.value, limit.value * _TWICE, default=default
        ),
        source=limit.source,
    )


def _none_planned(cloud: Cloud) -> Iterator[Check]:
    """Hold a flight that is planned without recovery: people decide on that."""
    descent = cloud.plan.flight.descent
    if descent is not None:
        part = next(cloud.of(BARE))
        energy = float(np.median(cloud.energy[part.rows]))
        speed = float(np.median(cloud.speed[part.rows]))
        yield Check(
            kind=Kind.NO_RECOVERY,
            name=f"no recovery is planned: it comes down {descent.planned}",
            outcome="warn",
            source="default of this tool, no source",
            note=f"it strikes at {speed:.0f} m/s with {energy:,.0f} J",
        )


def _descent(cloud: Cloud, limits: Mapping[str, Limit]) -> Check:
    """Hold the speed of landing when recovery works; a streamer's may be higher."""
    canopy = any(d.kind == "canopy" for d in cloud.plan.flight.recovery)
    key = "descent_speed" if canopy else "descent_speed_streamer"
    limit = limits[key]
    rows = next(cloud.of(WORKS)).rows
    sinking = cloud.speed[rows] * np.sin(cloud.angle[rows])
    low, middle, high = (float(v) for v in np.quantile(sinking, [0.05, 0.5, 0.95]))
    default = limit is LIMITS[key]
    return Check(
        kind=Kind.DESCENT,
        value=middle,
        interval=(low, high),
        limit=limit.value,
        unit="m/s",
        outcome=_tiered((low, high), limit.value, _TOO_FAST, default=default),
        source=limit.source,
    )


def _tiered(
    interval: tuple[float, float], limit: float, far: float, *, default: bool
) -> Outcome:
    """Compare with a limit; beyond one of this tool's own it only holds until far beyond."""
    outcome = at_most(interval, limit)
    if default and outcome == "fail" and at_most(interval, far) != "fail":
        return "warn"
    return outcome


def missing_checks(cloud: Cloud) -> list[Check]:
    """Hold where a failure could not be flown."""
    return [
        Check(kind=Kind.MISSING, name=text, outcome="warn", source="missing input")
        for text in cloud.tree.missing
    ]
