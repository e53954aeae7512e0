"""Harm to the people of a site from a landing cloud: who stands where, and what hits."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from driftmap.core.checks import FloatArray
from driftmap.core.estimate import Estimate
from driftmap.core.points import turn
from driftmap.ground.areas import Area, Site, turned_shape
from driftmap.ground.roles import OCCUPIED
from driftmap.hazard.harm import PERSON_HEIGHT, THRESHOLDS, WIDEST_PATCH, casualty_area
from driftmap.hazard.impacts import FallenPiece, Impacts, gather
from driftmap.hazard.people import (
    Casualties,
    SpotRisk,
    expected_casualties,
    individual_risk,
)
from driftmap.hazard.probability import check_landed
from driftmap.montecarlo.cloud import Cloud
from driftmap.montecarlo.columns import Part
from driftmap.rocket.case import Case

_NARROWEST: Final = 10.0  # m, side of the smallest squares that risk is averaged over
_GENTLEST: Final = min(energy.value for energy in THRESHOLDS.values())  # J
_FEW: Final = 50  # landings; of fewer no spread is worth following
_OWN_WAY: Final = PERSON_HEIGHT
"""What is thrown in the first second comes no farther over the ground, below a person's height,
than from the pad and this [m]: where it bursts lower than twice that height it is not so far
aside, up to a lean of 20° and more, and from higher up most of its way is above people."""


@dataclass(frozen=True, slots=True)
class Harm:
    """What a flight does to people, on average.

    Parameters
    ----------
    casualties : Casualties
        Casualties expected in each area and in all.
    if_it_happens : mapping of str to Estimate
        Casualties expected of a flight to which a case happens, by name of the case.
    spots : tuple of SpotRisk
        Risk to one person at the worst spot of each area where people are.
    worst : SpotRisk or None
        The worst spot of all ground where people are, however it was cut into areas;
        None where nobody is.
    """

    casualties: Casualties
    if_it_happens: Mapping[str, Estimate]
    spots: tuple[SpotRisk, ...]
    worst: SpotRisk | None


@dataclass(frozen=True, slots=True, eq=False)
class Danger:
    """What comes down, wherever people stand: the same for all sites.

    Parameters
    ----------
    most : float
        Most that one flight can add, its cases weighed by their likelihood [m²].
    given : mapping of str to float
        The same of one case by itself, as if it happened in every flight [m²].
    gentle : frozenset of str
        Cases of which nothing lands hard enough to harm anyone in the open. A large, light
        canopy does not stand for the most that a flight could do; where nothing harms at
        all, what there is bounds what was not seen.
    angle : float
        Bearing from the pad of the middle of the danger [rad].
    sides, peaks : mapping of (str, str) to float
        By case and piece: side of the squares that its risk is averaged over [m], and most
        that one landing weighs [m²].
    """

    most: float
    given: Mapping[str, float]
    gentle: frozenset[str]
    angle: float
    sides: Mapping[tuple[str, str], float]
    peaks: Mapping[tuple[str, str], float]


def danger_of(cloud: Cloud) -> Danger:
    """Sum up what every landing of a cloud could do, a piece at a time."""
    check_landed(cloud)
    gentle = frozenset(
        case.name
        for case in cloud.tree.cases
        if all((cloud.energy[p.rows] < _GENTLEST).all() for p in cloud.of(case.name))
    )
    given: dict[str, float] = {}
    peaks: dict[tuple[str, str], float] = {}
    together, pull = np.zeros(cloud.flights), np.zeros(2)
    for case in cloud.tree.cases:
        own, weight = next(cloud.of(case.name)), _weights(cloud, case, gentle)
        alone = np.zeros(own.flights)
        for part, piece in _pieces(cloud, case, gentle):
            alone += piece.casualty_area
            # Sums by element: a dot product would wake threads for it.
            danger = weight * piece.casualty_area
            pull += np.sum(danger * piece.east), np.sum(danger * piece.north)
            key = part.case, part.body
            peaks[key] = max(peaks.get(key, 0.0), float(danger.max()))
        together[own.who] += weight * alone
        given[case.name] = float(alone.max())
    sides = {(part.case, part.body): _side(cloud, part) for part in cloud.parts}
    angle = math.atan2(*pull)
    return Danger(float(together.max()), given, gentle, angle, sides, peaks)


def _side(cloud: Cloud, part: Part) -> float:
    """Choose squares as wide as the spread of a piece, within bounds [m].

    The spread is the smaller one of the two that its landings have along their own axes,
    so that it does not hang on where north is. About its middle a square that wide holds
    nine tenths of the greatest density, off it no less than there is.
    """
    if part.flights < _FEW:
        return WIDEST_PATCH
    across = np.linalg.eigvalsh(np.cov(cloud.east[part.rows], cloud.north[part.rows]))
    spread = math.sqrt(max(float(across[0]), 0.0))
    return min(max(spread, _NARROWEST), WIDEST_PATCH)


def harm_of(cloud: Cloud, site: Site, danger: Danger | None = None) -> Harm:
    """Work out the harm to the people of a site.

    ``site``: the areas, with head counts and shelter; ``danger``: from `danger_of`,
    where it is known already.
    """
    danger = danger or danger_of(cloud)
    peopled = [area for area in site.areas if area.perhaps_occupied]
    near = _near(cloud, peopled)
    every: list[FallenPiece] = []
    given: dict[str, Estimate] = {}
    for case in cloud.tree.cases:
        pieces = list(_pieces(cloud, case, danger.gentle, near))
        count, most = next(cloud.of(case.name)).flights, danger.given[case.name]
        alone = gather([piece for _, piece in pieces], count, most)
        given[case.name] = expected_casualties(alone, site.areas).total
        every += _of_all(cloud, case, danger, pieces)
    impacts = gather(every, cloud.flights, danger.most)
    return Harm(
        expected_casualties(impacts, site.areas, occupied=(*OCCUPIED, "building")),
        given,
        *_spots(impacts, peopled, danger.angle),
    )


def _of_all(
    cloud: Cloud, case: Case, danger: Danger, pieces: Iterable[tuple[Part, FallenPiece]]
) -> Iterator[FallenPiece]:
    """Weigh the pieces of a case as those of all flights."""
    who, weight = next(cloud.of(case.name)).who, _weights(cloud, case, danger.gentle)
    for part, piece in pieces:
        yield replace(
            piece,
            likelihood=weight[piece.flight],
            flight=who[piece.flight],
            side=danger.sides[part.case, part.body],
            peak=danger.peaks[part.case, part.body],
        )


def _near(cloud: Cloud, areas: Sequence[Area]) -> NDArray[np.bool_]:
    """Find the landings in boxes about people: all that squares over them could touch."""
    near = np.zeros(cloud.east.size, bool)
    for part in (part for area in areas for part in shapely.get_parts(area.shape)):
        west, south, right, top = part.buffer(WIDEST_PATCH * math.sqrt(2)).bounds
        within = (cloud.east >= west) & (cloud.east <= right)
        near |= within & (cloud.north >= south) & (cloud.north <= top)
    return near


def _spots(
    impacts: Impacts, peopled: Sequence[Area], angle: float
) -> tuple[tuple[SpotRisk, ...], SpotRisk | None]:
    """Find the worst spot of each area and of all, on squares that know no north.

    They run along the way from the pad to the middle of the danger, at `angle`, so that
    the same day turned about the pad has the same squares.
    """
    east, north = turn(impacts.east, impacts.north, -angle)
    along = replace(impacts, east=east, north=north)
    laid = [replace(area, shape=turned_shape(area.shape, -angle)) for area in peopled]
    spots = tuple(_back(individual_risk(along, area), angle) for area in laid)
    worst = _worst(along, laid)
    return spots, None if worst is None else _back(worst, angle)


def _back(spot: SpotRisk, angle: float) -> SpotRisk:
    east, north = turn(spot.east, spot.north, angle)
    return replace(spot, east=float(east), north=float(north))


def _worst(impacts: Impacts, peopled: Sequence[Area]) -> SpotRisk | None:
    """Find the worst spot of all ground with people, however it was cut into areas."""
    found = []
    for shelter in dict.fromkeys(area.shelter for area in peopled):
        ground = shapely.union_all([a.shape for a in peopled if a.shelter == shelter])
        crowd = Area("people", OCCUPIED[0], ground, None, shelter)
        found.append(individual_risk(impacts, crowd))
    if not found:
        return None
    worst = max(found, key=lambda spot: spot.risk.estimate)
    risk = replace(
        worst.risk,
        lower=max(spot.risk.lower for spot in found),
        upper=max(spot.risk.upper for spot in found),
    )
    here = shapely.Point(worst.east, worst.north)
    nearest = min(peopled, key=lambda area: area.shape.distance(here))
    return replace(worst, area=nearest.name, risk=risk)


def _weights(cloud: Cloud, case: Case, gentle: frozenset[str]) -> FloatArray:
    """Weigh a case in its flights; one that harms nobody counts where no other does."""
    weight = cloud.weights(case)
    others = (c for c in cloud.tree.cases if c.likelihood > 0)
    counts = case.name not in gentle or all(c.name in gentle for c in others)
    return weight * counts


def _pieces(
    cloud: Cloud,
    case: Case,
    gentle: frozenset[str],
    near: NDArray[np.bool_] | None = None,
) -> Iterator[tuple[Part, FallenPiece]]:
    """Give every piece of a case, each copy by itself, as if the case were certain.

    Flights are numbered among those of the case; of `near`, only landings are given that
    it marks.
    """
    struck = {part.body: part.rows for part in cloud.of(case.name)}.get("rocket")
    for part, body in zip(cloud.of(case.name), case.bodies, strict=True):
        for copy in range(part.count):
            start = part.rows.start + copy * part.flights
            flight = np.arange(part.flights)
            if near is not None:
                flight = np.flatnonzero(near[start : start + part.flights])
            rows = start + flight
            east, north, energy = (
                cloud.east[rows],
                cloud.north[rows],
                cloud.energy[rows],
            )
            way: ArrayLike = math.inf
            if body.broken and struck:  # thrown on from where the rocket struck
                first = struck.start + flight
                way = np.hypot(east - cloud.east[first], north - cloud.north[first])
            elif body.kick and (body.release or case.release).at == "first second":
                way = np.hypot(east, north) + _OWN_WAY
            area = casualty_area(body.area, cloud.angle[rows], way, body.rim)
            if case.name not in gentle:
                area = area * (energy >= _GENTLEST)
            yield part, FallenPiece(1.0, east, north, energy, area, flight)
