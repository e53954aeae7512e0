"""What is flown: airframe, motor, rail, recovery and the pieces that can come off."""

from __future__ import annotations

import re
from math import pi, sqrt
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from driftmap.formulas.canopies import CANOPIES, nominal_drag
from driftmap.formulas.strength import CLOTHS
from driftmap.rocket.airframe import Airframe, Rail
from driftmap.rocket.fields import (
    Altitude,
    Area,
    Coefficient,
    Delay,
    Force,
    Glide,
    Impulse,
    Length,
    Mass,
    Name,
    Share,
    Trigger,
    TriggerAt,
    Uncertain,
    UncertainHeight,
    UncertainTime,
    read_trigger,
)
from driftmap.rocket.pieces import Burst, Piece, Table

__all__ = [
    "Airframe",
    "Alternative",
    "Apogee",
    "Burst",
    "Descent",
    "Device",
    "Flight",
    "Measured",
    "Motor",
    "OwnCase",
    "Piece",
    "Rail",
    "Trigger",
    "Uncertain",
]


class Motor(Table):
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
        Number of motors, for the safe distance; thrust, impulse and propellant are those
        of all together.
    stages : int
        Number of stages, for the safe distance; they are not flown apart.
    """

    propellant_mass: Mass
    total_impulse: Impulse
    burn_time: UncertainTime
    times: tuple[float, ...] = ()
    thrusts: tuple[float, ...] = ()
    count: Annotated[int, Field(ge=1, le=50)] = 1
    stages: Annotated[int, Field(ge=1, le=5)] = 1


class Apogee(Table):
    """What is known of the flight in place of a motor.

    Parameters
    ----------
    height : Uncertain
        Height of apogee above the site [m].
    time : Uncertain
        Time from lift-off to apogee [s].
    """

    height: UncertainHeight
    time: UncertainTime


class Measured(Table):
    """A flight that an altimeter recorded, in place of motor and drag.

    Parameters
    ----------
    curve : str
        Name of the record, beside the flight file; see `driftmap.rocket.record`.
    propellant_mass, count, stages : float, int, int
        As of `Motor`.
    height_spread : float, optional
        One standard deviation of all its heights, as a share; 5 % when left out.
    altitude : float, optional
        Of its pad, above mean sea level [m]; 0 when left out.
    """

    curve: Name
    propellant_mass: Mass
    height_spread: Annotated[Share, Field(le=0.3)] | None = None
    altitude: Altitude | None = None
    count: Annotated[int, Field(ge=1, le=50)] = 1
    stages: Annotated[int, Field(ge=1, le=5)] = 1


class Device(Table):
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
        Canopy: a key of `driftmap.formulas.canopies.CANOPIES`.
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
    cloth : str, optional
        Canopy: a key of `driftmap.formulas.strength.CLOTHS`, which gives a strength where
        none is stated.
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
    cloth: str | None = None

    @model_validator(mode="after")
    def _sized(self) -> Self:
        flat = [n for n in ("length", "width") if getattr(self, n) is not None]
        round_ = [n for n in ("diameter", "area") if getattr(self, n) is not None]
        if self.kind == "canopy" and (flat or len(round_) != 1):
            raise ValueError("a canopy needs exactly one of diameter, area")
        if self.kind == "streamer" and (round_ or len(flat) != 2 or self.spill_hole):
            raise ValueError("a streamer needs length and width")
        if self.kind == "streamer" and (
            self.strength or self.cloth or self.drag_on != "cloth"
        ):
            raise ValueError("strength, cloth and drag_on are for canopies")
        if self.cloth is not None and self.cloth not in CLOTHS:
            raise ValueError(f"cloth must be one of {', '.join(CLOTHS)}")
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


class Descent(Table):
    """How a rocket without recovery comes down, where that is the plan.

    Parameters
    ----------
    planned : {"nose first", "tumbling"}
        How it falls.
    """

    planned: Literal["nose first", "tumbling"]


class OwnCase(Table):
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
    burns_on : bool
        Whether the motor burns on: along the path nose first, any one way tumbling.
    """

    name: Name
    likelihood: Share
    at: str
    rocket_falls: str
    loose: tuple[str, ...] = ()
    burns_on: bool = False

    def time(self) -> Trigger:
        """Give the time after lift-off, where `at` is one; it may be 0 s."""
        if re.fullmatch(r"0+(\.0*)?\s*s", self.at.strip()):
            return Trigger("time", 0.0, 0.0)
        return read_trigger(self.at)

    @model_validator(mode="after")
    def _timed(self) -> Self:
        if self.at not in ("apogee", "max q", "coast") and self.time().at != "time":
            raise ValueError(
                'at must be "apogee", "max q", "coast" or a time such as "4 s"'
            )
        if self.burns_on and self.at in ("apogee", "coast"):
            raise ValueError(
                'burns_on goes with a time or "max q": by then the burn is over'
            )
        return self


class Alternative(Table):
    """Another way to bring the rocket down.

    Parameters
    ----------
    name : str
        What the flier calls it.
    recovery : tuple of Device
        Devices in place of the plan's.
    descent : Descent or None
        How it falls without any.
    """

    name: Name
    recovery: Annotated[tuple[Device, ...], Field(max_length=6)] = ()
    descent: Descent | None = None

    @model_validator(mode="after")
    def _comes_down(self) -> Self:
        _one_way_down(self.recovery, self.descent)
        return self


def _one_way_down(recovery: tuple[Device, ...], descent: Descent | None) -> None:
    if bool(recovery) == (descent is not None):
        raise ValueError(
            "needs [[recovery]], or, where none is planned, [descent] with planned = "
            '"nose first" or "tumbling"; not both'
        )


class Flight(Table):
    """A flight as planned.

    Parameters
    ----------
    name : str
        Name of the rocket.
    airframe, rail : Airframe, Rail
        The rocket as it leaves the rail, and the rail.
    motor, apogee : Motor or Apogee
        Exactly one of them; a measured flight is read as a motor.
    recovery : tuple of Device
        At least one device, or none where a fall is planned.
    descent : Descent or None
        How it falls without any.
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
    source, notes : str, tuple of str
        The file it was read from, and what reading it inferred or assumed.
    """

    name: Name
    airframe: Airframe
    rail: Rail
    motor: Motor | None = None
    apogee: Apogee | None = None
    recovery: Annotated[tuple[Device, ...], Field(max_length=6)] = ()
    descent: Descent | None = None
    pieces: Annotated[tuple[Piece, ...], Field(alias="piece", max_length=20)] = ()
    burst: Burst | None = None
    cases: dict[str, Share] = Field(default_factory=dict)
    own_cases: Annotated[tuple[OwnCase, ...], Field(alias="case", max_length=20)] = ()
    alternatives: Annotated[
        tuple[Alternative, ...], Field(alias="alternative", max_length=12)
    ] = ()
    limits: dict[str, Any] = Field(default_factory=dict)
    source: str = ""
    notes: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if (self.motor is None) == (self.apogee is None):
            raise ValueError("needs exactly one of [motor], [apogee] and [measured]")
        _one_way_down(self.recovery, self.descent)
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
