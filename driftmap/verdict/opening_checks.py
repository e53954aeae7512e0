"""Checks of every planned opening: its speed, its load, and whether thrust is over."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np

from driftmap.air.atmosphere import FloatArray
from driftmap.failures.cases import WORKS
from driftmap.hazard.probability import binomial
from driftmap.montecarlo.cloud import Cloud
from driftmap.montecarlo.openings import OPENED
from driftmap.rocket.flight import Device
from driftmap.verdict.check import Check, Kind, Outcome, at_most
from driftmap.verdict.limits import Limit

__all__ = ["opening_checks"]

_TOO_FAST: Final = 60.0  # m/s; a canopy of unknown strength is then taken as lost
_TOO_HARD: Final = 50.0  # weights of what hangs on it; likewise
_ZIPPER: Final = "beyond some 20 m/s a thin cord may cut the edge of the tube (common practice, no source)"
_UNSTATED: Final = (
    "; its strength is not stated, and more than that is for nobody to trust"
)
_STATED: Final = "; the strength stated decides, and cord and tube suffer beyond it"


def opening_checks(cloud: Cloud, limits: Mapping[str, Limit]) -> list[Check]:
    """Hold what every device meets that opens as planned against what it may bear.

    A device of unknown strength that opens beyond the limits holds, far beyond them it
    fails. Where strengths are stated the load branches the cases, so the lines here only
    hold.
    """
    devices = {device.name: device for device in cloud.plan.flight.recovery}
    checks: list[Check] = []
    for (cause, name), opened in cloud.openings.items():
        if cause == WORKS:
            rows = dict(zip(OPENED, opened, strict=True))
            checks += _of(devices[name], rows, limits)
    return checks


def _of(
    device: Device, rows: Mapping[str, FloatArray], limits: Mapping[str, Limit]
) -> Iterator[Check]:
    slow, hard = limits["opening_speed"], limits["opening_load"]
    fast_limit, load_limit = slow.value, hard.value
    stated = bool(device.strength)
    told = _STATED if stated else _UNSTATED
    if stated:
        fast_limit = max(fast_limit, _TOO_FAST)
        weight = float(np.median(rows["load"] / rows["weights"]))
        load_limit = min(device.strength.values()) / weight
    yield _line(
        Kind.OPENING_SPEED,
        f"speed at opening of {device.name}",
        rows["speed"],
        (fast_limit, np.inf if stated else _TOO_FAST),
        "m/s",
        slow.source + told,
        note=_ZIPPER,
    )
    yield _line(
        Kind.OPENING_LOAD,
        f"load of opening of {device.name}",
        rows["weights"],
        (load_limit, np.inf if stated else _TOO_HARD),
        "times its weight",
        "the weakest strength stated" if stated else hard.source + told,
    )
    burning = int(np.count_nonzero(rows["after_burnout"] <= 0))
    if burning:
        share = binomial(burning, rows["speed"].size)
        yield Check(
            kind=Kind.OPENING_THRUST,
            name=f"{device.name} opens while the motor burns",
            value=share.estimate,
            interval=(share.lower, share.upper),
            limit=0.0,
            unit="share",
            outcome="fail",
            source="default of this tool, no source",
            note="a trigger must come after burnout",
        )


def _line(
    kind: Kind,
    name: str,
    values: FloatArray,
    limits: tuple[float, float],
    unit: str,
    source: str,
    note: str = "",
) -> Check:
    """Hold beyond the first limit; fail where most flights are beyond the second."""
    low, middle, high = (float(v) for v in np.quantile(values, [0.05, 0.5, 0.95]))
    outcome: Outcome = at_most((low, high), limits[0])
    if outcome != "pass":
        outcome = "fail" if middle > limits[1] else "warn"
    return Check(
        kind=kind,
        name=name,
        value=middle,
        interval=(low, high),
        limit=limits[0],
        unit=unit,
        outcome=outcome,
        source=source,
        note=note,
    )
