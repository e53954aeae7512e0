"""Text with a unit to SI, and SI to the units people read; used only at the edges."""

from __future__ import annotations

import math
import re
from types import MappingProxyType
from typing import Final

from driftmap.core.errors import quoted

FOOT: Final = 0.3048
"""International foot [m], exact (1959 agreement; NIST SP 811, B.8)."""

MILE: Final = 1609.344
"""Statute mile [m], exact."""

MILE_PER_HOUR: Final = MILE / 3600
"""Statute mile per hour [m s⁻¹], exact."""

KNOT: Final = 1852 / 3600
"""Nautical mile per hour [m s⁻¹], exact."""

STANDARD_GRAVITY: Final = 9.80665
"""Standard acceleration of free fall [m s⁻²] (CGPM 1901; US76 table 2)."""

ZERO_CELSIUS: Final = 273.15
"""Where the Celsius scale begins [K], exact (SI brochure)."""

_POUND: Final = 0.45359237
_POUND_FORCE: Final = _POUND * STANDARD_GRAVITY

DIMENSIONS: Final = MappingProxyType(
    {
        "length": {
            "m": 1.0,
            "mm": 1e-3,
            "cm": 1e-2,
            "km": 1e3,
            "ft": FOOT,
            "in": FOOT / 12,
            "mi": MILE,
            "nmi": 1852.0,
        },
        "area": {
            "m2": 1.0,
            "cm2": 1e-4,
            "mm2": 1e-6,
            "ft2": FOOT**2,
            "in2": (FOOT / 12) ** 2,
        },
        "volume": {
            "m3": 1.0,
            "L": 1e-3,
            "cm3": 1e-6,
            "ml": 1e-6,
            "ft3": FOOT**3,
            "in3": (FOOT / 12) ** 3,
        },
        "mass": {"kg": 1.0, "g": 1e-3, "lb": _POUND, "oz": _POUND / 16},
        "time": {"s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0},
        "speed": {
            "m/s": 1.0,
            "mps": 1.0,
            "ft/s": FOOT,
            "fps": FOOT,
            "mph": MILE_PER_HOUR,
            "kt": KNOT,
            "km/h": 1 / 3.6,
            "kmh": 1 / 3.6,
        },
        "angle": {"deg": math.pi / 180, "rad": 1.0},
        "impulse": {
            "N s": 1.0,
            "Ns": 1.0,
            "N-s": 1.0,
            "lbf s": _POUND_FORCE,
            "kgf s": STANDARD_GRAVITY,
        },
        "force": {"N": 1.0, "kN": 1e3, "lbf": _POUND_FORCE, "kgf": STANDARD_GRAVITY},
        "inertia": {
            "kg m2": 1.0,
            "g m2": 1e-3,
            "kg cm2": 1e-4,
            "lb ft2": _POUND * FOOT**2,
        },
        "margin": {"cal": 1.0},
        "energy": {"J": 1.0, "ft lbf": FOOT * _POUND_FORCE},
        "pressure": {
            "Pa": 1.0,
            "hPa": 100.0,
            "mbar": 100.0,
            "kPa": 1e3,
            "MPa": 1e6,
            "GPa": 1e9,
            "psi": _POUND_FORCE / (FOOT / 12) ** 2,
            "inHg": 3386.389,
        },
        "density": {"kg/m3": 1.0, "g/m3": 1e-3},
        "temperature": {"K": 1.0, "C": 1.0, "F": 5 / 9},
        "share": {"": 1.0, "%": 0.01},
        "number": {"": 1.0},
    }
)
"""Accepted unit names for each kind of quantity, with their size in SI."""

_BARE: Final = MappingProxyType({"angle": math.pi / 180})
"""Unit of a bare number where it is not the SI unit: angles are in degrees."""

_FAR: Final = ("km", "mi", "nmi")
"""Nothing here is a thousand of these: a comma among their digits is a decimal one, or a slip."""

_NEAR, _THOUSANDS = ("m", "ft"), re.compile(r"[1-9]\d{0,2}\.000")
"""Of these there are thousands, and nobody measures a round number of them to a thousandth."""

_OFFSET: Final = MappingProxyType({"C": ZERO_CELSIUS, "F": 459.67 * 5 / 9})
_TOLD: Final = MappingProxyType({"temperature": "C", "pressure": "hPa"})
"""Unit in which bounds are told where it is not the SI unit."""

_NUMBER: Final = re.compile(
    r"\s*([-+]?(?:[1-9]\d{0,2}(?:,\d{3})+|\d+)?(?:\.\d*)?(?:[eE][-+]?\d+)?)\s*(.*?)\s*$"
)
_COUNT: Final = re.compile(r"[1-9]\d{0,2}(?:,\d{3})+|\d{1,15}", re.ASCII)

_READ: Final = MappingProxyType(
    {
        "length": {"us": ("ft", 0), "si": ("m", 0)},
        "speed": {"us": ("mph", 0), "si": ("m/s", 1)},
        "descent": {"us": ("ft/s", 0), "si": ("m/s", 1)},
        "mass": {"us": ("lb", 2), "si": ("kg", 2)},
        "energy": {"us": ("ft lbf", 0), "si": ("J", 0)},
        "area": {"us": ("ft2", 2), "si": ("m2", 3)},
        "time": {"us": ("s", 0), "si": ("s", 0)},
        "angle": {"us": ("deg", 0), "si": ("deg", 0)},
    }
)


def _amiss(unit: str, dimension: str) -> str:
    """Say what is wrong with what stands behind a number."""
    if re.match(r",\d", unit):
        return "has a decimal comma; write a point"
    if re.search(r"\+/-|±", unit):
        return "carries a spread, which this value takes none of; leave it out"
    if not any(DIMENSIONS[dimension]):
        return f"has {quoted(unit)} behind its number; {_accepted(dimension)}"
    return f"has no unit of {dimension}; {_accepted(dimension)}"


def _plainly(digits: str, unit: str) -> str:
    """Say how to write a number that may be read as thousands or as a decimal."""
    mark = "," if "," in digits else "."
    whole, parts = digits.replace(mark, ""), re.split("[.,]", digits)
    either = [f"{float('.'.join(parts)):g} {unit}"] if len(parts) == 2 else []
    return f"write {' or '.join([*either, f'{whole} {unit}'])}"


def parse(value: object, dimension: str) -> float:
    """Read a quantity in SI (angles in radians, temperatures in kelvin).

    ``value``: ``"1500 ft"``, ``"12 mph"``, or a bare number in SI (angles: degrees);
    ``dimension``: a key of `DIMENSIONS`.

    Raises `ValueError` if it is not a finite number with an accepted unit.

    Examples
    --------
    >>> parse("1,500 ft", "length")
    457.2
    >>> parse("2 furlongs", "time")
    Traceback (most recent call last):
    ValueError: '2 furlongs' has no unit of time; write a number and one of s, ms, min, h
    """
    table = DIMENSIONS[dimension]
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError(f"{quoted(value)} is no {dimension}; {_accepted(dimension)}")
    if isinstance(value, str):
        match = _NUMBER.match(value)
        unit = match[2] if match else ""
        if not match or not any(c.isdigit() for c in match[1]):
            raise ValueError(
                f"{quoted(value)} is no {dimension}; {_accepted(dimension)}"
            )
        if unit and unit not in table:
            raise ValueError(f"{quoted(value)} {_amiss(unit, dimension)}")
        if ("," in match[1] and unit in _FAR) or (
            unit in _NEAR and _THOUSANDS.fullmatch(match[1])
        ):
            text = f"may be thousands or a decimal; {_plainly(match[1], unit)}"
            raise ValueError(f"{quoted(value)} {text}")
        number = _float(match[1].replace(",", ""))
    else:
        number, unit = _float(value), ""
    if not math.isfinite(number):
        raise ValueError(f"{quoted(value)} must be a finite {dimension}")
    factor = table[unit] if unit else _BARE.get(dimension, 1.0)
    return number * factor + _OFFSET.get(unit, 0.0)


def whole(value: object, least: int, most: int) -> int:
    """Read a count: digits, which commas may separate; a point is refused, as it may mean thousands.

    Raises `ValueError` if it is none, or not from `least` to `most`.

    Examples
    --------
    >>> whole("2,000", 0, 9999)
    2000
    >>> whole("2.000", 0, 9999)
    Traceback (most recent call last):
    ValueError: '2.000' must be a whole number from 0 to 9999, in digits alone
    """
    text = str(value)
    match = isinstance(value, int | str) and _COUNT.fullmatch(text.strip())
    if not match or not least <= int(text.replace(",", "")) <= most:
        message = f"must be a whole number from {least} to {most}, in digits alone"
        raise ValueError(f"{quoted(value)} {message}")
    return int(text.replace(",", ""))


def _float(value: float | str) -> float:
    try:
        return float(value)
    except OverflowError:  # an integer that no float can hold
        return math.inf


def _accepted(dimension: str) -> str:
    names = [name for name in DIMENSIONS[dimension] if name]
    if not names:
        return "write a plain number"
    return f"write a number and one of {', '.join(names)}"


def quantity(value: object, dimension: str) -> float:
    """Read a quantity that must name its unit, as `parse`; of a number, a fraction too.

    Examples
    --------
    >>> quantity("1/4", "number"), quantity("100 ft", "length")
    (0.25, 30.48)
    >>> quantity("1e3", "time")
    Traceback (most recent call last):
    ValueError: '1e3' must name its unit of time; write a number and one of s, ms, min, h
    """
    if dimension in {"number", "share"}:
        parts = re.fullmatch(r"\s*(\d+)\s*/\s*(\d+)\s*", str(value))
        if parts and int(parts[2]) > 0:
            return int(parts[1]) / int(parts[2])
    number = parse(value, dimension)
    if "" not in DIMENSIONS[dimension] and not names_unit(value):
        text = f"must name its unit of {dimension}; {_accepted(dimension)}"
        raise ValueError(f"{quoted(value)} {text}")
    return number


def names_unit(value: object) -> bool:
    """Return whether a quantity that can be read names its unit."""
    match = _NUMBER.match(value) if isinstance(value, str) else None
    return match is not None and match[2] != ""


def bounded(
    value: object,
    dimension: str,
    least: float = -math.inf,
    most: float = math.inf,
    *,
    above: bool = False,
) -> float:
    """Read a quantity within bounds [SI], which are accepted too, but not the lower one with ``above``.

    Raises `ValueError` as `parse`, or naming the bounds in the plain unit.

    Examples
    --------
    >>> bounded("80 deg", "angle", 0.0, math.pi / 4)
    Traceback (most recent call last):
    ValueError: '80 deg' is out of bounds; accepted is 0 to 45 deg
    """
    number = parse(value, dimension)
    # Arithmetic of units leaves a bound as told just beside it.
    for bound in (least, most):
        number = bound if math.isclose(number, bound, rel_tol=1e-12) else number
    check_bounds(number, value, dimension, least, most, above=above)
    return number


def check_bounds(
    number: float,
    value: object,
    dimension: str,
    least: float,
    most: float,
    *,
    above: bool = False,
) -> None:
    """Refuse what was read as ``number`` [SI] from ``value`` and is out of bounds."""
    if least <= number <= most and not (above and number == least):
        return
    unit = _TOLD.get(dimension, next(iter(DIMENSIONS[dimension])))
    factor, offset = DIMENSIONS[dimension][unit], _OFFSET.get(unit, 0.0)
    low, high = (f"{(bound - offset) / factor:,.10g}" for bound in (least, most))
    start = f"more than {low}" if above else low
    told = start if most == math.inf else f"{start} to {high}"
    if most == math.inf and not above:
        told = f"{low} or more"
    raise ValueError(
        f"{quoted(value)} is out of bounds; accepted is {f'{told} {unit}'.rstrip()}"
    )


def kelvin(celsius: float | None) -> float | None:
    """Give a temperature in kelvin; None where none was told."""
    return None if celsius is None else celsius + ZERO_CELSIUS


def unit_of(dimension: str, system: str) -> str:
    """Name the unit in which `show` writes a quantity.

    ``dimension``: A key of `DIMENSIONS`, or ``"descent"`` for a falling speed;
    ``system``: units the reader picked.
    """
    return _READ[dimension][system][0]


def show(
    value: float, dimension: str, system: str, *, digits: int | None = None
) -> str:
    """Write an SI value in the units that the reader picked, ``"us"`` or ``"si"``.

    ``dimension``: a key of `DIMENSIONS`, or ``"descent"`` for a falling speed; ``digits``:
    decimal places, of which each unit has its own default. A speed that is a number of
    tenths, as meters show it, is told to the tenth: of 4.5 neither 4 nor 5 was read.

    Examples
    --------
    >>> show(457.2, "length", "us"), show(457.2, "length", "si")
    ('1,500 ft', '457 m')
    >>> show(2.01168, "speed", "us"), show(2.1, "speed", "us")
    ('4.5 mph', '5 mph')
    """
    unit, places = _READ[dimension][system]
    kind = "speed" if dimension == "descent" else dimension
    number = value / DIMENSIONS[kind][unit]
    tenths = round(10 * number) if dimension == "speed" else 0
    if tenths % 10 and math.isclose(10 * number, tenths, rel_tol=1e-9):
        places = 1
    return f"{number:,.{places if digits is None else digits}f} {unit}"


def parse_spread(value: object, dimension: str) -> tuple[float, float | None]:
    """Read a quantity in SI with its standard deviation; None where the text gives none.

    ``value``: as of `parse`, or with a spread: ``"1.9 kg +/- 50 g"``, ``"0.5 +/- 10 %"``.

    Raises `ValueError` as `parse`, or if the spread is negative.

    Examples
    --------
    >>> parse_spread("2 kg +/- 5 %", "mass")
    (2.0, 0.1)
    """
    if not isinstance(value, str) or not re.search(r"±|\+/-", value):
        return parse(value, dimension), None
    head, _, tail = re.sub(r"±", "+/-", value).partition("+/-")
    middle = parse(head.strip(), dimension)
    if tail.strip().endswith("%"):
        spread = parse(tail.strip(), "share") * abs(middle)
    else:
        spread = parse(tail.strip(), dimension)
        offset = _OFFSET.get(tail.strip().lstrip("0123456789.,+-eE "), 0.0)
        spread -= offset  # a spread of temperatures is a difference
    if spread < 0:
        raise ValueError(f"{quoted(value)} must not have a negative spread")
    return middle, spread
