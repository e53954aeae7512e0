"""What is drawn on the map, as folium layers, and what the page's script must know."""

from __future__ import annotations

import base64
import math
from collections.abc import Iterable, Sequence
from typing import Any, Final

import folium
import numpy as np
import shapely

from driftmap.air.atmosphere import FloatArray
from driftmap.failures.cases import WORKS
from driftmap.ground.site import OCCUPIED, Site
from driftmap.report import squares
from driftmap.report.offline import OfflineMap, safe_text
from driftmap.report.pad import pad_picture
from driftmap.report.pieces import has_people, piece_marks
from driftmap.report.words import Units, distance
from driftmap.verdict.assessment import Assessment

__all__ = ["draw"]

_MOST_POINTS: Final = 2000
"""Landing points shown of each piece; the contours are made of all of them."""

_FINENESS: Final = 800
"""Corners are dropped that move an outline by less than its size over this."""

_KINDS: Final = {
    **dict.fromkeys(("building", "airport", "closed ground"), "keep"),
    **dict.fromkeys(("road", "railway", "power line"), "way"),
    "water": "water",
}
_Rings = list[list[list[list[float]]]]


def draw(assessment: Assessment, units: Units) -> tuple[OfflineMap, dict[str, Any]]:
    """Draw an assessment.

    Parameters
    ----------
    assessment : Assessment
        The assessment.
    units : {"us", "si"}
        Units the reader picked.

    Returns
    -------
    map : OfflineMap
        The map.
    data : dict
        What the page's script must know: names of layers, views, grid, points.
    """
    site = assessment.site
    view = _view(assessment)
    grid = squares.lay_squares(view, units)
    chart = OfflineMap(
        location=[site.latitude, site.longitude],
        tiles=None,
        zoom_snap=0,
        zoom_delta=0.5,
        attribution_control=False,
    )
    for pane, height in (("ground", 340), ("grid", 350), ("contours", 360)):
        folium.map.CustomPane(pane, z_index=height).add_to(chart)
    names = folium.FeatureGroup(name="names", show=False)
    areas = _draw_areas(chart, names, assessment, units)
    pieces = [
        _draw_piece(chart, assessment, i) for i in range(len(assessment.cloud.parts))
    ]
    # Last, and shown by the page's script: a marker that is on the map before its icon
    # is set asks for Leaflet's own picture.
    names.add_to(chart)
    return chart, {
        "map": chart.get_name(),
        "names": names.get_name(),
        "units": units,
        "pad": [site.latitude, site.longitude],
        "areas": areas,
        "pieces": pieces,
        "grid": _draw_grid(chart, site, grid),
        "rings": _draw_rings(chart, site, view, units),
        "squares": _edges(site, grid),
        "views": {
            "flight": _corners(site, view),
            "people": _corners(site, _people_view(assessment)),
            "everything": _corners(site, _everything(assessment)),
        },
        "points": _points(assessment),
    }


def _view(assessment: Assessment) -> squares.Bounds:
    """Frame pad, crowd, areas with a check not passed, and the rocket in every case."""
    worst = _worst(assessment)
    shapes = [
        a.shape
        for a in assessment.site.areas
        if a.role in OCCUPIED or (a.name in worst and _KINDS.get(a.role) != "way")
    ]
    for case in assessment.cloud.tree.cases:
        first = next(assessment.cloud.of(case.name))
        shapes.append(assessment.contours[case.name, first.body][-1].shape)
    return _bounds(shapes)


def _people_view(assessment: Assessment) -> squares.Bounds:
    """Frame the pad and the people about it; those far off are on the whole view."""
    shapes = [a.shape for a in assessment.site.areas if a.role in OCCUPIED]
    return _bounds(shapes)


def _everything(assessment: Assessment) -> squares.Bounds:
    shapes = [area.shape for area in assessment.site.areas]
    shapes += [lines[-1].shape for lines in assessment.contours.values()]
    return _bounds([*shapes, assessment.site.boundary, assessment.site.waiver.shape])


def _bounds(shapes: Iterable[shapely.Geometry]) -> squares.Bounds:
    """Bound shapes together with the pad and 50 m about it."""
    west, south, east, north = shapely.total_bounds(
        [*shapes, shapely.box(-50.0, -50.0, 50.0, 50.0)]
    )
    return float(west), float(south), float(east), float(north)


def _corners(site: Site, bounds: squares.Bounds) -> list[list[float]]:
    west, south, east, north = bounds
    lon, lat = site.to_lonlat(
        np.array([west, west, east, east]), np.array([south, north, south, north])
    )
    return [[float(lat.min()), float(lon.min())], [float(lat.max()), float(lon.max())]]


