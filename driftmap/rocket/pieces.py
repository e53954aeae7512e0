"""What can come off a rocket: its pieces, and the fragments of a burst motor."""

from __future__ import annotations

from math import hypot, pi, sqrt
from typing import Annotated, Final, Literal, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from driftmap.formulas.flutter import FinPlanform
from driftmap.formulas.materials import (
    BENDING_STRENGTH,
    DENSITY,
    GLUED,
    LAYER_STRENGTH,
    SHEAR_MODULUS,
    THINNED,
    made_of,
)
from driftmap.rocket.fields import (
    AreaSize,
    Length,
    LengthOrNone,
    Mass,
    Name,
    OneOf,
    Pressure,
    Share,
    Thickness,
    Volume,
)

FOUND_AS: Final = (
    *("whole", "broken", "stuck in the ground", "burnt"),
    *("torn", "tangled", "unopened"),
)
"""States in which people find a piece, or, of the last three, cloth."""


class Table(BaseModel):
    """A table of a flight file: no key is passed over, nothing changes after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)

    def told(self, *keys: str) -> list[str]:
        """List which of some keys the file tells."""
        return [key for key in keys if getattr(self, key) is not None]


SLICED: Final = 0.15
"""Infill of a printed fin where none is told: what slicers do by default; common practice, no
source."""

PLASTIC: Final = "solid plastic"

_ANY: Final = (70.0, 4500.0)  # kg/m³ of no material told; assumed


class Piece(Table):
    """A piece that can come off.

    Parameters
    ----------
    name : str
        What the flier calls it.
    kind : {"fin", "nose cone", "motor case"}
        Decides its shape in the air and in which cases it comes off.
    mass : float
        Mass of one [kg].
    count : int
        How many there are.
    area : float, optional
        Fin: planform of one, one side [m²]; or give its shape.
    root, tip, span, thickness : float, optional
        Fin: chords at the body and the tip (0 of a pointed one), span from the body [m]; with thickness and
        material, flutter is worked out. The thickness of a printed nose cone is its wall's.
    sweep : float, optional
        Fin: how far the tip's leading edge lies behind the root's [m]; a straight trailing
        edge when left out.
    position : float, optional
        Fin: from the tip of the nose to the root's leading edge [m]; at the rocket's end
        when left out.
    material : str, optional
        Fin: a key of `driftmap.formulas.materials.SHEAR_MODULUS`.
    shear_modulus : float, optional
        Fin: in place of the material [Pa].
    printed : bool, optional
        Fin and nose cone: laid down in layers, which weakens it; a fin that may be of plastic is
        asked about where it is left out.
    infill : float, optional
        Printed fin: share of its core that is plastic; `SLICED` when left out.
    layer_strength : float, optional
        Printed fin or nose cone: tension at which its layers part [Pa].
    strength : float, optional
        Fin: bending stress at which it breaks [Pa]; by its material when left out.
    length, diameter : float, optional
        Nose cone and motor case: their size [m].
    """

    name: Name
    kind: Literal["fin", "nose cone", "motor case"]
    mass: Mass
    count: Annotated[int, Field(ge=1, le=12)] = 1
    area: AreaSize | None = None
    root: Length | None = None
    tip: LengthOrNone | None = None
    span: Length | None = None
    thickness: Thickness | None = None
    sweep: LengthOrNone | None = None
    position: LengthOrNone | None = None
    material: Annotated[str, AfterValidator(OneOf(tuple(SHEAR_MODULUS)))] | None = None
    shear_modulus: Pressure | None = None
    printed: bool | None = None
    infill: Share | None = None
    layer_strength: Pressure | None = None
    strength: Pressure | None = None
    length: Length | None = None
    diameter: Length | None = None

    @model_validator(mode="after")
    def _sized(self) -> Self:
        shape = self.told("root", "tip", "span")
        stiff = self.told("material", "shear_modulus")
        if (place := self.told("sweep", "position")) and not shape:
            raise ValueError(f"{place[0]} goes with root, tip and span of a fin")
        if self.kind != "fin":
            self._round(shape + stiff)
            return self
        if self.told("length", "diameter"):
            raise ValueError("a fin has no length or diameter; use root, tip, span")
        if (self.area is None) == (len(shape) != 3) or len(shape) not in (0, 3):
            raise ValueError("a fin needs either area, or root, tip and span: not both")
        if stiff and (len(stiff) == 2 or not shape or self.thickness is None):
            raise ValueError(
                "flutter needs root, tip, span, thickness and one of material, shear_modulus"
            )
        self._print_told(shape)
        self.planform()  # which checks itself
        return self

    def _round(self, of_fins: list[str]) -> None:
        """Refuse what is a fin's alone; a nose cone may be a printed shell."""
        told = ["printed"] if self.printed else []
        told += self.told("thickness", "strength", "layer_strength")
        extra = of_fins + ([] if self.kind == "nose cone" else told)
        if extra or self.told("area", "infill"):
            allowed = "length and diameter only"
            if self.kind == "nose cone":
                allowed = "length, diameter, printed, thickness and layer_strength only"
            raise ValueError(f"a {self.kind} has {allowed}")
        if self.length is None or self.diameter is None:
            raise ValueError(f"a {self.kind} needs length and diameter")
        if told and not (self.printed and self.thickness and self.strength is None):
            raise ValueError(
                "a printed nose cone needs printed = true and the thickness of its wall, "
                "and may state layer_strength"
            )
        if self.thickness is not None and self.thickness > self.diameter / 2:
            raise ValueError("thickness must not exceed half the diameter")

    def _print_told(self, shape: list[str]) -> None:
        told = self.told("infill", "layer_strength")
        if told and not self.printed:
            raise ValueError(f"{told[0]} goes with printed = true")
        if self.printed and self.material not in (None, PLASTIC):
            raise ValueError(
                f"what is printed is of {PLASTIC}, not {self.material}; a filled one goes by "
                "its shear_modulus in place of the material"
            )
        told += self.told("strength")
        if told and (not shape or self.thickness is None):
            raise ValueError(f"{told[0]} goes with root, tip, span and thickness")
        if self.strength is not None and self.layer_strength is not None:
            raise ValueError("state strength or layer_strength, not both")

    def plate(self) -> FinPlanform | None:
        """Return the shape of a fin whose bending can be worked out."""
        breaks = self.printed or self.told("strength", "material")
        if not breaks or self.thickness is None or not self.span:
            return None
        return self._shape()

    def planform(self) -> FinPlanform | None:
        """Return the shape of a fin whose flutter can be worked out.

        The formula is of tips no wider than the root: of others the wider chord is the root.
        """
        if self.material is None and self.shear_modulus is None:
            return None
        shape = self._shape()
        wide, narrow = max(shape.root, shape.tip), min(shape.root, shape.tip)
        return FinPlanform(wide, narrow, shape.span, shape.thickness)

    def _shape(self) -> FinPlanform:
        sizes = (self.root, self.tip, self.span, self.thickness)
        return FinPlanform(*(size or 0.0 for size in sizes))

    @property
    def fin_area(self) -> float:
        """Planform area of a fin, one side [m²]."""
        if self.area is not None:
            return self.area
        return ((self.root or 0.0) + (self.tip or 0.0)) / 2 * (self.span or 0.0)

    @property
    def filled(self) -> float:
        """Share of a fin's core that is of what it is made of."""
        if self.infill is None:
            return SLICED if self.printed else 1.0
        return self.infill

    @property
    def densities(self) -> tuple[float, float]:
        """Least and greatest density of a fin of what it is made of [kg m⁻³], with its infill."""
        low, high = DENSITY.get(self._named or "", _ANY)
        return THINNED * low * self.filled, GLUED * high

    @property
    def _named(self) -> str | None:
        return self.material or (PLASTIC if self.printed else None)

    @property
    def strongest(self) -> tuple[float, float, float]:
        """Greatest shear modulus and strength of what is named, or as dense; of layers [Pa]."""
        named = [self._named] if self._named else []
        if self.kind == "fin" and self.thickness is not None and not named:
            solid = self.fin_area * self.thickness * (self.filled or 1.0)
            named = made_of(self.mass / solid)
        stiff = max((SHEAR_MODULUS[name].second for name in named), default=0.0)
        strong = max((BENDING_STRENGTH[name].second for name in named), default=0.0)
        return stiff, strong, LAYER_STRENGTH.second

    @property
    def largest_area(self) -> float:
        """Largest area seen from outside [m²]."""
        if self.kind == "fin":
            return self.fin_area
        across, along = self.diameter or 0.0, self.length or 0.0
        side = across * along / (2 if self.kind == "nose cone" else 1)
        return max(side, pi * across**2 / 4)

    @property
    def rim(self) -> float:
        """Length of the rim of what is seen from outside, at most [m]."""
        if self.kind == "fin":
            return self._fin_rim()
        across, along = self.diameter or 0.0, self.length or 0.0
        if self.kind == "nose cone":
            return max(across + 2 * hypot(across / 2, along), pi * across)
        return max(2 * (across + along), pi * across)

    def _fin_rim(self) -> float:
        if self.area is not None:
            return plate_rim(self.area)
        root, tip, span = self.root or 0.0, self.tip or 0.0, self.span or 0.0
        ahead = root - tip if self.sweep is None else self.sweep
        return root + tip + hypot(span, ahead) + hypot(span, ahead + tip - root)

    @property
    def mean_projected_area(self) -> float:
        """Area seen from outside, averaged over all directions [m²].

        A quarter of the surface for a convex body (Cauchy, 1832; any textbook of integral
        geometry); a thin plate has both sides as surface.
        """
        if self.kind == "fin":
            return self.fin_area / 2
        r, h = (self.diameter or 0.0) / 2, self.length or 0.0
        if self.kind == "nose cone":  # taken as a cone
            return pi * r * (r + hypot(r, h)) / 4
        return (2 * pi * r * h + 2 * pi * r * r) / 4


def plate_rim(area: float) -> float:
    """Return the rim of a plate of some area [m]; twice as long as wide (assumed)."""
    return 6 * sqrt(area / 2)


class Burst(Table):
    """What a bursting motor would throw.

    Parameters
    ----------
    pressure : float
        Pressure over that of the air at which the case gives [Pa].
    volume : float
        Free volume inside the case [m³].
    fragments : int
        Number of fragments.
    fragment_mass : float
        Mass of one [kg].
    fragment_area : float
        Area of one, one side [m²].
    """

    pressure: Pressure
    volume: Volume
    fragments: Annotated[int, Field(ge=1, le=30)]
    fragment_mass: Mass
    fragment_area: AreaSize
