"""Reports one above the other: which level of which report is flown, and what is not."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from driftmap.air.wind import direction_and_speed
from driftmap.winds.sources import (
    SURFACE,
    Node,
    Source,
    carried,
    differs,
    disagreement,
    interpolated,
)

__all__ = ["Stack", "stacked"]

_BLENDED: Final = 120.0
"""From `SURFACE` up to here the wind goes over from the report that rules near the ground
to older layers [m]; assumed."""

_AS_FRESH: Final = 0.1
"""A report at most this much older than the one that rules near the ground is of the same
time [h]."""


@dataclass(frozen=True, slots=True, eq=False)
class Stack:
    """Levels as read, by height, and what was passed over.

    Parameters
    ----------
    nodes : tuple of Node
        Levels that are flown, lowest first.
    lawful : Node or None
        The highest of them near the ground, which a law may carry up; None where no
        report speaks of the wind near the ground.
    sources, used : tuple of Source
        All reports, the best known first; those that a level was taken from.
    doubts : tuple of str
        Where a report that was passed over tells another wind.
    notes : tuple of str
        What was passed over.
    """

    nodes: tuple[Node, ...]
    lawful: Node | None
    sources: tuple[Source, ...]
    used: tuple[Source, ...]
    doubts: tuple[str, ...]
    notes: tuple[str, ...]


def stacked(
    sources: Sequence[Source], ground: Source | None, roughness: float
) -> Stack:
    """Put reports one above the other.

    Parameters
    ----------
    sources : sequence of Source
        All reports, the best known first.
    ground : Source or None
        The one that rules near the ground.
    roughness : float
        Roughness length of the ground [m].

    Returns
    -------
    Stack
        What is flown of them.
    """
    near = [] if ground is None else [n for n in ground.nodes if n.height <= SURFACE]
    if ground is not None and not near:
        near = [ground.nodes[0]]  # a reading on a kite
    doubts = {
        source.name: said
        for source in sources
        if source is not ground and near
        for said in _doubts_below(source, near, roughness)
    }
    nodes = list(near)
    used, notes = [ground] if ground else [], []
    for source in sources:
        kept = _kept(source, ground, nodes, doubted=source.name in doubts)
        if source is not ground and near:
            kept = [_blended(n, near[-1], roughness, source, ground) for n in kept]
        passed = len(source.nodes) - len(kept)
        if source is ground:
            passed -= len(near)
        if said := _doubt_above(source, nodes, kept):
            doubts.setdefault(source.name, said)
        if passed:
            speaks = (nodes or kept)[-1].level.source
            if kept or source is ground:
                notes.append(
                    f"{source.name}: {passed} of {len(source.nodes)} levels not used, "
                    f"{speaks} speaks there"
                )
            else:
                notes.append(f"{source.name}: not used, {speaks} stands for it")
        nodes += kept
        if kept and source is not ground:
            used.append(source)
    lawful = (
        max(
            (n for n in nodes if n.height <= max(SURFACE, near[-1].height)),
            key=lambda n: n.height,
            default=None,
        )
        if near
        else None
    )
    return Stack(
        tuple(nodes),
        lawful,
        tuple(sources),
        tuple(used),
        tuple(doubts.values()),
        tuple(notes),
    )


def _kept(
    source: Source, ground: Source | None, nodes: Sequence[Node], *, doubted: bool
) -> list[Node]:
    """Keep the levels of a report above those that are flown already."""
    floor = nodes[-1].height if nodes else -math.inf
    if ground is not None and source is not ground:
        fresh = _as_fresh(source, ground) and not doubted
        floor = max(floor, -math.inf if fresh else SURFACE)
    return [node for node in source.nodes if node.height > floor]


def _as_fresh(source: Source, ground: Source) -> bool:
    if source.age is None or ground.age is None or source.reading.forecast:
        return False
    return source.age <= ground.age + _AS_FRESH


def _blended(
    node: Node, first: Node, roughness: float, source: Source, ground: Source | None
) -> Node:
    """Let a level of older layers go over into the wind carried up from the ground."""
    share = (_BLENDED - node.height) / (_BLENDED - SURFACE)
    if ground is None or _as_fresh(source, ground) or not 0 < share < 1:
        return node
    law = carried(first, node.height, roughness)
    wind = share * law.wind + (1 - share) * node.wind
    apart = float(np.hypot(*(law.mean - node.mean)))
    error = math.hypot(
        share * law.error + (1 - share) * node.error,
        apart * math.sqrt(share * (1 - share) / 2),
    )
    direction, speed = direction_and_speed(*wind.mean(axis=0))
    name = f"{node.level.source}, blended with {first.level.source}"
    level = replace(
        node.level, direction=float(direction), speed=float(speed), source=name
    )
    return Node(node.height, wind, error, level, node.reading)


def _doubts_below(
    source: Source, near: Sequence[Node], roughness: float
) -> Iterator[str]:
    """Compare a report with the one that rules near the ground; tell the worst."""
    pairs = []
    for node in source.nodes:
        if node.height > _BLENDED:
            break
        if near[0].height <= node.height <= near[-1].height:
            ours = interpolated(near, node.height)
        else:
            end = near[0] if node.height < near[0].height else near[-1]
            ours = carried(end, node.height, roughness)
            level = replace(ours.level, source=end.level.source)
            ours = replace(ours, level=level)
        if differs(ours, node):
            pairs.append((ours, node))
    if pairs:
        yield disagreement(*max(pairs, key=_apart))


def _doubt_above(
    source: Source, nodes: Sequence[Node], kept: Sequence[Node]
) -> str | None:
    """Compare the levels of a report that are passed over with those flown."""
    flown = [node for node in nodes if node.height >= SURFACE]
    pairs = []
    for node in source.nodes:
        if (
            node in kept
            or len(flown) < 2
            or not (flown[0].height <= node.height <= flown[-1].height)
        ):
            continue
        ours = interpolated(flown, node.height)
        if differs(ours, node):
            pairs.append((ours, node))
    return disagreement(*max(pairs, key=_apart)) if pairs else None


def _apart(pair: tuple[Node, Node]) -> float:
    return float(np.hypot(*(pair[0].mean - pair[1].mean)))
