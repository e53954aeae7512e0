"""Merging: each report where it speaks, and every seam said."""

import json
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from reading import decode

from driftmap.air.column import column_heights
from driftmap.air.transformed import scaled, strengthened
from driftmap.air.wind import Stronger, WindLevel, reported_at
from driftmap.core.errors import WindError
from driftmap.core.units import FOOT, KNOT
from driftmap.winds import formats
from driftmap.winds.formats import decode_text
from driftmap.winds.levels import Node, carried
from driftmap.winds.merge import merge
from driftmap.winds.profile import read_wind, read_winds
from driftmap.winds.reading import Reading, Setting, age_of
from driftmap.winds.saved import keep_readings, read_kept
from driftmap.winds.times import nearest_day

LAW_TO_HEAD = math.log(2 / 0.03) / math.log(10 / 0.03)
NOON = datetime(2026, 5, 19, 12, tzinfo=UTC)
METAR = "METAR KXYZ 191155Z 24008KT 10SM 12/03 A3001"


HERE = Setting(0.0, when=NOON, now=NOON)


def _valid(age):
    return None if age is None else NOON - timedelta(hours=age)


def _layers(*rows, source="sounding", age=None, **more):
    levels = tuple(WindLevel(z, math.radians(d), v, None, source) for z, d, v in rows)
    return Reading(
        source=source,
        kind="aloft",
        levels=levels,
        **{"valid": _valid(age), "away": 0.0, **more},
    )


def _surface(speed=5.0, height=10.0, age=None, **more):
    level = WindLevel(height, math.radians(240.0), speed, None, "mast")
    return Reading(
        source="mast",
        kind="surface",
        levels=(level,),
        **{"valid": _valid(age), "away": 0.0, **more},
    )


def test_surface_below_and_sounding_above():
    wind = merge([_layers((0, 300, 1), (500, 250, 12)), _surface()], HERE)
    by_height = {level.height: level for level in wind.levels}
    assert by_height[10.0].source == "mast"
    assert by_height[60.0].source == "law from mast"
    growth = math.log(60 / 0.03) / math.log(10 / 0.03)
    assert by_height[60.0].speed == pytest.approx(5 * growth, rel=1e-4)
    assert by_height[500.0].source == "sounding"
    assert any("1 of 2 levels not used, mast speaks there" in n for n in wind.assumed)
    # In between the wind goes over from one to the other.
    assert 6.5 < np.hypot(*wind.at(300.0)) < 12.0


def test_a_level_near_the_ground_as_fresh_as_the_reading_beats_the_law():
    layers = _layers((30, 240, 6), (500, 240, 9), age=0.0)
    wind = merge([_surface(age=0.0), layers], HERE)
    assert np.hypot(*wind.at(30.0)) == pytest.approx(6.0)
    assert not wind.warned


def test_a_level_near_the_ground_that_the_reading_doubts_is_not_flown():
    layers = _layers((30, 60, 9), (500, 240, 9), age=0.0)
    wind, alone = (
        merge([_surface(age=0.0), layers], HERE),
        merge([_surface(age=0.0)], HERE),
    )
    assert np.allclose(wind.at(30.0), alone.at(30.0), rtol=0.02)
    assert any("winds disagree" in said for said in wind.warned)


@pytest.mark.parametrize(
    ("rows", "holds"),
    [
        (((2, 90, 2.5), (10, 90, 0)), True),
        (((2, 90, 3), (10, 90, 2)), False),
        (((2, 90, 3), (10, 90, 1.6)), False),  # more than half of the strongest
        (((2, 90, 3), (10, 90, 1.4)), True),
        (((2, 90, 3), (10, 90, 4), (40, 90, 2.5), (60, 90, 0.5)), True),
        (((2, 90, 3), (10, 90, 4), (100, 90, 7), (290, 90, 1)), True),
        (((2, 90, 3), (10, 100, 4), (100, 130, 7)), False),
    ],
)
def test_a_wind_that_falls_with_height_is_not_turned_about_above_it(rows, holds):
    wind = merge([_layers(*rows, age=0.0)], HERE)
    above = wind.at([rows[-1][0] + 50.0, 340.0, 600.0])[0]
    strongest = max(rows, key=lambda row: row[2])
    # Toward the west, and no weaker than the strongest that was read.
    if holds or len(rows) == 2:
        assert np.all(above <= -strongest[2])
    assert any("the wind falls from" in told for told in wind.warned) == holds


@pytest.mark.parametrize(
    "rows",
    [
        ((60, 90, 8), (400, 90, 2)),
        ((10, 90, 5), (300, 90, 10), (500, 90, 3)),
        ((10, 90, 5), (1000, 90, 10), (1500, 90, 2)),
    ],
)
def test_a_fall_that_ends_aloft_is_not_carried_on_past_calm(rows):
    wind = merge([_layers(*rows, age=0.0)], HERE)
    heights = rows[-1][0] + np.array([50.0, 150.0, 300.0])
    assert np.all(wind.at(heights)[0] <= -0.25 * rows[-1][2])
    assert wind.at(rows[-1][0])[0] == pytest.approx(-rows[-1][2])


@pytest.mark.parametrize(
    ("rows", "upper"),
    [
        (((2, 90, 1), (59, 90, 1.5), (60, 90, 6.4), (1500, 90, 6.4)), (0, 2, 3)),
        (((60, 90, 2.8), (62, 90, 7.4), (1500, 90, 7.4)), (1, 2)),
        (((100, 90, 4), (199, 90, 2.8), (200, 90, 7.4), (2000, 90, 7.4)), (0, 2, 3)),
    ],
)
def test_of_two_levels_near_each_other_the_upper_tells_of_the_air_above(rows, upper):
    wind = merge([_layers(*rows, age=0.0)], HERE)
    plain = merge([_layers(*(rows[i] for i in upper), age=0.0)], HERE)
    above = np.arange(rows[upper[-2]][0], 1500.0, 50.0)
    assert np.allclose(wind.at(above), plain.at(above), atol=1e-6)
    assert np.all(np.interp(above, wind.height, wind.error) > 0.9 * plain.error.min())
    # And as the air is flown: no kink lies within a layer.
    heights = column_heights(wind, 1200.0)
    flown = np.interp(np.arange(1200.0), heights, wind.at(heights)[0])
    assert np.abs(flown - wind.at(np.arange(1200.0))[0]).max() < 0.11


