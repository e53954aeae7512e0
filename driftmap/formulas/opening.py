r"""How hard a canopy opens.

While a canopy fills, its drag area grows as :math:`(t / t_f)^j` and slows its load. With
gravity left out that has a closed form, whose only parameter is

.. math:: A = \frac{2 m}{\rho\, C_D S\, v\, t_f} = \frac{2 m}{\rho\, C_D S\, n D_0}.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.core.checks import FloatArray, checked
from driftmap.core.units import STANDARD_GRAVITY

_G: Final = STANDARD_GRAVITY
# Greatest drag over weight of a body that falls from rest while its drag area grows with
# the way fallen, by exponent: the peak of z^j u, u' = 1 - z^j u, u(0) = 0, rounded up.
_WEIGHTS: Final = {0.5: 1.125, 1.0: 1.285, 2.0: 1.631}


@dataclass(frozen=True, slots=True, eq=False)
class Inflation:
    """How a canopy fills.

    Parameters
    ----------
    diameter : array_like, shape (...)
        Nominal diameter [m].
    drag_area : array_like, shape (...)
        Drag coefficient times nominal area [m²].
    load_factor : array_like, shape (...)
        Opening-force coefficient at infinite mass.
    filling : array_like, shape (...)
        Filling constant: filling distance in nominal diameters.
    exponent : {0.5, 1, 2}
        Power of time with which the drag area grows.

    Raises
    ------
    ValueError
        If a value is not positive and finite, or the exponent another.
    """

    diameter: ArrayLike
    drag_area: ArrayLike
    load_factor: ArrayLike
    filling: ArrayLike
    exponent: float = 2.0

    def __post_init__(self) -> None:
        for name in self.__slots__:
            checked(name, getattr(self, name), above=0)
        if self.exponent not in _WEIGHTS:
            raise ValueError(f"'exponent' must be 0.5, 1 or 2 (got {self.exponent})")

    @property
    def distance(self) -> FloatArray:
        """Way travelled while filling [m], shape (...)."""
        return np.asarray(np.multiply(self.filling, self.diameter), float)


def load_reduction(parameter: ArrayLike, exponent: float) -> FloatArray:
    r"""Share of the infinite-mass load that a canopy meets as it slows its load.

    With :math:`\tau = t / t_f` the speed is :math:`v / v_1 = (1 + \tau^{j+1} / ((j+1)
    A))^{-1}`; the load peaks where :math:`\tau^{j+1} = j (j+1) A / (j+2)`, or at full
    opening if that comes first:

    .. math:: X_1 = \max_{0 \le \tau \le 1} \tau^j (v / v_1)^2

    Parameters
    ----------
    parameter : array_like, shape (...)
        Ballistic parameter `A`.
    exponent : float
        Growth `j` of the drag area: 1/2, 1 or 2.

    Returns
    -------
    ndarray, shape (...)
        Share, 0 to 1.

    Notes
    -----
    Gravity is left out. The closed form was derived from the equation of motion; it
    gives the curves of Pflanz's method [1]_.

    References
    ----------
    .. [1] T. W. Knacke, *Parachute Recovery Systems Design Manual*, NWC TP 6575, 1991,
       sec. 5.4.3; from memory.

    Examples
    --------
    >>> load_reduction([0.1, 1.0, 10.0], 2).round(5)
    array([0.12547, 0.5625 , 0.93652])
    """
    a = checked("parameter", parameter, above=0)
    j = float(checked("exponent", exponent, above=0))
    tau = np.minimum(1.0, (j * (j + 1) * a / (j + 2)) ** (1 / (j + 1)))
    return np.asarray(tau**j / (1 + tau ** (j + 1) / ((j + 1) * a)) ** 2)


def opening_load(
    canopy: Inflation,
    mass: ArrayLike,
    speed: ArrayLike,
    density: ArrayLike,
    *,
    dive: ArrayLike = 0.0,
) -> FloatArray:
    r"""Greatest load while a canopy opens.

    .. math:: F = C_x \left(X_1\, C_D S\, \rho v^2 / 2 + c_j\, m g \max(\sin\gamma, 0)
              \right)

    Parameters
    ----------
    canopy : Inflation
        How the canopy fills.
    mass : array_like, shape (...)
        Mass it slows [kg].
    speed : array_like, shape (...)
        Speed through the air at line stretch, 0 or more [m s⁻¹].
    density : array_like, shape (...)
        Air density [kg m⁻³].
    dive : array_like, shape (...)
        Sine of the angle γ of the path below the horizontal, -1 to 1. The published
        method is for a level path, 0.

    Returns
    -------
    ndarray, shape (...)
        Greatest load [N].

    Notes
    -----
    The published method leaves gravity out and is low on a falling path: by a fifth for
    10 kg falling at 30 m/s under 2 m of canopy. The term with γ is ours. It is the
    greatest load that gravity alone can give while a canopy fills, 1.1 to 1.6 weights,
    and bounds the sum from above, whether the canopy fills by distance or by time
    (``tests/analytic/test_opening.py``). A climb is taken as level.

    References
    ----------
    .. [1] T. W. Knacke, *Parachute Recovery Systems Design Manual*, NWC TP 6575, 1991,
       sec. 5.4.3; from memory, as is the use of :math:`C_x` together with :math:`X_1`.

    Examples
    --------
    >>> canopy = Inflation(2.0, 2.51327, 1.7, 8)
    >>> float(opening_load(canopy, 10.0, 30.0, 1.112).round(1))
    728.2
    """
    m = checked("mass", mass, above=0)
    v = checked("speed", speed, least=0)
    rho = checked("density", density, above=0)
    down = np.maximum(checked("dive", dive, least=-1, most=1), 0.0)
    area = np.asarray(canopy.drag_area, float)
    reduction = load_reduction(2 * m / (rho * area * canopy.distance), canopy.exponent)
    factor = np.asarray(canopy.load_factor, float)
    infinite = rho / 2 * area * v**2 * factor
    weight = _WEIGHTS[canopy.exponent] * m * _G * down * factor
    return np.asarray(infinite * reduction + weight)
