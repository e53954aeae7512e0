"""Heights of pressure levels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from driftmap.air.atmosphere import GAS_CONSTANT, STANDARD_GRAVITY

__all__ = [
    "altitude_of",
    "fill_heights",
    "geopotential_of",
    "pressure_height",
    "thickness",
]

_EARTH_RADIUS: Final = 6_356_766.0  # m, US76
_T0, _P0, _LAPSE = 288.15, 101_325.0, 0.0065  # K, Pa, K per m: US76 table 4
_T11, _H11 = 216.65, 11_000.0  # K, m
_EXPONENT: Final = GAS_CONSTANT * _LAPSE / STANDARD_GRAVITY
_P11: Final = _P0 * (_T11 / _T0) ** (1 / _EXPONENT)


def altitude_of(geopotential: float) -> float:
    """Turn a geopotential height into a geometric altitude.

    Parameters
    ----------
    geopotential : float
        Geopotential height [m].

    Returns
    -------
    float
        Altitude above mean sea level [m] (US76, ``z = r H / (r - H)``).
    """
    return _EARTH_RADIUS * geopotential / (_EARTH_RADIUS - geopotential)


def geopotential_of(altitude: float) -> float:
    """Turn a geometric altitude into a geopotential height.

    Parameters
    ----------
    altitude : float
        Altitude above mean sea level [m].

    Returns
    -------
    float
        Geopotential height [m] (US76, ``H = r z / (r + z)``).
    """
    return _EARTH_RADIUS * altitude / (_EARTH_RADIUS + altitude)


def pressure_height(pressure: float) -> float:
    """Give the height of a pressure in the standard atmosphere.

    Parameters
    ----------
    pressure : float
        Pressure [Pa].

    Returns
    -------
    float
        Geopotential height [m] (US76, solved for height; two lowest layers).

    Examples
    --------
    >>> round(pressure_height(95_000.0), 2)
    540.34
    """
    if pressure >= _P11:
        return _T0 / _LAPSE * (1 - math.pow(pressure / _P0, _EXPONENT))
    return _H11 + GAS_CONSTANT * _T11 / STANDARD_GRAVITY * math.log(_P11 / pressure)


def thickness(below: float, above: float, mean_temperature: float) -> float:
    r"""Give the thickness of the layer between two pressures.

    .. math:: \Delta H = (R T / g_0) \ln(p_1 / p_2)

    Parameters
    ----------
    below, above : float
        Pressure at the foot and at the top [Pa].
    mean_temperature : float
        Mean temperature of the layer [K]; moisture, which adds up to a hundredth, is
        left out.

    Returns
    -------
    float
        Thickness [m], geopotential.

    Notes
    -----
    The hypsometric equation (textbook).

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

    Parameters
    ----------
    pressures : sequence of float or None, length k
        Pressure of each level [Pa].
    heights : sequence of float or None, length k
        Geopotential height of each level where told [m].
    temperatures : sequence of float or None, length k
        Temperature of each level where told [K].

    Returns
    -------
    heights : list of float or None, length k
        Geopotential height [m]: as told; or by the hypsometric equation from the level
        nearest in pressure whose height is told; or, where no height is told at all,
        that of the standard atmosphere. None where there is no pressure either.
    standard : list of bool, length k
        Where the standard atmosphere had to be used, for height or for temperature.
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
