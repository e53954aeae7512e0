"""Work a dial out: fly and judge every case in every wind, on the same luck."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial

from driftmap.air import turbulence
from driftmap.failures.cases import build_cases
from driftmap.hazard.zones import anywhere
from driftmap.planning.cells import Block, Found, blocks_of, unknown, work_out
from driftmap.planning.dialwinds import Reach, limit_at_meter, metered_wind
from driftmap.planning.node import WORDS, Node
from driftmap.planning.supposed import Supposition
from driftmap.planning.sweep import Hands, Lost, sweep
from driftmap.planning.trial import judged, pack, scouts
from driftmap.verdict.assessment import Setup, flown
from driftmap.verdict.judgement import Need, flights_needed

__all__ = ["Dial", "compute_dial"]


@dataclass(frozen=True, slots=True, eq=False)
class Dial:
    """A dial worked out.

    Parameters
    ----------
    setup : Setup
        What was flown, where, and with how many samples.
    supposition : Supposition
        How the wind aloft follows the meter.
    reach : Reach
        The winds.
    nodes : tuple of Node
        One for each of ``reach.winds()``.
    cells : mapping of (int, int) to Node
        All winds of a cell at once, by number of the speed below and of the direction to
        the left. A cell that is left out has a corner that is no-go.
    pieces : tuple of (str, str, int)
        Every case and body that may come down, and how many of the body there are.
    assumed : tuple of str
        What was assumed.
    limit : float
        Speed at the meter at which the wind at 10 m is at the limit on it [m s⁻¹].
    astray : float
        Share of flights that may come down on any side, which no zone holds.
    too_few : str
        That too few flights were flown for any go; empty where there are enough.
    """

    setup: Setup
    supposition: Supposition
    reach: Reach
    nodes: tuple[Node, ...]
    cells: Mapping[tuple[int, int], Node]
    pieces: tuple[tuple[str, str, int], ...]
    assumed: tuple[str, ...]
    limit: float
    astray: float
    too_few: str


def compute_dial(
    setup: Setup,
    supposition: Supposition,
    reach: Reach,
    *,
    hands: Hands | None = None,
    told: Callable[[str], None] | None = None,
) -> Dial:
    """Fly and judge every case in every wind of a dial.

    ``setup``: what is flown, and where; one seed serves all winds, so that they differ
    by the wind alone; ``supposition``: how the wind aloft follows the meter; ``hands``:
    who works on it; threads by default. A part is all directions of one speed, or all
    speeds of a part of the compass where the rail has a bearing of its own; ``told``:
    takes what is to be said before the long work.

    Result: the dial. A wind that could not be flown holds, and says why. Raises
    `DriftmapError` if flight and site cannot be assessed in any wind.

    Where the rail follows the wind, each speed is flown once, from north, and turned
    for every other direction (`Cloud.turned`): directions then differ by the ground
    alone. A rail with a bearing of its own is flown in each of them, on the same luck.
    Between its winds a cell is judged as a whole (`driftmap.planning.span`), so that no
    wind in it is judged milder than it is; so is a wider span of winds, if it has one
    word all over, and winds inside are then drawn between those flown for it.
    """
    first, notes, astray, need = _scouted(setup, supposition)
    if told is not None and (few := need.warning(setup.samples)):
        told(few)
    blocks = blocks_of(reach, setup.flight.rail.follows_wind)
    work = partial(work_out, pack(setup), supposition, reach)
    nodes: dict[tuple[int, int], Node] = {}
    cells: dict[tuple[int, int], Node] = {}
    for block, got in zip(blocks, sweep(work, blocks, hands), strict=True):
        found = _lost(reach, block, got.reason) if isinstance(got, Lost) else got
        # A wind on the edge of a block that was lost, or not flown there, is known from
        # the next one.
        nodes |= {
            k: n
            for k, n in found.nodes.items()
            if k not in nodes or not (n.problem or n.drawn)
        }
        cells |= found.cells
    calm = max((n for (i, _), n in nodes.items() if i == 0), key=_severity)
    around = itertools.product(range(1, reach.speeds + 1), range(reach.directions))
    return Dial(
        setup,
        supposition,
        reach,
        (replace(calm, wind=(0.0, 0.0)), *(nodes[at] for at in around)),
        dict(sorted(cells.items())),
        tuple((case, body, count) for case, body, count in first),
        notes,
        limit_at_meter(setup, supposition),
        astray,
        need.warning(setup.samples),
    )


def _severity(node: Node) -> int:
    return WORDS.index(node.word)


def _lost(reach: Reach, block: Block, reason: str) -> Found:
    """Hold in every wind and cell of a block that was lost with its worker."""
    winds = itertools.product(
        (*block.rows, block.rows[-1] + 1), (*block.columns, block.columns[-1] + 1)
    )
    cells = itertools.product(block.rows, block.columns)
    return Found(
        {
            (i, j % reach.directions): unknown(reach.wind(i, j), reason)
            for i, j in winds
        },
        {(i, j): unknown(reach.wind(i + 0.5, j + 0.5), reason) for i, j in cells},
    )


def _scouted(
    setup: Setup, supposition: Supposition
) -> tuple[list[tuple[str, str, int]], tuple[str, ...], float, Need]:
    """List the pieces, what is assumed and how many go astray; let bad input raise before the long work."""
    wind = metered_wind(supposition, 0.0, 1.0)
    tree = build_cases(setup.flight)
    few = scouts(setup)
    cloud = flown(few, wind)
    judged(cloud, few, wind)
    day = "standard atmosphere: no temperature or pressure was given"
    notes = (
        *setup.site.assumed,
        *wind.assumed,
        *cloud.plan.assumed,
        *tree.assumed,
        *(() if setup.day else (day,)),
        f"turbulence from the mean wind at 6 m; {turbulence.ASSUMED}",
        "the ground is flat, at the pad's elevation",
    )
    pieces = [(c.name, b.name, b.count) for c in tree.cases for b in c.bodies]
    need = flights_needed(cloud, setup.site)
    found = anywhere(cloud)
    astray = 0.0 if found is None else found.likelihood
    return pieces, tuple(dict.fromkeys(notes)), astray, need
