"""Reports side by side and one above the other: how well known, which rules, which differ."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np

from driftmap.air.wind import Stronger, WindLevel, components_from, direction_and_speed
from driftmap.checks import FloatArray
from driftmap.units import FOOT, MILE_PER_HOUR
from driftmap.winds import law, uncertainty
from driftmap.winds.law import MAST
from driftmap.winds.reading import Reading, Setting, age_of, lead_of

__all__ = [
    "NEAR",
    "SURFACE",
    "Node",
    "Source",
    "Stack",
    "carried",
    "differs",
    "disagreement",
    "ground_rank",
    "interpolated",
    "rank",
    "source_of",
    "stacked",
]

NEAR: Final = 20.0
"""A report whose lowest level is up to here speaks of the wind near the ground [m]."""

SURFACE: Final = 60.0
"""Height up to which the report that rules near the ground holds against all others [m];
assumed: over half of the logarithmic layer."""

_SURE: Final = 2.45
"""Two readings disagree beyond this many standard errors of a component: one pair in
twenty of equal winds would (5 % point of a Rayleigh variable)."""


@dataclass(frozen=True, slots=True, eq=False)
class Node:
    """A level with its components in every member, shape (m, 2), and its error.

    `error` is the whole of it; `lasting` the part by age and distance [m s⁻¹].
    """

    height: float
    wind: FloatArray
    error: float
    level: WindLevel
    reading: Reading
    lasting: float = 0.0

    @property
    def mean(self) -> FloatArray:
        """Components of the mean of the members, shape (2,) [m s⁻¹]."""
        return np.asarray(self.wind.mean(axis=0))

    @property
    def speed(self) -> float:
        """Mean speed of the members [m s⁻¹]; that of a variable wind is as read."""
        if self.wind.shape[0] == 1:
            return self.level.speed
        return float(np.hypot(*self.wind.T).mean())

    @property
    def spread(self) -> float:
        """Error of a component with what the members differ [m s⁻¹]."""
        return math.hypot(self.error, float(np.sqrt(self.wind.var(axis=0).mean())))

    @property
    def of_speed(self) -> float:
        """Error of the speed [m s⁻¹]: that of a component, but for the direction's."""
        if self.level.direction is not None:
            return self.spread
        return math.sqrt(max(self.error**2 - self.level.speed**2 / 2, 0.0))


@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """A report with its age [h], its error for no wind [m s⁻¹] and its levels.

    `as_read` are the levels with the errors they had when they were read.
    """

    reading: Reading
    age: float | None
    base: float
    nodes: tuple[Node, ...]
    as_read: tuple[Node, ...]

    @property
    def name(self) -> str:
        """Name of the report."""
        return self.reading.source

    @property
    def near_ground(self) -> bool:
        """Whether it speaks of the wind near the ground."""
        return self.reading.kind == "surface" or self.nodes[0].height <= NEAR


def source_of(reading: Reading, setting: Setting) -> Source:
    """Say how well a report is known at the flight, and where each level stands."""
    age = age_of(reading, setting.when)
    roughness = law.ROUGHNESS[reading.terrain or setting.terrain]
    lasting = uncertainty.Lasting(reading, age, roughness)
    base = _base(reading, lasting, setting)
    new = uncertainty.Lasting(reading, 0.0, roughness)
    as_read = _levels(reading, _base(reading, new, setting), new)
    return Source(reading, age, base, _levels(reading, base, lasting), as_read)


def _base(reading: Reading, lasting: uncertainty.Lasting, setting: Setting) -> float:
    if reading.forecast:
        return uncertainty.forecast_error(lead_of(reading, setting.when))
    return math.hypot(uncertainty.FRESH_ERROR, lasting.of(0.0, MAST))


def _levels(
    reading: Reading, base: float, lasting: uncertainty.Lasting
) -> tuple[Node, ...]:
    nodes = tuple(_nodes(reading, base, lasting))
    if reading.from_ground and nodes[0].height < MAST:
        # The surface wind of a sounding is that of the station's mast, not of the grass.
        rest = [node for node in nodes[1:] if node.height > MAST]
        level = replace(nodes[0].level, height=MAST)
        nodes = (replace(nodes[0], height=MAST, level=level), *rest)
    return nodes


def _nodes(
    reading: Reading, base: float, lasting: uncertainty.Lasting
) -> Iterator[Node]:
    for i, level in enumerate(reading.levels):
        variable = level.direction is None
        east, north = components_from(level.direction or 0.0, level.speed)
        wind = np.zeros((1, 2)) if variable else np.array([[east, north]], dtype=float)
        if reading.members is not None:
            wind = np.array(reading.members[:, :, i])
        last = lasting.of(level.speed, level.height)
        error = uncertainty.component_error(
            math.hypot(uncertainty.instrument_error(reading, level, base), last),
            level.speed,
            direction_error=reading.direction_error,
            variable=variable,
        )
        yield Node(level.height, wind, error, level, reading, last)


