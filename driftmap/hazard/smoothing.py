"""Outlines smoothed of sampling noise that still hold their landings."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cache, partial
from itertools import product
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import BoolArray, FloatArray, Kept

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

_NOTCH: Final = 0.003
"""As `_GROWTHS`, for outlines that are put together: they hold their landings already."""


def smoothed_outline(
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

    Islets are dropped and the line is moved outward as `smoothed_outline` does it, in a hundredth
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


def put_together(outlines: Iterable[BaseGeometry]) -> shapely.MultiPolygon:
    """Put outlines together, the notches where they cross filled: outward, nothing taken off."""
    return _smooth(_grown(shapely.union_all(list(outlines)), 0.0, _NOTCH), 0.0)


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
