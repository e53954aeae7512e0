"""How often something comes down where it should not, and what flies over whom, with intervals."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import cached_property
from typing import Final
from weakref import WeakKeyDictionary, WeakSet

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import BoolArray, FloatArray, Kept
from driftmap.core.estimate import Estimate, binomial, weighted_mean, weighted_share
from driftmap.ground.areas import PAD, Waiver
from driftmap.montecarlo.cloud import Cloud
from driftmap.rocket.likelihood import WORKS

_HAIR: Final = 1e-9  # by which rounding might put a point beyond an edge
_AT_ONCE: Final = 1 << 18  # points that are tested together
_FEW: Final = 200  # points that are sooner tested than sorted out


def inside(shape: BaseGeometry) -> Callable[[Kept, Kept], BoolArray]:
    """Make the test whether points lie in a shape; its edge counts as inside.

    ``shape``: shape in metres from the pad.

    Result: takes east and north, shape (m,) [m]; gives bool, shape (m,). Raises
    `ValueError` if the shape is empty: nothing could ever hit it.
    """
    if shape.is_empty:
        raise ValueError("'shape' must not be empty")
    shapely.prepare(shape)
    west, south, right, top = shape.bounds
    middle = shape.centroid
    within = shape.contains(middle)  # then all is, as near to it as no edge is
    clear = (1 - _HAIR) * shape.boundary.distance(middle) if within else 0.0

    def some(east: Kept, north: Kept) -> BoolArray:
        near = (east >= west) & (east <= right) & (north >= south) & (north <= top)
        where = np.flatnonzero(near)
        if where.size > _FEW and clear > 0:
            x, y = east[where] - middle.x, north[where] - middle.y
            where = where[x * x + y * y >= clear * clear]
        near[where] = shapely.intersects_xy(shape, east[where], north[where])
        return np.asarray(near)

    def test(east: Kept, north: Kept) -> BoolArray:
        found = np.empty(east.size, bool)
        for start in range(0, east.size, _AT_ONCE):
            rows = slice(start, start + _AT_ONCE)
            found[rows] = some(east[rows], north[rows])
        return found

    return test


def outside(shape: BaseGeometry) -> Callable[[Kept, Kept], BoolArray]:
    """Make the test whether points lie outside a shape; its edge counts as inside.

    ``shape``: shape in metres from the pad.
    """
    within = inside(shape)
    return lambda east, north: ~within(east, north)


def struck(
    cloud: Cloud, test: Callable[[Kept, Kept], BoolArray]
) -> dict[str, BoolArray]:
    """Tell, for every case, the flights of which a piece passes a test.

    A trial is a flight, not a piece: the pieces of a flight share its wind and release.

    ``test``: takes east and north [m]; gives bool.

    Result: by name of the case, a value for each flight it happened to, shape (k,).
    Raises `ValueError` if a landing point is not finite; it would count as a miss.
    """
    check_landed(cloud)
    return _by_flight(cloud, test(cloud.east, cloud.north))


def _by_flight(cloud: Cloud, passed: BoolArray) -> dict[str, BoolArray]:
    """Tell, for every case, the flights of which any landing passed, shape (m,)."""
    found = {part.case: np.zeros(part.flights, bool) for part in cloud.parts}
    for part in cloud.parts:
        if np.count_nonzero(own := passed[part.rows]):
            found[part.case] |= own.reshape(part.count, -1).any(axis=0)
    return found


_LANDED: Final[WeakSet[Cloud]] = WeakSet()
"""Clouds that were looked at: one area after the other asks of the same one."""


def check_landed(cloud: Cloud) -> None:
    """Refuse landings that are no numbers: they would count as a miss."""
    if cloud in _LANDED:
        return
    for column in (cloud.east, cloud.north, cloud.energy):
        if not np.isfinite(column).all():
            raise ValueError("'cloud' must hold finite landing points only")
    _LANDED.add(cloud)


def widened_by(shape: BaseGeometry, distance: float) -> BaseGeometry:
    """Return ground with all within a distance of it [m].

    Part by part: of many hundreds of parts that is a hundredfold faster than all at once.
    """
    parts = shapely.get_parts(shape)
    return shapely.union_all(shapely.buffer(parts, distance))


def reached(
    cloud: Cloud, shape: BaseGeometry, *, beyond: float = 0.0
) -> dict[str, BoolArray]:
    """Tell, for every case, the flights of which a piece reaches into a shape.

    A piece reaches as far as a disc of its largest area, or of its rim where that is more
    (half the mean width of a convex shape: Cauchy). So a line or a thin strip of ground is
    hit by what really touches it.

    ``shape``: ground in metres from the pad; ``beyond``: how far what stands there
    reaches beyond it [m]: the radius of a person.

    Result: as `struck`, shape (k,).
    """
    check_landed(cloud)
    radii = {
        (case.name, body.name): round(
            max(float(np.sqrt(body.area / np.pi)), body.rim / (2 * np.pi)) + beyond, 3
        )
        for case in cloud.tree.cases
        for body in case.bodies
    }
    widest, (west, south, right, top) = max(radii.values()), shape.bounds
    near = (cloud.east >= west - widest) & (cloud.east <= right + widest)
    near &= (cloud.north >= south - widest) & (cloud.north <= top + widest)
    close: dict[float, list[NDArray[np.intp]]] = {}
    (every,), start = near.nonzero(), 0
    ends = every.searchsorted([part.rows.stop for part in cloud.parts])
    for part, end in zip(cloud.parts, ends.tolist(), strict=True):
        if start < end:
            close.setdefault(radii[part.case, part.body], []).append(every[start:end])
        start = end
    for radius, some in close.items():  # what is as large is tested together
        rows = np.concatenate(some)
        test = inside(widened_by(shape, radius))
        near[rows] = test(cloud.east[rows], cloud.north[rows])
    return _by_flight(cloud, near)


def beyond_reach(cloud: Cloud) -> Callable[[BaseGeometry], bool]:
    """Make the test whether a shape lies beyond twice the farthest that any piece landed.

    If landings thin out with distance at least as fast as an exponential, the farthest
    of `n` flights is one that ``1 / n`` of them pass, and fewer than ``1 / n**2`` go
    twice as far: that is the bound of `never_there`.

    ``cloud``: landing points of all pieces of all cases.

    Result: takes ground in metres from the pad; gives bool.
    """
    check_landed(cloud)
    squares = (cloud.east[p.rows] ** 2 + cloud.north[p.rows] ** 2 for p in cloud.parts)
    reach = 2 * math.sqrt(max(float(square.max()) for square in squares))
    return lambda shape: bool(shape.distance(PAD) > reach)


def never_there(cloud: Cloud) -> Estimate:
    """Return the probability of a hit beyond reach, as `beyond_reach` bounds it."""
    return Estimate(0.0, 0.0, 1 / cloud.flights**2, 0, cloud.flights)


def per_case(cloud: Cloud, hits: Mapping[str, BoolArray]) -> dict[str, Estimate]:
    """Return the probability in every case, the case taken as certain.

    ``cloud``: the cloud the hits were counted in.

    Result: by name of the case; its flights count by what they stand for.
    """
    return {
        name: weighted_share(hit, next(cloud.of(name)).stands_for)
        for name, hit in hits.items()
    }


def chances_of_hits(cloud: Cloud, hits: Mapping[str, BoolArray]) -> FloatArray:
    """Return how likely each flight hits, its cases weighed by their likelihood, shape (n,)."""
    chance = np.zeros(cloud.flights)
    for case in cloud.tree.cases:
        (hit,) = hits[case.name].nonzero()
        if hit.size:
            part = next(cloud.of(case.name))
            chance[part.who[hit]] += case.likelihood * part.stands_for[hit]
    return chance


def mixture(cloud: Cloud, hits: Mapping[str, BoolArray]) -> Estimate:
    """Weigh the cases of each flight by their likelihood.

    ``cloud``: the cloud the hits were counted in.

    Result: of a flight in which any of the cases may happen. The trial is the flight
    with all its cases, which share its draws; the interval is that of
    `driftmap.core.estimate.weighted_mean`.
    """
    chance = chances_of_hits(cloud, hits)
    mean = weighted_mean(chance[chance > 0], cloud.flights, max(1.0, chance.max()))
    upper = min(mean.upper, 1.0)
    return Estimate(mean.estimate, mean.lower, upper, mean.hits, cloud.flights)


class Paths:
    """Ways over the ground, of which one area after the other is asked.

    Parameters
    ----------
    places : ndarray, shape (p, 2, n)
        East and north of points that straight lines join, of each flight [m].
    """

    def __init__(self, places: NDArray[np.floating]) -> None:
        self.count, self._places = places.shape[2], places
        self._low, self._high = places.min(axis=0), places.max(axis=0)

    @cached_property
    def _lines(self) -> NDArray[np.object_]:
        return np.asarray(shapely.linestrings(np.moveaxis(self._places, 2, 0)))

    def near(self, shape: BaseGeometry) -> NDArray[np.object_]:
        """Return the lines that may touch a shape."""
        (west, south, east, north), (low, high) = shape.bounds, (self._low, self._high)
        near = (low[0] <= east) & (high[0] >= west)
        near &= (low[1] <= north) & (high[1] >= south)
        if not near.any():
            return np.empty(0, object)
        if self.count <= _MOST_LINES:
            return np.asarray(self._lines[near])
        return np.asarray(
            shapely.linestrings(np.moveaxis(self._places[:, :, near], 2, 0))
        )


_MOST_LINES: Final = 50_000  # that are kept
_WAYS_UP: Final[WeakKeyDictionary[Cloud, Paths]] = WeakKeyDictionary()


def ways_up(cloud: Cloud) -> Paths:
    """Draw the ways from the pad to apogee over the ground, one for each flight."""
    if cloud not in _WAYS_UP:
        _WAYS_UP[cloud] = Paths(cloud.way[:, :2])
    return _WAYS_UP[cloud]


def ways_down(cloud: Cloud) -> Paths:
    """Draw the straight ways from apogee to the landing when recovery works.

    Result: one for each flight in which recovery works; the drift itself bends with the
    wind aloft.
    """
    part = next(cloud.of(WORKS), None)
    if part is None:
        return Paths(np.empty((2, 2, 0), np.float32))
    top = cloud.way[-1, :2, part.who].T
    landed = np.stack([cloud.east[part.rows], cloud.north[part.rows]])
    return Paths(np.stack([top, landed]))


def passing_over(paths: Paths, shape: BaseGeometry) -> Estimate:
    """Count the flights that pass over an area.

    ``paths``: from `ways_up` or `ways_down`; ``shape``: area in metres from the pad.

    Result: share of flights whose path over the ground touches the area; unknown, from
    0 to 1, without any.
    """
    if paths.count == 0:
        return Estimate(0.0, 0.0, 1.0, 0, 0)
    shapely.prepare(shape)
    hits = np.count_nonzero(shapely.intersects(shape, paths.near(shape)))
    return binomial(int(hits), paths.count)


def out_of_waiver(cloud: Cloud, waiver: Waiver) -> Estimate:
    """Count the flights that leave the waiver's cylinder between the pad and apogee.

    ``cloud``: the flights, with their way up; ``waiver``: its outline and its ceiling,
    held against every point of the way together.

    Result: share of flights above the ceiling or outside the outline at any point kept.
    """
    within, out = inside(waiver.shape), np.zeros(cloud.flights, bool)
    for east, north, height in cloud.way:
        out |= ~within(east, north) | (height > waiver.ceiling)
    return binomial(int(out.sum()), out.size)
