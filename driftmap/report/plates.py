"""Places on the sheet's picture: from metres about the pad, and where names stand."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final, cast

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

__all__ = ["HEIGHT", "WIDTH", "Frame", "Plate", "Room", "fit", "ticks", "widths"]

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

    def spot(self, east: Any, north: Any) -> tuple[Any, Any]:
        """Place a point."""
        return (east - self.west) * self.scale, (self.top - north) * self.scale

    def pixels(self, shape: BaseGeometry) -> BaseGeometry:
        """Put a shape into the picture."""
        return shapely.transform(shape, lambda xy: np.column_stack(self.spot(*xy.T)))

    def box(self) -> shapely.Polygon:
        """Give the ground that the picture shows."""
        east, south = self.west + WIDTH / self.scale, self.top - HEIGHT / self.scale
        return shapely.box(self.west, south, east, self.top)

    def seen(self, shape: BaseGeometry, *, grow: float | None = None) -> BaseGeometry:
        """Cut a shape to what is in sight, with so much about it [m].

        A page wider than the box shows more: no zone may seem to end there.
        """
        grow = 3 * WIDTH / self.scale if grow is None else grow
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
    """Frame the pad and the ground that people need whole, and zones as far as they fit."""
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
    """Write short strokes along an outline, from it inward."""
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


_EDGE: Final = 4.0
_APART: Final = 3.0
_WITHIN: Final = 0.9
"""Share of a word's box from which it stands in its zone."""

_REACHES: Final = 0.3
"""Share of the box of a word that does not, which is to lie in its zone."""

_NEARBY: Final = 140.0
_ANYWHERE: Final = 420.0
Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""


def widths(text: str, each: float = 10.6) -> float:
    """Guess the width of a text, wide letters wider."""
    wide = sum(1.5 if c in "MWmw" or ord(c) > 0x2E80 else 1.0 for c in text)
    return each * wide


@dataclass(frozen=True, slots=True)
class Plate:
    """A box and the spot it speaks of.

    Parameters
    ----------
    left, top, width, height : float
        The box.
    aim : (float, float)
        The spot.
    apart : bool
        Whether the box stands off its ground and needs a leader.
    """

    left: float
    top: float
    width: float
    height: float
    aim: tuple[float, float]
    apart: bool

    @property
    def box(self) -> Box:
        """The box by its edges."""
        return self.left, self.top, self.left + self.width, self.top + self.height

    @property
    def lead(self) -> shapely.LineString:
        """The line from the spot to the box."""
        (x, y), (left, top, right, bottom) = self.aim, self.box
        nearest = min(max(x, left), right), min(max(y, top), bottom)
        return shapely.LineString([(x, y), nearest])

    def leader(self) -> str:
        """Draw a line from the box to a dot on its ground, where it stands off."""
        if not self.apart:
            return ""
        (ax, ay), (x, y) = self.lead.coords
        return (
            f'<path class="leader" d="M{ax:.1f} {ay:.1f}L{x:.1f} {y:.1f}"/>'
            f'<circle class="end" cx="{ax:.1f}" cy="{ay:.1f}" r="4"/>'
        )


