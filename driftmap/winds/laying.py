"""The field of how wind usually changes with height, laid through the levels of reports."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from driftmap.air import profile_law
from driftmap.air.profile_law import Field, ReadLevels, conditioned_on
from driftmap.air.wind import LAW_TOP, MAST
from driftmap.core.checks import FloatArray
from driftmap.winds.levels import SURFACE, Node, by_field, carried
from driftmap.winds.stacking import Stack

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

_Laid: TypeAlias = tuple[NDArray[np.complex128], FloatArray]
"""The wind in every member, shape (k, m), and the covariance between heights, (k, k)."""


def laid_through(
    stack: Stack, field: Field, roughness: float
) -> tuple[list[Node], FloatArray]:
    """Let the field pass through the levels: the wind and its covariance by height."""
    heights = _heights(stack)
    near = _clusters(_with_law(stack, roughness))
    count = max(node.wind.shape[0] for levels in near for node in levels)
    lowest = max(held_below(stack), profile_law.lowest_height(roughness))

    def laid(read: Sequence[Node]) -> _Laid:
        told = conditioned_on(
            field, _as_told(read), np.maximum(heights, lowest), roughness
        )
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
    """Return whether the field has its say between two levels."""
    if low.reading is high.reading and low.reading.from_ground:
        return False  # levels of a sounding are picked so that straight lines will do
    apart = high.height - low.height
    return apart > _THICK or (low.height < SURFACE and apart > 2 * low.height)


def held_below(stack: Stack) -> float:
    """Return the height below which the lowest wind is held as it is [m]."""
    lowest = stack.nodes[0]
    # A sounding from a station above the site starts with a wind near its own ground:
    # to scale that down once more would make the wind at the site too weak.
    layers = lowest.reading.kind == "aloft"
    held = layers and (lowest.height <= MAST or lowest.reading.from_ground)
    return lowest.height if held else 0.0


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
    """Return whether a wind between two levels is stilled, turned about or far from what they say.

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


def _as_told(read: Sequence[Node]) -> ReadLevels:
    """Take the mean of each level, and its error apart by what it comes from."""
    lasting = np.array([node.lasting for node in read])
    whole = np.array([node.error for node in read])
    return ReadLevels(
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
