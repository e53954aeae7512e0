"""The airframe and the rail of a flight file."""

from __future__ import annotations

from math import pi
from typing import Final, Self

from pydantic import model_validator

from driftmap.formulas.drag import DragTable
from driftmap.rocket.fields import (
    Azimuth,
    Coefficient,
    Length,
    StabilityMargin,
    Tilt,
    Travel,
    Uncertain,
    UncertainInertia,
    UncertainLength,
    UncertainMass,
    UncertainSlope,
)
from driftmap.rocket.pieces import Table

GUESSED_DRAG: Final = Uncertain(0.55, 0.12)
"""Drag coefficient of a finned rocket nose first where none is given, and its spread:
clean ones have 0.35, rough and printed ones 0.75 (0.35 to 0.6 from memory: Hoerner,
*Fluid-Dynamic Drag*, 1965; the rest assumed)."""


class Airframe(Table):
    """The rocket as it leaves the rail.

    Parameters
    ----------
    mass : Uncertain
        Lift-off mass with motor and propellant [kg].
    diameter, length : float
        Body diameter and overall length [m].
    drag_coefficient : Uncertain
        Subsonic drag coefficient nose first, on the body's cross-section; `GUESSED_DRAG`
        when left out.
    drag_by_mach : tuple of (float, float)
        Mach number and drag coefficient, from Mach 0 up; only its shape is used. A
        published transonic rise stands in when it is left out.
    stability : Uncertain, optional
        Static margin at lift-off: centre of pressure behind centre of mass [calibres].
    centre_of_mass : Uncertain, optional
        In place of it, from the tip of the nose at lift-off [m]; fins with their shape
        then give the margin.
    moment_of_inertia : Uncertain, optional
        About a cross axis through the centre of mass at lift-off [kg m²].
    lift_slope : Uncertain, optional
        Slope of the normal force with the angle of attack on the cross-section [rad⁻¹].
    """

    mass: UncertainMass
    diameter: Length
    length: Length
    drag_coefficient: Coefficient = GUESSED_DRAG
    drag_by_mach: tuple[tuple[float, float], ...] = ()
    stability: StabilityMargin | None = None
    centre_of_mass: UncertainLength | None = None
    moment_of_inertia: UncertainInertia | None = None
    lift_slope: UncertainSlope | None = None

    @property
    def cross_section(self) -> float:
        """Area of the body's cross-section [m²]."""
        return pi * self.diameter**2 / 4

    def drag_table(self) -> DragTable | None:
        """Return the drag by Mach number, if there is one."""
        if not self.drag_by_mach:
            return None
        mach, coefficient = zip(*self.drag_by_mach, strict=True)
        return DragTable(mach, coefficient)

    @model_validator(mode="after")
    def _slender(self) -> Self:
        if self.length < self.diameter:
            raise ValueError("length must not be less than diameter")
        self.drag_table()  # which checks itself
        if self.drag_by_mach and "drag_coefficient" not in self.model_fields_set:
            raise ValueError(
                "state drag_coefficient beside drag_by_mach, of which only the shape is "
                "used"
            )
        return self

    @model_validator(mode="after")
    def _balanced(self) -> Self:
        centre, inertia = self.centre_of_mass, self.moment_of_inertia
        if self.stability is not None and centre is not None:
            raise ValueError("state stability or centre_of_mass, not both")
        if centre is not None and centre.value >= self.length:
            raise ValueError("centre_of_mass must lie within the length")
        most = self.mass.value * self.length**2 / 4  # half the mass at either end
        if inertia is not None and inertia.value > most:
            raise ValueError(
                f"moment_of_inertia must not exceed mass times length squared over 4 "
                f"({most:.3g} kg m2)"
            )
        return self


class Rail(Table):
    """The launch rail.

    Parameters
    ----------
    length : float
        Travel until the lower guide leaves the rail [m].
    angle : Uncertain
        Tilt from the vertical [rad].
    azimuth : float or "into the wind"
        Direction the rail leans toward, clockwise from true north [rad].
    """

    length: Travel
    angle: Tilt
    azimuth: Azimuth = "into the wind"

    @property
    def follows_wind(self) -> bool:
        """Whether the rail is turned with the wind of the day."""
        return self.azimuth == "into the wind"
