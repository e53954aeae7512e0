"""Results as tables of comma-separated values (RFC 4180), units in the headers."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence

import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.report import exported
from driftmap.report.exported import DECIMALS, place, positions
from driftmap.report.features import HitCells, hit_cells
from driftmap.verdict.assessment import Assessment

__all__ = [
    "about_csv",
    "areas_csv",
    "cell_text",
    "contours_csv",
    "grid_csv",
    "pieces_csv",
    "points_csv",
]

_POSITION = ("longitude_deg", "latitude_deg", "east_m", "north_m")
_HIT = ("hit_probability", "hit_probability_lower", "hit_probability_upper")


def cell_text(text: str) -> str:
    """Keep a spreadsheet from taking text for a formula.

    Parameters
    ----------
    text : str
        Text from a file.

    Returns
    -------
    str
        The same; with an apostrophe before it where it starts with one, or with a sign
        that starts a formula. Dropping one leading apostrophe gives the text back.

    Examples
    --------
    >>> cell_text("=1+1"), cell_text("North field"), cell_text("'quoted'")
    ("'=1+1", 'North field', "''quoted'")
    """
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
        spot = positions(assessment.site, [at.east], [at.north])[0]
        figures = (at.east, at.north, at.time.p50, at.speed.p50, at.energy.p50)
        told = (part.case, likely, part.body, part.count, *spot)
        rows.append((*told, *(round(v, 1) for v in figures)))
    return _table((*head, *medians), rows)


def points_csv(assessment: Assessment, *, points: int = exported.MOST_LANDINGS) -> str:
    """Write landing points, so many of each piece at the most."""
    head = ("case", "piece", *_POSITION, "time_s", "speed_m_per_s", "energy_J")
    return _table(head, _points(assessment, points))


def _points(a: Assessment, most: int) -> Iterator[Sequence[object]]:
    cloud = a.cloud
    columns = (cloud.east, cloud.north, cloud.time, cloud.speed, cloud.energy)
    for part in cloud.parts:
        rows = exported.thinned(part, most)
        where = positions(a.site, cloud.east[rows], cloud.north[rows])
        figures = zip(
            *(c[rows].astype(float).round(1).tolist() for c in columns), strict=True
        )
        for spot, row in zip(where, figures, strict=True):
            yield (part.case, part.body, *spot, *row)


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
            [cell_text(exported.sound(c)) if isinstance(c, str) else c for c in row]
        )
    return text.getvalue()
