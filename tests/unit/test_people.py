"""Casualties and individual risk: what counts, what does not, and what is refused."""

import math
from dataclasses import replace
from itertools import product

import numpy as np
import pytest
import shapely

from driftmap.core.units import FOOT
from driftmap.ground.areas import Area
from driftmap.hazard.harm import (
    THRESHOLDS,
    WIDEST_PATCH,
    basic_casualty_area,
    casualty_area,
)
from driftmap.hazard.impacts import FallenPiece, gather
from driftmap.hazard.people import expected_casualties, individual_risk

N = 400
ONE = np.ones(N)
FINE = WIDEST_PATCH / 9
FIELD = shapely.box(0, 0, 100, 100)


def piece(
    hits=0, *, case="all", likelihood=1.0, energy=100.0, area=2.0, at=(50.0, 50.0)
):
    east, north = np.full(N, 9e4), np.full(N, 9e4)
    east[:hits], north[:hits] = at
    return FallenPiece(likelihood, east, north, energy * ONE, area * ONE)


def crowd(people=100, shelter="open", shape=FIELD, name="crowd", role="spectators"):
    return Area(name, role, shape, people, shelter)


def test_no_hits_is_an_upper_end_not_zero():
    found = expected_casualties(gather([piece()], N), [crowd()])
    assert found.total.estimate == 0.0
    # 3.689 / n flights, each of 2 m² among 100 people on 10,000 m².
    assert found.total.upper == pytest.approx(3.6889 / N * 2.0 * 0.01, rel=1e-4)


@pytest.mark.parametrize("shelter", ["open", "car", "roof"])
def test_energy_at_the_threshold_harms_and_below_it_does_not(shelter):
    edge = THRESHOLDS[shelter].value
    at = expected_casualties(
        gather([piece(10, energy=edge)], N), [crowd(shelter=shelter)]
    )
    below = np.nextafter(edge, 0)
    under = expected_casualties(
        gather([piece(10, energy=below)], N), [crowd(shelter=shelter)]
    )
    assert at.total.estimate == pytest.approx(10 / N * 2 * 0.01)
    assert under.total.estimate == 0.0
    assert under.total.upper > 0


def test_assumed_thresholds_say_so():
    for shelter in ("car", "roof"):
        assert "assumed" in THRESHOLDS[shelter].source
        assert "no published figure" in THRESHOLDS[shelter].note


def test_unknown_head_count_is_named():
    found = expected_casualties(
        gather([piece(10)], N),
        [
            crowd(None),
            crowd(None, name="shed", role="building"),
            crowd(0, name="empty"),
        ],
        occupied=("spectators",),
    )
    assert found.uncounted == ("crowd",)
    assert found.areas == {}
    assert found.total.estimate == 0.0


def test_pieces_of_a_flight_add_up_and_count_as_one_flight():
    both = expected_casualties(gather([piece(10), piece(10)], N), [crowd()])
    one = expected_casualties(gather([piece(10)], N), [crowd()])
    assert both.total.estimate == pytest.approx(2 * one.total.estimate)
    assert both.total.hits == one.total.hits == 10
    # Ten events of twice the weight: the relative interval stays.
    assert both.total.upper / one.total.upper == pytest.approx(2.0)


def test_cases_are_weighed_by_their_likelihood():
    rare = expected_casualties(gather([piece(10, likelihood=0.1)], N), [crowd()])
    sure = expected_casualties(gather([piece(10)], N), [crowd()])
    assert rare.total.estimate == pytest.approx(0.1 * sure.total.estimate)


def test_unseen_likely_case_keeps_its_say_in_the_interval():
    """A rare case seen often must not hide how little is known of the likely one."""
    seen = piece(10, likelihood=0.01)
    unseen = piece(0, likelihood=0.99)
    found = expected_casualties(gather([seen, unseen], N), [crowd()]).total
    assert found.upper > 3 / N * 0.99 * 2.0 * 0.01


def test_total_over_areas_is_that_of_the_sum():
    left, right = shapely.box(0, 0, 50, 100), shapely.box(50, 0, 100, 100)
    impacts = gather([piece(10, at=(25.0, 50.0)), piece(5, at=(75.0, 50.0))], N)
    found = expected_casualties(
        impacts,
        [crowd(50, shape=left, name="left"), crowd(50, shape=right, name="right")],
    )
    parts = [e.estimate for e in found.areas.values()]
    assert found.total.estimate == pytest.approx(sum(parts))
    assert found.total.upper < sum(e.upper for e in found.areas.values())


