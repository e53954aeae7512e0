"""Drag of parachutes and streamers."""

from __future__ import annotations

from dataclasses import dataclass
from math import log, sqrt
from types import MappingProxyType
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from driftmap.core.checks import FloatArray, checked
from driftmap.core.spread import Spread
from driftmap.core.tables import shipped

Range: TypeAlias = tuple[float, float]
"""Least and greatest published value; equal where one value is published."""

_LEAST_SPREAD: Final = 0.10  # of the logarithm of drag; cut, porosity and glide differ
GLIDE: Final = Spread(
    "uniform", 0.0, 2.0, "glide of a round canopy anywhere from 0 to 2 m/s, any way"
)
"""Horizontal speed through the air of an unsteered canopy [m s⁻¹]. Assumed."""


@dataclass(frozen=True, slots=True)
class CanopyType:
    """What is published of one type of canopy.

    Parameters
    ----------
    drag : (float, float)
        Drag coefficient on the nominal area: all the cloth, with vent and slots.
    inflated : (float, float)
        Inflated over nominal diameter.
    load_factor : (float, float)
        Opening-force coefficient at infinite mass.
    filling : (float, float)
        Filling constant: filling distance in nominal diameters, not reefed.
    exponent : float
        Power of time with which drag area grows while filling: 1 for slotted canopies,
        2 for solid cloth.
    assumed : frozenset of str
        Fields above that have no source and were assumed.
    """

    drag: Range
    inflated: Range
    load_factor: Range
    filling: Range
    exponent: float
    assumed: frozenset[str]


def _range(cell: str) -> Range:
    low, high = map(float, cell.split())
    return low, high


CANOPIES: Final = MappingProxyType(
    {
        name: CanopyType(
            _range(drag),
            _range(inflated),
            _range(load),
            _range(filling),
            exponent=float(exponent),
            assumed=frozenset(assumed.split()),
        )
        for name, drag, inflated, load, filling, exponent, assumed in shipped(
            __package__, "canopies.csv"
        )
    }
)
"""Canopy types by name; ``canopies.csv`` tells the source of each."""

UNTOLD: Final = "flat square"
"""Type that tells the drag of a canopy of which nothing is told but its size: the flat sheets that
people sew have the widest range, and the round flat one nearly the best drag of it; assumed."""


def drag_spread(kind: str) -> Spread:
    """Return the spread of the drag coefficient of a type.

    The published range is taken as one standard deviation of the logarithm to either
    side of its middle, and never as less than 10 % (assumed).

    Parameters
    ----------
    kind : str
        A name in `CANOPIES`.

    Returns
    -------
    Spread
        Drag coefficient on the nominal area.

    Raises
    ------
    ValueError
        If there is no such type.

    Examples
    --------
    >>> drag_spread("flat circular").assumed
    'drag coefficient 0.77 on the cloth area (flat circular, 0.75 to 0.80), 10%'
    """
    if kind not in CANOPIES:
        raise ValueError(f"'kind' must be one of {', '.join(CANOPIES)} (got {kind!r})")
    low, high = CANOPIES[kind].drag
    middle, width = sqrt(low * high), max(log(high / low) / 2, _LEAST_SPREAD)
    return Spread(
        "lognormal",
        middle,
        width,
        f"drag coefficient {middle:.2f} on the cloth area "
        f"({kind}, {low:.2f} to {high:.2f}), {width:.0%}",
    )


def nominal_drag(inflated_drag: ArrayLike, inflated_ratio: ArrayLike) -> FloatArray:
    r"""Turn a drag coefficient quoted on the inflated area into one on the cloth.

    .. math:: C_{D0} = C_{Dp} (D_p / D_0)^2

    Parameters
    ----------
    inflated_drag : array_like, shape (...)
        Drag coefficient on the area of the inflated mouth; makers quote 1.2 to 1.6.
    inflated_ratio : array_like, shape (...)
        Inflated over nominal diameter, above 0 and up to 1.

    Returns
    -------
    ndarray, shape (...)
        Drag coefficient on the nominal area.

    Examples
    --------
    >>> float(nominal_drag(1.5, 0.70).round(3))
    0.735
    """
    drag = checked("inflated_drag", inflated_drag, above=0)
    return drag * checked("inflated_ratio", inflated_ratio, above=0, most=1) ** 2


STREAMER_RANGE: Final = (0.05, 0.25)
"""Drag coefficient of a streamer 5 to 10 widths long, on one side. Assumed, wide: published
values of flags fall with length in one place (`flag_drag`) and rise with it in another (0.07
to 0.15 at 1 to 3 widths; Munson, Young & Okiishi, *Fundamentals of Fluid Mechanics*, fig.
9.30, from memory), and none was measured on one that hangs from its short end. Pleated or
stiff film lies high, limp cloth low."""

_FLAG: Final = (0.02, 0.7)  # constant and factor of `flag_drag`

_SLENDER: Final = (5.0, 10.0)  # length over width that the range was made for


def flag_drag(
    length: ArrayLike, width: ArrayLike, cloth_mass: ArrayLike, density: ArrayLike
) -> FloatArray:
    r"""Drag coefficient of a free flag [1]_.

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
    constant, factor = _FLAG
    return np.asarray(constant + factor * weight * slender**-1.25)


def streamer_spread(
    length: float, width: float, cloth_mass: float, density: float = 1.225
) -> Spread:
    """Return the spread of a streamer's drag coefficient.

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
