"""Work out a part of a dial: its winds, and every wind between them at once."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, TypeAlias

from driftmap.air.wind import WindProfile
from driftmap.dial.node import WORDS, Landing, Node, joined_landing, landings_of
from driftmap.dial.reach import Reach, Wind
from driftmap.dial.winds import known_wind, metered_wind
from driftmap.errors import DriftmapError
from driftmap.montecarlo.cloud import Cloud
from driftmap.planning.span import Corners, Net, everywhere, strictest, turned_lines
from driftmap.planning.supposed import Supposition
from driftmap.planning.trial import Ahead, flown, hangs_on_aloft, judged, unpack
from driftmap.verdict.assessment import Setup
from driftmap.verdict.check import decide
from driftmap.verdict.consequence_checks import Lines

__all__ = ["Block", "Found", "blocks_of", "unknown", "work_out"]

Cell: TypeAlias = tuple[int, int]

_BLOCKS: Final = 4
"""Blocks that a dial of a rail with a bearing of its own is cut into, or one for each
processor where there are more: few, as the winds on their edges are flown twice."""

_MOST_KEPT: Final = 400_000  # flights a worker keeps, some 700 MB of them


@dataclass(frozen=True, slots=True)
class Block:
    """A part of a dial: cells of some speeds and directions, with the winds about them.

    Parameters
    ----------
    rows, columns : range
        Numbers of the speeds below, and of the directions to the left.
    """

    rows: range
    columns: range


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


def blocks_of(reach: Reach, follows_wind: bool, samples: int) -> list[Block]:
    """Cut a dial into parts worth handing out.

    ``follows_wind``: whether the rail follows the wind: a speed then is flown once and
    turned; ``samples``: flights in each case; blocks of many are narrow, as three winds
    a direction are kept.

    Result: parts that together have every cell.
    """
    if follows_wind:
        around = range(reach.directions)
        return [Block(range(i, i + 1), around) for i in range(reach.speeds)]
    blocks = max(_BLOCKS, os.cpu_count() or 1)
    kept = max(1, _MOST_KEPT // (3 * samples))
    width = min(kept, math.ceil(reach.directions / blocks))
    starts = range(0, reach.directions, width)
    ends = [min(start + width, reach.directions) for start in starts]
    rows = range(reach.speeds)
    return [Block(rows, range(a, b)) for a, b in zip(starts, ends, strict=True)]


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
class _Bench:
    """What a worker has at hand: the flight, and its flights in each wind."""

    setup: Setup
    supposition: Supposition
    reach: Reach
    air: Callable[[Wind], WindProfile]
    fly: Callable[[float, float], _Flown]
    net: Callable[[int, int], Net]

    def supposed(self, cloud: Cloud, wind: Wind) -> bool:
        """Tell whether a go hangs on winds aloft that the meter does not tell."""
        known = known_wind(self.supposition, wind[1], wind[0], gust=self.reach.gust)
        return hangs_on_aloft(cloud, self.setup, known)

    def node(self, i: float, j: float) -> Node:
        """Judge a wind as an assessment does."""
        wind = self.reach.wind(i, j)
        try:
            done = self.fly(i, j)
            known = Ahead(lines=done.lines)
            checks = judged(done.cloud, self.setup, self.air(wind), known).checks
        except (DriftmapError, ValueError) as problem:
            return unknown(wind, problem)
        return Node(
            wind,
            decide(checks),
            decide(check for check in checks if not check.question),
            checks,
            {part.case: part.flights for part in done.cloud.parts},
            {case.name: case.probability for case in done.cloud.tree.cases},
            done.landings,
            self.supposed(done.cloud, wind),
        )

    def cell(self, i: int, j: int, corners: Sequence[Node]) -> Node:
        """Judge all winds of a cell at once."""
        middle = self.node(i + 0.5, j + 0.5)
        if middle.problem:
            return middle
        try:
            net = self.net(i, j)
            strongest = self.air(self.reach.wind(i + 1, j + 0.5))
            flown_here = [node.checks for node in (*corners, middle)]
            checks = strictest(self.setup, net, strongest, flown_here)
        except (DriftmapError, ValueError) as problem:
            return unknown(middle.wind, problem)
        here = replace(
            middle,
            verdict=decide(checks),
            but_questions=decide(c for c in checks if not c.question),
            checks=checks,
            supposed=any(node.supposed for node in (*corners, middle)),
            whole=True,
        )
        return here if i else _with_calm(here, corners[:2])


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

    ``packed``: the setup, from `driftmap.planning.trial.pack`; ``supposition``: how the
    wind aloft follows the meter.

    Result: its winds and cells.
    """
    setup = unpack(packed)
    bench = _bench(setup, supposition, reach, block)
    nodes: dict[Cell, Node] = {}
    cells: dict[Cell, Node | None] = {}
    for i in block.rows:
        for j in block.columns:
            corners = [
                nodes.get(at) or nodes.setdefault(at, bench.node(*at))
                for at in (
                    (a, b % reach.directions) for a in (i, i + 1) for b in (j, j + 1)
                )
            ]
            cells[i, j] = _cell(bench, (i, j), corners)
    return Found(nodes, {key: node for key, node in cells.items() if node is not None})


