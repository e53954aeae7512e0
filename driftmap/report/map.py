"""The map: one HTML file that opens with no network, and what its script draws as plain data."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from html import escape
from typing import Any, Final, cast

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.ground.areas import Site
from driftmap.ground.underlay import lonlat, underlay
from driftmap.hazard.zones import Line, Zone, draw_ahead
from driftmap.planning.wind_margin import WindMargin
from driftmap.report import marks, tables
from driftmap.report.calls import before, moments
from driftmap.report.instructions import Watch, look, watch
from driftmap.report.page import (
    leaflet_script,
    leaflet_style,
    render,
    script_constant,
    text_of,
    words_for_script,
)
from driftmap.report.picture import field_picture
from driftmap.report.positions import farthest, reach_of, stand, to_clear, ways
from driftmap.report.reasons import needle_text, zone_lines
from driftmap.report.sentences import case_name
from driftmap.report.shapes import ToScript, on_earth, point_of, points_of, rings_of
from driftmap.report.sheetfacts import Spot
from driftmap.report.site_layer import site_layer
from driftmap.report.voice import Catalogue, Voice, read_catalogue
from driftmap.report.wind_text import age_script, wind_as_read
from driftmap.report.windsketch import pad_picture, wind_arrow, wind_picture_svg
from driftmap.report.words import Units, in_units_of
from driftmap.rocket.likelihood import WORKS
from driftmap.verdict.assessment import Assessment
from driftmap.verdict.document import document

_SCRIPTS: Final = (
    "say.js",
    "controls.js",
    "map.js",
    "far.js",
    "boxes.js",
    "labels.js",
    "plates.js",
    "points.js",
    "tools.js",
    "stopwatch.js",
)


def map_html(
    assessment: Assessment,
    *,
    units: Units | None = None,
    language: str | Catalogue = "en",
    around: WindMargin | None = None,
) -> str:
    """Write an assessment as one page with its map.

    Parameters
    ----------
    assessment : Assessment
        The assessment.
    units : {"us", "si"}, optional
        Units the reader picked; those of the language when left out.
    language : str or Catalogue
        One of `driftmap.report.voice.languages`, the path of a catalogue, or one that
        is read already.
    around : WindMargin, optional
        From `driftmap.planning.wind_margin.winds_around`: the page then says at which reading of the
        meter it stops being true.

    Returns
    -------
    str
        An HTML document; the same assessment gives the same text.
    """
    catalogue = read_catalogue(language) if isinstance(language, str) else language
    voice = Voice(catalogue, units or catalogue.units)
    draw_ahead(assessment.cloud, assessment.contours)
    seen = watch(assessment, voice)
    told = {**_drawn(seen), "moments": [asdict(moment) for moment in moments(seen)]}
    facts = [words_for_script(voice), script_constant("DRIFTMAP", told)]
    chart = _map_script(assessment.site.latitude, assessment.site.longitude)
    own = "\n".join([*facts, chart, *(text_of(name) for name in _SCRIPTS)])
    return render(
        "map.html",
        voice,
        styles=[leaflet_style(), text_of("map.css"), text_of("aside.css")],
        scripts=[age_script(assessment, voice), leaflet_script(), own],
        **_content(seen, around),
    )


_PANES: Final = {
    "picture": 320,
    "zones": 330,
    "ground": 340,
    "grid": 350,
    "contours": 360,
}
"""Panes that the layers lie in, the lowest first."""

_CHART: Final = """{% macro script(this, kwargs) %}
const chart = L.map("map", {center: {{ this.location|tojson }}, ...{{ this.options|tojavascript }}});
const {{ this.get_name() }} = chart;
{% endmacro %}"""


def _map_script(latitude: float, longitude: float) -> str:
    """Write the script that makes the map and its panes, for the page's own to draw on."""
    # folium takes 0.2 s to import: only those who want a map wait for it.
    import folium  # noqa: PLC0415
    from folium.template import Template  # noqa: PLC0415

    chart = folium.Map(
        location=[latitude, longitude],
        tiles=None,
        zoom_snap=0,
        zoom_control=False,
        zoom_animation=False,
        fade_animation=False,
        attribution_control=False,
    )
    # The page brings element, script and style: folium asks for none from anywhere.
    chart.default_js, chart.default_css, chart._template = [], [], Template(_CHART)
    chart._id = ""  # else random, and no two pages would be the same
    for name, height in _PANES.items():
        pane = folium.map.CustomPane(name, z_index=height)
        pane._id = name
        pane.add_to(chart)
    figure: Any = chart.get_root()
    chart.render()  # type: ignore[no-untyped-call]
    return str(figure.script.render())


