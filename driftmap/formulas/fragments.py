"""How far things go where something bursts or strikes the ground."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from driftmap.core.checks import FloatArray, checked
from driftmap.core.spread import Spread
from driftmap.core.units import STANDARD_GRAVITY

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


def slide_distance(speed: ArrayLike, friction: ArrayLike) -> FloatArray:
    r"""Longest slide on level ground, :math:`v_h^2 / (2 \mu g)` (textbook).

    Parameters
    ----------
    speed : array_like, shape (...)
        Horizontal speed on landing [m s⁻¹].
    friction : array_like, shape (...)
        Coefficient of friction, above 0.

    Returns
    -------
    ndarray, shape (...)
        Distance [m]. An upper bound: soft ground holds, steep falls bury themselves.

    Examples
    --------
    >>> float(slide_distance(15.0, 0.6).round(2))
    19.12
    """
    v = checked("speed", speed, least=0)
    return np.asarray(v**2 / (2 * _G * checked("friction", friction, above=0)))


REBOUND: Final = Spread(
    "loguniform", 0.01, 0.2, "a piece leaves a strike with 1 to 20 % of its speed"
)
"""Speed at which a piece leaves a strike over the speed of the strike. Assumed: most of it
goes into ground and breaking; a bouncing ball of hard wood keeps a half."""

FRICTION: Final = Spread("uniform", 0.4, 0.8, "friction 0.4 to 0.8 on the ground")
"""Coefficient of friction of a sliding piece. Assumed: dry grass to stubble."""


class Thrown(NamedTuple):
    """What a strike throws on.

    Parameters
    ----------
    east, north : ndarray, shape (...)
        Where it comes to rest, from the strike [m].
    speed, angle : ndarray, shape (...)
        How fast [m s⁻¹], and how steeply [rad], it leaves and lands again.
    """

    east: FloatArray
    north: FloatArray
    speed: FloatArray
    angle: FloatArray


def strike_offsets(speed: ArrayLike, rng: np.random.Generator) -> Thrown:
    r"""Draw where pieces that break off in a strike come to rest.

    A piece leaves with a share of the speed, `REBOUND`, in any direction above the
    ground, hops as in vacuum and slides on from where it lands:

    .. math:: \ell = \frac{u^2 \sin 2\theta}{g} + \frac{(u \cos\theta)^2}{2 \mu g}

    Parameters
    ----------
    speed : array_like, shape (n,)
        Speed of the strike of each piece's rocket [m s⁻¹].
    rng : numpy.random.Generator
        Source of randomness; four numbers for each piece, whatever the speed.

    Returns
    -------
    Thrown
        Arrays, shape (n,); all directions are alike.

    Notes
    -----
    Left out: drag, spin and further hops. Distances grow as the square of the speed.
    """
    v = checked("speed", speed, least=0)
    share = REBOUND.draw(v.size, rng).reshape(v.shape)
    friction = FRICTION.draw(v.size, rng).reshape(v.shape)
    up, turn = rng.random((2, *v.shape))
    u, angle = v * share, np.pi / 2 * up
    reach = u**2 * np.sin(2 * angle) / _G
    reach = reach + slide_distance(u * np.cos(angle), friction)
    flat = 2 * np.pi * turn
    return Thrown(reach * np.sin(flat), reach * np.cos(flat), u, angle)
