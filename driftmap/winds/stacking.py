"""Reports one above the other, which differ, and the field laid through their levels."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from driftmap.air import profile_law
from driftmap.air.profile_law import Field, ToldLevels, given
from driftmap.air.wind import LAW_TOP, MAST, Disagreement, Stronger
from driftmap.core.checks import FloatArray
from driftmap.winds.levels import (
    SURFACE,
    Node,
    PassedOver,
    Source,
    by_field,
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
    """Levels as read, lowest first, and what was passed over (`notes`).

    `lawful` is the highest near the ground, which a law may carry up, if any report speaks of
    that; `sources` are all reports, the best known first, `used` those a level was taken
    from; `doubts` say where one that was passed over tells another wind, `stronger` where
    it tells the worst of those within the errors of both.
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
    """Give the levels of the report that rules near the ground, up to where it does."""
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
    """Tell whether a report may stand near the ground beside the one that rules there.

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


_LADDER: Final = tuple(
    float(z)
    for z in (
        *(0, 2, 3, 5, 10, 20, 35, 60, 100, 140, 200, 300, 480, 660, 930, 1200, 1560),
        *(2010, 2550, 3000, 4000, 6000, 8000, 12000, 16000, 20000),
    )
)
"""Heights at which the field has its say where no level is near [m]; apart by what a
column of air is cut into anyway, so that they cost no layers."""

_THICK: Final = 100.0
"""In a layer up to this depth the wind is linear between its levels [m]; assumed."""

_NARROW: Final = 5.0
"""Levels nearer than this tell nothing more of the wind elsewhere [m]."""

_LAWFUL: Final = (10.0, 30.0, SURFACE)
"""Heights at which the law holds against a report above it [m]."""

_STILL: Final = 0.5
"""A wind lighter than this has no direction to speak of [m s⁻¹]; assumed."""


def _heights(stack: Stack) -> FloatArray:
    """Choose the heights of the profile: as read, and where the field has its say."""
    read = np.array([node.height for node in stack.nodes])
    open_to = np.array([True, *map(_far_apart, stack.nodes, stack.nodes[1:]), True])
    ladder = np.array(_LADDER)
    gaps = ladder[
        open_to[np.searchsorted(read, ladder)] & (ladder >= held_below(stack))
    ]
    heights = np.union1d(read, gaps)
    clear = np.abs(heights[:, None] - read[None, :])
    apart = np.where(clear == 0, np.inf, clear).min(axis=1)
    # A height of the ladder right beside one that was read would only be a kink.
    kept = np.isin(heights, read) | (apart > 0.02 * heights + 0.5)
    return np.asarray(heights[kept])


def _far_apart(low: Node, high: Node) -> bool:
    """Tell whether the field has its say between two levels."""
    if low.reading is high.reading and low.reading.from_ground:
        return False  # levels of a sounding are picked so that straight lines will do
    apart = high.height - low.height
    return apart > _THICK or (low.height < SURFACE and apart > 2 * low.height)


def held_below(stack: Stack) -> float:
    """Give the height below which the lowest wind is held as it is [m]."""
    lowest = stack.nodes[0]
    # A sounding from a station above the site starts with a wind near its own ground:
    # to scale that down once more would make the wind at the site too weak.
    layers = lowest.reading.kind == "aloft"
    held = layers and (lowest.height <= MAST or lowest.reading.from_ground)
    return lowest.height if held else 0.0


def laid_through(
    stack: Stack, field: Field, roughness: float
) -> tuple[list[Node], FloatArray]:
    """Let the field pass through the levels: the wind and its covariance by height."""
    heights = _heights(stack)
    near = _clusters(_with_law(stack, roughness))
    count = max(node.wind.shape[0] for levels in near for node in levels)
    lowest = max(held_below(stack), profile_law.lowest_height(roughness))

    def laid(read: Sequence[Node]) -> _Laid:
        told = given(field, _as_told(read), np.maximum(heights, lowest), roughness)
        winds = [np.broadcast_to(node.wind, (count, 2)) @ [1, 1j] for node in read]
        across = told.weights @ np.array(winds) + told.beside[:, None]
        return across, told.covariance

    across, covariance = _by_gaps(near, heights, laid)
    error = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    as_read = {node.height: node for node in stack.nodes}
    nodes = []
    for z, column, sigma in zip(heights, across, error, strict=True):
        if z in as_read:
            nodes.append(replace(as_read[z], error=max(sigma, as_read[z].error)))
        else:
            nodes.append(
                by_field(float(z), column, float(sigma), stack.nodes, roughness)
            )
    return nodes, covariance


_Laid: TypeAlias = tuple[NDArray[np.complex128], FloatArray]
"""The wind in every member, shape (k, m), and the covariance between heights, (k, k)."""


def _by_gaps(
    near: Sequence[Sequence[Node]],
    heights: FloatArray,
    laid: Callable[[Sequence[Node]], _Laid],
) -> _Laid:
    """Lay the field through clusters of levels, each gap by those that speak of it."""
    feet, tops = [levels[0] for levels in near], [levels[-1] for levels in near]
    across, covariance = laid(feet)
    for i, low in enumerate(tops):
        above = feet[i + 1 :]
        inside = heights > low.height
        if above:
            inside &= heights < above[0].height
        if np.any(inside) and tops[: i + 1] != feet[: i + 1]:
            # What a cluster of levels says of the air above it, its highest does.
            wind, rest = laid([*tops[: i + 1], *above])
            across[inside] = wind[inside]
            covariance = max(covariance, rest, key=np.trace)
        if np.any(inside) and above and len(near) > 2:
            # A slope below or above a gap is not carried through it to another wind.
            wind, rest = laid([low, above[0]])
            if _swings(across[inside], wind[inside], np.diag(rest)[inside]):
                across[inside] = wind[inside]
    strongest = _carried_up(tops, heights, across.mean(axis=1))
    if strongest is not None:
        # What falls with height is not carried on past calm, to blow the other way.
        wind, rest = laid([strongest])
        across[heights > tops[-1].height] = wind[heights > tops[-1].height]
        covariance = covariance if strongest is tops[-1] else rest
    return across, covariance


def _swings(
    wind: NDArray[np.complex128], ends: NDArray[np.complex128], variance: FloatArray
) -> bool:
    """Tell whether a wind between two levels is stilled, turned about or far from what they say.

    Each of shape (k, m), beside that of the two levels alone, whose error has a variance (k,).
    """
    one, usual = wind.mean(axis=1), ends.mean(axis=1)
    stilled = (one * usual.conjugate()).real < 0.5 * np.abs(usual) ** 2
    far = np.abs(one - usual) > 2 * np.sqrt(variance)
    return bool(np.any((stilled & (np.abs(usual) > _STILL)) | far))


def _carried_up(
    read: Sequence[Node], heights: FloatArray, wind: NDArray[np.complex128]
) -> Node | None:
    """Find the level to carry up where the field turns the highest one about or stills it.

    Two readings, one above the other, of which the upper is the weaker, have a trend that
    leads through a calm to the opposite wind. Above them the stronger counts; where the
    upper lies above the ground's layer, itself.
    """
    told = np.array([complex(*node.mean) for node in read])
    above = wind[heights > read[-1].height]
    speeds = np.abs(told)
    low = read[-1].height <= LAW_TOP
    i = int(np.argmax(speeds)) if low else len(read) - 1
    if not above.size or (low and i == len(read) - 1):
        return None
    usual, least = (told[-1], 0.5) if speeds[-1] >= _STILL else (told[i], 0.0)
    along = (above * usual.conjugate()).real
    return read[i] if along.min() < least * abs(usual) ** 2 else None


def _with_law(stack: Stack, roughness: float) -> list[Node]:
    """Let the law carry a reading up to `SURFACE` against a report less sure above it."""
    nodes, first = list(stack.nodes), stack.lawful
    above = next((n for n in nodes if first and n.height > first.height), None)
    if first is None or above is None or above.reading is first.reading:
        return nodes
    growth = profile_law.surface_shape([SURFACE, first.height], roughness)
    if above.error <= first.error * growth[0] / growth[1]:
        return nodes
    heights = (z for z in _LAWFUL if 2 * first.height < z < 0.8 * above.height)
    carried_up = [carried(first, z, roughness) for z in heights]
    return sorted([*nodes, *carried_up], key=lambda node: node.height)


def _as_told(read: Sequence[Node]) -> ToldLevels:
    """Take the mean of each level, and its error apart by what it comes from."""
    lasting = np.array([node.lasting for node in read])
    whole = np.array([node.error for node in read])
    return ToldLevels(
        height=np.array([node.height for node in read]),
        wind=np.array([complex(*node.mean) for node in read]),
        error=np.sqrt(np.maximum(whole**2 - lasting**2, 0.0)),
        lasting=lasting,
        source=[node.reading for node in read],
        read=np.array([not node.level.carried for node in read]),
    )


def _clusters(nodes: Sequence[Node]) -> list[list[Node]]:
    """Gather levels so near each other that they tell nothing new of what lies beyond."""
    near = [[nodes[0]]]
    for node in nodes[1:]:
        if node.height - near[-1][0].height >= max(_NARROW, 0.03 * node.height):
            near.append([])
        near[-1].append(node)
    return near
