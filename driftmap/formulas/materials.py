"""Stiffness and strength of the materials of fins and printed parts."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

from driftmap.core.spread import Spread
from driftmap.core.tables import shipped

PRINTED: Final = Spread(
    "uniform", 0.3, 0.8, "layers leave a printed fin 30 to 80 % of its shear modulus"
)
"""Knock-down of the shear modulus of a fin printed in layers. Assumed."""

_ROWS: Final = tuple(shipped(__package__, "materials.csv"))


def _between(cell: str, size: float, told: str) -> Spread:
    low, high = cell.split()
    return Spread(
        "uniform", float(low) * size, float(high) * size, told.format(low, high)
    )


SHEAR_MODULUS: Final = MappingProxyType(
    {
        name: _between(modulus, 1e9, "shear modulus {} to {} GPa")
        for name, modulus, *_ in _ROWS
    }
)
"""Shear modulus by material where the user states none [Pa]; the table tells its source."""

BENDING_STRENGTH: Final = MappingProxyType(
    {
        name: _between(stress, 1e6, f"{does} at {{}} to {{}} MPa")
        for name, _, stress, does, _ in _ROWS
    }
)
"""Stress at the root at which a fin breaks or folds, by material [Pa]."""

DENSITY: Final = MappingProxyType(
    {
        name: (float(low), float(high))
        for name, *_, density in _ROWS
        for low, high in [density.split()]
    }
)
"""Least and greatest density by material [kg m⁻³]."""

THINNED: Final = 0.7
GLUED: Final = 2.0
"""Mass of a fin over that of a plate as thick all over: one that is much lighter is thinner
than told, one much heavier than fillets, glue and paint make it is thicker; assumed."""


def made_of(density: float) -> list[str]:
    """List what a fin may be made of.

    Parameters
    ----------
    density : float
        Its mass over area and thickness [kg m⁻³].

    Returns
    -------
    list of str
        Materials of the table.

    Examples
    --------
    >>> made_of(450.0)
    ['plywood', 'balsa', 'card']
    """
    return [
        name
        for name, (low, high) in DENSITY.items()
        if THINNED * low <= density <= GLUED * high
    ]


LAYER_STRENGTH: Final = Spread(
    "loguniform", 6e6, 35e6, "layers part at 6 to 35 MPa, whatever the material"
)
"""Tension between the layers of a printed part at which they part [Pa], where it is not
stated. Assumed: tests give a third to nine tenths of the 40 to 60 MPa of the solid."""
