"""Results as KML 2.3 (OGC 12-007r2), for globes and phones, and as GPX 1.1, for a receiver in the hand."""

from __future__ import annotations

import html
from typing import Final
from xml.etree import ElementTree as ET

from shapely.geometry.base import BaseGeometry

from driftmap.exports import content
from driftmap.exports.content import (
    DECIMALS,
    LonLat,
    add,
    place,
    polygons,
    positions,
    xml_text,
)
from driftmap.failures.cases import WORKS
from driftmap.verdict.assessment import Assessment

__all__ = ["gpx_text", "kml_text"]

_NAMESPACE: Final = "http://www.opengis.net/kml/2.2"  # KML 2.3 keeps that of 2.2
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


def kml_text(assessment: Assessment, *, points: int = content.MOST_LANDINGS) -> str:
    """Write an assessment as KML.

    ``points``: landing points of each piece, at the most.

    Result: KML text. Landing points and inner contours are hidden until switched on.
    The document's description holds the cautions.
    """
    root = ET.Element("kml", {"xmlns": _NAMESPACE, "version": "2.3"})
    whole = add(root, "Document")
    add(whole, "name", content.title_of(assessment))
    add(whole, "open", "1")
    add(whole, "description", _description(assessment))
    for name, colours in _STYLES.items():
        _style(whole, name, *colours)
    _site(whole, assessment)
    _cases(whole, assessment, points)
    return xml_text(root)


def _description(a: Assessment) -> str:
    # Shown as HTML (OGC 12-007r2, kml:description): what came from files is escaped.
    told = content.statements(a)
    return "<br/>".join(html.escape(f"{subject}: {text}") for subject, text in told)


def _style(parent: ET.Element, name: str, line: str, fill: str) -> None:
    style = add(parent, "Style", id=name)
    stroke = add(style, "LineStyle")
    add(stroke, "color", line)
    add(stroke, "width", "3")
    add(add(style, "PolyStyle"), "color", fill)


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
    holder = add(mark, "ExtendedData")
    for name, value in figures.items():
        add(add(holder, "Data", name=name), "value", str(value))


def _point(mark: ET.Element, spot: LonLat) -> None:
    add(add(mark, "Point"), "coordinates", _row([spot]))


def _shape(mark: ET.Element, a: Assessment, shape: BaseGeometry) -> None:
    several = add(mark, "MultiGeometry")
    for outer, *holes in polygons(place(a.site, shape)):
        polygon = add(several, "Polygon")
        for ring, name in (
            (outer, "outerBoundaryIs"),
            *((hole, "innerBoundaryIs") for hole in holes),
        ):
            line = add(add(polygon, name), "LinearRing")
            add(line, "coordinates", _row(ring))


def _row(ring: list[LonLat]) -> str:
    return " ".join(
        f"{longitude:.{DECIMALS}f},{latitude:.{DECIMALS}f}"
        for longitude, latitude in ring
    )


def _site(parent: ET.Element, a: Assessment) -> None:
    folder = add(parent, "Folder")
    add(folder, "name", a.site.name)
    _point(_placemark(folder, a.site.pad), positions(a.site, [0.0], [0.0])[0])
    _shape(_placemark(folder, "boundary", style="boundary"), a, a.site.boundary)
    waiver = _placemark(folder, "waiver", style="waiver")
    _data(waiver, ceiling_above_ground_m=round(a.site.waiver.ceiling, 1))
    _shape(waiver, a, a.site.waiver.shape)
    for hit in a.areas:
        people = hit.area.occupied
        mark = _placemark(folder, hit.area.name, style="people" if people else "ground")
        _data(
            mark,
            role=hit.area.role,
            hit_probability=f"{hit.total.estimate:.3g}",
            hit_probability_lower=f"{hit.total.lower:.3g}",
            hit_probability_upper=f"{hit.total.upper:.3g}",
        )
        _shape(mark, a, hit.area.shape)


def _cases(parent: ET.Element, a: Assessment, points: int) -> None:
    lines = list(content.outlines(a))
    folders: dict[str, ET.Element] = {}
    for piece in content.pieces(a):
        if piece.case not in folders:
            folders[piece.case] = add(parent, "Folder")
            add(folders[piece.case], "name", piece.case)
        folder = folders[piece.case]
        own = [x for x in lines if (x.case, x.piece) == (piece.case, piece.name)]
        for line in own:
            _contour(folder, a, line, widest=line is own[0])
        _landing(folder, a, piece, points)


