"""The air of the day against the standard atmosphere and numerical hydrostatics."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from driftmap.air.atmosphere import (
    GAS_CONSTANT,
    air_density,
    pressure,
    speed_of_sound,
    temperature,
)
from driftmap.air.day import AirDay
from driftmap.core.units import STANDARD_GRAVITY

ALTITUDES = np.linspace(-500, 20_000, 83)
HOT = AirDay(308.15, 85_000.0, 0.6, 1400.0)


@pytest.mark.parametrize("site", [-300.0, 0.0, 1400.0, 4000.0])
def test_standard_day_is_the_standard_atmosphere(site):
    day = AirDay(float(temperature(site)), float(pressure(site)), 0.0, site)
    # rounding of the powers only
    assert day.density(ALTITUDES) == pytest.approx(air_density(ALTITUDES), rel=1e-12)
    assert day.pressure_at(ALTITUDES) == pytest.approx(pressure(ALTITUDES), rel=1e-12)
    assert day.temperature_at(ALTITUDES) == pytest.approx(temperature(ALTITUDES))
    assert day.speed_of_sound(ALTITUDES) == pytest.approx(speed_of_sound(ALTITUDES))
    assert day.density_altitude() == pytest.approx(site, abs=1e-6)


def hydrostatic(day, top, *, moist):
    """Integrate dp/dH = -g p / (R T) up from the site."""
    radius = 6_356_766.0

    def slope(z, p):
        kelvin = day.temperature_at(z)
        if moist:
            vapour = (
                day.humidity
                * 611.2
                * np.exp(17.62 * (kelvin - 273.15) / (kelvin - 30.03))
            )
            kelvin = kelvin / (1 - 0.378 * vapour / p)
        stretch = (radius / (radius + z)) ** 2  # dH/dz
        return -STANDARD_GRAVITY * stretch * p / (GAS_CONSTANT * kelvin)

    path = solve_ivp(
        slope, (day.altitude, top), [day.pressure], rtol=1e-10, atol=1e-6, max_step=200
    )
    return path.y[0, -1]


@pytest.mark.parametrize("top", [1000.0, 3000.0, 9000.0, 15_000.0])
@pytest.mark.parametrize(
    "day", [AirDay(308.15, 85e3, 0, 1400), AirDay(258.15, 1.03e5, 0, 100)]
)
def test_pressure_of_a_dry_day(day, top):
    assert day.pressure_at(top) == pytest.approx(
        hydrostatic(day, top, moist=False), rel=1e-7
    )


def test_weight_of_vapour_left_out_is_small():
    sea = AirDay(308.15, 101_325.0, 0.6, 0.0)
    error = sea.pressure_at(3000.0) / hydrostatic(sea, 3000.0, moist=True) - 1
    assert -0.005 < error < -0.001


def test_density_altitude_is_where_the_standard_is_as_dense():
    assert air_density(HOT.density_altitude()) == pytest.approx(
        HOT.density(HOT.altitude), rel=1e-12
    )
    assert HOT.density_altitude() > HOT.altitude + 1000


def test_a_humid_day_is_thinner_and_a_cold_one_denser():
    dry = AirDay(308.15, 85_000.0, 0.0, 1400.0)
    assert HOT.density_altitude() > dry.density_altitude()
    assert AirDay(263.15, 85_000.0, 0.0, 1400.0).density_altitude() < 1400 - 300
    assert AirDay(253.15, 103_000.0, 0.0, 0.0).density_altitude() < -610
