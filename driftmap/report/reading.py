"""The wind as it was read, and what it is at the height of a mast."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from driftmap.air.wind import WindLevel, WindProfile, direction_and_speed
from driftmap.report.words import Units, bearing, distance
from driftmap.units import show
from driftmap.winds.worth import Worth

__all__ = [
    "CALM",
    "MAST",
    "Read",
    "age_told",
    "more_wind_told",
    "wind_as_read",
    "wind_told",
]

MAST: Final = 10.0
"""Height at which reports and limits speak of the surface wind [m]."""

CALM: Final = 0.05
"""Speed up to which there is no wind to speak of [m s⁻¹]."""

_NEAR_GROUND: Final = 60.0  # m; what was read higher is no reading at the pad
_HEAD: Final = (1.0, 2.6)  # m; where a person holds a meter
_LAW: Final = "law from "


_NO_HELP: Final = 0.95
_READINGS: Final = MappingProxyType(
    {
        "balloon": "a pilot balloon let go now",
        "bulletin": "a bulletin of winds aloft",
        "ground": "the wind at head height, read now",
    }
)


@dataclass(frozen=True, slots=True)
class Read:
    """A wind at one height.

    Parameters
    ----------
    height : float
        Height above the ground [m].
    direction : float or None
        Where it comes from, clockwise from true north [rad]; None if it is variable.
    speed : float
        Mean speed [m s⁻¹].
    gust : float or None
        Peak speed, where one was read [m s⁻¹].
    read : bool
        Whether a person or a report read it there.
    """

    height: float
    direction: float | None
    speed: float
    gust: float | None
    read: bool

    @property
    def at_head(self) -> bool:
        """Whether a hand-held meter reads it."""
        return _HEAD[0] <= self.height <= _HEAD[1]


def wind_as_read(wind: WindProfile) -> tuple[Read, Read]:
    """Give the wind as it was read lowest, and the wind at `MAST`.

    Parameters
    ----------
    wind : WindProfile
        The wind over the site.

    Returns
    -------
    read, mast : Read
        Where nothing was read near the ground, the first is the wind at head height as
        the profile has it, and says that nobody read it.
    """
    mast = _at(wind, MAST)
    read = [level for level in wind.levels if _was_read(level)]
    if not read:
        return _at(wind, 2.0), mast
    low = min(read, key=lambda level: level.height)
    return Read(low.height, low.direction, low.speed, low.gust, read=True), mast


def _was_read(level: WindLevel) -> bool:
    return level.height <= _NEAR_GROUND and not level.source.startswith(_LAW)


def _at(wind: WindProfile, height: float) -> Read:
    direction, speed = direction_and_speed(*wind.at(height))
    return Read(height, float(direction), float(speed), None, read=False)


def age_told(wind: WindProfile) -> str:
    """Say how old a reading is.

    Parameters
    ----------
    wind : WindProfile
        The wind over the site.

    Returns
    -------
    str
        Minutes or hours, or that nobody said.
    """
    if wind.age is None:
        return "time of reading not told"
    if wind.age < 1 / 60:
        return "read now"
    minutes = wind.age * 60
    return f"{minutes:.0f} min old" if minutes < 100 else f"{wind.age:.1f} h old"


def more_wind_told(worths: Sequence[Worth]) -> str:
    """Say which one reading of the wind more would help most, and by how much.

    Parameters
    ----------
    worths : sequence of Worth
        From `driftmap.montecarlo.sensitivity.more_wind`, the best first.

    Returns
    -------
    str
        A sentence without its stop; empty where nothing is known of it.

    Examples
    --------
    >>> more_wind_told([Worth("ground", 0.97)])
    'No one reading of the wind more would shrink the 90 % line by a twentieth'
    """
    if not worths:
        return ""
    best = worths[0]
    if best.left > _NO_HELP:
        return (
            "No one reading of the wind more would shrink the 90 % line by a twentieth"
        )
    return (
        f"The reading that would help most is {_READINGS[best.reading]}: the ground inside the "
        f"90 % line would shrink by about {100 * (1 - best.left):.0f} %"
    )


def wind_told(wind: WindProfile, units: Units) -> tuple[str, str]:
    """Say the wind in words, as read first.

    Parameters
    ----------
    wind : WindProfile
        The wind over the site.
    units : {"us", "si"}
        Units the reader picked.

    Returns
    -------
    read, more : str
        The wind as read, and what it is at `MAST` with the age of the reading.

    Examples
    --------
    >>> from driftmap.winds import read_wind
    >>> wind_told(read_wind("9 mph from 240", site_altitude=0.0), "us")[0]
    '9 mph from 240° (WSW) at head height'
    """
    read, mast = wind_as_read(wind)
    where = "at head height" if read.at_head else f"at {distance(read.height, units)}"
    blows = show(read.speed, "speed", units)
    if read.speed <= CALM:
        told = f"calm {where}"
    elif read.direction is None:
        told = f"{blows} from varying directions {where}"
    else:
        told = f"{blows} from {bearing(read.direction)} {where}"
    if read.gust:
        told += f", gusting {show(read.gust, 'speed', units)}"
    more = []
    if not read.read:
        more.append("nobody read it there")
    if not math.isclose(read.height, MAST, abs_tol=0.5):
        high = show(mast.speed, "speed", units)
        more.append(f"{high} at {distance(MAST, units)}")
    return told, "; ".join([*more, age_told(wind)])