@pytest.mark.parametrize(
    "rows",
    [
        ((58, 270, 4.5), (150, 270, 8.2), (200, 270, 1.8), (2200, 270, 7.5)),
        ((2, 270, 3), (100, 270, 6), (150, 270, 3), (1500, 270, 6)),
        ((2, 270, 1), (52, 270, 1.4), (60, 270, 6.3), (400, 270, 6.3)),
    ],
)
def test_a_slope_is_not_carried_through_the_gap_above_it(rows):
    wind = merge([_layers(*rows, age=0.0)], HERE)
    low, high = (z for z, *_ in rows[-2:])
    between = wind.at(np.linspace(low, high, 50))[0]
    ends = merge([_layers(*rows[-2:], age=0.0)], HERE)
    error = np.interp(np.linspace(low, high, 50), ends.height, ends.error)
    usual = ends.at(np.linspace(low, high, 50))[0]
    assert np.all(np.abs(between - usual) <= np.maximum(error, 0.1) * 1.1)
    assert between.min() > 0.5


@pytest.mark.parametrize("age", [2.0, None])
def test_a_reading_rules_the_lowest_tens_of_metres_over_older_layers(age):
    layers = _layers((2, 90, 2), (10, 90, 2), (90, 90, 3), (500, 90, 4), age=age)
    strong = _surface(speed=10.0, height=2.0, age=0.0)
    wind = merge([layers, strong], HERE)
    alone = merge([strong], HERE)
    low = [2.0, 10.0, 35.0, 60.0]
    assert np.allclose(wind.at(low), alone.at(low), rtol=0.03)
    # Half way from 60 to 120 m the two have equal shares.
    law = 10.0 * math.cos(math.radians(30)) * math.log(90 / 0.03) / math.log(2 / 0.03)
    assert wind.at(90.0)[0] == pytest.approx((law - 3.0) / 2, rel=1e-6)
    # As sure as one of two winds so far apart can be that it is theirs: by root 8 of that.
    apart = math.hypot(law + 3.0, law * math.tan(math.radians(30)))
    assert np.interp(90.0, wind.height, wind.error) > apart / math.sqrt(8)
    assert np.allclose(wind.at(500.0), [-4.0, 0.0], atol=1e-9)
    assert any("winds disagree" in said and "mast" in said for said in wind.warned)


@pytest.mark.parametrize("height", [2.0, 10.0, 60.0])
def test_the_law_makes_no_wind_surer_than_it_was_read(height):
    level = WindLevel(30.0, 0.0, 6.0, None, "mast")
    read = Node(np.array([[0.0, -6.0]]), 1.5, level, _surface(), lasting=1.2)
    found = carried(read, height, 0.03)
    assert found.error >= 1.5
    assert found.lasting >= 1.2


@pytest.mark.parametrize("swap", [False, True])
def test_two_readings_at_once_that_disagree_hold_whatever_their_order(swap):
    calm = _surface(speed=0.0, height=2.0, age=0.0)
    gale = _surface(speed=11.0, height=2.0, age=0.0)
    wind = merge([gale, calm][:: -1 if swap else 1], HERE)
    assert np.hypot(*wind.at(2.0)) == pytest.approx(11.0)
    (said,) = wind.warned
    assert "25 mph" in said
    assert "calm" in said


def test_the_fresher_of_two_readings_rules_and_the_stronger_is_held_against_limits():
    fresh = _surface(speed=2.0, height=2.0, age=0.0)
    older = _surface(speed=16.0, height=10.0, age=0.3)
    wind = merge([older, fresh], HERE)
    assert np.hypot(*wind.at(2.0)) == pytest.approx(2.0)
    assert wind.strongest == pytest.approx(16.0)
    assert wind.warned
    long_ago = _surface(speed=16.0, height=10.0, age=2.0)
    assert merge([fresh, long_ago], HERE).strongest < 3.0


@pytest.mark.parametrize("swap", [False, True])
def test_layers_that_disagree_hold_whatever_their_order(swap):
    weak = _layers((2, 75, 2), (300, 85, 3), (2500, 120, 8), source="weak")
    strong = _layers((2, 240, 4), (300, 240, 15), (2500, 240, 25), source="strong")
    wind = merge([weak, strong][:: -1 if swap else 1], HERE)
    assert wind.levels[-1].source == "strong"
    assert any("weak" in said and "strong" in said for said in wind.warned)


@pytest.mark.parametrize("name", ["wind.csv", "other.csv"])
def test_of_files_with_one_name_none_takes_back_what_another_doubts(name):
    one = _layers((2, 90, 3), source="g.csv", age=0.0)
    other = _layers((2, 270, 14), source=name, age=0.2)
    third = _layers((2, 90, 3), source="wind.csv", age=0.3)
    wind = merge([one, other, third], HERE)
    assert any("winds disagree" in said and name in said for said in wind.warned)


@pytest.mark.parametrize(
    ("speed", "from_deg", "held"),
    [(4.0, 345, True), (9.0, 75, True), (1.0, 345, False), (2.0, 75, False)],
)
def test_an_old_report_set_aside_holds_where_it_was_stronger(speed, from_deg, held):
    fresh = _layers((2, 75, 1.8), (300, 85, 3.1), source="now", age=0.3)
    old = _layers((2, from_deg, speed), source="then", age=9.0)
    wind = merge([fresh, old], HERE)
    assert any("by then" in said for said in wind.warned) == held


@pytest.mark.parametrize(("worst", "held"), [(12.0, True), (2.5, False)])
def test_the_strongest_member_of_an_ensemble_set_aside_is_heard(worst, held):
    table = _layers((10, 270, 2.0), (300, 270, 3.0), source="now", age=0.2)
    members = np.array([[[2.0], [0.0]]] * 19 + [[[0.0], [-worst]]])
    ahead = _layers((10, 270, 2.0), source="ahead", forecast=True, members=members)
    wind = merge([table, ahead], HERE)
    said = [one for one in wind.warned if "strongest member of ahead" in one]
    assert bool(said) == held


