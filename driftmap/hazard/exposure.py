"""Harm to the people of a site from a landing cloud: who stands where, and what hits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from driftmap.ground.site import OCCUPIED, Area, Site
from driftmap.hazard.harm import casualty_area
from driftmap.hazard.impacts import Impacts, Piece, gather
from driftmap.hazard.people import (
    Casualties,
    SpotRisk,
    expected_casualties,
    individual_risk,
)
from driftmap.hazard.probability import inside
from driftmap.montecarlo.cloud import Cloud

__all__ = ["Harm", "harm_of"]

_WIDEST, _NARROWEST = 100.0, 15.0  # m, sides of the squares that risk is averaged over
_CELL_SHARE: Final = 1.5  # of a spread, so that a square is small against it
_ABOUT: Final = 50.0  # m
_SEEN: Final = 50  # landings about an area that make a spread worth following


@dataclass(frozen=True, slots=True)
class Harm:
    """What a flight does to people, on average.

    Parameters
    ----------
    casualties : Casualties
        Casualties expected in each area and in all.
    spots : tuple of SpotRisk
        Risk to one person at the worst spot of each area where people are.
    """

    casualties: Casualties
    spots: tuple[SpotRisk, ...]


def harm_of(cloud: Cloud, site: Site) -> Harm:
    """Work out the harm to the people of a site.

    Parameters
    ----------
    cloud : Cloud
        Landing points.
    site : Site
        The areas, with head counts and shelter.

    Returns
    -------
    Harm
        Collective and individual risk.
    """
    impacts = _impacts(cloud)
    occupied = [area for area in site.areas if area.occupied]
    return Harm(
        expected_casualties(impacts, site.areas, occupied=OCCUPIED),
        tuple(
            individual_risk(impacts, area, cell=_cell(cloud, area)) for area in occupied
        ),
    )


def _cell(cloud: Cloud, area: Area) -> float:
    """Choose squares small against the spread of what really lands about an area [m]."""
    near = inside(area.shape.buffer(_ABOUT))
    cell = _WIDEST
    for part in cloud.parts:
        east, north = cloud.east[part.rows], cloud.north[part.rows]
        if np.count_nonzero(near(east, north)) >= _SEEN:
            spread = float(min(east.std(), north.std()))
            cell = min(cell, max(_NARROWEST, _CELL_SHARE * spread))
    return cell


def _impacts(cloud: Cloud) -> Impacts:
    pieces = []
    for case in cloud.tree.cases:
        for part, body in zip(cloud.of(case.name), case.bodies, strict=True):
            chance = cloud.weights(case, part.who)
            for copy in range(part.count):
                start = part.rows.start + copy * part.flights
                rows = slice(start, start + part.flights)
                pieces.append(
                    Piece(
                        1.0,
                        cloud.east[rows],
                        cloud.north[rows],
                        cloud.energy[rows],
                        chance * casualty_area(body.area, cloud.angle[rows]),
                        part.who,
                    )
                )
    return gather(pieces, cloud.flights)
