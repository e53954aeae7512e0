"""Results for other programs: features of GeoJSON (RFC 7946), and tables (CSV, RFC 4180)."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import FloatArray
from driftmap.core.estimate import weighted_mean
from driftmap.ground.grid import probability_grid
from driftmap.montecarlo.cloud import Cloud, Part
from driftmap.report import exported
from driftmap.report.exported import DECIMALS, place, polygons, positions
from driftmap.verdict.assessment import CAUTIONS, Assessment

__all__ = [
    "LEAST_CHANCE",
    "HitCells",
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
    points: int = exported.MOST_LANDINGS,
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
        "name": exported.title_of(assessment),
        "about": [list(pair) for pair in exported.statements(assessment)],
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
        name=exported.sound(site.pad),
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
            name=exported.sound(hit.area.name),
            role=hit.area.role,
            people=hit.area.people,
            **_hit(hit.total.estimate, hit.total.lower, hit.total.upper),
        )


def _hit(estimate: float, lower: float, upper: float) -> dict[str, float]:
    return {
        "hit_probability": exported.shortened(estimate),
        "hit_probability_lower": exported.shortened(lower),
        "hit_probability_upper": exported.shortened(upper),
    }


def _contours(a: Assessment) -> Iterator[_Feature]:
    for case, piece, line in exported.outlines(a):
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
    return {"case": exported.sound(case), "piece": exported.sound(piece)}


def _landings(a: Assessment, most: int) -> Iterator[_Feature]:
    for part, likely, found in exported.pieces(a):
        told = _piece(part.case, part.body)
        (spot,) = positions(a.site, [found.east], [found.north])
        yield _feature(
            {"type": "Point", "coordinates": spot},
            "mean landing point",
            **told,
            count=part.count,
            case_probability=likely,
            **exported.medians(found),
        )
        for spot, _, _, time, speed, energy in _points(a, part, most):
            figures = {"time_s": time, "speed_mps": speed, "energy_j": energy}
            geometry = {"type": "Point", "coordinates": spot}
            yield _feature(geometry, "landing point", **told, **figures)


def _points(a: Assessment, part: Part, most: int) -> Iterator[tuple[Any, ...]]:
    """Give position, east, north, time, speed and energy of some landings."""
    cloud, rows = a.cloud, exported.thinned(part, most)
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
            **_hit(p, cells.lower[i], cells.upper[i]),
        )


LEAST_CHANCE: Final = 1e-4
"""Least probability of a square that is written, unless asked otherwise."""


@dataclass(frozen=True, slots=True, eq=False)
class HitCells:
    """Squares of ground by their centres from the pad, and their side [m].

    With the probability that at least one piece of a flight lands there, and its interval.
    """

    east: FloatArray
    north: FloatArray
    estimate: FloatArray
    lower: FloatArray
    upper: FloatArray
    size: float

    def corners(self) -> tuple[FloatArray, FloatArray]:
        """Give the corners, counterclockwise from the south-west, closed.

        Result: corners from the pad [m], shape (k, 5).
        """
        half = self.size / 2
        return (
            self.east[:, None] + half * np.array([-1, 1, 1, -1, -1]),
            self.north[:, None] + half * np.array([-1, -1, 1, 1, -1]),
        )


_COARSER: Final = 5
"""Squares are so many times wider than the cells of `probability_grid`: a square is
looked at by itself, and shall hold more than a few chance hits."""


def hit_cells(
    cloud: Cloud, *, floor: float = LEAST_CHANCE, size: float | None = None
) -> HitCells:
    """Count, for each square, the flights of which a piece lands in it.

    ``floor``: squares with a smaller probability are left out, in [0, 1]; ``size``:
    side of a square [m]; by default about a tenth of the width of the middle half of
    the cloud.

    Result: all cases by their likelihood, from south-west to north-east. A trial is a
    flight: three fins in one square are one hit. Squares that no flight hit are left
    out whatever the floor; they are not proven safe. Raises `ValueError` if `floor` is
    no probability, or squares of this size would be too many.

    Estimate and interval are those of `driftmap.hazard.probability.mixture`: the trial
    is a flight with all its cases.
    """
    if not 0 <= floor <= 1:
        raise ValueError(f"'floor' must lie in 0 to 1 (got {floor})")
    # Only the edges of the grids are used: they suit the spread of the points.
    if size is None:
        size = _COARSER * probability_grid(cloud.east, cloud.north).cell
    lattice = probability_grid(cloud.east, cloud.north, cell=size)
    rows, columns = lattice.probability.shape
    column, row = (
        (np.floor(axis / size) - np.floor(axis.min() / size)).astype(np.int64)
        for axis in (cloud.east.astype(float), cloud.north.astype(float))
    )
    cell = row * columns + column
    p = _by_cell(cloud, cell, rows * columns)
    hit = np.flatnonzero((p[0] > 0) & (p[0] >= floor))
    estimate, lower, upper = p[:, hit]
    return HitCells(
        lattice.east[hit % columns],
        lattice.north[hit // columns],
        estimate,
        lower,
        upper,
        lattice.cell,
    )


def _by_cell(cloud: Cloud, cell: NDArray[np.int64], size: int) -> FloatArray:
    """Give estimate, lower and upper by cell, shape (3, size)."""
    keys, weights = [], []
    for case in cloud.tree.cases:
        parts = list(cloud.of(case.name))
        who = parts[0].who
        landed = np.concatenate([cell[p.rows].reshape(p.count, -1) for p in parts])
        # A second piece of a flight in the same cell adds nothing.
        key = np.unique(who * size + landed)
        keys.append(key)
        flight = np.searchsorted(who, key // size)
        weights.append(cloud.weights(case)[flight])
    key, place = np.unique(np.concatenate(keys), return_inverse=True)
    chance = np.bincount(place, np.concatenate(weights))
    where = key % size
    order = np.argsort(where, kind="stable")
    found, starts = np.unique(where[order], return_index=True)
    p = np.zeros((3, size))
    for one, values in zip(found, np.split(chance[order], starts[1:]), strict=True):
        most = max(1.0, values.max())
        mean = weighted_mean(values[values > 0], cloud.flights, most)
        p[:, one] = mean.estimate, mean.lower, min(mean.upper, 1.0)
    return p


_POSITION = ("longitude_deg", "latitude_deg", "east_m", "north_m")
_HIT = ("hit_probability", "hit_probability_lower", "hit_probability_upper")


def _cell(text: str) -> str:
    """Keep a spreadsheet from taking text for a formula; without one leading apostrophe it is as it was."""
    risky = text.lstrip().startswith(("=", "+", "-", "@", "'"))
    return f"'{text}" if risky else text


def about_csv(assessment: Assessment) -> str:
    """Write verdict, cautions, inputs and assumptions: what the other tables rest on."""
    return _table(("subject", "text"), exported.statements(assessment))


def areas_csv(assessment: Assessment) -> str:
    """Write pad, boundary, waiver and areas; outlines as text (WKT), longitude first."""
    site = assessment.site
    # The pad is a point; it has no probability of its own.
    (pad,) = positions(site, [0.0], [0.0])
    nothing = ("", "", "", "")
    rows: list[Sequence[object]] = [
        ("pad", site.pad, *nothing, f"POINT ({pad[0]} {pad[1]})"),
        ("boundary", "", *nothing, _wkt(assessment, site.boundary)),
        ("waiver", "", *nothing, _wkt(assessment, site.waiver.shape)),
    ]
    for hit in assessment.areas:
        area, p = hit.area, hit.total
        chance = map(exported.shortened, (p.estimate, p.lower, p.upper))
        outline = _wkt(assessment, area.shape)
        rows.append((area.role, area.name, area.people, *chance, outline))
    return _table(("role", "name", "people", *_HIT, "outline_wkt_deg"), rows)


def contours_csv(assessment: Assessment) -> str:
    """Write the contours; outlines as text (WKT), longitude first."""
    head = ("case", "piece", "landings_inside_percent", "area_m2", "outline_wkt_deg")
    rows = (
        (
            *(case, piece, f"{line.share * 100:g}", round(line.area)),
            _wkt(assessment, line.shape),
        )
        for case, piece, line in exported.outlines(assessment)
    )
    return _table(head, rows)


def pieces_csv(assessment: Assessment) -> str:
    """Write the mean landing point of each piece of each case."""
    head = ("case", "case_probability", "piece", "count", *_POSITION)
    medians = ("median_time_s", "median_speed_m_per_s", "median_energy_J")
    rows = []
    for part, likely, at in exported.pieces(assessment):
        (spot,) = positions(assessment.site, [at.east], [at.north])
        told = (part.case, likely, part.body, part.count, *spot)
        rows.append(
            (
                *told,
                round(at.east, 1),
                round(at.north, 1),
                *exported.medians(at).values(),
            )
        )
    return _table((*head, *medians), rows)


def points_csv(assessment: Assessment, *, points: int = exported.MOST_LANDINGS) -> str:
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
        (*spot, east, north, cells.size, *map(exported.shortened, p))
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
            [_cell(exported.sound(c)) if isinstance(c, str) else c for c in row]
        )
    return text.getvalue()
