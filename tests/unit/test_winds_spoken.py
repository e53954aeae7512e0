"""A wind in words: the forms it takes, and what it becomes aloft."""

import itertools
import json
import math
import re
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from reading import decode

from driftmap.air.transformed import scaled
from driftmap.core.errors import WindError
from driftmap.core.units import KNOT, MILE_PER_HOUR
from driftmap.winds.formats import kind_of
from driftmap.winds.merge import merge
from driftmap.winds.plain_words import read_words
from driftmap.winds.profile import read_wind, read_winds
from driftmap.winds.reading import Setting
from driftmap.winds.saved import keep_readings, read_kept

NOW = datetime(2026, 5, 19, 18, tzinfo=UTC)


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
        ("5 m/s from east-southeast", 112.5, 5.0, 2.0),
        ("5 m/s from the north north-west", 337.5, 5.0, 2.0),
        ("west southwesterly 5 m/s", 247.5, 5.0, 2.0),
        ("from the north east at 5 m/s", 45, 5.0, 2.0),
        ("18 km/h from 0", 0, 5.0, 2.0),
        ("18 kph from 360", 360, 5.0, 2.0),
        ("calm", 0, 0.0, 2.0),
        ("dead calm", 0, 0.0, 2.0),
        ("no wind", 0, 0.0, 2.0),
        ("light air from SSW 5 mph", 202.5, 5 * MILE_PER_HOUR, 2.0),
        ("12 mph out of the northwest", 315, 12 * MILE_PER_HOUR, 2.0),
        ("8 kts @ 240", 240, 8 * KNOT, 2.0),
        ("240@8kts", 240, 8 * KNOT, 2.0),
        ("240/8kt", 240, 8 * KNOT, 2.0),
        ("240 degrees 8 knots", 240, 8 * KNOT, 2.0),
        ("5 m/s from W at 30 ft AGL", 270, 5.0, 9.144),
        ("SW 9 mph", 225, 9 * MILE_PER_HOUR, 2.0),
        ("9 mph SW", 225, 9 * MILE_PER_HOUR, 2.0),
        ("SW @ 9 mph", 225, 9 * MILE_PER_HOUR, 2.0),
        ("9 miles per hour from SW", 225, 9 * MILE_PER_HOUR, 2.0),
        ("5 metres a second from SW", 225, 5.0, 2.0),
        ("18 kilometers per hour from W", 270, 5.0, 2.0),
        ("9 mph from southwest", 225, 9 * MILE_PER_HOUR, 2.0),
        ("9 mph south-westerly", 225, 9 * MILE_PER_HOUR, 2.0),
        ("wind 9 mph from the north east", 45, 9 * MILE_PER_HOUR, 2.0),
        ("240 at 9 kt", 240, 9 * KNOT, 2.0),
        ("240/9 kt", 240, 9 * KNOT, 2.0),
        ("24009KT", 240, 9 * KNOT, 10.0),
        ("3,5 m/s from 240", 240, 3.5, 2.0),
        ("from 240, 4 m/s at 120 m", 240, 4.0, 120.0),
        ("forecast W 4 m/s", 270, 4.0, 10.0),
    ],
)
def test_forms(text, bearing, speed, height):
    level, _ = _read(text)
    assert math.degrees(level.direction) == pytest.approx(bearing)
    assert (level.speed, level.height) == pytest.approx((speed, height))