def test_readings_that_agree_do_not_hold():
    hand = _surface(speed=4.0, height=2.0, age=0.0)
    layers = _layers((10, 245, 5.0), (300, 250, 8), (1500, 260, 11), age=0.5)
    assert not merge([hand, layers], HERE).warned


def test_a_light_wind_tells_nothing_of_the_wind_above_it():
    calm = merge([_surface(speed=0.0, height=2.0, age=0.0)], HERE)
    fair = merge([_surface(speed=4.0, height=2.0, age=0.0)], HERE)
    assert (calm.known_to, fair.known_to) == (2.0, 60.0)
    error = np.interp([100.0, 300.0], calm.height, calm.error)
    assert np.all(error > [2.0, 3.0])


def test_between_far_levels_the_error_grows_with_depth_and_turn():
    near = [(0, 75, 2), (200, 75, 4), (400, 75, 6), (2000, 75, 12)]
    straight, turned = [(0, 75, 2), (2000, 75, 12)], [(0, 75, 2), (2000, 255, 12)]
    errors = []
    for rows in (near, straight, turned):
        wind = merge([_layers(*rows, age=0.0)], HERE)
        errors.append(np.interp(300.0, wind.height, wind.error))
    assert errors[0] < errors[1] < errors[2]
    wind = merge([_layers(*straight, age=0.0)], HERE)
    assert wind.read == (0.0, 2000.0)


@pytest.mark.parametrize("height", [2.0, 10.0, 15.0])
def test_layers_with_a_low_level_alone_get_the_law(height):
    rows, said = _layers((height, 240, 4.0), age=0.0), _surface(4.0, height, age=0.0)
    table, words = merge([rows], HERE), merge([said], HERE)
    high = [height, 100.0, 300.0, 900.0]
    assert np.allclose(table.at(high), words.at(high))
    assert np.allclose(
        np.interp(high, table.height, table.error),
        np.interp(high, words.height, words.error),
    )
    assert table.known_to == words.known_to


def test_the_surface_wind_of_a_sounding_is_that_of_a_mast():
    rows = _layers((0, 240, 9.0), (400, 240, 12), age=0.0, from_ground=True)
    wind = merge([rows], HERE)
    assert np.hypot(*wind.at([0.0, 10.0])) == pytest.approx([9.0, 9.0])


@pytest.mark.parametrize("age", [0.4, None])
def test_gusts_of_every_report_near_the_ground_count(age):
    """One that nobody dated may be of now."""
    level = WindLevel(10.0, 4.0, 3.0, 9.0, "mast")
    gusty = Reading(
        source="mast", kind="surface", levels=(level,), valid=_valid(age), away=0.0
    )
    wind = merge([gusty, _surface(speed=3.0, height=2.0, age=0.0)], HERE)
    assert wind.gust == pytest.approx(6.0)


def test_low_layers_are_filled_from_a_high_lowest_level():
    wind = merge([_layers((100, 240, 10), (500, 240, 12))], HERE)
    speed = np.hypot(*wind.at([2.0, 10.0, 100.0]))
    law = math.log(2 / 0.03) / math.log(10 / 0.03)
    assert speed[0] / speed[1] == pytest.approx(law, rel=0.01)
    assert speed[1] < speed[2] == pytest.approx(10.0)


def test_a_lowest_level_up_to_10_m_is_held_to_the_ground():
    wind = merge([_layers((8, 240, 10), (500, 240, 12))], HERE)
    assert np.hypot(*wind.at(0.0)) == pytest.approx(10.0)
    assert any("below 8 m the wind of sounding is held" in n for n in wind.assumed)


def test_second_report_of_layers_only_adds_above_the_first():
    first, second = (
        _layers((0, 240, 5), (900, 240, 9), age=1.0),
        _layers((400, 90, 9), (2000, 90, 9), source="bulletin", age=2.0),
    )
    wind = merge([first, second], HERE)
    heights = [n.height for n in wind.levels if not n.source.startswith("law")]
    assert heights == [0, 900, 2000]
    assert wind.known_to == 2000.0


def test_above_the_top_the_error_grows_and_it_is_said():
    wind = merge([_layers((0, 240, 5), (900, 240, 9))], HERE)
    errors = np.interp([900.0, 1900.0, 4900.0], wind.height, wind.error)
    # Real winds change by some 5.5 m/s in 1000 m.
    assert 4.0 < errors[1] < 7.0
    assert errors[2] > 9.0
    assert any("above 900 m no source speaks" in note for note in wind.assumed)


def test_age_makes_the_error_grow():
    fresh = merge([_layers((0, 0, 0), age=1.0)], HERE)
    old = merge([_layers((0, 0, 0), age=8.0)], HERE)
    # 1.09 m/s in an hour at 10 m, as its power of 0.39, and half a metre by the instrument.
    at_head = 1.09 * LAW_TO_HEAD
    told = [math.hypot(0.5, at_head), math.hypot(0.5, at_head * 8**0.39)]
    assert [fresh.error[0], old.error[0]] == pytest.approx(told)
    assert (fresh.age, old.age) == (1.0, 8.0)


def test_lead_time_of_a_forecast():
    errors = []
    for hours in (2, 5, 9, 24):
        based = NOON - timedelta(hours=hours)
        report = _layers((0, 0, 0), forecast=True, based_on=based, valid=NOON)
        errors.append(merge([report], Setting(0.0, when=NOON)).error[0])
    assert errors[:3] == pytest.approx([1.8, 2.3, 2.8])
    assert errors[3] == pytest.approx(2.8 * 2 ** (1 / 3))


def test_speed_adds_a_twentieth_in_quadrature():
    wind = merge([_layers((0, 0, 10.0), age=0.0)], HERE)
    now = math.hypot(1.09 * LAW_TO_HEAD, 0.129 * 10.0) * (1 / 12) ** 0.39
    assert wind.error[0] == pytest.approx(math.sqrt(0.5**2 + now**2 + 0.5**2))


def test_unknown_age_is_said_and_known_ages_count():
    wind = merge([_surface(age=0.5), _layers((500, 0, 1))], HERE)
    assert wind.age is None
    assert wind.undated == ("sounding",)
    both = [_surface(age=0.5), _layers((500, 0, 1), age=2.0)]
    assert merge(both, HERE).age == 2.0
    assert any("sounding: age at the flight not known" in n for n in wind.assumed)
    assert merge([_layers((500, 0, 1))], HERE).age is None


