"""Reports stacked one above the other, and where those passed over differ."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from driftmap.air.wind import Disagreement, Stronger
from driftmap.winds.levels import (
    SURFACE,
    Node,
    PassedOver,
    Source,
    carried,
    doubt,
    interpolated,
    mean_of,
    stronger,
)

_BLENDED: Final = 120.0
"""From `SURFACE` up to here the wind goes over from the report that rules near the ground
to older layers [m]; assumed."""

_AS_FRESH: Final = 0.1
"""A report read at the field and at most this much older than the one that rules near the
ground tells of the same air [h]."""


@dataclass(frozen=True, slots=True, eq=False)
class Stack:
    """Levels of several reports, stacked.

    Parameters
    ----------
    nodes : tuple of Node
        Levels as read, the lowest first.
    lawful : Node or None
        The highest level near the ground, from which a law may carry the wind up.
    sources, used : tuple of Source
        All reports, the best known first, and those that a level was taken from.
    doubts : tuple of Disagreement
        Where a report that was passed over tells another wind.
    stronger : tuple of Stronger
        The worst that such a report tells within the errors of both.
    notes : tuple of str
        What was passed over.
    """

    nodes: tuple[Node, ...]
    lawful: Node | None
    sources: tuple[Source, ...]
    used: tuple[Source, ...]
    doubts: tuple[Disagreement, ...]
    stronger: tuple[Stronger, ...]
    notes: tuple[str, ...]


def stacked(
    sources: Sequence[Source], ground: Source | None, roughness: float
) -> Stack:
    """Put reports, the best known first, one above the other.

    `ground` is the one that rules near the ground, `roughness` the length of the ground [m].
    """
    near = _near_ground(ground)
    # By their place in the list: two files may have one name.
    below = [
        [] if source is ground else list(_compared_below(source, near, roughness))
        for source in sources
    ]
    doubted = [doubt(pairs) for pairs in below]
    doubts = [said for said in doubted if said]
    passed_over = [each for pairs in below for each in pairs]
    notes: list[str] = []
    nodes, used = list(near), [ground] if ground else []
    for source, said in zip(sources, doubted, strict=True):
        kept = _kept(source, ground, nodes, doubted=said is not None)
        if source is not ground and near:
            kept = [_blended(n, near[-1], roughness, source, ground) for n in kept]
        above = list(_compared_above(source, nodes, kept))
        passed_over += above
        if said is None and (beyond := doubt(above)):
            doubts.append(beyond)
        held = len(kept) + (len(near) if source is ground else 0)
        notes += _not_used(source, held, (nodes or kept)[-1].level.source)
        nodes += kept
        if kept and source is not ground:
            used.append(source)
    low = [n for n in nodes if near and n.height <= max(SURFACE, near[-1].height)]
    return Stack(
        tuple(nodes),
        max(low, key=lambda n: n.height, default=None),
        tuple(sources),
        tuple(used),
        tuple(doubts),
        stronger(passed_over),
        tuple(notes),
    )


def _near_ground(ground: Source | None) -> list[Node]:
    """Return the levels of the report that rules near the ground, up to where it does."""
    if ground is None:
        return []
    near = [node for node in ground.nodes if node.height <= SURFACE]
    return near or [ground.nodes[0]]  # a reading on a kite


def _not_used(source: Source, held: int, speaks: str) -> Iterator[str]:
    """Tell which levels of a report are not flown, of which so many are `held`."""
    count = len(source.nodes)
    if not held:
        yield f"{source.name}: not used, {speaks} stands for it"
    elif held < count:
        yield (
            f"{source.name}: {count - held} of {count} levels not used, {speaks} speaks there"
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
    """Return whether a report may stand near the ground beside the one that rules there.

    What was read elsewhere is no wind of the air above this field.
    """
    reading = source.reading
    if source.age is None or ground.age is None:
        return False
    here = not reading.forecast and reading.away == 0
    return here and source.age <= ground.age + _AS_FRESH


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
    lasting = share * law.lasting + (1 - share) * node.lasting
    name = f"{node.level.source}, blended with {first.level.source}"
    level = mean_of(node.level, wind, source=name)
    if node.level.direction is None:  # nor has what becomes of it one
        speed = share * law.speed + (1 - share) * node.speed
        level = replace(level, direction=None, speed=speed)
    return Node(wind, error, level, node.reading, lasting)


def _compared_below(
    source: Source, near: Sequence[Node], roughness: float
) -> Iterator[PassedOver]:
    """Set the levels of a report beside the one that rules near the ground."""
    for node in source.nodes:
        if not near or node.height > _BLENDED:
            break
        if near[0].height <= node.height <= near[-1].height:
            ours = interpolated(near, node.height)
        else:
            end = near[0] if node.height < near[0].height else near[-1]
            ours = carried(end, node.height, roughness)
            level = replace(ours.level, source=end.level.source)
            ours = replace(ours, level=level)
        yield ours, node


def _compared_above(
    source: Source, nodes: Sequence[Node], kept: Sequence[Node]
) -> Iterator[PassedOver]:
    """Set the levels of a report that are passed over beside those flown, and the other way."""
    flown = [node for node in nodes if node.height >= SURFACE]
    for ours in flown:
        inside = source.nodes[0].height < ours.height < source.nodes[-1].height
        if inside and ours.reading is not source.reading:
            yield ours, interpolated(source.nodes, ours.height)
    foot = [node for node in nodes if node.height < SURFACE][-1:]
    for node in source.nodes:
        # Of the air just above the ground `_compared_below` has spoken.
        between = [*foot, *flown] if node.height > _BLENDED else flown
        if (
            node in kept
            or len(between) < 2
            or not (between[0].height <= node.height <= between[-1].height)
        ):
            continue
        yield interpolated(between, node.height), node
