"""Shapes, lines and labels of a site as folium draws them: no words of their own."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import folium
import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry.base import BaseGeometry

from driftmap.checks import FloatArray
from driftmap.ground.site import Site
from driftmap.report.offline import Label, Lines, Outline

__all__ = ["Rings", "latlon_of", "lines_of", "lonlat", "outline", "rings_of", "tag"]

_FINENESS: Final = 800
"""Corners are dropped that move an outline by less than its size over this."""

Rings = list[list[list[list[float]]]]
"""Latitude and longitude by polygon, ring and corner [deg]."""


def lonlat(
    site: Site, east: ArrayLike, north: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Give longitude and latitude, the longitude unwrapped about the pad.

    Near the 180th meridian a map would else draw a line across the whole world.

    ``east`` and ``north``, shape (...): points from the pad [m].

    Result: in degrees, shape (...).
    """
    lon, lat = site.to_lonlat(np.asarray(east, float), np.asarray(north, float))
    turn = (lon - site.longitude + 180.0) % 360.0 - 180.0
    return site.longitude + turn, lat


def rings_of(site: Site, shape: BaseGeometry) -> Rings:
    """Give the rings of polygons as latitude and longitude, six decimals: 0.1 m.

    ``shape``: polygons from the pad [m].
    """
    west, south, east, north = shape.bounds
    slim = shape.simplify(max(east - west, north - south) / _FINENESS)
    corners = shapely.get_coordinates(slim)
    lon, lat = lonlat(site, corners[:, 0], corners[:, 1])
    places = np.column_stack([lat, lon]).round(6)
    return [[places[at].tolist() for at in rings] for rings in _ring_rows(slim)]


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


def outline(rings: Rings, classes: str, *, pane: str = "ground") -> Outline:
    """Make polygons that the style sheet draws.

    ``classes``: names for the style sheet; ``pane``: which layer of the map it lies in.
    """
    shape = Outline(rings[0][0])
    # folium itself takes no polygons with holes, several at once.
    shape.locations = rings  # type: ignore[assignment]
    # The style sheet draws it: in sun, in the dark and on paper.
    shape.options = {"className": classes, "pane": pane, "interactive": False}
    return shape


def lines_of(places: Sequence[Any], classes: str) -> Lines:
    """Make lines that the style sheet draws.

    ``places``: latitude and longitude of each point of each line; ``classes``: names
    for the style sheet.
    """
    drawn = Lines(places)  # type: ignore[no-untyped-call]
    drawn.options = {"className": classes, "pane": "grid", "interactive": False}
    return drawn


def tag(
    place: Sequence[float],
    inner: str,
    classes: str,
    rank: float,
    outcome: str | None = None,
    *,
    area: int | None = None,
) -> Label:
    """Write a label.

    ``place``: latitude and longitude of what it names; ``inner``: HTML whose text is
    safe already; ``classes``: names for the style sheet; ``rank``: labels of a lower
    rank are placed first; ``outcome``: of a check that does not pass: the label says so
    and goes first; ``area``: place of the area among those of the site, for a label
    that can be tapped.
    """
    which = "" if area is None else f' data-area="{area}"'
    if outcome is not None:
        classes, rank = f"{classes} {outcome}", rank - 40
        inner = f"{'✕' if outcome == 'fail' else '!'} {inner}"
    icon = folium.DivIcon(
        html=f'<span class="label {classes}" data-rank="{rank}"{which}>{inner}</span>',
        icon_size=(0, 0),
        class_name="tag",
    )
    return Label(place, icon=icon, interactive=False, keyboard=False)


def latlon_of(site: Site, point: shapely.Point) -> list[float]:
    """Give latitude and longitude of a point, six decimals: 0.1 m.

    ``point``: the point from the pad [m].

    Result: latitude and longitude [deg].
    """
    lon, lat = lonlat(site, np.array(point.x), np.array(point.y))
    return [round(float(lat), 6), round(float(lon), 6)]