def _content(seen: Watch, around: WindMargin | None) -> dict[str, Any]:
    a, voice, facts = seen.told, seen.voice, document(seen.told)
    wind, people = (
        tables.wind_rows(a, voice),
        tables.people_rows(seen.places, voice, seen.moves),
    )
    return {
        "facts": facts,
        "still": field_picture(seen),
        "still_style": text_of("picture.css"),
        "zones": [
            (z.kind, " ".join(zone_lines(a.flight, z, voice))) for z in seen.drawn
        ],
        "stand": stand(seen),
        "look": look(seen),
        "sent": bool(ways(seen)),
        "before": before(seen),
        "moments": moments(seen),
        "people": people,
        "arrow": wind_arrow(a),
        "blows": voice.speed(wind_as_read(a.wind)[0].speed),
        "pad_picture": pad_picture(a, escape(voice.say("map.rail"))),
        "drawn": {marks.DRAWN_KINDS.get(area.role, "keep") for area in a.site.areas}
        | ({"astray"} if seen.astray else set()),
        "ways": marks.WAYS,
        "source": a.wind.source,
        "head": tables.headline(a, voice, around),
        "cases": tables.case_rows(a, facts["cases"], voice),
        "checks": tables.check_rows(a, voice),
        "areas": tables.area_rows(a, voice),
        "wind": wind,
        "picture": wind_picture_svg(a.wind, wind["top"], voice),
        "needle": needle_text(a.site.declination, voice),
        "most_points": voice.count(marks.MOST_POINTS),
        "ground_error": voice.distance(a.site.picture.error) if a.site.picture else "",
        "assumed": [in_units_of(note, voice.units) for note in a.assumed],
    }


def _drawn(told: Watch) -> dict[str, Any]:
    """Return what the page's script draws of an assessment, and what it must know of the ground."""
    a, voice, site = told.told, told.voice, told.told.site
    place, view = on_earth(site), _view(told.places, told.zones)
    edges = {edge: marks.worst_of(a.checks, edge) for edge in ("boundary", "waiver")}
    seen = {spot.area.name: spot.seen for spot in told.places} | edges
    grid = marks.lay_squares(view, voice.units)
    sent = {way.name: way for way in ways(told)}
    ground = site_layer(site, seen, place, voice, astray=told.astray)
    for area in ground["areas"]:
        if way := sent.get(area["name"]):
            area["go"] = way.pointed
    shapes = {spot.area.shape: spot.stand for spot in told.places}
    crowd = [
        s for s, stand in shapes.items() if stand and marks.in_sight(s, told.zones)
    ]
    outer = (lines[-1].shape for lines in a.contours.values())
    whole = [*shapes, *outer, site.boundary, site.waiver.shape]
    return {
        "units": voice.units,
        "pad": [site.latitude, site.longitude],
        **ground,
        "picture": underlay(site),
        "zones": _zones(told),
        "clear": [
            {"at": point_of(place, way.end), "go": way.azimuth}
            for way in to_clear(told)[:1]
        ],
        "pieces": [_piece(a, i, told.line, voice) for i in range(len(a.cloud.parts))],
        "grid": [place(each).tolist() for each in grid.lines()],
        "rings": _rings(place, view, voice),
        "squares": _edges(site, grid),
        "views": {
            "opening": _corners(site, _bounds([told.opening])),
            "flight": _corners(site, view),
            "people": _corners(
                site, _bounds(crowd)
            ),  # those far off are on the whole view
            "everything": _corners(site, _bounds(whole)),
        },
        "points": points_of(a),
    }


def _view(places: Sequence[Spot], zoned: Sequence[Zone]) -> marks.Bounds:
    """Frame pad, zones, and near enough crowd and areas with a check not passed."""
    near = [
        spot.area.shape
        for spot in places
        if (
            spot.stand
            or (spot.outcome != "pass" and spot.area.role not in marks.WAYS.values())
        )
        and marks.in_sight(spot.area.shape, zoned)
    ]
    return _bounds([*near, *(zone.shape for zone in zoned)])


def _bounds(shapes: Iterable[BaseGeometry]) -> marks.Bounds:
    """Bound shapes together with the pad and 50 m about it."""
    west, south, east, north = shapely.total_bounds(
        [*shapes, shapely.box(-50.0, -50.0, 50.0, 50.0)]
    )
    return float(west), float(south), float(east), float(north)


def _corners(site: Site, bounds: marks.Bounds) -> list[list[float]]:
    west, south, east, north = bounds
    lon, lat = lonlat(
        site, np.array([west, west, east, east]), np.array([south, north, south, north])
    )
    return [[float(lat.min()), float(lon.min())], [float(lat.max()), float(lon.max())]]


def _piece(
    assessment: Assessment, index: int, line: Line, voice: Voice
) -> dict[str, Any]:
    """Return the lines of a piece, the outermost first, and its label."""
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
        "at": point_of(place, farthest(lines[-1].shape)),  # there outlines part
        "lines": [rings_of(place, shape) for shape in shapes],
        "shares": [round(each.share * 100) for each in lines[::-1]],
    }


def _rings(place: ToScript, view: marks.Bounds, voice: Voice) -> list[dict[str, Any]]:
    """Return circles and bearings about the pad, each with its name at one of its places."""
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


def _zones(told: Watch) -> list[dict[str, Any]]:
    """Return danger and caution with what comes down there, and where their words belong.

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
                "reach": [
                    {
                        "at": point_of(place, shapely.Point(end.east, end.north)),
                        "told": told.voice.away(end.distance),
                        "bearing": round(math.degrees(end.azimuth)),
                    }
                    for end in reach_of(zone.shape)
                ],
                "lines": zone_lines(assessment.flight, zone, told.voice),
            }
        )
    return found
