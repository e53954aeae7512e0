"""The field as a picture: from metres about the pad to points of paper."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

Size = tuple[float, float]
"""Width and height."""

SHEET: Final = (600.0, 520.0)
"""Size of the sheet's picture, in points of its own."""

_MARGIN: Final = 46.0
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
    size : (float, float)
        Width and height of the picture.
    """

    west: float
    top: float
    scale: float
    size: Size = SHEET

    def spot(self, east: Any, north: Any) -> tuple[Any, Any]:
        """Place a point."""
        return (east - self.west) * self.scale, (self.top - north) * self.scale

    def pixels(self, shape: BaseGeometry) -> BaseGeometry:
        """Put a shape into the picture."""
        return shapely.transform(shape, lambda xy: np.column_stack(self.spot(*xy.T)))

    def box(self) -> shapely.Polygon:
        """Return the ground that the picture shows."""
        wide, high = self.size
        east, south = self.west + wide / self.scale, self.top - high / self.scale
        return shapely.box(self.west, south, east, self.top)

    def seen(self, shape: BaseGeometry) -> BaseGeometry:
        """Cut a shape to what is in sight, and so far about it that none seems to end there.

        A page wider than the box shows more.
        """
        grow = 3 * self.size[0] / self.scale
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


def fit(ground: BaseGeometry, size: Size) -> Frame:
    """Frame ground with a margin about it."""
    west, south, east, north = ground.bounds
    wide, high = size
    scale = min(
        (wide - 2 * _MARGIN) / (east - west), (high - 2 * _MARGIN) / (north - south)
    )
    middle = (west + east) / 2, (south + north) / 2
    return Frame(
        middle[0] - wide / 2 / scale, middle[1] + high / 2 / scale, scale, size
    )


def ticks(frame: Frame, boundary: BaseGeometry) -> str:
    """Write short strokes along an outline, from it inward."""
    shape = shapely.orient_polygons(frame.pixels(boundary))
    seen = frame.pixels(frame.box()).buffer(frame.size[0] / 2)
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


def field_edge(frame: Frame, boundary: BaseGeometry) -> list[str]:
    """Draw the edge of the field with ticks that point inward."""
    line = frame.seen(boundary.boundary)
    if line.is_empty:
        return []
    return [
        f'<path class="edge" d="{frame.line(line)}"/>',
        f'<path class="tick" d="{ticks(frame, boundary)}"/>',
    ]
