"""What is flown: airframe, motor, rail, recovery and the pieces that can come off."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Annotated, Any, Self, get_args

from pydantic import BaseModel, Field, model_validator

from driftmap.rocket.airframe import Airframe, Rail
from driftmap.rocket.fields import (
    Altitude,
    Azimuth,
    Mass,
    Name,
    Share,
    Trigger,
    UncertainHeight,
    UncertainTime,
    read_trigger,
)
from driftmap.rocket.pieces import Burst, Piece, Table
from driftmap.rocket.stages import (
    MOTOR_SPREAD,
    OWN_SPREAD,
    AirStart,
    Booster,
    Descent,
    Device,
    Motor,
    Sustainer,
    one_way_down,
)


class Apogee(Table):
    """What is known of the flight in place of a motor.

    Parameters
    ----------
    height : Uncertain
        Height of apogee above the site [m].
    time : Uncertain
        Time from lift-off to apogee [s].
    own : bool
        As of `Motor`.
    """

    height: UncertainHeight
    time: UncertainTime
    own: bool = False

    @property
    def spread(self) -> float:
        """How much the height differs from one flight to the next, where no file says."""
        return OWN_SPREAD if self.own else MOTOR_SPREAD


class Measured(Table):
    """A flight that an altimeter recorded, in place of motor and drag.

    Parameters
    ----------
    curve : str
        Name of the record, beside the flight file; see `driftmap.rocket.altimeter_record`.
    propellant_mass, count, stages, own : float, int, int, bool
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
    own: bool = False


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
        """Return the time after lift-off, where `at` is one; it may be 0 s."""
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
        one_way_down(self.recovery, self.descent)
        return self


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
    sustainer : Sustainer or None
        The upper stage; `airframe` and `motor` are then the whole rocket and the booster's
        motor, `recovery` and `pieces` those of the sustainer.
    booster : Booster or None
        How the lower stage comes down.
    air_start : AirStart or None
        Motors of a rocket in one stage that light in the air.
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
    source, notes, said : str, tuple of str, tuple of str
        The file it was read from, what reading it inferred or assumed, and remarks of the
        curves it names.
    fitted : bool
        Whether the motor was put together from a record, which shows no thrust begin; only
        reading a record says so, as its label then knows it better.
    sinks : tuple of (float, float, float)
        How fast that record shows the way down, as `altimeter_record.sinks_of` has it.
    """

    name: Name
    airframe: Airframe
    rail: Rail
    motor: Motor | None = None
    apogee: Apogee | None = None
    sustainer: Sustainer | None = None
    booster: Booster | None = None
    air_start: AirStart | None = None
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
    said: tuple[str, ...] = ()
    fitted: bool = False
    sinks: tuple[tuple[float, float, float], ...] = ()

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if (self.motor is None) == (self.apogee is None):
            raise ValueError("needs exactly one of [motor], [apogee] and [measured]")
        one_way_down(self.recovery, self.descent)
        for what, names in (
            ("recovery", [d.name for d in self.devices]),
            ("piece", [p.name for p in (*self.pieces, *self.booster_fins)]),
            ("case", [c.name for c in self.own_cases]),
            ("alternative", [a.name for a in self.alternatives]),
        ):
            if len(set(names)) < len(names):
                raise ValueError(f"every {what} needs a name of its own")
        self._staged()
        loose = sum(p.mass * p.count for p in self.pieces)
        cloth = sum(d.mass or 0.0 for d in self.recovery)
        if loose + cloth >= self.dry_mass:
            mass = "airframe" if self.sustainer is None else "sustainer"
            heavy = loose + cloth + self.falling.mass.value - self.dry_mass
            raise ValueError(
                f"{mass}.mass is the lift-off mass and must exceed propellant, recovery "
                f"and loose pieces together ({heavy:.3g} kg)"
            )
        if sum(self.cases.values()) > 1:
            raise ValueError("[cases] must not add up to more than 100 %")
        return self

    def _staged(self) -> None:
        """Refuse stages that do not fit together."""
        upper = self.sustainer
        if upper is None and self.booster is not None:
            raise ValueError("[booster] goes with [sustainer]")
        if self.upper is None:
            return
        if self.motor is None or (upper is not None and self.air_start is not None):
            raise ValueError(
                "[sustainer] or [air_start] goes beside [motor], one of them"
            )
        if upper is None:
            return
        if self.booster_mass <= 0:
            raise ValueError(
                "airframe.mass is that of both stages and must exceed sustainer.mass and "
                "motor.propellant_mass together"
            )
        if sum(fin.mass * fin.count for fin in self.booster_fins) >= self.booster_mass:
            raise ValueError(
                "the fins of the booster must weigh less than what airframe.mass leaves it"
            )
        if self.airframe.length <= upper.length and self.booster_length is None:
            raise ValueError(
                "airframe.length is that of both stages and must exceed sustainer.length, "
                "or booster.length must be stated"
            )
        if self.airframe.centre_of_mass is not None:
            raise ValueError(
                "airframe.centre_of_mass is for one stage; of both together state "
                "airframe.stability"
            )

    def aimed(self, azimuth: Azimuth, tilt: float | None = None) -> Flight:
        """Set the rail another way, and another tilt [rad]; its aiming error stays."""
        angle = self.rail.angle
        if tilt is not None:
            angle = replace(angle, value=tilt)
        rail = self.rail.model_copy(update={"angle": angle, "azimuth": azimuth})
        return self.model_copy(update={"rail": rail})

    @property
    def content(self) -> str:
        """All that its file states, wherever that lies."""
        return self.model_dump_json(exclude={"source"}, exclude_unset=True)

    @property
    def upper(self) -> Sustainer | AirStart | None:
        """What lights in the air, if anything."""
        return self.sustainer or self.air_start

    @property
    def upper_name(self) -> str:
        """What that is called; empty where nothing lights in the air."""
        if self.upper is None:
            return ""
        return "air start" if self.sustainer is None else "sustainer"

    @property
    def motors(self) -> tuple[Motor, ...]:
        """Every motor that is known, in the order in which they light."""
        upper = self.upper
        every = (self.motor, None if upper is None else upper.motor)
        return tuple(motor for motor in every if motor is not None)

    @property
    def falling(self) -> Airframe:
        """What comes down under the recovery: the rocket, or its upper stage."""
        return self.sustainer or self.airframe

    @property
    def devices(self) -> tuple[Device, ...]:
        """Every device, that of the booster after the rocket's."""
        return self.recovery + (() if self.booster is None else self.booster.recovery)

    @property
    def booster_fins(self) -> tuple[Piece, ...]:
        """The fins of the booster, as far as they are listed."""
        return () if self.booster is None else self.booster.pieces

    @property
    def booster_mass(self) -> float:
        """Mass of the lower stage as it falls away [kg]; 0 where there is none."""
        if self.sustainer is None or self.motor is None:
            return 0.0
        parts = self.sustainer.mass.value + self.motor.propellant_mass
        return float(self.airframe.mass.value) - float(parts)

    @property
    def booster_length(self) -> float | None:
        """Length of the lower stage where it is stated [m]."""
        return None if self.booster is None else self.booster.length

    @property
    def dry_mass(self) -> float:
        """Mass of what comes down under the recovery, after every burn [kg]."""
        burnt = self.motors if self.sustainer is None else self.motors[1:]
        return float(self.falling.mass.value) - sum(m.propellant_mass for m in burnt)


def table_of(place: Iterable[int | str]) -> type[BaseModel]:
    """Return what a table of the file is read into, by its keys; what holds it where none is."""
    model: type[BaseModel] = Flight
    for key in place:
        held = {f.alias or name: f for name, f in model.model_fields.items()}
        if model is Flight and key == "measured":  # which reading turns into a motor
            model = Measured
        elif key in held:
            model = next(_models(held[key].annotation), model)
    return model


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from _models(part)


class ByContent:
    """A flight as the key of what was worked out for it, whoever read its file again."""

    def __init__(self, flight: Flight) -> None:
        self.flight = flight
        # What is left out is asked, or flown wider: no default is a word.
        self._told = flight.model_dump_json(warnings=False, exclude_unset=True)

    def __hash__(self) -> int:
        return hash(self._told)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, ByContent) and other._told == self._told