def test_report_of_another_day_is_refused():
    old = _layers((0, 0, 1), valid=NOON - timedelta(hours=30))
    with pytest.raises(WindError, match="sounding: is 30 h from the flight's time"):
        merge([old], Setting(0.0, when=NOON))


def test_age_against_the_hours_for_use():
    window = (NOON - timedelta(hours=3), NOON - timedelta(hours=1))
    report = _layers((0, 0, 1), forecast=True, window=window, valid=window[0])
    assert age_of(report, NOON) == pytest.approx(1.0)
    assert age_of(report, NOON - timedelta(hours=2)) == 0.0


@pytest.mark.parametrize(
    ("day", "when", "expected"),
    [
        (31, datetime(2026, 6, 1, 2, tzinfo=UTC), datetime(2026, 5, 31, 23, 55)),
        (1, datetime(2026, 5, 31, 23, tzinfo=UTC), datetime(2026, 6, 1, 23, 55)),
        (19, NOON, datetime(2026, 5, 19, 23, 55)),
    ],
)
def test_day_of_month_is_the_one_nearest_to_the_flight(day, when, expected):
    assert nearest_day(f"{day:02d}2355", when) == expected.replace(tzinfo=UTC)


@pytest.mark.parametrize("coded", ["000101", "320101", "0125", "010160"])
def test_times_that_do_not_exist(coded):
    with pytest.raises(ValueError, match="no time"):
        nearest_day(coded, NOON)


def test_metar_and_bulletin_as_on_the_day(tmp_path):
    path = tmp_path / "aloft.txt"
    path.write_text(
        "VALID 191200Z FOR USE 0800-1500Z\n\nFT  3000    6000    9000\n"
        "XYB 2807 2715-07 9900-10\n"
    )
    wind = read_winds([METAR, str(path)], site_altitude=300.0, when=NOON)
    heights = [v.height for v in wind.levels if not v.source.startswith("law")]
    assert heights[-3:] == pytest.approx([f * FOOT - 300.0 for f in (3e3, 6e3, 9e3)])
    assert wind.levels[-1].direction is None
    assert wind.age == pytest.approx(5 / 60)
    assert np.hypot(*wind.at(10.0)) == pytest.approx(8 * KNOT)
    assert np.allclose(wind.at(heights[-1]), 0.0)  # light and variable: no mean


def test_ensembles_of_different_size_cannot_be_merged():
    one = _layers((0, 0, 1), members=np.ones((3, 2, 1)))
    two = _layers((900, 0, 1), source="b", members=np.ones((4, 2, 1)))
    with pytest.raises(WindError, match="3 and 4 members"):
        merge([one, two], HERE)


def test_surface_reading_under_an_ensemble_is_shared_by_its_members():
    members = np.array([[[5.0, 9.0], [0.0, 0.0]], [[-5.0, -9.0], [0.0, 0.0]]])
    aloft = _layers((500, 0, 0), (900, 0, 0), members=members)
    wind = merge([_surface(), aloft], HERE)
    assert wind.members.shape == (2, 2, wind.height.size)
    low = wind.height <= 30.0
    assert np.allclose(wind.members[0][:, low], wind.members[1][:, low], atol=0.2)
    assert wind.members[0][0, wind.height == 500.0] == 5.0
    assert np.allclose(wind.members.mean(axis=0), [wind.east, wind.north])


def test_a_second_surface_reading_is_not_used_and_that_is_said():
    hand = _surface(speed=3.0, height=2.0, age=0.0)
    wind = merge([hand, _surface(speed=5.0, age=0.5)], HERE)
    assert np.hypot(*wind.at(2.0)) == pytest.approx(3.0)
    assert any("mast: not used, mast stands for it" in n for n in wind.assumed)
    assert not any("not used" in n for n in merge([hand], HERE).assumed)


def test_no_reading():
    with pytest.raises(WindError, match="no reading"):
        merge([], HERE)


def test_what_has_no_time_and_what_warns_reach_the_profile():
    told = _layers((500, 0, 1), source="told", valid=NOON, warned=("wind shift",))
    silent = _layers((900, 0, 1), source="silent")
    wind = merge([told, silent, _surface(age=0.2)], Setting(0.0, when=NOON))
    assert wind.undated == ("silent",)
    assert wind.warned == ("wind shift",)


def test_a_report_passed_over_that_was_stronger_within_the_errors_is_told_and_can_be_flown():
    now, before = _surface(3.0, age=0.0), _surface(4.6, age=0.6)
    wind = merge([now, before], HERE)
    assert not wind.warned
    (passed_over,) = wind.stronger
    assert passed_over.level.speed == pytest.approx(4.6)
    more = strengthened(wind, passed_over)
    assert np.hypot(*more.at(10.0)) == pytest.approx(4.6)
    assert np.allclose(more.error, wind.error)
    # A height that was read above stays as it is.
    layers = _layers((600, 240, 9), (900, 240, 9), age=0.0)
    layered = strengthened(merge([now, before, layers], HERE), passed_over)
    assert np.hypot(*layered.at(900.0)) == pytest.approx(9.0, abs=0.2)
    assert merge([now, _surface(3.5, age=0.6)], HERE).stronger == ()


