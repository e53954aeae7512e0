"""What is flown: airframe, motor, rail, recovery and the pieces that can come off."""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import hypot, pi
from typing import Annotated, Any, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    model_validator,
)

from driftmap.units import parse, parse_spread

__all__ = [
    "Airframe",
    "Apogee",
    "Device",
    "Flight",
    "Motor",
    "Piece",
    "Rail",
    "Trigger",
    "Uncertain",
]


@dataclass(frozen=True, slots=True)
class Uncertain:
    """A number with one standard deviation, both in SI; None means the default spread."""

    value: float
    spread: float | None = None


def _reads(dimension: str) -> BeforeValidator:
    def read(value: object) -> float:
        return parse(value, dimension)

    return BeforeValidator(read)


def _reads_spread(dimension: str) -> BeforeValidator:
    def read(value: object) -> Uncertain:
        return (
            value
            if isinstance(value, Uncertain)
            else Uncertain(*parse_spread(value, dimension))
        )

    return BeforeValidator(read)


def _within(low: float, high: float, unit: str = "") -> AfterValidator:
    """Refuse values outside (low, high]."""

    def check(value: Any) -> Any:
        number = value.value if isinstance(value, Uncertain) else value
        if not low < number <= high:
            raise ValueError(
                f"must lie above {low:g} and up to {high:g} {unit}".rstrip()
            )
        return value

    return AfterValidator(check)


# Ceilings catch a wrong unit (grams as kilograms), not an unusual rocket.
Mass = Annotated[float, _reads("mass"), _within(0, 1000, "kg")]
UncertainMass = Annotated[Uncertain, _reads_spread("mass"), _within(0, 1000, "kg")]
Length = Annotated[float, _reads("length"), _within(0, 30, "m")]
Height = Annotated[float, _reads("length"), _within(0, 19_000, "m")]
UncertainHeight = Annotated[Uncertain, _reads_spread("length"), _within(0, 19_000, "m")]
Area = Annotated[float, _reads("area"), _within(0, 1000, "m2")]
Coefficient = Annotated[Uncertain, _reads_spread("number"), _within(0, 5)]
Time = Annotated[float, _reads("time"), _within(0, 600, "s")]
UncertainTime = Annotated[Uncertain, _reads_spread("time"), _within(0, 600, "s")]
Impulse = Annotated[Uncertain, _reads_spread("impulse"), _within(0, 889_600, "N s")]
Share = Annotated[float, _reads("share"), Field(ge=0, le=1)]
Azimuth = float | Literal["into the wind"]
Tilt = Annotated[Uncertain, _reads_spread("angle"), _within(-1e-9, pi / 2)]
Name = Annotated[str, Field(min_length=1, max_length=80)]


def _azimuth(value: object) -> Azimuth:
    if isinstance(value, str) and " ".join(value.lower().split()) == "into the wind":
        return "into the wind"
    bearing = parse(value, "angle")
    if not 0 <= bearing <= 2 * pi:
        raise ValueError(f"{value!r} must lie from 0 to 360 deg")
    return bearing


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
    """

    mass: UncertainMass
    diameter: Length
    length: Length
    drag_coefficient: Coefficient

    @property
    def cross_section(self) -> float:
        """Area of the body's cross-section [m²]."""
        return pi * self.diameter**2 / 4

    @model_validator(mode="after")
    def _slender(self) -> Self:
        if self.length < self.diameter:
            raise ValueError("length must not be less than diameter")
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
    azimuth: Annotated[Azimuth, BeforeValidator(_azimuth)] = "into the wind"


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


@dataclass(frozen=True, slots=True)
class Trigger:
    """When a recovery device opens.

    Parameters
    ----------
    at : {"apogee", "height", "time"}
        At apogee, at a height on the way down, or a time after lift-off.
    value : float
        Height above the site [m] or time [s]; 0 at apogee.
    spread : float or None
        One standard deviation, in the same unit; None means the default.
    """

    at: Literal["apogee", "height", "time"]
    value: float = 0.0
    spread: float | None = None


