"""Two zones from all outlines: where what falls can kill or maim, and where it can hurt.

And the nearest ground that neither reaches: where to send who stands in one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache, partial
from itertools import product
from typing import Final, Literal, TypeAlias
from weakref import WeakKeyDictionary

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import BoolArray, FloatArray, Kept
from driftmap.core.pools import in_order
from driftmap.ground.areas import Site
from driftmap.ground.contours import Contour
from driftmap.hazard.harm import HURTS, KILLS
from driftmap.hazard.outlines import Lines, Outlines
from driftmap.montecarlo.cloud import Cloud
from driftmap.montecarlo.columns import Part
from driftmap.rocket.likelihood import LIKELIHOOD, WORKS, default_likelihood

ZoneKind: TypeAlias = Literal["danger", "caution"]
Line: TypeAlias = Callable[[Part], shapely.MultiPolygon]

_ROUNDED: Final = 0.2
"""Bumps and bays as narrow as twice this, over the root of the area, are taken off and
filled: an outline is drawn by few landings there."""

_GROWTHS: Final = (0.015, 0.03, 0.05)
"""How far an outline is moved outward for it, over the root of its area: the least that
leaves it its landings."""

_ISLET: Final = 0.005
"""Parts of an outline smaller than this share of its area are noise of the sampling."""

_LOST: Final = 0.001
"""Share of the landings that may lie on such parts and bumps; more is no noise, as where a
case has so few flights that one landing is an islet."""


_EARLY: Final = 0.05
"""Share of a piece's landings that are down by the second told of it."""


@dataclass(frozen=True, slots=True, eq=False)
class Zone:
    """Ground on which pieces of one grade of harm come down.

    Parameters
    ----------
    kind : {"danger", "caution"}
        Whether what comes down there can kill or maim.
    shape : shapely.MultiPolygon
        All outlines together, from the pad [m].
    heart : shapely.MultiPolygon
        Outline of the fall that speaks for it.
    case, body : str
        The fall that speaks for it: of danger the hardest; of caution the rocket when
        recovery works, where that is one of them, else the hardest.
    speed, energy : float
        Median speed [m s⁻¹] and energy [J] of that fall.
    soonest : float
        Time after lift-off before which 5 % of a fall are down [s]: of that one where it
        is the plan, else of the first of all that do such harm, in whatever case.
    """

    kind: ZoneKind
    shape: shapely.MultiPolygon
    heart: shapely.MultiPolygon
    case: str
    body: str
    speed: float
    energy: float
    soonest: float


def grade(energy: float) -> ZoneKind | None:
    """Grade a piece by the median energy it lands with [J].

    Result: danger from `KILLS` on, caution from `HURTS` on; None below, as for a loose
    canopy that comes down empty.

    Examples
    --------
    >>> grade(0.6), grade(51.0), grade(11_700.0)
    (None, 'caution', 'danger')
    """
    if energy >= KILLS.value:
        return "danger"
    return "caution" if energy >= HURTS.value else None


def calmed(
    shape: BaseGeometry, east: Kept, north: Kept, weights: FloatArray | None = None
) -> shapely.MultiPolygon:
    """Smooth an outline and drop islets of sampling noise; its share stays inside.

    ``east`` and ``north``, shape (n,): landing points that it was drawn from [m];
    ``weights``, shape (n,): weight of each.

    Result: it holds at least as many landings, and all but 1 in 1,000 of the same ones.
    """
    keeps, grown = _keeper(shape, east, north, weights), cache(partial(_grown, shape))
    for scale, islet, growth in product((1.0, 0.5, 0.25), (_ISLET, 0.0), _GROWTHS):
        smooth = _smooth(grown(islet, growth), scale)
        # Two or three landings may lie beside the specks that are drawn of them.
        if keeps(smooth) and not smooth.is_empty:
            return smooth
    return _smooth(grown(0.0, _GROWTHS[0]), 0.0)  # nothing taken off