def rank(source: Source) -> tuple[object, ...]:
    """Order reports by trust, the same however they were typed.

    What has no time comes last; of two alike the one with the stronger wind comes first.
    """
    return (
        source.age is None,
        source.base,
        source.age,
        -max(node.speed for node in source.nodes),
        source.name,
    )


def ground_rank(source: Source, roughness: float) -> tuple[object, ...]:
    """Order reports that speak of the wind near the ground.

    As `rank`; of two alike a reading near the ground comes before layers, and the stronger
    wind at 10 m before the weaker.
    """
    at_mast = carried(source.nodes[0], MAST, roughness).level.speed
    surface = source.reading.kind == "surface"
    high = source.nodes[0].height > NEAR
    return (*rank(source)[:3], not surface, high, -at_mast, source.name)


def carried(first: Node, height: float, roughness: float) -> Node:
    """Carry a level to another height [m] by the law, and add the law's own error."""
    shape = law.surface_shape([height, first.height], roughness)
    factor = float(shape[0] / shape[1])
    level = replace(
        first.level,
        height=height,
        speed=first.level.speed * factor,
        gust=None,
        temperature=None,
        source=f"law from {first.level.source}",
    )
    still = law.lowest_height(roughness)  # below it the wind is held
    added = uncertainty.law_error(max(first.height, still), max(height, still))
    more = max(factor, 1.0)
    error = math.hypot(first.error * more, added)
    wind, lasting = first.wind * factor, first.lasting * more
    return Node(height, wind, error, level, first.reading, lasting)


def differs(one: Node, other: Node) -> bool:
    """Tell whether two winds at one height disagree beyond their errors.

    Of a variable wind only the speed is compared.
    """
    if one.level.direction is None or other.level.direction is None:
        apart, errors = one.speed - other.speed, (one.of_speed, other.of_speed)
    else:
        apart = float(np.hypot(*(one.mean - other.mean)))
        errors = (one.spread, other.spread)
    return abs(apart) > _SURE * math.hypot(*errors)


def disagreement(one: Node, other: Node) -> str:
    """Say that two winds at one height disagree, with both; the first is the one flown."""
    return (
        f"winds disagree at {one.height:.0f} m ({one.height / FOOT:.0f} ft): {_told(one)} by {one.level.source}, "
        f"which was flown, {_told(other)} by {other.level.source}"
    )


def _told(node: Node) -> str:
    speed = node.speed
    if speed == 0:
        return "calm"
    figure = f"{speed:.1f} m/s ({speed / MILE_PER_HOUR:.0f} mph)"
    if node.level.direction is None:
        return f"{figure} variable"
    bearing = math.degrees(float(direction_and_speed(*node.mean)[0]))
    return f"{figure} from {round(bearing) % 360:03d}°"


def interpolated(nodes: Sequence[Node], height: float) -> Node:
    """Interpolate levels to a height between them [m], named for the nearer one."""
    i = int(np.searchsorted([node.height for node in nodes], height))
    if nodes[i].height == height:
        return nodes[i]
    low, high = nodes[i - 1], nodes[i]
    depth = high.height - low.height
    share = (height - low.height) / depth
    wind = (1 - share) * low.wind + share * high.wind
    direction, speed = direction_and_speed(*wind.mean(axis=0))
    told = (1 - share) * low.error + share * high.error
    error = math.hypot(told, uncertainty.law_error(0.0, share * (1 - share) * depth))
    nearer = high if share > 0.5 else low
    level = replace(
        nearer.level, height=height, direction=float(direction), speed=float(speed)
    )
    return Node(height, wind, error, level, nearer.reading)


_BLENDED: Final = 120.0
"""From `SURFACE` up to here the wind goes over from the report that rules near the ground
to older layers [m]; assumed."""