def _trigger(value: object) -> Trigger:
    if isinstance(value, Trigger):
        return value
    if isinstance(value, str):
        if value.strip().lower() == "apogee":
            return Trigger("apogee")
        kinds: tuple[tuple[Literal["height", "time"], str], ...] = (
            ("height", "length"),
            ("time", "time"),
        )
        for at, dimension in kinds:
            try:
                number, spread = parse_spread(value, dimension)
            except ValueError:
                continue
            # A bare number could be metres or seconds: the unit decides.
            if number > 0 and re.match(r"[^±]*?\d\.?\s*[a-z]", value):
                return Trigger(at, number, spread)
    raise ValueError(
        f'{value!r} must be "apogee", a height with its unit such as "150 m" (on the '
        'way down), or a time after lift-off such as "9 s"'
    )


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
    diameter, area : float, optional
        Canopy: nominal (laid flat) diameter [m] or cloth area [m²], exactly one.
    length, width : float, optional
        Streamer: its length and width [m].
    drag_coefficient : Uncertain, optional
        On the cloth area; a published middle value when left out.
    mass : float, optional
        Mass of the device with its lines [kg].
    """

    name: Name
    kind: Literal["canopy", "streamer"]
    opens_at: Annotated[Trigger, BeforeValidator(_trigger)]
    diameter: Length | None = None
    area: Area | None = None
    length: Length | None = None
    width: Length | None = None
    drag_coefficient: Coefficient | None = None
    mass: Mass | None = None

    @model_validator(mode="after")
    def _sized(self) -> Self:
        flat = [n for n in ("length", "width") if getattr(self, n) is not None]
        round_ = [n for n in ("diameter", "area") if getattr(self, n) is not None]
        if self.kind == "canopy" and (flat or len(round_) != 1):
            raise ValueError("a canopy needs exactly one of diameter, area")
        if self.kind == "streamer" and (round_ or len(flat) != 2):
            raise ValueError("a streamer needs length and width")
        return self

    @property
    def cloth_area(self) -> float:
        """Area of the cloth, one side [m²]."""
        if self.kind == "streamer":
            return float((self.length or 0.0) * (self.width or 0.0))
        if self.area is not None:
            return self.area
        return pi * (self.diameter or 0.0) ** 2 / 4


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
        Fin: planform of one, one side [m²].
    length, diameter : float, optional
        Nose cone and motor case: their size [m].
    """

    name: Name
    kind: Literal["fin", "nose cone", "motor case"]
    mass: Mass
    count: Annotated[int, Field(ge=1, le=12)] = 1
    area: Area | None = None
    length: Length | None = None
    diameter: Length | None = None

    @model_validator(mode="after")
    def _sized(self) -> Self:
        wanted = ("area",) if self.kind == "fin" else ("length", "diameter")
        for name in ("area", "length", "diameter"):
            if (getattr(self, name) is not None) != (name in wanted):
                raise ValueError(
                    f"a {self.kind} needs {' and '.join(wanted)}, no other size"
                )
        return self

    @property
    def mean_projected_area(self) -> float:
        """Area seen from outside, averaged over all directions [m²].

        A quarter of the surface for a convex body (Cauchy, 1832; any textbook of integral
        geometry); a thin plate has both sides as surface.
        """
        if self.kind == "fin":
            return (self.area or 0.0) / 2
        r, h = (self.diameter or 0.0) / 2, self.length or 0.0
        if self.kind == "nose cone":  # taken as a cone
            return pi * r * (r + hypot(r, h)) / 4
        return (2 * pi * r * h + 2 * pi * r * r) / 4


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
    cases : mapping of str to float
        Likelihood of each failure case by name.
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
    cases: dict[str, Share] = Field(default_factory=dict)
    limits: dict[str, Any] = Field(default_factory=dict)
    source: str = ""

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if (self.motor is None) == (self.apogee is None):
            raise ValueError("needs exactly one of [motor] and [apogee]")
        for what, names in (
            ("recovery", [d.name for d in self.recovery]),
            ("piece", [p.name for p in self.pieces]),
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
