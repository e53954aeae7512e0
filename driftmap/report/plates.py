"""Where names and words stand on a picture on paper: by the rule of `labels.js`."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final, cast

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import BoolArray, FloatArray
from driftmap.report.frames import SHEET, Size
from driftmap.report.tails import Box, Plate, wedges

_EDGE: Final = 4.0
_APART: Final = 3.0
_STEP: Final = 8.0
"""As near to its ground a plate needs no line; between places that are tried."""

_ALONG: Final = 24.0
_CORNERS: Final = 24
"""Most points of a ground that names are tried about."""

_GAPS: Final = (6, 14, 24, 36, 50)
"""A name farther from its ground is read as its place: rather its number alone."""

_OUTWARD: Final = 0.2
"""Of places much as near, the one farther from the pad: so many times its distance counts."""

_BEHIND: Final = 14.0
"""As much nearer to the pad stands the number of nearer ground: side by side they would be read
from left to right."""

_HIDDEN: Final = 40.0
"""So much farther off a number stands rather than across the pad, or on danger that it is not in."""

_OVER: Final = 20.0
"""So much farther off a number stands rather than over the edge of a zone, or on closed ground."""

_RIM, _SEEN = 4.0, 12.0
"""Of its own ground left in sight all about a number that stands on it; of a tail, as much is seen."""

_PART: Final = 0.2
"""Of a zone, the most that its word may hide."""

_AWAY: Final = 30.0
"""So much farther off a number stands within the zone that its place is told of."""

_UNDER: Final = 24.0
"""As long a part of a tail may lie on danger."""

_ROOM: Final = 44.0
"""Words leave so much free about people, for their numbers, if they can."""

_TURN: Final = np.arange(16) * math.pi / 8
_ROUND: Final = np.column_stack([np.cos(_TURN), np.sin(_TURN)])
_NOTHING: Final = shapely.Polygon()


def widths(text: str, each: float = 10.6) -> float:
    """Guess the width of a text, wide letters wider."""
    wide = sum(1.5 if c in "MWmw" or ord(c) > 0x2E80 else 1.0 for c in text)
    return each * wide


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """What is drawn and does not change while names are set.

    Parameters
    ----------
    danger, caution : BaseGeometry
        The zones.
    keep : BaseGeometry
        Closed ground and edges, hidden only where there is no other room.
    pad : BaseGeometry
        What lines go round.
    """

    danger: BaseGeometry = _NOTHING
    caution: BaseGeometry = _NOTHING
    keep: BaseGeometry = _NOTHING
    pad: BaseGeometry = _NOTHING


class Room:
    """What is taken already, and places for more; who comes first chooses first.

    ``grounds``: of people; ``size``: of the picture.
    """

    def __init__(
        self,
        grounds: Sequence[BaseGeometry],
        drawn: Drawn | None = None,
        size: Size = SHEET,
    ) -> None:
        self.size = size
        self.grounds = list(grounds)
        self.drawn = drawn or Drawn()
        self.taken: list[Box] = []
        self.plates: list[Box] = []
        self.leads: list[shapely.LineString] = []
        self.within = math.inf

    def take(self, *boxes: Box, shut: bool = False) -> None:
        """Keep boxes free; ``shut``: of tails too."""
        self.taken.extend(boxes)
        self.plates.extend(boxes if shut else ())

    def take_point(self, x: float, y: float, radius: float) -> None:
        """Keep a spot free."""
        self.taken.append((x - radius, y - radius, x + radius, y + radius))

    def place(self, own: int, size: Size) -> Plate | None:
        """Find the place for a name: on its own ground if that holds it, else the nearest.

        ``own``: number of its ground.

        Result: on nobody else's ground, on danger never and on caution only of who is all
        in it; None where there is none.
        """
        ground, bare = self.grounds[own], self.drawn.caution
        others = [g for i, g in enumerate(self.grounds) if i != own]
        zones = [] if bare.covers(ground) else [bare]
        plate = self._on(ground, size, zones)
        plate = plate or self._beside(ground, size, others, zones=zones)
        return None if plate is None else self._keep(plate)

    def number(self, own: int, size: Size, home: BaseGeometry = _NOTHING) -> Plate:
        """Set a number on its ground, whatever it hides, or as near as others leave room.

        ``home``: the zone that it is told to be in; nothing for none.

        From afar to the pad they keep the order of their grounds: none behind those set before
        it, none before its ground but the nearest.
        """
        spot = self.grounds[own].representative_point()
        tries = np.vstack(
            [spot.coords - np.array(size) / 2, _about(spot, size, (0, *_GAPS))]
        )
        boxes = self._free(tries, size)
        if not boxes.size:
            return self._keep(_held((spot.x, spot.y), size, self.size))
        shapes = _shapes(boxes)
        others = [g for i, g in enumerate(self.grounds) if i != own]
        ways = shapely.shortest_line(self.grounds[own], shapes)
        away = np.hypot(*(_middles(boxes) - spot.coords[0]).T)
        away += _SEEN - np.clip(shapely.length(ways), 0.0, _SEEN)
        away += _HIDDEN * ~self._alike(boxes, spot)
        away += 4 * _HIDDEN * _meet(shapes, others)
        away += 8 * _HIDDEN * ~self._shown(self.grounds[own], boxes)
        away += 2 * _HIDDEN * self._blocked(ways, boxes, others)
        away += _OVER * _meet(
            shapes, [self.drawn.danger.boundary, self.drawn.caution.boundary]
        )
        away += _OVER * _meet(shapes, [self.drawn.keep])
        if not home.is_empty:
            away += _AWAY * ~shapely.covers(home, shapes)
        if not self.grounds[own].intersects(self.drawn.danger):
            away += 6 * _HIDDEN * ~self._clear(boxes, ())
        pad = self.drawn.pad.centroid
        if not pad.is_empty:
            out = (_middles(boxes) - pad.coords[0]) @ _toward(pad, spot)
            away -= _OUTWARD * shapely.distance(pad, shapely.points(_middles(boxes)))
            near = shapely.distance(pad, self.grounds)
            before = (out < near[own]) & (near[own] > np.nanmin(near))
            away += 3 * _HIDDEN * ((out > self.within) | before)
            self.within = min(self.within, float(out[away.argmin()]) - _BEHIND)
        best = away.argmin()
        lead = ways[best] if ways[best].length > 0 else None
        return self._keep(Plate(*_corner(boxes[best]), *size, lead))

    def word(
        self, zone: BaseGeometry, worse: BaseGeometry, sizes: Sequence[Size]
    ) -> Plate:
        """Find the place for the word of a zone, in it or else beside it with a tail.

        ``worse``: ground of a worse zone; ``sizes``: of the box, the one wished for first.
        """
        seen = shapely.intersection(zone, shapely.box(0, 0, *self.size))
        zone = seen if not seen.is_empty else zone
        pole = shapely.maximum_inscribed_circle(
            cast("shapely.Polygon", zone), tolerance=2.0
        ).coords[0]
        keep = shapely.union(
            worse, self.drawn.keep.buffer(0.0)
        )  # its lines may be crossed
        tries = [*((s, keep) for s in sizes), *((s, worse) for s in sizes[1:])]
        fit = [(s, k) for s, k in tries if s[0] * s[1] <= _PART * zone.area]
        found = (
            self._within(zone, held, size, pole, near)
            for near in (_ROOM, 0.0)
            for size, held in fit
        )
        plate = next((p for p in found if p is not None), None)
        edges = [self.drawn.danger.boundary, self.drawn.caution.boundary]
        for near, held in ((_ROOM, edges), (0.0, edges), (0.0, [])):
            people = [g.buffer(near) for g in self.grounds]
            plate = plate or self._beside(zone, sizes[-1], people, zones=held, tied=0.0)
        return self._keep(plate or _held(pole, sizes[-1], self.size))

    def inside(
        self, ground: BaseGeometry, size: Size, spot: shapely.Point
    ) -> Plate | None:
        """Find the place for a word within ground, nearest to a spot; None where there is none."""
        nothing = shapely.Polygon()
        plate = self._within(ground, nothing, size, spot.coords[0])
        return None if plate is None else self._keep(plate)

    def along(self, line: BaseGeometry, size: Size) -> Plate | None:
        """Find the highest place for the name of a line, on it; None where there is none."""
        seen = shapely.intersection(line, shapely.box(0, 0, *self.size))
        at = np.arange(0.0, seen.length, _ALONG)
        spots = shapely.get_coordinates(
            [p.interpolate(a) for p in shapely.get_parts(seen) for a in at]
        )
        boxes = self._free(spots - np.array(size) / 2, size)
        boxes = boxes[boxes[:, 1].argsort(kind="stable")]
        clear = self._clear(boxes, self.grounds)
        bare = clear & ~_meet(_shapes(boxes), [self.drawn.caution, self.drawn.keep])
        found = boxes[bare] if bare.any() else boxes[clear]
        return self._keep(Plate(*_corner(found[0]), *size)) if found.size else None

    def corner(self, size: Size, sent: BaseGeometry, wished: str) -> Box:
        """Choose the free corner where a box hides least, and keep it.

        ``sent``: where people are sent; ``wished``: corners as two letters each, the one wished
        for first.
        """
        wide, high = self.size
        every = [shapely.union_all(self.grounds), sent, self.drawn.danger]
        every += [shapely.union_all([self.drawn.keep, self.drawn.caution])]
        boxes = []
        for corner in wished.split():
            left = 0.0 if corner[1] == "l" else wide - size[0]
            top = 0.0 if corner[0] == "t" else high - size[1]
            boxes.append((left, top, left + size[0], top + size[1]))
        held = shapely.union_all([shapely.box(*box) for box in self.taken])

        def hidden(box: Box) -> list[float]:
            return [shapely.box(*box).intersection(g).area for g in (held, *every)]

        box = min(boxes, key=hidden)
        self.take(box, shut=True)
        return box

    def _on(
        self, ground: BaseGeometry, size: Size, zones: Sequence[BaseGeometry]
    ) -> Plate | None:
        spot = np.array(ground.representative_point().coords)
        boxes = self._free(spot - np.array(size) / 2, size)
        fits = self._clear(boxes, zones) & shapely.covers(ground, _shapes(boxes))
        return Plate(*_corner(boxes[fits][0]), *size) if fits.any() else None

    def _within(
        self,
        zone: BaseGeometry,
        worse: BaseGeometry,
        size: Size,
        pole: tuple[float, ...],
        near: float = 0.0,
    ) -> Plate | None:
        if zone.is_empty:
            return None
        people = [ground.buffer(near) for ground in self.grounds]
        left, top, right, bottom = zone.bounds
        across = np.arange(left, right - size[0], _STEP)
        down = np.arange(top, bottom - size[1], _STEP)
        corners = np.array(np.meshgrid(across, down)).reshape(2, -1).T
        boxes = self._free(corners, size)
        inside = shapely.covers(zone, _shapes(boxes))
        boxes = boxes[inside & ~_meet(_shapes(boxes), [worse.buffer(_STEP), *people])]
        bare = ~_meet(_shapes(boxes), [self.drawn.keep])
        boxes = boxes[bare] if bare.any() else boxes
        if not boxes.size:
            return None
        nearest = np.hypot(*(_middles(boxes) - pole).T).argmin()
        return Plate(*_corner(boxes[nearest]), *size)

    def _beside(
        self,
        ground: BaseGeometry,
        size: Size,
        others: Sequence[BaseGeometry],
        *,
        zones: Sequence[BaseGeometry] = (),
        tied: float = _STEP,
    ) -> Plate | None:
        """Give the nearest clear place beside a ground, on its side of the pad."""
        boxes = self._free(_about(ground, size), size)
        boxes = boxes[self._clear(boxes, [ground, *others, *zones])]
        boxes = boxes[self._alike(boxes, ground)]
        ways = shapely.shortest_line(ground, _shapes(boxes))
        near = shapely.length(ways) <= tied
        free = near | ~self._blocked(ways, boxes, others)
        boxes, ways, near = boxes[free], ways[free], near[free]
        if not boxes.size:
            return None
        pad = self.drawn.pad.centroid
        out = _OUTWARD * shapely.distance(pad, shapely.points(_middles(boxes)))
        best = int((shapely.length(ways) - np.nan_to_num(out)).argmin())
        lead = None if near[best] else ways[best]
        return Plate(*_corner(boxes[best]), *size, lead)

    def _clear(self, boxes: FloatArray, others: Iterable[BaseGeometry]) -> BoolArray:
        """Tell which boxes lie on no danger, line and other ground."""
        return ~_meet(_shapes(boxes), [self.drawn.danger, *self.leads, *others])

    def _alike(self, boxes: FloatArray, ground: BaseGeometry) -> BoolArray:
        """Tell which boxes lie on the same side of the pad as a ground."""
        if self.drawn.pad.is_empty or ground.intersects(self.drawn.pad):
            return np.ones(len(boxes), dtype=bool)
        pad = self.drawn.pad.centroid
        way = _toward(pad, ground.representative_point())
        return np.asarray((_middles(boxes) - pad.coords[0]) @ way > 0)

    def _shown(self, ground: BaseGeometry, boxes: FloatArray) -> BoolArray:
        """Tell which boxes leave their own ground in sight: beside it, or well within."""
        rim = boxes + _RIM * np.array([-1.0, -1.0, 1.0, 1.0])
        hidden = shapely.intersects(ground, _shapes(boxes))
        return np.asarray(~hidden | shapely.covers(ground, _shapes(rim)))

    def _blocked(
        self, ways: Any, boxes: FloatArray, others: Iterable[BaseGeometry]
    ) -> BoolArray:
        """Tell which tails run through the pad, a plate, another's line, others' ground or danger."""
        tails = shapely.polygons(wedges(ways, boxes))
        plates = (shapely.box(*box) for box in self.plates)
        crossed = _meet(tails, [*plates, *self.leads, *others, self.drawn.pad])
        under = shapely.length(shapely.intersection(ways, self.drawn.danger))
        blocked = crossed | (under > _UNDER)
        return np.asarray(blocked & (shapely.length(ways) > 0))

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

    def _keep(self, plate: Plate) -> Plate:
        self.take(plate.box, shut=True)
        if plate.lead is not None:
            self.leads.append(plate.lead)
        return plate


def _meet(shapes: Any, others: Iterable[BaseGeometry]) -> BoolArray:
    """Tell which shapes meet any of the others."""
    met = np.zeros(len(shapes), dtype=bool)
    for other in others:
        met |= shapely.intersects(other, shapes)
    return met


def _shapes(boxes: FloatArray) -> Any:
    return shapely.box(*boxes.T)


def _middles(boxes: FloatArray) -> FloatArray:
    return np.asarray((boxes[:, :2] + boxes[:, 2:]) / 2)


def _toward(one: shapely.Point, other: shapely.Point) -> FloatArray:
    """Give the way from a point to another, of length 1."""
    return np.subtract(other.coords[0], one.coords[0]) / max(one.distance(other), 1e-9)


def _corner(box: FloatArray) -> tuple[float, float]:
    return float(box[0]), float(box[1])


def _about(ground: BaseGeometry, size: Size, gaps: Sequence[int] = _GAPS) -> FloatArray:
    """Give upper left corners of boxes all about a ground, nearer and farther."""
    corners = shapely.get_coordinates(ground)
    corners = corners[:: -(-len(corners) // _CORNERS)]
    edge = _ROUND / np.abs(_ROUND).max(1, keepdims=True)
    half = np.array(size) / 2
    away = edge * (half + np.array(gaps)[:, None, None])
    return np.asarray((corners[:, None, None] + away - half).reshape(-1, 2))


def _held(aim: tuple[float, ...], size: Size, whole: Size) -> Plate:
    """Keep a box about a spot in sight."""
    left = min(max(aim[0] - size[0] / 2, _EDGE), whole[0] - _EDGE - size[0])
    top = min(max(aim[1] - size[1] / 2, _EDGE), whole[1] - _EDGE - size[1])
    return Plate(left, top, *size)