@pytest.mark.parametrize(
    ("text", "speed", "gust", "bearing"),
    [
        ("SW 9 mph, gusts 14", 9, 14, 225),
        ("SW 9 mph (gusts 14 mph)", 9, 14, 225),
        ("Wind: SW 9 mph | Gust: 14 mph", 9, 14, 225),
        ("9 mph from SW, 14 mph gusts", 9, 14, 225),
        ("wind from 240 at 9 mph gusting 14", 9, 14, 240),
        ("avg 9 max 14 mph from W", 9, 14, 270),
        ("SW 9 mph, gusts to 14 mph", 9, 14, 225),
        ("9 mph gusting 14 from 230", 9, 14, 230),
        ("9 mph gusting 14 mph from 240", 9, 14, 240),
        ("9 mph from 240 with gusts of 14 mph, 5 min ago", 9, 14, 240),
        ("9 to 14 mph from 240", 11.5, 14, 240),
        ("9-14 mph SW", 11.5, 14, 225),
        ("W 5 to 10 mph gusting to 20", 7.5, 20, 270),
        ("9 to 14 mph", 11.5, 14, None),
        ("9 mph", 9, None, None),
        ("9mph", 9, None, None),
        ("vrb 9 mph", 9, None, None),
    ],
)
def test_as_an_app_prints_it(text, speed, gust, bearing):
    level, reading = _read(text)
    assert level.speed == pytest.approx(speed * MILE_PER_HOUR)
    assert level.gust == (None if gust is None else pytest.approx(gust * MILE_PER_HOUR))
    if bearing is None:
        assert level.direction is None
    else:
        assert math.degrees(level.direction) == pytest.approx(bearing)
    assert ("no direction told" in " ".join(reading.assumed)) == (
        bearing is None and "vrb" not in text
    )


def test_a_range_and_a_force_are_less_exact_than_a_speed():
    assert _read("9 mph from 240")[0].error is None
    level, _ = _read("9 to 14 mph from 240")
    assert level.error == pytest.approx(5 * MILE_PER_HOUR / math.sqrt(12))
    level, reading = _read("force 3 from W")
    assert (level.speed, level.height) == pytest.approx((4.45, 10.0))
    assert level.error == pytest.approx(2.1 / math.sqrt(12))
    assert any("force 3 is 3.4 to 5.5 m/s" in note for note in reading.assumed)


@pytest.mark.parametrize("text", ["light and variable", "light winds", "light airs"])
def test_light_may_be_as_strong_as_it_can_be(text):
    level, reading = _read(text)
    assert level.direction is None
    assert reading.up_to * level.speed == pytest.approx(5 * KNOT)


@pytest.mark.parametrize(
    ("text", "end"),
    [
        ("0 to 6 mph from 240", "6 mph from 240"),
        ("less than 12 mph from W", "12 mph from W"),
        ("light and variable", "5 kt variable"),
        ("force 0 to 2 from W", "3.4 m/s from W at 10 m"),
    ],
)
def test_a_wind_told_by_what_it_is_less_than_is_flown_over_its_range(text, end):
    """Its middle with the error of all of it, a calm too; and as strong as it may be."""

    def merged(said):
        return merge([decode(said, setting)], setting)

    setting = Setting(0.0, when=NOW, now=NOW, place=(41.6, -117.9))
    wind, strong = merged(text), merged(end)
    level, most = (decode(said, setting).levels[0] for said in (text, end))
    z = level.height
    assert level.speed == pytest.approx(most.speed / 2)
    assert level.error == pytest.approx(most.speed / math.sqrt(12))
    assert wind.strongest == pytest.approx(strong.strongest)
    for height in (z, 100.0, 600.0):
        assert np.allclose(wind.with_most.at(height), strong.at(height))
    assert np.allclose(wind.with_most.error, strong.error)
    assert strong.with_most is None
    kite = decode("4 m/s from 240 at 120 m", setting)
    assert merge([decode(text, setting), kite], setting).with_most is not None
    # So it is where it was kept, and where the wind is flown so many times as strong.
    text = json.dumps(keep_readings([decode(text, setting)], setting))
    kept = merge(read_kept(text, "kept", setting), setting)
    assert np.allclose(kept.with_most.east, wind.with_most.east)
    twice = np.array(scaled(wind, 2.0).with_most.at(z))
    assert np.allclose(twice, 2 * np.array(wind.with_most.at(z)))


def test_what_is_forecast_in_words_is_no_measurement():
    assert _read("forecast SW 9 mph, gusts 14")[1].forecast
    assert not _read("SW 9 mph, gusts 14")[1].forecast
    assert kind_of("forecast SW 9 mph, gusts 14") == "words of a forecast"
    assert kind_of("SW 9 mph, gusts 14") == "words"


