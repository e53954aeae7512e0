"""A rare hit known well enough: as many flights steered toward an area as that takes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
import shapely

from driftmap.core.checks import FloatArray
from driftmap.core.estimate import CONFIDENCE, Estimate, Goal, converge
from driftmap.core.spread import even_points, stream
from driftmap.ground.areas import Area
from driftmap.hazard.harm import PERSON_RADIUS
from driftmap.hazard.probability import chances_of_hits, reached
from driftmap.montecarlo.cloud import Cloud
from driftmap.montecarlo.importance_sampling import Mixture, aim, response, tilted_mean
from driftmap.montecarlo.lean import Steered

_FIRST: Final = 8192  # flights of the first look
_MOST: Final = 262_144
_FARTHEST: Final = 4.5  # standard deviations a flight may be leaned
_FEWEST: Final = 100  # flights of a body from which an aim can be taken
_PLAIN: Final = 0.2  # share of flights drawn plainly
_PLACES: Final = 8  # in the area that flights are aimed at
_ROUND: Final = 0.43  # width of a kernel over the side of its place; of a square 0.29
_UNSURE: Final = 0.1  # error of a correction over its length
_HOPELESS: Final = 7.0  # standard deviations of lean; nobody counts on that
_LEAST_WAY: Final = 1.0  # m a unit of lean must carry a body to steer it
_LEAST_SHARE: Final = 0.01  # of the chance of a hit, for flights of a body's own
_NEGLIGIBLE: Final = 0.5  # of the limit: a half-width below that is narrow enough


@dataclass(frozen=True, slots=True, eq=False)
class Sharpened:
    """How often a flight puts a piece into an area, known as well as was asked.

    Parameters
    ----------
    area : str
        Name of the area.
    looks : tuple of Estimate
        Every look, each at a confidence that allows for all of them.
    reached : bool
        Whether the last is known well enough.
    """

    area: str
    looks: tuple[Estimate, ...]
    reached: bool

    @property
    def estimate(self) -> Estimate:
        """The last look."""
        return self.looks[-1]


def sharpen(
    pilot: Cloud,
    again: Callable[..., Cloud],
    areas: Sequence[Area],
    *,
    relative: float,
    limit: float,
) -> tuple[Sharpened, ...]:
    """Fly steered flights until each area's figure is known well enough.

    ``pilot``: plain flights, from which the aim is taken; ``again``: what flies more of them
    (`driftmap.montecarlo.cloud.fly_again`); ``relative``: wanted half-width of the interval as a
    share of the figure; ``limit``: what the figure is compared with: its interval must not
    straddle it, and a half-width of half the limit is narrow enough whatever the figure.

    Result: one for each area, and whether it is well enough known.
    """
    found = []
    goal = Goal(limit, relative, _NEGLIGIBLE * limit)
    for area in areas:
        look = partial(steered_hit, pilot, again, area)
        looks, reached = converge(look, goal, first=_FIRST, cap=_MOST)
        found.append(Sharpened(area.name, looks, reached))
    return tuple(found)


def steered_hit(
    pilot: Cloud,
    again: Callable[..., Cloud],
    area: Area,
    flights: int,
    confidence: float = CONFIDENCE,
    *,
    seed: int | None = None,
) -> Estimate:
    """Estimate how often a flight puts a piece into an area, from steered flights.

    ``pilot``: plain flights, from which the aim is taken; ``again``: what flies more of
    them; ``seed``: seed of the steered flights; that after the pilot's when left out.

    Every flight is flown twice on the same draws, but for the part of the wind's error that
    carries a fall farthest: once with that part leaned toward the area, to see where it
    comes down, and once with what is then still missing.

    Result: for all cases by their likelihood, unbiased; as `reached` tells a hit of people.
    """
    own = pilot.seed + 1 if seed is None else seed
    ways = _ways(pilot, area)
    first = _first_lean(ways, flights, stream(own, 0, "first lean"))
    if ways:
        only = {way.case for way in ways}
        scouts = again(samples=flights, seed=own, steered=Steered(first, only))
        aimed = _aimed(scouts, ways, area, first)
    else:
        aimed = _plain(flights)
    lean = aimed.draw(stream(own, 0, "lean"))
    leant = Steered(np.ascontiguousarray(lean.T))
    cloud = again(samples=flights, seed=own, steered=leant)
    chance = chances_of_hits(cloud, reached(cloud, area.shape, beyond=PERSON_RADIUS))
    most = max(1.0, chance.max(initial=0.0)) * aimed.largest_weight
    return tilted_mean(
        aimed.weights(lean) * chance, flights, most, confidence=confidence
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Way:
    """How one body may come to the area."""

    case: str
    body: str
    centre: FloatArray  # lean that most likely brings it there, shape (2,)
    slope: FloatArray  # way by each unit of lean, its size and second, shape (2, 2)
    chance: float  # of landing there: likelihood times density


def _ways(pilot: Cloud, area: Area) -> tuple[_Way, ...]:
    """Find the bodies that lean can bring to the area, the hopeless left out."""
    lean = np.stack([pilot.draws["lean east"], pilot.draws["lean north"]], axis=1)
    middle = area.shape.centroid
    target = np.array([middle.x, middle.y])
    likely = {case.name: case.probability for case in pilot.tree.cases}
    ways = []
    for part in pilot.parts:
        if part.flights < _FEWEST:
            continue
        rows = slice(part.rows.start, part.rows.start + part.flights)
        landed = np.stack([pilot.east[rows], pilot.north[rows]], axis=1).astype(float)
        own = lean[part.who]
        reach = pilot.time[rows] * pilot.draws["lean size"][part.who]
        slope = response(own, landed, reach)
        if np.sqrt(abs(np.linalg.det(slope))) * reach.mean() < _LEAST_WAY:
            continue
        centre = aim(own, landed, target)
        centre *= min(1.0, _FARTHEST / max(float(np.linalg.norm(centre)), 1e-9))
        chance = likely[part.case] * part.count * _density(landed, target)
        ways.append(_Way(part.case, part.body, centre, slope, chance))
    most = sum(way.chance for way in ways)
    return tuple(way for way in ways if way.chance > _LEAST_SHARE * most)


def _first_lean(
    ways: tuple[_Way, ...], flights: int, rng: np.random.Generator
) -> FloatArray:
    """Lean each flight toward the area as suits one of the bodies, shape (2, flights)."""
    if not ways:
        return np.zeros((2, flights))
    chances = np.array([way.chance for way in ways])
    which = rng.choice(len(ways), flights, p=chances / chances.sum())
    return np.asarray(np.array([way.centre for way in ways])[which].T)


def _aimed(
    scouts: Cloud, ways: tuple[_Way, ...], area: Area, first: FloatArray
) -> Mixture:
    """Correct each flight's lean by how far it came down from places in the area."""
    flights = first.shape[1]
    middle, width, chance = [], [], []
    slopes = {(way.case, way.body): way.slope for way in ways}
    cases = {case.name: case for case in scouts.tree.cases}
    for part in scouts.parts:
        slope, who = slopes.get((part.case, part.body)), part.who
        if slope is None:
            continue
        for copy in range(part.count):
            start = part.rows.start + copy * part.flights
            rows = slice(start, start + part.flights)
            landed = np.array([scouts.east[rows], scouts.north[rows]], float).T
            reach = scouts.time[rows] * scouts.draws["lean size"][who]
            body = landed, slope, reach, scouts.weights(cases[part.case])
            for lean, wide, hope in _kernels(first.T[who], *body, area):
                middle.append(np.zeros((flights, 2)))
                width.append(np.ones(flights))
                chance.append(np.zeros(flights))
                middle[-1][who], width[-1][who], chance[-1][who] = lean, wide, hope
    if not chance:
        return _plain(flights)
    share = np.array(chance)
    total = share.sum(axis=0)
    each = np.divide(share, total, out=np.zeros_like(share), where=total > 0)
    return Mixture(np.array(middle), np.array(width), each, _PLAIN)


