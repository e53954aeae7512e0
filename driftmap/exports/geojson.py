"""Results as GeoJSON (RFC 7946)."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import numpy as np
from shapely.geometry.base import BaseGeometry

from driftmap.exports import content
from driftmap.exports.cells import Cells, hit_cells
from driftmap.exports.places import place, polygons, positions
from driftmap.ground.areas import Area
from driftmap.verdict.assessment import CAUTIONS, Assessment

__all__ = ["geojson_text"]

_Feature = dict[str, Any]


def geojson_text(
    assessment: Assessment,
    *,
    points: int = content.POINTS,
    cells: Cells | None = None,
) -> str:
    """Write an assessment as a FeatureCollection.

    Parameters
    ----------
    assessment : Assessment
        The assessment.
    points : int
        Landing points of each piece, at the most.
    cells : Cells, optional
        Squares to write; by default those of `driftmap.exports.cells.hit_cells`.

    Returns
    -------
    str
        GeoJSON text. Each feature has the property ``kind``: pad, boundary, waiver,
        area, contour, mean landing point, landing point or square. Figures are in SI,
        their units in the names. Cautions stand in the collection, and at the pad for
        readers that drop members of the collection (RFC 7946, 6.1).
    """
    features = [
        *_site(assessment),
        *_contours(assessment),
        *_landings(assessment, points),
        *_squares(assessment, cells or hit_cells(assessment.cloud)),
    ]
    collection = {
        "type": "FeatureCollection",
        "name": content.headline(assessment),
        "about": [list(pair) for pair in content.statements(assessment)],
        "features": features,
    }
    text = json.dumps(
        collection, ensure_ascii=False, allow_nan=False, separators=(",", ":")
    )
    return text.replace('{"type":"Feature",', '\n{"type":"Feature",') + "\n"


def _feature(geometry: _Feature, kind: str, **properties: object) -> _Feature:
    return {
        "type": "Feature",
        "geometry": geometry,
        "properties": {"kind": kind, **properties},
    }


def _area(a: Assessment, shape: BaseGeometry) -> _Feature:
    return {"type": "MultiPolygon", "coordinates": polygons(place(a.site, shape))}


def _site(a: Assessment) -> Iterator[_Feature]:
    site = a.site
    yield _feature(
        {"type": "Point", "coordinates": positions(site, [0.0], [0.0])[0]},
        "pad",
        name=content.sound(site.pad),
        verdict=a.verdict,
        cautions=list(CAUTIONS),
        elevation_m=site.elevation,
    )
    yield _feature(_area(a, site.boundary), "boundary")
    yield _feature(
        _area(a, site.waiver.shape),
        "waiver",
        ceiling_above_ground_m=site.waiver.ceiling,
    )
    for hit in a.areas:
        yield _feature(
            _area(a, hit.area.shape),
            "area",
            **_ground(hit.area),
            **_hit(hit.total.estimate, hit.total.lower, hit.total.upper),
        )


def _ground(area: Area) -> dict[str, object]:
    name = content.sound(area.name)
    return {"name": name, "role": area.role, "people": area.people}


def _hit(estimate: float, lower: float, upper: float) -> dict[str, float]:
    return {
        "hit_probability": content.figure(estimate),
        "hit_probability_lower": content.figure(lower),
        "hit_probability_upper": content.figure(upper),
    }


def _contours(a: Assessment) -> Iterator[_Feature]:
    for line in content.outlines(a):
        yield _feature(
            _area(a, line.shape),
            "contour",
            name=f"{line.case}: {line.piece}, {line.percent:g} %",
            case=line.case,
            piece=line.piece,
            percent_inside=line.percent,
            area_m2=round(line.area),
        )


def _landings(a: Assessment, most: int) -> Iterator[_Feature]:
    cloud = a.cloud
    for piece in content.pieces(a):
        told = {"case": piece.case, "piece": piece.name}
        yield _feature(
            _point(a, piece.east, piece.north),
            "mean landing point",
            **told,
            count=piece.count,
            case_probability=piece.probability,
            median_time_s=round(piece.time, 1),
            median_speed_mps=round(piece.speed, 1),
            median_energy_j=round(piece.energy, 1),
        )
        rows = content.thinned(piece.part, most)
        where = positions(a.site, cloud.east[rows], cloud.north[rows])
        columns = (np.round(c[rows], 1).tolist() for c in _columns(a))
        for spot, time, speed, energy in zip(where, *columns, strict=True):
            figures = {"time_s": time, "speed_mps": speed, "energy_j": energy}
            geometry = {"type": "Point", "coordinates": spot}
            yield _feature(geometry, "landing point", **told, **figures)


def _columns(a: Assessment) -> tuple[Any, ...]:
    return a.cloud.time, a.cloud.speed, a.cloud.energy


def _point(a: Assessment, east: float, north: float) -> _Feature:
    return {"type": "Point", "coordinates": positions(a.site, [east], [north])[0]}


def _squares(a: Assessment, cells: Cells) -> Iterator[_Feature]:
    east, north = cells.corners()
    corners = positions(a.site, east, north)
    for i, p in enumerate(cells.estimate):
        yield _feature(
            {"type": "Polygon", "coordinates": [corners[5 * i : 5 * i + 5]]},
            "square",
            side_m=cells.size,
            **_hit(p, cells.lower[i], cells.upper[i]),
        )
