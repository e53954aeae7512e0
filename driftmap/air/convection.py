"""How strongly, and how deep, the sun stirs the air."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from math import radians, sin
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.air.sun import sun_height
from driftmap.core.checks import FloatArray, checked
from driftmap.core.units import STANDARD_GRAVITY


@dataclass(frozen=True, slots=True)
class Convection:
    """Air that the sun stirs.

    Parameters
    ----------
    speed : float
        Convective velocity, Deardorff's w* [m s⁻¹].
    depth : float
        Depth of the stirred layer [m].
    """

    speed: float
    depth: float

    def __post_init__(self) -> None:
        checked("speed", self.speed, least=0)
        checked("depth", self.depth, above=0)


SUNNY: Final = Convection(2.5, 2250.0)
"""The most that the sun stirs anywhere in `convection`, where the place is not known."""

_HEAT: Final = 0.35
"""Share of the sunshine on the ground that warms the air: dry land. Assumed; grass and damp
soil leave half as much."""

_AIR: Final = 1200.0  # J m⁻³ K⁻¹, density times heat capacity of air near the ground
_STABLE: Final = 0.005
"""How much warmer the morning's air grows with height [K m⁻¹]; assumed."""

_ENTRAINED: Final = 1.4  # what is mixed in from above adds to the heating from below
_SHALLOW, _DEEP = 100.0, 3000.0  # m
_STEP: Final = timedelta(minutes=10)
_LONGEST: Final = 100  # of these steps; no day of the middle latitudes is longer
_SIDEWAYS: Final = 0.6  # w*; Caughey and Palmer 1979, from memory
_READ_TO: Final = 60.0  # m; a reading near the ground is carried up to here


def _convective_speed(flux: ArrayLike, depth: ArrayLike) -> FloatArray:
    r"""Scale of the vertical wind in air heated from below.

    .. math:: w_* = \left(\frac{g}{T} \overline{w'\theta'}\, z_i\right)^{1/3}

    Parameters
    ----------
    flux : array_like, shape (...)
        Flux of heat over density and heat capacity of the air [K m s⁻¹].
    depth : array_like, shape (...)
        Depth of the stirred layer [m].

    Returns
    -------
    ndarray, shape (...)
        Speed [m s⁻¹], at 295 K.

    References
    ----------
    .. [1] J. W. Deardorff, *Convective velocity and temperature scales for the unstable
       planetary boundary layer*, J. Atmos. Sci. 27, 1970, 1211-1213; from memory.

    Examples
    --------
    A sunny afternoon, 250 W/m² into a layer of 1,500 m:

    >>> float(_convective_speed(250 / 1200, 1500.0).round(2))
    2.18
    """
    heat = checked("flux", flux, least=0) * checked("depth", depth, least=0)
    return np.asarray(np.cbrt(STANDARD_GRAVITY / 295.0 * heat))


def convection(
    when: datetime, latitude: float, longitude: float, cloud: float | None
) -> Convection | None:
    r"""Tell how strongly, and how deep, the sun has stirred the air.

    Sunshine on the ground by the height of the sun, :math:`(990 \sin\varphi - 30)(1 -
    0.75 N^{3.4})` W/m² [1]_; a share of it warms the air from below, and the stirred layer
    eats into air that grows warmer with height, :math:`z_i^2 = 2 \cdot 1.4 \int Q\,
    \mathrm dt / \gamma` since sunrise [2]_.

    Parameters
    ----------
    when : datetime
        Time, with its zone.
    latitude, longitude : float
        Place [deg].
    cloud : float or None
        Share of the sky in cloud; taken as clear, which stirs most, when not known.

    Returns
    -------
    Convection or None
        None while the ground does not warm the air.

    References
    ----------
    .. [1] F. Kasten and G. Czeplak, Solar Energy 24, 1980, 177-189, with the constants of
       A. A. M. Holtslag and A. P. van Ulden, J. Climate Appl. Meteor. 22, 1983; from memory.
    .. [2] H. Tennekes, J. Atmos. Sci. 30, 1973, 558-567, growth into a stable morning; from
       memory.
    """
    clear = 1 - 0.75 * (cloud or 0.0) ** 3.4

    def flux(at: datetime) -> float:
        high = sin(radians(sun_height(at, latitude, longitude)))
        return float(max(990 * high - 30, 0.0) * clear * _HEAT / _AIR)

    now = flux(when)
    if now == 0:
        return None
    heated, at = now / 2, when
    for _ in range(_LONGEST):
        at -= _STEP
        before = flux(at)
        if before == 0:
            break
        heated += before
    heated *= _STEP.total_seconds()
    depth = float(np.clip(np.sqrt(2 * _ENTRAINED * heated / _STABLE), _SHALLOW, _DEEP))
    return Convection(float(_convective_speed(now, depth)), depth)


def rising_sd(height: ArrayLike, air: Convection) -> FloatArray:
    r"""Return the standard deviation of the vertical wind in air stirred by the sun.

    .. math:: \sigma_w^2 = 1.8\, w_*^2 \left(\frac{z}{z_i}\right)^{2/3}
              \left(1 - 0.8 \frac{z}{z_i}\right)^2

    Parameters
    ----------
    height : array_like, shape (...)
        Height above the site [m]; above the stirred layer it is 0 by 1.25 depths.
    air : Convection
        How it is stirred.

    Returns
    -------
    ndarray, shape (...)
        Standard deviation [m s⁻¹].

    References
    ----------
    .. [1] D. H. Lenschow, J. C. Wyngaard and W. T. Pennell, *Mean-field and second-moment
       budgets in a baroclinic, convective boundary layer*, J. Atmos. Sci. 37, 1980; from
       memory.

    Examples
    --------
    >>> rising_sd([100.0, 500.0, 1500.0], Convection(2.0, 1500.0)).round(2)
    array([1.03, 1.36, 0.54])
    """
    share = checked("height", height, least=0) / air.depth
    wide = np.sqrt(1.8) * air.speed * np.cbrt(share) * np.maximum(1 - 0.8 * share, 0.0)
    return np.asarray(wide)


def sideways_sd(height: FloatArray, air: Convection) -> FloatArray:
    """Return the standard deviation of either sideways component in stirred air.

    Parameters
    ----------
    height : ndarray, shape (...)
        Height above the site [m].
    air : Convection
        How it is stirred.

    Returns
    -------
    ndarray, shape (...)
        Standard deviation, 0.6 w* but near the ground, where a reading holds it already,
        and at the top [m s⁻¹].

    References
    ----------
    .. [1] S. J. Caughey and S. G. Palmer, *Some aspects of turbulence structure through
       the depth of the convective boundary layer*, Q. J. R. Meteorol. Soc. 105, 1979; from
       memory.
    """
    low = np.clip(height / _READ_TO, 0.0, 1.0)
    above = np.clip((1.25 - height / air.depth) / 0.25, 0.0, 1.0)
    return np.asarray(_SIDEWAYS * air.speed * low * above)
