"""Results as features of GeoJSON (RFC 7946), squares of ground among them."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import FloatArray
from driftmap.core.estimate import weighted_mean
from driftmap.ground.grid import probability_grid
from driftmap.montecarlo.cloud import Cloud
from driftmap.report import exported
from driftmap.report.exported import place, polygons, positions
from driftmap.verdict.assessment import CAUTIONS, Assessment

__all__ = ["LEAST_CHANCE", "HitCells", "geojson_text", "hit_cells"]

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
    cloud = a.cloud
    for part, likely, found in exported.pieces(a):
        told = _piece(part.case, part.body)
        (spot,) = positions(a.site, [found.east], [found.north])
        yield _feature(
            {"type": "Point", "coordinates": spot},
            "mean landing point",
            **told,
            count=part.count,
            case_probability=likely,
            median_time_s=round(found.time.p50, 1),
            median_speed_mps=round(found.speed.p50, 1),
            median_energy_j=round(found.energy.p50, 1),
        )
        rows = exported.thinned(part, most)
        where = positions(a.site, cloud.east[rows], cloud.north[rows])
        columns = (
            c[rows].astype(float).round(1).tolist()
            for c in (cloud.time, cloud.speed, cloud.energy)
        )
        for spot, time, speed, energy in zip(where, *columns, strict=True):
            figures = {"time_s": time, "speed_mps": speed, "energy_j": energy}
            geometry = {"type": "Point", "coordinates": spot}
            yield _feature(geometry, "landing point", **told, **figures)


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