def test_a_wind_from_all_sides_is_scaled_as_any_other_and_flown_as_strong_as_it_is_told():
    """Its speed is all in its error, its levels and what it is told by."""
    wind = read_wind("8 mph variable at 10 m", site_altitude=0.0)

    less, more = scaled(wind, 0.25), scaled(wind, 2.0)
    speeds = [float(reported_at(one, 10.0)[1]) for one in (less, wind, more)]
    assert speeds == pytest.approx([speeds[1] / 4, speeds[1], 2 * speeds[1]])
    assert less.strongest == pytest.approx(wind.strongest / 4)
    assert less.error[0] < wind.error[0] < more.error[0]
    assert np.allclose(np.hypot.reduce(less.modes, axis=1), less.error)
    # What is no speed of it stays: a quarter of it is not known four times as well.
    own = wind.error[0] ** 2 - reported_at(wind, wind.height[0])[1] ** 2 / 2
    assert less.error[0] > wind.error[0] / 4
    assert less.error[0] ** 2 >= own > 0
    speed = float(reported_at(wind, 10.0)[1])
    level = WindLevel(10.0, None, 1.5 * speed, None, "another")
    flown = strengthened(wind, Stronger(level, "another"))
    assert np.interp(10.0, wind.height, flown.error) ** 2 == pytest.approx(
        np.interp(10.0, wind.height, wind.error) ** 2 + (1.5**2 - 1) * speed**2 / 2,
        rel=0.02,
    )
    assert flown.strongest == pytest.approx(1.5 * speed)
    still = scaled(merge([_surface(4.0)], HERE), 0.25)
    assert np.allclose(still.error, merge([_surface(4.0)], HERE).error)


@pytest.mark.parametrize("meter", ["calm", "1 mph from 240", "1 mph from 060"])
def test_a_report_of_wind_beside_a_light_one_is_flown_as_it_was_told(meter):
    """A calm has no multiple, and what blows from behind is not flown from in front."""
    when = datetime(2026, 6, 13, 15, 58, tzinfo=UTC)
    setting = Setting(0.0, when=when, now=when)
    report = "METAR KABC 131530Z 24014KT 10SM CLR 20/05 A3000"
    wind = merge([decode(text, setting) for text in (meter, report)], setting)
    flown = strengthened(wind, *wind.stronger)
    bearing, speed = reported_at(flown, 10.0)
    assert speed == pytest.approx(14 * KNOT)
    assert np.degrees(bearing) == pytest.approx(240.0)
    assert 7 < reported_at(flown, 100.0)[1] < reported_at(flown, 300.0)[1] < 15
    assert flown.strongest == pytest.approx(14 * KNOT)


def test_each_report_that_was_stronger_is_flown_of_whichever_side():
    when = datetime(2026, 6, 13, 15, 58, tzinfo=UTC)
    setting = Setting(0.0, when=when, now=when)
    reports = ("KABC 131530Z 27008KT", "KABD 131530Z 09009KT")
    texts = ("1 mph from 090", *(f"METAR {r} 10SM CLR 20/05 A3000" for r in reports))
    wind = merge([decode(text, setting) for text in texts], setting)
    ways = {round(math.degrees(told.level.direction)) for told in wind.stronger}
    assert ways == {90, 270}


@pytest.mark.parametrize(("minutes", "counts"), [(52, True), (85, True), (100, False)])
def test_gusts_of_the_newest_report_of_a_station_count(minutes, counts):
    """It comes each hour and some minutes late: the last one may be well over an hour old."""
    when = datetime(2026, 6, 13, 16, 0, tzinfo=UTC)
    setting = Setting(0.0, when=when, now=when)
    time = f"{when - timedelta(minutes=minutes + 10):%d%H%M}Z"
    report = f"METAR KABC {time} 24008G27KT 10SM CLR 20/05 A3000"
    meter = f"# read {when - timedelta(minutes=10):%Y-%m-%dT%H:%M}Z\nheight_ft,from_deg,speed_mph\n6,240,5\n"
    wind = merge([*decode_text(meter, "m", setting), decode(report, setting)], setting)
    assert (wind.gust > 9) == counts
    assert counts or any("take the newest" in told for told in wind.warned)


@pytest.mark.parametrize(
    ("minutes", "gust", "holds"),
    [
        *((100, 20, True), (100, 7.1, True), (100, 7, False)),
        *((200, 20, False), (60, 20, False)),
    ],
)
def test_gusts_of_the_hours_before_are_told_whatever_is_fresher(minutes, gust, holds):
    """Those of an hour ago are flown."""
    before = f"5 m/s from 75 at 10 m gusting to {gust} m/s, {minutes} min ago"
    said = [decode(text, HERE) for text in (before, "5 m/s from 75 at 10 m")]
    wind = merge(said, HERE)
    assert any("are they over?" in told for told in wind.warned) is holds
    assert (wind.gust > 10) == (minutes == 60)


@pytest.mark.parametrize(
    ("forecast", "said"),
    [
        ("forecast NW 9 mph", "holds"),  # three times the meter's, from the other side
        ("forecast E 9 mph", "flown"),
        ("forecast E 8 mph", "flown"),
        ("forecast E 6 mph", ""),
    ],
)
def test_a_forecast_stronger_than_the_meter_is_not_silent(forecast, said):
    """That nobody says of what data it is does not excuse it, as age does not."""
    setting = HERE
    wind = merge(
        [decode(text, setting) for text in ("3 mph from 100", forecast)], setting
    )
    assert any("winds disagree" in told for told in wind.warned) == (said == "holds")
    assert (wind.stronger != ()) == (said == "flown")
    assert wind.levels[0].speed == pytest.approx(3 * 0.44704)  # the meter is flown


@pytest.mark.parametrize(
    ("height", "gust", "flown", "holds"),
    [(70, 15, 10, False), (90, 15, 10, False), (120, 15, 0, True), (120, 7, 0, False)],
)
def test_a_gust_counts_at_whatever_height_it_was_read(height, gust, flown, holds):
    """Also of layers that say nothing of the wind near the ground, read within the hour."""
    high = replace(_layers((height, 90, 5), age=0.4), source="kite")
    level = replace(high.levels[0], gust=float(gust))
    wind = merge([_surface(3.0, age=0.0), replace(high, levels=(level,))], HERE)
    assert wind.gust == pytest.approx(flown)
    assert any("gusts of" in told for told in wind.warned) is holds


def test_a_gust_of_one_member_counts():
    low = {"height_m": 10, "from_deg": 100, "speed_mps": 2}
    members = [{"levels": [low | more]} for more in ({}, {"gust_mps": 18}, {})]
    text = json.dumps({"valid": NOON.isoformat(), "members": members})
    setting = HERE
    wind = merge(decode_text(text, "e.json", setting), setting)
    assert wind.gust == pytest.approx(16.0)
    both = merge(
        [decode("3 mph from 100", setting), *decode_text(text, "e", setting)], setting
    )
    assert both.gust == pytest.approx(16.0)


