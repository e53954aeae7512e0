"""How well a wind is known: by its age, its lead time and its speed.

No published table of wind error for 1 to 6 hours in the lowest 3 km was found. The base
figures here are this project's assumptions, set between the published ones named beside
them, and every profile says so.
"""

from __future__ import annotations

import math
from typing import Final

__all__ = [
    "CORRELATION_HEIGHT",
    "ERROR_NOTE",
    "FRESH_ERROR",
    "beyond_error",
    "component_error",
    "forecast_error",
    "observation_error",
    "persistence",
]

FRESH_ERROR: Final = 1.0
"""Error of a component of a wind measured within the hour [m s⁻¹]; assumed. Balloon
winds: 0.5 to 2 m s⁻¹ (J. Nash, Ann. Geophys. 12, 691, 1994, abstract)."""

CORRELATION_HEIGHT: Final = 750.0
"""Height over which errors stay alike [m]; assumed. The vertical extent of a
perturbation is rarely over 2 km (2-hourly Jimsphere series, abstract)."""

_SPEED_SHARE: Final = 0.10
"""Part of the error that grows with the wind speed; assumed. Forecast error does grow
with speed (Schwartz and others, Wea. Forecasting 15, 313, 2000, abstract)."""

_FORECAST: Final = ((3.0, 1.8), (6.0, 2.3), (12.0, 2.8))
"""Lead time up to [h], error of a component [m s⁻¹]; assumed. A 6 h regional forecast:
vector error about 4 m s⁻¹, 2.8 a component."""

_PER_HEIGHT: Final = 3.0 / 1000.0
"""Growth of the error above the highest level [m s⁻¹ per m]; assumed."""

ERROR_NOTE: Final = (
    "wind error: 1 m/s a component for a wind read within the hour, growing with the "
    "cube root of its age (forecasts 1.8 to 2.8 m/s by lead time), with 10 % of the "
    "speed in quadrature, alike over 750 m of height"
)


def persistence(error: float, hours: float) -> float:
    """Let an error grow while a wind is carried forward unchanged.

    Parameters
    ----------
    error : float
        Error at one hour [m s⁻¹].
    hours : float
        Time since the wind was measured [h].

    Returns
    -------
    float
        Error [m s⁻¹]: grows with the cube root of time.

    References
    ----------
    .. [1] F. J. Merceret, J. Appl. Meteor. 36, 1567, 1997 (abstract: changes scale as
       a k^(-5/3) structure function, so their rms as the cube root of time).

    Examples
    --------
    >>> round(persistence(1.5, 4.0), 6)
    2.381102
    """
    return error * math.pow(hours, 1 / 3)


def observation_error(age: float | None) -> float:
    """Give the error of a measured wind.

    Parameters
    ----------
    age : float or None
        Hours since it was measured [h]; None counts as fresh, and the profile says
        that the age is not known.

    Returns
    -------
    float
        Standard error of a component [m s⁻¹].
    """
    return persistence(FRESH_ERROR, max(1.0, age or 0.0))


def forecast_error(lead: float | None) -> float:
    """Give the error of a forecast wind.

    Parameters
    ----------
    lead : float or None
        Hours between the data it was made from and the flight [h]; None counts as
        the longest tabled.

    Returns
    -------
    float
        Standard error of a component [m s⁻¹].

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
    return persistence(error, lead / longest)


def component_error(
    base: float, speed: float, *, direction_error: float = 0.0, variable: bool = False
) -> float:
    """Give the error of a component at one level.

    Parameters
    ----------
    base : float
        Error for no wind [m s⁻¹].
    speed : float
        Wind speed [m s⁻¹].
    direction_error : float
        Standard error of the direction [rad].
    variable : bool
        Whether the direction is not known at all.

    Returns
    -------
    float
        Standard error of a component [m s⁻¹].

    Notes
    -----
    A wind of known speed from anywhere has components of variance ``speed²/2``; that
    is also the most that an uncertain direction can add.
    """
    turn = 0.5 if variable else min(direction_error**2, 0.5)
    return math.sqrt(base**2 + (_SPEED_SHARE * speed) ** 2 + turn * speed**2)


def beyond_error(error: float, above: float) -> float:
    """Let the error grow above the highest level.

    Parameters
    ----------
    error : float
        Error at the highest level [m s⁻¹].
    above : float
        Height above the highest level [m].

    Returns
    -------
    float
        Standard error of a component [m s⁻¹].
    """
    return math.hypot(error, _PER_HEIGHT * above)