def test_a_path_between_two_grounds_thins_no_crowd_out():
    here, there = shapely.box(40, 40, 60, 60), shapely.box(2000, 0, 2500, 500)
    path = shapely.box(60, 50, 2000, 50.5)
    joined = shapely.union_all([here, path, there])
    apart = shapely.MultiPolygon([here, there])
    impacts = gather([piece(10)], N)
    one, two = (
        expected_casualties(impacts, [crowd(shape=shape)]).total.estimate
        for shape in (joined, apart)
    )
    assert one == pytest.approx(two, rel=0.02)  # corners of the path are cut off
    # A line walked or drawn by hand, here and there but 1 m wide, is one crowd all the same.
    wide = [(5 * i, 2.5 - 2 * (i % 8 == 4)) for i in range(21)]
    line = shapely.Polygon([*wide, *((x, -y) for x, y in reversed(wide))])
    found = expected_casualties(gather([piece(10, at=(50, 0))], N), [crowd(shape=line)])
    assert found.total.estimate == pytest.approx(10 / N * 2 * 100 / line.area)


@pytest.mark.parametrize(
    ("width", "far"),
    [*product([0.5, 1.6, 3.0, 5.0, 10.0], [60, 500]), (14.0, 500), (22.0, 500)],
)
def test_no_path_however_wide_thins_a_crowd_out(width, far):
    """All of them may stand at either end of it, wherever more comes down."""
    here, there = shapely.box(20, 20, 80, 80), shapely.box(2000, 0, 2000 + far, far)
    path = shapely.box(70, 50 - width / 2, 2010, 50 + width / 2)
    joined, apart = (
        expected_casualties(gather([piece(10)], N), [crowd(shape=shape)])
        for shape in (
            shapely.union_all([here, path, there]),
            shapely.MultiPolygon([here, there]),
        )
    )
    least = 0.93 * apart.total.estimate  # the first metres of the path are of it
    assert least < joined.total.estimate <= apart.total.estimate * 1.01


def test_who_finds_no_room_in_a_nook_stands_on_the_rest():
    """Of 100 people 40 crowd a hut beside a field; the others are on the field."""
    hut, field = shapely.box(-60, 48.5, -55, 50.5), shapely.box(0, 0, 100, 100)
    spread = shapely.MultiPolygon([hut, field])
    impacts = gather([piece(10), piece(1, at=(-57, 49.5))], N)
    found = expected_casualties(impacts, [crowd(100, shape=spread)]).total.estimate
    assert found == pytest.approx((1 * 2 * 4.0 + 10 * 2 * 60 / field.area) / N)


def test_a_crowd_line_on_a_wide_field_is_not_thinned_out_and_no_nook_is_packed():
    field, line = shapely.box(0, -600, 500, -100), shapely.box(45, -100, 55, 100)
    impacts = gather([piece(10)], N)

    def told(shape, people=100):
        found = expected_casualties(impacts, [crowd(people, shape=shape)])
        return found.total.estimate

    assert told(shapely.union_all([field, line])) == pytest.approx(told(line), rel=0.01)
    # Ten thousand do not stand on a line of 2,000 m2, though so many were told.
    both = shapely.union_all([field, line])
    assert told(both, 10_000) == pytest.approx(4 * 2000 * told(line, 1), rel=0.01)


def test_landing_on_a_shared_edge_is_no_error():
    left, right = shapely.box(0, 0, 50, 100), shapely.box(50, 0, 100, 100)
    found = expected_casualties(
        gather([piece(10, at=(50.0, 50.0))], N),
        [crowd(50, shape=left, name="left"), crowd(50, shape=right, name="right")],
    )
    assert found.total.estimate == pytest.approx(2 * 10 / N * 2 * 0.01)


def test_worst_spot_is_where_the_pieces_fall():
    shape = shapely.box(0, 0, 1000, 300)
    risk = individual_risk(
        gather([piece(20, at=(751.0, 150.0))], N), crowd(shape=shape)
    )
    assert (risk.east, risk.north) == pytest.approx((751.0, 150.0), abs=50.0)
    assert risk.risk.estimate == pytest.approx(20 / N * 2.0 / 1e4)
    assert risk.risk.lower < risk.risk.estimate < risk.risk.upper


def test_individual_risk_without_hits_is_an_upper_end():
    risk = individual_risk(gather([piece()], N), crowd()).risk
    assert risk.estimate == 0.0
    # Nine spots a third of a wide square apart, each at a confidence of 1 - 0.05 / 9.
    assert risk.upper == pytest.approx(-math.log(0.025 / 9) / N * 2.0 / 1e4, rel=1e-4)


def test_more_squares_widen_the_interval():
    impacts = gather([piece(40)], N)
    few = individual_risk(impacts, crowd(shape=shapely.box(0, 0, 100, 100))).risk
    many = individual_risk(
        impacts, crowd(shape=shapely.box(-1000, -1000, 1100, 1100))
    ).risk
    assert many.estimate == few.estimate
    assert many.upper > few.upper
    assert many.lower < few.lower


def test_small_area_takes_a_square_about_its_middle():
    shed = shapely.box(40, 40, 50, 50)
    risk = individual_risk(gather([piece(10, at=(0.0, 0.0))], N), crowd(shape=shed))
    assert (risk.east, risk.north) == (45.0, 45.0)
    assert risk.risk.hits == 10  # within 50 m of its middle both ways


