"""Which way to lean the rail so that a fall that can maim does not reach people."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from math import degrees, pi
from typing import Final

import numpy as np
import shapely

from driftmap.air.wind import WindProfile
from driftmap.errors import DriftmapError
from driftmap.ground.site import Site
from driftmap.hazard.overhead import passing_over, ways_up
from driftmap.montecarlo.cloud import Cloud, Steered, fly
from driftmap.verdict.check import Check, Kind
from driftmap.verdict.consequence_checks import under_the_fall

__all__ = ["with_clear_aim"]

_FLIGHTS: Final = 300
_TURNS: Final = 8
_TILTS: Final = (10.0,)  # deg, beside the tilt as planned
_OVERHEAD: Final = 0.01  # of flights; the default limit on passing over people


def with_clear_aim(
    checks: Iterable[Check], cloud: Cloud, site: Site, wind: WindProfile
) -> tuple[Check, ...]:
    """Tell, beside who stands under a fall, the aim that would keep it off them.

    Every aim told has been flown, with few flights and for one failure, the worst and
    commonest of those that stand there: it is a hint where to look, and a verdict of its
    own is still owed.
    """
    checks = tuple(checks)
    under = [check for check in checks if check.kind is Kind.UNDER_THE_FALL]
    if not under:
        return checks
    chance = {case.name: case.probability for case in cloud.tree.cases}
    worst = min(under, key=lambda c: (c.outcome == "pass", -chance[c.case]))
    told = _told(worst.case, cloud, site, wind)
    note = f"{worst.note}; {told}"
    return tuple(replace(c, note=note) if c is worst else c for c in checks)


def _told(case: str, cloud: Cloud, site: Site, wind: WindProfile) -> str:
    for tilt, azimuth in _aims(cloud):
        if _clear(case, tilt, azimuth, cloud, site, wind):
            return (
                f"a rail {degrees(tilt):.0f}° from the vertical toward "
                f"{degrees(azimuth):03.0f}° would keep its 90 % line off people; "
                "judge that by itself"
            )
    return "no other aim that was tried keeps its 90 % line off people"


def _aims(cloud: Cloud) -> Iterator[tuple[float, float]]:
    """Give tilts, the least first, each about the compass."""
    planned = cloud.plan.flight.rail.angle.value
    for tilt in sorted({planned, *(np.radians(t) for t in _TILTS)}):
        for turn in range(_TURNS):
            yield float(tilt), 2 * pi * turn / _TURNS


def _clear(
    case: str, tilt: float, azimuth: float, cloud: Cloud, site: Site, wind: WindProfile
) -> bool:
    plan = cloud.plan
    angle = replace(plan.flight.rail.angle, value=tilt)
    turned = {"angle": angle, "azimuth": azimuth}
    rail = plan.flight.rail.model_copy(update=turned)
    lean = np.random.default_rng(cloud.seed).standard_normal((2, _FLIGHTS))
    try:
        tried = fly(
            plan.flight.model_copy(update={"rail": rail}),
            wind,
            site.elevation,
            samples=_FLIGHTS,
            seed=cloud.seed,
            day=plan.sky.day,
            steered=Steered(lean, (case,)),
        )
    except DriftmapError:
        return False
    if any(True for _ in under_the_fall(tried, site)):
        return False
    crowd = shapely.union_all([area.shape for area in site.areas if area.occupied])
    return passing_over(ways_up(tried), crowd).estimate <= _OVERHEAD
