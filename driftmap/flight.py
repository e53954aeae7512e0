"""What is flown: airframe, motor, rail, recovery and the pieces that can come off."""

from __future__ import annotations

from math import hypot, pi, sqrt
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from driftmap.canopies import CANOPIES, nominal_drag
from driftmap.fields import (
    Area,
    Azimuth,
    Coefficient,
    Delay,
    Force,
    Glide,
    Impulse,
    Length,
    Mass,
    Name,
    Pressure,
    Share,
    Tilt,
    Time,
    Trigger,
    TriggerAt,
    Uncertain,
    UncertainHeight,
    UncertainMass,
    UncertainTime,
    Volume,
    read_trigger,
)
from driftmap.flutter import SHEAR_MODULUS, FinPlanform
from driftmap.machdrag import DragTable

__all__ = [
    "Airframe",
    "Alternative",
    "Apogee",
    "Burst",
    "Device",
    "Flight",
    "Motor",
    "OwnCase",
    "Piece",
    "Rail",
    "Trigger",
    "Uncertain",
]


class _Record(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


class Airframe(_Record):
    """The rocket as it leaves the rail.

    Parameters
    ----------
    mass : Uncertain
        Lift-off mass with motor and propellant [kg].
    diameter, length : float
        Body diameter and overall length [m].
    drag_coefficient : Uncertain
        Subsonic drag coefficient nose first, on the body's cross-section.
    drag_by_mach : tuple of (float, float)
        Mach number and drag coefficient, from Mach 0 up; only its shape is used. A
        published transonic rise stands in when it is left out.
    """

    mass: UncertainMass
    diameter: Length
    length: Length
    drag_coefficient: Coefficient
    drag_by_mach: tuple[tuple[float, float], ...] = ()

    @property
    def cross_section(self) -> float:
        """Area of the body's cross-section [m²]."""
        return pi * self.diameter**2 / 4

    def drag_table(self) -> DragTable | None:
        """Give the drag by Mach number, if there is one."""
        if not self.drag_by_mach:
            return None
        mach, coefficient = zip(*self.drag_by_mach, strict=True)
        return DragTable(mach, coefficient)

    @model_validator(mode="after")
    def _slender(self) -> Self:
        if self.length < self.diameter:
            raise ValueError("length must not be less than diameter")
        self.drag_table()  # which checks itself
        return self


class Rail(_Record):
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

    length: Length
    angle: Tilt
    azimuth: Azimuth = "into the wind"


class Motor(_Record):
    """The motor: thrust against time, and the propellant it burns.

    Parameters
    ----------
    propellant_mass : float
        Propellant burned [kg].
    total_impulse : Uncertain
        Total impulse [N s].
    burn_time : Uncertain
        Burn time [s].
    times, thrusts : tuple of float
        Thrust curve [s], [N]; constant thrust when empty.
    count : int
        Number of motors, for the safe distance; the impulse is that of all together.
    """

    propellant_mass: Mass
    total_impulse: Impulse
    burn_time: UncertainTime
    times: tuple[float, ...] = ()
    thrusts: tuple[float, ...] = ()
    count: Annotated[int, Field(ge=1, le=50)] = 1


class Apogee(_Record):
    """What is known of the flight in place of a motor.

    Parameters
    ----------
    height : Uncertain
        Height of apogee above the site [m].
    time : float
        Time from lift-off to apogee [s].
    """

    height: UncertainHeight
    time: Time


class Device(_Record):
    """A recovery device.

    Parameters
    ----------
    name : str
        What the flier calls it.
    kind : {"canopy", "streamer"}
        What it is.
    opens_at : Trigger
        What lets it go.
    type : str
        Canopy: a key of `driftmap.canopies.CANOPIES`.
    diameter, area : float, optional
        Canopy: nominal (laid flat) diameter [m] or cloth area [m²], exactly one.
    spill_hole : float, optional
        Canopy: diameter of the hole at its top [m].
    length, width : float, optional
        Streamer: its length and width [m].
    drag_coefficient : Uncertain, optional
        A published range when left out.
    drag_on : {"cloth", "inflated"}
        Area the coefficient was quoted on: all the cloth, or the inflated mouth.
    mass : float, optional
        Mass of the device with its lines [kg].
    opening_delay : Uncertain, optional
        From the trigger until it is open [s].
    glide : float, optional
        Greatest speed at which the open canopy glides through the air, any way [m s⁻¹].
    strength : mapping of str to float
        Load at which each link gives [N]: canopy, lines (all together), cord, attachment.
    """

    name: Name
    kind: Literal["canopy", "streamer"]
    opens_at: TriggerAt
    type: str = "flat circular"
    diameter: Length | None = None
    area: Area | None = None
    spill_hole: Length | None = None
    length: Length | None = None
    width: Length | None = None
    drag_coefficient: Coefficient | None = None
    drag_on: Literal["cloth", "inflated"] = "cloth"
    mass: Mass | None = None
    opening_delay: Delay | None = None
    glide: Glide | None = None
    strength: dict[Literal["canopy", "lines", "cord", "attachment"], Force] = Field(
        default_factory=dict
    )

    @model_validator(mode="after")
    def _sized(self) -> Self:
        flat = [n for n in ("length", "width") if getattr(self, n) is not None]
        round_ = [n for n in ("diameter", "area") if getattr(self, n) is not None]
        if self.kind == "canopy" and (flat or len(round_) != 1):
            raise ValueError("a canopy needs exactly one of diameter, area")
        if self.kind == "streamer" and (round_ or len(flat) != 2 or self.spill_hole):
            raise ValueError("a streamer needs length and width")
        if self.kind == "streamer" and (self.strength or self.drag_on != "cloth"):
            raise ValueError("strength and drag_on are for canopies")
        if self.type not in CANOPIES:
            raise ValueError(f"type must be one of {', '.join(CANOPIES)}")
        if self.spill_hole is not None and self.spill_hole > self.nominal_diameter / 2:
            raise ValueError("spill_hole must not exceed half the diameter")
        return self

    @property
    def cloth_area(self) -> float:
        """Area of the cloth, one side, without a spill hole [m²]."""
        if self.kind == "streamer":
            return float((self.length or 0.0) * (self.width or 0.0))
        whole = (
            self.area if self.area is not None else pi * (self.diameter or 0.0) ** 2 / 4
        )
        return whole - pi * (self.spill_hole or 0.0) ** 2 / 4

    @property
    def nominal_diameter(self) -> float:
        """Diameter of the flat circle of that area, hole and all [m]."""
        return (
            self.diameter
            if self.diameter is not None
            else sqrt(4 * (self.area or 0) / pi)
        )

    def given_drag(self) -> Uncertain | None:
        """Give the drag coefficient as stated, on the cloth's area."""
        given = self.drag_coefficient
        if given is None or self.drag_on == "cloth":
            return given
        low, high = CANOPIES[self.type].inflated
        factor = float(nominal_drag(1.0, sqrt(low * high)))
        spread = None if given.spread is None else given.spread * factor
        return Uncertain(given.value * factor, spread)


class Piece(_Record):
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
        Fin: chords at the body and the tip, span from the body [m]; with thickness and
        material, flutter is worked out.
    material : str, optional
        Fin: a key of `driftmap.flutter.SHEAR_MODULUS`.
    shear_modulus : float, optional
        Fin: in place of the material [Pa].
    printed : bool
        Fin: laid down in layers, which weakens it.
    length, diameter : float, optional
        Nose cone and motor case: their size [m].
    """

    name: Name
    kind: Literal["fin", "nose cone", "motor case"]
    mass: Mass
    count: Annotated[int, Field(ge=1, le=12)] = 1
    area: Area | None = None
    root: Length | None = None
    tip: Length | None = None
    span: Length | None = None
    thickness: Length | None = None
    material: str | None = None
    shear_modulus: Pressure | None = None
    printed: bool = False
    length: Length | None = None
    diameter: Length | None = None

    @model_validator(mode="after")
    def _sized(self) -> Self:
        shape = [n for n in ("root", "tip", "span") if getattr(self, n) is not None]
        stiff = [
            n for n in ("material", "shear_modulus") if getattr(self, n) is not None
        ]
        if self.kind != "fin":
            if (
                self.area is not None
                or shape
                or stiff
                or self.thickness
                or self.printed
            ):
                raise ValueError(f"a {self.kind} has length and diameter only")
            if self.length is None or self.diameter is None:
                raise ValueError(f"a {self.kind} needs length and diameter")
            return self
        if self.length is not None or self.diameter is not None:
            raise ValueError("a fin has no length or diameter; use root, tip, span")
        if (self.area is None) == (len(shape) != 3) or len(shape) not in (0, 3):
            raise ValueError("a fin needs area, or root, tip and span")
        if stiff and (len(stiff) == 2 or not shape or self.thickness is None):
            raise ValueError(
                "flutter needs root, tip, span, thickness and one of material, shear_modulus"
            )
        if self.material is not None and self.material not in SHEAR_MODULUS:
            raise ValueError(f"material must be one of {', '.join(SHEAR_MODULUS)}")
        self.planform()  # which checks itself
        return self

    def planform(self) -> FinPlanform | None:
        """Give the shape of a fin whose flutter can be worked out."""
        if self.material is None and self.shear_modulus is None:
            return None
        sizes = (self.root, self.tip, self.span, self.thickness)
        return FinPlanform(*(size or 0.0 for size in sizes))

    @property
    def fin_area(self) -> float:
        """Planform area of a fin, one side [m²]."""
        if self.area is not None:
            return self.area
        return ((self.root or 0.0) + (self.tip or 0.0)) / 2 * (self.span or 0.0)

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


class Burst(_Record):
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
    fragment_area: Area


class OwnCase(_Record):
    """A case that the flight file describes.

    Parameters
    ----------
    name : str
        What happens.
    likelihood : float
        Its share of all flights.
    at : str
        When: ``"apogee"``, ``"max q"``, ``"coast"`` or a time after lift-off.
    rocket_falls : str
        How: ``"nose first"``, ``"tumbling"``, or the name of the device it hangs on.
    loose : tuple of str
        Names of the pieces that come off.
    """

    name: Name
    likelihood: Share
    at: str
    rocket_falls: str
    loose: tuple[str, ...] = ()

    def time(self) -> Trigger:
        """Give the time after lift-off, where `at` is one."""
        return read_trigger(self.at)

    @model_validator(mode="after")
    def _timed(self) -> Self:
        if self.at not in ("apogee", "max q", "coast") and self.time().at != "time":
            raise ValueError(
                'at must be "apogee", "max q", "coast" or a time such as "4 s"'
            )
        return self


class Alternative(_Record):
    """Another way to bring the rocket down.

    Parameters
    ----------
    name : str
        What the flier calls it.
    recovery : tuple of Device
        Devices in place of the plan's.
    """

    name: Name
    recovery: Annotated[tuple[Device, ...], Field(min_length=1, max_length=6)]


class Flight(_Record):
    """A flight as planned.

    Parameters
    ----------
    name : str
        Name of the rocket.
    airframe, rail : Airframe, Rail
        The rocket as it leaves the rail, and the rail.
    motor, apogee : Motor or Apogee
        Exactly one of them.
    recovery : tuple of Device
        At least one device.
    pieces : tuple of Piece
        What can come off; ``[[piece]]`` in the file.
    burst : Burst or None
        What a bursting motor would throw.
    cases : mapping of str to float
        Likelihood of each failure case by name.
    own_cases : tuple of OwnCase
        Further cases; ``[[case]]`` in the file.
    alternatives : tuple of Alternative
        Other recovery to compare; ``[[alternative]]`` in the file.
    limits : mapping
        Limits of this flight, for the verdict.
    source : str
        The file it was read from.
    """

    name: Name
    airframe: Airframe
    rail: Rail
    motor: Motor | None = None
    apogee: Apogee | None = None
    recovery: Annotated[tuple[Device, ...], Field(min_length=1, max_length=6)]
    pieces: Annotated[tuple[Piece, ...], Field(alias="piece", max_length=20)] = ()
    burst: Burst | None = None
    cases: dict[str, Share] = Field(default_factory=dict)
    own_cases: Annotated[tuple[OwnCase, ...], Field(alias="case", max_length=20)] = ()
    alternatives: Annotated[
        tuple[Alternative, ...], Field(alias="alternative", max_length=12)
    ] = ()
    limits: dict[str, Any] = Field(default_factory=dict)
    source: str = ""

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if (self.motor is None) == (self.apogee is None):
            raise ValueError("needs exactly one of [motor] and [apogee]")
        for what, names in (
            ("recovery", [d.name for d in self.recovery]),
            ("piece", [p.name for p in self.pieces]),
            ("case", [c.name for c in self.own_cases]),
            ("alternative", [a.name for a in self.alternatives]),
        ):
            if len(set(names)) < len(names):
                raise ValueError(f"every {what} needs a name of its own")
        loose = sum(p.mass * p.count for p in self.pieces)
        burnt = self.motor.propellant_mass if self.motor else 0.0
        cloth = sum(d.mass or 0.0 for d in self.recovery)
        if loose + burnt + cloth >= self.airframe.mass.value:
            raise ValueError(
                "airframe.mass is the lift-off mass and must exceed propellant, recovery "
                f"and loose pieces together ({loose + burnt + cloth:.3g} kg)"
            )
        if sum(self.cases.values()) > 1:
            raise ValueError("[cases] must not add up to more than 100 %")
        return self

    @property
    def dry_mass(self) -> float:
        """Mass after the burn [kg]."""
        return float(self.airframe.mass.value) - (
            self.motor.propellant_mass if self.motor else 0.0
        )
