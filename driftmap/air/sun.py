"""How high the sun stands: by day the air near the ground is stirred, by night it is not."""

from __future__ import annotations

from datetime import UTC, datetime
from math import asin, atan2, cos, degrees, radians, sin
from typing import Final

__all__ = ["UPPER_RIM", "sun_height"]

UPPER_RIM: Final = 50 / 60
"""How far below the horizon the sun's centre is at sunrise and sunset [deg]: 34' of
refraction and 16' of its radius, as almanacs have it (from memory)."""

_EPOCH: Final = datetime(2000, 1, 1, 12, tzinfo=UTC)


def sun_height(when: datetime, latitude: float, longitude: float) -> float:
    """Give the height of the sun over the horizon, without refraction.

    Parameters
    ----------
    when : datetime
        Time, with its time zone.
    latitude, longitude : float
        Place, north and east positive [deg].

    Returns
    -------
    float
        Height [deg]; below the horizon it is negative. Good to 0.02° from 1950 to 2050.

    References
    ----------
    .. [1] *The Astronomical Almanac*, page C5, low-precision formulas for the Sun, and
       page B6, sidereal time (from memory). Checked in ``tests/reference/test_sun.py``.

    Examples
    --------
    On the equator at an equinox noon it stands overhead:

    >>> round(sun_height(datetime(2024, 3, 20, 12, 7, 30, tzinfo=UTC), 0.0, 0.0))
    90
    """
    days = (when - _EPOCH).total_seconds() / 86400
    anomaly = radians(357.528 + 0.9856003 * days)
    along = radians(
        280.460 + 0.9856474 * days + 1.915 * sin(anomaly) + 0.020 * sin(2 * anomaly)
    )
    tilt = radians(23.439 - 0.0000004 * days)
    ascension = atan2(cos(tilt) * sin(along), cos(along))
    declination = asin(sin(tilt) * sin(along))
    sidereal = radians(15 * (18.697374558 + 24.06570982441908 * days))
    hour = sidereal + radians(longitude) - ascension
    lat = radians(latitude)
    return degrees(
        asin(sin(lat) * sin(declination) + cos(lat) * cos(declination) * cos(hour))
    )
