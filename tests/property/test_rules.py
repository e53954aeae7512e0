"""What must hold for any flight: more rocket, less distance or less known is never better."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from driftmap.core.estimate import weighted_mean
from driftmap.ground.areas import least_width
from driftmap.hazard.harm import casualty_area
from driftmap.rules.evaluate import evaluate
from driftmap.rules.facts import Facts
from driftmap.rules.reading import read_rules
from driftmap.rules.vocabulary import motor_class

SETS = {name: read_rules([name]) for name in ("us", "us-high-power", "canada", "uk")}
RANK = {"pass": 0, "hold": 1, "ask": 1, "fail": 2}
IMPULSE = st.floats(0.1, 60_000.0)


def limit(impulse, motors, name="personnel_distance"):
    facts = Facts({"total_impulse": impulse, "motor_count": motors, "stages": 1.0},
                  {"people": (("crowd", 0.0),)})  # fmt: skip
    (line,) = [r for r in evaluate(SETS["us-high-power"], facts) if r.name == name]
    return np.inf if line.limit is None else line.limit


@given(IMPULSE, st.floats(0, 20_000), st.integers(1, 4))
def test_distance_never_falls_with_impulse_or_motors(impulse, more, motors):
    assert limit(impulse + more, motors) >= limit(impulse, motors)
    assert limit(impulse, motors + 1) >= limit(impulse, motors)


@given(st.floats(0.1, 40_960.0), st.floats(1.0, 2.0))
def test_letter_never_falls_with_impulse(impulse, factor):
    order = ["1/4A", "1/2A", *"ABCDEFGHIJKLMNO"]
    more = min(impulse * factor, 40_960.0)
    assert order.index(motor_class(more)) >= order.index(motor_class(impulse))


NUMBERS = st.fixed_dictionaries(
    {
        "total_impulse": IMPULSE,
        "motor_count": st.integers(1, 3).map(float),
        "stages": st.integers(1, 2).map(float),
        "liftoff_mass": st.floats(0.1, 30),
        "propellant_mass": st.floats(0.01, 3),
        "expected_altitude": st.floats(50, 6000),
        "waiver_ceiling": st.floats(300, 6000),
        "site_dimension": st.floats(100, 5000),
        "rail_tilt": st.floats(0, 0.6),
        "surface_wind": st.floats(0, 15),
        "rockets_together": st.just(1.0),
    }
)


def by_rule(name, numbers):
    found = {}
    for line in evaluate(SETS[name], Facts(numbers)):
        found[line.name] = max(RANK[line.outcome], found.get(line.name, 0))
    return found


@given(NUMBERS, st.sampled_from(sorted(SETS)), st.data())
def test_forgetting_a_fact_never_turns_a_rule_into_a_pass(numbers, name, data):
    """What was not kept is not, and what is held against the fact itself is asked for."""
    before = by_rule(name, numbers)
    gone = data.draw(st.sampled_from(sorted(numbers)))
    after = by_rule(name, {k: v for k, v in numbers.items() if k != gone})
    for rule in before.keys() & after.keys():
        assert after[rule] >= min(before[rule], RANK["ask"]), rule
    assert after.get(gone, RANK["ask"]) >= RANK["ask"]
    assert after.keys() >= {rule for rule in before if before[rule] == RANK["fail"]}


@given(NUMBERS, st.floats(0, 10), st.floats(0, 0.5))
def test_more_wind_or_tilt_is_never_better(numbers, wind, tilt):
    worse = numbers | {
        "surface_wind": numbers["surface_wind"] + wind,
        "rail_tilt": numbers["rail_tilt"] + tilt,
    }
    one, other = by_rule("us-high-power", numbers), by_rule("us-high-power", worse)
    for name in ("surface_wind", "rail_tilt"):
        assert other[name] >= one[name]


@given(st.floats(1, 3000), st.floats(1, 3000), st.floats(0, 360))
def test_least_width_of_a_turned_rectangle_is_its_shorter_side(long, short, turn):
    from shapely import affinity

    half, other = long / 2, short / 2
    field = affinity.rotate(shapely.box(-half, -other, half, other), turn)
    assert np.isclose(least_width(field), min(long, short), rtol=1e-6, atol=0.02)


@given(st.floats(0, 2), st.floats(0.05, np.pi / 2), st.floats(1.0, 3.0))
def test_casualty_area_grows_with_size_and_shallow_paths(section, angle, factor):
    area = casualty_area(section, angle)
    assert casualty_area(section * factor, angle) >= area
    assert casualty_area(section, angle / factor) >= area * (1 - 1e-12)
    assert area >= casualty_area(0.0, np.pi / 2) * (1 - 1e-12)


@given(
    st.lists(st.floats(1e-3, 10), min_size=0, max_size=50),
    st.integers(100, 10_000),
    st.floats(1.0, 10.0),
)
def test_interval_holds_the_figure_and_scales(values, flights, factor):
    one = weighted_mean(values, flights, 10.0)
    assert 0 <= one.lower <= one.estimate <= one.upper
    assert one.upper > 0
    scaled = weighted_mean(np.multiply(values, factor), flights, 10.0 * factor)
    assert np.isclose(scaled.upper, factor * one.upper)
    assert np.isclose(scaled.lower, factor * one.lower)
    more = weighted_mean(values, 2 * flights, 10.0)
    assert more.upper < one.upper or one.upper == 10.0


@pytest.mark.parametrize("lane", [0.1, 1.0, 3.0, 8.0])
@pytest.mark.parametrize("far", [60.0, 400.0, 3000.0])
def test_a_field_that_a_lane_leads_to_adds_nothing_to_the_width_of_a_site(lane, far):
    here = shapely.box(-50, -50, 50, 50)
    there = shapely.box(1000, 0, 1000 + far, far)
    site = shapely.union_all([here, there, shapely.box(40, 0, 1010, lane)])
    assert np.isclose(least_width(site), 100.0, atol=0.1)
    # One that opens on it is one with it, and a pad in its corner stands on it.
    for pad in ((0.0, 0.0), (-49.5, -49.5)):
        open_to = shapely.union_all([here, shapely.box(-50, 40, 350, 440)])
        moved = shapely.transform(open_to, lambda at, pad=pad: at - np.array(pad))
        assert np.isclose(least_width(moved), 400.0, atol=0.2)
