"""Results as GPX 1.1, for a receiver in the hand of who goes to look."""

from __future__ import annotations

from typing import Final
from xml.etree import ElementTree as ET

from shapely.geometry.base import BaseGeometry

from driftmap.exports import content
from driftmap.exports.places import DECIMALS, Place, place, polygons, positions
from driftmap.exports.xml import add, document
from driftmap.verdict.assessment import Assessment

__all__ = ["gpx_text"]

_NAMESPACE: Final = "http://www.topografix.com/GPX/1/1"


def gpx_text(assessment: Assessment) -> str:
    """Write an assessment as GPX.

    Parameters
    ----------
    assessment : Assessment
        The assessment.

    Returns
    -------
    str
        GPX text: the pad and the mean landing points as waypoints; contours, boundary,
        waiver and areas as closed tracks, for GPX knows no areas. The description of
        the file holds the cautions.
    """
    a = assessment
    root = ET.Element(
        "gpx",
        {"version": "1.1", "creator": f"driftmap {a.version}", "xmlns": _NAMESPACE},
    )
    metadata = add(root, "metadata")
    add(metadata, "name", content.headline(a))
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
    return document(root)


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
    spot: Place,
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


def _at(spot: Place) -> dict[str, str]:
    longitude, latitude = spot
    return {"lat": f"{latitude:.{DECIMALS}f}", "lon": f"{longitude:.{DECIMALS}f}"}
