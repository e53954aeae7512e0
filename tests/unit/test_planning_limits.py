"""Wind limits: bounded by the code's wind, even on even ground, the same anywhere."""

import math
import multiprocessing
from concurrent.futures import (
    BrokenExecutor,
    Executor,
    ProcessPoolExecutor,
    ThreadPoolExecutor,
)
from dataclasses import replace
from datetime import UTC, date, datetime
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st

from driftmap.air.wind import WindProfile
from driftmap.ground.areas import Area, Site, Waiver
from driftmap.planning import wind_sweep
from driftmap.planning import windlimits as searching
from driftmap.planning.assumed_winds import Supposition, suppose
from driftmap.planning.sweep import Workers
from driftmap.planning.trial import Trial, flown, held_name, pack
from driftmap.planning.wind_sweep import Flights, worst
from driftmap.planning.windlimits import (
    LIGHTEST,
    TOLERANCE,
    scan_speeds,
    search,
    wind_limits,
)
from driftmap.report.plan_answers import answered, limits_brief
from driftmap.report.plan_pages import plan_page
from driftmap.report.sketches import dial_svg
from driftmap.report.voice import english
from driftmap.rocket.fields import Uncertain
from driftmap.verdict.check import Check, Kind
from driftmap.verdict.setup import Setup

LOOSE = {
    "area_hit": "5 %",
    "area_hit_in_failure": "30 %",
    "outside_boundary": "10 %",
    "outside_waiver": "5 %",
    "above_ceiling": "5 %",
    "rail_speed_over_wind": 0.1,
    "expected_casualties": 1.0,
    "individual_risk": 1.0,
    "casualties_if_it_happens": 1.0,
    "hurtful_outside_boundary": "10 %",
    "overflight": "10 %",
    "set_by": "Ada Quill",
    "set_on": date.today().isoformat(),
}
"""Limits that 400 flights can show to be kept."""


CREW = Area("Crew", "flight line", shapely.box(-2, -99, 2, -95), people=2)

pytestmark = pytest.mark.usefixtures("any_word")


def round_site(radius, *areas, **limits):
    circle = shapely.Point(0, 0).buffer(radius, quad_segs=64)
    wide = shapely.Point(0, 0).buffer(9000)
    return Site(
        name="Round Field",
        elevation=300.0,
        longitude=-100.0,
        latitude=40.0,
        areas=areas or (CREW,),  # somebody launches
        boundary=circle,
        waiver=Waiver(wide, 3000.0),
        limits={**LOOSE, **limits},
        source="round.geojson",
    )


CODE = 20 * 0.44704  # m/s; the high power code's wind, a yardstick at every site


@pytest.fixture
def coarse(monkeypatch):
    """Narrow limits down to 0.5 m/s only, which takes half the winds."""
    monkeypatch.setattr(searching, "TOLERANCE", 0.5)


@pytest.fixture
def one_cloud(dunlin, monkeypatch):
    """Fly one wind in place of all: for what is held by the wind, not by landings."""
    setup = Setup(dunlin, round_site(8000.0), 200, 3)
    cloud = flown(setup, suppose(Supposition(300.0), 135.0, 4.0))
    monkeypatch.setattr(wind_sweep, "flown", lambda *_: cloud)


def limits_of(setup, directions, workers=None, **options):
    return wind_limits(
        setup, Supposition(300.0), directions, workers=workers, **options
    )


@pytest.mark.slow  # one more search of limits
def test_an_open_field_is_held_by_the_wind_of_the_code_alone(dunlin, one_cloud):
    setup = Setup(dunlin, round_site(8000.0), 200, 3)
    (found,) = limits_of(setup, [135.0], steps=2)
    limit = CODE
    assert 4.0 < found.go_below <= limit
    assert held_name(found.held_by) == "wind at 10 m"
    assert found.go == ((LIGHTEST, found.go_below),)
    assert found.tried[-1] == (pytest.approx(limit + TOLERANCE, abs=2e-4), "hold")
    assert all(v <= limit for v, finding in found.tried if finding == "go")


def test_a_stricter_wind_of_the_site_bounds_too(dunlin, one_cloud):
    limit = 12 * 0.44704
    setup = Setup(dunlin, round_site(8000.0, surface_wind="12 mph"), 200, 3)
    (found,) = limits_of(setup, [0.0], steps=2)
    assert 0 < found.go_below <= limit
    assert held_name(found.held_by) == "wind at 10 m"


