"""The nearest ground that no zone reaches: where to send who stands in one."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final

import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.ground.site import Site

_ROOM: Final = 30.0
"""From a zone, an edge or closed ground to where people are sent [m]: room for them, and for
a distance that is told rounded. Assumed."""


def clear_ground(site: Site, reached: Iterable[BaseGeometry]) -> BaseGeometry:
    """Give the ground of a field that nothing reaches and nobody is barred from.

    ``reached``: zones [m].
    """
    closed = (area.shape for area in site.areas if not area.occupied)
    taken = shapely.union_all([*reached, *closed])
    return site.boundary.difference(taken).buffer(-_ROOM)


def way_out(inside: BaseGeometry, clear: BaseGeometry) -> tuple[float, float] | None:
    """Tell how far, and which way, the nearest clear ground lies.

    ``inside``: the part of a place that a zone reaches; ``clear``: of `clear_ground` [m].

    Result: distance [m] and azimuth [rad], from its middle; None where there is no such
    ground.
    """
    if clear.is_empty or inside.is_empty:
        return None
    way = shapely.shortest_line(inside.representative_point(), clear)
    (east, north), (to_east, to_north) = shapely.get_coordinates(way)
    away = to_east - east, to_north - north
    return math.hypot(*away), math.atan2(*away)
