"""Levels as reports give them, each with its error: carried, compared, set between others."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from driftmap.air import profile_law, uncertainty
from driftmap.air.wind import (
    LAW_FROM,
    MAST,
    NEAR_GROUND,
    Disagreement,
    Stronger,
    WindLevel,
    components_from,
    direction_and_speed,
)
from driftmap.core.checks import FloatArray
from driftmap.core.units import FOOT, MILE_PER_HOUR
from driftmap.winds.reading import Reading, Setting, age_of, lead_of

NEAR: Final = 20.0
"""A report whose lowest level is up to here speaks of the wind near the ground [m]."""

SURFACE: Final = NEAR_GROUND
"""Height up to which the report that rules near the ground holds against all others [m]."""

_SURE: Final = 2.45
"""Two readings disagree beyond this many standard errors of a component: one pair in
twenty of equal winds would (5 % point of a Rayleigh variable)."""


@dataclass(frozen=True, slots=True, eq=False)
class Node:
    """A level with its components in every member, shape (m, 2), and its error.

    `error` is the whole of it; `lasting` the part by age and distance; `fresh` the whole when it
    was read, or of a forecast whose data nobody dates that of one from the latest [m s⁻¹].
    """

    wind: FloatArray
    error: float
    level: WindLevel
    reading: Reading
    lasting: float = 0.0
    fresh: float = 0.0

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
    """A report with its age [h], its error for no wind [m s⁻¹] and its levels."""

    reading: Reading
    age: float | None
    base: float
    nodes: tuple[Node, ...]

    @property
    def name(self) -> str:
        """Name of the report."""
        return self.reading.source

    @property
    def near_ground(self) -> bool:
        """Whether it speaks of the wind near the ground."""
        return self.reading.kind == "surface" or self.nodes[0].height <= NEAR


def at_head(reading: Reading, setting: Setting) -> Reading:
    """Carry what was read under the height below which the law holds the wind, up to there.

    A meter held at the knee shows less than one at the head.
    """
    roughness = profile_law.ROUGHNESS[reading.terrain or setting.terrain]
    low, level = profile_law.lowest_height(roughness), reading.levels[0]
    rest = reading.levels[1:]
    among = level.height <= 4 * roughness or reading.members is not None
    if among or level.height >= low or (rest and rest[0].height <= low):
        return reading
    factor = math.log(low / roughness) / math.log(level.height / roughness)
    up = replace(
        level,
        height=low,
        speed=level.speed * factor,
        gust=None if level.gust is None else level.gust * factor,
    )
    note = (
        f"{reading.source}: read at {level.height:g} m, carried to {low:g} m by the law"
    )
    return replace(reading, levels=(up, *rest), assumed=(*reading.assumed, note))


def source_of(reading: Reading, setting: Setting) -> Source:
    """Say how well a report is known at the flight, and where each level stands."""
    age, lead = age_of(reading, setting.when), lead_of(reading, setting.when)
    roughness = profile_law.ROUGHNESS[reading.terrain or setting.terrain]
    nodes = list(_nodes(reading, age, lead, roughness))
    if reading.from_ground and nodes[0].height < MAST:
        # The surface wind of a sounding is that of the station's mast, not of the grass.
        foot = replace(nodes[0], level=replace(nodes[0].level, height=MAST))
        nodes = [foot, *(node for node in nodes[1:] if node.height > MAST)]
    if reading.forecast:
        base = uncertainty.forecast_error(lead)
    else:
        last = uncertainty.lasting_error(
            age, reading.away, 0.0, MAST, roughness, forecast=False
        )
        base = math.hypot(uncertainty.FRESH_ERROR, last)
    return Source(reading, age, base, tuple(nodes))


def _nodes(
    reading: Reading, age: float | None, lead: float | None, roughness: float
) -> Iterator[Node]:
    for i, level in enumerate(reading.levels):
        variable = level.direction is None
        east, north = components_from(level.direction or 0.0, level.speed)
        wind = np.zeros((1, 2)) if variable else np.array([[east, north]], dtype=float)
        if reading.members is not None:
            wind = np.array(reading.members[:, :, i])
        error, last = _errors(reading, level, age, lead, roughness)
        fresh, _ = _errors(reading, level, 0.0, lead or 0.0, roughness)
        yield Node(wind, error, level, reading, last, fresh)


def _errors(
    reading: Reading,
    level: WindLevel,
    age: float | None,
    lead: float | None,
    roughness: float,
) -> tuple[float, float]:
    """Return the error of a component of a level, and the part of it by age and distance."""
    foretold, surface = reading.forecast, reading.kind == "surface"
    last = uncertainty.lasting_error(
        age, reading.away, level.speed, level.height, roughness, forecast=foretold
    )
    own = uncertainty.instrument_error(
        level, uncertainty.forecast_error(lead), forecast=foretold, surface=surface
    )
    error = uncertainty.component_error(
        math.hypot(own, last),
        level.speed,
        direction_error=reading.direction_error,
        variable=level.direction is None,
    )
    return error, last


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
    shape = profile_law.surface_shape([height, first.height], roughness)
    factor = float(shape[0] / shape[1])
    level = replace(
        first.level,
        height=height,
        speed=first.level.speed * factor,
        gust=None,
        temperature=None,
        source=f"{LAW_FROM}{first.level.source}",
    )
    still = profile_law.lowest_height(roughness)  # below it the wind is held
    added = uncertainty.law_error(max(first.height, still), max(height, still))
    more = max(factor, 1.0)
    error = math.hypot(first.error * more, added)
    return Node(first.wind * factor, error, level, first.reading, first.lasting * more)


def differs(one: Node, other: Node) -> bool:
    """Return whether two winds at one height disagree beyond their errors.

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


