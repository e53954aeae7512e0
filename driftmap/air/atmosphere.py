"""The atmosphere: density, pressure, temperature and speed of sound by altitude.

US76 stands for the *U.S. Standard Atmosphere, 1976*; its constants and equations are from
memory, and agree with an independent library and with the printed table as far as it is known.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.core.checks import FloatArray
from driftmap.core.units import STANDARD_GRAVITY

__all__ = [
    "EARTH_RADIUS",
    "GAS_CONSTANT",
    "HEAT_RATIO",
    "LAPSE_RATE",
    "SEA_LEVEL_PRESSURE",
    "SEA_LEVEL_TEMPERATURE",
    "TROPOPAUSE",
    "air_density",
    "pressure",
    "speed_of_sound",
    "temperature",
]

GAS_CONSTANT: Final = 8314.32 / 28.9644
"""Specific gas constant of dry air [J kg⁻¹ K⁻¹] (US76, R* over M₀)."""

EARTH_RADIUS: Final = 6_356_766.0
"""Radius of the Earth for geopotential height [m] (US76)."""

SEA_LEVEL_TEMPERATURE: Final = 288.15
"""Temperature at sea level [K] (US76 table 2)."""

SEA_LEVEL_PRESSURE: Final = 101_325.0
"""Pressure at sea level [Pa] (US76 table 2)."""

LAPSE_RATE: Final = 0.0065
"""Fall of temperature with geopotential height below the tropopause [K m⁻¹] (US76 table 4)."""

TROPOPAUSE: Final = 11_000.0
"""Geopotential height of the tropopause [m] (US76 table 4)."""

HEAT_RATIO: Final = 1.4
"""Ratio of specific heats of air (US76)."""

_ALTITUDE_RANGE: Final = (-610.0, 20_063.0)  # geometric m, the two lowest layers
_EXPONENT: Final = STANDARD_GRAVITY / (GAS_CONSTANT * LAPSE_RATE)


def _geopotential(altitude: ArrayLike) -> FloatArray:
    z = np.asarray(altitude, dtype=float)
    low, high = _ALTITUDE_RANGE
    inside = (z >= low) & (z <= high)
    if not np.all(inside):
        bad = z[~inside].flat[0]
        raise ValueError(
            f"'altitude' must lie in [{low:.0f}, {high:.0f}] m (got {bad})"
        )
    return EARTH_RADIUS * z / (EARTH_RADIUS + z)


def temperature(altitude: ArrayLike) -> FloatArray:
    """Temperature of the standard atmosphere.

    Parameters
    ----------
    altitude : array_like, shape (...)
        Geometric altitude above mean sea level, -610 to 20 063 [m].

    Returns
    -------
    ndarray, shape (...)
        Temperature [K].

    Raises
    ------
    ValueError
        If an altitude is out of range or not finite.

    References
    ----------
    .. [1] NOAA, NASA, USAF, *U.S. Standard Atmosphere, 1976*, NOAA-S/T 76-1562
       (from memory).

    Examples
    --------
    >>> float(temperature(10_000.0).round(3))
    223.252
    """
    return np.maximum(
        SEA_LEVEL_TEMPERATURE - LAPSE_RATE * _geopotential(altitude),
        SEA_LEVEL_TEMPERATURE - LAPSE_RATE * TROPOPAUSE,
    )


def pressure(altitude: ArrayLike) -> FloatArray:
    """Pressure of the standard atmosphere.

    Parameters
    ----------
    altitude : array_like, shape (...)
        Geometric altitude above mean sea level, -610 to 20 063 [m].

    Returns
    -------
    ndarray, shape (...)
        Pressure [Pa].

    Raises
    ------
    ValueError
        If an altitude is out of range or not finite.

    References
    ----------
    .. [1] NOAA, NASA, USAF, *U.S. Standard Atmosphere, 1976*, NOAA-S/T 76-1562
       (from memory).
    """
    h = _geopotential(altitude)
    low = np.minimum(h, TROPOPAUSE)
    t_top = SEA_LEVEL_TEMPERATURE - LAPSE_RATE * TROPOPAUSE
    tropospheric = (
        SEA_LEVEL_PRESSURE
        * ((SEA_LEVEL_TEMPERATURE - LAPSE_RATE * low) / SEA_LEVEL_TEMPERATURE)
        ** _EXPONENT
    )
    above = np.maximum(h - TROPOPAUSE, 0.0)
    return tropospheric * np.exp(-STANDARD_GRAVITY * above / (GAS_CONSTANT * t_top))


def air_density(altitude: ArrayLike) -> FloatArray:
    r"""Density of dry standard air.

    .. math:: \rho = p / (R_d T)

    Parameters
    ----------
    altitude : array_like, shape (...)
        Geometric altitude above mean sea level, -610 to 20 063 [m]; not above the site.

    Returns
    -------
    ndarray, shape (...)
        Air density [kg m⁻³].

    Raises
    ------
    ValueError
        If an altitude is out of range or not finite.

    References
    ----------
    .. [1] NOAA, NASA, USAF, *U.S. Standard Atmosphere, 1976*, NOAA-S/T 76-1562
       (from memory).
       Checked in ``tests/reference/test_ussa1976.py``.

    Examples
    --------
    >>> air_density([0.0, 2000.0, 10000.0]).round(4)
    array([1.225 , 1.0066, 0.4135])
    """
    return pressure(altitude) / (GAS_CONSTANT * temperature(altitude))


def speed_of_sound(altitude: ArrayLike) -> FloatArray:
    """Speed of sound in the standard atmosphere.

    Parameters
    ----------
    altitude : array_like, shape (...)
        Geometric altitude above mean sea level, -610 to 20 063 [m].

    Returns
    -------
    ndarray, shape (...)
        Speed of sound [m s⁻¹].

    References
    ----------
    .. [1] NOAA, NASA, USAF, *U.S. Standard Atmosphere, 1976*, NOAA-S/T 76-1562
       (from memory).
    """
    return np.sqrt(HEAT_RATIO * GAS_CONSTANT * temperature(altitude))
