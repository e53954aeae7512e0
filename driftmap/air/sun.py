"""How high the sun stands, and whether it is light."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from math import asin, atan2, cos, degrees, radians, sin
from typing import Final

UPPER_RIM: Final = 50 / 60
"""How far below the horizon the sun's centre is at sunrise and sunset [deg]: 34' of
refraction and 16' of its radius, as almanacs have it (from memory)."""

_MINUTE: Final = timedelta(minutes=1)
_EPOCH: Final = datetime(2000, 1, 1, 12, tzinfo=UTC)


def sun_height(when: datetime, latitude: float, longitude: float) -> float:
    """Return the height of the sun over the horizon, without refraction.

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


def is_light(when: datetime, latitude: float, longitude: float) -> bool:
    """Return whether any of the sun stands over the horizon.

    Parameters
    ----------
    when : datetime
        The time, with its zone.
    latitude, longitude : float
        Of the place [deg].

    Returns
    -------
    bool
        Whether it is light.
    """
    return sun_height(when, latitude, longitude) + UPPER_RIM >= 0


def toward_dark(
    when: datetime, end: datetime, latitude: float, longitude: float
) -> datetime:
    """Go from a time to another, earlier or later, as far as it is light on the way.

    Parameters
    ----------
    when, end : datetime
        From where, and to where at the most.
    latitude, longitude : float
        Of the place [deg].

    Returns
    -------
    datetime
        The end itself where it is dark from the beginning: somebody means to fly so.
    """
    if not is_light(when, latitude, longitude):
        return end
    step, way = (_MINUTE, min) if end > when else (-_MINUTE, max)
    reached = when
    while reached != end:
        next_ = way(reached + step, end)
        if not is_light(next_, latitude, longitude):
            break
        reached = next_
    return reached
