"""Normal force of fins and nose at a small angle of attack, and where it acts."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.checks import FloatArray, checked

__all__ = [
    "CROSSFLOW",
    "CYLINDER_DRAG",
    "NOSE_CENTRE",
    "NOSE_SLOPE",
    "fin_centre",
    "fin_slope",
]

NOSE_SLOPE: Final = 2.0
"""Slope of the normal force of any nose on its base area [rad⁻¹]: slender-body theory (M. M.
Munk, NACA Report 184, 1924; from memory)."""

NOSE_CENTRE: Final = 0.57
"""Where it acts, as a share of the nose's length from its tip: 2/3 for a cone, near 0.47 for
an ogive (J. S. Barrowman, thesis, 1967; from memory); the middle of both."""

CYLINDER_DRAG: Final = 1.1
"""Drag coefficient of an endless cylinder across the flow, on length times diameter, below
the critical Reynolds number (from memory: Hoerner, *Fluid-Dynamic Drag*, 1965, ch. 3)."""

CROSSFLOW: Final = 0.66
"""Drag across the flow of a body of finite length over that of an endless cylinder, near a
length of 15 to 20 diameters (L. H. Jorgensen, NASA TR R-474, 1977; from memory)."""


def fin_slope(
    count: ArrayLike,
    root: ArrayLike,
    tip: ArrayLike,
    span: ArrayLike,
    diameter: ArrayLike,
    sweep: ArrayLike = 0.0,
) -> FloatArray:
    r"""Slope of the normal force of a set of fins on a body, on its cross-section.

    .. math:: C_{N\alpha} = \left(1 + \frac{r}{r + s}\right)
              \frac{4 N (s / d)^2}{1 + \sqrt{1 + (2 l / (c_r + c_t))^2}}

    with the length `l` of the line through the middles of the chords.

    Parameters
    ----------
    count : array_like, shape (...)
        Number of fins in the set; three or more evenly about the body in all.
    root, tip : array_like, shape (...)
        Chords at the body and at the tip [m].
    span : array_like, shape (...)
        From the body to the tip [m].
    diameter : array_like, shape (...)
        Of the body at the fins [m].
    sweep : array_like, shape (...)
        How far the tip's leading edge lies behind the root's [m].

    Returns
    -------
    ndarray, shape (...)
        Slope with the angle of attack [rad⁻¹].

    Notes
    -----
    Well below the speed of sound, thin flat fins, small angles. Its limits are thin
    aerofoil theory for slender fins and R. T. Jones's slender wing for short ones.

    References
    ----------
    .. [1] J. S. Barrowman, *The Practical Calculation of the Aerodynamic Characteristics of
       Slender Finned Vehicles*, thesis, Catholic University of America, 1967; from memory.

    Examples
    --------
    >>> float(fin_slope(4, 0.20, 0.09, 0.12, 0.102, 0.11).round(2))
    12.22
    """
    n = checked("count", count, least=1)
    root_, s, d = (
        checked(name, value, above=0)
        for name, value in (("root", root), ("span", span), ("diameter", diameter))
    )
    tip_ = checked("tip", tip, least=0)
    middle = np.hypot(s, np.asarray(sweep, float) + (tip_ - root_) / 2)
    alone = 4 * n * (s / d) ** 2 / (1 + np.sqrt(1 + (2 * middle / (root_ + tip_)) ** 2))
    return np.asarray((1 + d / 2 / (d / 2 + s)) * alone)


def fin_centre(root: ArrayLike, tip: ArrayLike, sweep: ArrayLike) -> FloatArray:
    r"""Where the normal force of a fin acts, behind the leading edge of its root.

    .. math:: \frac{m (c_r + 2 c_t)}{3 (c_r + c_t)} + \frac16 \left(c_r + c_t -
              \frac{c_r c_t}{c_r + c_t}\right)

    which is the quarter of the mean aerodynamic chord.

    Parameters
    ----------
    root, tip : array_like, shape (...)
        Chords [m].
    sweep : array_like, shape (...)
        How far the tip's leading edge lies behind the root's, `m` [m].

    Returns
    -------
    ndarray, shape (...)
        Distance [m].

    References
    ----------
    .. [1] As of `fin_slope`; from memory.

    Examples
    --------
    >>> float(fin_centre(0.2, 0.2, 0.0).round(3))
    0.05
    """
    a, m = checked("root", root, above=0), np.asarray(sweep, float)
    b = checked("tip", tip, least=0)
    return np.asarray(m / 3 * (a + 2 * b) / (a + b) + (a + b - a * b / (a + b)) / 6)