def test_a_kite_or_drone_speaks_of_the_wind_aloft():
    assert _read("9 mph from 240 at 60 m")[1].kind == "surface"
    assert _read("9 mph from 240 at 400 ft")[1].kind == "aloft"
    wind = read_winds(["4 m/s from 240", "9 m/s from 250 at 120 m"], site_altitude=0.0)
    speed = np.hypot(*wind.at([2.0, 120.0]))
    assert speed == pytest.approx([4.0, 9.0], rel=0.01)
    assert wind.known_to >= 120.0


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
        ("no wind above 12 mph", "not a wind in words"),
        ("12 mph from east northwest", "a compass point such as SW"),
        ("12 mph from 2700", "direction 2700 deg; accepted is 0 to 360"),
        ("12 mph from -10", "direction -10 deg; accepted is 0 to 360"),
        ("force 5 to 4 from W", "force 5 to 4; accepted is 0 to 12"),
        ("20 mph gusts from W", "not a wind in words"),
        ("12 mph from", "not a wind in words"),
        ("12 from 240", "not a wind in words"),
        ("4,000 mph from 240", "speed .4,000."),
        ("9 mph from 240, 1,500 min ago", "age .1,500."),
        ("12 furlongs from 240", "no unit of speed"),
        ("900 mph from 240", "speed 402.3 m/s"),
        ("-3 mph from 240", "not a wind in words"),
        ("12 mph from nan", "direction"),
        ("12 mph from up", "'up'; accepted is 0 to 360 or a compass point"),
        ("12 mph from 240 at 200 m", "0.5 to 150 m"),
        ("12 mph from 240 at 5 kg", "unit of length"),
        ("12 mph from 240 magnetic", "declination"),
        ("12 mph from 240 gusting to 8 mph", "gust"),
        ("12 mph from 240 over mars", "'mars' is no class"),
        ("12 mph from 240 over closed land", "among the obstacles"),
        ("SW 9 mph from 240", "both 240 and SW"),
        ("N 9 mph E", "not a wind in words"),
        ("9 to 14", "no unit of speed"),
        ("240/9", "no file|no unit of speed"),
        ("14 to 9 mph from 240", "second of the two is less"),
        ("9 to 14 mph from 240 gusting to 12", "less than the mean"),
        ("force 13 from W", "force 13; accepted is 0 to 12"),
        ("9 mph from 240 at 12:45 +99:99", "is no time"),
        ("9 mph from 240 and then some", "not a wind in words"),
        ("windy", "no file, and no wind in words"),
        ("", "no file"),
    ],
)
def test_bad_words_are_told_in_one_line(text, message):
    with pytest.raises(WindError, match=message) as caught:
        read_wind(text, site_altitude=0.0)
    assert "\n" not in str(caught.value)


def test_carried_aloft_by_the_law_and_then_as_winds_usually_grow():
    wind = read_wind("12 mph from 240", site_altitude=0.0)
    speed = np.hypot(*wind.at([0.0, 2.0, 10.0, 100.0, 300.0, 5000.0]))
    start = 12 * MILE_PER_HOUR
    assert speed[:2] == pytest.approx([start, start])
    assert speed[2] / start == pytest.approx(1.383226, abs=5e-6)
    assert speed[4] > speed[3] > speed[2]
    assert wind.known_to == 60.0
    said = " ".join(wind.assumed)
    for word in ("logarithmic", "roughness 0.03 m", "soundings", "above 60 m", "age"):
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
    low = math.log(2 / 0.03) / math.log(10 / 0.03)
    now = math.hypot(1.09 * low, 0.129 * 4.0) * (1 / 12) ** 0.39
    assert wind.error[0] == pytest.approx(math.sqrt(0.5**2 + now**2 + 0.2**2 + 8))


def test_calm_is_not_certain():
    wind = read_wind("calm", site_altitude=0.0)
    assert np.allclose(wind.at(wind.height), 0.0)
    assert np.all(wind.error >= 0.55)