def _keeper(
    shape: BaseGeometry, east: Kept, north: Kept, weights: FloatArray | None
) -> Callable[[BaseGeometry], bool]:
    """Make the test whether other ground holds as many landings, and all but few the same."""

    def within(ground: BaseGeometry) -> BoolArray:
        shapely.prepare(ground)
        return np.asarray(shapely.intersects_xy(ground, east, north))

    def keeps(ground: BaseGeometry) -> bool:
        now = within(ground)
        lost, share, before = (
            np.average(rows, weights=weights) for rows in (held & ~now, now, held)
        )
        return bool(lost <= _LOST and share >= before)

    held = within(shape)
    return keeps


def taut(
    shape: BaseGeometry, east: Kept, north: Kept, weights: FloatArray | None = None
) -> shapely.MultiPolygon:
    """Draw an outline as a string round it, for a page that joins those of many winds.

    Islets are dropped and the line is moved outward as `calmed` does it, in a hundredth
    of the time; bays are filled.

    Parameters
    ----------
    shape : BaseGeometry
        Polygons [m].
    east, north : ndarray, shape (n,)
        Landing points that it was drawn from [m].
    weights : ndarray, shape (n,), optional
        Weight of each.

    Returns
    -------
    shapely.MultiPolygon
        One convex part; it holds all but 1 in 1,000 of the landings that `shape` holds,
        and no fewer of all.
    """
    parts = shapely.get_parts(shape)
    area = shapely.area(parts)

    def around(kept: NDArray[np.object_]) -> shapely.Polygon:
        string = shapely.MultiPolygon(list(kept)).convex_hull
        return string.buffer(_GROWTHS[0] * np.sqrt(area.sum()), quad_segs=6)

    large = parts[area >= _ISLET * area.sum()]
    round_ = around(large)
    # What goes round all of it holds all.
    if large.size < parts.size and not _keeper(shape, east, north, weights)(round_):
        round_ = around(parts)
    return shapely.MultiPolygon([round_])


def _grown(
    shape: BaseGeometry, islet: float, growth: float
) -> tuple[BaseGeometry, float]:
    """Drop islets of a shape and grow it over its bays; give their width too [m]."""
    parts = shapely.get_parts(shape)
    whole = shapely.area(parts).sum()
    kept = shapely.union_all(parts[shapely.area(parts) >= islet * whole])
    side = np.sqrt(whole)
    bay = side * _ROUNDED
    return kept.buffer(growth * side + bay, quad_segs=6), bay


def _smooth(grown: tuple[BaseGeometry, float], scale: float) -> shapely.MultiPolygon:
    """Take bays and bumps off what was grown, bumps to a scale of bays."""
    wide, bay = grown
    round_ = wide.buffer(-bay - scale * bay, quad_segs=6)
    round_ = round_.buffer(scale * bay, quad_segs=6)
    return shapely.MultiPolygon(list(shapely.get_parts(round_)))


@dataclass(frozen=True, slots=True)
class Anywhere:
    """What may come down on any side, as a rocket that goes off its path under power.

    Parameters
    ----------
    likelihood : float
        Share of flights to which it happens; no file takes it below the default.
    within : float
        Distance from the pad that holds 99 % of each piece of it that can hurt [m].
    """

    likelihood: float
    within: float


def anywhere(cloud: Cloud) -> Anywhere | None:
    """Sum up the cases that may go any way, which no zone can hold.

    Result: None where no such case brings down anything that can hurt.
    """
    cases = {case.name: case for case in cloud.tree.cases if case.any_way}
    flight = cloud.plan.flight
    usual = {c: default_likelihood(c, flight) for c in cases if c in LIKELIHOOD}
    found = [
        (max(cases[part.case].probability, usual.get(part.case, 0.0)), part)
        for part in cloud.parts
        if part.case in cases and _grade_of(cloud, part) is not None
    ]
    if not found:
        return None
    away = np.hypot(cloud.east, cloud.north)
    far = max(float(p.quantile(away, 0.99)) for _, p in found)
    return Anywhere(sum({p.case: share for share, p in found}.values()), far)


