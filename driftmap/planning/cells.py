"""Work out a part of a dial: its winds, and every wind between them at once."""

from __future__ import annotations

import itertools
import math
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache, partial
from typing import Final, TypeAlias

from driftmap.air.wind import WindProfile
from driftmap.core.errors import DriftmapError
from driftmap.montecarlo.cloud import Cloud
from driftmap.planning.dialwinds import Reach, Wind, known_wind, metered_wind
from driftmap.planning.net import Net, everywhere, turned_lines
from driftmap.planning.node import (
    Landing,
    Node,
    drawn_landings,
    joined_landing,
    landings_of,
    severity,
)
from driftmap.planning.sector import Span, most_cells, settled
from driftmap.planning.span import alike, strictest
from driftmap.planning.supposed import Supposition
from driftmap.planning.trial import hangs_on_aloft, judged, unpack
from driftmap.verdict.assessment import Setup, flown
from driftmap.verdict.check import Check, decide
from driftmap.verdict.consequence_checks import Lines

__all__ = ["Block", "Found", "blocks_of", "unknown", "work_out"]

Cell: TypeAlias = tuple[int, int]

_BLOCKS: Final = 4
"""Blocks that a dial of a rail with a bearing of its own is cut into, or one for each
processor where there are more: few, as the winds on their edges are flown twice."""

_KEPT: Final = 24  # clouds; those of a span and of the cells in one row of it
_LEAST_KEPT: Final = 9
_ABOUT: Final = ((0, 0), (0, 1), (1, 0), (1, 1))
_MOST_KEPT: Final = 400_000  # flights a worker keeps, some 700 MB of them


