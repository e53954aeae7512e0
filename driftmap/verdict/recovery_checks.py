"""Checks of what the flight does to itself."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from driftmap.failures.cases import WORKS
from driftmap.hazard.probability import binomial
from driftmap.montecarlo.cloud import Cloud
from driftmap.verdict.check import ALL_CASES, Check, Kind, at_most
from driftmap.verdict.comparing import exact, share
from driftmap.verdict.limits import Limit

__all__ = ["missing_checks", "recovery_checks"]


def recovery_checks(cloud: Cloud, limits: Mapping[str, Limit]) -> list[Check]:
    """Hold what the flight does to itself against its limits."""
    works = [c.probability for c in cloud.tree.cases if c.name == WORKS]
    fails = 1.0 - sum(works)
    checks = [exact(Kind.RECOVERY_FAILS, fails, "share", limits["recovery_fails"])]
    if any(name.startswith("flutter of") for name in cloud.margins):
        flutter = binomial(int(cloud.fluttered.sum()), cloud.flights)
        limit = limits["fins_flutter_off"]
        checks.append(share(Kind.FLUTTER, ALL_CASES, "", flutter, limit))
    if works:
        rows = next(cloud.of(WORKS)).rows
        sinking = cloud.speed[rows] * np.sin(cloud.angle[rows])
        low, middle, high = (float(v) for v in np.quantile(sinking, [0.05, 0.5, 0.95]))
        limit = limits["descent_speed"]
        checks.append(
            Check(
                kind=Kind.DESCENT,
                value=middle,
                interval=(low, high),
                limit=limit.value,
                unit="m/s",
                outcome=at_most((low, high), limit.value),
                source=limit.source,
            )
        )
    return checks


def missing_checks(cloud: Cloud) -> list[Check]:
    """Hold where a failure could not be flown."""
    return [
        Check(kind=Kind.MISSING, name=text, outcome="warn", source="missing input")
        for text in cloud.tree.missing
    ]
