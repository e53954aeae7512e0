"""The atmosphere: density, pressure, temperature and speed of sound by altitude.

US76 stands for the *U.S. Standard Atmosphere, 1976*; its constants and equations are from
memory, and agree with an independent library and with the printed table as far as it is known.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.core.checks import FloatArray
from driftmap.core.units import STANDARD_GRAVITY

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
_EXPONENT: Final = GAS_CONSTANT * LAPSE_RATE / STANDARD_GRAVITY
_COLD: Final = SEA_LEVEL_TEMPERATURE - LAPSE_RATE * TROPOPAUSE
"""Temperature above the tropopause [K]."""

_THIN: Final = SEA_LEVEL_PRESSURE * (_COLD / SEA_LEVEL_TEMPERATURE) ** (1 / _EXPONENT)


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
        SEA_LEVEL_TEMPERATURE - LAPSE_RATE * _geopotential(altitude), _COLD
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
    tropospheric = SEA_LEVEL_PRESSURE * (
        (SEA_LEVEL_TEMPERATURE - LAPSE_RATE * low) / SEA_LEVEL_TEMPERATURE
    ) ** (1 / _EXPONENT)
    above = np.maximum(h - TROPOPAUSE, 0.0)
    return tropospheric * np.exp(-STANDARD_GRAVITY * above / (GAS_CONSTANT * _COLD))


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


def altitude_of(geopotential: float) -> float:
    """Turn a geopotential height into an altitude (US76, ``z = r H / (r - H)``).

    Parameters
    ----------
    geopotential : float
        Geopotential height above mean sea level [m].

    Returns
    -------
    float
        Geometric altitude above mean sea level [m].
    """
    return EARTH_RADIUS * geopotential / (EARTH_RADIUS - geopotential)


def geopotential_of(altitude: float) -> float:
    """Turn an altitude into a geopotential height (US76, ``H = r z / (r + z)``).

    Parameters
    ----------
    altitude : float
        Geometric altitude above mean sea level [m].

    Returns
    -------
    float
        Geopotential height above mean sea level [m].
    """
    return EARTH_RADIUS * altitude / (EARTH_RADIUS + altitude)


def pressure_height(pressure: float) -> float:
    """Return the height of a pressure in the standard atmosphere.

    US76, solved for height, in its two lowest layers.

    Parameters
    ----------
    pressure : float
        Pressure [Pa].

    Returns
    -------
    float
        Geopotential height above mean sea level [m].

    Examples
    --------
    >>> round(pressure_height(95_000.0), 2)
    540.34
    """
    if pressure >= _THIN:
        fall = 1 - math.pow(pressure / SEA_LEVEL_PRESSURE, _EXPONENT)
        return SEA_LEVEL_TEMPERATURE / LAPSE_RATE * fall
    return TROPOPAUSE + thickness(_THIN, pressure, _COLD)


def thickness(below: float, above: float, mean_temperature: float) -> float:
    r"""Return the thickness of the layer between two pressures.

    .. math:: \Delta H = (R T / g_0) \ln(p_1 / p_2)

    Parameters
    ----------
    below, above : float
        Pressures below and above the layer [Pa].
    mean_temperature : float
        Mean temperature of the layer [K].

    Returns
    -------
    float
        Thickness in geopotential height [m].

    Notes
    -----
    The hypsometric equation (textbook, from memory).

    Examples
    --------
    >>> round(thickness(100_000.0, 50_000.0, 273.15))
    5542
    """
    scale = GAS_CONSTANT * mean_temperature / STANDARD_GRAVITY
    return scale * math.log(below / above)


def fill_heights(
    pressures: Sequence[float | None],
    heights: Sequence[float | None],
    temperatures: Sequence[float | None],
) -> tuple[list[float | None], list[bool]]:
    """Find the heights of levels that tell only their pressure.

    As told; or by the hypsometric equation from the level nearest in pressure whose height
    is told; or, where none is told, that of the standard atmosphere.

    Parameters
    ----------
    pressures : sequence of float or None
        Pressures, None where one is not told [Pa].
    heights : sequence of float or None
        Geopotential heights above mean sea level [m].
    temperatures : sequence of float or None
        Temperatures [K].

    Returns
    -------
    found : list of float or None
        Geopotential heights [m]; None where there is no pressure either.
    standard : list of bool
        Where the standard atmosphere served, for height or for temperature.
    """
    anchors = [
        (p, h, t)
        for p, h, t in zip(pressures, heights, temperatures, strict=True)
        if p is not None and h is not None
    ]
    found: list[float | None] = []
    standard: list[bool] = []
    for p, h, t in zip(pressures, heights, temperatures, strict=True):
        known = h is not None or p is None
        value, assumed = (h, False) if known else _height(p or 0.0, t, anchors)
        found.append(value)
        standard.append(assumed)
    return found, standard


def _height(
    pressure: float,
    temperature: float | None,
    anchors: list[tuple[float, float, float | None]],
) -> tuple[float, bool]:
    if not anchors:
        return pressure_height(pressure), True
    foot, height, foot_temperature = min(
        anchors, key=lambda anchor: abs(math.log(anchor[0] / pressure))
    )
    told = [t for t in (temperature, foot_temperature) if t is not None]
    if not told:
        return height + pressure_height(pressure) - pressure_height(foot), True
    return height + thickness(foot, pressure, sum(told) / len(told)), False
