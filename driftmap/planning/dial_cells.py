"""Work out a part of a dial: its winds, and every wind between them at once."""

from __future__ import annotations

import itertools
import math
import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

from driftmap.core.errors import DriftmapError
from driftmap.planning.assumed_winds import Supposition, Wind
from driftmap.planning.dial_node import (
    DialNode,
    drawn_landings,
    joined_landing,
    severity,
)
from driftmap.planning.dial_reach import Reach
from driftmap.planning.envelope import winds_of_span
from driftmap.planning.subdivision import Span, most_cells, settled_spans, tile
from driftmap.planning.trial import hangs_on_aloft
from driftmap.planning.wind_sweep import Flights, flights_of
from driftmap.verdict.check import decide

Cell: TypeAlias = tuple[int, int]

_BLOCKS: Final = 2
"""Blocks for each processor that a dial of a rail with a bearing of its own is cut into: few,
as the winds on their edges are flown twice."""

_ABOUT: Final = ((0, 0), (0, 1), (1, 0), (1, 1))


@dataclass(frozen=True, slots=True)
class CellBlock:
    """A part of a dial: cells of some speeds and directions, with the winds about them.

    Parameters
    ----------
    rows, columns : range
        Numbers of the speeds below, and of the directions to the left.
    only : frozenset of (int, int), optional
        Which of those cells; all when left out.
    """

    rows: range
    columns: range
    only: frozenset[Cell] | None = None

    def cells(self) -> list[Cell]:
        """List its cells."""
        every = itertools.product(self.rows, self.columns)
        return [at for at in every if self.only is None or at in self.only]

    def winds(self, around: int) -> list[Cell]:
        """List the winds about its cells, of so many directions."""
        about = {(i + a, (j + b) % around) for i, j in self.cells() for a, b in _ABOUT}
        return sorted(about)


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """What came of a block.

    Parameters
    ----------
    nodes : dict of (int, int) to DialNode
        Winds by number of speed and direction.
    cells : dict of (int, int) to DialNode
        Cells; one with a no-go corner is left out, as nothing can be worse.
    """

    nodes: dict[Cell, DialNode]
    cells: dict[Cell, DialNode]


