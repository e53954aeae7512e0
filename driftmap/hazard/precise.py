"""Know a rare hit well enough: flights steered toward an area, as many as it takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from driftmap.air.atmosphere import FloatArray
from driftmap.air.wind import WindProfile
from driftmap.ground.areas import Area
from driftmap.hazard.probability import inside, struck
from driftmap.hazard.sampling import Convergence, Estimate, Goal, converge
from driftmap.hazard.steering import Proposal, aim, tilted_mean
from driftmap.montecarlo.cloud import Cloud, fly

__all__ = ["Sharpened", "sharpen", "steered_hit"]

_FIRST: Final = 8192  # flights of the first look
_MOST: Final = 262_144
_FARTHEST: Final = 4.5  # standard deviations a flight may be leaned
_FEWEST: Final = 100  # flights of a body from which an aim can be taken
_PLAIN, _HALFWAY = 0.2, 0.25  # shares of flights drawn plainly, and leaned half-way
_LEAST_SHARE: Final = (
    0.01  # of the chance of a hit that earns a body flights of its own
)
_NEGLIGIBLE: Final = 0.5  # of the limit: a half-width below that is narrow enough


@dataclass(frozen=True, slots=True, eq=False)
class Sharpened:
    """How often a flight puts a piece into an area, known as well as was asked.

    Parameters
    ----------
    area : str
        Name of the area.
    estimate : Estimate
        Of the last look, at a confidence that allows for all of them.
    looks : Convergence
        Every look, each at a confidence that allows for all of them.
    """

    area: str
    estimate: Estimate
    looks: Convergence


def sharpen(
    pilot: Cloud,
    wind: WindProfile,
    areas: Sequence[Area],
    *,
    relative: float,
    limit: float,
) -> tuple[Sharpened, ...]:
    """Fly steered flights until each area's figure is known well enough.

    Parameters
    ----------
    pilot : Cloud
        Plain flights, from which the aim is taken.
    wind : WindProfile
        The wind they flew in.
    areas : sequence of Area
        The areas.
    relative : float
        Wanted half-width of the interval as a share of the figure.
    limit : float
        What the figure is compared with: its interval must not straddle it, and a
        half-width of half the limit is narrow enough whatever the figure.

    Returns
    -------
    tuple of Sharpened
        One for each area; `Convergence.reached` says whether it is well enough known.
    """
    found = []
    goal = Goal(limit, relative, _NEGLIGIBLE * limit)
    for area in areas:

        def look(
            flights: int, confidence: float, area: Area = area
        ) -> Mapping[str, Estimate]:
            values, bound = _values(pilot, wind, area, flights)
            mean = tilted_mean(values, flights, bound, confidence=confidence)
            return {area.name: mean}

        looks = converge(look, {area.name: goal}, first=_FIRST, cap=_MOST)
        found.append(Sharpened(area.name, looks.steps[-1].estimates[area.name], looks))
    return tuple(found)


def steered_hit(
    pilot: Cloud,
    wind: WindProfile,
    area: Area,
    flights: int,
    *,
    seed: int | None = None,
) -> Estimate:
    """Estimate how often a flight puts a piece into an area, from steered flights.

    Parameters
    ----------
    pilot : Cloud
        Plain flights, from which the aim is taken.
    wind : WindProfile
        The wind they flew in.
    area : Area
        The area.
    flights : int
        Steered flights.
    seed : int, optional
        Seed of the steered flights; that after the pilot's when left out.

    Returns
    -------
    Estimate
        For all cases by their likelihood, unbiased.
    """
    values, bound = _values(pilot, wind, area, flights, seed=seed)
    return tilted_mean(values, flights, bound)


def _values(
    pilot: Cloud,
    wind: WindProfile,
    area: Area,
    flights: int,
    *,
    seed: int | None = None,
) -> tuple[FloatArray, float]:
    """Give weight times likelihood of a hit for each flight that has one, and its bound."""
    proposal = _proposal(pilot, area)
    plan = pilot.plan
    cloud = fly(
        plan.flight,
        wind,
        plan.sky.altitude,
        samples=flights,
        seed=pilot.seed + 1 if seed is None else seed,
        day=plan.sky.day,
        proposal=proposal,
    )
    lean = np.stack([cloud.draws["lean east"], cloud.draws["lean north"]], axis=1)
    weights = proposal.weights(lean)
    hits = struck(cloud, inside(area.shape))
    chance = np.zeros(flights)
    for case in cloud.tree.cases:
        who = next(cloud.of(case.name)).who
        hit = hits[case.name]
        chance[who[hit]] += cloud.weights(case, who)[hit]
    return weights * chance, proposal.largest_weight


def _proposal(pilot: Cloud, area: Area) -> Proposal:
    """Lean flights so that each body is carried toward the area, the likeliest most."""
    lean = np.stack([pilot.draws["lean east"], pilot.draws["lean north"]], axis=1)
    middle = area.shape.centroid
    target = np.array([middle.x, middle.y])
    likely = {case.name: case.probability for case in pilot.tree.cases}
    centres: list[FloatArray] = []
    chances: list[float] = []
    for part in pilot.parts:
        if part.flights < _FEWEST:
            continue
        rows = slice(part.rows.start, part.rows.start + part.flights)
        landed = np.stack([pilot.east[rows], pilot.north[rows]], axis=1)
        centre = aim(lean[part.who], landed, target)
        far = float(np.linalg.norm(centre))
        centres.append(centre * min(1.0, _FARTHEST / max(far, 1e-9)))
        chances.append(likely[part.case] * part.count * _density(landed, target))
    share = np.array(chances)
    if not share.sum() > 0:
        return Proposal(np.zeros((1, 2)), np.ones(1))
    share = share / share.sum()
    kept = share > _LEAST_SHARE
    places, share = np.array(centres)[kept], share[kept] / share[kept].sum()
    return Proposal(
        np.vstack([np.zeros((1, 2)), places, places / 2]),
        np.concatenate([[_PLAIN], (1 - _PLAIN - _HALFWAY) * share, _HALFWAY * share]),
    )


def _density(landed: FloatArray, target: FloatArray) -> float:
    """Density of landings at a place, the landings taken as normal [m⁻²]."""
    spread = np.cov(landed.T)
    away = target - landed.mean(axis=0)
    squared = float(away @ np.linalg.solve(spread, away))
    # A normal tail is too thin to be believed far out: its square is capped.
    return float(np.exp(-min(squared, 40.0) / 2) / np.sqrt(np.linalg.det(spread)))