@pytest.mark.parametrize(("speed", "holds"), [(20, True), (5, False)])
def test_what_a_report_tells_in_a_gap_of_a_fresher_one_is_heard(speed, holds):
    """The fresher one reaches higher, and says nothing between the ground and 550 m."""
    fresh = _layers((2, 80, 2), (10, 80, 2.2), (550, 104, 5), (2400, 135, 9), age=0.3)
    old = _layers((150, 90, speed), (350, 90, speed), source="old", age=0.7)
    wind = merge([fresh, old], HERE)
    assert any("winds disagree" in told for told in wind.warned) is holds


@pytest.mark.parametrize(
    ("height", "speed", "holds"),
    [(160.0, 16.0, True), (160.0, 2.5, False), (10.0, 8.0, False)],
)
def test_a_wind_aloft_from_nobody_knows_where_holds(height, speed, holds):
    """Told with its direction it would leap; a bulletin's light and variable does not hold."""
    told = _layers((2, 75, 1.8), (100, 75, 3), age=0.0)
    level = WindLevel(height, None, speed, None, "sounding")
    levels = sorted((*told.levels, level), key=lambda one: one.height)
    wind = merge([replace(told, levels=tuple(levels))], HERE)
    assert any("not where from" in said for said in wind.warned) == holds


@pytest.mark.parametrize("height", [62, 80, 100, 119, 121])
@pytest.mark.parametrize("age", [0.0, 0.3, 2.0])
def test_an_older_wind_from_nobody_knows_where_is_no_calm_just_above_the_ground(
    height, age
):
    """Age takes no doubt back: blended with the wind below it has no direction either."""
    level = WindLevel(height, None, 5.0, None, "kite")
    kite = replace(_layers((height, 0, 5), age=age), levels=(level,))
    wind = merge([_surface(3.0, age=0.0), kite], HERE)
    assert any("not where from" in said for said in wind.warned)
    assert not any("the wind falls" in said for said in wind.warned)
    (there,) = (level for level in wind.levels if level.height == height)
    assert there.direction is None
    assert 3.0 < there.speed < 6.0


@pytest.mark.parametrize(
    ("height", "speed", "leaps"),
    [(10, 8.0, False), (10, 16.0, True), (480, 10.9, False), (480, 11.1, True)],
)
def test_winds_that_leap_from_one_height_to_the_next_hold(height, speed, leaps):
    """By more than 5 m/s and 1 m/s for each 10 m, wherever they lie."""
    rows = (height, 240, 5), (height + 10, 240, speed), (550, 240, 12)
    wind = merge([_layers(*rows, age=0.0)], HERE)
    assert any("leaps" in said for said in wind.warned) == leaps


@pytest.mark.parametrize(
    ("speed", "way", "held"), [(1.6, 60, True), (1.6, 340, False), (1.0, 60, False)]
)
def test_a_forecast_read_the_wrong_way_round_disagrees_with_the_windsock(
    speed, way, held
):
    """Within the errors of both in so light a wind, and yet nobody knows which it is."""
    rows = (10, way, speed), (500, way, 2 * speed)
    told = replace(_layers(*rows, age=0.0), forecast=True)
    wind = merge([_surface(1.6, age=0.0), told], HERE)
    assert any("winds disagree" in text for text in wind.warned) == held


@pytest.mark.parametrize(("above", "held"), [(2.8, False), (3.2, True)])
def test_gusts_aloft_that_stand_far_above_the_wind_hold(above, held):
    laid = _layers((10, 240, 4), (300, 240, 6), age=0.0)
    low, high = laid.levels
    gusty = replace(laid, levels=(low, replace(high, gust=6 + above)))
    wind = merge([gusty], HERE)
    assert any("they may come down" in text for text in wind.warned) == held


_LAID = [(2, 80, 1.8), (10, 82, 2.2), (91, 95, 3.6), (305, 105, 4.9), (610, 110, 5.4),
         (1067, 115, 6.3)]  # fmt: skip


@pytest.mark.parametrize(
    ("height", "way", "speed", "held"),
    [
        (30, 60, 2.2, True),
        (175, 60, 3.3, True),
        (175, 340, 3.3, False),
        (175, 60, 1.2, False),
    ],
)
def test_layers_that_blow_against_the_windsock_hold(height, way, speed, held):
    """The flight before, or one's own sounding, told by where it went and not where from."""
    layers = _layers((height, way, speed), (height + 600, way, 1.5 * speed), age=0.3)
    wind = merge([_surface(1.9, age=0.0), layers], HERE)
    heard = [text for text in wind.warned if "turns by" in text or "disagree" in text]
    assert bool(heard) == held


@pytest.mark.parametrize("slip", ["none", "turned", "two turned", "a digit", "azimuth"])
def test_a_slip_in_the_highest_row_shows_beside_the_one_below(slip):
    """It has none above it, and the landing hangs on it most."""
    rows = {
        "none": _LAID,
        "turned": [*_LAID[:-1], (1067, 295, 6.3)],
        "two turned": [*_LAID[:-2], (610, 290, 5.4), (1067, 295, 6.3)],
        "a digit": [*_LAID[:-1], (1067, 115, 63)],
        "azimuth": [*_LAID[:-1], (1067, 183, 16.9)],
    }[slip]
    wind = merge([_layers(*rows, age=0.0)], HERE)
    assert any("read it again" in text for text in wind.warned) == (slip != "none")


@pytest.mark.parametrize("height", ["2 ft", "0.5 m", "1 m"])
def test_a_meter_at_the_knee_tells_of_more_at_the_head(height):
    wind = read_wind(f"7 mph from 100 at {height}", site_altitude=0.0)
    metres = {"2 ft": 0.6096, "0.5 m": 0.5, "1 m": 1.0}[height]
    grown = math.log(10 / 0.03) / math.log(metres / 0.03)
    assert np.hypot(*wind.at(10.0)) == pytest.approx(7 * 0.44704 * grown, rel=1e-3)
    assert any("carried to 2 m" in note for note in wind.assumed)