@dataclass(frozen=True, slots=True)
class Block:
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
    nodes : dict of (int, int) to Node
        Winds by number of speed and direction.
    cells : dict of (int, int) to Node
        Cells; one with a no-go corner is left out, as nothing can be worse.
    """

    nodes: dict[Cell, Node]
    cells: dict[Cell, Node]


def blocks_of(reach: Reach, follows_wind: bool) -> list[Block]:
    """Cut a dial into parts worth handing out, along the edges of its widest spans.

    ``follows_wind``: whether the rail follows the wind: a speed then is flown once and
    turned.

    Result: parts that together have every cell.
    """
    size = reach.speeds, reach.directions
    axis = 0 if follows_wind else 1
    wide, whole = _most(reach)[axis], range(size[1 - axis])
    spans = math.ceil(size[axis] / wide)
    count = min(spans, max(_BLOCKS, os.cpu_count() or 1))
    ends = [min(spans * n // count * wide, size[axis]) for n in range(count)]
    parts = [range(*pair) for pair in itertools.pairwise((*ends, size[axis]))]
    return [Block(p, whole) if follows_wind else Block(whole, p) for p in parts]


@dataclass(frozen=True, slots=True, eq=False)
class _Flown:
    """A cloud with what is told of its landings, and the lines that a verdict asks for."""

    cloud: Cloud
    landings: Mapping[tuple[str, str], Landing]
    lines: Lines

    def turned(self, angle: float) -> _Flown:
        """Turn everything as a wind from north turns to another direction."""
        turned = {key: one.turned(angle) for key, one in self.landings.items()}
        lines = turned_lines(self.lines, angle)
        return _Flown(self.cloud.turned(angle), turned, lines)


@dataclass(frozen=True, slots=True, eq=False)
class _Wide:
    """A span with one word all over, and the five winds that were flown for it."""

    span: Span
    node: Node
    flown: Sequence[Node]
    half: float
    reach: Reach

    def at(self, places: Sequence[tuple[float, float]]) -> Iterator[Node]:
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


@dataclass(frozen=True, slots=True, eq=False)
class _Bench:
    """What a worker has at hand: the flight, and its flights in each wind."""

    setup: Setup
    supposition: Supposition
    reach: Reach
    air: Callable[[Wind], WindProfile]
    fly: Callable[[float, float], _Flown]
    net: Callable[[int, int, int, int], Net]
    known: dict[tuple[float, float], Node] = field(default_factory=dict)
    spans: dict[Span, _Wide | Sequence[str]] = field(default_factory=dict)

    def node(self, i: float, j: float) -> Node:
        """Judge a wind as an assessment does, once."""
        at = i, j % self.reach.directions
        if at not in self.known:
            self.known[at] = self._judged(*at)
        return self.known[at]

    def _judged(self, i: float, j: float) -> Node:
        wind = self.reach.wind(i, j)
        try:
            done = self.fly(i, j)
            trial = judged(done.cloud, self.setup, self.air(wind), lines=done.lines)
        except (DriftmapError, ValueError) as problem:
            return unknown(wind, problem)
        return Node(
            wind,
            verdict := decide(trial.checks),
            trial.checks,
            {case.name: case.probability for case in done.cloud.tree.cases},
            done.landings,
            supposed=verdict != "go" or self._hangs_on_aloft(wind, done.cloud),
        )

    def _hangs_on_aloft(self, wind: Wind, cloud: Cloud) -> bool:
        """Tell whether a go hangs on winds aloft that the meter does not tell."""
        speed, way = wind
        told = known_wind(self.supposition, way, speed, gust=self.reach.gust)
        return hangs_on_aloft(cloud, self.setup, told)

    def five(self, i: int, up: int, j: int, on: int) -> list[Node]:
        """Judge the corners of a span and its middle."""
        corners = [self.node(a, b) for a in (i, up) for b in (j, on)]
        return [*corners, self.node((i + up) / 2, (j + on) / 2)]

    def strictest(self, span: Span, flown_here: Sequence[Node]) -> tuple[Check, ...]:
        """Bound the checks of all winds of a span."""
        _, up, j, on = span
        strongest = self.air(self.reach.wind(up, (j + on) / 2))
        checks = [node.checks for node in flown_here]
        return strictest(self.setup, self.net(*span), strongest, checks)

    def cell(self, i: int, j: int) -> Node | None:
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
        span = i, i + 1, j, j + 1
        middle = self.node(i + 0.5, j + 0.5)
        if middle.problem:
            return middle
        try:
            checks = self.strictest(span, [*corners, middle])
        except (DriftmapError, ValueError) as problem:
            return unknown(middle.wind, problem)
        here = replace(
            middle,
            verdict=decide(checks),
            checks=checks,
            supposed=any(node.supposed for node in (*corners, middle)),
            whole=True,
        )
        return here if i else _with_calm(here, corners[:2])

    def wide(self, i: int, j: int) -> _Wide | None:
        """Find the widest span about a cell that has one word all over."""
        size = self.reach.speeds, self.reach.directions

        def once(span: Span) -> _Wide | Sequence[str]:
            if span not in self.spans:
                self.spans[span] = self._alike(span)
            return self.spans[span]

        return settled((i, i + 1, j, j + 1), size, _most(self.reach), once)

    def _alike(self, span: Span) -> _Wide | Sequence[str]:
        i, up, j, on = span
        every = self.five(*span)
        words = [node.word for node in every[:4]]
        # Each cell of a single row, or column, has a part of both of its edges.
        edges = [*[(0, 1), (2, 3)] * (up - i == 1), *[(0, 2), (1, 3)] * (on - j == 1)]
        try:
            whole = partial(self.strictest, span, every)
            checks = alike([node.checks for node in every], whole, decide, edges)
        except (DriftmapError, ValueError):
            return words
        if checks is None or any(node.problem for node in every):
            return words
        likely = [node.likely or {} for node in every]
        one = Node(
            self.reach.wind((i + up) / 2, (j + on) / 2),
            decide(checks),
            checks,
            {case: max(own.get(case, 0.0) for own in likely) for case in likely[-1]},
            supposed=any(node.supposed for node in every),
            whole=True,
        )
        half = math.radians((on - j) * self.reach.turn) / 2
        return _Wide(span, one, every, half, self.reach)


def _with_calm(cell: Node, calm: Sequence[Node]) -> Node:
    """Let the lines of a lowest cell go round those of the lightest air from there."""
    every = [node.landings or {} for node in (cell, *calm)]
    keys = dict.fromkeys(key for landings in every for key in landings)
    joined = {
        key: joined_landing([own[key] for own in every if key in own]) for key in keys
    }
    return replace(cell, landings=joined)


def work_out(
    packed: bytes, supposition: Supposition, reach: Reach, block: Block
) -> Found:
    """Work out a block: every wind on its own, and every cell as a whole.

    Where one word holds over a wider span, that is judged as a whole and no wind inside
    is flown.

    ``packed``: the setup, from `driftmap.planning.trial.pack`; ``supposition``: how the
    wind aloft follows the meter.

    Result: its winds and cells.
    """
    bench = _bench(unpack(packed), supposition, reach)
    most, every = _most(reach), block.cells()
    every.sort(key=lambda at: (at[0] // most[0], at[1] // most[1]))
    drawn: dict[Cell, Node] = {}
    cells: dict[Cell, Node | None] = {}
    spans: list[_Wide] = []
    for at in every:
        wide = bench.wide(*at)
        if wide is None:
            cells[at] = bench.cell(*at)
        elif wide not in spans:
            spans.append(wide)
    # Where two spans meet, the milder one bounds the winds between them as well.
    for wide in sorted(spans, key=lambda wide: severity(wide.node)):
        cells |= _drawn(bench, wide, drawn)
    winds = block.winds(reach.directions)
    nodes = {at: bench.known.get(at) or drawn[at] for at in winds}
    return Found(nodes, {key: node for key, node in cells.items() if node is not None})


def _drawn(bench: _Bench, wide: _Wide, drawn: dict[Cell, Node]) -> dict[Cell, Node]:
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


def _bench(setup: Setup, supposition: Supposition, reach: Reach) -> _Bench:
    """Make what flies a wind once and keeps it as long as its neighbours need it."""
    turn = math.radians(reach.turn)
    follows = setup.flight.rail.follows_wind
    kept = min(_KEPT, max(_LEAST_KEPT, _MOST_KEPT // setup.samples))

    @lru_cache(4)  # flown and judged one after the other
    def air(wind: Wind) -> WindProfile:
        return metered_wind(supposition, wind[1], wind[0], gust=reach.gust)

    @lru_cache(kept)
    def fly(i: float, j: float) -> _Flown:
        cloud = flown(setup, air(reach.wind(i, j)))
        return _Flown(cloud, *landings_of(cloud))

    def at(i: float, j: float) -> _Flown:
        if follows:  # from everywhere the same, but for a turn; so is the lightest air
            return fly(i, 0.0).turned(j * turn)
        # In a calm nothing knows where the wind comes from.
        return fly(i, j % reach.directions if i else 0.0)

    @lru_cache(2)
    def net(i: int, up: int, left: float, right: float) -> Net:
        slow, fast = ((at(a, left).cloud, at(a, right).cloud) for a in (i, up))
        middle = at((i + up) / 2, (left + right) / 2)
        return everywhere((slow, fast), middle.cloud, (right - left) * turn / 2)

    def turned(i: int, up: int, j: int, on: int) -> Net:
        if not follows:
            return net(i, up, j, on)
        side = (on - j) / 2
        return net(i, up, -side, side).turned((j + side) * turn)

    return _Bench(setup, supposition, reach, air, at, turned)


def _most(reach: Reach) -> tuple[int, int]:
    return most_cells((reach.speeds, reach.directions), reach.step, reach.turn)


def unknown(wind: Wind, problem: object) -> Node:
    """Hold in a wind that could not be worked out, and say why."""
    told = " ".join(str(problem).split())
    return Node(wind, "hold", problem=told)
