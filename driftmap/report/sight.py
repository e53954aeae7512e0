"""What belongs into the opening picture: the zones, and the ground near enough to matter."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.hazard.zones import Kind, Zone

__all__ = ["in_sight", "reach_of", "shown", "zone_at"]

_FARTHER: Final = 1.5  # times the reach of what falls
_LEFT: Final = 0.05
"""Share of the caution zone that must lie outside danger for it to be worth a word."""

_NEAR: Final = 500.0  # m; as near as this, ground is always shown


def reach_of(zones: Sequence[Zone]) -> float:
    """Give the distance from the pad to the farthest point of any zone."""
    corners = [shapely.get_coordinates(zone.shape) for zone in zones]
    return max((float(np.hypot(*xy.T).max()) for xy in corners), default=0.0)


def in_sight(shape: BaseGeometry, zones: Sequence[Zone]) -> bool:
    """Say whether ground is near enough for the opening picture.

    ``shape``: the ground, from the pad [m].

    Result: false for ground far beyond anything that falls: it would make the field a
    dot.
    """
    away = shapely.distance(shape, shapely.Point(0.0, 0.0))
    return bool(away <= _NEAR + _FARTHER * reach_of(zones))


def shown(zones: Sequence[Zone]) -> tuple[Zone, ...]:
    """Leave out a caution zone that danger covers but for a sliver."""
    if len(zones) < 2:
        return tuple(zones)
    danger, caution = zones
    left = shapely.difference(caution.shape, danger.shape).area
    return (danger, caution) if left >= _LEFT * caution.shape.area else (danger,)


def zone_at(shape: BaseGeometry, zones: Sequence[Zone]) -> Kind | None:
    """Say which zone ground reaches into, the worse one first.

    ``shape``: the ground, from the pad [m].

    Result: none for ground that is clear of both.
    """
    touched = (zone.kind for zone in zones if zone.shape.intersects(shape))
    return next(touched, None)
