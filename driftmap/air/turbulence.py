"""Turbulence and thermals by height, drawn along the way of each flight."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.air.convection import Convection, rising_sd, sideways_sd
from driftmap.core.checks import FloatArray, checked
from driftmap.core.units import FOOT

_LOWEST, _LOW, _HIGH = 10.0, 1000.0, 2000.0  # ft, MIL-F-8785C
_ALOFT: Final = 1750.0  # ft, length scale above the highest of these

REFERENCE_HEIGHT: Final = 20 * FOOT
"""Height of the wind that sets the strength of low-altitude turbulence [m]."""

ASSUMED: Final = (
    "turbulence above 2000 ft is as strong as at 1000 ft, a tenth of the wind at 20 ft"
)
"""What the model adds to its source: the strength aloft is an exceedance table there."""

_MESH: Final = np.array([0.0, 5, 10, 20, 35, 60, *range(100, 30_001, 100)])  # m

_PEAK: Final = 3.0
"""Standard deviations that a gust of some seconds stands above the mean of ten minutes
(WMO's guidance on averaging periods, from memory)."""


_LIKE: Final = 0.3  # of the depth over which rising air stays alike; assumed
_STRAYS: Final = (0.6, 1.3)  # what a day may be of the strength worked out; assumed


@dataclass(frozen=True, slots=True, eq=False)
class Turbulence:
    """Strength and scale of sideways turbulence by height.

    Parameters
    ----------
    sideways : ndarray, shape (...)
        Standard deviation of either horizontal component [m s⁻¹].
    length : ndarray, shape (...)
        Its length scale [m].
    """

    sideways: FloatArray
    length: FloatArray


def turbulence(height: ArrayLike, wind: ArrayLike) -> Turbulence:
    r"""Return strength and scale of the Dryden model at low altitude.

    Below 1000 ft, with `h` in feet,

    .. math:: \sigma_u = \frac{0.1\, W_{20}}{(0.177 + 0.000823 h)^{0.4}}, \quad
              L_u = \frac{h}{(0.177 + 0.000823 h)^{1.2}}

    [1]_ sec. 3.7.3.4. Above 2000 ft the length is 1750 ft, and linear between.

    Parameters
    ----------
    height : array_like, shape (...)
        Height above the site [m]; below 10 ft the values at 10 ft hold.
    wind : array_like, shape (...)
        Mean wind at 20 ft, `REFERENCE_HEIGHT` [m s⁻¹].

    Returns
    -------
    Turbulence
        Arrays, shape (...).

    Notes
    -----
    The strength aloft is `ASSUMED`.

    References
    ----------
    .. [1] MIL-F-8785C, *Flying Qualities of Piloted Airplanes*, 1980; low-altitude forms
       read in secondary copies, the rule above 1000 ft from memory.
    """
    feet = np.maximum(checked("height", height, least=0) / FOOT, _LOWEST)
    speed = checked("wind", wind, least=0)
    low = np.minimum(feet, _LOW)
    base = 0.177 + 0.000823 * low
    length = low / base**1.2
    length += np.clip((feet - _LOW) / (_HIGH - _LOW), 0.0, 1.0) * (_ALOFT - length)
    return Turbulence(np.asarray(0.1 * speed / base**0.4), FOOT * length)


def gusts(
    heights: ArrayLike,
    wind: ArrayLike,
    count: int,
    rng: np.random.Generator,
    stirred: Convection | None = None,
    onto: tuple[FloatArray, FloatArray] | None = None,
) -> tuple[FloatArray, FloatArray]:
    r"""Draw gusts to add to the wind at the heights of a column of air.

    A body that drifts with the wind meets new air only as it rises or falls, so gusts
    are a chain in height, frozen in time:

    .. math:: u_{i+1} = e^{-\Delta z / L} u_i + \sigma \sqrt{1 - e^{-2 \Delta z / L}}\,
              \xi_i

    Parameters
    ----------
    heights : array_like, shape (k,)
        Heights above the site, increasing [m].
    wind : array_like, broadcast to shape (count,)
        Mean wind of each flight at 20 ft [m s⁻¹].
    count : int
        Number of flights.
    rng : numpy.random.Generator
        Source of randomness.
    stirred : Convection, optional
        How the sun stirs the air: to the sides by 0.6 w* [1]_ all through the stirred
        layer, over 0.3 depths. Below 60 m the error of the wind as read has it.
    onto : tuple of ndarray, shape (k, count), optional
        Winds toward east and north to add them to, in place [m s⁻¹]; still air when left out.

    Returns
    -------
    east, north : ndarray, shape (k, count)
        Gusts toward east and north, or `onto` with them [m s⁻¹].

    Raises
    ------
    ValueError
        If heights are not increasing or a number is out of range.

    Notes
    -----
    The chain is exact for the longitudinal spectrum, used here for both components. For
    a vertical path they are transverse, with half its integral scale: the drift given
    is an upper bound. So is freezing: all bodies of a flight meet the same gusts.
    Between two heights the inverse of `L` is their mean. The chain is drawn at heights of
    its own and, given those, at the ones asked for, so that the gusts of a flight do not
    depend on how the air is cut into layers. Of gusts by friction and by the
    sun the variances add up, and so does variance times length, which drift depends on.

    References
    ----------
    .. [1] S. J. Caughey and S. G. Palmer, *Some aspects of turbulence structure through the
       depth of the convective boundary layer*, Q. J. R. Meteorol. Soc. 105, 1979; from
       memory.
    """
    z = checked("heights", heights, least=0)
    if z.ndim != 1 or np.any(np.diff(z) <= 0):
        raise ValueError("'heights' must increase, shape (k,)")
    low = np.broadcast_to(checked("wind", wind, least=0), count)
    unit = turbulence(z, 1.0)  # the strength goes as the wind, the length does not
    rough, sun, length = unit.sideways**2, np.zeros(z.size), unit.length
    square = low**2
    if stirred is not None:
        sun = sideways_sd(z, stirred) ** 2
        mean = rough * np.mean(square)
        length = (mean * length + sun * _LIKE * stirred.depth) / (mean + sun + 1e-12)
    air = onto or (np.zeros((z.size, count)), np.zeros((z.size, count)))
    for k, row in _chain(z, 1 / np.maximum(length, 1e-3), count, rng):
        size = np.sqrt(rough[k] * square + sun[k])
        for way, part in zip(air, row, strict=True):
            way[k] += part * size
    return air


def _chain(
    z: FloatArray, pace: FloatArray, count: int, rng: np.random.Generator
) -> Iterator[tuple[int, FloatArray]]:
    """Draw a chain of unit strength in height: each place in `z` with its row, (2, count).

    `pace` is the inverse of the length at each height. Below the top of two columns of air
    the same draws make the gusts of both.
    """
    between = rng.spawn(1)[0]
    above = int(np.searchsorted(_MESH, z[-1])) + 1
    every = np.union1d(_MESH[:above], z)
    speed = np.interp(every, z, pace)
    steps = np.diff(every) * (speed[1:] + speed[:-1]) / 2
    depth = np.concatenate([[0.0], np.cumsum(steps)])  # in lengths
    mesh = np.searchsorted(every, _MESH[:above])
    place = {int(i): k for k, i in enumerate(np.searchsorted(every, z))}
    last = rng.standard_normal((2, count))
    if 0 in place:
        yield place[0], last
    for low, high in zip(mesh[:-1], mesh[1:], strict=True):
        keep = np.exp(depth[low] - depth[high])
        end = keep * last
        end += np.sqrt(1 - keep**2) * rng.standard_normal((2, count))
        for i in range(low + 1, high):  # given the neighbours, as a chain has it
            a, b = np.exp(depth[i - 1] - depth[i]), np.exp(depth[i] - depth[high])
            whole = 1 - (a * b) ** 2
            if whole > 0:  # else closer to both than the numbers tell
                last = (a * (1 - b**2) / whole) * last
                last += (b * (1 - a**2) / whole) * end
                spread = np.sqrt((1 - a**2) * (1 - b**2) / whole)
                last += spread * between.standard_normal((2, count))
            if i in place:
                yield place[i], last
        if int(high) in place:
            yield place[int(high)], end
        last = end


def mean_behind(gust: float) -> float:
    """Return the mean wind whose turbulence makes such gusts near the ground.

    Parameters
    ----------
    gust : float
        How far gusts stand above the mean wind [m s⁻¹].

    Returns
    -------
    float
        Mean wind at 20 ft with gusts as strong by `turbulence` [m s⁻¹].

    Examples
    --------
    Over open ground gusts usually stand a little over half the mean wind above it:

    >>> round(mean_behind(3.0), 2)
    5.17
    """
    usual = float(turbulence(REFERENCE_HEIGHT, 1.0).sideways)
    return gust / (_PEAK * usual)


def thermals(
    heights: ArrayLike, air: Convection, count: int, rng: np.random.Generator
) -> FloatArray:
    r"""Draw rising and sinking air at the heights of a column.

    A chain in height as that of `gusts`, over a length of 0.3 depths (assumed).

    Parameters
    ----------
    heights : array_like, shape (k,)
        Heights above the site, increasing [m].
    air : Convection
        How it is stirred; each flight has 0.6 to 1.3 times its strength (assumed).
    count : int
        Number of flights.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    ndarray, shape (k, count)
        Velocity of the air upward [m s⁻¹].

    """
    z = checked("heights", heights, least=0)
    pace = np.full(z.size, 1 / (_LIKE * air.depth))
    up = np.empty((z.size, count))
    for k, row in _chain(z, pace, count, rng):
        up[k] = row[0]
    up *= rising_sd(z, air)[:, None] * rng.uniform(*_STRAYS, count)
    return up
