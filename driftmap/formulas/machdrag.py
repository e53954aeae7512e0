"""How drag changes with Mach number: a default rise, or the user's own table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.checks import FloatArray, checked
from driftmap.errors import FlightPathError
from driftmap.spread import Spread

__all__ = ["DECAY", "PEAK", "DragTable", "drag_rise"]

_RISE_FROM, _PEAK_FROM, _PEAK_TO = 0.8, 1.05, 1.1  # Mach numbers
_FASTEST: Final = 5.0  # Mach number; hypersonic flow is another matter

PEAK: Final = Spread(
    "uniform", 1.6, 2.2, "drag near Mach 1.05 to 1.1 is 1.6 to 2.2 times the subsonic"
)
"""Peak of the drag over its subsonic value, finned ogive-cylinder (from memory: Hoerner,
*Fluid-Dynamic Drag*, 1965, ch. 16); uniform over the range assumed."""

DECAY: Final = Spread(
    "uniform", 0.5, 1.0, "supersonic drag falls as Mach to the power 0.5 to 1"
)
"""Power of the fall beyond the peak (from memory: Hoerner, *Fluid-Dynamic Drag*, 1965,
ch. 16); uniform over the range assumed."""


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
        Power of the fall; see `DECAY`.

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
    .. [1] S. F. Hoerner, *Fluid-Dynamic Drag*, 1965, ch. 16.

    Examples
    --------
    >>> drag_rise([0.5, 0.925, 1.075, 2.2]).round(3)
    array([1.  , 1.45, 1.9 , 1.13])
    """
    m = _known(mach, _FASTEST)
    top = checked("peak", peak, least=1)
    power = checked("decay", decay, least=0)
    if m.size and m.max() <= _RISE_FROM:  # most flights, most of the time
        return np.ones(np.broadcast_shapes(m.shape, top.shape, power.shape))
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
