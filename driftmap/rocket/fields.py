"""Kinds of field in a flight file: text with a unit in, SI out, with sane bounds."""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import degrees, pi
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field

from driftmap.units import parse, parse_spread

__all__ = [
    "Altitude",
    "Area",
    "Azimuth",
    "Between",
    "Coefficient",
    "Delay",
    "Force",
    "Glide",
    "Height",
    "Impulse",
    "Length",
    "Mass",
    "Name",
    "Pressure",
    "Reads",
    "Share",
    "Stability",
    "Sweep",
    "Tilt",
    "Time",
    "Trigger",
    "TriggerAt",
    "Uncertain",
    "UncertainHeight",
    "UncertainInertia",
    "UncertainLength",
    "UncertainMass",
    "UncertainSlope",
    "UncertainTime",
    "Volume",
    "Within",
    "read_trigger",
]


@dataclass(frozen=True, slots=True)
class Uncertain:
    """A number with one standard deviation, both in SI; None means the default spread."""

    value: float
    spread: float | None = None


@dataclass(frozen=True, slots=True)
class Reads:
    """Read a quantity of a dimension, with its spread where it may carry one."""

    dimension: str
    spread: bool = False

    def __call__(self, value: object) -> Any:
        """Give it in SI."""
        if not self.spread:
            return parse(value, self.dimension)
        if isinstance(value, Uncertain):
            return value
        return Uncertain(*parse_spread(value, self.dimension))


@dataclass(frozen=True, slots=True)
class Within:
    """Refuse values outside (low, high]."""

    low: float
    high: float
    unit: str = ""

    @property
    def accepted(self) -> str:
        """Say what is accepted."""
        # A floor just below 0 lets 0 in.
        least = -1e-6 < self.low < 0
        start = "from 0" if least else f"above {self.low:g} and"
        return f"{start} up to {self.high:g} {self.unit}".rstrip()

    def __call__(self, value: Any) -> Any:
        """Give the value back where it is accepted."""
        number = value.value if isinstance(value, Uncertain) else value
        if self.unit == "deg":
            number = degrees(number)
        if not self.low < number <= self.high:
            raise ValueError(f"must lie {self.accepted}")
        return value


@dataclass(frozen=True, slots=True)
class Between:
    """Refuse values outside [low, high]."""

    low: float
    high: float
    unit: str

    @property
    def accepted(self) -> str:
        """Say what is accepted."""
        return f"from {self.low:g} to {self.high:g} {self.unit}"

    def __call__(self, value: Uncertain) -> Uncertain:
        """Give the value back where it is accepted."""
        if not self.low <= value.value <= self.high:
            raise ValueError(f"must lie {self.accepted}")
        return value


def _reads(dimension: str) -> BeforeValidator:
    return BeforeValidator(Reads(dimension))


def _reads_spread(dimension: str) -> BeforeValidator:
    return BeforeValidator(Reads(dimension, spread=True))


def _within(low: float, high: float, unit: str = "") -> AfterValidator:
    return AfterValidator(Within(low, high, unit))


def _between(low: float, high: float, unit: str) -> AfterValidator:
    return AfterValidator(Between(low, high, unit))


_STEEPEST = 45  # deg, of a rail; the model is not made for more, nor is any code
# Ceilings catch a wrong unit (grams as kilograms), not an unusual rocket.
Mass = Annotated[float, _reads("mass"), _within(0, 1000, "kg")]
UncertainMass = Annotated[Uncertain, _reads_spread("mass"), _within(0, 1000, "kg")]
Length = Annotated[float, _reads("length"), _within(0, 30, "m")]
Sweep = Annotated[float, _reads("length"), _within(-1e-9, 30, "m")]
Height = Annotated[float, _reads("length"), _within(0, 19_000, "m")]
UncertainHeight = Annotated[Uncertain, _reads_spread("length"), _within(0, 19_000, "m")]
Altitude = Annotated[float, _reads("length"), _within(-500, 9_000, "m")]
UncertainLength = Annotated[Uncertain, _reads_spread("length"), _within(0, 30, "m")]
Area = Annotated[float, _reads("area"), _within(0, 1000, "m2")]
Coefficient = Annotated[Uncertain, _reads_spread("number"), _within(0, 5)]
Stability = Annotated[Uncertain, _reads_spread("margin"), _between(-20, 20, "cal")]
UncertainInertia = Annotated[
    Uncertain, _reads_spread("inertia"), _within(0, 1e5, "kg m2")
]
UncertainSlope = Annotated[Uncertain, _reads_spread("number"), _within(1.9, 100)]
Time = Annotated[float, _reads("time"), _within(0, 600, "s")]
UncertainTime = Annotated[Uncertain, _reads_spread("time"), _within(0, 600, "s")]
Delay = Annotated[Uncertain, _reads_spread("time"), _within(-1e-9, 60, "s")]
Glide = Annotated[float, _reads("speed"), _within(-1e-9, 15, "m/s")]
Force = Annotated[float, _reads("force"), _within(0, 1e6, "N")]
Volume = Annotated[float, _reads("volume"), _within(0, 1, "m3")]
Pressure = Annotated[float, _reads("pressure"), _within(0, 1e11, "Pa")]
Impulse = Annotated[Uncertain, _reads_spread("impulse"), _within(0, 889_600, "N s")]
Share = Annotated[float, _reads("share"), Field(ge=0, le=1)]
Tilt = Annotated[Uncertain, _reads_spread("angle"), _within(-1e-9, _STEEPEST, "deg")]
Name = Annotated[str, Field(min_length=1, max_length=80)]


def _azimuth(value: object) -> float | Literal["into the wind"]:
    if isinstance(value, str) and " ".join(value.lower().split()) == "into the wind":
        return "into the wind"
    bearing = parse(value, "angle")
    if not 0 <= bearing <= 2 * pi:
        raise ValueError(f"{value!r} must lie from 0 to 360 deg")
    return bearing


Azimuth = Annotated[float | Literal["into the wind"], BeforeValidator(_azimuth)]


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


def read_trigger(value: object) -> Trigger:
    """Read when a device opens.

    Parameters
    ----------
    value : object
        ``"apogee"``, a height on the way down such as ``"150 m"``, or a time after
        lift-off such as ``"9 s"``; each may carry a spread.

    Returns
    -------
    Trigger
        What lets it go.

    Raises
    ------
    ValueError
        If it is none of these, or has no unit.
    """
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


TriggerAt = Annotated[Trigger, BeforeValidator(read_trigger)]