def _shown(node: Node) -> WindLevel:
    """Give a level the direction of its members' mean, and the mean of their speeds."""
    direction = node.level.direction
    if direction is not None:
        direction = float(direction_and_speed(*node.mean)[0])
    return replace(node.level, speed=node.speed, direction=direction, gust=None)


def _told(node: Node) -> str:
    level = _shown(node)
    if level.speed == 0:
        return "calm"
    figure = f"{level.speed:.1f} m/s ({level.speed / MILE_PER_HOUR:.0f} mph)"
    if level.direction is None:
        return f"{figure} variable"
    return f"{figure} from {round(math.degrees(level.direction)) % 360:03d}°"


def interpolated(nodes: Sequence[Node], height: float) -> Node:
    """Interpolate levels to a height between them [m], named for the nearer one."""
    i = int(np.searchsorted([node.height for node in nodes], height))
    if nodes[i].height == height:
        return nodes[i]
    low, high = nodes[i - 1], nodes[i]
    depth = high.height - low.height
    share = (height - low.height) / depth
    wind = (1 - share) * low.wind + share * high.wind
    between = uncertainty.law_error(0.0, share * (1 - share) * depth)
    error, fresh = (
        math.hypot((1 - share) * one + share * other, between)
        for one, other in ((low.error, high.error), (low.fresh, high.fresh))
    )
    nearer = high if share > 0.5 else low
    level = mean_of(nearer.level, wind, height=height)
    return Node(wind, error, level, nearer.reading, fresh=fresh)


def by_field(
    height: float,
    column: NDArray[np.complex128],
    error: float,
    read: Sequence[Node],
    roughness: float,
) -> Node:
    """Make a level of what the field tells, named for the nearest that was read.

    ``column``: the wind in every member, shape (m,) [m s⁻¹], as complex numbers.
    """
    wind = np.stack([column.real, column.imag], axis=1)
    nearest = min(read, key=lambda node: abs(node.height - height))
    by_law = carried(nearest, height, roughness).level
    level = mean_of(by_law, wind)
    if by_law.direction is None:
        # No mean, yet no calm: it grows with height as any wind.
        level = replace(level, direction=None, speed=max(level.speed, by_law.speed))
    return Node(wind, error, level, nearest.reading)


_STRONGER: Final = 1.0
"""How much stronger a report that is passed over must be to be told of [m s⁻¹]; assumed."""

_STILL: Final = 0.1  # m/s; of less there is no multiple


PassedOver: TypeAlias = tuple[Node, Node]
"""The wind flown, and a level passed over."""


def doubt(compared: Iterable[PassedOver]) -> Disagreement | None:
    """Tell of winds that disagree the two farthest apart."""
    pairs = [pair for each in compared for pair in _differing(*each)]
    if not pairs:
        return None
    one, other = max(pairs, key=lambda pair: math.hypot(*(pair[0].mean - pair[1].mean)))
    text = (
        f"winds disagree at {one.height:.0f} m ({one.height / FOOT:.0f} ft): {_told(one)} by "
        f"{one.level.source}, which was flown, {_told(other)} by {other.level.source}"
    )
    return Disagreement(text, _shown(one), _shown(other))


def stronger(compared: Iterable[PassedOver]) -> tuple[Stronger, ...]:
    """Find what each report told stronger than the wind flown, within the errors of both."""
    found = [
        (worst.speed / max(ours.speed, _STILL), ours, worst)
        for ours, node in compared
        if (worst := _strongest(node)).speed > ours.speed + _STRONGER
        if not any(_differing(ours, node))
    ]
    each = {id(row[2].reading): row for row in sorted(found, key=lambda row: row[0])}
    return tuple(
        Stronger(
            worst.level,
            f"{worst.level.source} told {_told(worst)} at {worst.height:.0f} m, where "
            f"{_told(ours)} was flown",
        )
        for _, ours, worst in reversed(each.values())
    )


def _differing(ours: Node, node: Node) -> Iterator[PassedOver]:
    """Yield the wind flown and a level passed over, where they disagree.

    Age, or a lead not told, widens what a report may be off by and would so excuse any: one that
    is stronger is held against the flight with the error it was read with, and an ensemble
    by its strongest member.
    """
    if differs(ours, node) or _opposed(ours, node):
        yield ours, node
    worst = _strongest(node)
    if worst.speed > ours.speed and differs(ours, worst):
        yield ours, worst


_BLOWS, _OPPOSITE = 1.5, 135.0
"""Winds of so much [m s⁻¹] whose directions are farther apart [deg] disagree, whatever their errors:
an arrow was read the wrong way round, or a windsock; assumed. Lighter ones wander."""


def _opposed(ours: Node, node: Node) -> bool:
    one, other = ours.level.direction, node.level.direction
    if one is None or other is None or min(ours.speed, node.speed) < _BLOWS:
        return False
    return math.cos(one - other) < math.cos(math.radians(_OPPOSITE))


def _strongest(node: Node) -> Node:
    """Take a level as strong as it was told to be, with the error it was read with.

    Of an ensemble that is its strongest member.
    """
    if node.wind.shape[0] == 1:
        times = node.reading.up_to
        level = replace(node.level, speed=times * node.level.speed)
        return replace(node, wind=times * node.wind, level=level, error=node.fresh)
    wind = node.wind[[int(np.argmax(np.hypot(*node.wind.T)))]]
    name = f"the strongest member of {node.level.source}"
    level = mean_of(node.level, wind, source=name)
    return replace(node, wind=wind, level=level, error=node.fresh)