@given(
    st.lists(st.sampled_from([0.0, 1.5, 3.0, 5.0, 8.0]), max_size=2, unique=True),
    st.floats(0.2, 8.9),
)
@example([0.0], 0.96875)
@settings(max_examples=25)
def test_no_span_ever_holds_a_speed_tried_and_not_go(gaps, top):
    def go(speed):
        return speed <= top and all(abs(speed - gap) > 0.7 for gap in gaps)

    def at(speed):
        return Trial("go" if go(speed) else "hold")

    def between(low, high):
        worse = [*(g - 0.7 for g in gaps), *(g + 0.7 for g in gaps), top]
        inside = any(low < w < high for w in worse) or not go((low + high) / 2)
        return Trial("hold" if inside else "go")

    found = search(0.0, [v / 2 for v in range(19)], at, between)
    told = [v / 20 for v in range(181) if any(a <= v / 20 <= b for a, b in found.go)]
    assert all(go(v) for v in told)

    def seen(speed):  # a stretch that no speed of the scan lies in is not told as go
        return go(math.floor(2 * speed) / 2) or go(math.ceil(2 * speed) / 2)

    missed = [v / 20 for v in range(181) if go(v / 20) and v / 20 not in told]
    missed = [v for v in missed if seen(v)]
    edges = [g + s * 0.7 for g in gaps for s in (-1, 1)] + [top]
    assert all(min(abs(v - e) for e in edges) <= TOLERANCE + 0.01 for v in missed)


def test_a_gap_between_two_speeds_flown_is_never_told_as_go():
    """Only the verdict on the whole span can see it."""
    found = search(
        0.0,
        [0.0, 2.0, 4.0],
        lambda v: Trial("go"),
        lambda a, b: Trial("hold" if a < 2.7 < b else "go", problem="a crowd"),
    )
    assert all(not a < 2.7 < b for a, b in found.go)
    assert found.go_below == pytest.approx(2.7, abs=TOLERANCE)
    assert held_name(found.held_by) == "a crowd"


@pytest.mark.slow  # one more search of limits
def test_even_ground_gives_even_limits(dunlin, coarse):
    # Wide enough for what leaves its path under power in any air.
    ring = round_site(200.0, outside_boundary="45 %", hurtful_outside_boundary="30 %")
    setup = Setup(dunlin, ring, 400, 5)
    found = limits_of(setup, [90.0, 270.0], steps=2)  # the crew lies across
    limits = [limit.go_below for limit in found]
    assert 0.5 < min(limits) <= max(limits) < 12.0
    # The luck is that of 400 flights; of the limit itself it moves some tenths.
    assert max(limits) - min(limits) < 1.5
    assert {held_name(limit.held_by) for limit in found} == {
        "a piece that can hurt lands outside the boundary"
    }


def test_people_lower_the_limit_and_are_named(dunlin, coarse):
    crowd = Area("Crowd", "spectators", shapely.box(60, -400, 500, 400), people=50)
    setup = Setup(dunlin, round_site(8000.0, crowd), 250, 5)
    (beside,) = limits_of(setup, [270.0], steps=2)
    print(beside.go_below)
    assert beside.go_below < CODE / 2  # all that holds the field alone
    assert "Crowd" in held_name(beside.held_by)


def test_a_rail_into_the_lightest_air_leans_to_where_it_comes_from(dunlin, coarse):
    """A fall from a rail that leans to the crowd is no go, be the air ever so light."""
    crowd = Area("Crowd", "spectators", shapely.box(65, -60, 185, 60), people=50)
    leaning = dunlin.model_copy(
        update={"rail": dunlin.rail.model_copy(update={"angle": Uncertain(0.2)})}
    )
    setup = Setup(
        leaning,
        round_site(8000.0, crowd, area_hit="100 %", surface_wind="6 mph"),
        200,
        5,
    )
    toward, away = limits_of(setup, [90.0, 270.0], steps=1)
    assert toward.go_below == 0.0
    assert away.go_below > 0.0


@pytest.mark.slow
@pytest.mark.usefixtures("flown_anew")
def test_the_same_seed_gives_the_same_on_threads_and_processes(dunlin, coarse):
    setup = Setup(dunlin, round_site(200.0), 200, 5)
    found = []
    spawn = multiprocessing.get_context("spawn")
    # A process of its own knows nothing of what `any_word` lets pass in this one.
    there = exec, ("from driftmap.verdict import limits; limits.SIGNED = {}",)
    for pool in (ThreadPoolExecutor(3), ProcessPoolExecutor(1, spawn, *there)):
        with pool:
            found.append(limits_of(setup, [0.0, 120.0], Workers(pool), steps=1))
    assert found[0] == found[1]