_STRONGER: Final = 1.0
"""How much stronger a report that is passed over must be to be told of [m s⁻¹]; assumed."""

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
    stronger : Stronger or None
        Where one tells a stronger wind within the errors of both; the worst.
    notes : tuple of str
        What was passed over.
    """

    nodes: tuple[Node, ...]
    lawful: Node | None
    sources: tuple[Source, ...]
    used: tuple[Source, ...]
    doubts: tuple[str, ...]
    stronger: Stronger | None
    notes: tuple[str, ...]


def stacked(
    sources: Sequence[Source], ground: Source | None, roughness: float
) -> Stack:
    """Put reports, the best known first, one above the other.

    `ground` is the one that rules near the ground, `roughness` the length of the ground [m].
    """
    near = [] if ground is None else [n for n in ground.nodes if n.height <= SURFACE]
    if ground is not None and not near:
        near = [ground.nodes[0]]  # a reading on a kite
    below = {
        source.name: list(_compared_below(source, near, roughness))
        for source in sources
        if source is not ground and near
    }
    doubts = {name: said for name, pairs in below.items() if (said := _doubt(pairs))}
    passed_over = [each for pairs in below.values() for each in pairs]
    nodes = list(near)
    used, notes = [ground] if ground else [], []
    for source in sources:
        kept = _kept(source, ground, nodes, doubted=source.name in doubts)
        if source is not ground and near:
            kept = [_blended(n, near[-1], roughness, source, ground) for n in kept]
        passed = len(source.nodes) - len(kept)
        if source is ground:
            passed -= len(near)
        above = list(_compared_above(source, nodes, kept))
        passed_over += above
        if said := _doubt(above):
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
        _stronger(passed_over),
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
    lasting = share * law.lasting + (1 - share) * node.lasting
    direction, speed = direction_and_speed(*wind.mean(axis=0))
    name = f"{node.level.source}, blended with {first.level.source}"
    level = replace(
        node.level, direction=float(direction), speed=float(speed), source=name
    )
    return Node(node.height, wind, error, level, node.reading, lasting)


_Compared: TypeAlias = tuple[Node, Node, Node]
"""The wind flown, a level passed over, and that level with the error it was read with."""


def _compared_below(
    source: Source, near: Sequence[Node], roughness: float
) -> Iterator[_Compared]:
    """Set the levels of a report beside the one that rules near the ground."""
    for node, as_read in zip(source.nodes, source.as_read, strict=True):
        if node.height > _BLENDED:
            break
        if near[0].height <= node.height <= near[-1].height:
            ours = interpolated(near, node.height)
        else:
            end = near[0] if node.height < near[0].height else near[-1]
            ours = carried(end, node.height, roughness)
            level = replace(ours.level, source=end.level.source)
            ours = replace(ours, level=level)
        yield ours, node, as_read


def _compared_above(
    source: Source, nodes: Sequence[Node], kept: Sequence[Node]
) -> Iterator[_Compared]:
    """Set the levels of a report that are passed over beside those flown."""
    flown = [node for node in nodes if node.height >= SURFACE]
    for node, as_read in zip(source.nodes, source.as_read, strict=True):
        if (
            node in kept
            or len(flown) < 2
            or not (flown[0].height <= node.height <= flown[-1].height)
        ):
            continue
        yield interpolated(flown, node.height), node, as_read


def _doubt(compared: Iterable[_Compared]) -> str | None:
    """Tell of winds that disagree the two farthest apart."""
    pairs = [pair for each in compared for pair in _differing(*each)]
    return disagreement(*max(pairs, key=_apart)) if pairs else None


def _stronger(compared: Iterable[_Compared]) -> Stronger | None:
    """Find what was measured stronger than the wind flown, within the errors of both."""
    found = [
        (worst.speed / ours.speed, ours, worst)
        for ours, node, as_read in compared
        if not node.reading.forecast and ours.speed > 0
        if (worst := _strongest(as_read)).speed > ours.speed + _STRONGER
        if not any(_differing(ours, node, as_read))
    ]
    if not found:
        return None
    share, ours, worst = max(found, key=lambda row: row[0])
    told = (
        f"{worst.level.source} told {_told(worst)} at {worst.height:.0f} m, where "
        f"{_told(ours)} was flown"
    )
    return Stronger(worst.height, share, told)


def _differing(ours: Node, node: Node, as_read: Node) -> Iterator[tuple[Node, Node]]:
    """Give the wind flown and a level passed over, where they disagree.

    Age widens what a report may be off by and would so excuse any wind: one that was
    stronger is held against the flight with the error it was read with, and an ensemble
    by its strongest member.
    """
    if differs(ours, node):
        yield ours, node
    worst = _strongest(as_read)
    if worst.speed > ours.speed and differs(ours, worst):
        yield ours, worst


def _strongest(node: Node) -> Node:
    """Take of an ensemble the member of the strongest wind."""
    if node.wind.shape[0] == 1:
        return node
    wind = node.wind[[int(np.argmax(np.hypot(*node.wind.T)))]]
    direction, speed = direction_and_speed(*wind[0])
    name = f"the strongest member of {node.level.source}"
    level = replace(
        node.level, direction=float(direction), speed=float(speed), source=name
    )
    return replace(node, wind=wind, level=level)


def _apart(pair: tuple[Node, Node]) -> float:
    return float(np.hypot(*(pair[0].mean - pair[1].mean)))
