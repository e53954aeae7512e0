"""Where names and words stand on a picture on paper."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, cast

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import FloatArray
from driftmap.report.frames import SHEET, Size

_EDGE: Final = 4.0
_APART: Final = 3.0
_STEP: Final = 8.0
_ALONG: Final = 24.0
_CORNERS: Final = 24
"""Most points of a ground that names are tried about."""

COST: Final = {
    "people": 500.0,
    "danger": 150.0,
    "caution": 30.0,
    "ground": 60.0,
    "edge": 10.0,
    "line": 250.0,
    "short": 300.0,
}
"""What it costs to hide something, to cross a line, and to be a number alone, beside a point for
each of a line's length."""

NO_PLACE: Final = 10 * COST["short"]
"""What it costs to stand wherever it may be, over what is there."""

_GAPS: Final = (6, 14, 24, 36, 50, 66, 84)
"""A name farther from its ground is read as its place: rather its number alone, as on the screen."""
_NEAR_PEOPLE: Final = 24.0
_FAIR: Final = 60.0
_MOST_ORDERED: Final = 12
_TURN: Final = np.arange(16) * math.pi / 8
_ROUND: Final = np.column_stack([np.cos(_TURN), np.sin(_TURN)])
_Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""


def widths(text: str, each: float = 10.6) -> float:
    """Guess the width of a text, wide letters wider."""
    wide = sum(1.5 if c in "MWmw" or ord(c) > 0x2E80 else 1.0 for c in text)
    return each * wide


@dataclass(frozen=True, slots=True)
class Plate:
    """A box, and the line to it from its ground.

    Parameters
    ----------
    left, top, width, height : float
        The box.
    lead : shapely.LineString or None
        From the edge of the ground to the box; None where the box stands on or at it.
    cost : float
        What the place costs.
    """

    left: float
    top: float
    width: float
    height: float
    lead: shapely.LineString | None = None
    cost: float = 0.0

    @property
    def box(self) -> _Box:
        """The box by its edges."""
        return self.left, self.top, self.left + self.width, self.top + self.height

    def leader(self, kind: str = "leader") -> str:
        """Draw the line to the box from a dot on its ground."""
        if self.lead is None:
            return ""
        (ax, ay), (x, y) = self.lead.coords
        return (
            f'<path class="{kind}" d="M{ax:.1f} {ay:.1f}L{x:.1f} {y:.1f}"/>'
            f'<circle class="end" cx="{ax:.1f}" cy="{ay:.1f}" r="4"/>'
        )