@pytest.fixture
def verdicts(dunlin):
    """Limits where a rule of thumb stands in for the verdict of each speed."""

    def with_rule(rule):
        def at(speed):
            told = "" if rule(speed) == "go" else "too much"
            return Trial(rule(speed), problem=told)

        def between(low, high):
            return worst(at(v) for v in np.linspace(low, high, 50))

        setup = Setup(dunlin, round_site(8000.0), 10, 1)
        return search(0.0, scan_speeds(setup, 8), at, between)

    return with_rule


def test_bisection_closes_in_from_below(verdicts):
    found = verdicts(lambda v: "go" if v <= 4.321 else "hold")
    assert 4.321 - TOLERANCE - 0.01 <= found.go_below <= 4.321
    assert held_name(found.held_by) == "too much"


@pytest.mark.parametrize(
    ("own", "mph"),
    [({}, 20.0), ({"surface_wind": "8 mph"}, 8.0), ({"surface_wind": "30 mph"}, 20.0)],
)
def test_speeds_are_tried_up_to_the_stricter_of_the_rules_and_a_limit_of_ones_own(
    dunlin, saltgrass, own, mph
):
    setup = Setup(dunlin, replace(saltgrass, limits=own), 10, 1)
    assert searching.wind_allowed(setup) == pytest.approx(mph * 0.44704)


def test_go_that_begins_above_calm_is_no_limit_below():
    """And it is the lightest air that is told to hold."""

    def at(speed):
        told = "too light" if speed < 2.0 else "too strong"
        return Trial("go" if 2.0 <= speed <= 5.0 else "hold", problem=told)

    speeds = [v / 2 for v in range(1, 14)]
    found = search(0.0, speeds, at, lambda low, high: worst((at(low), at(high))))
    assert found.go_below == 0.0
    assert held_name(found.held_by) == "too light"
    ((low, high),) = found.go
    assert 2.0 <= low <= 2.0 + TOLERANCE + 0.01
    assert 5.0 - TOLERANCE - 0.01 <= high <= 5.0
    ((low, high),) = found.go
    assert 2.0 <= low <= 2.0 + TOLERANCE + 0.01
    assert 5.0 - TOLERANCE - 0.01 <= high <= 5.0


def test_a_gap_splits_the_span_and_only_the_calm_part_counts(verdicts):
    found = verdicts(lambda v: "hold" if 2.0 <= v <= 5.0 else "go")
    assert len(found.go) == 2
    assert 2.0 - TOLERANCE - 0.01 <= found.go_below < 2.0
    assert found.go[-1][1] > 8.0


def test_nothing_known_is_no_number(verdicts):
    found = verdicts(lambda v: "not known")
    assert found.go_below is None
    assert found.problem == "too much"


def test_the_scan_ends_just_beyond_the_limit(dunlin):
    speeds = scan_speeds(Setup(dunlin, round_site(8000.0), 10, 1), 4)
    assert speeds[0] == LIGHTEST
    assert len(speeds) == 6
    assert speeds[-2] < CODE < speeds[-1]


def test_the_picture_tells_each_wedge_and_what_is_not_known(verdicts):
    known = verdicts(lambda v: "go" if v < 4 else "hold")
    dark = verdicts(lambda v: "not known")
    svg = dial_svg([known, replace(dark, from_deg=180.0)], 8.94, english("us"), 0.5)
    assert 'class="go"' in svg
    assert 'class="dark"' in svg
    assert "10 mph" in svg  # at head height, where people read it
    assert "20 mph" not in svg
    with pytest.raises(ValueError, match="empty"):
        dial_svg([], 8.94, english("us"), 0.5)


def test_a_limit_in_a_sentence_is_no_milder_than_it_was_found(verdicts):
    voice = english("si")
    some = verdicts(lambda v: "go" if v <= 4.0 else "hold")
    some = replace(some, go=((some.go[0][0], 4.14),))
    assert "2.0\xa0m/s" in limits_brief([some], 0.5, voice)  # of 2.07
    late = verdicts(lambda v: "go" if 2.0 <= v <= 5.0 else "no-go")
    assert (
        limits_brief([late], 0.5, voice) == ""
    )  # some wind is go: the table says which
    never = verdicts(lambda v: "no-go")
    assert "None of the" in limits_brief([never], 0.5, voice)


def test_what_a_go_of_a_plan_hangs_on_stands_in_its_first_sentence():
    head = {"assumed": [], "questions_set_aside": [], "too_few": False}
    for conditions in ([], ["the winds aloft are as supposed"]):
        data = {**head, "conditions": conditions}
        for goes in (True, False):
            brief = answered(data, "Go.", english("us"), goes=goes)
            page = plan_page("Title", [], {**data, "in_brief": brief}, english("us"))
            told = "On the conditions given here: Go." in page
            assert told == (goes and bool(conditions))
            assert ("CHECK ALOFT" in page) == bool(conditions)


