"""How well one source knows the wind: its instrument, age, distance and lead time.

What grows with time and distance was fitted on real winds (``field.toml``). No published
table of the error of forecasts for 1 to 6 hours in the lowest 3 km was found: those figures
are this project's assumptions, set between the published ones named beside them, and every
profile says so.
"""

from __future__ import annotations

import math
from typing import Final

from driftmap.air import profile_law
from driftmap.air.profile_law import field_of, fitted
from driftmap.air.wind import MAST, WindLevel

FRESH_ERROR: Final = 0.5
"""Error of a component by the instrument [m s⁻¹]; assumed. Balloon winds: 0.5 to 2 m s⁻¹
(J. Nash, Ann. Geophys. 12, 691, 1994, abstract)."""

SONDE_ERROR: Final = 0.3
"""That of a sonde that finds its place by satellites: 0.15 to 0.5 m s⁻¹ (from memory)."""

FLIGHT: Final = 1 / 12
"""A wind read now near the ground is flown some minutes later [h]; assumed. What was
measured aloft has its age, as it took a while."""

UNKNOWN_AGE: Final = 3.0
"""Age that the error of a report without a time is that of [h]; assumed. The verdict holds
on it whatever it is."""

UNKNOWN_AWAY: Final = 30_000.0
"""Distance that a station counts as when nobody says where it stands [m]; assumed."""

RATE_ERROR: Final = 0.12
"""Part by which a pilot balloon's rate of ascent is off, from turbulence and leaks; assumed."""

_OLDEST: Final = 24.0
"""Beyond this age the error grows no more [h]; assumed: another day's wind."""

_PACE: Final = 10.0
"""Aloft a station that is some way off tells the wind as one did at the field the time ago
that air takes over the way [m s⁻¹]; assumed. Dropsondes 70 km apart: 1.1 to 2.4 m s⁻¹ a
component below 1500 m, where this gives 2 to 2.5."""

_NEARBY: Final = 3000.0
"""Nearer than this no stations were compared, and the error falls as the root [m]; assumed."""

_USUAL: Final = (-15.0, None, 5.0)
"""Height of the sun [deg] and wind at 10 m [m s⁻¹] for which the law's error is told;
assumed: a night, but none so still that any two winds would agree."""

SPEED_SHARE: Final = 0.05
"""Part of the error that grows with the wind speed, of meters and of forecasts near the ground;
assumed."""

FORECAST_SHARE: Final = 0.10
"""That of a forecast aloft; assumed, so that one of 6 h in the 15 m s⁻¹ of the middle troposphere
errs as counted (`_FORECAST`). It does grow with speed (Schwartz and others, Wea. Forecasting
15, 313, 2000, abstract)."""

_FORECAST: Final = ((3.0, 1.8), (6.0, 2.3), (12.0, 2.8))
"""Lead time up to [h], error of a component [m s⁻¹]; assumed. A 6 h regional forecast:
vector error about 4 m s⁻¹, 2.8 a component."""

ERROR_NOTE: Final = (
    "wind error: 0.3 to 0.5 m/s a component by the instrument; 1.1 m/s for an hour of age in "
    "a light wind and 2.2 m/s in one of 15 m/s, growing with its power of 0.4; 1.6 to 3.4 m/s for "
    "a station 30 km off; forecasts 1.8 to 2.8 m/s by lead time, aloft with a tenth of the wind"
)


def change_over(speed: float, hours: float) -> float:
    """Return what a component of a wind changes by in hours, as fitted on a mast.

    Parameters
    ----------
    speed : float
        Wind speed at 10 m [m s⁻¹].
    hours : float
        Time since it was read [h].

    Returns
    -------
    float
        Standard error of a component [m s⁻¹].
    """
    fit = fitted()["change"]
    size = math.hypot(fit["still"], fit["share"] * speed)
    return float(size * math.pow(min(max(hours, 0.0), _OLDEST), fit["power"]))


def elsewhere(speed: float, away: float, height: float) -> float:
    """Return what a component of a wind measured some way off is off by.

    Near the ground as fitted on pairs of stations; aloft as it changes while air goes that way.

    Parameters
    ----------
    speed : float
        Wind speed at 10 m [m s⁻¹].
    away : float
        How far off it was measured [m].
    height : float
        Height above the ground [m].

    Returns
    -------
    float
        Standard error of a component [m s⁻¹].
    """
    if height > profile_law.LOG_TOP:
        return change_over(speed, away / _PACE / 3600.0)
    fit = fitted()["elsewhere"]
    far = math.pow(max(away, _NEARBY) / 30_000.0, fit["power"])
    near = math.sqrt(min(away / _NEARBY, 1.0))
    return float(math.hypot(fit["still"], fit["share"] * speed) * far * near)


