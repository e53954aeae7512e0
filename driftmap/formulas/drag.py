"""Drag and normal force of bodies in a flow, and how loose plates fall."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.core.checks import FloatArray, checked
from driftmap.core.errors import FlightPathError
from driftmap.core.spread import Spread

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


_RISE_FROM, _PEAK_FROM, _PEAK_TO = 0.8, 1.05, 1.1  # Mach numbers
_FASTEST: Final = 5.0  # Mach number; hypersonic flow is another matter

PEAK: Final = Spread(
    "uniform", 1.6, 2.2, "drag near Mach 1.05 to 1.1 is 1.6 to 2.2 times the subsonic"
)
"""Peak of the drag over its subsonic value, finned ogive-cylinder (from memory: Hoerner,
*Fluid-Dynamic Drag*, 1965, ch. 16); uniform over the range assumed."""


def _known(mach: ArrayLike, most: float) -> FloatArray:
    """Refuse Mach numbers up to which the drag is not known."""
    numbers = checked("mach", mach, least=0)
    if numbers.size and numbers.max() > most:
        raise FlightPathError(
            f"'mach' must be at most {most:g}, up to which the drag is known (got "
            f"{numbers.max():.2f})"
        )
    return numbers


def drag_rise(
    mach: ArrayLike, peak: ArrayLike = 1.9, decay: ArrayLike = 0.75
) -> FloatArray:
    r"""Drag of a finned ogive-cylinder over its subsonic value.

    1 up to Mach 0.8, in a line to the peak at 1.05, level to 1.1, and from there
    :math:`\text{peak} \cdot (M / 1.1)^{-\text{decay}}`.

    Parameters
    ----------
    mach : array_like, shape (...)
        Mach number, 0 to 5.
    peak : array_like, broadcast to shape (...)
        Peak; see `PEAK`.
    decay : array_like, broadcast to shape (...)
        Power of the fall: 0.5 to 1 [1]_, 0.75 assumed.

    Returns
    -------
    ndarray, shape (...)
        Factor on the subsonic drag coefficient.

    Raises
    ------
    ValueError
        If a Mach number is out of range, `peak` below 1 or `decay` negative.

    Notes
    -----
    The corner points are from memory [1]_, of medium confidence; the line between them
    is assumed.

    References
    ----------
    .. [1] S. F. Hoerner, *Fluid-Dynamic Drag*, 1965, ch. 16 (from memory).

    Examples
    --------
    >>> drag_rise([0.5, 0.925, 1.075, 2.2]).round(3)
    array([1.  , 1.45, 1.9 , 1.13])
    """
    m = _known(mach, _FASTEST)
    top = checked("peak", peak, least=1)
    power = checked("decay", decay, least=0)
    if m.size and m.max() <= _RISE_FROM:  # most flights, most of the time
        return np.ones(np.broadcast(m, top, power).shape)
    share = np.clip((m - _RISE_FROM) / (_PEAK_FROM - _RISE_FROM), 0.0, 1.0)
    rise = 1 + (top - 1) * share
    return np.asarray(rise * (np.maximum(m, _PEAK_TO) / _PEAK_TO) ** -power)


@dataclass(frozen=True, slots=True, eq=False)
class DragTable:
    """The user's drag coefficient by Mach number, linear between rows.

    Parameters
    ----------
    mach : array_like, shape (p,)
        Mach numbers, increasing from 0.
    coefficient : array_like, shape (p,)
        Drag coefficients, positive.

    Raises
    ------
    ValueError
        If there are fewer than two rows, shapes differ, or a number is out of range.

    Examples
    --------
    >>> table = DragTable([0.0, 0.8, 1.05], [0.45, 0.45, 0.90])
    >>> float(table.factor(0.925))
    1.5
    """

    mach: ArrayLike
    coefficient: ArrayLike

    def __post_init__(self) -> None:
        mach = np.array(checked("mach", self.mach, least=0))
        drag = np.array(checked("coefficient", self.coefficient, above=0, most=5))
        if mach.ndim != 1 or mach.size < 2 or mach.shape != drag.shape:
            raise ValueError(
                "'mach' and 'coefficient' must hold the same two rows or more"
            )
        if mach[0] != 0 or np.any(np.diff(mach) <= 0):
            raise ValueError("'mach' must increase from 0")
        for name, column in (("mach", mach), ("coefficient", drag)):
            column.setflags(write=False)
            object.__setattr__(self, name, column)

    def at(self, mach: ArrayLike) -> FloatArray:
        """Drag coefficient at Mach numbers.

        Parameters
        ----------
        mach : array_like, shape (...)
            Mach number, within the table.

        Returns
        -------
        ndarray, shape (...)
            Drag coefficient.

        Raises
        ------
        ValueError
            If a Mach number lies above the table; it is never extrapolated.
        """
        rows = np.asarray(self.mach, float)
        m = _known(mach, float(rows[-1]))
        return np.asarray(np.interp(m, rows, np.asarray(self.coefficient, float)))

    def factor(self, mach: ArrayLike) -> FloatArray:
        """Drag coefficient over the one at Mach 0.

        Parameters
        ----------
        mach : array_like, shape (...)
            Mach number, within the table.

        Returns
        -------
        ndarray, shape (...)
            Factor on the subsonic drag coefficient.
        """
        return np.asarray(self.at(mach) / self.at(0.0))


_TUMBLES_ABOVE: Final = 0.04
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
    """Return the glide of a loose plate by what it does in free fall.

    Parameters
    ----------
    area, mass : float
        Face of one side [m²] and mass [kg].

    Returns
    -------
    Spread
        `TUMBLE_GLIDE` or `FLUTTER_GLIDE`: way sideways over way down.
    """
    tumbles = plate_inertia(area, mass) > _TUMBLES_ABOVE
    return TUMBLE_GLIDE if tumbles else FLUTTER_GLIDE