def test_a_grid_is_halved_the_way_that_words_change():
    """Go up to a speed that is the same all round: no column is ever cut."""
    asked = []

    def judge(span):
        asked.append(span)
        if span[1] <= 3 or span[0] >= 3:
            return {"go"} if span[1] <= 3 else {"no-go"}
        return ["go", "go", "no-go", "no-go"]

    size, most = (10, 36), wind_sweep.most_cells((10, 36), 0.9, 10.0)
    assert most == (5, 4)
    wanted = [(i, i + 1, 6, 7) for i in range(10)]
    told = wind_sweep.settled_spans(wanted, size, most, judge)
    assert [told[one] for one in wanted] == [{"go"}] * 3 + [{"no-go"}] * 7
    for one in wanted:
        assert wind_sweep.settled_spans([one], size, most, judge) == {one: told[one]}
    assert {(j, on) for *_, j, on in asked} == {(4, 8)}
    assert wind_sweep.most_cells((4, 6), 1.3, 60.0) == (1, 1)  # too wide for one look
    assert wind_sweep.most_cells((5, 36), 2.0, 10.0) == (2, 4)  # no span of 6 m/s


def test_a_cell_that_differs_from_all_about_it_is_judged_alone():
    size, most = (8, 8), (8, 4)

    def judge(span):
        i, up, j, on = span
        return ("go",) * 4 if i <= 5 < up and j <= 2 < on else {span}

    wanted = [(i, i + 1, j, j + 1) for i in range(8) for j in range(8)]
    told = wind_sweep.settled_spans(wanted, size, most, judge)
    alone = [(one[0], one[2]) for one in wanted if one not in told]
    assert alone == [(5, 2), (5, 3)]  # and the other half of the last span


def test_a_stretch_of_speeds_is_never_told_by_a_part_of_it():
    asked = []

    def judge(span):
        asked.append(span)
        return ("go", "go", "hold", "hold")

    assert wind_sweep.settled_spans([(2, 4, 0, 1)], (8, 4), (8, 4), judge) == {}
    assert all(i <= 2 and up >= 4 for i, up, *_ in asked)
    assert len(asked) >= 2


def test_limits_of_no_hour_have_their_worst_word_by_any_sun(monkeypatch, saltgrass):
    """What a low sun lets go, a stirred air may hold, and a low sun of an evening fail."""
    supposition = Supposition.over_site(saltgrass)
    suns = supposition.by_any_sun()
    asked = []

    class ByOne:
        def __init__(self, flights, from_deg, half):
            self.sun = suns.index(flights)

        def at(self, speed):
            asked.append((speed, self.sun))
            worse = {1: speed > 2, 2: speed > 1}.get(self.sun, speed > 3)
            return Trial("go" if not worse else "no-go" if self.sun != 2 else "hold")

        def between(self, low, high):
            return self.at(high)

    monkeypatch.setattr(searching, "Sector", ByOne)
    monkeypatch.setattr(searching, "flights_of", lambda packed, sun, speeds: sun)
    found = searching._one_direction(b"", suns, (0.5, 1.0, 1.5, 2.5, 3.5), 5.0, 0.0)
    assert found.go_below == 1.0
    told = dict(found.tried)
    assert (told[1.5], told[2.5], told[3.5]) == ("hold", "no-go", "no-go")
    assert (3.5, 1) not in asked  # a no-go by the first sun is asked of no other
    hour = datetime(2026, 6, 13, 15, tzinfo=UTC)
    assert len(Supposition.over_site(saltgrass, hour).by_any_sun()) == 1
    # Layers read at dawn keep their wind; a summer's afternoon stirs them all the same.
    shape = WindProfile([2, 10, 500], [3.0, 4.0, 0.0], [0.0, 1.0, -9.0], [1, 1, 1])
    read = Supposition.over_site(saltgrass, None, shape).by_any_sun()
    winds = [suppose(one, 240.0, 5.0) for one in read]
    assert winds[0].convection is None
    assert winds[1].convection.speed > 2.4
    assert winds[0].east.tolist() == winds[1].east.tolist()


