"""Levels as reports tell them, each with its error: carried, compared, set between others."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, TypeAlias

import numpy as np

from driftmap.air.wind import (
    MAST,
    Stronger,
    WindLevel,
    components_from,
    direction_and_speed,
)
from driftmap.core.checks import FloatArray
from driftmap.core.units import FOOT, MILE_PER_HOUR
from driftmap.winds import law, uncertainty
from driftmap.winds.reading import Reading, Setting, age_of, lead_of

__all__ = [
    "NEAR",
    "SURFACE",
    "Compared",
    "Node",
    "Source",
    "carried",
    "differs",
    "doubt",
    "ground_rank",
    "interpolated",
    "mean_of",
    "rank",
    "source_of",
    "stronger",
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

    wind: FloatArray
    error: float
    level: WindLevel
    reading: Reading
    lasting: float = 0.0

    @property
    def height(self) -> float:
        """Height above the site [m]."""
        return self.level.height

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

    `as_read` are the levels with the errors they had when they were read; of a forecast
    whose data nobody dates those of one from the latest.
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
    new = uncertainty.Lasting(reading, 0.0, roughness)
    lead = lead_of(reading, setting.when)
    base = _base(lasting, lead)
    as_read = _levels(reading, _base(new, lead or 0.0), new)
    return Source(reading, age, base, _levels(reading, base, lasting), as_read)


def _base(lasting: uncertainty.Lasting, lead: float | None) -> float:
    if lasting.reading.forecast:
        return uncertainty.forecast_error(lead)
    return math.hypot(uncertainty.FRESH_ERROR, lasting.of(0.0, MAST))


def _levels(
    reading: Reading, base: float, lasting: uncertainty.Lasting
) -> tuple[Node, ...]:
    nodes = tuple(_nodes(reading, base, lasting))
    if reading.from_ground and nodes[0].height < MAST:
        # The surface wind of a sounding is that of the station's mast, not of the grass.
        rest = [node for node in nodes[1:] if node.height > MAST]
        level = replace(nodes[0].level, height=MAST)
        nodes = (replace(nodes[0], level=level), *rest)
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
        yield Node(wind, error, level, reading, last)


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
    return Node(first.wind * factor, error, level, first.reading, first.lasting * more)


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


def mean_of(level: WindLevel, wind: FloatArray, **changed: Any) -> WindLevel:
    """Give a level the mean of its members, shape (m, 2), and what else it is changed in."""
    direction, speed = (float(v) for v in direction_and_speed(*wind.mean(axis=0)))
    return replace(level, direction=direction, speed=speed, **changed)


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
    told = (1 - share) * low.error + share * high.error
    error = math.hypot(told, uncertainty.law_error(0.0, share * (1 - share) * depth))
    nearer = high if share > 0.5 else low
    level = mean_of(nearer.level, wind, height=height)
    return Node(wind, error, level, nearer.reading)


_STRONGER: Final = 1.0
"""How much stronger a report that is passed over must be to be told of [m s⁻¹]; assumed."""


_STILL: Final = 0.1  # m/s; of less there is no multiple


Compared: TypeAlias = tuple[Node, Node, Node]
"""The wind flown, a level passed over, and that level with the error it was read with."""


def doubt(compared: Iterable[Compared]) -> str | None:
    """Tell of winds that disagree the two farthest apart."""
    pairs = [pair for each in compared for pair in _differing(*each)]
    if not pairs:
        return None
    one, other = max(pairs, key=lambda pair: math.hypot(*(pair[0].mean - pair[1].mean)))
    return (
        f"winds disagree at {one.height:.0f} m ({one.height / FOOT:.0f} ft): {_told(one)} by "
        f"{one.level.source}, which was flown, {_told(other)} by {other.level.source}"
    )


def stronger(compared: Iterable[Compared]) -> Stronger | None:
    """Find what was told stronger than the wind flown, within the errors of both."""
    found = [
        (ours, worst)
        for ours, node, as_read in compared
        if (worst := _strongest(as_read)).speed > ours.speed + _STRONGER
        if not any(_differing(ours, node, as_read))
    ]
    if not found:
        return None
    ours, worst = max(found, key=lambda row: row[1].speed / max(row[0].speed, _STILL))
    told = (
        f"{worst.level.source} told {_told(worst)} at {worst.height:.0f} m, where "
        f"{_told(ours)} was flown"
    )
    return Stronger(worst.level, told)


def _differing(ours: Node, node: Node, as_read: Node) -> Iterator[tuple[Node, Node]]:
    """Give the wind flown and a level passed over, where they disagree.

    Age, or a lead not told, widens what a report may be off by and would so excuse any: one that
    is stronger is held against the flight with the error it was read with, and an ensemble
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
    name = f"the strongest member of {node.level.source}"
    return replace(node, wind=wind, level=mean_of(node.level, wind, source=name))
