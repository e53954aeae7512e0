"""Moist air against worked values.

Sources: saturation pressure of WMO-No. 8, *Guide to Meteorological Instruments*, 7th ed.,
2008, annex 4.B, as quoted in secondary copies; virtual temperature and density computed
from it (the two-gas formula with 461.52 J/(kg K) for vapour agrees to 1e-6). Pressure
altitude: inverse of the U.S. Standard Atmosphere 1976, computed.
"""

import numpy as np
import pytest

from driftmap.air.atmosphere import GAS_CONSTANT, pressure_height
from driftmap.air.day import AirDay, saturation_pressure, station_pressure

# The worked values use 287.05287 J/(kg K); ours is the US76's 8314.32/28.9644.
REL = 1e-6


@pytest.mark.parametrize(
    ("celsius", "pascal"),
    [
        (-20, 125.965),
        (0, 611.2),
        (10, 1226.03),
        (15, 1701.672),
        (20, 2332.596),
        (35, 5612.842),
        (40, 7367.458),
    ],
)
def test_saturation_pressure(celsius, pascal):
    digits = str(pascal)[::-1].find(".")
    close = 0.5 * 10.0**-digits
    assert saturation_pressure(celsius + 273.15) == pytest.approx(pascal, abs=close)


@pytest.mark.parametrize(
    ("celsius", "pascal", "humidity", "virtual", "density", "ratio"),
    [
        (15, 101_325, 0.50, 289.0675, 1.221112, 0.99683),
        (20, 101_325, 1.00, 295.7234, 1.193628, 0.99130),
        (35, 90_000, 0.60, 312.5711, 1.003071, 0.98586),
    ],
)
def test_moist_air(celsius, pascal, humidity, virtual, density, ratio):
    kelvin = celsius + 273.15
    moist = AirDay(kelvin, pascal, humidity, 500.0).density(500.0)
    dry = AirDay(kelvin, pascal, 0.0, 500.0).density(500.0)
    assert pascal / GAS_CONSTANT / moist == pytest.approx(virtual, abs=1e-4)
    assert moist == pytest.approx(density, rel=REL)
    assert moist / dry == pytest.approx(ratio, abs=5e-6)


def test_two_gases():
    """Dry air and vapour weighed apart; molar masses as 0.622 to 1 (1e-6 of rounding)."""
    vapour = 0.6 * saturation_pressure(308.15)
    apart = ((90_000 - vapour) / GAS_CONSTANT + vapour / 461.52) / 308.15
    assert AirDay(308.15, 90_000, 0.6, 0.0).density(0.0) == pytest.approx(
        apart, rel=1e-5
    )


def test_altimeter_set_to_qnh_shows_the_altitude_of_the_field():
    for setting in (98_000.0, 101_325.0, 104_000.0):
        field = station_pressure(setting, 1500.0)
        shown = pressure_height(field) - pressure_height(setting)
        assert shown == pytest.approx(1499.646, abs=5e-4)  # geopotential, US76


def test_standard_setting_gives_the_standard_pressure():
    got = station_pressure(101_325.0, [0.0, 1000.0, 3000.0])
    assert got == pytest.approx(np.array([101_325, 89_876.28, 70_121.15]), rel=1e-6)
