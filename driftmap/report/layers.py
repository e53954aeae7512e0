"""What is drawn on the map, as folium layers, and what the page's script must know."""

from __future__ import annotations

import base64
import math
from collections.abc import Iterable, Sequence
from operator import attrgetter
from typing import Any, Final, cast

import folium
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import FloatArray
from driftmap.failures.cases import WORKS
from driftmap.ground.site import Site
from driftmap.hazard.zones import Line, Zone
from driftmap.report import squares
from driftmap.report.marks import (
    KINDS,
    MOST_POINTS,
    in_sight,
    people_numbers,
    piece_marks,
    shown,
    worst_of,
)
from driftmap.report.offline import Group, Label, OfflineMap, safe_text
from driftmap.report.reasons import zone_lines
from driftmap.report.sentences import case_name
from driftmap.report.shapes import (
    latlon_of,
    lines_of,
    lonlat,
    outline,
    rings_of,
    tag,
    underlay,
)
from driftmap.report.voice import Voice
from driftmap.report.windsketch import pad_picture
from driftmap.report.words import isolate
from driftmap.verdict.assessment import Assessment
from driftmap.verdict.check import Outcome

__all__ = ["draw", "draw_zones"]


_PAD = shapely.Point(0.0, 0.0)
_FIRST: Final = {"fail": 4, "warn": 2, "pass": 0}
"""How far failing places of people come before the rest, as their labels are set."""


def draw(
    assessment: Assessment, zoned: Sequence[Zone], line: Line, voice: Voice
) -> tuple[OfflineMap, dict[str, Any]]:
    """Draw an assessment.

    Result: the map, and what the page's script must know: names of layers, views, grid, points.
    """
    site, units = assessment.site, voice.units
    view = _view(assessment, zoned)
    grid = squares.lay_squares(view, units)
    chart = OfflineMap(
        location=[site.latitude, site.longitude],
        tiles=None,
        zoom_snap=0,
        zoom_control=False,
        zoom_animation=False,
        fade_animation=False,
        attribution_control=False,
    )
    chart.hint = safe_text(voice.say("map.hint"))
    panes = (
        ("picture", 320),
        ("zones", 330),
        ("ground", 340),
        ("grid", 350),
        ("contours", 360),
    )
    for pane, height in panes:
        folium.map.CustomPane(pane, z_index=height).add_to(chart)
    names = Group(name="names", show=False)
    areas = _draw_areas(chart, names, assessment, voice)
    zone_layer = draw_zones(chart, assessment, zoned, voice)
    pieces = [
        _draw_piece(chart, assessment, i, line, voice)
        for i in range(len(assessment.cloud.parts))
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
        "far": _far(assessment),
        "picture": underlay(site),
        "zones": zone_layer,
        "pieces": pieces,
        "grid": _draw_grid(chart, site, grid),
        "rings": _draw_rings(chart, site, view, voice),
        "squares": _edges(site, grid),
        "views": {
            "flight": _corners(site, view),
            "people": _corners(site, _people_view(assessment, zoned)),
            "everything": _corners(site, _everything(assessment)),
        },
        "points": _points(assessment),
    }


def _view(assessment: Assessment, zoned: Sequence[Zone]) -> squares.Bounds:
    """Frame pad, zones, and near enough crowd and areas with a check not passed."""
    worst = _worst(assessment)
    near = [
        a.shape
        for a in assessment.site.areas
        if (a.occupied or (worst[a.name] != "pass" and KINDS.get(a.role) != "way"))
        and in_sight(a.shape, zoned)
    ]
    return _bounds([*near, *(zone.shape for zone in zoned)])


def _people_view(assessment: Assessment, zoned: Sequence[Zone]) -> squares.Bounds:
    """Frame the pad and the people about it; those far off are on the whole view."""
    crowd = [a.shape for a in assessment.site.areas if a.occupied]
    return _bounds([shape for shape in crowd if in_sight(shape, zoned)])


def _everything(assessment: Assessment) -> squares.Bounds:
    shapes = [area.shape for area in assessment.site.areas]
    shapes += [lines[-1].shape for lines in assessment.contours.values()]
    return _bounds([*shapes, assessment.site.boundary, assessment.site.waiver.shape])


def _bounds(shapes: Iterable[BaseGeometry]) -> squares.Bounds:
    """Bound shapes together with the pad and 50 m about it."""
    west, south, east, north = shapely.total_bounds(
        [*shapes, shapely.box(-50.0, -50.0, 50.0, 50.0)]
    )
    return float(west), float(south), float(east), float(north)


