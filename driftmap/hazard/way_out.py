"""The nearest ground that no zone reaches: where to send people who stand in one."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from driftmap.ground.areas import Site

_PACE: Final = 5.0
"""Between ways that are tried, each longer than the one before [m]."""

ROOM: Final = 30.0
"""From a zone, an edge or closed ground to where people are sent [m]: room for them, and for
a distance that is told rounded. Assumed."""


def clear_ground(site: Site, reached: Iterable[BaseGeometry]) -> BaseGeometry:
    """Return the ground of a field that nothing reaches and nobody is barred from.

    ``reached``: zones [m].
    """
    closed = (area.shape for area in site.areas if not area.occupied)
    taken = shapely.union_all([*reached, *closed])
    return site.boundary.difference(taken).buffer(-ROOM)


def way_out(
    place: BaseGeometry, reached: BaseGeometry, clear: BaseGeometry
) -> shapely.LineString | None:
    """Draw the way that takes a whole place to clear ground.

    ``reached``: zones; ``clear``: of `clear_ground` [m].

    Result: from the middle of what a zone reaches of the place toward the nearest clear
    ground, and so far that all of the place is on it if all walk as far; to its edge where
    the place does not fit. None where there is no such ground.
    """
    inside = place & reached
    if clear.is_empty or inside.is_empty:
        return None
    start, edge = shapely.get_coordinates(
        shapely.shortest_line(inside.representative_point(), clear)
    )
    length = max(float(np.hypot(*(edge - start))), 1.0)
    west, south, east, north = place.bounds
    wide = math.hypot(east - west, north - south)
    way = (edge - start) / length
    steps = np.arange(length, length + wide, _PACE)
    moved = [affinity.translate(place, *(far * way)) for far in steps]
    on = np.flatnonzero(shapely.covers(clear, moved))
    far = steps[on[0]] if on.size else length
    return shapely.LineString([start, start + far * way])
