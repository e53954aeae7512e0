"""What is drawn on the map, as plain data for the page's script: places are latitude and longitude."""

from __future__ import annotations

import base64
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, cast

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import FloatArray
from driftmap.failures.cases import WORKS
from driftmap.ground.site import Site
from driftmap.hazard.zones import Line, Zone
from driftmap.report import marks
from driftmap.report.instruct import Watch
from driftmap.report.reasons import zone_lines
from driftmap.report.sentences import case_name
from driftmap.report.shapes import (
    Place,
    lonlat,
    on_earth,
    point_of,
    rings_of,
    underlay,
)
from driftmap.report.sheetfacts import Spot
from driftmap.report.voice import Voice
from driftmap.verdict.assessment import Assessment
from driftmap.verdict.check import Outcome

__all__ = ["drawn", "ground_of"]


_FIRST: Final = {"fail": 4, "warn": 2, "pass": 0}
"""How far failing places of people come before the rest, as their labels are set."""

_MARKED: Final = 40
"""How far the labels of all that does not pass come before others."""


def drawn(told: Watch) -> dict[str, Any]:
    """Give what the page's script draws of an assessment, and what it must know of the ground."""
    a, voice, site = told.told, told.voice, told.told.site
    place, view = on_earth(site), _view(told.places, told.zones)
    edges: dict[str, Outcome] = {
        edge: marks.worst_of(a.checks, edge) for edge in ("boundary", "waiver")
    }
    seen = {spot.area.name: spot.seen for spot in told.places} | edges
    grid = marks.lay_squares(view, voice.units)
    return {
        "units": voice.units,
        "pad": [site.latitude, site.longitude],
        **ground_of(site, seen, place, voice),
        "picture": underlay(site),
        "zones": _zones(told),
        "pieces": [_piece(a, i, told.line, voice) for i in range(len(a.cloud.parts))],
        "grid": [place(each).tolist() for each in grid.lines()],
        "rings": _rings(place, view, voice),
        "squares": _edges(site, grid),
        "views": {
            "flight": _corners(site, view),
            "people": _corners(site, _people_view(a, told.zones)),
            "everything": _corners(site, _everything(a)),
        },
        "points": _points(a),
    }


def _view(places: Sequence[Spot], zoned: Sequence[Zone]) -> marks.Bounds:
    """Frame pad, zones, and near enough crowd and areas with a check not passed."""
    near = [
        spot.area.shape
        for spot in places
        if (
            spot.stand
            or (spot.outcome != "pass" and marks.KINDS.get(spot.area.role) != "way")
        )
        and marks.in_sight(spot.area.shape, zoned)
    ]
    return _bounds([*near, *(zone.shape for zone in zoned)])


def _people_view(assessment: Assessment, zoned: Sequence[Zone]) -> marks.Bounds:
    """Frame the pad and the people about it; those far off are on the whole view."""
    crowd = [a.shape for a in assessment.site.areas if a.occupied]
    return _bounds([shape for shape in crowd if marks.in_sight(shape, zoned)])


def _everything(assessment: Assessment) -> marks.Bounds:
    shapes = [area.shape for area in assessment.site.areas]
    shapes += [lines[-1].shape for lines in assessment.contours.values()]
    return _bounds([*shapes, assessment.site.boundary, assessment.site.waiver.shape])


def _bounds(shapes: Iterable[BaseGeometry]) -> marks.Bounds:
    """Bound shapes together with the pad and 50 m about it."""
    west, south, east, north = shapely.total_bounds(
        [*shapes, shapely.box(-50.0, -50.0, 50.0, 50.0)]
    )
    return float(west), float(south), float(east), float(north)


def _corners(site: Site, bounds: marks.Bounds) -> list[list[float]]:
    west, south, east, north = bounds
    lon, lat = lonlat(
        site,
        np.array([west, west, east, east]),
        np.array([south, north, south, north]),
    )
    return [[float(lat.min()), float(lon.min())], [float(lat.max()), float(lon.max())]]