def test_a_span_is_held_against_limits_in_the_strongest_of_its_winds(
    dunlin, saltgrass, monkeypatch
):
    heard, net = [], SimpleNamespace(turned=lambda angle: None)
    monkeypatch.setattr(Flights, "rim", lambda *_: [])
    monkeypatch.setattr(
        wind_sweep, "strictest_of_span", lambda *told: heard.append(told[2]) or ()
    )
    monkeypatch.setattr(wind_sweep, "if_read", lambda *_: ())
    flights = Flights(
        pack(Setup(dunlin, saltgrass, 50, 3)), Supposition.over_site(saltgrass), ()
    )
    flights._net = lambda *_: net
    flights.strictest(2.0, 5.0, 80.0, 100.0)
    assert np.hypot(*heard[0].at(10.0)) == pytest.approx(5.0)


def test_a_wind_flown_by_a_fork_is_that_wind(willet, saltgrass):
    """What a fork hands back, and what is flown here once it is gone, is the same."""

    class Gone(Executor):
        def submit(self, *_):
            raise BrokenExecutor

    asked = pack(Setup(willet, saltgrass, 50, 3)), Supposition.over_site(saltgrass), ()
    here, there, alone = Flights(*asked), Flights(*asked), Flights(*asked)
    with ThreadPoolExecutor(1) as there.forks:
        found = there.flown(4.0, 90.0)
    alone.forks = Gone()
    for other in (found, alone.flown(4.0, 90.0)):
        for column in ("east", "north", "time", "energy"):
            mine = getattr(here.flown(4.0, 90.0).cloud, column)
            np.testing.assert_array_equal(getattr(other.cloud, column), mine)
    assert there.trial(4.0, 90.0) == here.trial(4.0, 90.0)


def test_a_plan_judges_the_members_of_an_ensemble_as_an_assessment_does(
    dunlin, saltgrass, monkeypatch
):
    """Of those who tell more, the strongest is not dropped."""
    heard = []

    def others(setup, wind, checks):
        heard.append(wind)
        yield Check(kind=Kind.WIND_WARNED, name="a member", outcome="warn", source="")

    good = Trial("go", (Check(kind=Kind.RULE, name="x", outcome="pass", source=""),))
    monkeypatch.setattr(wind_sweep, "judged", lambda *_, **__: good)
    monkeypatch.setattr(wind_sweep, "in_others", others)
    supposition = Supposition.over_site(saltgrass)
    packed = pack(Setup(dunlin, saltgrass, 50, 3))
    assert Flights(packed, supposition, ()).trial(4.0, 90.0).verdict == "hold"
    np.testing.assert_array_equal(
        heard[0].east, Flights(packed, supposition, ()).air(4.0, 90.0).east
    )
    dial = Flights(packed, supposition, (), draws=True)
    assert dial.trial(4.0, 90.0).verdict == "go"  # and says to look aloft


@pytest.mark.parametrize("draws", [False, True])
def test_a_plan_is_no_milder_for_what_it_does_not_know(
    draws, dunlin, saltgrass, monkeypatch
):
    """A go that is a no-go in the same wind as if just read holds: alone, in a span, anywhere."""
    passes = Check(kind=Kind.RULE, name="x", outcome="pass", source="")

    def seen(wind):
        return (replace(passes, outcome="pass" if wind.error.max() > 1 else "fail"),)

    monkeypatch.setattr(
        wind_sweep, "judged", lambda cloud, setup, wind, **_: Trial("go", seen(wind))
    )
    monkeypatch.setattr(
        wind_sweep, "strictest_of_span", lambda setup, net, wind, found: seen(wind)
    )
    supposition = Supposition.over_site(saltgrass)
    setup = Setup(dunlin, saltgrass, 50, 3)
    flights = Flights(pack(setup), supposition, (), draws)
    assert flights.air(4.0, 90.0).error.max() > 1
    assert flights.trial(4.0, 90.0).verdict == "hold"
    assert flights.judged_at(saltgrass, 4.0, 90.0).verdict == "hold"
    whole = flights.strictest(3.0, 4.0, 80.0, 100.0)
    assert [check.outcome for check in whole] == ["pass", "warn"]
    assert "just now, at the field; in that wind it is no-go" in whole[1].name


def test_a_plan_of_no_day_flies_in_the_air_that_it_tells(dunlin, saltgrass):
    """The heat of a report whose shape is taken is that of its own day."""
    levels = [2, 10, 500], [3.0, 4.0, 8.0], [0.0, 1.0, -2.0], [1, 1, 1]
    shape = WindProfile(*levels, temperature=313.0, altimeter=99_000.0)
    wind = suppose(Supposition.over_site(saltgrass, None, shape), 240.0, 5.0)
    setup = Setup(dunlin, saltgrass, 50, 3)
    assert flown(setup, wind).plan.sky.day is None  # told as the standard atmosphere
    assert flown(setup, shape).plan.sky.day.temperature == 313.0
