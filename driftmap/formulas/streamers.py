"""Drag of streamers: what is published of flags, and the honest range around it."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from driftmap.checks import FloatArray, checked
from driftmap.spread import Spread

__all__ = [
    "FLAG_LAWS",
    "FLAG_TABLE",
    "STREAMER_RANGE",
    "flag_drag",
    "streamer_spread",
]

FLAG_LAWS: Final[Mapping[str, tuple[float, float]]] = MappingProxyType(
    {"EN 1991-1-4": (0.02, 0.7), "Fairthorne": (0.012, 0.39)}
)
"""Constant and factor of the two published forms of `flag_drag` (from memory: EN
1991-1-4:2005, sec. 7.12, table 7.15; Fairthorne, ARC R&M 1345, 1930)."""

FLAG_TABLE: Final[Mapping[float, float]] = MappingProxyType({1: 0.07, 2: 0.12, 3: 0.15})
"""Drag coefficient of a fluttering flag on length times width, by length over width
(Munson, Young & Okiishi, *Fundamentals of Fluid Mechanics*, fig. 9.30; 2 read in a quote,
the others from memory). It rises with length where `FLAG_LAWS` fall: the two must not be
mixed, and neither was measured on a streamer that hangs from its short end."""

STREAMER_RANGE: Final = (0.05, 0.25)
"""Drag coefficient of a streamer 5 to 10 widths long, on one side. Assumed from the
values above; pleated or stiff film lies high, limp cloth low."""

_SLENDER: Final = (5.0, 10.0)  # length over width that the range was made for


def flag_drag(
    length: ArrayLike,
    width: ArrayLike,
    cloth_mass: ArrayLike,
    density: ArrayLike,
    *,
    law: Literal["EN 1991-1-4", "Fairthorne"] = "EN 1991-1-4",
) -> FloatArray:
    r"""Drag coefficient of a free flag.

    .. math:: c_f = c_0 + c_1 \frac{m_f}{\rho h} \left(\frac{A}{h^2}\right)^{-1.25},
              \qquad A = h l

    Parameters
    ----------
    length : array_like, shape (...)
        Length `l` away from the held side [m].
    width : array_like, shape (...)
        Held side `h` [m].
    cloth_mass : array_like, shape (...)
        Mass of the cloth for each area [kg m⁻²].
    density : array_like, shape (...)
        Air density [kg m⁻³].
    law : {"EN 1991-1-4", "Fairthorne"}
        Which constants; see `FLAG_LAWS`.

    Returns
    -------
    ndarray, shape (...)
        Drag coefficient on length times width.

    Raises
    ------
    ValueError
        If a number is not positive and finite.

    References
    ----------
    .. [1] EN 1991-1-4:2005, sec. 7.12, table 7.15; from memory.

    Examples
    --------
    >>> float(flag_drag(1.0, 0.1, 0.05, 1.25).round(4))
    0.0357
    """
    h = checked("width", width, above=0)
    slender = checked("length", length, above=0) / h
    weight = checked("cloth_mass", cloth_mass, above=0)
    weight = weight / (checked("density", density, above=0) * h)
    constant, factor = FLAG_LAWS[law]
    return np.asarray(constant + factor * weight * slender**-1.25)


def streamer_spread(
    length: float, width: float, cloth_mass: float, density: float = 1.225
) -> Spread:
    """Give the spread of a streamer's drag coefficient.

    `STREAMER_RANGE`, widened to take in the free flag of the same size and cloth.

    Parameters
    ----------
    length, width : float
        Size of the streamer [m].
    cloth_mass : float
        Mass of the cloth for each area [kg m⁻²].
    density : float
        Air density [kg m⁻³].

    Returns
    -------
    Spread
        Drag coefficient on one side; what was assumed says so when the streamer is
        shorter or longer than the range was made for.

    Raises
    ------
    ValueError
        If a number is not positive and finite.

    Examples
    --------
    >>> spread = streamer_spread(1.5, 0.15, 0.045)
    >>> round(spread.first, 3), spread.second
    (0.029, 0.25)
    """
    flag = float(flag_drag(length, width, cloth_mass, density))
    low, high = min(STREAMER_RANGE[0], flag), max(STREAMER_RANGE[1], flag)
    note = f"drag coefficient anywhere from {low:.2g} to {high:.2g} on one side"
    if not _SLENDER[0] <= length / width <= _SLENDER[1]:
        note += (
            f"; {length / width:.2g} widths long, outside the {_SLENDER[0]:.0f} to "
            f"{_SLENDER[1]:.0f} that this range was made for"
        )
    return Spread("loguniform", low, high, note)
