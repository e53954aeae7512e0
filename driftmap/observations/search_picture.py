"""The picture of a search: squares by their chance, lines, ground and ways of walking."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import FloatArray
from driftmap.ground.areas import Area, Site
from driftmap.ground.roles import OCCUPIED
from driftmap.observations.chances import Chances, box_of
from driftmap.observations.walk import Sweep
from driftmap.report.marks import middle_of
from driftmap.report.voice import Voice

_MOST_WAYS = 12  # sweeps drawn: more would hide the squares
_MARGIN = 1.0  # squares about the grid
_FINE = 0.02  # of a square: corners that move an outline by less are left out


def picture(
    chances: Chances,
    site: Site,
    voice: Voice,
    sweeps: Sequence[Sweep] = (),
    found: Sequence[tuple[str, float, float]] = (),
) -> str:
    """Draw the search.

    ``chances``: where the piece may lie; ``sweeps``: sweeps to draw as arrows,
    numbered; ``found``: pieces found already, with place from the pad [m].

    Result: an ``svg`` element, north up; one unit is a square's side.
    """
    grid = chances.squares
    wide, high = grid.columns + 2 * _MARGIN, grid.rows + 2 * _MARGIN
    parts = [*_areas(chances, site), *_cells(chances), *_letters(chances)]
    parts += [
        f'<path class="line in-{line.share * 100:.0f}" d="{_path(chances, line.shape)}"/>'
        for line in chances.lines
    ]
    parts += _ways(chances, sweeps)
    x, y = _at(chances, (0.0, 0.0))
    inside = (
        -_MARGIN <= x <= grid.columns + _MARGIN and -_MARGIN <= y <= grid.rows + _MARGIN
    )
    if inside:
        parts.append(f'<g class="pad"><circle cx="{x:.2f}" cy="{y:.2f}" r=".22"/>')
        word, line = _beside((grid.columns, grid.rows), x, y)
        parts.append(
            f'<text x="{word:.2f}" y="{line:.2f}">'
            f"{escape(voice.say('picture.pad'))}</text></g>"
        )
    for name, east, north in found:
        fx, fy = _at(chances, (east, north))
        parts.append(
            f'<g class="found"><path d="M{fx - 0.2:.2f} {fy - 0.2:.2f}l.4 .4m0 -.4l-.4 .4"/>'
            f'<text x="{fx:.2f}" y="{fy - 0.35:.2f}">{escape(name)}</text></g>'
        )
    return (
        f'<svg id="chart" class="chart" viewBox="{-_MARGIN} {-_MARGIN} {wide} {high}" '
        f'role="img" aria-label="{escape(voice.say("search.picture"))}">'
        '<defs><marker id="tip" viewBox="0 0 8 8" refX="6" refY="4" markerWidth="5" '
        'markerHeight="5" orient="auto-start-reverse"><path d="M0 0L8 4L0 8Z"/></marker>'
        f"</defs>{''.join(parts)}"
        '<rect id="first" class="first" height="1"/>'
        '<circle id="me" class="me" r=".2" visibility="hidden"/></svg>'
    )


def _beside(size: tuple[int, int], x: float, y: float) -> tuple[float, float]:
    """Find room for the pad's name by its point, clear of the letters along the edges."""
    columns, rows = size
    if not (-0.1 <= x <= columns + 0.1 and -0.1 <= y <= rows + 0.1):
        return min(max(x, -_MARGIN + 0.6), columns + _MARGIN - 0.6), y + 0.75
    below = y + 0.75 <= rows - 0.1
    return min(max(x, 0.75), columns - 0.75), y + 0.75 if below else y - 0.4


def _at(chances: Chances, place: tuple[float, float]) -> tuple[float, float]:
    """Put a place on the picture; down is south."""
    grid = chances.squares
    down = grid.rows - (place[1] - grid.south) / grid.size
    return (place[0] - grid.west) / grid.size, down


def _cells(chances: Chances) -> list[str]:
    rows = chances.squares.rows
    most = max((s.chance for s in chances.listed), default=1.0)
    told = []
    for number, square in enumerate(chances.listed):
        shade = 0.3 + 0.6 * square.chance / most
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


def _in_view(chances: Chances, site: Site) -> list[tuple[str, Area, BaseGeometry]]:
    """Return the areas that the picture shows, each with how it is drawn and what is in view."""
    view, found = _view(chances), []
    for area in site.areas:
        shape = shapely.intersection(area.shape, view)
        if shape.area > 0:
            kind = "people" if area.role in OCCUPIED else area.role.replace(" ", "-")
            found.append((kind, area, shape))
    return found


def _view(chances: Chances) -> BaseGeometry:
    grid = chances.squares
    corners = box_of(grid, -1, -1).union(box_of(grid, grid.columns, grid.rows))
    return corners.envelope


def drawn_in(chances: Chances, site: Site, voice: Voice) -> list[tuple[str, str]]:
    """Name all that the picture shows beside squares and lines, and how it is drawn."""
    found = {
        kind: voice.say("picture.people")
        if kind == "people"
        else voice.known("role", area.role)
        for kind, area, _ in _in_view(chances, site)
    }
    if shapely.difference(_view(chances), site.boundary).area > 0:
        found["beyond"] = voice.say("search.beyond")
    return list(found.items())


def _areas(chances: Chances, site: Site) -> list[str]:
    told = []
    beyond = shapely.difference(_view(chances), site.boundary)
    if beyond.area > 0:
        told.append(f'<path class="beyond" d="{_path(chances, beyond)}"/>')
    for kind, area, shape in _in_view(chances, site):
        told.append(
            f'<path class="area {kind}" d="{_path(chances, shape)}">'
            f"<title>{escape(area.name)}</title></path>"
        )
        if kind == "power-line":
            lines = (_line(chances, middle) for middle in middle_of(area.shape))
            told.append(f'<path class="beads" d="{"".join(lines)}"/>')
    return told


def _line(chances: Chances, corners: FloatArray) -> str:
    points = (_at(chances, (x, y)) for x, y in corners.tolist())
    return "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points)


def _path(chances: Chances, shape: BaseGeometry) -> str:
    told = []
    for ring in outline_rings(shape, _FINE * chances.squares.size):
        points = (_at(chances, point) for point in ring[:-1].tolist())
        told.append("M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points) + "Z")
    return "".join(told)


def _ways(chances: Chances, sweeps: Sequence[Sweep]) -> list[str]:
    told = []
    for number, sweep in enumerate(sweeps[:_MOST_WAYS], 1):
        (x1, y1), (x2, y2) = _at(chances, sweep.start), _at(chances, sweep.end)
        # Within one square there is no way to show.
        arrow = (
            f'<path d="M{x1:.2f} {y1:.2f}L{x2:.2f} {y2:.2f}" marker-end="url(#tip)"/>'
            if len(sweep.squares) > 1
            else ""
        )
        told.append(
            f'<g class="way">{arrow}'
            f'<circle cx="{x1:.2f}" cy="{y1:.2f}" r=".3"/>'
            f'<text x="{x1:.2f}" y="{y1 + 0.13:.2f}">{number}</text></g>'
        )
    return told


def outline_rings(shape: BaseGeometry, fine: float) -> Iterator[FloatArray]:
    """Yield the corners of each outline, without those that move it by less, (k, 2) [m]."""
    for part in shapely.get_parts(shapely.simplify(shape, fine)):
        if part.geom_type == "Polygon":
            yield from map(shapely.get_coordinates, (part.exterior, *part.interiors))
