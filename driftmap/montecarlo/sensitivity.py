"""Which inputs move the landing point most, and which reading of the wind would help most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from driftmap.air.wind import WindProfile
from driftmap.core.checks import FloatArray
from driftmap.core.errors import DriftmapError
from driftmap.failures.case import LIGHTS
from driftmap.montecarlo.cloud import Cloud, fly
from driftmap.montecarlo.falls import KNOT
from driftmap.winds.uncertainty import Worth, dwell, worths

__all__ = ["Influence", "influences", "more_wind"]

_FLIGHTS_AN_INPUT = 10
_FEW = 64  # flights that tell how long a fall stays at which height
_AT_ONCE = 65_536  # flights
_ALIKE = 1e-10  # of the largest singular value: inputs that are as good as one


@dataclass(frozen=True, slots=True)
class Influence:
    """How much one input moves a landing point.

    Parameters
    ----------
    name : str
        The input; its east and north parts, where it has them, taken together.
    metres : float
        Way the landing moves for one standard deviation of the input [m].
    share : float
        Share of the variance of the landing point.
    """

    name: str
    metres: float
    share: float


def influences(cloud: Cloud, case: str | None = None) -> tuple[Influence, ...]:
    """Rank the inputs by how far they move the landing of the first body of a case.

    Least squares of the landing point on the standardised inputs: the first-order effect
    of each with all others varying.

    ``cloud``: landing points and the inputs drawn for them; ``case``: name of the case;
    that in which all goes as planned when left out.

    Result: the strongest first; inputs that do not act in the case come out near 0.
    Empty with fewer than ten flights an input, which cannot tell one from another.
    """
    part = next(cloud.of(case or cloud.tree.cases[0].name), None)
    # The lean is a part of the wind, which stands for all of it; delays are of the lighting.
    names = [
        name
        for name, values in cloud.draws.items()
        if np.ptp(values) > 0 and not name.startswith("lean ") and name != LIGHTS
    ]
    if part is None or part.flights < _FLIGHTS_AN_INPUT * len(names):
        return ()
    rows = slice(part.rows.start, part.rows.start + part.flights)
    landed = np.stack([cloud.east[rows], cloud.north[rows]]).astype(float)
    landed -= landed.mean(1, keepdims=True)
    inputs = {
        name: (float(own.mean()), deviation)
        for name in names
        for own in [cloud.draws[name][part.who].astype(float)]
        if (deviation := float(own.std())) > 0
    }
    # The normal equations do, as inputs are standardised, added up over some at a time.
    alike, together = np.zeros(2 * (len(inputs),)), np.zeros((len(inputs), 2))
    for start in range(0, part.flights, _AT_ONCE):
        some = slice(start, start + _AT_ONCE)
        who = part.who[some]
        drawn = np.stack(
            [
                (cloud.draws[n][who].astype(float) - mean) / sd
                for n, (mean, sd) in inputs.items()
            ]
        )
        alike += drawn @ drawn.T
        together += drawn @ landed[:, some].T
    effect, *_ = np.linalg.lstsq(alike, together, rcond=_ALIKE)
    variance: dict[str, float] = {}
    for name, (east, north) in zip(inputs, effect, strict=True):
        key = name.removesuffix(" east").removesuffix(" north")
        variance[key] = variance.get(key, 0.0) + float(east**2 + north**2)
    whole = float(landed.var(1).sum())
    found = [
        Influence(name, float(np.sqrt(v)), v / whole if whole > 0 else 0.0)
        for name, v in variance.items()
    ]
    return tuple(sorted(found, key=lambda i: -i.metres))


def more_wind(
    cloud: Cloud, wind: WindProfile, found: Sequence[Influence]
) -> tuple[Worth, ...]:
    """Rank readings of the wind by how far each would shrink the 90 % line.

    ``cloud``: where everything came down; ``wind``: the wind it was flown in;
    ``found``: from `influences`, which tells what the wind has to do with it.

    Result: for the case in which all goes as planned, the best first; empty where too
    few flights were flown to tell.
    """
    share = sum(one.share for one in found if one.name == "wind")
    knots = _fall(cloud, wind) if share > 0 else None
    if knots is None:
        return ()
    seconds = dwell(wind.height, knots)
    return worths(wind, seconds, min(share, 1.0), cloud.plan.sky.altitude)


def _fall(cloud: Cloud, wind: WindProfile) -> FloatArray | None:
    """Give time and height along a middle fall, shape (s, 2), of a few flights more."""
    sky, flight = cloud.plan.sky, cloud.plan.flight
    try:
        few = fly(
            flight,
            wind,
            sky.altitude,
            samples=_FEW,
            seed=cloud.seed,
            day=sky.day,
            bodies=(),
            keep_falls=True,
        )
    except DriftmapError:
        return None  # what is told beside a verdict does not cost the verdict
    part = next(few.of(few.tree.cases[0].name), None)
    if part is None or not part.flights:
        return None
    fall = few.falls[part.case, part.body]
    middle = np.median(fall[:, :, 0, :], axis=-1)
    return np.asarray(middle[:, [KNOT.index("time"), KNOT.index("height")]], float)
