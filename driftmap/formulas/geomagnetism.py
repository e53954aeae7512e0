"""Where a compass points: the World Magnetic Model to degree 7."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from driftmap.core.checks import FloatArray
from driftmap.core.tables import shipped

_EPOCH: Final = 2025.0
_MODEL: Final = tuple(
    (int(n), int(m), float(g), float(h), float(yearly_g), float(yearly_h))
    for n, m, g, h, yearly_g, yearly_h in shipped(__package__, "wmm2025.csv")
)
"""Degree, order, coefficients g and h [nT] and their change [nT a⁻¹]; the table tells their
source."""

_DEGREES: Final = 7

_ASKED: Final = math.radians(10.0)
"""A declination further off the field than this may have a slipped sign or digit: iron ore
turns a needle less; assumed."""

_NO_GUIDE: Final = 5000.0
"""Horizontal field below which needles point anywhere [nT]; assumed."""


def needle_at(latitude: float, longitude: float, year: float) -> tuple[float, float]:
    r"""Return the declination of the needle, and the field that it points along.

    .. math:: X = \sum (g_n^m \cos m\lambda + h_n^m \sin m\lambda)\, dP_n^m / d\theta, \qquad
              Y = \sum m\, (g_n^m \sin m\lambda - h_n^m \cos m\lambda)\, P_n^m / \sin\theta

    Parameters
    ----------
    latitude, longitude : float
        Place [deg].
    year : float
        Date, as years and their parts.

    Returns
    -------
    (float, float)
        Declination, east positive [rad], and the horizontal part of the field [nT]: where
        it is less than some 5,000 nT, near the poles of the field, a needle is no guide.

    Notes
    -----
    On a sphere, at its surface. Within 2.5° of the whole model between 60° S and 60° N.

    References
    ----------
    .. [1] A. Chulliat and others, *The US/UK World Magnetic Model for 2025-2030*, NOAA, 2025
       (from memory).

    Examples
    --------
    >>> angle, field = needle_at(40.0, -105.0, 2026.5)  # Colorado
    >>> round(math.degrees(angle))
    8
    """
    turn, along = math.radians(90.0 - latitude), math.radians(longitude)
    p, slope = _legendre(math.cos(turn), max(math.sin(turn), 1e-6))
    north = east = 0.0
    for n, m, g0, h0, yearly_g, yearly_h in _MODEL:
        g, h = g0 + yearly_g * (year - _EPOCH), h0 + yearly_h * (year - _EPOCH)
        c, s = math.cos(m * along), math.sin(m * along)
        north += (g * c + h * s) * slope[n, m]
        east += m * (g * s - h * c) * p[n, m] / max(math.sin(turn), 1e-6)
    return math.atan2(east, north), math.hypot(north, east)


def points_elsewhere(
    told: float, latitude: float, longitude: float, year: float
) -> float | None:
    """Return where a needle points, if that is not near what was told.

    Parameters
    ----------
    told : float
        Declination, east positive [rad].
    latitude, longitude : float
        Place [deg].
    year : float
        Date, as years and their parts.

    Returns
    -------
    float or None
        Declination of the field [rad]; None where it is as told, or nobody can say.
    """
    points, field = needle_at(latitude, longitude, year)
    off = abs(math.remainder(told - points, 2 * math.pi))
    return points if field >= _NO_GUIDE and off > _ASKED else None


def show_declination(angle: float, digits: int = 1) -> str:
    """Write a declination.

    Parameters
    ----------
    angle : float
        East positive [rad].
    digits : int
        Decimals of a degree.

    Returns
    -------
    str
        Such as "13.0° east".
    """
    return f"{abs(math.degrees(angle)):.{digits}f}° {'east' if angle >= 0 else 'west'}"


def _legendre(c: float, s: float) -> tuple[FloatArray, FloatArray]:
    """Return Schmidt's functions of the colatitude and their slopes, shape (n, m) each."""
    p, slope = np.zeros((2, _DEGREES, _DEGREES))
    p[0, 0] = 1.0
    for n in range(1, _DEGREES):
        size = 1.0 if n == 1 else math.sqrt((2 * n - 1) / (2 * n))
        p[n, n] = size * s * p[n - 1, n - 1]
        slope[n, n] = size * (s * slope[n - 1, n - 1] + c * p[n - 1, n - 1])
        for m in range(n):
            before = math.sqrt((n - 1) ** 2 - m**2)
            whole = math.sqrt(n**2 - m**2)
            p[n, m] = ((2 * n - 1) * c * p[n - 1, m] - before * p[n - 2, m]) / whole
            slope[n, m] = (
                (2 * n - 1) * (c * slope[n - 1, m] - s * p[n - 1, m])
                - before * slope[n - 2, m]
            ) / whole
    return p, slope