@pytest.mark.parametrize(
    ("text", "low", "high", "degrees"),
    [
        ("windsock half out from 240", 5, 10, 240),
        ("sock 3 of 5 from SW", 6, 12, 225),
        ("wind sock at three-quarters from N, 20 min ago", 8, 14, 0),
        ("windsock straight out from W", 15, 25, 270),
        ("sock limp", 0, 3, None),
    ],
)
def test_a_windsock_tells_a_range(text, low, high, degrees):
    reading = read_words(text, Setting(0.0))
    level = reading.levels[0]
    assert level.speed / KNOT == pytest.approx((low + high) / 2)
    assert level.error == pytest.approx((high - low) * KNOT / math.sqrt(12))
    assert level.direction == (
        None if degrees is None else pytest.approx(math.radians(degrees))
    )
    # One that stands straight may mean any wind above: that holds.
    assert bool(reading.warned) == ("straight" in text)


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("gentle breeze from W", "force 3 from W"),
        ("W 3 Bft", "force 3 from W"),
        ("3-4 Bft W", "force 3 to 4 from W"),
        ("SW wind 5 to 10 mph", "5 to 10 mph from SW"),
        ("Winds SW at 9 mph", "9 mph from SW"),
        ("drone: 9 mph from 240 at 120 m", "9 mph from 240 at 120 m"),
        ("9 mph from 240 by kite at 60 m", "9 mph from 240 at 60 m"),
        ("9 mph from 240 at 60 m (kite)", "9 mph from 240 at 60 m"),
        ("kite 60 m, 9 mph from 240", "9 mph from 240 at 60 m"),
        ("9 mph from 240 at 60 m, from a drone", "9 mph from 240 at 60 m"),
    ],
)
def test_other_ways_to_say_it(text, plain):
    one, other = (read_words(each, Setting(0.0)).levels[0] for each in (text, plain))
    assert (one.height, one.speed, one.gust) == (other.height, other.speed, other.gust)
    assert one.direction == pytest.approx(other.direction)


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("Wind: WSW 12 mph", "12 mph from WSW"),
        ("WSW at 12 mph", "12 mph from WSW"),
        ("W 12 G20 mph", "12 mph from W gusting 20"),
        ("12G20 mph from 270", "12 mph from 270 gusting 20"),
        ("270/12G20KT", "12 kt from 270 gusting 20"),
        (
            "Southwest wind around 8 mph, with gusts as high as 14 mph",
            "8 mph from SW gusting 14",
        ),
        ("VRB05KT", "5 kt variable at 10 m"),
        ("variable at 5 kt", "5 kt variable"),
        ("Light & variable", "light and variable"),
        ("Calm winds", "calm"),
        ("about 9 m.p.h. from SW, half an hour ago", "9 mph from SW, 30 min ago"),
        ("8 mph from 240 an hour ago", "8 mph from 240, 1 h ago"),
        ("SW (230°) 9 mph", "9 mph from 230"),
        ("9 mph from the SW (230 deg), gusts 14", "9 mph from 230 gusting 14"),
        ("8 (14) mph from 240", "8 mph from 240 gusting 14"),
        ("8 mph avg, 14 mph gust, from 240", "8 mph from 240 gusting 14"),
        ("steady 9 mph from SW, no gusts", "9 mph from SW"),
        ("less than 5 mph from W", "0 to 5 mph from W"),
        ("between 8 and 12 mph from W", "8 to 12 mph from W"),
        ("south-westerly wind, 12 mph", "12 mph from SW"),
        ("9 mph from SW at 10:05 am", "9 mph from SW at 10:05"),
    ],
)
def test_what_apps_print_and_people_say_is_the_same_wind(text, plain):
    setting = Setting(0.0, when=NOW, now=NOW)
    one, other = decode(text, setting), decode(plain, setting)
    level, like = one.levels[0], other.levels[0]
    assert level.speed == pytest.approx(like.speed)
    assert (level.direction, level.gust) == (like.direction, like.gust)
    assert (one.valid, one.direction_error) == (other.valid, other.direction_error)


