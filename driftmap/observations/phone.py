"""The page that keeps count on a phone, and its picture of the ground."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from html import escape
from typing import Any, Final

import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import FloatArray
from driftmap.ground.site import OCCUPIED, Site
from driftmap.observations.chances import (
    HELD_SHARES,
    Chances,
    box_of,
    chances_of,
    smallest,
)
from driftmap.observations.figures import Find
from driftmap.observations.observation import FAR_IN, SUREST, SWEEP_WIDTH
from driftmap.observations.seenfile import Observed
from driftmap.observations.walk import Sweep, Walkers, plan_walk
from driftmap.observations.weighing import Weighed
from driftmap.report.page import render, text_of, told_to_script, words_for_script
from driftmap.report.sentences import case_words
from driftmap.report.voice import Voice
from driftmap.report.words import Units, tied

__all__ = [
    "Search",
    "picture",
    "plan_search",
    "planned",
    "run_told",
    "search_html",
    "shares_told",
    "walk_cautions",
]

_ROOM: Final = "driftmap.observations"
_SCRIPTS: Final = ("order.js", "search.js")
_ACRE: Final = 4046.8564224  # m2, exact (66 by 660 international feet)


def walk_cautions(voice: Voice) -> list[str]:
    """Give what every page, sheet and file of a search says; power lines first."""
    return [voice.say(f"walk.{number}") for number in range(1, 5)]


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """A search as it is handed to those who walk.

    `start` is where they stand, `found` what was found already, from the pad [m]; `told` what
    was seen, a sentence each; `cases` the chance of each after that, the likeliest first;
    `notes` what was assumed, and what all this rests on.
    """

    flight: str
    site: Site
    chances: Chances
    walkers: Walkers
    sweeps: tuple[Sweep, ...]
    start: tuple[float, float]
    told: tuple[str, ...]
    found: tuple[tuple[str, float, float], ...]
    cases: tuple[tuple[str, float], ...]
    notes: tuple[str, ...]


def plan_search(
    seen: Observed,
    known: Weighed,
    piece: str,
    who: Walkers,
    start: tuple[float, float],
    voice: Voice,
) -> Search:
    """Say where to look for a piece and in which order to walk.

    ``seen``: what was seen of the flight, and ``known``: its flights weighed by that;
    ``who``: who walks; ``start``: where they stand, from the pad [m].

    Raises `ValueError` if no squares can be laid over where it may lie.
    """
    chances = chances_of(known, piece, seen.site, voice)
    walking = (
        f"one walker sweeps {who.widths[who.cover]:.3g} m of {who.cover} (assumed); searchers "
        "do not keep line: Koopman's formula of random search (from memory)"
    )
    return Search(
        flight=seen.flight.name,
        site=seen.site,
        chances=chances,
        walkers=who,
        sweeps=plan_walk(chances, who, start),
        start=start,
        told=seen.sentences(known, FAR_IN[voice.units]),
        found=tuple(
            (o.piece, o.east, o.north) for o in seen.told if isinstance(o, Find)
        ),
        cases=tuple(sorted(known.chances.items(), key=lambda c: -c[1])),
        notes=tuple(dict.fromkeys([*seen.notes(known), walking])),
    )


def search_html(search: Search, voice: Voice) -> str:
    """Write a search as one page.

    Result: an HTML document that needs nothing from outside; the same search gives the
    same text.
    """
    facts = words_for_script(voice, "search"), text_of("say.js")
    data = told_to_script("SEARCH", _data(search, voice.units))
    script = "\n".join([*facts, data, *(text_of(name, _ROOM) for name in _SCRIPTS)])
    chances = search.chances
    return render(
        "search.html",
        voice,
        room=_ROOM,
        styles=[text_of(name, _ROOM) for name in ("chart.css", "search.css")],
        scripts=[script],
        picture=picture(chances, search.site, voice, found=search.found),
        flight=search.flight,
        site=search.site.name,
        piece=voice.known("piece", chances.piece),
        told=search.told,
        cases=[
            (
                case_words(name, voice),
                voice.say("search.under")
                if chance < 0.001
                else tied(voice.number(f"{100 * chance:.1f} %")),
            )
            for name, chance in search.cases
        ],
        notes=search.notes,
        cautions=walk_cautions(voice),
        covers=list(SWEEP_WIDTH),
        walkers=search.walkers,
        side=voice.exact_distance(chances.squares.size),
        shares=shares_told(chances, voice),
    )


def shares_told(chances: Chances, voice: Voice) -> list[str]:
    """Tell how much ground holds each share, and in how many squares, a sentence each."""
    told = []
    size, key = (_ACRE, "acres") if voice.units == "us" else (1e4, "hectares")
    for line, share in zip(chances.lines, HELD_SHARES, strict=True):
        area = line.shape.area / size
        digits = ",.0f" if area >= 100 else ",.1f" if area >= 0.1 else ".1g"
        count = smallest(chances.listed, share)
        told.append(
            voice.say(
                "search.holds" if count > 1 else "search.holds_one",
                share=voice.percent(share),
                ground=voice.say(
                    f"search.{key}", size=voice.number(f"{area:{digits}}")
                ),
                count=voice.count(count),
            )
        )
    return told


def _data(search: Search, units: Units) -> dict[str, Any]:
    chances, grid = search.chances, search.chances.squares
    data = {
        "piece": chances.piece,
        "size": grid.size,
        "west": grid.west,
        "south": grid.south,
        "rows": grid.rows,
        "unit": {"us": ["ft", 0.3048], "si": ["m", 1.0]}[units],
        "squares": [
            [s.name, s.column, s.row, round(s.chance, 7), list(s.cautions)]
            for s in chances.listed
        ],
        "widths": search.walkers.widths,
        "surest": SUREST,
        "walkers": asdict(search.walkers),
        "start": [round(v, 1) for v in search.start],
        "dangers": [
            [d.text, [ring.round().tolist() for ring in _rings(d.shape, 1.0)]]
            for d in chances.dangers
        ],
        "at": _linear(search.site),
    }
    whole = json.dumps(data, sort_keys=True)
    # Only pages of one and the same search may be put together.
    return {**data, "id": hashlib.sha256(whole.encode()).hexdigest()[:16]}


def _rings(shape: BaseGeometry, fine: float) -> Iterator[FloatArray]:
    """Give the corners of each outline, without those that move it by less, (k, 2) [m]."""
    for part in shapely.get_parts(shapely.simplify(shape, fine)):
        if part.geom_type == "Polygon":
            yield from map(shapely.get_coordinates, (part.exterior, *part.interiors))


def _linear(site: Site) -> list[float]:
    """Give latitude and longitude of the pad, and metres for a degree of each there.

    Good to a metre within 3 km, which is less than a phone's own error.
    """
    place, step = (site.latitude, site.longitude), 0.01
    east = float(site.to_local(place[1] + step, place[0])[0]) / step
    north = float(site.to_local(place[1], place[0] + step)[1]) / step
    return [*place, round(north, 1), round(east, 1)]


def run_told(sweep: Sweep, voice: Voice) -> str:
    """Name the squares of a sweep by the first and the last."""
    first, last, count = sweep.squares[0], sweep.squares[-1], len(sweep.squares)
    words = {"first": first, "last": last, "count": voice.count(count)}
    return voice.say("search.run", **words) if count > 1 else first


def planned(sweeps: Sequence[Sweep], voice: Voice) -> list[list[str]]:
    """Lay out the order of walking as a table."""
    keys = ("sweep", "squares", "way", "finds", "left", "mind")
    rows = [[voice.say(f"search.{key}") for key in keys]]
    for number, sweep in enumerate(sweeps, 1):
        finds, left = (
            voice.number(f"{100 * p:.{digits}f} %")
            for p, digits in ((sweep.gain, 1), (sweep.left, 0))
        )
        way = voice.exact_distance(sweep.metres)
        rows.append(
            [
                str(number),
                run_told(sweep, voice),
                way,
                finds,
                left,
                "; ".join(sweep.mind),
            ]
        )
    return rows


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


def _areas(chances: Chances, site: Site) -> list[str]:
    grid, told = chances.squares, []
    corners = box_of(grid, -1, -1).union(box_of(grid, grid.columns, grid.rows))
    view = corners.envelope
    beyond = shapely.difference(view, site.boundary)
    if beyond.area > 0:
        told.append(f'<path class="beyond" d="{_path(chances, beyond)}"/>')
    for area in site.areas:
        shape = shapely.intersection(area.shape, view)
        if shape.area > 0:
            kind = "people" if area.role in OCCUPIED else area.role.replace(" ", "-")
            told.append(
                f'<path class="area {kind}" d="{_path(chances, shape)}">'
                f"<title>{escape(area.name)}</title></path>"
            )
    return told


def _path(chances: Chances, shape: BaseGeometry) -> str:
    told = []
    for ring in _rings(shape, _FINE * chances.squares.size):
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