def _cell(bench: _Bench, cell: Cell, corners: Sequence[Node]) -> Node | None:
    """Judge a cell; None where a corner says all there is to say."""
    worst = max(corners, key=lambda node: WORDS.index(node.word))
    if worst.verdict != "no-go":
        return bench.cell(*cell, corners)
    if cell[0]:
        return None
    # The lightest air stands in the dial once, not from everywhere.
    calm = max(corners[:2], key=lambda node: WORDS.index(node.word))
    wind = bench.reach.wind(0.5, cell[1] + 0.5)
    return replace(_with_calm(calm, corners[:2]), wind=wind)


def _bench(
    setup: Setup, supposition: Supposition, reach: Reach, block: Block
) -> _Bench:
    """Make what flies a wind once and keeps it as long as its neighbours need it."""
    turn = math.radians(reach.turn)
    follows = setup.flight.rail.follows_wind

    @lru_cache(4)  # flown and judged one after the other
    def air(wind: Wind) -> WindProfile:
        return metered_wind(supposition, wind[1], wind[0], gust=reach.gust)

    @lru_cache(3 * len(block.columns) + 6)
    def fly(i: float, j: float) -> _Flown:
        cloud = flown(setup, air(reach.wind(i, j)))
        return _Flown(cloud, *landings_of(cloud))

    def corners(fly: Callable[[float, float], _Flown], i: int, j: float) -> Corners:
        low, high = ((fly(a, j).cloud, fly(a, j + 1).cloud) for a in (i, i + 1))
        return low, high

    def settled(i: float, j: float) -> _Flown:
        if follows:  # from everywhere the same, but for a turn; so is the lightest air
            return fly(i, 0.0).turned(j * turn)
        # In a calm nothing knows where the wind comes from.
        return fly(i, j % reach.directions if i else 0.0)

    def net(i: int, j: int) -> Net:
        return everywhere(corners(settled, i, j), settled(i + 0.5, j + 0.5).cloud)

    if not follows:
        return _Bench(setup, supposition, reach, air, settled, net)

    @lru_cache(1)
    def north(i: int) -> Net:
        return everywhere(corners(settled, i, -0.5), fly(i + 0.5, 0.0).cloud)

    def turned(i: int, j: int) -> Net:
        return north(i).turned((j + 0.5) * turn)

    return _Bench(setup, supposition, reach, air, settled, turned)


def unknown(wind: Wind, problem: object) -> Node:
    """Hold in a wind that could not be worked out, and say why."""
    told = " ".join(str(problem).split())
    return Node(wind, "hold", "hold", problem=told)
