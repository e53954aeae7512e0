"""Harm to people: casualties expected of a flight, and the risk at the worst spot."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import FloatArray, IntArray
from driftmap.core.estimate import CONFIDENCE, Estimate, weighted_mean
from driftmap.ground.areas import Area
from driftmap.hazard.harm import THRESHOLDS, WIDEST_PATCH
from driftmap.hazard.impacts import Impacts
from driftmap.hazard.probability import inside


@dataclass(frozen=True, slots=True)
class Casualties:
    """Casualties expected of one flight.

    Parameters
    ----------
    areas : mapping of str to Estimate
        In each area with people in it.
    total : Estimate
        In all of them; the interval is that of the sum, not the sum of intervals.
    uncounted : tuple of str
        Occupied areas whose head count is not known. Where there are any, the total is
        too small and a verdict must hold.
    """

    areas: Mapping[str, Estimate]
    total: Estimate
    uncounted: tuple[str, ...]


def expected_casualties(
    impacts: Impacts, areas: Sequence[Area], *, occupied: Sequence[str] = ()
) -> Casualties:
    r"""Return the casualties expected of one flight.

    .. math:: E_c = \sum_\mathrm{areas} \sum_\mathrm{cases} p_\mathrm{case}\,
        \mathrm{E}\Big[\sum_\mathrm{pieces} A_c\Big] \frac{N}{A}

    over the pieces that land in the area with enough energy to harm. People stand evenly
    in their area (14 CFR part 420, appendix C; form from memory); all of them on the worst
    of its parts, where it has several or a neck parts it.

    Parameters
    ----------
    impacts : Impacts
        From `driftmap.hazard.impacts.gather`.
    areas : sequence of Area
        Areas of the site.
    occupied : sequence of str
        Roles where people are though no head count is given.

    Returns
    -------
    Casualties
        For each area and in total.

    Notes
    -----
    A person struck by two pieces counts twice. A piece that lands just outside an area
    and reaches into it is not counted, one that lands just inside and reaches out is
    counted whole: the two cancel where landings are spread wider than a casualty area.
    """
    counted = [area for area in areas if area.people]
    found: dict[str, Estimate] = {}
    everywhere = np.zeros(impacts.flights)
    stood = []
    for area in counted:
        harm, crowd, part = _worst_part(impacts, area)
        found[area.name] = weighted_mean(harm, impacts.flights, crowd * impacts.most)
        everywhere += harm
        stood.append((crowd, part))
    # A landing on the edge that two areas share counts in both.
    most = max(impacts.most * _densest(stood), float(everywhere.max()))
    total = Estimate(0.0, 0.0, 0.0, 0, impacts.flights)  # nobody there, nobody hurt
    if counted:
        total = weighted_mean(everywhere, impacts.flights, most)
    uncounted = tuple(a.name for a in areas if a.people is None and a.role in occupied)
    return Casualties(found, total, uncounted)


def _harmful(impacts: Impacts, area: Area, ground: BaseGeometry) -> IntArray:
    """Find the landings on some ground with enough energy to harm."""
    hit = inside(ground)(impacts.east, impacts.north)
    return np.flatnonzero(hit & (impacts.energy >= THRESHOLDS[area.shelter].value))


def _worst_part(impacts: Impacts, area: Area) -> tuple[FloatArray, float, BaseGeometry]:
    """Let all people of an area in several parts stand where most harm comes down.

    A far or empty part must not thin out the crowd on another; who finds no room there
    stands on the rest. Gives what each flight does, shape (n,), people to the square metre
    [m⁻²], and where they stand.
    """
    found = []
    people = float(area.people or 0)
    most = max(_CROWDED, people / area.shape.area)
    for part in _grounds(area.shape):
        crowd = min(people / part.area, most)
        harm = crowd * _dealt(impacts, area, part)
        if crowd * part.area < people * (1 - 1e-9):
            rest = area.shape.difference(part)
            harm += (
                (people - crowd * part.area) / rest.area * _dealt(impacts, area, rest)
            )
        found.append((harm, crowd, part))
    return max(found, key=lambda row: (float(row[0].sum()), row[1]))


def _dealt(impacts: Impacts, area: Area, ground: BaseGeometry) -> FloatArray:
    """Sum the casualty areas that each flight brings down on some ground, shape (n,) [m²]."""
    rows = _harmful(impacts, area, ground)
    sums = np.bincount(impacts.flight[rows], impacts.danger[rows], impacts.flights)
    return np.asarray(sums, dtype=float)


_NECKS: Final = (1.5, 3.0, 6.0, 12.0, 24.0, 48.0, 96.0, 192.0)
"""Ground narrower than this joins no two crowds [m]: it is a path between them; assumed. But for
the narrowest, only where `_OF_WIDTH` of it go into the widest place of the ground."""

_WIDE: Final = 12.0
"""Beyond a neck of this [m] what it leaves at the ends is a corner rather than a narrow place."""

_OF_WIDTH: Final = 4.0

_PATH: Final = 20.0
"""A path shorter than this parts no crowd: edges drawn by hand waver [m]; assumed."""

_MOST: Final = 0.9
"""What is left without its narrowest necks must be so much of it: else it is a narrow line; assumed."""

_NOOK: Final = 100.0
"""A narrow end so large [m²] is ground of its own, beside the wide one it hangs on; assumed."""

_CROWDED: Final = 4.0
"""People on a square metre of a part, where not more were told for the whole: more do not stand
there (common practice, no source)."""


@lru_cache(1024)  # asked for each case
def _grounds(shape: BaseGeometry) -> tuple[BaseGeometry, ...]:
    """Part an area into grounds on which all of its people may stand, cut at its necks."""
    found: list[BaseGeometry] = []
    for part in shapely.get_parts(shape):
        wide, crowds = _crowds(part, _NECKS[0])
        line = wide.area < _MOST * part.area
        found += [part] if line else crowds
        width = 2 * shapely.length(shapely.maximum_inscribed_circle(part, 0.5))
        for neck in (neck for neck in _NECKS[1:] if neck <= width / _OF_WIDTH):
            wide, crowds = _crowds(part, neck)
            crowds += _nooks(part, wide) if neck <= _WIDE else []
            found += crowds if len(crowds) > 1 else []
    return tuple(found)


def _crowds(part: BaseGeometry, neck: float) -> tuple[BaseGeometry, list[BaseGeometry]]:
    """Return what is wider than a neck, and the grounds that it leaves apart."""
    wide = part.buffer(-neck / 2).buffer(neck / 2).intersection(part)
    crowds = shapely.get_parts(wide.buffer(_PATH / 2))
    return wide, [part.intersection(crowd) for crowd in crowds]


def _nooks(part: BaseGeometry, wide: BaseGeometry) -> list[BaseGeometry]:
    """Return the narrow ends that hang on one wide ground: a path would lead to another."""
    near = shapely.buffer(shapely.get_parts(wide), 0.01)
    return [
        rest
        for rest in shapely.get_parts(part.difference(shapely.union_all(near)))
        if rest.area >= _NOOK and shapely.dwithin(near, rest, 0.01).sum() == 1
    ]


def _densest(crowds: Sequence[tuple[float, BaseGeometry]]) -> float:
    """Return the most people on a square metre anywhere, overlaps added up [m⁻²]."""
    shapes = [shape for _, shape in crowds]
    apart = sum(shape.area for shape in shapes)
    if shapely.union_all(shapes).area < apart * (1 - 1e-9):
        return sum(crowd for crowd, _ in crowds)
    return max((crowd for crowd, _ in crowds), default=0.0)


@dataclass(frozen=True, slots=True)
class SpotRisk:
    """Risk to one person who stays at one spot, per flight.

    Parameters
    ----------
    area : str
        The area.
    east, north : float
        Middle of the square with the highest estimate, from the pad [m].
    risk : Estimate
        Probability of casualty there. The interval is that of the worst square: it holds
        for all squares of the area together.
    """

    area: str
    east: float
    north: float
    risk: Estimate


def individual_risk(impacts: Impacts, area: Area) -> SpotRisk:
    """Return the risk at the worst spot of an area.

    The density of harmful landings about the spot, times their casualty area [1]_: each
    counts in a square about the spot that is as small as suits the spread of its piece,
    where that comes down often. So a narrow fall does not hide in a wide square, and a wide
    one is not known by the few of its landings that hit a small one.

    Parameters
    ----------
    impacts : Impacts
        From `driftmap.hazard.impacts.gather`.
    area : Area
        Where someone stands.

    Notes
    -----
    Spots lie a third of `WIDEST_PATCH` apart, and where most comes down half of the narrowest
    square there. The highest of many uncertain figures is biased upward, to the safe side.
    The ends of the interval are the highest lower and the highest upper end of all spots,
    each at a confidence raised for their number (Bonferroni).

    References
    ----------
    .. [1] 14 CFR part 420, appendix C (form from memory); valid where a casualty area is
       small against the spread of the landings.
    """
    near = _nearby(impacts, area)
    spots, _ = _lattice(area.shape, WIDEST_PATCH / 3)
    looked = len(spots)
    step = float(near.side.min(initial=WIDEST_PATCH)) / 2
    if step < WIDEST_PATCH / 2:
        fine, more = _lattice(area.shape, step, near)
        spots, looked = np.concatenate([spots, fine]), looked + more
    confidence = 1 - (1 - CONFIDENCE) / looked

    def told(each: FloatArray) -> Estimate:
        return weighted_mean(each, impacts.flights, near.densest, confidence=confidence)

    nothing = told(np.zeros(0))  # about most spots of wide ground
    found = [told(each) if each.size else nothing for each in _each_spot(near, spots)]
    worst = max(range(len(found)), key=lambda i: found[i].estimate)
    lower, upper = (max(getattr(e, k) for e in found) for k in ("lower", "upper"))
    east, north = spots[worst].tolist()
    risk = replace(found[worst], lower=lower, upper=upper)
    return SpotRisk(area.name, east, north, risk)


_SEEN: Final = 50
"""Landings of a piece about an area from which on it comes down there often: what comes more
rarely is averaged over the widest squares, as little is known of where it is dense."""


@dataclass(frozen=True, slots=True, eq=False)
class _Nearby:
    """Harmful landings about an area, each with its square."""

    flight: IntArray
    east: FloatArray
    north: FloatArray
    side: FloatArray
    brought: FloatArray  # danger over the area of the square
    densest: float  # most that it can add up to in one flight


def _nearby(impacts: Impacts, area: Area) -> _Nearby:
    about = shapely.box(*shapely.bounds(area.shape.buffer(WIDEST_PATCH)))
    rows = _harmful(impacts, area, about)
    often = np.bincount(impacts.piece[rows], minlength=impacts.sides.size) >= _SEEN
    sides = np.where(often, impacts.sides, WIDEST_PATCH)
    more = np.sum(impacts.peaks * (1 / sides**2 - 1 / WIDEST_PATCH**2))
    side = sides[impacts.piece[rows]]
    return _Nearby(
        impacts.flight[rows],
        impacts.east[rows],
        impacts.north[rows],
        side,
        impacts.danger[rows] / side**2,
        impacts.most / WIDEST_PATCH**2 + float(more),
    )


_BUSIEST: Final = 100
"""Spots that are looked at closely, those about which most comes down."""

_CELLS: Final = 4e6  # of a lattice at the most


def _lattice(
    shape: BaseGeometry, step: float, near: _Nearby | None = None
) -> tuple[FloatArray, int]:
    """Lay spots over a shape: all, or, to its very edge, those about which most comes down.

    Result: spots, shape (s, 2), and how many there might have been.
    """
    west, south, east, north = shape.bounds
    size = np.array([east - west, north - south])
    step = max(step, math.sqrt(float(size.prod()) / _CELLS))
    number = np.maximum(np.ceil(size / step), 1).astype(int)
    first, steps = (
        np.array([west, south]) - (number * step - size) / 2,
        np.full(2, step),
    )
    if near is not None:
        number, steps = number + 1, size / number
        first = np.array([west, south]) - steps / 2
    much = np.ones(number) if near is None else _brought(near, first, steps, number)
    cells = np.stack(np.nonzero(much), axis=1)
    corner = first + cells * steps
    shapely.prepare(shape)
    boxes = shapely.box(*corner.T, *(corner + steps).T)
    touched = shapely.intersects(shape, boxes)
    spots = corner[touched] + steps / 2
    if near is None:
        return spots, len(spots)
    order = np.argsort(-much[tuple(cells[touched].T)], kind="stable")
    most = math.ceil(shape.buffer(1.5 * step).area / float(steps.prod()))
    return spots[order[:_BUSIEST]], min(most, int(number.prod()))


def _brought(
    near: _Nearby, first: FloatArray, steps: FloatArray, number: IntArray
) -> FloatArray:
    """Add up the danger in each cell of a lattice and those about it, shape as `number`."""
    at = np.stack([near.east, near.north], axis=1)
    cells = np.floor((at - first) / steps).astype(np.intp) + 1
    on = np.all((cells >= 0) & (cells < number + 2), axis=1)
    sums = np.zeros(number + 2)
    np.add.at(sums, tuple(cells[on].T), (near.brought * near.side**2)[on])
    rows = sums[:, :-2] + sums[:, 1:-1] + sums[:, 2:]
    return np.asarray(rows[:-2] + rows[1:-1] + rows[2:])


def _each_spot(near: _Nearby, spots: FloatArray) -> Iterator[FloatArray]:
    """Add up what each flight brings about each spot [m⁻²]."""
    reach, key = WIDEST_PATCH / 2, 1 << 31
    column = np.floor(near.east / reach).astype(np.int64)
    bins = column * key + np.floor(near.north / reach).astype(np.int64)
    order = np.argsort(bins, kind="stable")
    bins = bins[order]
    middle = np.floor(spots / reach).astype(np.int64) @ (key, 1)
    beside = middle[:, None, None] + np.array([-key, 0, key])[:, None] + (-1, 2)
    ends = np.searchsorted(bins, beside)  # shape (s, 3, 2)
    filled = np.any(ends[:, :, 0] < ends[:, :, 1], axis=1)
    for spot, own, any_near in zip(spots.tolist(), ends, filled, strict=True):
        if not any_near:
            yield np.zeros(0)
            continue
        east, north = spot
        rows = np.concatenate([order[start:end] for start, end in own])
        half = near.side[rows] / 2
        within = np.abs(near.east[rows] - east) <= half
        rows = rows[within & (np.abs(near.north[rows] - north) <= half)]
        yield np.asarray(np.bincount(near.flight[rows], near.brought[rows]), float)