def blocks_of(
    reach: Reach, follows_wind: bool, suns: int, only: frozenset[Cell] | None = None
) -> list[CellBlock]:
    """Cut the compass into parts worth handing out, along the edges of its widest spans.

    ``follows_wind``: whether the rail follows the wind: a worker then flies every speed
    once and turns it, so that each has one part; ``suns``: how many suns each part is
    worked out for; ``only``: cells that are asked for.

    Result: parts that together have every one of them.
    """
    wide, workers = _most(reach)[1], os.cpu_count() or 1
    spans = math.ceil(reach.directions / wide)
    wanted = math.ceil(workers / suns) if follows_wind else _BLOCKS * workers
    count = min(spans, wanted)
    ends = [min(spans * n // count * wide, reach.directions) for n in range(count)]
    parts = itertools.pairwise((*ends, reach.directions))
    blocks = [CellBlock(range(reach.speeds), range(*part), only) for part in parts]
    return [block for block in blocks if block.cells()]


def first_winds(
    reach: Reach, blocks: Iterable[CellBlock], follows_wind: bool
) -> list[tuple[Wind, ...]]:
    """List the winds flown for the widest spans about some cells, whatever comes of them.

    Result: those that share their flights together: of a calm, and of a rail that follows
    the wind of each speed.
    """
    size, found = (reach.speeds, reach.directions), dict[object, list[Wind]]()
    cells = [(i, i + 1, j, j + 1) for block in blocks for i, j in block.cells()]
    tiles = {one: tile(one, size, _most(reach)) for one in cells}
    for i, up, j, on in dict.fromkeys(t for one, t in tiles.items() if t != one):
        for at in winds_of_span(i, up, j, on):
            speed, way = wind = reach.wind(*at)
            shared = speed if follows_wind or not speed else (speed, way)
            found.setdefault(shared, []).append(wind)
    return [tuple(dict.fromkeys(winds)) for winds in found.values()]


def make_ready(
    packed: bytes, reach: Reach, part: tuple[Supposition, tuple[Wind, ...]]
) -> bytes:
    """Fly and judge winds before any block asks for them; for `Flights.take`."""
    supposition, winds = part
    return flights_for(packed, reach, supposition).ready(winds)


def flights_for(packed: bytes, reach: Reach, supposition: Supposition) -> Flights:
    """Return the flights that all blocks of a dial share in one process."""
    speeds = tuple(i * reach.step for i in range(reach.speeds + 1))
    return flights_of(packed, supposition, speeds, True)


@dataclass(frozen=True, slots=True, eq=False)
class _Wide:
    """A span with one word all over, and the five winds that were flown for it."""

    span: Span
    node: DialNode
    flown: Sequence[DialNode]
    half: float
    reach: Reach

    def at(self, places: Sequence[tuple[float, float]]) -> Iterator[DialNode]:
        """Tell of places in it."""
        i, up, j, on = self.span
        shares = [((a - i) / (up - i), (b - j) / (on - j)) for a, b in places]
        drawn = drawn_landings(
            [n.landings or {} for n in self.flown], self.half, shares
        )
        for place, landings in zip(places, drawn, strict=True):
            yield replace(
                self.node, wind=self.reach.wind(*place), landings=landings, drawn=True
            )


class _Bench:
    """What a worker has at hand: the winds of a dial, judged as they are asked for."""

    def __init__(self, flights: Flights, reach: Reach) -> None:
        self.flights, self.reach = flights, reach
        self.known: dict[tuple[float, float], DialNode] = {}

    def node(self, i: float, j: float) -> DialNode:
        """Judge a wind as an assessment does, once."""
        at = i, j % self.reach.directions
        if at not in self.known:
            self.known[at] = self._judged(self.reach.wind(*at))
        return self.known[at]

    def _judged(self, wind: Wind) -> DialNode:
        trial = self.flights.trial(*wind)
        if trial.problem:
            return unknown_node(wind, trial.problem)
        likely, landings = self.flights.drawn(*wind)
        verdict = decide(trial.checks)
        supposed = verdict != "go" or self._hangs_on_aloft(wind)
        return DialNode(wind, verdict, trial.checks, likely, landings, supposed)

    def _hangs_on_aloft(self, wind: Wind) -> bool:
        """Return whether a go depends on winds aloft that the meter does not tell."""
        speed, way = wind
        cloud, air = self.flights.flown(*wind).cloud, self.flights.air(*wind)
        if self.flights.supposition.departs(air):
            return True
        read = self.flights.supposition.read(way, speed)
        return hangs_on_aloft(cloud, self.flights.setup, air, read)

    def place(self, span: Span) -> tuple[float, float, float, float]:
        """Return the speeds and directions between which a span lies."""
        i, up, j, on = span
        step, turn = self.reach.step, self.reach.turn
        return i * step, up * step, j * turn, on * turn

    def five(self, span: Span) -> list[DialNode]:
        """Judge the corners of a span and its middle."""
        return [self.node(*at) for at in winds_of_span(*span)]

    def cell(self, i: int, j: int) -> DialNode | None:
        """Judge all winds of a cell at once; None where a corner says all there is to say."""
        corners = [self.node(a, b) for a in (i, i + 1) for b in (j, j + 1)]
        worst = max(corners, key=severity)
        if worst.verdict == "no-go":
            if i:
                return None
            # The lightest air stands in the dial once, not from everywhere.
            calm = max(corners[:2], key=severity)
            wind = self.reach.wind(0.5, j + 0.5)
            return replace(_with_calm(calm, corners[:2]), wind=wind)
        middle = self.node(i + 0.5, j + 0.5)
        if middle.problem:
            return middle
        try:
            checks = self.flights.strictest(*self.place((i, i + 1, j, j + 1)))
        except (DriftmapError, ValueError) as problem:
            return unknown_node(middle.wind, problem)
        here = replace(
            middle,
            verdict=decide(checks),
            checks=checks,
            supposed=any(node.supposed for node in (*corners, middle)),
            whole=True,
        )
        return here if i else _with_calm(here, corners[:2])

    def alike(self, span: Span) -> _Wide | Sequence[str]:
        """Tell of a span that has one word all over; else the words of its corners."""
        i, up, j, on = span
        every = self.five(span)
        # Each cell of a single row, or column, has a part of both of its edges.
        edges = [*[(0, 1), (2, 3)] * (up - i == 1), *[(0, 2), (1, 3)] * (on - j == 1)]
        checks = self.flights.alike(self.place(span), decide, edges)
        if checks is None:
            return [node.word for node in every[:4]]
        likely = [node.likely or {} for node in every]
        one = DialNode(
            self.reach.wind((i + up) / 2, (j + on) / 2),
            decide(checks),
            checks,
            {case: max(own.get(case, 0.0) for own in likely) for case in likely[-1]},
            supposed=any(node.supposed for node in every),
            whole=True,
        )
        half = math.radians((on - j) * self.reach.turn) / 2
        return _Wide(span, one, every, half, self.reach)


def _with_calm(cell: DialNode, calm: Sequence[DialNode]) -> DialNode:
    """Let the lines of a lowest cell go round those of the lightest air from there."""
    every = [node.landings or {} for node in (cell, *calm)]
    keys = dict.fromkeys(key for landings in every for key in landings)
    joined = {
        key: joined_landing([own[key] for own in every if key in own]) for key in keys
    }
    return replace(cell, landings=joined)


def work_out(packed: bytes, reach: Reach, part: tuple[Supposition, CellBlock]) -> Found:
    """Work out a block: every wind on its own, and every cell as a whole.

    Where one word holds over a wider span, that is judged as a whole and no wind inside
    is flown.

    ``packed``: the setup, from `driftmap.planning.trial.pack`; ``part``: how the wind
    aloft follows the meter, and the block.
    """
    supposition, block = part
    flights = flights_for(packed, reach, supposition)
    bench = _Bench(flights, reach)
    drawn: dict[Cell, DialNode] = {}
    cells: dict[Cell, DialNode | None] = {}
    spans: dict[Span, _Wide] = {}
    for some in _together(block, reach, flights.setup.flight.rail.follows_wind):
        wanted = {(i, i + 1, j, j + 1): (i, j) for i, j in some}
        size = reach.speeds, reach.directions
        wide = settled_spans(wanted, size, _most(reach), bench.alike)
        spans |= {one.span: one for one in wide.values()}
        for span, at in wanted.items():
            if span not in wide:
                cells[at] = bench.cell(*at)
    # Where two spans meet, the milder one bounds the winds between them as well.
    for one in sorted(spans.values(), key=lambda one: severity(one.node)):
        cells |= _drawn(bench, one, drawn)
    winds = block.winds(reach.directions)
    nodes = {at: bench.known.get(at) or drawn[at] for at in winds}
    return Found(nodes, {key: node for key, node in cells.items() if node is not None})


def _together(block: CellBlock, reach: Reach, turns: bool) -> list[list[Cell]]:
    """Part the cells of a block by what shares flights: turns of each other, or neighbours."""
    if turns:
        return [block.cells()]
    most = _most(reach)
    parts: dict[Cell, list[Cell]] = {}
    for at in block.cells():
        parts.setdefault((at[0] // most[0], at[1] // most[1]), []).append(at)
    return [*parts.values()]


def _drawn(
    bench: _Bench, wide: _Wide, drawn: dict[Cell, DialNode]
) -> dict[Cell, DialNode]:
    """Draw the winds and cells of a span, but cells that have a no-go corner for certain."""
    i, up, j, on = wide.span
    winds = list(itertools.product(range(i, up + 1), range(j, on + 1)))

    def certain(at: Cell) -> bool:
        a, b = at
        own = bench.known.get((a, b % bench.reach.directions))
        return (i < a < up and j < b < on) or (own is not None and own.word == "no-go")

    cells = [
        (a, b)
        for a, b in itertools.product(range(i, up), range(j, on))
        if wide.node.verdict != "no-go"
        or not a
        or not any(certain((c, d)) for c in (a, a + 1) for d in (b, b + 1))
    ]
    middles = [(a + 0.5, b + 0.5) for a, b in cells]
    told = dict(zip([*winds, *middles], wide.at([*winds, *middles]), strict=True))
    for a, b in winds:
        drawn.setdefault((a, b % bench.reach.directions), told[a, b])
    return {
        (a, b): told[a + 0.5, b + 0.5]
        if a
        else _with_calm(told[a + 0.5, b + 0.5], [told[0, b], told[0, b + 1]])
        for a, b in cells
    }


def _most(reach: Reach) -> tuple[int, int]:
    return most_cells((reach.speeds, reach.directions), reach.step, reach.turn)


def unknown_node(wind: Wind, problem: object) -> DialNode:
    """Hold in a wind that could not be worked out, and say why."""
    text = " ".join(str(problem).split())
    return DialNode(wind, "hold", problem=text.rstrip("."))