def zones(cloud: Cloud, line: Line) -> tuple[Zone, ...]:
    """Put the outlines of all pieces in all cases together by the harm they do.

    Cases that may go any way are left to `anywhere`: they would paint the whole field. So
    are those too rare to be judged by themselves, whatever a file says of them.

    Each outline holds 99 % of the landings of its piece, however unlikely its case, so
    a zone holds at least as much of everything that falls with its grade of harm.

    ``line``: from `outer_line`.

    Result: danger before caution; one that nothing falls in is left out.
    """
    apart = {c.name for c in cloud.tree.cases if c.any_way or c.rare}
    graded: dict[ZoneKind, list[Part]] = {"danger": [], "caution": []}
    for part in (part for part in cloud.parts if part.case not in apart):
        if kind := _grade_of(cloud, part):
            graded[kind].append(part)
    return tuple(_zone(kind, cloud, of, line) for kind, of in graded.items() if of)


def _grade_of(cloud: Cloud, part: Part) -> ZoneKind | None:
    """Grade a piece; the rocket itself is never left out, however softly it lands."""
    found = grade(_median(cloud.energy, part))
    return found or ("caution" if part.body == "rocket" else None)


def _zone(kind: ZoneKind, cloud: Cloud, parts: list[Part], line: Line) -> Zone:
    speaks = max(parts, key=lambda part: _median(cloud.energy, part))
    if kind == "caution":
        planned = [p for p in parts if p.case == WORKS and p.body == "rocket"]
        speaks = planned[0] if planned else speaks
    outlines = {part: line(part) for part in parts}
    # Notches where outlines cross are filled too: outward, so that all they hold stays in.
    whole = _smooth(_grown(shapely.union_all(list(outlines.values())), 0.0, 0.003), 0.0)
    return Zone(
        kind,
        whole,
        outlines[speaks],
        speaks.case,
        speaks.body,
        _median(cloud.speed, speaks),
        _median(cloud.energy, speaks),
        _soonest(cloud, kind, speaks),
    )


def _soonest(cloud: Cloud, kind: ZoneKind, speaks: Part) -> float:
    """Give the second before which few that do such harm are down [s].

    Of all cases, those that no zone holds too, and of every piece that so falls in one flight
    of twenty: who reads a second beside a zone trusts the ground until then.
    """
    own = float(speaks.quantile(cloud.time, _EARLY))
    if speaks.case == WORKS:
        return own
    least = (KILLS if kind == "danger" else HURTS).value
    found = [
        float(part.quantile(cloud.time, _EARLY))
        for part in cloud.parts
        if np.average(cloud.energy[part.rows] >= least, weights=part.weights) >= _EARLY
    ]
    return min([own, *found])


def outer_line(cloud: Cloud, contours: Lines) -> Line:
    """Give what draws the widest outline of a piece as every page has it: calmed.

    ``contours``: outlines by case and body, the widest last.

    Result: a function of the piece; each outline is worked out once for all pages of a
    cloud, and kept no longer than it.
    """
    kept = _DRAWN.setdefault(cloud, {})

    def line(part: Part) -> shapely.MultiPolygon:
        key = part.case, part.body
        if key not in kept:
            at = cloud.east[part.rows], cloud.north[part.rows]
            kept[key] = calmed(contours[key][-1].shape, *at, part.weights)
        return kept[key]

    return line


def draw_ahead(cloud: Cloud, contours: Outlines) -> None:
    """Draw the outlines of all pieces on all processors, for a page that shows them all."""
    line, kept = outer_line(cloud, contours), _DRAWN[cloud]
    if len(kept) == len(contours):
        return

    def drawn(i: int) -> tuple[tuple[Contour, ...], shapely.MultiPolygon]:
        part = cloud.parts[i]
        return contours[part.case, part.body], line(part)

    pieces = range(len(cloud.parts))
    for key, (own, outer) in zip(contours, in_order(drawn, pieces), strict=True):
        contours.take({key: own})
        kept[key] = outer


_DRAWN: Final[WeakKeyDictionary[Cloud, dict[tuple[str, str], shapely.MultiPolygon]]] = (
    WeakKeyDictionary()
)


def _median(column: Kept, part: Part) -> float:
    return float(part.quantile(column, 0.5))


_PACE: Final = 5.0
"""Between ways that are tried, each longer than the one before [m]."""

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
