"""From metres about the pad to the picture of the sheet."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

__all__ = ["HEIGHT", "WIDTH", "Frame", "fit", "ticks"]

WIDTH: Final = 600.0
HEIGHT: Final = 520.0
_MARGIN: Final = 46.0
_FARTHEST: Final = 4.0
"""Zones may stretch the picture to so many times the ground that people need."""

_TICK: Final = (14.0, 6.0)  # apart, and long, in the picture


@dataclass(frozen=True, slots=True)
class Frame:
    """Where the picture lies on the ground.

    Parameters
    ----------
    west, top : float
        Upper left corner from the pad [m].
    scale : float
        Points of the picture in a metre.
    """

    west: float
    top: float
    scale: float

    def spot(self, east: float, north: float) -> tuple[float, float]:
        """Place a point."""
        return (east - self.west) * self.scale, (self.top - north) * self.scale

    def pixels(self, shape: BaseGeometry) -> BaseGeometry:
        """Put a shape into the picture."""
        return shapely.transform(
            shape,
            lambda xy: np.column_stack(
                [
                    (xy[:, 0] - self.west) * self.scale,
                    (self.top - xy[:, 1]) * self.scale,
                ]
            ),
        )

    def box(self) -> shapely.Polygon:
        """Give the ground that the picture shows."""
        east, south = self.west + WIDTH / self.scale, self.top - HEIGHT / self.scale
        return shapely.box(self.west, south, east, self.top)

    def seen(self, shape: BaseGeometry, *, grow: float = 500.0) -> BaseGeometry:
        """Cut a shape to what is in sight, with so much about it [m]."""
        return shapely.intersection(shape, self.box().buffer(grow, join_style="mitre"))

    def path(self, shape: BaseGeometry) -> str:
        """Write the rings of polygons as path data."""
        solid = [
            p
            for p in shapely.get_parts(shape)
            if p.geom_type == "Polygon" and not p.is_empty
        ]
        rings = [r for part in solid for r in (part.exterior, *part.interiors)]
        return "".join(f"{self._line(ring, -1)}Z" for ring in rings)

    def line(self, shape: BaseGeometry) -> str:
        """Write lines as path data."""
        parts = shapely.get_parts(shape)
        return "".join(
            self._line(p, None)
            for p in parts
            if p.geom_type == "LineString" and not p.is_empty
        )

    def _line(self, line: BaseGeometry, stop: int | None) -> str:
        x, y = self.spot(*np.transpose(line.coords))
        corners = np.column_stack([x, y])[:stop].round(1).tolist()
        return "M" + "L".join(f"{a:g} {b:g}" for a, b in corners)


def fit(need: BaseGeometry, zones: Iterable[BaseGeometry]) -> Frame:
    """Frame the pad and the ground that people need whole, and zones as far as they fit.

    Parameters
    ----------
    need : BaseGeometry
        Ground that people need to see.
    zones : iterable of BaseGeometry
        What falls where.

    Returns
    -------
    Frame
        North up.
    """
    need = shapely.union(need, shapely.Point(0, 0).buffer(100))
    west, south, east, north = need.bounds
    half = max(east - west, north - south) / 2
    near = need.envelope.centroid.buffer(_FARTHEST * half + 500)
    whole = shapely.union_all([need, *(s.intersection(near) for s in zones)])
    west, south, east, north = whole.bounds
    room = WIDTH - 2 * _MARGIN, HEIGHT - 2 * _MARGIN
    scale = min(room[0] / (east - west), room[1] / (north - south))
    middle = (west + east) / 2, (south + north) / 2
    return Frame(middle[0] - WIDTH / 2 / scale, middle[1] + HEIGHT / 2 / scale, scale)


def ticks(frame: Frame, boundary: BaseGeometry) -> str:
    """Write short strokes along an outline, from it inward.

    Parameters
    ----------
    frame : Frame
        The picture.
    boundary : BaseGeometry
        Polygons [m].

    Returns
    -------
    str
        Path data of what is in sight.
    """
    shape = shapely.orient_polygons(frame.pixels(boundary))
    seen = shapely.box(0, 0, WIDTH, HEIGHT)
    strokes = []
    for ring in (r for p in shapely.get_parts(shape) for r in shapely.get_rings(p)):
        if not ring.intersects(seen):
            continue
        for at in np.arange(_TICK[0] / 2, ring.length, _TICK[0]):
            here, ahead = ring.interpolate(at), ring.interpolate(at + 1.0)
            if not seen.contains(here):
                continue
            # Rings run so that the inside is on the left; in the picture y points down.
            turn = math.atan2(ahead.y - here.y, ahead.x - here.x) + math.pi / 2
            x, y = (
                here.x + _TICK[1] * math.cos(turn),
                here.y + _TICK[1] * math.sin(turn),
            )
            strokes.append(f"M{here.x:.1f} {here.y:.1f}L{x:.1f} {y:.1f}")
    return "".join(strokes)
