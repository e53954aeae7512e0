"""How stiff and strong what fins and printed parts are made of is."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from driftmap.core.spread import Spread

PRINTED: Final = Spread(
    "uniform", 0.3, 0.8, "layers leave a printed fin 30 to 80 % of its shear modulus"
)
"""Knock-down of the shear modulus of a fin printed in layers. Assumed."""

SHEAR_MODULUS: Final[Mapping[str, Spread]] = MappingProxyType(
    {
        "aluminium": Spread("uniform", 25e9, 28e9, "shear modulus 25 to 28 GPa"),
        "glass epoxy": Spread("uniform", 3e9, 6e9, "shear modulus 3 to 6 GPa"),
        "carbon epoxy": Spread("uniform", 3e9, 6e9, "shear modulus 3 to 6 GPa"),
        "plywood": Spread("uniform", 0.4e9, 0.9e9, "shear modulus 0.4 to 0.9 GPa"),
        "balsa": Spread("uniform", 0.05e9, 0.2e9, "shear modulus 0.05 to 0.2 GPa"),
        "card": Spread("uniform", 0.3e9, 1.0e9, "shear modulus 0.3 to 1 GPa"),
        "solid plastic": Spread(
            "uniform", 0.7e9, 1.4e9, "shear modulus 0.7 to 1.4 GPa"
        ),
    }
)
"""Shear modulus by material where the user states none [Pa]. Aluminium from memory of any
materials handbook; the others assumed, wide on purpose: lay-up and glue decide."""

BENDING_STRENGTH: Final[Mapping[str, Spread]] = MappingProxyType(
    {
        "aluminium": Spread("uniform", 150e6, 400e6, "bends at 150 to 400 MPa"),
        "glass epoxy": Spread("uniform", 200e6, 450e6, "breaks at 200 to 450 MPa"),
        "carbon epoxy": Spread("uniform", 200e6, 600e6, "breaks at 200 to 600 MPa"),
        "plywood": Spread("uniform", 25e6, 70e6, "breaks at 25 to 70 MPa"),
        "balsa": Spread("uniform", 8e6, 25e6, "breaks at 8 to 25 MPa"),
        "card": Spread("uniform", 8e6, 30e6, "breaks at 8 to 30 MPa"),
        "solid plastic": Spread("uniform", 30e6, 80e6, "breaks at 30 to 80 MPa"),
    }
)
"""Stress at the root at which a fin breaks or folds, by material [Pa]. Assumed, wide on
purpose: lay-up, glue and notches decide."""

LAYER_STRENGTH: Final = Spread(
    "loguniform", 6e6, 35e6, "layers part at 6 to 35 MPa, whatever the material"
)
"""Tension between the layers of a printed part at which they part [Pa], where it is not
stated. Assumed: tests give a third to nine tenths of the 40 to 60 MPa of the solid."""
