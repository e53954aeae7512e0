"""Where pieces come to rest after striking the ground, apart from the flight's spread."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from driftmap.core.spread import stream
from driftmap.formulas.fragments import strike_offsets
from driftmap.montecarlo.cloud import Cloud, Part

__all__ = ["Rest", "after_impact"]


@dataclass(frozen=True, slots=True)
class Rest:
    """How far from its strike a broken rocket's fins come to rest.

    Parameters
    ----------
    p50, p95 : float
        Half and 95 % of them lie within these distances of the strike [m].
    """

    p50: float
    p95: float


def after_impact(cloud: Cloud, part: Part) -> Rest | None:
    """Say how far the fins of a rocket that struck nose first are thrown.

    ``part``: one of its parts.

    Result: none for what does not strike nose first.
    """
    case = next(c for c in cloud.tree.cases if c.name == part.case)
    body = next(b for b in case.bodies if b.name == part.body)
    if body.broken or not body.stages[-1].nose_first:
        return None
    rng = stream(cloud.seed, 0, f"break-up of {part.case}")
    thrown = strike_offsets(cloud.speed[part.rows], rng)
    p50, p95 = np.quantile(np.hypot(thrown.east, thrown.north), [0.5, 0.95])
    return Rest(float(p50), float(p95))