def _far(assessment: Assessment) -> list[dict[str, Any]]:
    """Give the ground that an arrow points to where it lies beyond the edge."""
    site, worst = assessment.site, _worst(assessment)
    numbers = people_numbers(site.areas)
    told = [a for a in site.areas if a.occupied or worst[a.name] == "fail"]
    return [
        {
            "name": isolate(area.name),
            "number": numbers.get(area.name, 0),
            "middle": latlon_of(site, area.shape.representative_point()),
        }
        for area in sorted(told, key=lambda a: a.shape.distance(_PAD))
    ]


def _corners(site: Site, bounds: squares.Bounds) -> list[list[float]]:
    west, south, east, north = bounds
    lon, lat = lonlat(
        site,
        np.array([west, west, east, east]),
        np.array([south, north, south, north]),
    )
    return [[float(lat.min()), float(lon.min())], [float(lat.max()), float(lon.max())]]


def _worst(assessment: Assessment) -> dict[str, Outcome]:
    """Give the outcome of the worst check of each area, and of both edges."""
    names = [*(area.name for area in assessment.site.areas), "boundary", "waiver"]
    return {name: worst_of(assessment.checks, name) for name in names}


def _draw_areas(
    chart: OfflineMap,
    tags: Group,
    assessment: Assessment,
    voice: Voice,
) -> list[str]:
    site, worst = assessment.site, _worst(assessment)
    outline(rings_of(site, site.boundary), "boundary").add_to(chart)
    outline(rings_of(site, site.waiver.shape), "waiver").add_to(chart)
    names = []
    numbers = people_numbers(site.areas)
    for area in sorted(site.areas, key=attrgetter("occupied")):
        kind = "people" if area.occupied else KINDS.get(area.role, "keep")
        shape = outline(rings_of(site, area.shape), f"area {kind}", pane="overlayPane")
        shape.options["interactive"] = True
        shape.add_to(chart)
        if kind == "way":  # two lines: one alone would look like an edge
            lane = outline(rings_of(site, area.shape), "lane", pane="overlayPane")
            lane.add_to(chart)
        names.append((site.areas.index(area), shape.get_name()))
        people = f" · {area.people}" if area.people else ""
        inner = f"<span><bdi>{safe_text(area.name)}</bdi>{people}</span>"
        if kind == "people":
            inner = f"<b>{numbers[area.name]}</b>{inner}"
        middle = latlon_of(site, area.shape.representative_point())
        index, outcome = site.areas.index(area), worst[area.name]
        rank = (10 if kind == "people" else 60) - min(area.people or 0, 999) / 1000
        rank -= _FIRST[outcome] if kind == "people" else 0
        classes = f"area {kind}"
        tag(middle, inner, classes, rank, outcome, area=index).add_to(tags)
    top = voice.say("map.ceiling", height=voice.exact_distance(site.waiver.ceiling))
    for edge, name, text, side in (
        (site.boundary, "boundary", voice.say("map.edge"), -1),
        (site.waiver.shape, "waiver", top, 1),
    ):
        at, inner = _extreme(edge, side), safe_text(text)
        tag(latlon_of(site, at), inner, name, 70, worst[name]).add_to(tags)
    pad = folium.DivIcon(
        html=pad_picture(assessment, safe_text(voice.say("map.rail"))),
        icon_size=(0, 0),
        class_name="tag",
    )
    place = [site.latitude, site.longitude]
    Label(place, icon=pad, interactive=False, keyboard=False).add_to(tags)
    return [name for _, name in sorted(names)]


def _extreme(shape: BaseGeometry, side: int) -> shapely.Point:
    """Find the corner of a shape farthest to its south-west (-1) or north-east (1)."""
    corners = shapely.get_coordinates(shape)
    return shapely.Point(corners[np.argmax(side * corners.sum(axis=1))])


def _draw_piece(
    chart: OfflineMap, assessment: Assessment, index: int, line: Line, voice: Voice
) -> dict[str, Any]:
    """Draw the contours of a piece: the inner ones apart from the outermost."""
    site, part = assessment.site, assessment.cloud.parts[index]
    mark, color, dash = piece_marks(assessment)[index]
    lines = assessment.contours[part.case, part.body]
    causes = {case.name: case.cause for case in assessment.cloud.tree.cases}
    layers = {}
    for which, drawn in (("outer", lines[-1:]), ("inner", lines[-2::-1])):
        group = Group(name=f"{which} {mark}", show=False)
        for each in drawn:
            filled = " filled" if part.case == WORKS else ""
            classes = (
                f"contour case-{color} dash-{dash} in-{each.share * 100:.0f}{filled}"
            )
            shape = line(part) if which == "outer" else each.shape
            outline(rings_of(site, shape), classes, pane="contours").add_to(group)
        if which == "outer":
            text = case_name(assessment, part.case, causes.get(part.case, ""), voice)
            if part.body != "rocket":
                text = f"{voice.known('piece', part.body)}: {text}"
            inner = f"<b>{mark}</b><span><bdi>{safe_text(text)}</bdi></span>"
            at = latlon_of(site, _badge_point(lines[-1].shape))
            tag(at, inner, f"piece case-{color}", 30 + index / 100).add_to(group)
        group.add_to(chart)
        layers[which] = group.get_name()
    return {"mark": mark, "color": color, "works": part.case == WORKS, **layers}


