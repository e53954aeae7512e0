"""Checks of the wind: what is read, what is not, and how strong it is."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from driftmap.air.wind import Disagreement, WindLevel, WindProfile, surface_wind
from driftmap.rules.answers import Answers
from driftmap.verdict import setup as set_up
from driftmap.verdict.check import Kind
from driftmap.verdict.launch_checks import rail_checks, wind_checks
from driftmap.verdict.limits import LIMITS
from driftmap.verdict.rule_checks import _metered


def _checks(wind, apogee=300.0):
    heights = np.repeat([apogee / 2, apogee], [90, 10])  # the highest flights count
    cloud = SimpleNamespace(apogee=SimpleNamespace(height=heights))
    return {check.kind: check for check in wind_checks(cloud, wind, LIMITS)}


def _wind(height=(2.0, 1000.0), east=3.0, **more):
    size = len(height)
    more = {"age": 0.0} | more
    return WindProfile(
        height, np.full(size, east), np.zeros(size), np.ones(size), **more
    )


@pytest.mark.parametrize(
    ("read", "apogee", "kind"),
    [
        ((2.0, 60.0), 411.0, Kind.WIND_GAP),
        ((2.0, 2000.0), 900.0, Kind.WIND_LAYER),
        ((2.0, 60.0, 1061.0), 411.0, Kind.WIND_LAYER),
    ],
)
def test_far_from_any_wind_read_holds(read, apogee, kind):
    known = _wind((0.0, 5000.0), read=read, known_to=read[-1])
    assert _checks(known, apogee)[kind].outcome == "warn"
    near = {c.outcome for c in _checks(known, 302.0).values()}
    assert near == {"pass"}


def test_a_wind_read_only_far_up_holds():
    assert Kind.WIND_NEAR_GROUND not in _checks(_wind(read_from=60.0))
    check = _checks(_wind(read_from=60.5))[Kind.WIND_NEAR_GROUND]
    assert (check.value, check.interval) == (60.5, (60.5, 60.5))
    assert (check.limit, check.outcome) == (60.0, "warn")


@pytest.mark.parametrize(
    ("levels", "change"),
    [
        (((10, 0), (100, 8.7), (1000, 8.7)), 2.9),  # 8.7 m/s in the 90 m above 10 m
        (((2, 0), (100, 7.0), (1000, 30)), None),
        (((2, 0), (10, 2.5), (72, 7), (1000, 7)), None),  # less at the head is no shear
        (((10, 4), (100, 8), (300, 8), (380, -2)), 3.75),  # it turns about
        (((10, 0), (70, 8), (800, 8)), 4.0),
        (((10, 0), (500, 0), (600, 10), (1000, 10)), 3.0),
        (((10, 0), (69, 8), (800, 8)), None),
        (((10, 0), (500, 0), (601, 20), (1000, 20)), None),
    ],
)
def test_a_wind_that_changes_fast_with_height_holds(levels, change):
    """Over 60 m of it, up to 600 m: what is less deep, or higher, is not seen.

    Moderate from 5 kt in 100 ft: 2.53 m/s in 30 m (ICAO's interim scale, from memory).
    """
    height, east = map(list, zip(*levels, strict=True))
    wind = _wind(height, np.array(east, float), read=tuple(height), known_to=height[-1])
    found = _checks(wind).get(Kind.WIND_SHEAR)
    assert (found and found.outcome) == (change and "warn")
    assert change is None or found.value == pytest.approx(change)
    assert found is None or found.limit == pytest.approx(2.53, abs=0.005)


def test_a_wind_limit_of_ones_own_fails_by_the_mean_and_holds_by_the_gust():
    def outcome(mph, **more):
        own = replace(LIMITS["surface_wind"], value=mph)
        cloud = SimpleNamespace(apogee=SimpleNamespace(height=np.full(10, 100.0)))
        found = wind_checks(
            cloud, _wind(east=3.0, **more), {**LIMITS, "surface_wind": own}
        )
        return {c.kind: c.outcome for c in found}.get(Kind.SURFACE_WIND)

    assert [outcome(v) for v in (2.9, 3.0, 5.0)] == ["fail", "warn", "pass"]
    assert outcome(5.0, gust=2.5) == "warn"
    assert outcome(np.inf) is None


def test_what_is_exactly_at_its_limit_passes_and_what_is_not_known_never_fails():
    limit = LIMITS["wind_gap"].value
    gap = _wind((0.0, 5000.0), read=(2.0, 60.0), known_to=60.0)
    assert _checks(gap, 60.0 + limit)[Kind.WIND_GAP].outcome == "pass"
    assert _checks(gap, 9000.0)[Kind.WIND_GAP].outcome == "warn"
    assert _checks(gap, 30.0)[Kind.WIND_GAP].value == 0.0
    assert _checks(gap, 9000.0)[Kind.WIND_GAP].value == 8940.0
    one = _wind((0.0, 5000.0), read=(2.0,), known_to=60.0)
    assert _checks(one, 9000.0)[Kind.WIND_LAYER].value == 0.0
    deep = _wind((0.0, 5000.0), read=(2.0, 1002.0, 2003.0), known_to=2003.0)
    assert _checks(deep, 1002.0 + limit)[Kind.WIND_LAYER].value == 1000.0
    assert _checks(deep, 1003.0 + limit)[Kind.WIND_LAYER].value == 1001.0
    assert _checks(deep, 1003.0 + limit)[Kind.WIND_LAYER].outcome == "warn"
    assert _checks(_wind(age=30.0))[Kind.WIND_AGE].outcome == "warn"


def _rail(speed, wind, *, known=True, margin=(1.2, 1.5, 1.8), tilt=0.0, limits=LIMITS):
    plan = SimpleNamespace(
        flight=SimpleNamespace(rail=SimpleNamespace(angle=SimpleNamespace(value=tilt))),
        balance=SimpleNamespace(known=known, margin=margin),
        upper_balance=None,
    )
    cloud = SimpleNamespace(
        plan=plan,
        rail_speed=np.asarray(speed, float),
        rail_wind=np.asarray(wind, float),
    )
    return {c.kind: c for c in rail_checks(cloud, _wind(), limits)}


def test_the_rail_is_held_against_its_limits():
    fast = _rail([20.0] * 9, [4.0] * 9)
    assert {c.outcome for c in fast.values()} == {"pass"}
    assert Kind.RAIL_TILT not in fast
    assert fast[Kind.RAIL_OVER_WIND].value == 5.0
    slow = _rail([14.9] * 9, [3.0] * 9)
    assert slow[Kind.RAIL_SPEED].outcome == "fail"
    assert _rail([15.0] * 9, [3.0] * 9)[Kind.RAIL_SPEED].outcome == "pass"
    # Most are too slow: that the fastest are not makes it no hold.
    most = _rail([14.9] * 6 + [15.1] * 3, [3.0] * 9)
    assert most[Kind.RAIL_SPEED].outcome == "fail"
    # The slowest flights may reach three quarters of four times the wind, not less.
    some = np.r_[np.full(80, 4.0), np.full(20, 6.6)]
    assert _rail([20.0] * 100, some)[Kind.RAIL_OVER_WIND].outcome == "pass"
    some[80:] = 6.7
    assert _rail([20.0] * 100, some)[Kind.RAIL_OVER_WIND].outcome == "warn"
    assert _rail([20.0] * 9, [5.01] * 9)[Kind.RAIL_OVER_WIND].outcome == "fail"
    assert _rail([20.0] * 9, [0.0] * 9)[Kind.RAIL_OVER_WIND].value == 200.0
    own = {**LIMITS, "rail_tilt": replace(LIMITS["rail_tilt"], value=5.0)}
    for tilt, outcome in ((4.9, "pass"), (5.1, "fail")):
        found = _rail([20.0] * 9, [4.0] * 9, tilt=np.radians(tilt), limits=own)
        assert found[Kind.RAIL_TILT].outcome == outcome
        assert found[Kind.RAIL_TILT].value == pytest.approx(tilt)


@pytest.mark.parametrize(
    ("margin", "outcome"),
    [
        ((1.0, 1.5, 2.0), "pass"),
        ((0.9, 1.5, 2.0), "warn"),
        ((0.2, 0.5, 0.9), "fail"),
    ],
)
def test_a_static_margin_too_small_does_not_pass(margin, outcome):
    check = _rail([20.0], [4.0], margin=margin)[Kind.STATIC_MARGIN]
    assert check.outcome == outcome
    assert check.value == margin[1]
    unknown = _rail([20.0], [4.0], margin=margin, known=False)[Kind.STATIC_MARGIN]
    assert (unknown.outcome, unknown.value) == ("warn", None)


def test_every_source_without_a_time_holds_and_is_named():
    for age in (None, 1.0):  # though others tell theirs
        check = _checks(_wind(age=age, undated=("old.csv",)))[Kind.WIND_UNDATED]
        assert check.outcome == "warn"
        assert "old.csv" in check.note
    for source, told in (("kite.csv", "kite.csv"), ("", "the wind")):
        check = _checks(_wind(age=None, source=source))[Kind.WIND_UNDATED]
        assert check.note == f"say when it was read: {told}"
    assert _checks(_wind(age=3.1))[Kind.WIND_AGE].outcome == "warn"
    assert _checks(_wind(age=2.9))[Kind.WIND_AGE].outcome == "pass"


def test_what_reports_warn_of_holds():
    said = "winds disagree at 2 m"
    level = WindLevel(2.0, 1.0, 3.0, None, "meter")
    two = Disagreement(said, level, replace(level, speed=9.0))
    for figures in ((), (two,)):
        check = _checks(_wind(warned=(said,), disagree=figures))[Kind.WIND_WARNED]
        assert (check.name, check.outcome) == (said, "warn")
        assert (check.winds,) == (figures or (None,))


def test_what_was_set_aside_by_hand_stands_beside_the_word():
    check = _checks(_wind(aside="1 wind set aside by hand"))[Kind.WIND_WARNED]
    assert (check.name, check.outcome) == ("1 wind set aside by hand", "pass")
    assert check.beside


@pytest.mark.parametrize(("base", "outcome"), [(299.0, "warn"), (300.0, "pass")])
def test_a_flight_into_the_cloud_reported_holds(base, outcome):
    """OVC and BKN hide it, whatever rules the site names."""
    check = _checks(_wind(cloud_base=base))[Kind.INTO_CLOUD]
    assert (check.value, check.limit, check.outcome) == (300.0, base, outcome)
    assert Kind.INTO_CLOUD not in _checks(_wind())


def test_an_ensemble_is_judged_member_by_member():
    """Ten members of one strength from all around have no mean, and are no calm."""
    around = np.linspace(0.0, 2 * np.pi, 10, endpoint=False)
    east, north = 9.4 * np.sin(around), 9.4 * np.cos(around)
    members = np.stack([np.stack([east] * 2, 1), np.stack([north] * 2, 1)], axis=1)
    wind = WindProfile([2.0, 900.0], [0, 0], [0, 0], [1, 1], members=members)
    speed, (low, high) = surface_wind(wind)
    assert speed == pytest.approx(9.4)
    assert (low, high) == pytest.approx((7.4, 11.4))


@pytest.mark.parametrize(("far", "outcome"), [(9.0, "warn"), (2.0, "pass")])
def test_a_go_hangs_on_the_members_that_carry_farthest(monkeypatch, far, outcome):
    """One of fifty that is no-go by itself holds, though the mixture is go by far."""
    members = np.zeros((50, 2, 2))
    members[:, 1], members[17, 0, 1] = 2.0, far
    wind = WindProfile([2.0, 900.0], [0, 0], [2, 2], [1, 1], members=members)
    flown = []

    def word(setup, one):
        flown.append(one)
        return "no-go" if one.east.max() > 5.0 else "go"

    monkeypatch.setattr(set_up, "_in_wind", word)
    fine = set_up._beside("all else", "go", "pass")
    (told,) = set_up.in_stronger(None, wind, [fine])
    assert told.outcome == outcome
    assert any(one.east.max() == far for one in flown)
    assert all(one.members is None for one in flown)
    assert not list(set_up.in_stronger(None, replace(wind, members=None), [fine]))


def test_the_strongest_of_the_hour_and_its_gusts_are_what_limits_are_held_against():
    speed, (_, high) = surface_wind(_wind(strongest=8.0, gust=5.0))
    assert (speed, high) == (8.0, 13.0)


def test_a_gust_lowers_the_end_of_the_rail_speed_over_the_wind():
    rail = SimpleNamespace(angle=SimpleNamespace(value=0.0))
    plan = SimpleNamespace(
        flight=SimpleNamespace(rail=rail),
        upper_balance=None,
        balance=SimpleNamespace(known=False, margin=(0.0, 0.0, 0.0)),
    )
    cloud = SimpleNamespace(
        plan=plan,
        rail_speed=np.full(10, 20.0),
        rail_wind=np.full(10, 3.0),
    )
    steady, gusty = (
        {c.kind: c for c in rail_checks(cloud, _wind(gust=gust), LIMITS)}[
            Kind.RAIL_OVER_WIND
        ]
        for gust in (0.0, 5.0)
    )
    assert steady.outcome == "pass"
    assert gusty.value == steady.value
    assert gusty.interval[0] == pytest.approx(20 / 8)
    assert gusty.outcome == "warn"


@pytest.mark.parametrize(
    ("shown", "holds"),
    [(None, False), (0.0, False), (2.0, False), (6.9, False), (8.0, True)],
)
def test_a_meter_that_shows_more_than_was_flown_holds(shown, holds):
    """Flown are 5 m/s, two errors of 1 m/s above them 7; less takes nothing back."""
    wind = WindProfile([0, 100], [5, 5], [0, 0], [1, 1])
    said = Answers(numbers={} if shown is None else {"surface_wind": shown})
    checks = list(_metered(wind, said))
    assert bool(checks) == holds
    for check in checks:
        assert (check.kind, check.outcome) == (Kind.WIND_WARNED, "warn")
        assert "5.0 m/s (11 mph) was flown" in check.name
        assert "8.0 m/s (18 mph) was answered" in check.name
        two = check.winds
        assert (two.flown.speed, two.flown.peak, two.other.speed) == (5, 7, 8)


def test_a_gust_told_with_the_wind_is_what_a_meter_may_show():
    wind = WindProfile([0, 100], [5, 5], [0, 0], [1, 1], gust=4.0)
    assert not list(_metered(wind, Answers(numbers={"surface_wind": 8.9})))
    assert list(_metered(wind, Answers(numbers={"surface_wind": 9.1})))