@pytest.mark.parametrize("broken", [math.nan, math.inf])
def test_broken_landings_are_refused(broken):
    bad = piece(3)
    bad.east[0] = broken
    with pytest.raises(ValueError, match="east"):
        gather([bad], N)


def test_no_pieces_are_refused():
    with pytest.raises(ValueError, match="pieces"):
        gather([], N)


def test_case_that_happened_to_some_flights_only():
    some = np.arange(0, N, 4)
    full = piece(N, at=(50.0, 50.0))
    part = FallenPiece(0.2, *(c[some] for c in (full.east, full.north, full.energy)),
                 casualty_area=full.casualty_area[some], flight=some)  # fmt: skip
    found = expected_casualties(gather([part], N), [crowd()]).total
    assert found.estimate == pytest.approx(0.2 * 0.25 * 2.0 * 0.01)
    assert found.hits == len(some)


@pytest.mark.parametrize(
    "flight", [None, np.array([0, N]), np.array([-1, 0]), np.array([0])]
)
def test_landings_without_their_flight_are_refused(flight):
    two = np.ones(2)
    with pytest.raises(ValueError, match="flight"):
        gather([FallenPiece(1.0, two, two, two, two, flight)], N)


@pytest.mark.parametrize(("radius", "angle"), [(-1.0, 1.0), (1.0, 0.0), (1.0, 1.6), (1.0, -1.0),
                                               (math.nan, 1.0)])  # fmt: skip
def test_impossible_geometry_is_refused(radius, angle):
    with pytest.raises(ValueError, match="radius"):
        basic_casualty_area(radius, angle)


def test_what_was_thrown_sweeps_no_more_ground_than_it_came_over():
    flat = math.radians(0.001)
    assert basic_casualty_area(0.1, flat) > 1e4
    reach = 0.1 + FOOT
    least = math.pi * reach**2
    assert basic_casualty_area(0.1, flat, 5.0) == pytest.approx(least + 10.0 * reach)
    assert basic_casualty_area(0.1, 1.0, 1e3) == basic_casualty_area(0.1, 1.0)
    with pytest.raises(ValueError, match="way"):
        basic_casualty_area(0.1, 1.0, -1.0)


def test_impossible_pieces_are_refused():
    with pytest.raises(ValueError, match="projected_area"):
        casualty_area(-1.0, 1.0)


def test_each_piece_counts_in_squares_of_its_own_side():
    """A narrow fall is not thinned out by a wide square, nor a wide one known by few hits."""
    wide, narrow = piece(200, at=(40.0, 40.0)), piece(60, at=(60.0, 60.0))
    narrow = replace(narrow, side=FINE)
    both = individual_risk(gather([wide, narrow], N), crowd())
    alone = 200 / N * 2.0 / 1e4, 60 / N * 2.0 / FINE**2
    assert both.risk.estimate == pytest.approx(sum(alone))
    assert (both.east, both.north) == pytest.approx((60.0, 60.0), abs=FINE / 2)
    only = individual_risk(gather([wide], N), crowd()).risk
    assert only.estimate == pytest.approx(alone[0])
    # What comes down there rarely is known by the widest squares alone, and so is the rest.
    rare = replace(piece(), side=FINE)
    away = individual_risk(gather([wide, rare], N), crowd()).risk
    assert away.estimate == only.estimate
    assert away.upper < 1.02 * only.upper


@pytest.mark.parametrize("at", [(10.0, 10.0), (49.0, 51.0), (100.0, 0.0), (50.0, 50.0)])
def test_narrow_squares_lose_no_landing_and_reach_all_of_an_area(at):
    fine = individual_risk(gather([replace(piece(60, at=at), side=FINE)], N), crowd())
    assert fine.risk.hits == 60
    assert fine.risk.estimate == pytest.approx(60 / N * 2.0 / FINE**2)
    assert abs(fine.east - at[0]) <= FINE / 2 + 1e-9
    assert abs(fine.north - at[1]) <= FINE / 2 + 1e-9


def test_a_denser_fall_beside_a_crowd_hides_none_on_it():
    """Spots are those of the people's ground, to its very edge, whatever falls next to it."""
    rng = np.random.default_rng(5)
    beside, on = rng.normal(0.0, 10.0, (2, N)), rng.normal(0.0, 10.0, (2, N))

    def fall(at, luck, likely):
        east, north = at[0] + luck[0], at[1] + luck[1]
        return FallenPiece(likely, east, north, 100.0 * ONE, 2.0 * ONE, side=10.0)

    rare = fall((50.0, 70.0), on, 1e-3)
    often = fall((50.0, -60.0), beside, 1.0)
    alone = individual_risk(gather([rare], N), crowd()).risk
    both = individual_risk(gather([rare, often], N), crowd()).risk
    assert both.estimate == pytest.approx(alone.estimate)
    assert alone.estimate > 0.5 * 1e-3 * 2.0 / (2 * math.pi * 10.0**2)
    edge = individual_risk(gather([fall((50.0, 0.0), on, 1.0)], N), crowd())
    assert edge.risk.estimate > 0.5 * 2.0 / (2 * math.pi * 10.0**2)
