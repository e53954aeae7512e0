"""Which inputs move the landing point most."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from driftmap.montecarlo.cloud import Cloud

__all__ = ["Influence", "influences"]

_FLIGHTS_AN_INPUT = 10
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

    Parameters
    ----------
    cloud : Cloud
        Landing points and the inputs drawn for them.
    case : str, optional
        Name of the case; that in which all goes as planned when left out.

    Returns
    -------
    tuple of Influence
        The strongest first; inputs that do not act in the case come out near 0. Empty
        with fewer than ten flights an input, which cannot tell one from another.

    """
    part = next(cloud.of(case or cloud.tree.cases[0].name), None)
    # The lean is a part of the wind, which stands for all of it.
    names = [
        name
        for name, values in cloud.draws.items()
        if np.ptp(values) > 0 and not name.startswith("lean ")
    ]
    if part is None or part.flights < _FLIGHTS_AN_INPUT * len(names):
        return ()
    drawn = np.stack([cloud.draws[name][part.who] for name in names])
    moves = drawn.std(1) > 0
    names = [name for name, moving in zip(names, moves, strict=True) if moving]
    drawn = drawn[moves]
    drawn = (drawn - drawn.mean(1, keepdims=True)) / drawn.std(1, keepdims=True)
    rows = slice(part.rows.start, part.rows.start + part.flights)
    landed = np.stack([cloud.east[rows], cloud.north[rows]])
    landed = landed - landed.mean(1, keepdims=True)
    # The normal equations do, as inputs are standardised; all flights at once take longer.
    alike, together = (drawn @ other.T for other in (drawn, landed))
    effect, *_ = np.linalg.lstsq(alike, together, rcond=_ALIKE)
    variance: dict[str, float] = {}
    for name, (east, north) in zip(names, effect, strict=True):
        key = name.removesuffix(" east").removesuffix(" north")
        variance[key] = variance.get(key, 0.0) + float(east**2 + north**2)
    whole = float(landed.var(1).sum())
    found = [
        Influence(name, float(np.sqrt(v)), v / whole if whole > 0 else 0.0)
        for name, v in variance.items()
    ]
    return tuple(sorted(found, key=lambda i: -i.metres))