def _rings(site: Site, shape: shapely.Geometry) -> _Rings:
    """Give the rings of polygons as latitude and longitude, six decimals: 0.1 m."""
    west, south, east, north = shape.bounds
    slim = shape.simplify(max(east - west, north - south) / _FINENESS)
    corners = shapely.get_coordinates(slim)
    lon, lat = site.to_lonlat(corners[:, 0], corners[:, 1])
    places = np.column_stack([lat, lon]).round(6)
    return [[places[at].tolist() for at in rings] for rings in _ring_rows(slim)]


def _ring_rows(shape: shapely.Geometry) -> list[list[slice]]:
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


def _outline(rings: _Rings, classes: str, *, pane: str = "ground") -> folium.Polygon:
    outline = folium.Polygon(rings[0][0])
    # folium itself takes no polygons with holes, several at once.
    outline.locations = rings  # type: ignore[assignment]
    # The style sheet draws it: in sun, in the dark and on paper.
    outline.options = {"className": classes, "pane": pane, "interactive": False}
    return outline


def _line(places: Sequence[Any], classes: str) -> folium.PolyLine:
    line = folium.PolyLine(places)  # type: ignore[no-untyped-call]
    line.options = {"className": classes, "pane": "grid", "interactive": False}
    return line


def _worst(assessment: Assessment) -> dict[str, str]:
    """Give the outcome of the worst check of each area that has one not passed."""
    marked = [c for c in assessment.checks if c.outcome != "pass"]
    marked.sort(key=lambda c: c.outcome, reverse=True)  # "warn", then "fail" over it
    return {check.area: check.outcome for check in marked}


def _tag(
    place: Sequence[float],
    inner: str,
    classes: str,
    rank: float,
    outcome: str | None = None,
) -> folium.Marker:
    """Write a label; `inner` is HTML whose text is safe already."""
    if outcome is not None:
        classes, rank = f"{classes} {outcome}", rank - 40
        inner = f"{'✕' if outcome == 'fail' else '!'} {inner}"
    icon = folium.DivIcon(
        html=f'<span class="label {classes}" data-rank="{rank}">{inner}</span>',
        icon_size=(0, 0),
        class_name="tag",
    )
    return folium.Marker(place, icon=icon, interactive=False, keyboard=False)


def _draw_areas(
    chart: OfflineMap,
    tags: folium.FeatureGroup,
    assessment: Assessment,
    units: Units,
) -> list[str]:
    site, worst = assessment.site, _worst(assessment)
    _outline(_rings(site, site.boundary), "boundary").add_to(chart)
    _outline(_rings(site, site.waiver.shape), "waiver").add_to(chart)
    names = []
    for area in sorted(site.areas, key=has_people):
        kind = "people" if has_people(area) else _KINDS.get(area.role, "keep")
        shape = _outline(_rings(site, area.shape), f"area {kind}", pane="overlayPane")
        shape.options["interactive"] = True
        shape.add_to(chart)
        names.append((site.areas.index(area), shape.get_name()))
        people = f" {area.people} people" if area.people else ""
        inner = f"<bdi>{safe_text(area.name)}</bdi>{people}"
        middle = _place(site, area.shape.representative_point())
        rank = (40 if kind == "people" else 60) - min(area.people or 0, 999) / 1000
        _tag(middle, inner, f"area {kind}", rank, worst.get(area.name)).add_to(tags)
    top = f"waiver, up to {distance(site.waiver.ceiling, units)}"
    for shape, text, side in (
        (site.boundary, "boundary", -1),
        (site.waiver.shape, top, 1),
    ):
        at = _extreme(shape, side)
        name = text.split(",")[0]
        _tag(_place(site, at), text, name, 70, worst.get(name)).add_to(tags)
    pad = folium.DivIcon(
        html=pad_picture(assessment), icon_size=(0, 0), class_name="tag"
    )
    place = [site.latitude, site.longitude]
    folium.Marker(place, icon=pad, interactive=False, keyboard=False).add_to(tags)
    return [name for _, name in sorted(names)]


def _extreme(shape: shapely.Geometry, side: int) -> shapely.Point:
    """Find the corner of a shape farthest to its south-west (-1) or north-east (1)."""
    corners = shapely.get_coordinates(shape)
    return shapely.Point(corners[np.argmax(side * corners.sum(axis=1))])


def _place(site: Site, point: shapely.Point) -> list[float]:
    lon, lat = site.to_lonlat(point.x, point.y)
    return [round(float(lat), 6), round(float(lon), 6)]


