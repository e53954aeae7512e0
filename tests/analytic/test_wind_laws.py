"""Wind growth with height: published values.

Power law with exponent 1/7 (Hellmann) and logarithmic law with von Karman's constant
0.40 and roughness 0.03 m (textbook), worked to six decimals; roughness classes of
Davenport and Wieringa. Tolerance: half of the last printed digit.
"""

import numpy as np
import pytest

from driftmap.air.profile_law import ROUGHNESS, field_of, surface_shape
from driftmap.air.uncertainty import forecast_error, instrument_error
from driftmap.air.wind import WindLevel, components_from, direction_and_speed


@pytest.mark.parametrize(
    ("known", "at", "height", "expected"),
    [
        (5.0, 10.0, 100.0, 6.981863),  # logarithmic
        (5.0, 10.0, 2.0, 3.614737),
        (5.0, 2.0, 10.0, 6.916132),  # a hand-held reading scaled up
    ],
)
def test_logarithmic_law(known, at, height, expected):
    z0 = ROUGHNESS["open"]
    value = known * surface_shape(height, z0) / surface_shape(at, z0)
    assert value == pytest.approx(expected, abs=5e-7)


def test_power_law_joins_at_100_m():
    # 5 m/s at 10 m by the power law alone: 6.947477 at 100 m, 8.128068 at 300 m.
    ratio = surface_shape(300.0, 0.03) / surface_shape(100.0, 0.03)
    assert ratio == pytest.approx(8.128068 / 6.947477, abs=5e-7)
    assert surface_shape(100.0, 0.03) == pytest.approx(1.0, abs=1e-12)
    assert surface_shape(100.001, 0.03) == pytest.approx(1.0, abs=1e-5)


def test_held_at_the_ground_and_above_the_law():
    shape = surface_shape([0.0, 1.0, 2.0, 300.0, 5000.0], 0.03)
    assert shape[0] == shape[1] == shape[2] > 0
    assert shape[3] == shape[4]


def test_roughness_classes():
    assert tuple(ROUGHNESS.values()) == (0.0002, 0.005, 0.03, 0.1, 0.25, 0.5, 1.0, 2.0)


@pytest.mark.parametrize(
    ("bearing", "east", "north"), [(270, 10.0, 0.0), (360, 0.0, -10.0), (90, -10, 0)]
)
def test_components(bearing, east, north):
    assert np.allclose(components_from(np.radians(bearing), 10.0), (east, north))


def test_components_of_a_strong_wind():
    # 230 deg, 119 kt = 61.219 m/s: u = +46.90, v = +39.35.
    east, north = components_from(np.radians(230.0), 61.219)
    assert east == pytest.approx(46.90, abs=5e-3)
    assert north == pytest.approx(39.35, abs=5e-3)


def test_bearing_of_components():
    # An independent library (MetPy 1.7.1) gives 216.870 deg for u = 3, v = 4.
    bearing, speed = direction_and_speed(3.0, 4.0)
    assert np.degrees(bearing) == pytest.approx(216.870, abs=5e-4)
    assert speed == pytest.approx(5.0)


def test_a_forecast_is_off_by_the_cube_root_of_its_lead():
    # Changes scale as the cube root of time: Merceret 1997, J. Appl. Meteor. 36, 1567.
    assert forecast_error(48.0) / forecast_error(12.0) == pytest.approx(1.587401)
    # At 6 h a regional forecast's vector error is near 4 m/s through most of the troposphere (a
    # year of sondes to 2016, read second hand); that its winds are near 15 m/s: from memory.
    level, base = WindLevel(3000.0, 0.0, 15.0, None, "forecast"), forecast_error(6.0)
    error = instrument_error(level, base, forecast=True, surface=False)
    assert error == pytest.approx(4.0 / np.sqrt(2), rel=0.05)


@pytest.mark.parametrize("terrain", ["roughly open", "very rough", "closed", "sea"])
def test_above_the_law_the_wind_grows_on_from_its_end_over_any_ground(terrain):
    """What is fitted over open land grows from 60 m; over water none is taken off."""
    field, z = field_of(30.0, 41.0, 5.0), np.array([60.0, 120.0, 300.0, 1500.0])
    told, usual = (np.abs(field.carry(z, ROUGHNESS[t])) for t in (terrain, "open"))
    # ln(60 / z0) / ln(10 / z0) of the wind at 10 m.
    start = np.log(60 / ROUGHNESS[terrain]) / np.log(10 / ROUGHNESS[terrain])
    assert told[0] == pytest.approx(start)
    share = max(start / usual[0], 1.0)
    assert told[2:] == pytest.approx(share * usual[2:])
    assert (told[1:] >= usual[1:] - 0.1).all()
