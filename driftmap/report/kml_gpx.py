"""Results as KML 2.3 (OGC 12-007r2), for globes and phones, and as GPX 1.1, for a receiver in the hand."""

from __future__ import annotations

import html
from collections import defaultdict
from collections.abc import Iterable
from importlib.metadata import version
from typing import Final
from xml.etree import ElementTree as ET

from shapely.geometry.base import BaseGeometry

from driftmap.ground.areas import Site
from driftmap.ground.contours import Contour
from driftmap.ground.roles import OCCUPIED
from driftmap.report import export_common
from driftmap.report.export_common import (
    DECIMALS,
    LonLat,
    add,
    place,
    polygons,
    positions,
    xml_text,
)
from driftmap.rocket.likelihood import WORKS
from driftmap.verdict.assessment import Assessment

KML_NAMESPACE: Final = "http://www.opengis.net/kml/2.2"  # KML 2.3 keeps that of 2.2
_STYLES: Final = {
    # Line and fill as aabbggrr: alpha, blue, green, red (OGC 12-007r2, kml:color).
    "boundary": ("ff2e6b1c", "00ffffff"),
    "waiver": ("ff181410", "00ffffff"),
    "people": ("ff6800b0", "606800b0"),
    "ground": ("ff58514a", "4058514a"),
    "works": ("ffb05800", "30b05800"),
    "failure": ("ff0030b5", "200030b5"),
}
"""Style of each kind of ground: colour of its line, colour of its fill."""


def kml_text(
    assessment: Assessment, *, points: int = export_common.MOST_LANDINGS
) -> str:
    """Write an assessment as KML.

    ``points``: landing points of each piece, at the most.

    Result: KML text. Landing points and inner contours are hidden until switched on.
    The document's description holds the cautions.
    """
    root = ET.Element("kml", {"xmlns": KML_NAMESPACE, "version": "2.3"})
    whole = add(root, "Document")
    add(whole, "name", export_common.title_of(assessment))
    add(whole, "open", "1")
    # Shown as HTML (OGC 12-007r2, kml:description): what came from files is escaped.
    told = (
        f"{subject}: {text}" for subject, text in export_common.statements(assessment)
    )
    add(whole, "description", "<br/>".join(map(html.escape, told)))
    for name, (line, fill) in _STYLES.items():
        style = add(whole, "Style", id=name)
        stroke = add(style, "LineStyle")
        add(stroke, "color", line)
        add(stroke, "width", "3")
        add(add(style, "PolyStyle"), "color", fill)
    _site(whole, assessment)
    _cases(whole, assessment, points)
    return xml_text(root)


def _placemark(
    parent: ET.Element, name: str, *, style: str = "", shown: bool = True
) -> ET.Element:
    mark = add(parent, "Placemark")
    add(mark, "name", name)
    if not shown:
        add(mark, "visibility", "0")
    if style:
        add(mark, "styleUrl", f"#{style}")
    return mark


def _data(mark: ET.Element, **figures: object) -> None:
    known = {name: value for name, value in figures.items() if value is not None}
    if not known:
        return
    holder = add(mark, "ExtendedData")
    for name, value in known.items():
        add(add(holder, "Data", name=name), "value", str(value))


def _point(mark: ET.Element, spot: LonLat) -> None:
    add(add(mark, "Point"), "coordinates", coordinates([spot]))


def add_shape(mark: ET.Element, site: Site, shape: BaseGeometry) -> None:
    """Add a shape to a placemark of KML."""
    several = add(mark, "MultiGeometry")
    for rings in polygons(place(site, shape)):
        polygon = add(several, "Polygon")
        for number, ring in enumerate(rings):
            edge = add(polygon, "innerBoundaryIs" if number else "outerBoundaryIs")
            add(add(edge, "LinearRing"), "coordinates", coordinates(ring))


def coordinates(spots: Iterable[LonLat]) -> str:
    """Write positions in a row, as KML has them."""
    return " ".join(f"{x:.{DECIMALS}f},{y:.{DECIMALS}f}" for x, y in spots)


def _site(parent: ET.Element, a: Assessment) -> None:
    folder = add(parent, "Folder")
    add(folder, "name", a.site.name)
    _point(_placemark(folder, a.site.pad), positions(a.site, [0.0], [0.0])[0])
    for ground in export_common.grounds(a):
        kind = "people" if ground.role in OCCUPIED else "ground"
        style = kind if ground.role else ground.kind
        mark = _placemark(folder, ground.name or ground.kind, style=style)
        _data(mark, **ground.figures)
        add_shape(mark, a.site, ground.shape)