def forecast_error(lead: float | None) -> float:
    """Return the error of a component of a forecast.

    Parameters
    ----------
    lead : float or None
        Time from its data to the flight [h]; not known, the longest tabled. Beyond that
        the error grows with the cube root of time.

    Returns
    -------
    float
        Standard error of a component [m s⁻¹].

    References
    ----------
    .. [1] F. J. Merceret, J. Appl. Meteor. 36, 1567, 1997 (abstract: changes scale as
       a k^(-5/3) structure function, so their rms as the cube root of time).

    Examples
    --------
    >>> forecast_error(2.0), forecast_error(5.0), forecast_error(None)
    (1.8, 2.3, 2.8)
    """
    longest, error = _FORECAST[-1]
    if lead is None:
        return error
    for limit, value in _FORECAST:
        if lead <= limit:
            return value
    return error * math.cbrt(lead / longest)


def component_error(
    base: float, speed: float, *, direction_error: float = 0.0, variable: bool = False
) -> float:
    """Return the error of a component, with what its direction adds.

    A wind of known speed from anywhere has components of variance ``speed²/2``; that is
    also the most that an uncertain direction can add.

    Parameters
    ----------
    base : float
        Error of a component but for its direction [m s⁻¹].
    speed : float
        Wind speed [m s⁻¹].
    direction_error : float
        Standard error of the direction [rad].
    variable : bool
        Whether it blows from anywhere.

    Returns
    -------
    float
        Standard error of a component [m s⁻¹].
    """
    turn = 0.5 if variable else min(direction_error**2, 0.5)
    return math.sqrt(base**2 + turn * speed**2)


def law_error(read: float, height: float) -> float:
    """Return what the law adds to the error of a wind that it carries from height to height.

    Parameters
    ----------
    read, height : float
        Heights above the ground, of the reading and of what is asked [m].

    Returns
    -------
    float
        Standard error of a component [m s⁻¹].

    Examples
    --------
    >>> round(law_error(2.0, 102.0), 6)
    2.375714
    """
    return field_of(*_USUAL).stray * math.sqrt(abs(height - read))


def lasting_error(
    age: float | None,
    away: float | None,
    speed: float,
    height: float,
    roughness: float,
    *,
    forecast: bool,
) -> float:
    """Return what a component is off by for its age and place; less in a weaker wind.

    Parameters
    ----------
    age : float or None
        Time since it was read, or from what it was foretold for [h]; what was read near the
        ground is some minutes old at least. Not known, `UNKNOWN_AGE`.
    away : float or None
        How far off it was measured [m]; not known, `UNKNOWN_AWAY`.
    speed, height : float
        The wind [m s⁻¹], at a height above the ground [m].
    roughness : float
        Roughness length of the ground [m].
    forecast : bool
        Whether it was foretold.

    Returns
    -------
    float
        Standard error of a component [m s⁻¹].
    """
    shape = profile_law.surface_shape([min(height, MAST), MAST], roughness)
    part = float(shape[0] / shape[1])
    least = FLIGHT if height <= profile_law.LOG_TOP and not forecast else 0.0
    hours = max(least, UNKNOWN_AGE if age is None else age)
    far = elsewhere(speed / part, UNKNOWN_AWAY if away is None else away, height)
    return part * math.hypot(change_over(speed / part, hours), far)


def instrument_error(
    level: WindLevel, base: float, *, forecast: bool, surface: bool
) -> float:
    """Return the error of a component by the way it was measured or forecast.

    Parameters
    ----------
    level : WindLevel
        The wind, with what its file says of its error: less than a sonde's, the best there
        is, nobody can know.
    base : float
        Error of a component of such a forecast [m s⁻¹].
    forecast, surface : bool
        Whether it was foretold; whether it is a reading near the ground.

    Returns
    -------
    float
        Standard error of a component [m s⁻¹].
    """
    own = level.error or 0.0
    low = level.height <= profile_law.LOG_TOP
    share = FORECAST_SHARE if forecast and not low else SPEED_SHARE
    if forecast:
        return math.hypot(base, own, share * level.speed)
    if surface or low:
        return math.hypot(FRESH_ERROR, own, share * level.speed)
    return FRESH_ERROR if level.error is None else max(own, SONDE_ERROR)
