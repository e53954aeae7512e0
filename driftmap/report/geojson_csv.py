"""Results for other programs: features of GeoJSON (RFC 7946), and tables (CSV, RFC 4180)."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.hazard.squares import HitCells, hit_cells
from driftmap.montecarlo.columns import Part
from driftmap.report import export_common
from driftmap.report.export_common import DECIMALS, place, polygons, positions
from driftmap.verdict.assessment import CAUTIONS, Assessment, good_between

__all__ = [
    "about_csv",
    "areas_csv",
    "contours_csv",
    "geojson_text",
    "grid_csv",
    "hit_cells",
    "pieces_csv",
    "points_csv",
]

_Feature = dict[str, Any]


def geojson_text(
    assessment: Assessment,
    *,
    points: int = export_common.MOST_LANDINGS,
    cells: HitCells | None = None,
) -> str:
    """Write an assessment as a FeatureCollection.

    ``points``: landing points of each piece, at the most; ``cells``: squares to write;
    by default those of `hit_cells`.

    GeoJSON text. Each feature has the property ``kind``: pad, boundary, waiver,
    area, contour, mean landing point, landing point or square. Figures are in SI, their
    units in the names. Cautions stand in the collection, and at the pad for readers
    that drop members of the collection (RFC 7946, 6.1).
    """
    features = [
        *_site(assessment),
        *_contours(assessment),
        *_landings(assessment, points),
        *_squares(assessment, cells or hit_cells(assessment.cloud)),
    ]
    collection = {
        "type": "FeatureCollection",
        "name": export_common.title_of(assessment),
        "about": [list(pair) for pair in export_common.statements(assessment)],
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
    site, counts = a.site, good_between(a)
    yield _feature(
        {"type": "Point", "coordinates": positions(site, [0.0], [0.0])[0]},
        "pad",
        name=export_common.sound(site.pad),
        verdict=a.verdict,
        counts_until=None if counts is None else counts[1].isoformat(),
        cautions=list(CAUTIONS),
        elevation_m=site.elevation,
    )
    for ground in export_common.grounds(a):
        named = {"name": ground.name} if ground.name else {}
        yield _feature(_area(a, ground.shape), ground.kind, **named, **ground.figures)


def _contours(a: Assessment) -> Iterator[_Feature]:
    for case, piece, line in export_common.outlines(a):
        told, percent = _piece(case, piece), line.share * 100
        yield _feature(
            _area(a, line.shape),
            "contour",
            name=f"{told['case']}: {told['piece']}, {percent:g} %",
            **told,
            percent_inside=percent,
            area_m2=round(line.area),
        )


def _piece(case: str, piece: str) -> dict[str, str]:
    return {"case": export_common.sound(case), "piece": export_common.sound(piece)}


def _landings(a: Assessment, most: int) -> Iterator[_Feature]:
    for part, likely, found in export_common.pieces(a):
        told = _piece(part.case, part.body)
        (spot,) = positions(a.site, [found.east], [found.north])
        yield _feature(
            {"type": "Point", "coordinates": spot},
            "mean landing point",
            **told,
            count=part.count,
            case_probability=likely,
            **export_common.medians(found),
        )
        for spot, _, _, time, speed, energy in _points(a, part, most):
            figures = {"time_s": time, "speed_mps": speed, "energy_j": energy}
            geometry = {"type": "Point", "coordinates": spot}
            yield _feature(geometry, "landing point", **told, **figures)


def _points(a: Assessment, part: Part, most: int) -> Iterator[tuple[Any, ...]]:
    """Return position, east, north, time, speed and energy of some landings."""
    cloud, rows = a.cloud, export_common.thinned(part, most)
    columns = (cloud.east, cloud.north, cloud.time, cloud.speed, cloud.energy)
    figures = (column[rows].astype(float).round(1).tolist() for column in columns)
    where = positions(a.site, cloud.east[rows], cloud.north[rows])
    return zip(where, *figures, strict=True)


def _squares(a: Assessment, cells: HitCells) -> Iterator[_Feature]:
    east, north = cells.corners()
    corners = positions(a.site, east, north)
    for i, p in enumerate(cells.estimate):
        yield _feature(
            {"type": "Polygon", "coordinates": [corners[5 * i : 5 * i + 5]]},
            "square",
            side_m=cells.size,
            **export_common.chances(p, cells.lower[i], cells.upper[i]),
        )


_POSITION = ("longitude_deg", "latitude_deg", "east_m", "north_m")
_HIT = ("hit_probability", "hit_probability_lower", "hit_probability_upper")


def _cell(text: str) -> str:
    """Keep a spreadsheet from taking text for a formula; without one leading apostrophe it is as it was."""
    risky = text.lstrip().startswith(("=", "+", "-", "@", "'"))
    return f"'{text}" if risky else text


def about_csv(assessment: Assessment) -> str:
    """Write verdict, cautions, inputs and assumptions: what the other tables rest on."""
    return _table(("subject", "text"), export_common.statements(assessment))


def areas_csv(assessment: Assessment) -> str:
    """Write pad, boundary, waiver and areas; outlines as text (WKT), longitude first."""
    site = assessment.site
    (pad,) = positions(site, [0.0], [0.0])
    # The pad is a point; it has no probability of its own.
    rows = [("pad", site.pad, *[""] * 4, f"POINT ({pad[0]} {pad[1]})")]
    for ground in export_common.grounds(assessment):
        figures = (ground.figures.get(key, "") for key in ("people", *_HIT))
        outline = _wkt(assessment, ground.shape)
        rows.append((ground.role or ground.kind, ground.name, *figures, outline))
    return _table(("role", "name", "people", *_HIT, "outline_wkt_deg"), rows)


def contours_csv(assessment: Assessment) -> str:
    """Write the contours; outlines as text (WKT), longitude first."""
    head = ("case", "piece", "landings_inside_percent", "area_m2", "outline_wkt_deg")
    rows = (
        (
            *(case, piece, f"{line.share * 100:g}", round(line.area)),
            _wkt(assessment, line.shape),
        )
        for case, piece, line in export_common.outlines(assessment)
    )
    return _table(head, rows)


def pieces_csv(assessment: Assessment) -> str:
    """Write the mean landing point of each piece of each case."""
    head = ("case", "case_probability", "piece", "count", *_POSITION)
    medians = ("median_time_s", "median_speed_m_per_s", "median_energy_J")
    rows = []
    for part, likely, at in export_common.pieces(assessment):
        (spot,) = positions(assessment.site, [at.east], [at.north])
        told = (part.case, likely, part.body, part.count, *spot)
        rows.append(
            (
                *told,
                round(at.east, 1),
                round(at.north, 1),
                *export_common.medians(at).values(),
            )
        )
    return _table((*head, *medians), rows)


def points_csv(
    assessment: Assessment, *, points: int = export_common.MOST_LANDINGS
) -> str:
    """Write landing points, so many of each piece at the most."""
    head = ("case", "piece", *_POSITION, "time_s", "speed_m_per_s", "energy_J")
    rows = (
        (part.case, part.body, *spot, *figures)
        for part in assessment.cloud.parts
        for spot, *figures in _points(assessment, part, points)
    )
    return _table(head, rows)


def grid_csv(assessment: Assessment, *, cells: HitCells | None = None) -> str:
    """Write the probability grid, each square by its centre."""
    cells = cells or hit_cells(assessment.cloud)
    where = positions(assessment.site, cells.east, cells.north)
    columns = (cells.east, cells.north, cells.estimate, cells.lower, cells.upper)
    rows = (
        (*spot, east, north, cells.size, *map(export_common.shortened, p))
        for spot, east, north, *p in zip(
            where, *(c.tolist() for c in columns), strict=True
        )
    )
    return _table((*_POSITION, "side_m", *_HIT), rows)


def _wkt(a: Assessment, shape: BaseGeometry) -> str:
    return str(shapely.to_wkt(place(a.site, shape), rounding_precision=DECIMALS))


def _table(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(head)
    for row in rows:
        writer.writerow(
            [_cell(export_common.sound(c)) if isinstance(c, str) else c for c in row]
        )
    return text.getvalue()