def _draw_piece(
    chart: OfflineMap, assessment: Assessment, index: int
) -> dict[str, Any]:
    """Draw the contours of a piece: the inner ones apart from the outermost."""
    site, part = assessment.site, assessment.cloud.parts[index]
    mark, color, dash = piece_marks(assessment)[index]
    lines = assessment.contours[part.case, part.body]
    layers = {}
    for which, drawn in (("outer", lines[-1:]), ("inner", lines[-2::-1])):
        group = folium.FeatureGroup(name=f"{which} {mark}", show=False)
        for line in drawn:
            filled = " filled" if part.case == WORKS else ""
            classes = (
                f"contour case-{color} dash-{dash} in-{line.share * 100:.0f}{filled}"
            )
            _outline(_rings(site, line.shape), classes, pane="contours").add_to(group)
        if which == "outer":
            text = part.case if part.body == "rocket" else f"{part.body}, {part.case}"
            inner = f"<b>{mark}</b><span><bdi>{safe_text(text)}</bdi></span>"
            at = _place(site, _badge_point(lines[-1].shape))
            _tag(at, inner, f"piece case-{color}", 30 + index / 100).add_to(group)
        group.add_to(chart)
        layers[which] = group.get_name()
    return {"mark": mark, "color": color, "works": part.case == WORKS, **layers}


def _badge_point(shape: shapely.Geometry) -> shapely.Point:
    """Find the point of an outline farthest from the pad: there outlines part."""
    corners = shapely.get_coordinates(shape)
    return shapely.Point(corners[np.argmax(np.hypot(corners[:, 0], corners[:, 1]))])


def _draw_grid(chart: OfflineMap, site: Site, grid: squares.Squares) -> str:
    group = folium.FeatureGroup(name="grid", show=False)
    places = []
    for line in grid.lines():
        lon, lat = site.to_lonlat(line[:, 0], line[:, 1])
        places.append(np.column_stack([lat, lon]).round(6).tolist())
    _line(places, "grid").add_to(group)
    group.add_to(chart)
    return str(group.get_name())


def _draw_rings(
    chart: OfflineMap, site: Site, view: squares.Bounds, units: Units
) -> str:
    group = folium.FeatureGroup(name="rings", show=False)
    reach = max(abs(edge) for edge in view)
    step = squares.ring_step(reach, units)
    circles, rays = squares.rings(site, step), squares.spokes(site, step)
    _line([places for _, places in circles], "ring").add_to(group)
    _line([places for _, places in rays], "ring").add_to(group)
    quarter = len(circles[0][1]) // 8
    for radius, places in circles:
        text = distance(radius, units)
        _tag(places[quarter], text, "ring", 80).add_to(group)
    for degrees, places in rays:
        _tag(places[-1], f"{degrees or 360:03d}°", "ring", 90).add_to(group)
    group.add_to(chart)
    return str(group.get_name())


def _edges(site: Site, grid: squares.Squares) -> dict[str, Any]:
    """Give the script what names squares along the edges and under a finger."""
    middle = grid.size * (np.arange(max(grid.columns, grid.rows)) + 0.5)
    east = grid.west + middle[: grid.columns]
    north = grid.south + middle[: grid.rows]
    lon, _ = site.to_lonlat(east, np.full(east.size, north.mean()))
    _, lat = site.to_lonlat(np.full(north.size, east.mean()), north)
    return {
        "size": grid.size,
        "west": grid.west,
        "south": grid.south,
        "letters": grid.letters,
        "longitude": lon.round(6).tolist(),
        "latitude": lat.round(6).tolist(),
    }


def _points(assessment: Assessment) -> dict[str, Any]:
    """Pack thinned landing points: 16-bit steps of latitude and longitude about the pad."""
    site, cloud = assessment.site, assessment.cloud
    offsets = []
    for part in cloud.parts:
        rows = np.arange(part.rows.start, part.rows.stop)
        rows = rows[:: max(1, math.ceil(rows.size / _MOST_POINTS))]
        lon, lat = site.to_lonlat(cloud.east[rows], cloud.north[rows])
        offsets.append(np.column_stack([lat - site.latitude, lon - site.longitude]))
    step = max(float(np.abs(o).max()) for o in offsets) / 32767 or 1e-9
    return {"step": step, "pieces": [_packed(o / step) for o in offsets]}


def _packed(steps: FloatArray) -> str:
    return base64.b64encode(steps.round().astype("<i2").tobytes()).decode()
