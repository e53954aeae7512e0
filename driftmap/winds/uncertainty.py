"""How well a wind is known: by its age, its lead time and its speed.

No published table of wind error for 1 to 6 hours in the lowest 3 km was found. The base
figures here are this project's assumptions, set between the published ones named beside
them, and every profile says so.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from driftmap.checks import FloatArray

__all__ = [
    "ERROR_NOTE",
    "FRESH_ERROR",
    "UNKNOWN_AGE",
    "between_error",
    "component_error",
    "forecast_error",
    "law_error",
    "observation_error",
    "persistence",
    "turning_error",
]

FRESH_ERROR: Final = 0.5
"""Error of a component by the instrument [m s⁻¹]; assumed. Balloon winds: 0.5 to 2 m s⁻¹
(J. Nash, Ann. Geophys. 12, 691, 1994, abstract)."""

_AN_HOUR: Final = 1.6
"""Change of a component of the mean wind in an hour [m s⁻¹]: root mean square of 95,600
ten-minute means of a mast (demo data of brightwind)."""

_LASTING: Final = 0.4
"""Its growth with time, on the same mast from ten minutes to twelve hours."""

_FLIGHT: Final = 1 / 12
"""A wind read now is flown a few minutes later [h]; assumed."""

UNKNOWN_AGE: Final = 3.0
"""Age that the error of a report without a time is that of [h]; assumed. The verdict holds
on it whatever it is."""

OLDEST_ERROR: Final = 24.0
"""Beyond this age the error grows no more [h]; assumed: another day's wind."""


_SPEED_SHARE: Final = 0.05
"""Part of the error that grows with the wind speed; assumed. Forecast error does grow
with speed (Schwartz and others, Wea. Forecasting 15, 313, 2000, abstract)."""

_FORECAST: Final = ((3.0, 1.8), (6.0, 2.3), (12.0, 2.8))
"""Lead time up to [h], error of a component [m s⁻¹]; assumed. A 6 h regional forecast:
vector error about 4 m s⁻¹, 2.8 a component."""

_PER_ROOT: Final = 0.21
"""Growth of the error of a surface wind carried up [m s⁻¹ per root of a metre]: 0.17 by
day, 0.21 at low sun and by night in real soundings; the wider is used."""

_PER_KM, _POWER = 5.5, 0.75
"""Change of a component over 1 km of height [m s⁻¹] and its growth with height, in real
soundings."""

_STILL: Final = 0.1
"""A wind lighter than this has no direction to turn from [m s⁻¹]."""

ERROR_NOTE: Final = (
    "wind error: 0.5 m/s a component by the instrument, and 1.6 m/s for an hour of age, "
    "growing with its power of 0.4 (forecasts 1.8 to 2.8 m/s by lead time), with 5 % of "
    "the speed in quadrature"
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
        Hours since it was measured [h]; None counts as `UNKNOWN_AGE`.

    Returns
    -------
    float
        Standard error of a component [m s⁻¹].
    """
    hours = UNKNOWN_AGE if age is None else age
    waited = min(max(_FLIGHT, hours), OLDEST_ERROR)
    return math.hypot(FRESH_ERROR, _AN_HOUR * math.pow(waited, _LASTING))


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


def law_error(read: float, height: float) -> float:
    """Give what a law adds to the error of the wind that it carries.

    Parameters
    ----------
    read : float
        Height of the wind that is carried [m].
    height : float
        Height it is carried to [m].

    Returns
    -------
    float
        Standard error of a component [m s⁻¹]; the same for a calm as for a gale.

    Examples
    --------
    >>> round(law_error(2.0, 102.0), 6)
    2.1
    """
    return _PER_ROOT * math.sqrt(abs(height - read))


def between_error(
    error: float, share: float, depth: float, low: FloatArray, high: FloatArray
) -> float:
    r"""Let the error grow between two levels.

    A change that grows as :math:`\sigma d^H` over a depth `d` departs from the straight
    line between the ends of a layer of depth `D`, at the share :math:`\lambda`, by

    .. math:: \sigma D^H \sqrt{(1-\lambda) \lambda^{2H} + \lambda (1-\lambda)^{2H}
              - \lambda (1-\lambda)}

    (textbook: fractional Brownian bridge). A wind that turns by :math:`\theta` on its way
    keeps its speed rather than passing through the middle of the chord, which is
    :math:`V (1 - \cos(\theta/2))` away.

    Parameters
    ----------
    error : float
        Error of the levels, interpolated [m s⁻¹].
    share : float
        How far up the layer, 0 to 1.
    depth : float
        Depth of the layer [m].
    low, high : ndarray, shape (2,)
        Wind at its levels [m s⁻¹].

    Returns
    -------
    float
        Standard error of a component [m s⁻¹].

    Examples
    --------
    >>> level = np.array([5.0, 0.0])
    >>> round(between_error(1.0, 0.5, 1000.0, level, level), 3)
    2.033
    >>> round(between_error(1.0, 0.5, 1000.0, level, -level), 3)
    5.397
    """
    rest, power = 1 - share, 2 * _POWER
    form = rest * share**power + share * rest**power - share * rest
    bridge = _change(depth) * math.sqrt(max(form, 0.0))
    return math.hypot(error, bridge, turning_error(share, low, high))


def turning_error(share: float, low: FloatArray, high: FloatArray) -> float:
    """Give the error that turning adds between two levels.

    Parameters
    ----------
    share : float
        How far up the layer, 0 to 1.
    low, high : ndarray, shape (2,)
        Wind at its levels [m s⁻¹].

    Returns
    -------
    float
        Distance of the arc from the chord, most in the middle [m s⁻¹].

    Examples
    --------
    >>> turning_error(0.5, np.array([5.0, 0.0]), np.array([-5.0, 0.0]))
    5.0
    """
    speeds = float(np.hypot(*low)), float(np.hypot(*high))
    if min(speeds) <= _STILL:
        return 0.0
    cosine = float(np.clip(low @ high / (speeds[0] * speeds[1]), -1, 1))
    arc = 1 - math.sqrt((1 + cosine) / 2)
    return sum(speeds) / 2 * arc * 4 * share * (1 - share)


def _change(depth: float) -> float:
    return _PER_KM * math.pow(depth / 1000.0, _POWER)
