"""Heights of pressure levels: US Standard Atmosphere 1976, and the hypsometric equation.

Table: pressure to 7 digits at geometric altitudes; tolerance 2e-5 of the pressure, which
is 0.2 m of height. Pressure altitudes computed from the same constants to the millimetre.
"""

import math

import pytest

from driftmap.air.atmosphere import (
    altitude_of,
    fill_heights,
    geopotential_of,
    pressure_height,
    thickness,
)


@pytest.mark.parametrize(
    ("altitude", "pressure"),
    [
        (0.0, 101_325.0),
        (1000.0, 89_876.28),
        (3000.0, 70_121.15),
        (10_000.0, 26_499.88),
        (11_000.0, 22_699.95),
        (15_000.0, 12_111.81),
    ],
)
def test_table(altitude, pressure):
    assert altitude_of(pressure_height(pressure)) == pytest.approx(altitude, abs=0.2)


def test_pressure_altitude():
    assert pressure_height(95_000.0) == pytest.approx(540.337, abs=2e-3)
    assert pressure_height(89_876.3) == pytest.approx(999.841, abs=2e-3)


def test_geometric_and_geopotential():
    assert geopotential_of(10_000.0) == pytest.approx(9984.293, abs=5e-4)
    assert altitude_of(9984.293) == pytest.approx(10_000.0, abs=5e-4)


def test_thickness_against_the_isothermal_closed_form():
    # R T / g0 = 29.2718 m per kelvin: 1000 to 500 hPa at 0 °C is 5542 m (textbook).
    assert thickness(100_000.0, 50_000.0, 273.15) == pytest.approx(5542.0, abs=0.5)


def test_levels_by_pressure_alone():
    heights, standard = fill_heights(
        [100_000.0, 85_000.0, None], [110.0, None, None], [288.0, 280.0, None]
    )
    expected = 110.0 + 287.053 * 284.0 / 9.80665 * math.log(100 / 85)
    assert heights[0] == 110.0
    assert heights[1] == pytest.approx(expected, abs=0.05)
    assert heights[2] is None
    assert standard == [False, False, False]


def test_the_nearest_level_of_known_height_is_the_foot():
    # Without temperatures the standard thickness is added: 800 to 850 hPa is 491.7 m.
    heights, standard = fill_heights(
        [100_000.0, 85_000.0, 80_000.0], [0.0, 1600.0, None], [None, None, None]
    )
    expected = 1600.0 + pressure_height(80_000.0) - pressure_height(85_000.0)
    assert heights[2] == pytest.approx(expected, abs=1e-9)
    assert heights[2] == pytest.approx(1600.0 + 491.7, abs=0.1)
    assert standard == [False, False, True]


def test_standard_atmosphere_is_told():
    heights, standard = fill_heights([85_000.0], [None], [280.0])
    assert heights[0] == pytest.approx(1457.3, abs=0.1)
    assert standard == [True]
