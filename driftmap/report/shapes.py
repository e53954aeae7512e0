"""Shapes and landing points by latitude and longitude, or by metres, for a page's script."""

from __future__ import annotations

import base64
import math
from collections.abc import Callable
from typing import Any, Final, TypeAlias

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import FloatArray
from driftmap.ground.areas import Site
from driftmap.ground.underlay import lonlat
from driftmap.report.marks import MOST_POINTS
from driftmap.verdict.assessment import Assessment

_FINENESS: Final = 800
"""Corners are dropped that move an outline by less than its size over this."""

Rings = list[list[list[list[float]]]]
"""Two figures a corner, by polygon, ring and corner."""


ToScript: TypeAlias = Callable[[FloatArray], FloatArray]
"""How a page's script wants points, from their east and north of the pad [m], (n, 2)."""


def on_earth(site: Site) -> ToScript:
    """Place points by latitude and longitude [deg], six decimals: 0.1 m."""

    def place(at: FloatArray) -> FloatArray:
        lon, lat = lonlat(site, at[:, 0], at[:, 1])
        return np.column_stack([lat, lon]).round(6)

    return place


def in_metres(at: FloatArray) -> FloatArray:
    """Place points by metres north and east of the pad, whole ones."""
    return at[:, ::-1].round()


def rings_of(place: ToScript, shape: BaseGeometry) -> Rings:
    """Return the rings of polygons, from the pad [m]."""
    west, south, east, north = shape.bounds
    slim = shape.simplify(max(east - west, north - south) / _FINENESS)
    places = place(shapely.get_coordinates(slim))
    return [[places[at].tolist() for at in rings] for rings in _ring_rows(slim)]


def point_of(place: ToScript, point: shapely.Point) -> list[float]:
    """Give a point, from the pad [m]."""
    (found,) = place(shapely.get_coordinates(point)).tolist()
    return found  # type: ignore[no-any-return]


def points_of(assessment: Assessment) -> dict[str, Any]:
    """Pack thinned landing points: 16-bit steps of latitude and longitude about the pad."""
    site, cloud = assessment.site, assessment.cloud
    offsets = []
    for part in cloud.parts:
        rows = np.arange(part.rows.start, part.rows.stop)
        rows = rows[:: max(1, math.ceil(rows.size / MOST_POINTS))]
        lon, lat = lonlat(site, cloud.east[rows], cloud.north[rows])
        offsets.append(np.column_stack([lat - site.latitude, lon - site.longitude]))
    step = max(float(np.abs(o).max()) for o in offsets) / 32767 or 1e-9
    return {"step": step, "pieces": [_steps(o / step) for o in offsets]}


def _steps(steps: FloatArray) -> str:
    return base64.b64encode(steps.round().astype("<i2").tobytes()).decode()


def _ring_rows(shape: BaseGeometry) -> list[list[slice]]:
    """Find the rows of each ring of each polygon among the corners of a shape."""
    rows, start = [], 0
    for polygon in shapely.get_parts(shape):
        slices = []
        for ring in shapely.get_rings(polygon):
            stop = start + shapely.get_num_points(ring)
            slices.append(slice(start, stop - 1))  # Leaflet closes rings itself
            start = stop
        rows.append(slices)
    return rows
