"""After impact: how far from where they struck things come to rest."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from driftmap.air.atmosphere import STANDARD_GRAVITY
from driftmap.checks import FloatArray, checked
from driftmap.spread import Spread

__all__ = [
    "FRICTION",
    "REBOUND",
    "Thrown",
    "slide_distance",
    "strike_offsets",
]

_G: Final = STANDARD_GRAVITY


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