@pytest.mark.parametrize(
    "text",
    [
        "8 mph toward 60",
        "8 mph to the northeast",
        "SW 9 mph increasing to 18 mph",
        "5 mph W, storm coming",
        "8 mph from 240 yesterday",
        "gusts 20 mph from 240",
        "9 mph SW (320°)",
        "9 mph, 75°",
        "9 mph (75°)",
        "9 mph N (14)",
        "9 mph SW (230°) at 13:05 pm",
        "9 mph from 240 at 12:05, 5 min ago",
        "calm from squalls",
        "calm from the storm",
        "9 kt from 400 variable",
        "9 mph from 240 by kite",
        "240 at 9 kt from a mast",
        "drone: 9 mph from 240 at 12:05",
    ],
)
def test_what_may_mean_another_wind_is_refused(text):
    told = "and no height" if re.search("kite|mast|drone", text) else None
    with pytest.raises(WindError, match=told):
        decode(text, Setting(0.0, when=NOW, now=NOW))


@pytest.mark.parametrize(
    ("text", "holds"),
    [
        ("strong breeze from W, 3 mph", True),
        ("fresh, 3 m/s from 240", True),
        ("gentle breeze, 2 mph from W", True),
        ("strong 15 mph from W", False),  # one force below: people speak so
        ("fresh breeze, 20 mph from W", False),
        ("light wind, 3 mph from W", False),
        ("gentle breeze from W", False),
    ],
)
def test_a_name_far_above_its_figure_is_doubted(text, holds):
    assert bool(decode(text, Setting(0.0, when=NOW, now=NOW)).warned) == holds


_TWO_FIGURES = (
    "avg {a} {u} max {b} {v} from 250",
    "average {a} {u}, peak {b} {v} from 250",
    "mean {a} {u} gusts {b} {v} from 250",
    "{a} {u} avg, {b} {v} gust, from 250",
    "{a} {u} from 250 gusting {b} {v}",
    "{a} {u} from 250, gusts {b} {v}",
    "from 250 at {a} {u} | gust: {b} {v}",
    "250 at {a} {u} with gusts as high as {b} {v}",
    "{a} {u} G {b} {v} from 250",
    "250/{a} {u} G {b} {v}",
)
_TWO_FIGURES_REFUSED = (
    "{a} {u} from 250 ({b} {v})",
    "{a} {u} ({b} {v}) from 250",
    "{a} {u} to {b} {v} from 250",
    "between {a} {u} and {b} {v} from 250",
    "{a} {u} from 250, max {b} {v}",
)


def _two_figures(form):
    """Write a mean of 4 m/s and a gust of 9 m/s, each in every unit."""
    units = {"m/s": 1.0, "mph": MILE_PER_HOUR, "kt": KNOT, "km/h": 1 / 3.6}
    for (u, one), (v, other) in itertools.product(units.items(), repeat=2):
        yield form.format(a=round(4 / one, 1), u=u, b=round(9 / other, 1), v=v)


@pytest.mark.parametrize("form", _TWO_FIGURES)
def test_of_two_figures_each_keeps_its_own_unit(form):
    for text in _two_figures(form):
        level = decode(text, Setting(0.0, when=NOW, now=NOW)).levels[0]
        heard = (level.speed, level.gust)
        assert heard == pytest.approx((4.0, 9.0), abs=0.06), text


@pytest.mark.parametrize("form", _TWO_FIGURES_REFUSED)
def test_of_two_figures_none_is_taken_where_what_they_mean_is_not_said(form):
    for text in _two_figures(form):
        with pytest.raises(WindError):
            decode(text, Setting(0.0, when=NOW, now=NOW))


@pytest.mark.parametrize(
    ("text", "doubted"),
    [
        ("strong breeze 3 bft SW gusts 14 mph", True),
        ("force 3 from W, gale 14 mph gusts", True),
        ("gentle breeze from W", False),
        (
            "moderate breeze 3 bft SW gusts 14 mph",
            False,
        ),  # one below is how people speak
    ],
)
def test_a_force_below_the_name_beside_it_is_doubted_as_a_speed_is(text, doubted):
    try:
        told = decode(text, Setting(0.0, when=NOW, now=NOW)).warned
    except WindError:
        assert doubted
        return
    assert any("which is it?" in one for one in told) is doubted


def test_what_is_longer_than_any_wind_in_words_is_refused_at_once():
    with pytest.raises(WindError, match="longer than a wind in words"):
        read_words("9" * 100_000, Setting(0.0, when=NOW, now=NOW))
