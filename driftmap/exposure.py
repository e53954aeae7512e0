"""Harm to the people of a site from a landing cloud: who stands where, and what hits."""

from __future__ import annotations

from dataclasses import dataclass

from driftmap.cloud import Cloud
from driftmap.harm import casualty_area
from driftmap.impacts import Impacts, Piece, gather
from driftmap.people import Casualties, SpotRisk, expected_casualties, individual_risk
from driftmap.site import OCCUPIED, Site

__all__ = ["Harm", "harm_of"]


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
    occupied = [area for area in site.areas if area.role in OCCUPIED or area.people]
    return Harm(
        expected_casualties(impacts, site.areas, occupied=OCCUPIED),
        tuple(individual_risk(impacts, area) for area in occupied),
    )


def _impacts(cloud: Cloud) -> Impacts:
    pieces = []
    for case in cloud.tree.cases:
        for part, body in zip(cloud.of(case.name), case.bodies, strict=True):
            # The mean shadow of a convex body is at least half of its largest.
            largest = 2 * body.area
            for copy in range(part.count):
                start = part.rows.start + copy * part.flights
                rows = slice(start, start + part.flights)
                pieces.append(
                    Piece(
                        case.probability * cloud.flights / part.flights,
                        cloud.east[rows],
                        cloud.north[rows],
                        cloud.energy[rows],
                        casualty_area(largest, cloud.angle[rows]),
                        part.who,
                    )
                )
    return gather(pieces, cloud.flights)
