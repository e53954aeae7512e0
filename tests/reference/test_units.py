"""Units of every quantity against scipy.constants (CODATA 2018, and NIST SP 811 for the rest).

Prefixes and powers are worked out here; the inch of mercury is the conventional one, which
differs from 25.4 of scipy's torr in the seventh digit.
"""

import pytest
from scipy import constants as c

from driftmap.core.units import DIMENSIONS, parse

KNOWN = {
    "length": {
        "mm": c.milli,
        "cm": c.centi,
        "km": c.kilo,
        "ft": c.foot,
        "in": c.inch,
        "mi": c.mile,
        "nmi": c.nautical_mile,
    },
    "area": {
        "cm2": c.centi**2,
        "mm2": c.milli**2,
        "ft2": c.foot**2,
        "in2": c.inch**2,
    },
    "volume": {
        "L": c.liter,
        "cm3": c.centi**3,
        "ml": c.milli * c.liter,
        "ft3": c.foot**3,
        "in3": c.inch**3,
    },
    "mass": {"g": c.gram, "lb": c.pound, "oz": c.ounce},
    "time": {"ms": c.milli, "min": c.minute, "h": c.hour},
    "speed": {
        "ft/s": c.foot,
        "fps": c.foot,
        "mph": c.mph,
        "kt": c.knot,
        "km/h": c.kmh,
        "kmh": c.kmh,
    },
    "angle": {"deg": c.degree},
    "impulse": {"lbf s": c.pound_force, "kgf s": c.kilogram_force},
    "force": {"kN": c.kilo, "lbf": c.pound_force, "kgf": c.kilogram_force},
    "inertia": {
        "g m2": c.gram,
        "kg cm2": c.centi**2,
        "lb ft2": c.pound * c.foot**2,
    },
    "energy": {"ft lbf": c.foot * c.pound_force},
    "pressure": {
        "hPa": c.hecto,
        "mbar": c.milli * c.bar,
        "kPa": c.kilo,
        "MPa": c.mega,
        "GPa": c.giga,
        "psi": c.psi,
        "inHg": 25.4 * c.torr,
    },
    "density": {"g/m3": c.gram},
    "temperature": {},
    "margin": {},
    "share": {"%": 0.01},
    "number": {},
}
"""Of each quantity the units that are not the one of the SI, which is 1."""


@pytest.mark.parametrize("kind", DIMENSIONS)
def test_every_unit_is_as_large_as_it_is_published(kind):
    for unit in DIMENSIONS[kind]:
        one = parse(f"1 {unit}", kind)
        if kind == "temperature":
            scale = {"K": "Kelvin", "C": "Celsius", "F": "Fahrenheit"}[unit]
            assert one == pytest.approx(c.convert_temperature(1, scale, "K"), rel=1e-12)
        else:
            allowed = 1e-6 if unit == "inHg" else 1e-12
            assert one == pytest.approx(KNOWN[kind].get(unit, 1.0), rel=allowed)


def test_nothing_is_published_for_a_unit_that_is_none():
    assert {*KNOWN} == {*DIMENSIONS}
    assert all({*units} <= {*DIMENSIONS[kind]} for kind, units in KNOWN.items())
