"""Loose plates in free fall: they flutter from side to side, or tumble and glide."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.checks import FloatArray, checked
from driftmap.spread import Spread

__all__ = [
    "FLUTTER_GLIDE",
    "PLATE_SHARE",
    "TUMBLES_ABOVE",
    "TUMBLE_GLIDE",
    "plate_glide",
    "plate_inertia",
]

TUMBLES_ABOVE: Final = 0.04
"""Dimensionless moment of inertia above which a falling disk tumbles, at Reynolds numbers
of some thousands and more (from memory: S. B. Field, M. Klaus, M. G. Moore and F. Nori,
Nature 388, 252-254, 1997, fig. 3)."""

PLATE_SHARE: Final = Spread(
    "uniform", 0.5, 1.0, "a falling plate shows half to all of its face to the air"
)
"""Share of the face that gives drag: flat fall 1, turning end over end near the mean of all
attitudes, 1/2. Range assumed between."""

FLUTTER_GLIDE: Final = Spread(
    "uniform", 0.0, 0.36, "a fluttering plate glides at 0 to 20° off the vertical"
)
"""Way sideways over way down of a plate that flutters. Assumed."""

TUMBLE_GLIDE: Final = Spread(
    "uniform", 0.0, 1.0, "a tumbling plate glides at 0 to 45° off the vertical, any way"
)
"""The same of one that tumbles: about 1 while its axis keeps still, as lift is then near
drag (from memory: A. Andersen, U. Pesavento and Z. J. Wang, J. Fluid Mech. 541, 65-90,
2005), and 0 where it spins about the vertical or its axis turns. Spread assumed."""


def plate_inertia(
    area: ArrayLike, mass: ArrayLike, density: ArrayLike = 1.225
) -> FloatArray:
    r"""Dimensionless moment of inertia of a plate, as of the disk of its area and mass.

    .. math:: I^* = \frac{\pi}{64} \frac{\rho_s h}{\rho d}
                  = \frac{I}{\rho d^5}, \qquad \rho_s h = m / A

    Parameters
    ----------
    area : array_like, shape (...)
        Face, one side [m²].
    mass : array_like, shape (...)
        Mass [kg].
    density : array_like, shape (...)
        Of the air [kg m⁻³].

    Returns
    -------
    ndarray, shape (...)
        Moment about a diameter over that of air in a cube of the diameter.

    Examples
    --------
    >>> float(plate_inertia(0.0085, 0.038).round(2))
    1.72
    """
    face, weight = checked("area", area, above=0), checked("mass", mass, above=0)
    across = np.sqrt(4 * face / np.pi)
    air = checked("density", density, above=0)
    return np.asarray(np.pi / 64 * weight / face / (air * across))


def plate_glide(area: float, mass: float) -> Spread:
    """Give the glide of a loose plate by what it does in free fall.

    Parameters
    ----------
    area, mass : float
        Face of one side [m²] and mass [kg].

    Returns
    -------
    Spread
        `TUMBLE_GLIDE` or `FLUTTER_GLIDE`: way sideways over way down.
    """
    tumbles = plate_inertia(area, mass) > TUMBLES_ABOVE
    return TUMBLE_GLIDE if tumbles else FLUTTER_GLIDE
