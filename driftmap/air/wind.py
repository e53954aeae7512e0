"""The wind over the site by height, and how well it is known."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.air.convection import Convection
from driftmap.core.checks import FloatArray

HEAD, MAST, NEAR_GROUND = 2.0, 10.0, 60.0
"""Heights of a meter held by hand, of surface winds (WMO-No. 8, I, ch. 5), and up to which a
reading is one near the ground [m]: over half of the logarithmic layer, assumed as is the first."""

LAW_TOP: Final = 300.0
"""Height to which the power law is used [m] (from memory)."""

LAW_FROM: Final = "law from "
"""How the source of a level begins that nobody read there: the law carried it."""


def components_from(
    direction_from: ArrayLike, speed: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Turn a wind bearing into the velocity of the air.

    Parameters
    ----------
    direction_from : array_like, shape (...)
        Direction the wind comes from, clockwise from true north [rad].
    speed : array_like, shape (...)
        Wind speed [m s⁻¹].

    Returns
    -------
    east, north : ndarray, shape (...)
        Velocity of the air toward east and north [m s⁻¹].

    Examples
    --------
    >>> east, north = components_from(np.radians(270.0), 10.0)
    >>> float(east.round(6)), abs(float(north.round(6)))
    (10.0, 0.0)
    """
    bearing, v = np.asarray(direction_from, float), np.asarray(speed, float)
    return -v * np.sin(bearing), -v * np.cos(bearing)