def _contour(
    folder: ET.Element, a: Assessment, line: content.ContourLine, *, widest: bool
) -> None:
    works = line.case == WORKS
    mark = _placemark(
        folder,
        f"{line.piece}: {line.percent:g} % land inside",
        style="works" if works else "failure",
        shown=widest or works,
    )
    _data(mark, percent_inside=f"{line.percent:g}", area_m2=round(line.area))
    _shape(mark, a, line.shape)


def _landing(
    folder: ET.Element, a: Assessment, piece: content.PieceFigures, most: int
) -> None:
    mean = _placemark(folder, f"{piece.name}: mean landing point")
    _data(
        mean,
        case_probability=f"{piece.probability:.3g}",
        count=piece.count,
        median_time_s=round(piece.time, 1),
        median_speed_mps=round(piece.speed, 1),
        median_energy_j=round(piece.energy, 1),
    )
    _point(mean, positions(a.site, [piece.east], [piece.north])[0])
    rows = content.thinned(piece.part, most)
    if rows.size:
        cloud = a.cloud
        several = add(
            _placemark(folder, f"{piece.name}: landing points", shown=False),
            "MultiGeometry",
        )
        for spot in positions(a.site, cloud.east[rows], cloud.north[rows]):
            _point(several, spot)


_GPX_NAMESPACE: Final = "http://www.topografix.com/GPX/1/1"


def gpx_text(assessment: Assessment) -> str:
    """Write an assessment as GPX.

    Result: GPX text: the pad and the mean landing points as waypoints; contours,
    boundary, waiver and areas as closed tracks, for GPX knows no areas. The description
    of the file holds the cautions.
    """
    a = assessment
    root = ET.Element(
        "gpx",
        {"version": "1.1", "creator": f"driftmap {a.version}", "xmlns": _GPX_NAMESPACE},
    )
    metadata = add(root, "metadata")
    add(metadata, "name", content.title_of(a))
    told = content.statements(a)
    add(metadata, "desc", "\n".join(f"{subject}: {text}" for subject, text in told))
    # The schema wants every waypoint before the first track.
    _waypoints(root, a)
    _track(root, a, "boundary", "boundary", a.site.boundary)
    _track(root, a, "waiver", "waiver", a.site.waiver.shape)
    for hit in a.areas:
        _track(root, a, hit.area.name, hit.area.role, hit.area.shape)
    for line in content.outlines(a):
        name = f"{line.case}: {line.piece}, {line.percent:g} % inside"
        _track(root, a, name, "contour", line.shape)
    return xml_text(root)


def _waypoints(root: ET.Element, a: Assessment) -> None:
    site = a.site
    (pad,) = positions(site, [0.0], [0.0])
    _waypoint(root, pad, site.pad, "pad", elevation=site.elevation)
    for piece in content.pieces(a):
        (spot,) = positions(site, [piece.east], [piece.north])
        _waypoint(
            root,
            spot,
            f"{piece.case}: {piece.name}",
            f"lands {piece.time:.0f} s after lift-off",
        )


def _waypoint(
    root: ET.Element,
    spot: LonLat,
    name: str,
    comment: str,
    *,
    elevation: float | None = None,
) -> None:
    point = add(root, "wpt", **_at(spot))
    if elevation is not None:
        add(point, "ele", f"{elevation:.1f}")
    add(point, "name", name)
    add(point, "cmt", comment)


def _track(
    root: ET.Element, a: Assessment, name: str, kind: str, shape: BaseGeometry
) -> None:
    track = add(root, "trk")
    add(track, "name", name)
    add(track, "type", kind)
    for polygon in polygons(place(a.site, shape)):
        for ring in polygon:
            segment = add(track, "trkseg")
            for spot in ring:
                add(segment, "trkpt", **_at(spot))


def _at(spot: LonLat) -> dict[str, str]:
    longitude, latitude = spot
    return {"lat": f"{latitude:.{DECIMALS}f}", "lon": f"{longitude:.{DECIMALS}f}"}
