"""Where the sun stands."""

from __future__ import annotations

from datetime import UTC, datetime
from math import asin, atan2, cos, degrees, radians, sin
from typing import Final

__all__ = ["UPPER_RIM", "sun_height"]

UPPER_RIM: Final = 50 / 60
"""How far below the horizon the sun's centre is at sunrise and sunset [deg]: 34' of
refraction and 16' of its radius, as almanacs have it (from memory)."""

_J2000: Final = datetime(2000, 1, 1, 12, tzinfo=UTC)


def sun_height(when: datetime, latitude: float, longitude: float) -> float:
    r"""Height of the sun's upper rim above a level horizon.

    .. math::
       L &= 280.460° + 0.9856474° n, \qquad g = 357.528° + 0.9856003° n \\
       \lambda &= L + 1.915° \sin g + 0.020° \sin 2g, \qquad
       \varepsilon = 23.439° - 0.0000004° n

    with `n` days from noon of 2000-01-01; the hour angle follows from sidereal time
    280.46062° + 360.98564737° n. The low-precision formula of the Astronomical Almanac
    ([1]_, from memory), good to 0.01° until 2050.

    Parameters
    ----------
    when : datetime
        With its time zone.
    latitude, longitude : float
        Where [deg], east positive.

    Returns
    -------
    float
        Height [deg]; negative between sunset and sunrise. Refraction is that of the
        horizon, so it is half a degree too much for a high sun.

    Raises
    ------
    ValueError
        If the time has no zone.

    References
    ----------
    .. [1] *The Astronomical Almanac*, section C, "Low precision formulas for the Sun's
       coordinates". Checked in ``tests/reference/test_sun.py``.

    Examples
    --------
    >>> round(sun_height(datetime(2026, 6, 13, 15, 30, tzinfo=UTC), 41.604, -117.952), 1)
    34.0
    """
    if when.tzinfo is None:
        raise ValueError("'when' must have a time zone")
    n = (when - _J2000).total_seconds() / 86_400
    g = radians(357.528 + 0.9856003 * n)
    ecliptic = radians(280.460 + 0.9856474 * n + 1.915 * sin(g) + 0.020 * sin(2 * g))
    tilt = radians(23.439 - 0.0000004 * n)
    right_ascension = atan2(cos(tilt) * sin(ecliptic), cos(ecliptic))
    declination = asin(sin(tilt) * sin(ecliptic))
    sidereal = radians(280.46062 + 360.98564737 * n + longitude)
    north = radians(latitude)
    up = sin(north) * sin(declination) + cos(north) * cos(declination) * cos(
        sidereal - right_ascension
    )
    return degrees(asin(max(-1.0, min(1.0, up)))) + UPPER_RIM