def direction_and_speed(
    east: ArrayLike, north: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Turn the velocity of the air into a bearing; the inverse of `components_from`.

    Parameters
    ----------
    east, north : array_like, shape (...)
        Velocity of the air toward east and north [m s⁻¹].

    Returns
    -------
    direction_from, speed : ndarray, shape (...)
        Direction the wind comes from, in [0, 2π) [rad], and speed [m s⁻¹]; a calm has
        direction 0.
    """
    e, n = np.asarray(east, float), np.asarray(north, float)
    bearing = np.where((e == 0) & (n == 0), 0.0, np.arctan2(-e, -n))
    return bearing % (2 * np.pi), np.hypot(e, n)


def _column(values: ArrayLike) -> FloatArray:
    column = np.array(values, dtype=float)
    column.setflags(write=False)
    return column


@dataclass(frozen=True, slots=True)
class WindLevel:
    """One level of a wind as a person reads it.

    Parameters
    ----------
    height : float
        Height above the site [m].
    direction : float or None
        Direction the wind comes from, clockwise from true north [rad]; None when it
        is variable.
    speed : float
        Mean wind speed [m s⁻¹].
    gust : float or None
        Peak wind speed [m s⁻¹]; None when none was reported.
    source : str
        Report, reading or law the level comes from.
    temperature : float or None
        Air temperature [K]; None when none was reported.
    error : float or None
        Standard error of a component by the way it was measured, before age and distance
        [m s⁻¹]; None where the source does not tell its own.
    """

    height: float
    direction: float | None
    speed: float
    gust: float | None
    source: str
    temperature: float | None = None
    error: float | None = None

    @property
    def peak(self) -> float:
        """Its gust, or the mean where none was told [m s⁻¹]."""
        return self.gust or self.speed

    @property
    def carried(self) -> bool:
        """Whether nobody read it at this height."""
        return self.source.startswith(LAW_FROM)


@dataclass(frozen=True, slots=True)
class Stronger:
    """A wind somewhat stronger than the one flown, of a report that was passed over.

    Parameters
    ----------
    level : WindLevel
        The wind as it was told.
    told : str
        Both winds, in words.
    """

    level: WindLevel
    told: str


@dataclass(frozen=True, slots=True)
class Disagreement:
    """Two winds at one height that cannot both be so.

    Parameters
    ----------
    told : str
        Both winds, in words.
    flown, other : WindLevel
        The wind that was flown, its gust the most that was allowed for, and the other.
    """

    told: str
    flown: WindLevel
    other: WindLevel


@dataclass(frozen=True, slots=True, eq=False)
class WindProfile:
    """Wind over the site by height, linear in its components between levels.

    Below the lowest level and above the highest the nearest level holds; what lies
    above `known_to` is reported by the verdict, never passed over.

    Parameters
    ----------
    height : array_like, shape (k,)
        Heights above the site, increasing, none below the ground [m].
    east, north : array_like, shape (k,)
        Velocity of the air toward east and north [m s⁻¹].
    error : array_like, shape (k,)
        Standard error of each component [m s⁻¹].
    modes : array_like, shape (k, r), or None
        Patterns over height whose sum, each times a standard normal number, is the error
        of a component [m s⁻¹]; without any, errors are alike as in `winderror.error_modes`.
    known_to : float
        Height up to which the source speaks [m].
    read : tuple of float
        Heights at which a source speaks, lowest first [m]; left out, all to `known_to`.
    gust : float
        How far gusts near the ground stand above the mean wind [m s⁻¹].
    strongest : float or None
        Strongest mean wind at 10 m that any report tells [m s⁻¹]; None if it is its own.
    stronger : tuple of Stronger
        What reports passed over tell that were stronger, yet within the errors of both.
    disagree : tuple of Disagreement
        Winds that disagree, as `warned` says.
    with_most : WindProfile or None
        As strong as it may be where it was told as "less than 6 mph"; else None.
    with_aside : WindProfile or None
        The wind with what somebody set aside of it that would still have counted: a
        verdict holds where that is worse.
    read_from : float or None
        Lowest height at which a source speaks [m]; the lowest level when left out.
    source : str
        Where the wind came from, for the report.
    assumed : tuple of str
        What was assumed in making the profile, a sentence each.
    age : float or None
        Hours between the flight and the oldest source [h]; None when the age of one is
        not known.
    when : datetime or None
        Time of the flight that it was read for; None where it is read for no one time.
    altitude, place : float and (float, float), or None
        Altitude [m], and latitude and longitude [deg], of the site it was read for.
    foretold : bool
        Whether the wind near the ground was foretold, and nobody read it.
    convection : Convection or None
        How the sun stirs the air; None for not at all.
    undated : tuple of str
        Sources of which nobody said when they were read; a verdict holds for each.
    warned : tuple of str
        What the sources say that a verdict must hold for, a sentence each.
    aside : str
        What somebody set aside of it by hand, which stands beside the verdict.
    renewed_in : float or None
        Hours after the flight's time until a newer report must take a report's place [h].
    temperature, altimeter : float or None
        Air temperature [K] and altimeter setting [Pa] of a surface report, if it has them.
    cloud_cover, visibility : float or None
        Most cloud, as a share, and least visibility [m] that a surface report tells.
    cloud_base, lowest_cloud : float or None
        Height of the lowest cloud that hides most of the sky, and of any [m], as reported.
    members : array_like, shape (m, 2, k), or None
        East and north of each member of an ensemble [m s⁻¹]; `east`, `north` are their mean.
    levels : tuple of WindLevel
        The levels as read, for the report; empty where nothing more was read.

    Raises
    ------
    ValueError
        If levels are missing, not finite, not increasing, or below the ground.
    """

    height: FloatArray
    east: FloatArray
    north: FloatArray
    error: FloatArray
    convection: Convection | None = None
    known_to: float = np.inf
    read: tuple[float, ...] = ()
    gust: float = 0.0
    strongest: float | None = None
    stronger: tuple[Stronger, ...] = ()
    disagree: tuple[Disagreement, ...] = ()
    with_most: WindProfile | None = None
    with_aside: WindProfile | None = None
    read_from: float | None = None
    source: str = ""
    assumed: tuple[str, ...] = ()
    age: float | None = None
    when: datetime | None = None
    altitude: float | None = None
    place: tuple[float, float] | None = None
    foretold: bool = False
    undated: tuple[str, ...] = ()
    warned: tuple[str, ...] = ()
    aside: str = ""
    renewed_in: float | None = None
    temperature: float | None = None
    altimeter: float | None = None
    cloud_cover: float | None = None
    visibility: float | None = None
    cloud_base: float | None = None
    lowest_cloud: float | None = None
    members: FloatArray | None = None
    modes: FloatArray | None = None
    levels: tuple[WindLevel, ...] = ()

    def __post_init__(self) -> None:
        for name in ("height", "east", "north", "error"):
            object.__setattr__(self, name, _column(getattr(self, name)))
            if getattr(self, name).shape != self.height.shape or self.height.ndim != 1:
                raise ValueError(f"'{name}' must have the shape of 'height', (k,)")
            if not np.all(np.isfinite(getattr(self, name))):
                raise ValueError(f"'{name}' must be finite")
        if self.height.size == 0:
            raise ValueError("'height' must hold at least one level")
        if self.height[0] < 0 or np.any(np.diff(self.height) <= 0):
            raise ValueError("'height' must increase from the ground up")
        least = {"error": self.error.min(), "age": self.age or 0.0, "gust": self.gust}
        for name, value in least.items():
            if not 0 <= value < np.inf:
                raise ValueError(f"'{name}' must not be negative (got {value})")
        if self.members is not None:
            self._check_members(self.members)
        if self.modes is not None:
            self._check_modes(self.modes)
        self._fill_in_what_was_read()

    def _fill_in_what_was_read(self) -> None:
        if np.isinf(self.known_to):
            object.__setattr__(self, "known_to", float(self.height[-1]))
        if not self.read:
            known = self.height[self.height <= self.known_to].tolist()
            object.__setattr__(self, "read", tuple(known) or (self.known_to,))
        if self.read_from is None:
            object.__setattr__(self, "read_from", float(self.height[0]))

    def _check_modes(self, modes: ArrayLike) -> None:
        patterns = _column(modes)
        object.__setattr__(self, "modes", patterns)
        if patterns.ndim != 2 or len(patterns) != self.height.size:
            raise ValueError("'modes' must have the shape (k, r)")

    def _check_members(self, members: ArrayLike) -> None:
        columns = _column(members)
        if columns.ndim != 3 or columns.shape[1:] != (2, self.height.size):
            raise ValueError("'members' must have the shape (m, 2, k)")
        if not len(columns) or not np.all(np.isfinite(columns)):
            raise ValueError("'members' must hold at least one member, all finite")
        object.__setattr__(self, "members", columns)

    def at(self, height: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Return the wind at heights above the site.

        Parameters
        ----------
        height : array_like, shape (...)
            Heights above the site [m].

        Returns
        -------
        east, north : ndarray, shape (...)
            Velocity of the air toward east and north [m s⁻¹].

        Examples
        --------
        >>> wind = WindProfile([0, 100], [2, 4], [0, 0], [1, 1])
        >>> float(wind.at(50.0)[0])
        3.0
        """
        z = np.asarray(height, dtype=float)
        east = np.asarray(np.interp(z, self.height, self.east))
        return east, np.asarray(np.interp(z, self.height, self.north))


STILL_AIR: Final = WindProfile(*np.zeros((4, 1)))
"""No wind at all, and that for certain: what is asked of a motor or a height alone."""


def reported_at(wind: WindProfile, height: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return the wind as it is told to people: one from all sides is no calm.

    Parameters
    ----------
    wind : WindProfile
        The wind.
    height : array_like, shape (...)
        Heights above the site [m].

    Returns
    -------
    direction_from, speed : ndarray, shape (...)
        As of `direction_and_speed`; where the level nearest in height is variable the
        direction is NaN, and the speed that of the levels, never less than the mean's.
    """
    z = np.asarray(height, dtype=float)
    direction, speed = direction_and_speed(*wind.at(z))
    levels = sorted(wind.levels, key=lambda level: level.height)
    variable = np.array([level.direction is None for level in levels], dtype=bool)
    if not variable.any():
        return direction, speed
    at = np.array([level.height for level in levels])
    varying = variable[np.abs(z[..., None] - at).argmin(axis=-1)]
    told = np.interp(z, at, [level.speed for level in levels])
    return (
        np.where(varying, np.nan, direction),
        np.where(varying, np.maximum(speed, told), speed),
    )


def surface_wind(wind: WindProfile) -> tuple[float, tuple[float, float]]:
    """Return the wind at 10 m and how low and high it may be.

    Parameters
    ----------
    wind : WindProfile
        The wind.

    Returns
    -------
    speed : float
        Its mean speed [m s⁻¹]: the strongest that a report of this hour tells, and of an
        ensemble that of the middle member.
    ends : (float, float)
        Two standard deviations either way, of an ensemble beyond its members; gusts read
        near the ground count as its upper end [m s⁻¹].

    Examples
    --------
    >>> surface_wind(WindProfile([0, 100], [5, 5], [0, 0], [1, 1], gust=4.0))
    (5.0, (3.0, 9.0))
    """
    columns = [(wind.east, wind.north)] if wind.members is None else wind.members
    at_mast = ([np.interp(MAST, wind.height, v) for v in both] for both in columns)
    speeds = np.array([np.hypot(east, north) for east, north in at_mast])
    # A variable wind has no mean vector, and a report passed over may tell of more.
    speed = max(float(np.median(speeds)), wind.strongest or 0.0)
    low, high = (float(v) for v in np.quantile(speeds, [0.05, 0.95]))
    error = 2 * float(np.interp(MAST, wind.height, wind.error))
    return speed, (max(low - error, 0.0), max(high + error, speed + wind.gust))