@pytest.mark.parametrize("away", [None, 30_000.0])
def test_a_wind_aloft_of_nobody_knows_where_holds(away):
    aloft = replace(_layers((500, 240, 9), (900, 240, 9), age=0.2), away=away)
    wind = merge([_surface(age=0.0), aloft], HERE)
    told = (
        "sounding: how far its station stands is not known; tell it with --station-away"
    )
    assert wind.warned == ((told,) if away is None else ())


def test_where_a_station_stands_is_known_better_than_told():
    """One figure for all reports, typed for the nearest, brings no other nearer."""
    setting = Setting(0.0, place=(40.0, -117.0), station_away=5000.0)
    far, _ = setting.away_from("KMIA", "Miami")
    near, _ = setting.away_from("XYZQ", "a club's mast")
    assert far > 3e6
    assert near == 5000.0


_REPORTS = {
    "TAF KABC 191130Z 1912/2012 10004KT P6SM SKC FM191300 29028G45KT 3SM TSRA BKN030CB": 40,
    "METAR KABC 191140Z 10004KT 10SM CLR 20/05 A3000": 80,
    json.dumps(
        {
            "forecasts": [
                {
                    "valid": f"2026-05-19T{hour}:00Z",
                    "levels": [{"height_m": 300, "from_deg": 240, "speed_mps": speed}],
                }
                for hour, speed in ((12, 3), (13, 9))
            ]
        }
    ): 40,
}


@pytest.mark.parametrize("report", _REPORTS)
def test_a_report_that_was_kept_holds_once_it_would_tell_another_thing(report):
    """A morning's paste stands still, while the report itself goes on."""

    def kept_at(minutes, text):
        when = NOON + timedelta(minutes=minutes)
        setting = Setting(0.0, when=when, now=when, station_away=5000.0)
        told = read_kept(text, "k", setting) if text else read(setting)
        return merge(told, setting), setting

    def read(setting):
        return decode_text(report, "r", setting)

    wind, setting = kept_at(0, None)
    text = json.dumps(keep_readings(read(setting), setting))
    early, minutes = kept_at(20, text)[0], _REPORTS[report]
    assert {*early.warned} == {*wind.warned}
    assert 20 + 60 * early.renewed_in == pytest.approx(minutes - 10)  # told beforehand
    assert {*kept_at(minutes - 11, text)[0].warned} == {*wind.warned}
    (told,) = {*kept_at(minutes - 9, text)[0].warned} - {*wind.warned}
    assert "another time" in told or "take the newest" in told


def test_a_forecast_for_later_that_was_kept_for_now_ends_with_now():
    later = (NOON + timedelta(hours=3)).isoformat()
    levels = [{"height_m": 300, "from_deg": 240, "speed_mps": 3}]
    document = {"forecasts": [{"valid": later, "levels": levels}]}
    setting = Setting(0.0, when=NOON, now=NOON)
    text = json.dumps(
        keep_readings(decode_text(json.dumps(document), "r", setting), setting)
    )
    assert merge(read_kept(text, "k", setting), setting).renewed_in == 0.5


_LEVELS = [{"height_m": 10, "from_deg": 240, "speed_mps": 3}]


def _kept(place):
    there = Setting(1200.0, when=NOON, place=place)
    return keep_readings([decode("3 m/s from 240", there)], there)


def _at(place):
    return dict(zip(("latitude", "longitude"), place, strict=True))


_PLACED = {
    "own form": lambda place: {"levels": _LEVELS, **_at(place)},
    "one of several times": lambda place: {
        "forecasts": [{"levels": _LEVELS, "valid": "2026-05-19T17:00Z", **_at(place)}]
    },
    "the nearest of a grid": lambda place: {
        "points": [{"levels": _LEVELS, **_at(p)} for p in ((44.0, -117.95), place)]
    },
    "arrays": lambda place: {
        "height": [10, 300],
        "u": [3, 4],
        "v": [0, 0],
        **_at(place),
        "units": {"height": "m", "u": "m/s", "v": "m/s"},
    },
    "arrays with coordinates": lambda place: {
        "coords": {key: {"data": value} for key, value in _at(place).items()},
        "height": [10, 300],
        "u": [3, 4],
        "v": [0, 0],
        "units": {"height": "m", "u": "m/s", "v": "m/s"},
    },
    "kept": _kept,
}


@pytest.mark.parametrize("form", _PLACED)
def test_a_wind_of_another_place_holds_and_of_a_far_one_is_refused(tmp_path, form):
    """By whichever way it comes in: as a file, or pasted at the desk."""
    setting = Setting(1200.0, when=NOON, place=(41.6, -117.95))
    path = tmp_path / "wind.json"
    for latitude, held in ((41.6, False), (41.4, False), (41.2, True)):
        path.write_text(json.dumps(_PLACED[form]((latitude, -117.95))))
        wind = merge(formats.decode(str(path), setting), setting)
        assert any("is of a place" in told for told in wind.warned) is held
    path.write_text(json.dumps(_PLACED[form]((48.1, -117.95))))
    with pytest.raises(WindError, match="km from the site; accepted is 50 km"):
        formats.decode(str(path), setting)


def test_half_a_place_is_refused():
    text = json.dumps({"levels": _LEVELS, "latitude": 41.6})
    with pytest.raises(WindError, match="longitude 'None'"):
        decode_text(text, "f.json", Setting(1200.0, when=NOON))


def test_a_forecast_answers_no_question_of_the_sky_with_good_news():
    mast = _surface(age=0.0)
    fair = _surface(forecast=True, valid=NOON, cloud_cover=0.1, visibility=9999.0)
    setting = HERE
    told = merge([mast, fair], setting)
    assert (told.cloud_cover, told.visibility) == (None, None)
    poor = replace(fair, cloud_cover=0.9, visibility=800.0)
    told = merge([mast, poor], setting)
    assert (told.cloud_cover, told.visibility) == (0.9, 800.0)


def test_of_two_skies_seen_the_worse_counts():
    what = ("cloud_cover", "visibility", "cloud_base", "lowest_cloud")
    fair, poor = (0.2, 9000.0, 900.0, 800.0), (0.6, 4000.0, 700.0, 300.0)
    seen = [_surface(age=0.0, **dict(zip(what, s, strict=True))) for s in (fair, poor)]
    for both in (seen, seen[::-1]):
        told = merge(both, HERE)
        assert tuple(getattr(told, each) for each in what) == poor