class Room:
    """What is taken already, and places for more.

    A name stands on its own ground if that holds it, else beside it on nobody's, with a line
    from the nearest edge of its ground. Of the free places it takes the cheapest by `COST`.

    ``grounds``: of people; ``hides``: other shapes, and what it costs to hide each; ``pad``: what
    lines go round; ``size``: of the picture.
    """

    def __init__(
        self,
        grounds: Sequence[BaseGeometry],
        hides: Sequence[tuple[BaseGeometry, float]] = (),
        pad: BaseGeometry | None = None,
        size: Size = SHEET,
    ) -> None:
        self.size = size
        self.grounds = list(grounds)
        self.hides = list(hides)
        self.pad = pad or shapely.Point()
        self.taken: list[_Box] = []
        self.plates: list[_Box] = []
        self.leads: list[shapely.LineString] = []

    def take(self, *boxes: _Box) -> None:
        """Keep boxes free."""
        self.taken.extend(boxes)

    def take_point(self, x: float, y: float, radius: float) -> None:
        """Keep a spot free."""
        self.take((x - radius, y - radius, x + radius, y + radius))

    def place_all(
        self, wanted: Sequence[tuple[int, Sequence[Size]]]
    ) -> list[tuple[Plate, int]]:
        """Find places for all: who is set early knows nothing of those after.

        ``wanted``: number of each ground, and the sizes as in `place`, the first one first.

        Result: as of `place`, for the cheapest of some orders, in the order of ``wanted``.
        """
        middles = [self.grounds[own].centroid.coords[0] for own, _ in wanted]
        orders = [list(range(len(wanted)))]
        best = self._in_order(wanted, orders[0])
        if len(wanted) <= _MOST_ORDERED and best[0] > _FAIR * len(wanted):
            signed = (m * sign for m in np.transpose(middles) for sign in (1.0, -1.0))
            orders = [np.argsort(keys, kind="stable").tolist() for keys in signed]
            tries = (self._in_order(wanted, order) for order in orders)
            best = min([best, *tries], key=lambda found: found[0])
        for plate, _ in best[1]:
            self._keep(plate)
        return best[1]

    def _in_order(
        self, wanted: Sequence[tuple[int, Sequence[Size]]], order: Sequence[int]
    ) -> tuple[float, list[tuple[Plate, int]]]:
        kept = list(self.taken), list(self.plates), list(self.leads)
        found = {i: self.place(*wanted[i]) for i in order}
        self.taken, self.plates, self.leads = kept
        sum_ = sum(plate.cost for plate, _ in found.values())
        return sum_, [found[i] for i in range(len(wanted))]

    def place(self, own: int, sizes: Sequence[Size]) -> tuple[Plate, int]:
        """Find the cheapest place for a name.

        ``own``: number of its ground; ``sizes``: of the box, the one wished for first; a
        smaller one costs more.

        Result: the place, and which of the sizes it has.
        """
        ground = self.grounds[own]
        others = [g for i, g in enumerate(self.grounds) if i != own]
        found = []
        for which, size in enumerate(sizes):
            plate = self._on(ground, size) or self._beside(ground, size, others)
            if plate is not None:
                dear = which * COST["short"]
                found.append((replace(plate, cost=plate.cost + dear), which))
        last = len(sizes) - 1
        spot = ground.representative_point()
        held = _held((spot.x, spot.y), sizes[last], self.size)
        lead = shapely.LineString([spot, shapely.box(*held.box).centroid])
        none = replace(held, lead=lead, cost=NO_PLACE), last
        plate, which = min(found, key=lambda f: f[0].cost, default=none)
        self._keep(plate)
        return plate, which

    def word(
        self, zone: BaseGeometry, worse: BaseGeometry, sizes: Sequence[Size]
    ) -> Plate:
        """Find the cheapest place for the word of a zone, in it or else beside it by a line.

        ``worse``: ground of a worse zone; ``sizes``: of the box, the one wished for first.
        """
        seen = shapely.intersection(zone, shapely.box(0, 0, *self.size))
        zone = seen if not seen.is_empty else zone
        pole = shapely.maximum_inscribed_circle(
            cast("shapely.Polygon", zone), tolerance=2.0
        ).coords[0]
        tries = (self._within(zone, worse, size, pole) for size in sizes)
        plate = next((p for p in tries if p is not None), None)
        if plate is None:
            near = [g.buffer(_NEAR_PEOPLE) for g in self.grounds]
            more = [*self.hides, *((g, _FAIR / 2) for g in near)]
            plate = self._beside(zone, sizes[-1], self.grounds, hides=more, tied=0.0)
        plate = plate or _held(pole, sizes[-1], self.size)
        self._keep(plate)
        return plate

    def along(self, line: BaseGeometry, size: Size) -> Plate | None:
        """Find the cheapest place for the name of a line, on it; None where there is none."""
        seen = shapely.intersection(line, shapely.box(0, 0, *self.size))
        at = np.arange(0.0, seen.length, _ALONG)
        spots = shapely.get_coordinates(
            [p.interpolate(a) for p in shapely.get_parts(seen) for a in at]
        )
        boxes = self._free(spots - np.array(size) / 2, size)
        if not boxes.size:
            return None
        shapes = _shapes(boxes)
        cost = 2 * self._hidden(shapes, self.hides) + boxes[:, 1] / 100
        cost += COST["people"] * self._meets(shapes, self.grounds)
        if cost.min() >= COST["people"]:
            return None
        plate = Plate(*_corner(boxes[cost.argmin()]), *size)
        self._keep(plate)
        return plate

    def corner(self, size: Size) -> _Box:
        """Choose the corner, top left or bottom right, where a box hides least."""
        wide, high = self.size
        starts = np.array([(0.0, 0.0), (wide - size[0], high - size[1])])
        boxes = np.hstack([starts, starts + np.array(size)])
        people = [(ground, COST["people"]) for ground in self.grounds]
        hidden = self._hidden(_shapes(boxes), [*self.hides, *people])
        left, top, right, bottom = boxes[int(hidden.argmin())].tolist()
        return left, top, right, bottom

    def at_edge(self, spot: tuple[float, float], size: Size) -> Plate:
        """Find the free place nearest to a spot on the edge of the picture."""
        wide, high = self.size
        down = np.arange(_EDGE, high - size[1] - _EDGE + 1, _STEP)
        across = np.arange(_EDGE, wide - size[0] - _EDGE + 1, _STEP)
        sides = [
            *((x, y) for x in across for y in (_EDGE, high - size[1] - _EDGE)),
            *((x, y) for y in down for x in (_EDGE, wide - size[0] - _EDGE)),
        ]
        boxes = self._free(np.array(sides).reshape(-1, 2), size)
        if not boxes.size:
            return _held(spot, size, self.size)
        middle = (boxes[:, :2] + boxes[:, 2:]) / 2
        nearest = np.hypot(*(middle - spot).T).argmin()
        plate = Plate(*_corner(boxes[nearest]), *size)
        self._keep(plate)
        return plate

    def _on(self, ground: BaseGeometry, size: Size) -> Plate | None:
        spot = np.array(ground.representative_point().coords)
        boxes = self._free(spot - np.array(size) / 2, size)
        held = boxes.size and ground.covers(_shapes(boxes)[0])
        return Plate(*_corner(boxes[0]), *size) if held else None

    def _within(
        self,
        zone: BaseGeometry,
        worse: BaseGeometry,
        size: Size,
        pole: tuple[float, ...],
    ) -> Plate | None:
        left, top, right, bottom = zone.bounds
        across = np.arange(left, right - size[0], _STEP)
        down = np.arange(top, bottom - size[1], _STEP)
        corners = np.array(np.meshgrid(across, down)).reshape(2, -1).T
        boxes = self._free(corners, size)
        shapes = _shapes(boxes)
        inside = shapely.covers(zone.buffer(_STEP), shapes)
        inside &= ~shapely.intersects(worse.buffer(_STEP), shapes)
        inside &= self._meets(shapes, self.grounds) == 0
        boxes, shapes = boxes[inside], shapes[inside]
        if not boxes.size:
            return None
        middle = (boxes[:, :2] + boxes[:, 2:]) / 2
        plain = [(s, c) for s, c in self.hides if c in (COST["ground"], COST["edge"])]
        cost = np.hypot(*(middle - pole).T) + 2 * self._hidden(shapes, plain)
        return Plate(*_corner(boxes[cost.argmin()]), *size)

    def _beside(
        self,
        ground: BaseGeometry,
        size: Size,
        others: Sequence[BaseGeometry],
        *,
        hides: Sequence[tuple[BaseGeometry, float]] | None = None,
        tied: float = _STEP,
    ) -> Plate | None:
        boxes = self._free(_about(ground, size), size)
        shapes = _shapes(boxes)
        ways = shapely.shortest_line(ground, shapes)
        blocked = self._meets(ways, [shapely.box(*box) for box in self.plates]) > 0
        boxes, shapes, ways = boxes[~blocked], shapes[~blocked], ways[~blocked]
        if not boxes.size:
            return None
        cost = shapely.length(ways)
        cost += COST["people"] * self._meets(shapes, [ground, *others])
        cost += self._hidden(shapes, self.hides if hides is None else hides)
        cost += COST["line"] * self._meets(shapes, self.leads)
        crossed = self._meets(ways, [*others, *self.leads, self.pad])
        apart = shapely.length(ways) > tied
        cost += COST["line"] * crossed * apart
        best = int(cost.argmin())
        lead = ways[best] if apart[best] else None
        return Plate(*_corner(boxes[best]), *size, lead, float(cost[best]))

    @staticmethod
    def _meets(shapes: Any, others: Sequence[BaseGeometry]) -> Any:
        """Count how many of others each shape meets."""
        met = (shapely.intersects(other, shapes) for other in others)
        return sum(met, np.zeros(len(shapes)))

    def _hidden(
        self, shapes: Any, hides: Sequence[tuple[BaseGeometry, float]]
    ) -> FloatArray:
        costs = (cost * shapely.intersects(shape, shapes) for shape, cost in hides)
        return np.asarray(sum(costs, np.zeros(len(shapes))))

    def _free(self, corners: FloatArray, size: Size) -> FloatArray:
        """Give the boxes at upper left corners that are in sight and clear of what is taken."""
        boxes = np.hstack([corners, corners + np.array(size)]).reshape(-1, 4)
        wide, high = self.size
        fits = (boxes[:, :2] >= _EDGE).all(1)
        fits &= (boxes[:, 2] <= wide - _EDGE) & (boxes[:, 3] <= high - _EDGE)
        boxes = boxes[fits]
        taken = np.array(self.taken).reshape(-1, 1, 4)
        low = boxes[:, :2] < taken[..., 2:] + _APART
        high_ = taken[..., :2] < boxes[:, 2:] + _APART
        return boxes[~(low & high_).all(2).any(0)]

    def _keep(self, plate: Plate) -> None:
        self.take(plate.box)
        self.plates.append(plate.box)
        if plate.lead is not None:
            self.leads.append(plate.lead)


def _shapes(boxes: FloatArray) -> Any:
    return shapely.box(*boxes.T)


def _corner(box: FloatArray) -> tuple[float, float]:
    return float(box[0]), float(box[1])


def _about(ground: BaseGeometry, size: Size) -> FloatArray:
    """Give upper left corners of boxes all about a ground, nearer and farther."""
    corners = shapely.get_coordinates(ground)
    corners = corners[:: -(-len(corners) // _CORNERS)]
    edge = _ROUND / np.abs(_ROUND).max(1, keepdims=True)
    half = np.array(size) / 2
    away = edge * (half + np.array(_GAPS)[:, None, None])
    return np.asarray((corners[:, None, None] + away - half).reshape(-1, 2))


def _held(aim: tuple[float, ...], size: Size, whole: Size) -> Plate:
    """Keep a box about a spot in sight."""
    left = min(max(aim[0] - size[0] / 2, _EDGE), whole[0] - _EDGE - size[0])
    top = min(max(aim[1] - size[1] / 2, _EDGE), whole[1] - _EDGE - size[1])
    return Plate(left, top, *size)
