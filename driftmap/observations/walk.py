"""In which order to walk the squares: the most chance for each metre."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import shapely

from driftmap.observations.chances import Chances, square_middle
from driftmap.observations.observation import SMALL, SUREST, SWEEP_WIDTH, random_search

_REGROUP: Final = 60.0
"""What forming up for a new sweep costs, as metres walked; assumed. It keeps sweeps whole."""

_MOST: Final = 40  # sweeps of a plan
_ENOUGH: Final = 0.95  # share of what walking can find at all, after which a plan ends


@dataclass(frozen=True, slots=True)
class Walkers:
    """So many people in a line, so far apart [m], on a cover of `SWEEP_WIDTH`.

    `small` says that they look for something smaller than a rocket.
    """

    count: int = 2
    spacing: float = 10.0
    cover: str = "grass"
    small: bool = False

    @property
    def widths(self) -> dict[str, float]:
        """Effective sweep width of one of them by cover [m]."""
        size = SMALL if self.small else 1.0
        return {cover: size * width for cover, width in SWEEP_WIDTH.items()}

    @property
    def detection(self) -> float:
        """Chance to see the piece in a square walked once."""
        return min(SUREST, float(random_search(self.widths[self.cover], self.spacing)))

    def length(self, size: float) -> float:
        """Return how far the line walks to cover a square of some side [m]."""
        return size**2 / (self.spacing * self.count)


@dataclass(frozen=True, slots=True)
class Sweep:
    """Neighbouring squares in one row or column, walked in one go.

    From the middle of the first to that of the last, from the pad [m]; `metres` with the way
    there. `gain` is the chance that the piece is found on it, `left` that it is not found by
    then, were all walked so far in vain; `mind` what to mind in its squares, and what the
    straight way there crosses.
    """

    squares: tuple[str, ...]
    start: tuple[float, float]
    end: tuple[float, float]
    metres: float
    gain: float
    left: float
    mind: tuple[str, ...] = ()


def plan_walk(
    chances: Chances, walkers: Walkers, start: tuple[float, float] = (0.0, 0.0)
) -> tuple[Sweep, ...]:
    """Plan sweeps one after the other, each with the most chance for a metre walked.

    ``chances``: where the piece may lie; ``start``: where they stand, from the pad [m].

    Result: until 95 % of what one walk over all squares can find is planned for.

    Each step takes the best run of squares as seen from the end of the one before;
    looking further ahead could save a little walking.
    """
    left = {(s.column, s.row): s.chance for s in chances.listed}
    listed = {(s.column, s.row): s for s in chances.listed}
    goal = _ENOUGH * sum(left.values())
    here, walked, found = start, 0.0, 0.0
    plan: list[Sweep] = []
    while left and walked < goal and len(plan) < _MOST:
        cells, metres = _best(chances, walkers, left, here)
        chance = sum(left.pop(cell) for cell in cells)
        walked += chance
        gain = chance * walkers.detection
        found += gain
        first, last = (square_middle(chances.squares, *cells[i]) for i in (0, -1))
        way = shapely.LineString([here, first])
        squares = [listed[cell] for cell in cells]
        there = {text for square in squares for text in square.cautions}
        mind = tuple(
            d.text
            for d in chances.dangers  # what kills first
            if d.text in there or d.shape.intersects(way)
        )
        told = tuple(square.name for square in squares)
        plan.append(
            Sweep(
                squares=told,
                start=first,
                end=last,
                metres=metres,
                gain=gain,
                left=1 - found,
                mind=mind,
            )
        )
        here = last
    return tuple(plan)


_Cell = tuple[int, int]


def _best(
    chances: Chances,
    walkers: Walkers,
    left: Mapping[_Cell, float],
    here: tuple[float, float],
) -> tuple[list[_Cell], float]:
    """Find the run with the most chance for each metre."""
    best: tuple[float, list[_Cell], float] = (-1.0, [], 0.0)
    each = walkers.length(chances.squares.size)
    for line in _lines(left):
        for first in range(len(line)):
            chance = 0.0
            for last in range(first, len(line)):
                chance += left[line[last]]
                cells = line[first : last + 1]
                ends = [square_middle(chances.squares, *cells[i]) for i in (0, -1)]
                near = [math.dist(here, end) for end in ends]
                metres = _REGROUP + min(near) + each * len(cells)
                if chance / metres > best[0] * (1 + 1e-12):
                    way = cells if near[0] <= near[1] else cells[::-1]
                    best = (chance / metres, way, metres)
    return best[1], best[2]


def _lines(left: Mapping[_Cell, float]) -> Iterator[list[_Cell]]:
    """Go through unbroken rows, then unbroken columns, of squares."""
    for along in (0, 1):
        order = sorted(left, key=lambda cell: (cell[1 - along], cell[along]))
        line: list[_Cell] = []
        for cell in order:
            end = line[-1] if line else cell
            on = cell[1 - along], cell[along]
            if line and on != (end[1 - along], end[along] + 1):
                yield line
                line = []
            line.append(cell)
        if line:
            yield line
