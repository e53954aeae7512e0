"""After impact: how far from where they struck things come to rest."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.air.atmosphere import STANDARD_GRAVITY, FloatArray
from driftmap.checks import checked

__all__ = ["Bounces", "Breakup", "bounces", "breakup_offsets", "slide_distance"]

_G: Final = STANDARD_GRAVITY
_FOOT: Final = 0.3048  # m, exact


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


@dataclass(frozen=True, slots=True, eq=False)
class Bounces:
    """Hops of a body that keeps its horizontal speed.

    Parameters
    ----------
    first, total : ndarray, shape (...)
        Length of the first hop, and of all together [m].
    height : ndarray, shape (...)
        Height of the first hop [m].
    """

    first: FloatArray
    total: FloatArray
    height: FloatArray


def bounces(
    vertical: ArrayLike, horizontal: ArrayLike, restitution: ArrayLike
) -> Bounces:
    r"""Hops of a body on hard level ground, without friction and air (textbook).

    .. math:: \ell_1 = \frac{2 e\, v_z v_h}{g}, \qquad
              \ell = \frac{2 v_z v_h}{g} \frac{e}{1 - e}, \qquad
              h_1 = \frac{(e\, v_z)^2}{2 g}

    Parameters
    ----------
    vertical, horizontal : array_like, shape (...)
        Speeds on landing, 0 or more [m s⁻¹].
    restitution : array_like, shape (...)
        Share of the vertical speed kept in a bounce, 0 to below 1.

    Returns
    -------
    Bounces
        Lengths and height, shape (...). An upper bound.

    Examples
    --------
    >>> float(bounces(10.0, 5.0, 0.3).total.round(2))
    4.37
    """
    vz = checked("vertical", vertical, least=0)
    vh = checked("horizontal", horizontal, least=0)
    e = checked("restitution", restitution, least=0)
    if np.any(e >= 1):
        raise ValueError("'restitution' must be below 1")
    first = np.asarray(2 * e * vz * vh / _G)
    return Bounces(
        first, np.asarray(first / (1 - e)), np.asarray((e * vz) ** 2 / 2 / _G)
    )


@dataclass(frozen=True, slots=True)
class Breakup:
    """How far broken pieces lie from where a nose-first fall struck.

    Common practice, no source: after a nose-first fall of a small high-power rocket thin
    printed fins come to rest mostly within 5 ft, some 30 and 45 ft away in opposite
    directions. That is one fall; shares, directions and the growth with speed are assumed.

    Parameters
    ----------
    near : float
        Distance within which 90 % of the near pieces lie [m].
    far : (float, float)
        Least and greatest distance of the far pieces [m].
    far_share : float
        Share of pieces thrown far, 0 to 1.
    reference_speed : float
        Speed of impact the distances stand for; they grow in proportion [m s⁻¹].

    Raises
    ------
    ValueError
        If a number is out of range.
    """

    near: float = 5 * _FOOT
    far: tuple[float, float] = (30 * _FOOT, 45 * _FOOT)
    far_share: float = 0.25
    reference_speed: float = 60.0

    def __post_init__(self) -> None:
        checked("near", self.near, above=0)
        checked("far", self.far, least=self.near)
        if self.far[0] > self.far[1]:
            raise ValueError(f"'far' must not fall (got {self.far})")
        checked("far_share", self.far_share, least=0, most=1)
        checked("reference_speed", self.reference_speed, above=0)


def breakup_offsets(
    speed: ArrayLike, rng: np.random.Generator, scatter: Breakup | None = None
) -> tuple[FloatArray, FloatArray]:
    """Draw where pieces that break off on impact come to rest.

    Parameters
    ----------
    speed : array_like, shape (n,)
        Speed of impact of each piece's rocket [m s⁻¹].
    rng : numpy.random.Generator
        Source of randomness; four numbers for each piece, whatever the speed.
    scatter : Breakup, optional
        How far; a small rocket with printed fins when left out.

    Returns
    -------
    east, north : ndarray, shape (n,)
        Offset from the point of impact [m]; all directions are alike.

    Notes
    -----
    Near pieces are a round Gaussian cloud, far ones even in distance. Assumed and to be
    reported apart from the spread of the flight.
    """
    how = scatter or Breakup()
    v = checked("speed", speed, least=0)
    near, far, pick, turn = rng.random((4, *v.shape))
    # Rayleigh: the share 1 - exp(-r²/2s²) lies within r.
    close = how.near * np.sqrt(np.log1p(-near) / np.log1p(-0.9))
    away = how.far[0] + (how.far[1] - how.far[0]) * far
    reach = np.where(pick < how.far_share, away, close) * (v / how.reference_speed)
    return reach * np.sin(2 * np.pi * turn), reach * np.cos(2 * np.pi * turn)
