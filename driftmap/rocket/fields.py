"""Kinds of field in a flight file: text with a unit in, SI out, with sane bounds."""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import pi
from typing import Annotated, Any, Final, Literal

from pydantic import AfterValidator, BeforeValidator, Field

from driftmap.core.units import names_unit, parse, parse_spread


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
class ReadsWithUnit(Reads):
    """Read a quantity that must name its unit, as people state it in other ways too."""

    hint: str = ""

    def __call__(self, value: object) -> Any:
        """Give it in SI."""
        found = Reads.__call__(self, value)
        if found and not names_unit(value):
            raise ValueError(f"must name its unit: {self.hint} (got {value!r})")
        return found


_WIDEST: Final = 0.5
"""What is known to no better share of itself is a slip, or not known; assumed."""


@dataclass(frozen=True, slots=True)
class Within:
    """Refuse values outside two bounds, each written with its unit as people write it.

    Those of the fields below catch a wrong unit (grams as kilograms) and a slip of the pen
    (a case 5e-8 mm wide), not an unusual rocket.
    """

    dimension: str
    low: str
    high: str

    @property
    def accepted(self) -> str:
        """Say what is accepted."""
        return f"from {self.low} to {self.high}"

    def __call__(self, value: Any) -> Any:
        """Return the value where it is accepted."""
        number = value.value if isinstance(value, Uncertain) else value
        low, high = (parse(bound, self.dimension) for bound in (self.low, self.high))
        if not low <= number <= high:
            raise ValueError(f"must lie {self.accepted}")
        spread = value.spread if isinstance(value, Uncertain) else None
        widest = _WIDEST * number if low > 0 else high / 3
        if spread is not None and spread > widest:
            most = f"{_WIDEST:.0%} of it" if low > 0 else f"a third of {self.high}"
            raise ValueError(
                f"its spread is too wide to know it by: accepted is {most}"
            )
        return value


@dataclass(frozen=True, slots=True)
class OneOf:
    """Refuse a name that a table does not hold."""

    names: tuple[str, ...]

    def __call__(self, value: str) -> str:
        """Return the name where it is accepted."""
        if value not in self.names:
            raise ValueError(f"must be one of {', '.join(self.names)}")
        return value


def _reads(dimension: str) -> BeforeValidator:
    return BeforeValidator(Reads(dimension))


def _reads_spread(dimension: str) -> BeforeValidator:
    return BeforeValidator(Reads(dimension, spread=True))


def _between(dimension: str, low: str, high: str) -> AfterValidator:
    return AfterValidator(Within(dimension, low, high))


Mass = Annotated[float, _reads("mass"), _between("mass", "0.01 g", "1000 kg")]
UncertainMass = Annotated[
    Uncertain, _reads_spread("mass"), _between("mass", "1 g", "1000 kg")
]
Length = Annotated[float, _reads("length"), _between("length", "1 mm", "30 m")]
Travel = Annotated[
    float,
    BeforeValidator(ReadsWithUnit("length", hint='such as "6 ft" or "1.8 m"')),
    _between("length", "1 mm", "30 m"),
]
LengthOrNone = Annotated[float, _reads("length"), _between("length", "0", "30 m")]
Thickness = Annotated[float, _reads("length"), _between("length", "0.05 mm", "1 m")]
UncertainHeight = Annotated[
    Uncertain, _reads_spread("length"), _between("length", "1 m", "19000 m")
]
Altitude = Annotated[float, _reads("length"), _between("length", "-500", "9000 m")]
UncertainLength = Annotated[
    Uncertain, _reads_spread("length"), _between("length", "1 mm", "30 m")
]
AreaSize = Annotated[float, _reads("area"), _between("area", "1 mm2", "1000 m2")]
Coefficient = Annotated[
    Uncertain, _reads_spread("number"), _between("number", "0.001", "5")
]
StabilityMargin = Annotated[
    Uncertain, _reads_spread("margin"), _between("margin", "-20", "20 cal")
]
UncertainInertia = Annotated[
    Uncertain,
    _reads_spread("inertia"),
    _between("inertia", "0.0001 kg cm2", "100000 kg m2"),
]
UncertainSlope = Annotated[
    Uncertain, _reads_spread("number"), _between("number", "1.9", "100")
]
UncertainTime = Annotated[
    Uncertain, _reads_spread("time"), _between("time", "10 ms", "600 s")
]
Delay = Annotated[Uncertain, _reads_spread("time"), _between("time", "0", "60 s")]
Glide = Annotated[
    float,
    BeforeValidator(
        ReadsWithUnit(
            "speed",
            hint='it is a speed through the air, such as "3 m/s"; a canopy that glides n '
            "to 1 goes n times as fast as it sinks",
        )
    ),
    _between("speed", "0", "15 m/s"),
]
Force = Annotated[float, _reads("force"), _between("force", "0.01 N", "1000 kN")]
Volume = Annotated[float, _reads("volume"), _between("volume", "0.1 ml", "1 m3")]
Pressure = Annotated[
    float, _reads("pressure"), _between("pressure", "1 kPa", "100 GPa")
]
Impulse = Annotated[
    Uncertain, _reads_spread("impulse"), _between("impulse", "0.01 N s", "889600 N s")
]
Share = Annotated[float, _reads("share"), Field(ge=0, le=1)]
# No code allows more, and the model is not made for it.
Tilt = Annotated[Uncertain, _reads_spread("angle"), _between("angle", "0", "45 deg")]
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

    ``value``: ``"apogee"``, a height on the way down such as ``"150 m"``, or a time
    after lift-off such as ``"9 s"``; each may carry a spread.

    Result: what lets it go. Raises `ValueError` if it is none of these, or has no unit.
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
            if number > 0 and names_unit(re.split(r"±|\+/-", value)[0]):
                return Trigger(at, number, spread)
    raise ValueError(
        f'{value!r} must be "apogee", a height with its unit such as "150 m" (on the '
        'way down), or a time after lift-off such as "9 s"'
    )


TriggerAt = Annotated[Trigger, BeforeValidator(read_trigger)]