def _cases(parent: ET.Element, a: Assessment, points: int) -> None:
    lines: dict[tuple[str, str], list[Contour]] = defaultdict(list)
    for case, piece, line in export_common.outlines(a):
        lines[case, piece].append(line)
    folders: dict[str, ET.Element] = {}
    for part, likely, found in export_common.pieces(a):
        if part.case not in folders:
            folders[part.case] = add(parent, "Folder")
            add(folders[part.case], "name", part.case)
        folder, works = folders[part.case], part.case == WORKS
        own = lines[part.case, part.body]
        for line in own:
            percent = f"{line.share * 100:g}"
            mark = _placemark(
                folder,
                f"{part.body}: {percent} % land inside",
                style="works" if works else "failure",
                shown=line is own[0] or works,
            )
            _data(mark, percent_inside=percent, area_m2=round(line.area))
            add_shape(mark, a.site, line.shape)
        mean = _placemark(folder, f"{part.body}: mean landing point")
        figures = export_common.medians(found)
        _data(mean, case_probability=f"{likely:.3g}", count=part.count, **figures)
        _point(mean, positions(a.site, [found.east], [found.north])[0])
        rows = export_common.thinned(part, points)
        if rows.size:
            name = f"{part.body}: landing points"
            several = add(_placemark(folder, name, shown=False), "MultiGeometry")
            for spot in positions(a.site, a.cloud.east[rows], a.cloud.north[rows]):
                _point(several, spot)


_GPXKML_NAMESPACE: Final = "http://www.topografix.com/GPX/1/1"


def gpx_text(assessment: Assessment) -> str:
    """Write an assessment as GPX.

    Result: GPX text: the pad and the mean landing points as waypoints; contours,
    boundary, waiver and areas as closed tracks, for GPX knows no areas. The description
    of the file holds the cautions.
    """
    a = assessment
    root, metadata = new_gpx(export_common.title_of(a))
    told = export_common.statements(a)
    add(metadata, "desc", "\n".join(f"{subject}: {text}" for subject, text in told))
    # The schema wants every waypoint before the first track.
    site = a.site
    (pad,) = positions(site, [0.0], [0.0])
    point = add(root, "wpt", **lat_lon(pad))
    add(point, "ele", f"{site.elevation:.1f}")
    add(point, "name", site.pad)
    add(point, "cmt", "pad")
    for part, _, found in export_common.pieces(a):
        point = add(
            root, "wpt", **lat_lon(*positions(site, [found.east], [found.north]))
        )
        add(point, "name", f"{part.case}: {part.body}")
        add(point, "cmt", f"lands {found.time.p50:.0f} s after lift-off")
    for ground in export_common.grounds(a):
        name, kind = ground.name or ground.kind, ground.role or ground.kind
        add_track(root, site, ground.shape, name, kind)
    for case, piece, line in export_common.outlines(a):
        name = f"{case}: {piece}, {line.share * 100:g} % inside"
        add_track(root, site, line.shape, name, "contour")
    return xml_text(root)


def new_gpx(name: str) -> tuple[ET.Element, ET.Element]:
    """Begin a document of GPX; give its root, and what it says of itself."""
    creator = f"driftmap {version('driftmap')}"
    root = ET.Element(
        "gpx", {"version": "1.1", "creator": creator, "xmlns": _GPXKML_NAMESPACE}
    )
    head = add(root, "metadata")
    add(head, "name", name)
    return root, head


def add_track(
    root: ET.Element, site: Site, shape: BaseGeometry, name: str, kind: str = ""
) -> None:
    """Add the outlines of a shape to a document of GPX."""
    track = add(root, "trk")
    add(track, "name", name)
    if kind:
        add(track, "type", kind)
    for rings in polygons(place(site, shape)):
        for ring in rings:
            segment = add(track, "trkseg")
            for spot in ring:
                add(segment, "trkpt", **lat_lon(spot))


def lat_lon(spot: LonLat) -> dict[str, str]:
    """Write a position as GPX has it."""
    longitude, latitude = spot
    return {"lat": f"{latitude:.{DECIMALS}f}", "lon": f"{longitude:.{DECIMALS}f}"}
