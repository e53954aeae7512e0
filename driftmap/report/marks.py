"""What the opening picture shows; marks of pieces and people; squares and rings about the pad."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely.affinity import scale
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import FloatArray
from driftmap.core.units import FOOT
from driftmap.ground.areas import PAD, Area
from driftmap.hazard.zones import Zone, ZoneKind
from driftmap.report.words import Units
from driftmap.verdict.assessment import Assessment
from driftmap.verdict.check import OUTCOMES, Check, Kind, Outcome

DRAWN_KINDS: Final = {
    **dict.fromkeys(("building", "airport", "closed ground"), "keep"),
    "road": "road",
    "railway": "railway",
    "power line": "power",
    "water": "water",
}
"""How ground nobody is in is drawn, by its role; any other as "keep"."""

WAYS: Final = {"road": "road", "railway": "railway", "power": "power line"}
"""Ground that runs on past any picture, as it is drawn, and its role."""

MOST_POINTS: Final = 2000
"""Landing points shown of each piece; the contours are made of all of them."""

_SAME_GROUND: Final = 0.8
"""Share of their joint ground that two outlines have in common to be much the same."""


def worst_of(checks: Iterable[Check], name: str) -> Outcome:
    """Return the worst that checks say of an area, open questions aside.

    Who stands under a fall is told beside the word though it passes: never as if clear.
    """
    said: list[Outcome] = [
        "warn" if c.kind is Kind.UNDER_THE_FALL and c.outcome == "pass" else c.outcome
        for c in checks
        if c.about(name) and not c.question
    ]
    return max(said, key=OUTCOMES.index, default="pass")


def seen_outcome(said: Outcome, kind: ZoneKind | None) -> Outcome:
    """Return the mark of people's ground: what reaches into a zone never looks as if clear of it.

    ``said``: by the checks; ``kind``: the zone it reaches into. Nobody stands in danger,
    whatever the verdict.
    """
    if kind is None:
        return said
    least: Outcome = "fail" if kind == "danger" else "warn"
    return max(said, least, key=OUTCOMES.index)


def people_numbers(areas: Iterable[Area]) -> dict[str, int]:
    """Give a number to each area that people are in.

    ``areas``: areas of a site.

    Result: from 1 in the order of the site file, by name.
    """
    crowd = [area.name for area in areas if area.occupied]
    return {name: number for number, name in enumerate(crowd, start=1)}


def piece_marks(pieces: Iterable[tuple[str, str]]) -> list[tuple[str, int, int]]:
    """Give each piece its mark on a map.

    ``pieces``: case and body of each, those of a case together.

    Result: number of the case, with a letter where the case has several pieces; place of
    the case in the palette; dash pattern.
    """
    cases = [case for case, _ in pieces]
    numbers = {case: number for number, case in enumerate(dict.fromkeys(cases))}
    found: list[tuple[str, int, int]] = []
    for place, case in enumerate(cases):
        letter = chr(ord("a") + place - cases.index(case))
        mark = f"{numbers[case] + 1}{letter if cases.count(case) > 1 else ''}"
        found.append((mark, numbers[case] % 10 + 1, place % 16))
    return found


def marks_of(assessment: Assessment) -> list[tuple[str, int, int]]:
    """Return the pieces of an assessment their marks, in the order of the cloud's parts."""
    return piece_marks((part.case, part.body) for part in assessment.cloud.parts)


def lookalikes(assessment: Assessment) -> list[str]:
    """Find the pieces that land on much the same ground as one before them.

    Such a piece is not drawn until it is switched on: its outline would hide another.

    Result: mark of the other piece, empty where there is none; in the order of the
    cloud's parts.
    """
    drawn: dict[str, BaseGeometry] = {}
    found = []
    marks = marks_of(assessment)
    for part, (mark, _, _) in zip(assessment.cloud.parts, marks, strict=True):
        outline = assessment.contours[part.case, part.body][-1].shape
        same = [name for name, other in drawn.items() if _much_alike(outline, other)]
        found.append(same[0] if same else "")
        if not same:
            drawn[mark] = outline
    return found


def _much_alike(one: BaseGeometry, other: BaseGeometry) -> bool:
    common = one.intersection(other).area
    return bool(common > _SAME_GROUND * (one.area + other.area - common))


def middle_of(shape: BaseGeometry) -> list[FloatArray]:
    """Give a line along each part of a strip, which beads are set on: one of its long sides.

    Result: corners from the pad, shape (n, 2) [m].
    """
    found = []
    for ring in shapely.get_exterior_ring(shapely.get_parts(shape)):
        xy = shapely.get_coordinates(ring)[:-1]
        one = int(np.argmax(np.hypot(*(xy - xy.mean(axis=0)).T)))
        xy = np.roll(xy, -one, axis=0)
        other = int(np.argmax(np.hypot(*(xy - xy[0]).T)))
        found.append(xy[: other + 1])
    return found


_FARTHER: Final = 1.5  # times the reach of what falls
_LEFT: Final = 0.05
"""Share of the caution zone that must lie outside danger for it to be worth a word."""

_NEAR: Final = 500.0  # m; as near as this, ground is always shown


def in_sight(shape: BaseGeometry, zones: Sequence[Zone]) -> bool:
    """Say whether ground is near enough for the opening picture.

    Ground far beyond anything that falls would make the field a dot.
    """
    corners = [shapely.get_coordinates(zone.shape) for zone in zones]
    reach = max((float(np.hypot(*xy.T).max()) for xy in corners), default=0.0)
    away = shape.distance(PAD)
    return bool(away <= _NEAR + _FARTHER * reach)


