"""A wind in words: the forms it takes, and what it becomes aloft."""

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from driftmap.errors import WindError
from driftmap.units import KNOT, MILE_PER_HOUR
from driftmap.winds import read_wind, read_winds
from driftmap.winds.reading import Setting
from driftmap.winds.words import read_words


def _read(text, **setting):
    reading = read_words(text, Setting(0.0, **setting))
    return reading.levels[0], reading


@pytest.mark.parametrize(
    ("text", "bearing", "speed", "height"),
    [
        ("12 mph from 240", 240, 12 * MILE_PER_HOUR, 2.0),
        ("12 mph from 240 deg", 240, 12 * MILE_PER_HOUR, 2.0),
        ("12mph from 240°", 240, 12 * MILE_PER_HOUR, 2.0),
        ("5 m/s from SW", 225, 5.0, 2.0),
        ("5 m/s from the nnw", 337.5, 5.0, 2.0),
        ("8 kt from 270 at 10 m", 270, 8 * KNOT, 10.0),
        ("8 knots from 270 true at 33 ft", 270, 8 * KNOT, 33 * 0.3048),
        ("18 km/h from 0", 0, 5.0, 2.0),
        ("18 kph from 360", 360, 5.0, 2.0),
        ("calm", 0, 0.0, 2.0),
    ],
)
def test_forms(text, bearing, speed, height):
    level, _ = _read(text)
    assert math.degrees(level.direction) == pytest.approx(bearing)
    assert (level.speed, level.height) == pytest.approx((speed, height))


def test_a_compass_point_is_less_exact_than_a_bearing():
    # By eye 10 degrees; a point is even over 22.5 degrees besides.
    assert _read("5 m/s from 225")[1].direction_error == pytest.approx(math.radians(10))
    expected = math.radians(math.hypot(10, 22.5 / math.sqrt(12)))
    assert _read("5 m/s from SW")[1].direction_error == pytest.approx(expected)


def test_every_clause_together():
    text = "5 m/s from 10 magnetic gusting to 8 m/s at 3 m over rough land, 45 min ago"
    level, reading = _read(text, declination=math.radians(-12.0))
    assert math.degrees(level.direction) == pytest.approx(358.0)
    assert (level.gust, level.height) == pytest.approx((8.0, 3.0))
    age = datetime.now(UTC) - reading.valid
    assert abs(age - timedelta(minutes=45)) < timedelta(minutes=1)
    assert "rough" in " ".join(
        read_winds([text.replace("magnetic ", "")], site_altitude=0.0).assumed
    )


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("12 mph from 2700", "direction 2700 deg; accepted is 0 to 360"),
        ("12 mph from", "not a wind in words"),
        ("12 from 240", "not a wind in words"),
        ("12 furlongs from 240", "no unit of speed"),
        ("900 mph from 240", "speed 402.3 m/s"),
        ("-3 mph from 240", "not a wind in words"),
        ("12 mph from nan", "direction"),
        ("12 mph from up", "'up'; accepted is 0 to 360 or a compass point"),
        ("12 mph from 240 at 200 m", "0.5 to 100 m"),
        ("12 mph from 240 at 5 kg", "unit of length"),
        ("12 mph from 240 magnetic", "declination"),
        ("12 mph from 240 gusting to 8 mph", "gust"),
        ("12 mph from 240 over mars", "'mars' is no class"),
        ("12 mph from 240 over closed land", "among the obstacles"),
        ("windy", "no file, and no wind in words"),
        ("", "no file"),
    ],
)
def test_bad_words_are_told_in_one_line(text, message):
    with pytest.raises(WindError, match=message) as caught:
        read_wind(text, site_altitude=0.0)
    assert "\n" not in str(caught.value)


def test_carried_aloft_by_the_laws_and_held_above():
    wind = read_wind("12 mph from 240", site_altitude=0.0)
    speed = np.hypot(*wind.at([0.0, 2.0, 10.0, 100.0, 300.0, 5000.0]))
    start = 12 * MILE_PER_HOUR
    assert speed[0] == speed[1] == pytest.approx(start)
    assert speed[2] / start == pytest.approx(1.383226, abs=5e-7)
    assert speed[4] / speed[3] == pytest.approx(3 ** (1 / 7))
    assert speed[5] == pytest.approx(speed[4])
    assert wind.known_to == 60.0
    said = " ".join(wind.assumed)
    for word in ("logarithmic", "roughness 0.03 m", "power law", "above 60 m", "age"):
        assert word in said


def test_words_in_a_file_with_their_terrain(tmp_path):
    path = tmp_path / "field.txt"
    path.write_text("5 m/s from 90 over rough land\n")
    wind = read_wind(str(path), site_altitude=0.0)
    assert any("roughness 0.25 m (rough)" in note for note in wind.assumed)


def test_rougher_ground_makes_more_wind_aloft_of_the_same_reading():
    speeds = [
        np.hypot(*read_wind(f"5 m/s from 90 over {name}", site_altitude=0.0).at(300.0))
        for name in ("sea", "open land", "roughly open land", "rough land")
    ]
    assert speeds == sorted(speeds)


def test_error_grows_away_from_the_reading():
    wind = read_wind("12 mph from 240", site_altitude=0.0)
    at = np.interp([2.0, 100.0, 300.0, 1300.0, 3300.0], wind.height, wind.error)
    assert np.all(np.diff(at) > 0)


def test_variable_wind_has_no_mean_but_its_speed_as_error():
    wind = read_wind("4 m/s variable", site_altitude=0.0)
    assert np.allclose(wind.at(wind.height), 0.0)
    assert wind.levels[0].direction is None
    # A speed s from anywhere has components of variance s²/2.
    assert wind.error[0] == pytest.approx(math.sqrt(1 + 0.4**2 + 4**2 / 2))


def test_calm_is_not_certain():
    wind = read_wind("calm", site_altitude=0.0)
    assert np.allclose(wind.at(wind.height), 0.0)
    assert np.all(wind.error >= 1.0)