def _badge_point(shape: BaseGeometry) -> shapely.Point:
    """Find the point of an outline farthest from the pad: there outlines part."""
    corners = shapely.get_coordinates(shape)
    return shapely.Point(corners[np.argmax(np.hypot(corners[:, 0], corners[:, 1]))])


def _draw_grid(chart: OfflineMap, site: Site, grid: squares.Squares) -> str:
    group = Group(name="grid", show=False)
    places = []
    for line in grid.lines():
        lon, lat = lonlat(site, line[:, 0], line[:, 1])
        places.append(np.column_stack([lat, lon]).round(6).tolist())
    lines_of(places, "grid").add_to(group)
    group.add_to(chart)
    return str(group.get_name())


def _draw_rings(
    chart: OfflineMap, site: Site, view: squares.Bounds, voice: Voice
) -> str:
    group = Group(name="rings", show=False)
    reach = max(abs(edge) for edge in view)
    step = squares.ring_step(reach, voice.units)
    circles, rays = squares.rings(site, step), squares.spokes(site, step)
    lines_of([places for _, places in circles], "ring").add_to(group)
    lines_of([places for _, places in rays], "ring").add_to(group)
    quarter = len(circles[0][1]) // 8
    for radius, places in circles:
        text = voice.exact_distance(radius)
        tag(places[quarter], text, "ring", 80).add_to(group)
    for degrees, places in rays:
        tag(places[-1], f"{degrees or 360:03d}°", "ring", 90).add_to(group)
    group.add_to(chart)
    return str(group.get_name())


def _edges(site: Site, grid: squares.Squares) -> dict[str, Any]:
    """Give the script what names squares along the edges and under a finger."""
    middle = grid.size * (np.arange(max(grid.columns, grid.rows)) + 0.5)
    east = grid.west + middle[: grid.columns]
    north = grid.south + middle[: grid.rows]
    lon, _ = lonlat(site, east, np.full(east.size, north.mean()))
    _, lat = lonlat(site, np.full(north.size, east.mean()), north)
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
        rows = rows[:: max(1, math.ceil(rows.size / MOST_POINTS))]
        lon, lat = lonlat(site, cloud.east[rows], cloud.north[rows])
        offsets.append(np.column_stack([lat - site.latitude, lon - site.longitude]))
    step = max(float(np.abs(o).max()) for o in offsets) / 32767 or 1e-9
    return {"step": step, "pieces": [_packed(o / step) for o in offsets]}


def _packed(steps: FloatArray) -> str:
    return base64.b64encode(steps.round().astype("<i2").tobytes()).decode()


def draw_zones(
    chart: OfflineMap, assessment: Assessment, zoned: Sequence[Zone], voice: Voice
) -> list[str]:
    """Draw danger over caution, each with its word and what comes down there.

    Result: names of the layers, that of the words last.
    """
    names, above = [], shapely.union_all([a.shape for a in assessment.site.areas])
    for zone in reversed(zoned):
        rings = rings_of(assessment.site, zone.shape)
        for classes in (f"zone {zone.kind}", f"hatch {zone.kind}"):
            shape = outline(rings, classes, pane="zones")
            shape.add_to(chart)
            names.append(str(shape.get_name()))
    group = Group(name="zone words", show=False)
    for zone in shown(zoned):
        free = shapely.difference(zone.heart, above)
        heart = zone.heart if free.is_empty else free
        pole = shapely.get_point(
            shapely.maximum_inscribed_circle(
                cast("shapely.Polygon", heart), tolerance=5.0
            ),
            0,
        )
        word = safe_text(voice.say(f"zone.{zone.kind}"))
        told = "<br>".join(
            safe_text(line) for line in zone_lines(assessment.flight, zone, voice)
        )
        inner = f"<b>{word}</b><span>{told}</span>"
        tag(latlon_of(assessment.site, pole), inner, f"zone {zone.kind}", -99).add_to(
            group
        )
        above = shapely.union(above, zone.shape)
    group.add_to(chart)
    return [*names, str(group.get_name())]