_BEHIND: Final = 1.5, 1.5
"""Behind people, seen from the pad, so many times their distance is in the picture."""

_ABOUT: Final = 1.6
"""Zones are seen so many times as far as people stand: a crowd in a picture of miles is a dot."""


def opening(
    zones: Sequence[Zone], people: Iterable[tuple[BaseGeometry, bool]]
) -> BaseGeometry:
    """Return the ground that is seen first: pad and people whole, zones as far as that leaves them large.

    ``people``: ground of each place, and whether it must be seen; other places only as far
    as danger reaches, lest they make the rest small.
    """
    worst = zones[0].shape if zones else PAD
    reach = float(np.hypot(*shapely.get_coordinates(worst).T).max())
    near = [g for g, must in people if must or g.distance(PAD) <= reach]
    ground = shapely.union_all(near)
    behind = scale(ground, *_BEHIND, origin=(0.0, 0.0))  # room for their names
    need = shapely.union_all([ground, behind, PAD.buffer(100.0)])
    far = float(np.hypot(*shapely.get_coordinates(ground).T).max(initial=0.0))
    about = PAD.buffer(max(_ABOUT * far, _NEAR)) if near else worst.envelope
    return shapely.union_all([need, *(zone.shape & about for zone in zones)])


def shown(zones: Sequence[Zone]) -> tuple[Zone, ...]:
    """Leave out a caution zone that danger covers but for a sliver."""
    if len(zones) < 2:
        return tuple(zones)
    danger, caution = zones
    left = shapely.difference(caution.shape, danger.shape).area
    return (danger, caution) if left >= _LEFT * caution.shape.area else (danger,)


def zone_at(shape: BaseGeometry, zones: Sequence[Zone]) -> ZoneKind | None:
    """Say which zone ground reaches into, the worse one first; None for ground clear of both.

    ``zones``: danger before caution.
    """
    touched = (zone.kind for zone in zones if zone.shape.intersects(shape))
    return next(touched, None)


Bounds = tuple[float, float, float, float]
"""West, south, east, north from the pad [m]."""

LETTERS: Final = "ABCDEFGHJKLMNPQRSTUVWXYZ"  # no I and no O: they are heard as 1 and 0
_SIZES: Final[dict[Units, tuple[float, ...]]] = {
    "us": tuple(FOOT * n * 10**k for k in range(7) for n in (50, 100, 200, 250)),
    "si": tuple(float(n * 10**k) for k in range(7) for n in (20, 25, 50, 100)),
}
_MOST: Final = 12
"""Squares along a side: more are too small to read, and too many to say."""

_MOST_RINGS: Final = 5
_SPOKE: Final = 30  # deg


@dataclass(frozen=True, slots=True)
class Squares:
    """A grid of named squares; the pad stands where four of them meet.

    Parameters
    ----------
    size : float
        Side of a square [m].
    west, south : float
        Lower left corner of square A1 from the pad [m].
    columns, rows : int
        Squares toward east, named by letters, and toward north, named by numbers.
    """

    size: float
    west: float
    south: float
    columns: int
    rows: int

    @property
    def letters(self) -> str:
        """Letters of the columns from west to east."""
        return LETTERS[: self.columns]

    def lines(self) -> list[FloatArray]:
        """Return the lines of the grid.

        Result: east and north of points along each line [m], shape (5, 2).
        """
        east = self.west + self.size * np.arange(self.columns + 1)
        north = self.south + self.size * np.arange(self.rows + 1)
        # Straight on the ground is not straight on the map: a few points bend it.
        along_e = np.linspace(east[0], east[-1], 5)
        along_n = np.linspace(north[0], north[-1], 5)
        return [
            *(np.column_stack([np.full(5, e), along_n]) for e in east),
            *(np.column_stack([along_e, np.full(5, n)]) for n in north),
        ]


def lay_squares(bounds: Bounds, units: Units) -> Squares:
    """Cover ground with the smallest round squares of which a dozen a side suffice.

    ``bounds``: west, south, east, north to cover [m]; ``units``: whether sides are
    round in feet or in metres.
    """
    west, south, east, north = bounds
    for size in _SIZES[units]:
        first, low = math.floor(west / size), math.floor(south / size)
        columns, rows = math.ceil(east / size) - first, math.ceil(north / size) - low
        if max(columns, rows) <= _MOST:
            break
    # No ground on Earth is wider than a dozen of the largest.
    columns, rows = (min(max(n, 1), len(LETTERS)) for n in (columns, rows))
    return Squares(size, first * size, low * size, columns, rows)


def ring_step(reach: float, units: Units) -> float:
    """Choose a round distance between rings.

    ``reach``: distance the rings should cover [m]; ``units``: whether it is round in
    feet or in metres.
    """
    sizes = _SIZES[units]
    return next((s for s in sizes if s * _MOST_RINGS >= reach), sizes[-1])


def rings(step: float) -> list[tuple[float, FloatArray]]:
    """Draw circles about the pad, so far apart [m].

    Result: radius, and points around from the pad, shape (n, 2) [m].
    """
    turn = np.radians(np.arange(0, 361, 5))
    circle = np.column_stack([np.sin(turn), np.cos(turn)])
    return [(float(r), r * circle) for r in step * np.arange(1, _MOST_RINGS + 1)]


def spokes(step: float) -> list[tuple[int, FloatArray]]:
    """Draw bearings out from the innermost ring.

    Result: bearing from true north [deg], and both ends from the pad, shape (2, 2) [m].
    """
    ends = step * np.array([1.0, _MOST_RINGS])
    return [
        (d, np.outer(ends, [math.sin(math.radians(d)), math.cos(math.radians(d))]))
        for d in range(0, 360, _SPOKE)
    ]
