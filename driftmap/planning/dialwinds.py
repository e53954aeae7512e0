"""The winds of a dial: what a hand-held meter reads, step by step, and carried aloft."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np

from driftmap.air.wind import MAST, WindLevel, WindProfile, direction_and_speed
from driftmap.planning.supposed import Supposition, hour_told, suppose, taken_as_read
from driftmap.planning.windlimits import HIGHEST, wind_allowed
from driftmap.verdict.assessment import Setup
from driftmap.winds.spoken import HEAD_HEIGHT

__all__ = [
    "METER_HEIGHT",
    "Reach",
    "Wind",
    "known_wind",
    "limit_at_meter",
    "metered_wind",
]

_MOST: Final = 40.0  # m/s; no one flies, and the law of the surface layer is no guide

Wind: TypeAlias = tuple[float, float]
"""Speed at the meter [m s⁻¹] and direction it comes from [deg]."""


@dataclass(frozen=True, slots=True)
class Reach:
    """The winds that a dial is worked out for: calm, and every step up to the top.

    Parameters
    ----------
    top : float
        Strongest wind at the meter [m s⁻¹].
    speeds : int
        Steps from calm to the top.
    directions : int
        Directions, evenly about the compass from north.
    gust : float
        Strongest gusts for each of the speed; 1 for a steady wind.

    Raises
    ------
    ValueError
        If there is nothing to step through.
    """

    top: float
    speeds: int = 10
    directions: int = 36
    gust: float = 1.0

    def __post_init__(self) -> None:
        if not 0.5 <= self.top <= _MOST:
            raise ValueError(f"'top' must lie in 0.5 to {_MOST:g} m/s (got {self.top})")
        if not 1.0 <= self.gust <= 5.0:
            raise ValueError(f"'gust' must lie in 1 to 5 times (got {self.gust:g})")
        if self.speeds < 1 or self.directions < 4:
            raise ValueError("a dial needs one speed and four directions or more")

    @property
    def step(self) -> float:
        """From one speed to the next [m s⁻¹]."""
        return self.top / self.speeds

    @property
    def turn(self) -> float:
        """From one direction to the next [deg]."""
        return 360.0 / self.directions

    def winds(self) -> list[Wind]:
        """Give the winds in their order: calm, then speed by speed all directions.

        Result: speed [m s⁻¹] and direction [deg].
        """
        around = [j * self.turn for j in range(self.directions)]
        speeds = [i * self.step for i in range(1, self.speeds + 1)]
        return [(0.0, 0.0), *itertools.product(speeds, around)]

    def cells(self) -> list[tuple[int, int]]:
        """List the cells between four winds, speed by speed.

        Result: number of the speed below and of the direction to the left.
        """
        return list(itertools.product(range(self.speeds), range(self.directions)))

    def place(self, i: int, j: int) -> int:
        """Find a wind of the dial in `winds`.

        ``i`` and ``j``: number of the speed, 0 for a calm, and of the direction.
        """
        return 0 if i == 0 else 1 + (i - 1) * self.directions + j % self.directions

    def wind(self, i: float, j: float) -> Wind:
        """Give the wind at a place of the dial; halves lie between its winds.

        ``i`` and ``j``: number of the speed, 0 for a calm, and of the direction.

        Result: speed [m s⁻¹] and direction [deg].
        """
        return i * self.step, (j * self.turn) % 360


METER_HEIGHT: Final = HEAD_HEIGHT
"""Height at which a dial's wind is read [m]: a hand-held meter."""

_SUPPOSED: Final = (
    "the dial supposes the wind aloft and counts it as known: on the day, winds aloft are "
    "still to be found and held against it"
)


def metered_wind(
    supposition: Supposition, from_deg: float, speed: float, *, gust: float = 1.0
) -> WindProfile:
    """Give the wind that a reading at head height stands for.

    Parameters
    ----------
    supposition : Supposition
        How the wind grows and turns with height.
    from_deg : float
        Direction the wind comes from at `METER_HEIGHT`, clockwise from true north [deg].
    speed : float
        Speed at `METER_HEIGHT` [m s⁻¹].
    gust : float
        Gusts there for each of that speed, 1 or more.

    Returns
    -------
    WindProfile
        The wind. By the law it is the one that the same reading in words gives, error and
        all, but counted as known to its top.

    Examples
    --------
    >>> wind = metered_wind(Supposition(0.0), 270.0, 5.0)
    >>> float(wind.at(2.0)[0]), float(wind.at(10.0)[0])
    (5.0, 6.916132)
    """
    told = f"{speed:.2f} m/s from {from_deg % 360:03.0f}° on the meter"
    if supposition.shape is None:
        words = _words(from_deg, speed, gust)
        wind = supposition.spoken(words)
        notes = tuple(
            n.replace(words, "the meter")
            for n in wind.assumed
            if "no source speaks" not in n
        )
        told_of = tuple(hour_told(supposition))
    else:
        share, turn = _at_meter(supposition.shape)
        wind = suppose(supposition, math.degrees(turn) + from_deg, speed / share)
        wind = replace(wind, levels=_read_at_meter(from_deg, speed, gust))
        told_of = ()
        notes = wind.assumed[:-1]  # the last one speaks of known winds, as ours does
    return taken_as_read(wind, told, (*notes, *told_of, _SUPPOSED))


def _words(from_deg: float, speed: float, gust: float) -> str:
    told = f"{speed:.6f} m/s from {from_deg % 360:.4f}"
    return f"{told} gusting to {speed * gust:.6f} m/s" if gust > 1 else told


def _read_at_meter(from_deg: float, speed: float, gust: float) -> tuple[WindLevel, ...]:
    if gust <= 1:
        return ()
    way = math.radians(from_deg)
    return (WindLevel(METER_HEIGHT, way, speed, speed * gust, "the meter"),)


def known_wind(
    supposition: Supposition, from_deg: float, speed: float, *, gust: float = 1.0
) -> WindProfile:
    """Give the wind as a reading at head height alone tells it.

    Parameters
    ----------
    supposition : Supposition
        Where the meter is read.
    from_deg, speed, gust : float
        As for `metered_wind`.

    Returns
    -------
    WindProfile
        The wind in words: known only as high as a reading tells.
    """
    return supposition.spoken(_words(from_deg, speed, gust))


def _at_meter(shape: WindProfile) -> tuple[float, float]:
    """Give the meter's share of the speed at 10 m, and how far the wind turns up to it."""
    low, speed = direction_and_speed(*shape.at(METER_HEIGHT))
    high, above = direction_and_speed(*shape.at(MAST))
    if not speed > 0:
        raise ValueError(
            f"{shape.source or 'wind'}: calm at {METER_HEIGHT:g} m; a shape to scale "
            "needs a wind where the meter is read"
        )
    return float(speed / above), float(np.asarray(high - low))


def limit_at_meter(setup: Setup, supposition: Supposition) -> float:
    """Find what the meter reads where the wind at 10 m is at the limit on it.

    Parameters
    ----------
    setup : Setup
        Whose limit counts.
    supposition : Supposition
        How the wind grows with height.

    Returns
    -------
    float
        Speed at the meter [m s⁻¹]; that limit itself where the wind does not grow.
    """
    limit = min(wind_allowed(setup), HIGHEST)
    grown = float(np.hypot(*metered_wind(supposition, 0.0, limit).at(MAST)))
    return limit * min(limit / grown, 1.0)
