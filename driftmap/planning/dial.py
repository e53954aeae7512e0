"""Work a dial out: fly and judge every case in every wind, with the same draws."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial
from typing import Final, TypeAlias

import numpy as np

from driftmap.air import turbulence
from driftmap.air.sun import toward_dark
from driftmap.air.wind import MAST
from driftmap.core.pools import is_alone
from driftmap.hazard.zones import anywhere
from driftmap.planning.assumed_winds import Supposition, Wind, suppose
from driftmap.planning.dial_cells import (
    Cell,
    CellBlock,
    Found,
    blocks_of,
    first_winds,
    flights_for,
    make_ready,
    unknown_node,
    work_out,
)
from driftmap.planning.dial_node import DialNode, severity
from driftmap.planning.dial_reach import Reach
from driftmap.planning.sweep import LostPart, Workers, sweep
from driftmap.planning.trial import judged, pack, scouts, unpack
from driftmap.planning.wind_sweep import forget_flights
from driftmap.planning.windlimits import HIGHEST, wind_allowed
from driftmap.planning.worst_hours import worst_suns
from driftmap.rocket.cases import build_cases
from driftmap.verdict.check import least_to_settle
from driftmap.verdict.judgement import Need, flights_needed
from driftmap.verdict.setup import Setup, flown

_HOURS: Final = timedelta(hours=3)
"""How far from the hour of a dial it serves; assumed: the sun climbs by up to 45°."""

_LOOKS: Final = 36  # at the sun in that time


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
    nodes : tuple of DialNode
        One for each of ``reach.winds()``.
    cells : mapping of (int, int) to DialNode
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
    samples_needed : int
        Flights in each case below which no wind can be go.
    """

    setup: Setup
    supposition: Supposition
    reach: Reach
    nodes: tuple[DialNode, ...]
    cells: Mapping[tuple[int, int], DialNode]
    pieces: tuple[tuple[str, str, int], ...]
    assumed: tuple[str, ...]
    limit: float
    astray: float
    samples_needed: int

    @property
    def samples_to_settle(self) -> int:
        """Flights in each case that may make a wind go where none is; 0 where none would."""
        words = [node.verdict for node in self.nodes]
        held = (node.checks for node in self.nodes if node.verdict == "hold")
        return 0 if "go" in words else least_to_settle(held, self.setup.samples)


def compute_dial(
    setup: Setup,
    supposition: Supposition,
    reach: Reach,
    *,
    workers: Workers | None = None,
    told: Callable[[str], None] | None = None,
) -> Dial:
    """Fly and judge every case in every wind of a dial.

    ``setup``: what is flown, and where; one seed serves all winds, so that they differ
    by the wind alone; ``supposition``: how the wind aloft follows the meter; ``workers``:
    who works on it; threads by default. A part is all winds of a part of the compass by
    one sun; ``told``: takes what is to be said before the long work.

    Result: the dial. A wind that could not be flown holds, and says why. Raises
    `DriftmapError` if flight and site cannot be assessed in any wind.

    Where the rail follows the wind, each speed is flown once, from north, and turned
    for every other direction (`Cloud.turned`): directions then differ by the ground
    alone. A rail with a bearing of its own is flown in each of them, with the same draws.
    Between its winds a cell is judged as a whole (`driftmap.planning.span_verdict`), so that no
    wind in it is judged milder than it is; so is a wider span of winds, if it has one
    word all over, and winds inside are then drawn between those flown for it.

    All is done by the sun of the hour, and where that is no no-go by the worst suns of the
    time served too. Each wind, and each cell, has the worst word of them.
    """
    supposition = supposition.on_the_meter(reach.gust)
    first, notes, astray, need = _scouted(setup, supposition)
    if told is not None and (few := need.warning(setup.samples)):
        told(few)
    suns = _suns(supposition, setup)
    if len(suns) > 1:
        times = ", ".join(f"{sun.when:%H:%M}" for sun in suns)
        notes = (*notes, f"each wind has its worst word by the sun at {times}")
    packed, turns = pack(setup), setup.flight.rail.follows_wind
    blocks = blocks_of(reach, turns, 1)
    ((nodes, cells),) = _worked(packed, suns[:1], reach, blocks, workers)
    # Where there is a no-go already, no sun makes it worse.
    still = frozenset(at for at, cell in cells.items() if cell.verdict != "no-go")
    others = suns[1:]
    left = blocks_of(reach, turns, len(others), still) if others else []
    for more, beside in _worked(packed, others, reach, left, workers):
        nodes |= {k: max(nodes[k], n, key=severity) for k, n in more.items()}
        for at in still & cells.keys():
            if at in beside:
                cells[at] = max(cells[at], beside[at], key=severity)
            else:  # it has a corner that is no-go now
                del cells[at]
    calm = max((n for (i, _), n in nodes.items() if i == 0), key=severity)
    around = itertools.product(range(1, reach.speeds + 1), range(reach.directions))
    return Dial(
        setup=setup,
        supposition=supposition,
        reach=reach,
        nodes=(replace(calm, wind=Wind(0.0, 0.0)), *(nodes[at] for at in around)),
        cells=dict(sorted(cells.items())),
        pieces=tuple((case, body, count) for case, body, count in first),
        assumed=notes,
        limit=_limit_at_meter(setup, supposition),
        astray=astray,
        samples_needed=need.flights,
    )