def ground_of(
    site: Site, worst: Mapping[str, Outcome], place: Place, voice: Voice
) -> dict[str, Any]:
    """Give the ground that every map draws alike: both edges, and the areas of the site file.

    ``worst``: what the checks say of each area, and of both edges; ``place``: how the
    page's script wants points.

    Result: the areas in the order of the site file; each part with its label, an edge at a
    corner of its own.
    """
    top = voice.say("map.ceiling", height=voice.exact_distance(site.waiver.ceiling))
    edges = [
        {
            "kind": kind,
            "rings": rings_of(place, shape),
            "at": point_of(place, _extreme(shape, side)),
            "name": name,
            "outcome": worst[kind],
            "rank": 70 - _MARKED * (worst[kind] != "pass"),
        }
        for kind, shape, name, side in (
            ("boundary", site.boundary, voice.say("map.edge"), -1),
            ("waiver", site.waiver.shape, top, 1),
        )
    ]
    numbers = marks.people_numbers(site.areas)
    areas = []
    for area in site.areas:
        outcome = worst[area.name]
        rank = (10 if area.occupied else 60) - min(area.people or 0, 999) / 1000
        rank -= _FIRST[outcome] if area.occupied else 0
        areas.append(
            {
                "kind": "people"
                if area.occupied
                else marks.KINDS.get(area.role, "keep"),
                "rings": rings_of(place, area.shape),
                "at": point_of(place, area.shape.representative_point()),
                "name": area.name,
                "people": area.people,
                "number": numbers.get(area.name),
                "outcome": outcome,
                "rank": rank - _MARKED * (outcome != "pass"),
            }
        )
    return {"edges": edges, "areas": areas}


def _extreme(shape: BaseGeometry, side: int) -> shapely.Point:
    """Find the corner of a shape farthest to its south-west (-1) or north-east (1)."""
    corners = shapely.get_coordinates(shape)
    return shapely.Point(corners[np.argmax(side * corners.sum(axis=1))])


def _piece(
    assessment: Assessment, index: int, line: Line, voice: Voice
) -> dict[str, Any]:
    """Give the lines of a piece, the outermost first, and its label."""
    place, part = on_earth(assessment.site), assessment.cloud.parts[index]
    mark, color, dash = marks.marks_of(assessment)[index]
    lines = assessment.contours[part.case, part.body]
    causes = {case.name: case.cause for case in assessment.cloud.tree.cases}
    text = case_name(assessment.flight, part.case, causes.get(part.case, ""), voice)
    if part.body != "rocket":
        text = f"{voice.known('piece', part.body)}: {text}"
    shapes = [line(part), *(each.shape for each in lines[-2::-1])]
    return {
        "mark": mark,
        "color": color,
        "dash": dash,
        "works": part.case == WORKS,
        "name": text,
        "at": point_of(place, _badge_point(lines[-1].shape)),
        "lines": [rings_of(place, shape) for shape in shapes],
        "shares": [round(each.share * 100) for each in lines[::-1]],
    }


def _badge_point(shape: BaseGeometry) -> shapely.Point:
    """Find the point of an outline farthest from the pad: there outlines part."""
    corners = shapely.get_coordinates(shape)
    return shapely.Point(corners[np.argmax(np.hypot(corners[:, 0], corners[:, 1]))])


def _rings(place: Place, view: marks.Bounds, voice: Voice) -> list[dict[str, Any]]:
    """Give circles and bearings about the pad, each with its name at one of its places."""
    step = marks.ring_step(max(abs(edge) for edge in view), voice.units)
    found = []
    for radius, around in marks.rings(step):
        places = place(around).tolist()
        quarter = places[len(places) // 8]
        name = voice.exact_distance(radius)
        found.append({"places": places, "name": name, "at": quarter, "rank": 80})
    for degrees, out in marks.spokes(step):
        places = place(out).tolist()
        name = f"{degrees or 360:03d}°"
        found.append({"places": places, "name": name, "at": places[-1], "rank": 90})
    return found


def _edges(site: Site, grid: marks.Squares) -> dict[str, Any]:
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
        rows = rows[:: max(1, math.ceil(rows.size / marks.MOST_POINTS))]
        lon, lat = lonlat(site, cloud.east[rows], cloud.north[rows])
        offsets.append(np.column_stack([lat - site.latitude, lon - site.longitude]))
    step = max(float(np.abs(o).max()) for o in offsets) / 32767 or 1e-9
    return {"step": step, "pieces": [_packed(o / step) for o in offsets]}


def _packed(steps: FloatArray) -> str:
    return base64.b64encode(steps.round().astype("<i2").tobytes()).decode()


def _zones(told: Watch) -> list[dict[str, Any]]:
    """Give danger and caution with what comes down there, and where their words belong.

    Result: a caution zone that danger covers has no place for a word.
    """
    assessment, zoned = told.told, told.zones
    place = on_earth(assessment.site)
    above = shapely.union_all([a.shape for a in assessment.site.areas])
    found = []
    for zone in zoned:
        at = None
        if zone in told.drawn:
            free = shapely.difference(zone.heart, above)
            heart = zone.heart if free.is_empty else free
            circle = shapely.maximum_inscribed_circle(
                cast("shapely.Polygon", heart), tolerance=5.0
            )
            at = point_of(place, shapely.get_point(circle, 0))
            above = shapely.union(above, zone.shape)
        found.append(
            {
                "kind": zone.kind,
                "rings": rings_of(place, zone.shape),
                "at": at,
                "lines": zone_lines(assessment.flight, zone, told.voice),
            }
        )
    return found
