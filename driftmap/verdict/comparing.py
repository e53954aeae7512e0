"""Checks made from a figure and its limit."""

from __future__ import annotations

from driftmap.hazard.probability import Probability
from driftmap.verdict.check import Check, Kind, at_most
from driftmap.verdict.limits import Limit

__all__ = ["exact", "share"]


def share(kind: Kind, case: str, area: str, p: Probability, limit: Limit) -> Check:
    """Compare a share of flights with the most it may be."""
    interval = (p.lower, p.upper)
    return Check(
        kind=kind,
        case=case,
        area=area,
        value=p.estimate,
        interval=interval,
        limit=limit.value,
        unit="share",
        outcome=at_most(interval, limit.value),
        source=limit.source,
    )


def exact(kind: Kind, value: float, unit: str, limit: Limit) -> Check:
    """Compare a figure that is known; beyond its limit it fails."""
    return Check(
        kind=kind,
        value=value,
        interval=(value, value),
        limit=limit.value,
        unit=unit,
        outcome=at_most((value, value), limit.value),
        source=limit.source,
    )
