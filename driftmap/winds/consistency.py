"""What makes a verdict hold in merged winds: places, leaps, gusts that others do not report."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from driftmap.air import profile_law
from driftmap.air.wind import LAW_TOP
from driftmap.winds.levels import SURFACE, Node, Source
from driftmap.winds.reading import MORE, ONE_TIME, OTHER_FIELD, PAST
from driftmap.winds.sky import POOR
from driftmap.winds.stacking import Stack

_FAR_OFF: Final = 200_000.0
"""A report from farther off than this holds [m]; assumed."""

SAME_SKY: Final = 50_000.0
"""A report from farther off than this, or from nobody knows where, answers no question of
cloud and visibility with good news, and stills no air by its cloud [m]; assumed."""

_LEAP, _SHEAR = 5.0, 0.1
"""Winds at two heights that differ by more than so much [m s⁻¹] and so much for each metre
between them [s⁻¹] hold: 7 of 1,214 soundings of severe days do; assumed."""

_FREE, _ALOFT, _GROWS = 300.0, 24.0, 0.75
"""From that height on, and over that depth [m], by more than so much over a kilometre [m s⁻¹], and so
much less over less: of 1,078 soundings with light winds at the ground one in a hundred does at any
of nine levels, one in fifty of severe days; with the upper of two winds turned round most do."""

_ABOUT: Final = ((100.0, 3.0, 1000.0), (135.0, 1.5, 500.0))
"""Winds that turn by more than so much [deg], both stronger than so much [m s⁻¹], between levels no
farther apart than so much [m]: one in a hundred of these soundings each, and seven of eight with the
upper wind turned round; a windsock, or an arrow, was read the wrong way."""

_OUT, _OF_OTHERS = 5.0, 0.5
"""A wind that departs by more than so much [m s⁻¹], and so much of what the two about it differ by,
from what these give between them holds: a row that was turned round, or lost a digit. Of 106
soundings of severe days none does at seven levels, one at five."""

_LIGHT: Final = 3.0
"""A wind aloft up to this may have no direction [m s⁻¹]: bulletins tell none of less than 5 kt
(2.6 m/s)."""

_HALF, _SLIGHT = 0.5, 0.5
"""A highest reading of up to so much of the strongest below it holds, where that share of
it is more than so much [m s⁻¹]; assumed."""

_GUSTY: Final = 3.0
"""Gusts aloft that stand more than so much above the mean there hold [m s⁻¹]; assumed."""


def doubted(
    stack: Stack, ground: Source | None, now: Sequence[Source]
) -> tuple[str, ...]:
    """Say what a verdict must hold for.

    ``ground``: what rules near the ground, None where that is still to be read; ``now``: the
    reports of its time.
    """
    told = (
        *_not_read_here(ground),
        *_warned(stack),
        *_gusts_aloft(now),
        *_gusts_before(stack.sources, now),
    )
    return tuple(dict.fromkeys(told))


_WHERE: Final = "how far its station stands is not known; tell it with --station-away"


def _not_read_here(ground: Source | None) -> Iterator[str]:
    """Doubt a wind near the ground that nobody read at the field, which takes a minute."""
    if ground is None:
        return
    away = ground.reading.away
    old = ground.age is not None and ground.age > ONE_TIME
    if ground.reading.forecast:
        yield f"{ground.name}: a forecast; nobody read the wind near the ground"
    elif old and ground.reading.ends is None:  # of which the next was due
        yield f"{ground.name}: read {ground.age:.1f} h before; read the wind again"
    elif away is None:
        yield f"{ground.name}: {_WHERE}, or read the wind at the field"
    elif OTHER_FIELD < away <= _FAR_OFF:  # beyond it any report holds
        yield (
            f"{ground.name}: read {away / 1000:.0f} km from the site; read the wind at the "
            "field"
        )


def _warned(stack: Stack) -> Iterator[str]:
    """Say what a verdict must hold for."""
    yield from (doubt.told for doubt in stack.doubts)
    yield from (told for s in stack.sources for told in s.reading.warned)
    for reading in (s.reading for s in stack.sources):
        # A fall through it is not seen from afar, whatever rules say.
        if reading.visibility is not None and reading.visibility < POOR:
            yield f"{reading.source}: visibility of {reading.visibility / 1000:.1f} km"
    for source in stack.sources:
        reading = source.reading
        if reading.away is None and reading.kind == "aloft" and source in stack.used:
            yield f"{reading.source}: {_WHERE}"
        elif reading.away is not None and reading.away > _FAR_OFF:
            # From so far it tells nothing; even where it is not flown, somebody made a slip.
            yield f"{reading.source} was measured {reading.away / 1000:.0f} km from the site"
    yield from _undirected(stack.nodes)
    yield from _leaps(stack.nodes)
    yield from _out_of_line(stack.nodes)
    yield from _falls(stack.nodes)


def _leaps(nodes: Sequence[Node]) -> Iterator[str]:
    """Doubt winds that differ, or turn, more over a depth of air than they are seen to do."""
    for low, high in itertools.pairwise(sorted(nodes, key=lambda node: node.height)):
        depth = high.height - low.height
        between = (
            f"between {low.height:.0f} m and {high.height:.0f} m: {low.level.source}, "
            f"{high.level.source}; read it again"
        )
        apart = float(np.hypot(*(high.mean - low.mean)))
        most = _LEAP + _SHEAR * depth
        if min(low.height, depth) >= _FREE:
            most = min(most, _ALOFT * (depth / 1000) ** _GROWS)
        turn, speed = _turn(low, high), min(low.speed, high.speed)
        if apart > most:
            yield f"the wind leaps by {apart:.0f} m/s {between}"
        elif any(turn > a and speed > v and depth <= z for a, v, z in _ABOUT):
            yield f"the wind turns by {turn:.0f}° {between}"


def _turn(low: Node, high: Node) -> float:
    """Return how far the wind turns between two levels [deg]; none where one has no direction."""
    if low.level.direction is None or high.level.direction is None:
        return 0.0
    turn = np.degrees(high.level.direction - low.level.direction)
    return float(abs((turn + 180) % 360 - 180))


def _out_of_line(nodes: Sequence[Node]) -> Iterator[str]:
    """Doubt a wind that lies beside what the winds below and above it agree on."""
    told = [node for node in nodes if node.level.direction is not None]
    told.sort(key=lambda node: node.height)
    for low, node, high in zip(told, told[1:], told[2:], strict=False):
        depth = high.height - low.height
        share = (node.height - low.height) / depth if depth > 0 else 0.5
        between = low.mean + share * (high.mean - low.mean)
        off = float(np.hypot(*(node.mean - between)))
        if off > _OUT + _OF_OTHERS * float(np.hypot(*(high.mean - low.mean))):
            yield (
                f"the wind at {node.height:.0f} m lies {off:.0f} m/s beside what those at "
                f"{low.height:.0f} m and {high.height:.0f} m agree on: {node.level.source}; "
                "read it again"
            )


def _undirected(nodes: Sequence[Node]) -> Iterator[str]:
    """Doubt a wind aloft that blows and is told without where from: it may turn about there."""
    for node in nodes:
        if (
            node.height > SURFACE
            and node.level.direction is None
            and node.speed > _LIGHT
        ):
            yield (
                f"{node.level.source} tells {node.speed:.1f} m/s at {node.height:.0f} m and "
                "not where from"
            )


def _falls(nodes: Sequence[Node]) -> Iterator[str]:
    """Doubt what is supposed above a wind that was read to fall with height."""
    high = max(nodes, key=lambda node: node.height)
    strong = max(nodes, key=lambda node: node.speed)
    if high.height <= LAW_TOP and high.speed <= _HALF * strong.speed > _SLIGHT:
        yield (
            f"the wind falls from {strong.speed:.1f} m/s at {strong.height:.0f} m to "
            f"{high.speed:.1f} m/s at {high.height:.0f} m: {strong.level.source}, "
            f"{high.level.source}; which is it? What blows above, nobody read"
        )


def _gusts_aloft(sources: Sequence[Source]) -> Iterator[str]:
    """Tell of gusts read above the air whose gusts are flown."""
    for level in (node.level for source in sources for node in source.nodes):
        if level.height > profile_law.LOG_TOP and level.peak > level.speed + _GUSTY:
            yield (
                f"{level.source} tells of gusts of {level.peak:.1f} m/s at "
                f"{level.height:.0f} m in a wind of {level.speed:.1f} m/s: they may come down"
            )


def _gusts_before(sources: Sequence[Source], now: Sequence[Source]) -> Iterator[str]:
    """Tell of gusts of the hours before, though a fresher wind tells of none so strong."""
    low = [
        n.level.peak for s in now for n in s.nodes if n.height <= profile_law.LOG_TOP
    ]
    least = max(low, default=0.0) + MORE
    for source in sources:
        old = source not in now and not source.reading.forecast
        for level in (node.level for node in source.nodes if old):
            near = level.height <= profile_law.LOG_TOP and (source.age or 0.0) <= PAST
            if near and level.gust is not None and level.gust > least:
                yield (
                    f"{level.source} tells of gusts of {level.gust:.1f} m/s "
                    f"{source.age:.1f} h before: are they over?"
                )
