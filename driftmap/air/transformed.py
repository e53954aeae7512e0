"""A wind changed: stronger, turned, or raised to what a report tells beyond it."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from driftmap.air.wind import (
    MAST,
    Stronger,
    WindLevel,
    WindProfile,
    components_from,
    reported_at,
)
from driftmap.core.checks import FloatArray
from driftmap.core.points import turn


def scaled(wind: WindProfile, factor: float = 1.0, angle: float = 0.0) -> WindProfile:
    """Give a wind so many times as strong, and turned.

    Parameters
    ----------
    wind : WindProfile
        The wind over the site.
    factor : float
        Times its speed.
    angle : float
        Turn, clockwise [rad].

    Returns
    -------
    WindProfile
        With its gusts, its levels as told, and its error: that grows with the wind and
        does not shrink with it, but for what is the speed of a wind from all sides.

    Examples
    --------
    >>> wind = scaled(WindProfile([0, 100], [2, 4], [0, 0], [1, 1], gust=2.0), 0.5)
    >>> wind.east.tolist(), wind.error.tolist(), wind.gust
    ([1.0, 2.0], [1.0, 1.0], 1.0)
    """
    columns = np.stack([wind.east, wind.north])[None]
    if wind.members is not None:
        columns = np.concatenate([columns, wind.members])
    (east, north), *members = np.stack(
        turn(factor * columns[:, 0], factor * columns[:, 1], angle), axis=1
    )
    scatter = reported_at(wind, wind.height)[1] ** 2 - wind.east**2 - wind.north**2
    left = wind.error**2 + min(factor**2 - 1, 0.0) * np.maximum(scatter, 0) / 2
    error = np.maximum(np.sqrt(np.maximum(left, 0)), factor * wind.error)

    turned = replace(
        wind,
        east=east,
        north=north,
        members=np.array(members) if members else None,
        gust=wind.gust * factor,
        strongest=None if wind.strongest is None else wind.strongest * factor,
        levels=tuple(_scaled(level, factor, angle) for level in wind.levels),
        # What else was told does not grow milder with the wind that is flown.
        stronger=tuple(
            replace(one, level=_scaled(one.level, max(factor, 1.0), angle))
            for one in wind.stronger
        ),
        with_aside=wind.with_aside and scaled(wind.with_aside, max(factor, 1.0), angle),
        with_most=wind.with_most and scaled(wind.with_most, factor, angle),
    )
    return with_error(turned, error)


def _scaled(level: WindLevel, factor: float, angle: float) -> WindLevel:
    way = None if level.direction is None else (level.direction + angle) % (2 * np.pi)
    gust = None if level.gust is None else level.gust * factor
    return replace(level, direction=way, speed=level.speed * factor, gust=gust)


def with_error(wind: WindProfile, error: FloatArray) -> WindProfile:
    """Give a wind another error, its patterns over height with it.

    Parameters
    ----------
    wind : WindProfile
        The wind.
    error : ndarray, shape (k,)
        Standard error of each component at its heights [m s⁻¹].

    Returns
    -------
    WindProfile
        The same wind, known so well.
    """
    grown = np.divide(error, wind.error, out=np.ones_like(error), where=wind.error > 0)
    modes = None if wind.modes is None else wind.modes * grown[:, None]
    return replace(wind, error=error, modes=modes)


_DEPTHS: Final = (300.0, 1000.0, np.inf)
"""Depths over which winds are compared by what they carry [m]; assumed."""


def farthest_members(wind: WindProfile) -> tuple[WindProfile, ...]:
    """Return the members of an ensemble that carry farthest, each as a wind of its own.

    Parameters
    ----------
    wind : WindProfile
        The wind over the site.

    Returns
    -------
    tuple of WindProfile
        In each of eight directions that with the most drift over the lowest 300 m, 1,000 m and
        all that was read; none where there are no members.

    Examples
    --------
    >>> members = [[[1.0, 1], [0, 0]], [[1, 4], [0, 0]], [[1, 2], [0, 0]]]
    >>> wind = WindProfile([0, 100], [1, 2], [0, 0], [1, 1], members=members)
    >>> [one.east.tolist() for one in farthest_members(wind)]
    [[1.0, 1.0], [1.0, 4.0]]
    """
    if wind.members is None:
        return ()
    ways = np.exp(1j * np.pi / 4 * np.arange(8))
    far: set[int] = set()
    for depth in _DEPTHS:
        # The lowest heights count for themselves where all others lie above.
        inside = wind.height <= max(min(depth, wind.known_to), wind.height[:2][-1])
        across = wind.members[:, 0, inside] + 1j * wind.members[:, 1, inside]
        drift = (across[:, 1:] + across[:, :-1]) @ np.diff(wind.height[inside])
        far |= set(np.argmax((drift[:, None] * ways.conj()).real, axis=0).tolist())
    return tuple(
        replace(
            wind,
            east=wind.members[i, 0],
            north=wind.members[i, 1],
            members=None,
            stronger=(),
            with_most=None,
            with_aside=None,
        )
        for i in sorted(far)
    )


def strengthened(wind: WindProfile, passed_over: Stronger) -> WindProfile:
    """Give a wind as a report tells it that was passed over for a fresher one.

    Parameters
    ----------
    wind : WindProfile
        The wind flown.
    passed_over : Stronger
        One of those that were told stronger.

    Returns
    -------
    WindProfile
        The wind told at its height. What it tells beyond the wind flown is laid over that
        by the power law of 1/7 (from memory), and is gone at the next height above that was
        read; of a wind from all sides it is no vector but an error.
    """
    level = passed_over.level
    low = max(level.height, 1.0)  # a wind at the very ground tells of none
    above = min((z for z in wind.read if z > level.height), default=np.inf)
    left = np.interp(wind.height, [level.height, above], [1.0, 0.0])
    left = left * (np.maximum(wind.height, 0.0) / low) ** (1 / 7)
    # What the strongest report tells of the mast counts that report already.
    strongest = level.speed * (MAST / low) ** (1 / 7)
    told = replace(
        wind,
        levels=(),  # what was read is not what is flown
        strongest=max(wind.strongest or 0.0, strongest),
        stronger=(),
    )
    if level.direction is None:
        flown = float(reported_at(wind, level.height)[1])
        scatter = max(level.speed**2 - flown**2, 0.0) / 2
        return with_error(told, np.sqrt(wind.error**2 + left**2 * scatter))
    beyond = np.subtract(
        components_from(level.direction, level.speed), wind.at(level.height)
    )
    east, north = np.multiply.outer(beyond, left)
    members = None if wind.members is None else wind.members + np.stack([east, north])
    return replace(
        told, east=wind.east + east, north=wind.north + north, members=members
    )