def test_a_forecast_for_another_hour_is_surer_of_its_own():
    def error(hours):
        valid = NOON - timedelta(hours=hours)
        aloft = _layers((500, 240, 8), (900, 250, 9), forecast=True, valid=valid)
        known = merge([aloft], HERE)
        return float(np.interp(700.0, known.height, known.error))

    assert error(0.0) < error(1.0) < error(2.5)


def test_a_wind_measured_some_way_off_is_less_sure_whatever_told_it():
    def reading(north, time):
        text = {"latitude": north, "longitude": -118.0, time: "2026-05-19T12:00Z"}
        text["levels"] = [{"height_m": 10, "from_deg": 240, "speed_mps": 4}]
        setting = Setting(0.0, when=NOON, now=NOON, place=(41.6, -118.0))
        return decode_text(json.dumps(text), "m.json", setting)[0]

    assert reading(41.6, "read").away == pytest.approx(0.0)
    assert reading(41.85, "read").away == pytest.approx(27_800, rel=0.01)
    assert reading(41.85, "valid").away == 0.0  # a square of its grid


def test_the_least_cloud_that_was_seen_stills_the_air():
    setting = Setting(0.0, when=NOON.replace(hour=20), place=(41.6, -118.0))
    mast = _surface(age=0.0)

    def stirred(*covers, **more):
        seen = [replace(mast, cloud_cover=cover, **more) for cover in covers]
        layers = [
            _layers(
                (500 + 100 * i, 240, 8), age=0.0, cloud_cover=one.cloud_cover, **more
            )
            for i, one in enumerate(seen)
        ]
        return merge([mast, *layers], setting).convection.speed

    assert stirred(1.0, 0.25) == stirred(0.25) > stirred(1.0)
    assert stirred(1.0, forecast=True) == stirred()


@pytest.mark.parametrize("wind", ["18003KT", "13003KT", "06004KT", "09014KT"])
@pytest.mark.parametrize("away", [None, 2000.0])
def test_what_another_place_tells_is_not_set_upon_what_was_read_here(wind, away):
    """However fresh: a mast elsewhere is no wind of the air above this field's meter."""
    setting = Setting(0.0, when=NOON, now=NOON, station_away=away)
    meter = formats.decode("4 mph from 90", setting)

    def known(minutes):
        time = f"{NOON - timedelta(minutes=minutes):%d%H%M}Z"
        mast = formats.decode(f"METAR KABC {time} {wind} 10SM 38/08 A2992", setting)
        return merge([*meter, *mast], setting)

    fresh, older, alone = known(4), known(10), merge(meter, setting)
    for one in (fresh, older):
        assert np.array_equal(one.at([10.0, 150.0, 300.0]), alone.at([10, 150, 300]))
    assert bool(fresh.stronger) == bool(older.stronger) == (wind == "09014KT")
    # Its air is heard all the same: the meter tells none.
    assert (fresh.temperature, fresh.altimeter) == (
        pytest.approx(311.15),
        pytest.approx(101_321, abs=1),
    )


def test_a_mast_at_the_field_stands_above_the_meter():
    setting = Setting(0.0, when=NOON, now=NOON, station_away=0.0)
    mast = formats.decode("METAR KABC 191156Z 09010KT", setting)
    wind = merge([*formats.decode("4 mph from 90", setting), *mast], setting)
    assert np.hypot(*wind.at(10.0)) == pytest.approx(10 * KNOT)


@pytest.mark.parametrize("lowest", [10.0, 21.0, 60.0])
@pytest.mark.parametrize(
    ("change", "held"),
    [
        ({"forecast": True}, "a forecast; nobody read the wind near the ground"),
        ({"away": 150_000.0}, "read 150 km from the site"),
        ({}, None),
    ],
)
def test_what_begins_low_enough_to_count_as_read_near_the_ground_was_read_there(
    lowest, change, held
):
    layers = replace(_layers((lowest, 240, 3), (500, 240, 4), age=0.4), **change)
    wind = merge([layers], HERE)
    assert [held in told for told in wind.warned] == [True] * (held is not None)
    assert wind.foretold is ("forecast" in change)
    # Who read it on a kite has read it here.
    kite = replace(_layers((55, 240, 3), age=0.0), source="kite")
    assert merge([layers, kite], HERE).warned == () or lowest <= 20.0


@pytest.mark.parametrize("key", ["kind", "terrain"])
def test_a_kept_reading_of_odd_types_is_refused(key):
    kept = _kept(None)
    kept["readings"][0][key] = ["open"]
    with pytest.raises(WindError, match=f"{key}: accepted|{key} accepted"):
        decode_text(json.dumps(kept), "k.json", Setting(1200.0, when=NOON))


def test_what_stands_beside_kept_readings_and_nobody_reads_is_refused():
    setting = Setting(1200.0, when=NOON)
    beside = {**_kept(None), "notes": "gusts of 20 m/s since"}
    with pytest.raises(WindError, match="unknown key 'notes'"):
        decode_text(json.dumps(beside), "kept.json", setting)


LEVELS = (
    (2, 75, 4),
    (100, 85, 6),
    (300, 95, 9),
    (600, 105, 11),
    (900, 115, 14),
    (1500, 130, 16),
)


@pytest.mark.parametrize(
    ("row", "way", "speed", "doubted"),
    [
        (4, 115, 14, False),
        (4, 295, 14, True),  # turned round
        (4, 13.5, 14, True),  # a point moved
        (4, 115, 140, True),
        (2, 275, 9, True),
        (4, 115, 18, False),  # as real ones do
    ],
)
def test_a_row_that_lies_beside_what_its_neighbours_agree_on_holds(
    row, way, speed, doubted
):
    rows = [*LEVELS]
    rows[row] = (rows[row][0], way, speed)
    lines = "\n".join(",".join(map(str, each)) for each in rows)
    text = f"# read 2026-06-13 08:10-07:00\nheight_m,from_deg,speed_mph\n{lines}\n"
    when = datetime.fromisoformat("2026-06-13T08:30-07:00")
    setting = Setting(0.0, when=when, now=when)
    wind = merge([decode(text, setting)], setting)
    assert any("agree on" in told for told in wind.warned) == doubted
