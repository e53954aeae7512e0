"""Reading a dial: the worst of the winds about the reading, of its cell, of the rim."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from driftmap.planning.dial import Dial
from driftmap.planning.dial_node import WORDS, DialNode, DialWord
from driftmap.planning.dial_reach import Reach

_ON: Final = 1e-6  # of a step: this near, a wind counts as one that was flown


def surrounding(reach: Reach, speed: float, from_deg: float) -> tuple[int, ...]:
    """Find the winds of a dial about a reading.

    Parameters
    ----------
    reach : Reach
        The winds of the dial.
    speed : float
        Reading at the meter [m s⁻¹].
    from_deg : float
        Direction it comes from [deg]; any turns of the compass more are taken off.

    Returns
    -------
    tuple of int
        Places in ``reach.winds()``: one on a wind that was flown, else up to four; beyond
        the top those of the rim at that bearing; none for what is no wind. The lightest
        air about a reading in a lowest cell is in the cell itself: it leans the rail to
        where it comes from, which the one calm of `winds` cannot.

    Examples
    --------
    >>> surrounding(Reach(10.0, 10, 36), 1.5, 355.0)
    (36, 1, 72, 37)
    >>> surrounding(Reach(10.0, 10, 36), 10.5, 5.0)
    (325, 326)
    """
    if not (math.isfinite(from_deg) and 0 <= speed < math.inf):
        return ()
    rows = _both_sides(min(speed, reach.top) / reach.step)
    columns = _both_sides(from_deg % 360 / reach.turn)
    rows = rows if len(rows) == 1 else tuple(i for i in rows if i > 0)
    return tuple(dict.fromkeys(reach.place(i, j) for i in rows for j in columns))


def _both_sides(place: float) -> tuple[int, ...]:
    nearest = round(place)
    if abs(place - nearest) < _ON:
        return (nearest,)
    return (math.floor(place), math.floor(place) + 1)


def _cells(reach: Reach, speed: float, from_deg: float) -> list[tuple[int, int]]:
    """Find the cell of a reading; two where it lies on an edge, four on a wind flown."""
    rows = _both_sides(min(speed, reach.top) / reach.step)
    columns = _both_sides(from_deg % 360 / reach.turn)
    if rows == (0,):
        return []
    below = [rows[0]] if len(rows) > 1 else [rows[0] - 1, rows[0]]
    left = [columns[0]] if len(columns) > 1 else [columns[0] - 1, columns[0]]
    return [(i, j % reach.directions) for i in below if i < reach.speeds for j in left]


def _corners(dial: Dial, i: int, j: int) -> list[DialNode]:
    corners = (dial.reach.place(a, b) for a in (i, i + 1) for b in (j, j + 1))
    return [dial.nodes[place] for place in dict.fromkeys(corners)]


def word_at(dial: Dial, speed: float, from_deg: float) -> DialWord:
    """Read the word of a dial.

    ``speed``: reading at the meter [m s⁻¹]; ``from_deg``: direction it comes from
    [deg].

    Result: the worst of the winds about the reading and of its cell, of all cells
    beside it on an edge or on a wind that was flown: no meter reads so finely. Beyond
    the top no milder than the rim at that bearing and never a go, no-go beyond the
    limit of the surface wind; hold for what is no wind.
    """
    reach = dial.reach
    places = surrounding(reach, speed, from_deg)
    if not places:
        return "hold"
    nodes = [dial.nodes[place] for place in places]
    for cell in _cells(reach, speed, from_deg):
        nodes += [dial.cells[cell]] if cell in dial.cells else _corners(dial, *cell)
    words = [node.word for node in nodes]
    if speed > reach.top * (1 + 1e-9):
        words.append("no-go" if speed > dial.limit else "hold")
    return max(words, key=WORDS.index)


@dataclass(frozen=True, slots=True)
class Between:
    """What judging whole cells adds to the winds flown.

    Parameters
    ----------
    cells : int
        Cells of the dial.
    milder : int
        How many of them would read milder by their corners alone.
    outside, outside_share : float
        Farthest that a 99 % line of a cell's middle reaches outside the hull of those of
        its corners [m], and the most as a share of the line's width.
    clear : float
        Share of these lines that lie wholly inside.
    lines : int
        How many they are: those of cells whose own middle was flown.
    """

    cells: int
    milder: int
    outside: float
    outside_share: float
    clear: float
    lines: int


def check_between(dial: Dial) -> Between:
    """Hold the cells of a dial against their corners."""
    reach, milder = dial.reach, 0
    away: list[tuple[float, float]] = []
    for (i, j), cell in dial.cells.items():
        about = _corners(dial, i, j)
        worst = max(WORDS.index(node.word) for node in about)
        milder += WORDS.index(cell.word) > worst
        away += [] if cell.drawn else _outside(cell, about)
    return Between(
        reach.speeds * reach.directions,
        milder,
        max((far for far, _ in away), default=0.0),
        max((far / width for far, width in away), default=0.0),
        float(np.mean([far == 0 for far, _ in away])) if away else 1.0,
        len(away),
    )


def _outside(node: DialNode, about: list[DialNode]) -> list[tuple[float, float]]:
    """Say for each piece how far its outer line leaves the hull about theirs; its width."""
    found = []
    for key, landing in (node.landings or {}).items():
        theirs = [n.landings[key] for n in about if n.landings and key in n.landings]
        if theirs:
            hull = shapely.geometrycollections(
                [t.lines[-1] for t in theirs]
            ).convex_hull
            corners = shapely.points(shapely.get_coordinates(landing.lines[-1]))
            west, south, east, north = landing.lines[-1].bounds
            far = float(shapely.distance(corners, hull).max())
            found.append((far, max(east - west, north - south)))
    return found