def _plain(flights: int) -> Mixture:
    """Make a mixture that aims no flight anywhere."""
    none = np.zeros((1, flights))
    return Mixture(np.zeros((1, flights, 2)), none + 1, none, _PLAIN)


def _kernels(
    first: FloatArray,
    landed: FloatArray,
    slope: FloatArray,
    reach: FloatArray,
    likely: FloatArray,
    area: Area,
) -> Iterator[tuple[FloatArray, FloatArray, FloatArray]]:
    """Say how the flights of a body must lean to reach each of a few places.

    ``first``: their lean; ``reach``: seconds of a lean times its size; ``likely``: how likely
    their case is. Result: middle, width and chance of a kernel for each place.
    """
    places = _places(area)
    size = _ROUND * np.sqrt(area.shape.area / len(places))
    back = np.linalg.inv(slope) / reach[:, None, None]
    stretch = np.sqrt(abs(np.linalg.det(slope))) * reach
    for place in places:
        missing = place - landed
        lean = first + np.einsum("nij,nj->ni", back, missing)
        far = (lean**2).sum(axis=1)
        hope = likely * (size / stretch) ** 2 * np.exp(-far / 2)
        width = np.hypot(size, _UNSURE * np.hypot(*missing.T)) / stretch
        yield lean, width, np.where(far < _HOPELESS**2, hope, 0.0)


def _places(area: Area) -> FloatArray:
    """Spread places evenly over an area, shape (`_PLACES`, 2)."""
    west, south, east, north = area.shape.bounds
    found = np.zeros((0, 2))
    count = 4 * _PLACES
    while len(found) < _PLACES:
        across, up = even_points(count)
        x, y = west + (east - west) * across, south + (north - south) * up
        within = shapely.contains_xy(area.shape, x, y)
        found = np.stack([x, y], axis=1)[within]
        count *= 4
    return found[:_PLACES]


def _density(landed: FloatArray, target: FloatArray) -> float:
    """Density of landings at a place, the landings taken as normal [m⁻²]."""
    spread = np.cov(landed.T)
    away = target - landed.mean(axis=0)
    squared = float(away @ np.linalg.solve(spread, away))
    # A normal tail is too thin to be believed far out: its square is capped.
    return float(np.exp(-min(squared, 40.0) / 2) / np.sqrt(np.linalg.det(spread)))
