"""A motor that bursts: how fast its fragments leave and how far they can go."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.air.atmosphere import STANDARD_GRAVITY
from driftmap.checks import FloatArray, checked
from driftmap.spread import Spread

__all__ = ["ENERGY_SHARE", "fragment_speed", "gas_energy", "throws"]

_G: Final = STANDARD_GRAVITY

ENERGY_SHARE: Final = Spread(
    "uniform", 0.1, 0.5, "10 to 50 % of the gas energy goes into fragments"
)
"""Share of the energy that moves fragments. Assumed."""


def gas_energy(
    gauge_pressure: ArrayLike, volume: ArrayLike, ratio: ArrayLike = 1.2
) -> FloatArray:
    r"""Energy of the gas in a motor case, :math:`E = (p - p_0) V / (\gamma - 1)`.

    Parameters
    ----------
    gauge_pressure : array_like, shape (...)
        Pressure at which the case gives, over that of the air [Pa].
    volume : array_like, shape (...)
        Free volume in the case [m³].
    ratio : array_like, shape (...)
        Ratio of specific heats of the gas, above 1; 1.2 assumed for hot propellant gas.

    Returns
    -------
    ndarray, shape (...)
        Energy [J]. Propellant that burns after the burst is not in it.

    References
    ----------
    .. [1] H. L. Brode, *Blast wave from a spherical charge*, Physics of Fluids 2, 1959,
       217-229; from memory.
    """
    work = checked("gauge_pressure", gauge_pressure, least=0)
    work = work * checked("volume", volume, least=0)
    return np.asarray(work / (checked("ratio", ratio, above=1) - 1))


def fragment_speed(energy: ArrayLike, share: ArrayLike, mass: ArrayLike) -> FloatArray:
    r"""Speed of fragments that share an energy in proportion to their mass.

    .. math:: v = \sqrt{2 \eta E / m}

    Parameters
    ----------
    energy : array_like, shape (...)
        Energy of the burst [J].
    share : array_like, shape (...)
        Share of it that moves fragments, 0 to 1; see `ENERGY_SHARE`.
    mass : array_like, shape (...)
        Mass of all that is thrown; the lightest fragment alone for the upper bound [kg].

    Returns
    -------
    ndarray, shape (...)
        Speed [m s⁻¹].

    Examples
    --------
    >>> float(fragment_speed(4000.0, 0.25, 0.2))
    100.0
    """
    moved = checked("energy", energy, least=0) * checked(
        "share", share, least=0, most=1
    )
    return np.sqrt(2 * moved / checked("mass", mass, above=0))


def throws(speed: ArrayLike, rng: np.random.Generator) -> FloatArray:
    """Draw velocities of fragments thrown evenly over the upper half of all directions.

    Parameters
    ----------
    speed : array_like, shape (n,)
        Speed on leaving [m s⁻¹].
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    ndarray, shape (3, n)
        Velocity toward east, north and up [m s⁻¹]; add that of the rocket.
    """
    v = checked("speed", speed, least=0)
    up, turn = rng.random((2, *v.shape))
    flat = np.sqrt(1 - up**2)  # equal steps of height cut equal areas from a sphere
    way = [flat * np.sin(2 * np.pi * turn), flat * np.cos(2 * np.pi * turn), up]
    return np.asarray(v * np.stack(way))