def hours_served(
    supposition: Supposition, setup: Setup
) -> tuple[datetime, datetime] | None:
    """Return the time that a dial serves: about its hour, while it is light, if it was then.

    ``supposition``: whose hour counts; ``setup``: where, and from when until when what was
    answered holds.

    Result: None where its winds are of no hour.
    """
    when, site, said = supposition.hour, setup.site, setup.answers
    if when is None:
        return None
    at = site.latitude, site.longitude
    late = toward_dark(when, when + _HOURS, *at)
    early = toward_dark(when, when - _HOURS, *at)
    holds = (None if said is None else said.holds) or (early, late)
    early, late = max(early, holds[0]), min(late, holds[1])
    return early.astimezone(when.tzinfo), late.astimezone(when.tzinfo)


def _suns(supposition: Supposition, setup: Setup) -> list[Supposition]:
    """Return the air of the hour, and by the worst suns of the time served."""
    span, site = hours_served(supposition, setup), setup.site
    if span is None:
        return [supposition]

    first, last = span
    times = [first + (last - first) * n / _LOOKS for n in range(_LOOKS + 1)]
    when, place = supposition.when or first, (site.latitude, site.longitude)
    others = worst_suns(times, place, when)
    return [supposition, *(replace(supposition, when=at) for at in others)]


_Worked: TypeAlias = tuple[dict[Cell, DialNode], dict[Cell, DialNode]]


def _worked(
    packed: bytes,
    suns: Sequence[Supposition],
    reach: Reach,
    blocks: Sequence[CellBlock],
    workers: Workers | None,
) -> list[_Worked]:
    """Work through blocks by each sun; give winds and cells of each."""
    work = partial(work_out, packed, reach)
    parts = [(sun, block) for block in blocks for sun in suns]
    try:
        if (workers is None or workers.executor is None) and is_alone():
            _made_ready(packed, suns, reach, blocks, workers)
        every = sweep(work, parts, workers)
    finally:
        forget_flights()
    found: list[_Worked] = [({}, {}) for _ in suns]
    for n, ((_, block), got) in enumerate(zip(parts, every, strict=True)):
        nodes, cells = found[n % len(suns)]
        one = _lost(reach, block, got.reason) if isinstance(got, LostPart) else got
        # A wind on the edge of a block that was lost, or not flown there, is known from
        # the next one.
        nodes |= {
            k: own
            for k, own in one.nodes.items()
            if k not in nodes or not (own.problem or own.drawn)
        }
        cells |= one.cells
    return found


def _made_ready(
    packed: bytes,
    suns: Sequence[Supposition],
    reach: Reach,
    blocks: Sequence[CellBlock],
    workers: Workers | None,
) -> None:
    """Fly the winds that blocks ask for first, each once: forks then know what is known here.

    One that is lost is flown again where it is asked for.
    """
    turns = unpack(packed).flight.rail.follows_wind
    winds = first_winds(reach, blocks, turns)
    parts = [(sun, some) for some in winds for sun in suns]
    every = sweep(partial(make_ready, packed, reach), parts, workers)
    for (sun, _), ready in zip(parts, every, strict=True):
        if not isinstance(ready, LostPart):
            flights_for(packed, reach, sun).take(ready)


def _lost(reach: Reach, block: CellBlock, reason: str) -> Found:
    """Hold in every wind and cell of a block that was lost with its worker."""
    return Found(
        {
            at: unknown_node(reach.wind(*at), reason)
            for at in block.winds(reach.directions)
        },
        {
            (i, j): unknown_node(reach.wind(i + 0.5, j + 0.5), reason)
            for i, j in block.cells()
        },
    )


def _scouted(
    setup: Setup, supposition: Supposition
) -> tuple[list[tuple[str, str, int]], tuple[str, ...], float, Need]:
    """List the pieces, what is assumed and how many go astray; let bad input raise before the long work."""
    wind = suppose(supposition, 0.0, 1.0)
    tree = build_cases(setup.flight)
    few = scouts(setup)
    cloud = flown(few, wind)
    judged(cloud, few, wind)
    notes = (
        *setup.site.assumed,
        *wind.assumed,
        *cloud.plan.assumed,
        *tree.assumed,
        cloud.plan.sky.told,
        f"turbulence from the mean wind at 6 m; {turbulence.ASSUMED}",
        "the ground is flat, at the pad's elevation",
    )
    pieces = [(c.name, b.name, b.count) for c in tree.cases for b in c.bodies]
    need = flights_needed(cloud, setup.site, setup.answers)
    found = anywhere(cloud)
    astray = 0.0 if found is None else found.likelihood
    return pieces, tuple(dict.fromkeys(notes)), astray, need


def _limit_at_meter(setup: Setup, supposition: Supposition) -> float:
    """Find what the meter reads where the wind at 10 m is at the limit on it [m s⁻¹].

    That limit itself where the wind does not grow.
    """
    limit = min(wind_allowed(setup), HIGHEST)
    grown = float(np.hypot(*suppose(supposition, 0.0, limit).at(MAST)))
    return limit * min(limit / grown, 1.0)