class Room:
    """What is taken already, and places for more."""

    def __init__(
        self,
        grounds: Sequence[BaseGeometry],
        danger: BaseGeometry | None = None,
        size: tuple[float, float] = (WIDTH, HEIGHT),
    ) -> None:
        self.size = size
        self.grounds = list(grounds)
        self.danger = danger or shapely.Polygon()
        self.taken: list[Box] = []
        self.leads: list[shapely.LineString] = []

    def take(self, *boxes: Box) -> None:
        """Keep boxes free."""
        self.taken.extend(boxes)

    def take_point(self, x: float, y: float, radius: float) -> None:
        """Keep a spot free."""
        self.take((x - radius, y - radius, x + radius, y + radius))

    def place(
        self,
        aim: tuple[float, float],
        sizes: Sequence[tuple[float, float]],
        *,
        own: int,
    ) -> tuple[Plate, int]:
        """Find the place nearest to a spot: on its own ground, or on nobody's.

        Off the ground of danger where it can be, as a name there reads as if people stood
        there; smaller before lines cross, and never over what is taken while there is room.

        ``sizes``: of the box, the one wished for first; ``own``: number of the ground.

        Result: the place, and which of the sizes it has.
        """
        for off, crossing in ((True, False), (False, False), (False, True)):
            for which, size in enumerate(sizes):
                found = self._found(aim, size, own, off=off, crossing=crossing)
                if found is not None:
                    return self._kept(found), which
        last = len(sizes) - 1
        held = Plate(*_held(aim, sizes[last], self.size), *sizes[last], aim, apart=True)
        return self._kept(held), last

    def _found(
        self,
        aim: tuple[float, float],
        size: tuple[float, float],
        own: int,
        *,
        off: bool,
        crossing: bool,
    ) -> Plate | None:
        others = [g for i, g in enumerate(self.grounds) if i != own]
        mine = self.grounds[own]
        best: Plate | None = None
        for left, top in _around(aim, size, self.size, _NEARBY if off else _ANYWHERE):
            plate = Plate(left, top, *size, aim, apart=False)
            if not self._free(plate.box):
                continue
            box = shapely.box(*plate.box)
            if mine.covers(box):
                return plate
            if off and self.danger.intersects(box):
                continue
            if any(ground.intersects(box) for ground in self.grounds):
                best = best or self._clear_of(others, plate, box)
                continue
            lead = plate.lead
            if not crossing and any(lead.intersects(other) for other in self.leads):
                continue
            return Plate(left, top, *size, aim, apart=True)
        return best

    def _kept(self, plate: Plate) -> Plate:
        self.take(plate.box)
        if plate.apart:
            self.leads.append(plate.lead)
        return plate

    def inside(
        self, shape: BaseGeometry, sizes: Sequence[tuple[float, float]]
    ) -> Plate:
        """Find a place in a zone, where it is widest; in sight even where the zone is small.

        ``sizes``: of the box, the one wished for first.
        """
        seen = shapely.intersection(shape, shapely.box(0, 0, *self.size))
        shape = seen if not seen.is_empty else shape
        circle = shapely.maximum_inscribed_circle(
            cast("shapely.Polygon", shape), tolerance=2.0
        )
        pole = circle.coords[0][0], circle.coords[0][1]
        for size in sizes:
            tries = [
                Plate(left, top, *size, pole, apart=False)
                for left, top in _around(pole, size, self.size)
                if self._free((left, top, left + size[0], top + size[1]))
            ][:400]
            people = shapely.union_all(self.grounds)
            beside = [p for p in tries if not people.intersects(shapely.box(*p.box))]
            tries = beside or tries
            shares = {plate: _share(plate, shape) for plate in tries}
            most = max(shares.values(), default=0.0)
            if most >= _WITHIN:
                break
        # What does not fit only reaches in: it would hide what it names.
        most = most if most >= _WITHIN else _REACHES
        best = max(
            tries,
            key=lambda p: min(shares[p], most) - 0.0005 * math.dist(_middle(p), pole),
            default=Plate(*_held(pole, size, self.size), *size, pole, apart=False),
        )
        self.take(best.box)
        return best

    def _free(self, box: Box) -> bool:
        left, top, right, bottom = box
        return not any(
            left < other[2] + _APART
            and other[0] < right + _APART
            and top < other[3] + _APART
            and other[1] < bottom + _APART
            for other in self.taken
        )

    def _clear_of(
        self, others: Sequence[BaseGeometry], plate: Plate, box: shapely.Polygon
    ) -> Plate | None:
        """Accept a box that reaches over its own ground's edge, but onto nobody else's."""
        x, y = plate.aim
        holds = plate.left <= x <= plate.left + plate.width and (
            plate.top <= y <= plate.top + plate.height
        )
        clear = holds and not any(ground.intersects(box) for ground in others)
        return plate if clear else None


def _around(
    aim: tuple[float, float],
    size: tuple[float, float],
    whole: tuple[float, float],
    most: float = _ANYWHERE,
) -> Iterator[tuple[float, float]]:
    """Give places for a box, nearest first, all in sight."""
    for away in np.arange(0.0, most, 8.0):
        turns = 1 if away == 0 else 24
        for turn in np.linspace(0.0, 2 * math.pi, turns, endpoint=False):
            x = aim[0] + (away + size[0] / 2 * (away > 0)) * math.sin(turn)
            y = aim[1] + (away + size[1] / 2 * (away > 0)) * math.cos(turn)
            left, top = x - size[0] / 2, y - size[1] / 2
            across = _EDGE <= left <= whole[0] - _EDGE - size[0]
            if across and _EDGE <= top <= whole[1] - _EDGE - size[1]:
                yield left, top


def _held(
    aim: tuple[float, float], size: tuple[float, float], whole: tuple[float, float]
) -> tuple[float, float]:
    """Keep a box about a spot in sight."""
    left = min(max(aim[0] - size[0] / 2, _EDGE), whole[0] - _EDGE - size[0])
    return left, min(max(aim[1] - size[1] / 2, _EDGE), whole[1] - _EDGE - size[1])


def _middle(plate: Plate) -> tuple[float, float]:
    return plate.left + plate.width / 2, plate.top + plate.height / 2


def _share(plate: Plate, shape: BaseGeometry) -> float:
    box = shapely.box(*plate.box)
    return float(box.intersection(shape).area / box.area)
