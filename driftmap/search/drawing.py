"""The search as a picture from above: squares, lines, what to mind, the order of walking."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.ground.contours import Contour
from driftmap.ground.site import OCCUPIED, Site
from driftmap.search.chances import Chances
from driftmap.search.walk import Sweep

__all__ = ["picture"]

_MOST_WAYS = 12  # sweeps drawn: more would hide the squares
_MARGIN = 1.0  # squares about the grid
_FINE = 0.02  # of a square: corners that move an outline by less are left out


def picture(
    chances: Chances,
    site: Site,
    sweeps: Sequence[Sweep] = (),
    found: Sequence[tuple[str, float, float]] = (),
) -> str:
    """Draw the search.

    Parameters
    ----------
    chances : Chances
        Where the piece may lie.
    site : Site
        The ground.
    sweeps : sequence of Sweep
        Sweeps to draw as arrows, numbered.
    found : sequence of (str, float, float)
        Pieces found already, with place from the pad [m].

    Returns
    -------
    str
        An ``svg`` element, north up; one unit is a square's side.
    """
    grid = chances.squares
    wide, high = grid.columns + 2 * _MARGIN, grid.rows + 2 * _MARGIN
    parts = [*_areas(chances, site), *_cells(chances), *_letters(chances)]
    parts += [_outline(chances, line) for line in chances.lines]
    parts += _ways(chances, sweeps)
    x, y = _at(chances, (0.0, 0.0))
    inside = (
        -_MARGIN <= x <= grid.columns + _MARGIN and -_MARGIN <= y <= grid.rows + _MARGIN
    )
    if inside:
        parts.append(f'<g class="pad"><circle cx="{x:.2f}" cy="{y:.2f}" r=".22"/>')
        word = min(max(x, -_MARGIN + 0.6), grid.columns + _MARGIN - 0.6)
        parts.append(f'<text x="{word:.2f}" y="{y + 0.75:.2f}">pad</text></g>')
    for name, east, north in found:
        fx, fy = _at(chances, (east, north))
        parts.append(
            f'<g class="found"><path d="M{fx - 0.2:.2f} {fy - 0.2:.2f}l.4 .4m0 -.4l-.4 .4"/>'
            f'<text x="{fx:.2f}" y="{fy - 0.35:.2f}">{escape(name)}</text></g>'
        )
    return (
        f'<svg id="chart" class="chart" viewBox="{-_MARGIN} {-_MARGIN} {wide} {high}" '
        f'role="img" aria-label="Squares from above, north up">'
        '<defs><marker id="tip" viewBox="0 0 8 8" refX="6" refY="4" markerWidth="5" '
        'markerHeight="5" orient="auto-start-reverse"><path d="M0 0L8 4L0 8Z"/></marker>'
        f"</defs>{''.join(parts)}"
        '<circle id="me" class="me" r=".2" visibility="hidden"/></svg>'
    )


def _at(chances: Chances, place: tuple[float, float]) -> tuple[float, float]:
    """Put a place on the picture; down is south."""
    grid = chances.squares
    return (place[0] - grid.west) / grid.size, grid.rows - (
        place[1] - grid.south
    ) / grid.size


def _cells(chances: Chances) -> list[str]:
    rows = chances.squares.rows
    most = max((s.chance for s in chances.listed), default=1.0)
    told = []
    for number, square in enumerate(chances.listed):
        shade = 0.08 + 0.82 * square.chance / most
        mind = " mind" if square.cautions else ""
        told.append(
            f'<rect class="cell{mind}" data-n="{number}" x="{square.column}" '
            f'y="{rows - 1 - square.row}" width="1" height="1" fill-opacity="{shade:.3f}">'
            f"<title>{square.name}</title></rect>"
        )
    return told


def _letters(chances: Chances) -> list[str]:
    grid = chances.squares
    told = [
        f'<text class="edge" x="{i + 0.5}" y="{y}">{letter}</text>'
        for i, letter in enumerate(grid.letters)
        for y in (-0.3, grid.rows + 0.75)
    ]
    told += [
        f'<text class="edge" x="{x}" y="{grid.rows - row - 0.3}">{row + 1}</text>'
        for row in range(grid.rows)
        for x in (-0.5, grid.columns + 0.5)
    ]
    return told


def _outline(chances: Chances, line: Contour) -> str:
    return f'<path class="line in-{line.share * 100:.0f}" d="{_path(chances, line.shape)}"/>'


def _areas(chances: Chances, site: Site) -> list[str]:
    grid = chances.squares
    view = shapely.box(
        grid.west - grid.size,
        grid.south - grid.size,
        grid.west + (grid.columns + 1) * grid.size,
        grid.south + (grid.rows + 1) * grid.size,
    )
    told = []
    beyond = shapely.difference(view, site.boundary)
    if beyond.area > 0:
        told.append(f'<path class="beyond" d="{_path(chances, beyond)}"/>')
    for area in site.areas:
        shape = shapely.intersection(area.shape, view)
        if shape.area == 0:
            continue
        kind = "people" if area.role in OCCUPIED else area.role.replace(" ", "-")
        told.append(
            f'<path class="area {kind}" d="{_path(chances, shape)}">'
            f"<title>{escape(area.name)}</title></path>"
        )
    return told


def _path(chances: Chances, shape: BaseGeometry) -> str:
    fine = shapely.simplify(shape, _FINE * chances.squares.size)
    parts = [p for p in shapely.get_parts(fine) if p.geom_type == "Polygon"]
    rings = [ring for part in parts for ring in (part.exterior, *part.interiors)]
    told = []
    for ring in rings:
        points = [_at(chances, point) for point in ring.coords[:-1]]
        if points:
            told.append("M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points) + "Z")
    return "".join(told)


def _ways(chances: Chances, sweeps: Sequence[Sweep]) -> list[str]:
    told = []
    for number, sweep in enumerate(sweeps[:_MOST_WAYS], 1):
        (x1, y1), (x2, y2) = _at(chances, sweep.start), _at(chances, sweep.end)
        told.append(
            f'<g class="way"><path d="M{x1:.2f} {y1:.2f}L{x2 + 0.01:.2f} {y2:.2f}" '
            'marker-end="url(#tip)"/>'
            f'<circle cx="{x1:.2f}" cy="{y1:.2f}" r=".3"/>'
            f'<text x="{x1:.2f}" y="{y1 + 0.13:.2f}">{number}</text></g>'
        )
    return told
