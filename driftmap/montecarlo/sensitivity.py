"""Which inputs move the landing point most."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from driftmap.core.checks import FloatArray
from driftmap.montecarlo.cloud import Cloud
from driftmap.montecarlo.columns import Part
from driftmap.rocket.case import LIGHTS

_FLIGHTS_AN_INPUT = 10
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


def influences(cloud: Cloud) -> tuple[Influence, ...]:
    """Rank the inputs by how far they move the landing of the rocket when all goes as planned.

    Least squares of the landing point on the standardised inputs: the first-order effect
    of each with all others varying.

    Result: the strongest first; inputs that do not act then come out near 0. Empty with
    fewer than ten flights an input, which cannot tell one from another.
    """
    part = next(cloud.of(cloud.tree.cases[0].name), None)
    # The lean is a part of the wind, which stands for all of it; delays are of the lighting.
    names = [
        name
        for name, values in cloud.draws.items()
        if np.ptp(values) > 0 and not name.startswith("lean ") and name != LIGHTS
    ]
    if part is None or part.flights < _FLIGHTS_AN_INPUT * len(names):
        return ()
    effect, whole = _effects(cloud, part, names)
    variance: dict[str, float] = {}
    for name, (east, north) in effect.items():
        key = name.removesuffix(" east").removesuffix(" north")
        variance[key] = variance.get(key, 0.0) + float(east**2 + north**2)
    found = [
        Influence(name, float(np.sqrt(v)), v / whole if whole > 0 else 0.0)
        for name, v in variance.items()
    ]
    return tuple(sorted(found, key=lambda i: -i.metres))


def _effects(
    cloud: Cloud, part: Part, names: list[str]
) -> tuple[dict[str, FloatArray], float]:
    """Return the way east and north [m] by a standard deviation of each input, and the variance."""
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
    return dict(zip(inputs, effect, strict=True)), float(landed.var(1).sum())
