"""Rule sets against the values that their sources print, at and just beyond each edge.

Sources
-------
- 14 CFR Part 101 Subpart C (73 FR 73781, amended 74 FR 31843): 101.22, 101.25, 101.27;
  read in copies of the eCFR.
- NFPA 1127-2018, table 4.16.3, and the national high power safety code of August 2012:
  personnel distances read in a secondary copy; cleared diameters, wind, rail and site
  dimension from memory. NFPA 1127-2018, TIA 18-1 for rockets launched together.
- NFPA 1122-2018 and the model rocket safety code: rail and site dimension, read in copies.
- Air Navigation Order (UK), article 96: thresholds read at caa.co.uk and in ANO 2005.
- Canadian site dimensions: canadianrocketry.org, hpr_safety_code.php.

Limits are compared exactly: a length in feet is exact in metres.
"""

import math

import pytest

from driftmap.core.units import FOOT, KNOT, MILE_PER_HOUR
from driftmap.rules.answers import Answers
from driftmap.rules.applicability import demands_of, governing_sets
from driftmap.rules.evaluate import evaluate
from driftmap.rules.facts import Facts, of_each_motor
from driftmap.rules.reading import read_rules
from driftmap.rules.vocabulary import motor_class

NEAR = (("crowd", 0.0),)  # so near that every distance is broken and its limit shown


def judged(rules, name, numbers, groups=(), **confirmed):
    """Evaluate one set and give the lines of one rule."""
    facts = of_each_motor(Facts({"stages": 1.0} | numbers, dict(groups)))
    results = evaluate(read_rules([rules]), facts, Answers(confirmed))
    return [line for line in results if line.name == name]


def asked(rules, name, numbers):
    """Give the limit [m] that one set asks for by itself, without the floor below all."""
    facts = of_each_motor(Facts({"stages": 1.0} | numbers))
    ((only, fit),) = governing_sets(read_rules([rules]), facts, Answers())
    demands = [d for d in demands_of(only, fit, facts) if d.rule.name == name]
    return max(d.limit for d in demands)


def outcome(rules, name, numbers, groups=(), **confirmed):
    (line,) = judged(rules, name, numbers, groups, **confirmed)
    return line.outcome


def airports_told(rules, numbers, groups, **confirmed):
    """Give the outcomes of distance from airports: others are asked of beside one far off."""
    lines = judged(rules, "airport_distance", numbers, groups, **confirmed)
    return sorted(line.outcome for line in lines)


CLASS_2 = {"total_impulse": 400.0, "liftoff_mass": 2.0, "propellant_mass": 0.2}
MODEL = {"liftoff_mass": 0.2, "propellant_mass": 0.02, "motor_impulse": 30.0,
         "motor_thrust": 10.0, "motor_count": 1.0, "stages": 1.0}  # fmt: skip


@pytest.mark.parametrize(
    ("altitude_ft", "separation_ft"), [(4000, 1500), (8000, 2000), (6000, 1500)]
)
@pytest.mark.parametrize(
    ("name", "group"),
    [("property_separation", "outsiders"), ("people_separation", "people")],
)
def test_c11_to_c13_separation_is_a_quarter_of_the_altitude_or_1500_ft(
    altitude_ft, separation_ft, name, group
):
    numbers = CLASS_2 | {"expected_altitude": altitude_ft * FOOT}
    (line,) = judged("us-faa-101", name, numbers, {group: NEAR})
    assert line.limit == pytest.approx(separation_ft * FOOT, rel=1e-12)
    assert line.sense == "at least"


@pytest.mark.parametrize(
    ("impulse", "name"),
    [
        (40_960.0, "Class 2, high-power rocket"),
        (40_960.01, "Class 3, advanced high-power rocket"),
        (889_600.0, "Class 3, advanced high-power rocket"),
    ],
)
def test_c16_class_by_total_impulse(impulse, name):
    numbers = CLASS_2 | {"total_impulse": impulse}
    (line,) = judged("us-faa-101", "class", numbers)
    assert line.what == f"class of rocket: {name}"
    assert line.outcome == "pass"


def test_c16_beyond_the_amateur_bound_no_class_fits():
    numbers = CLASS_2 | {"total_impulse": 889_600.01}
    assert outcome("us-faa-101", "class", numbers) == "fail"


@pytest.mark.parametrize(
    ("propellant", "mass", "confirmed", "number"),
    [
        (0.125, 1.5, True, 1),
        (0.1251, 1.5, True, 2),
        (0.125, 1.501, True, 2),
        (
            0.125,
            1.5,
            False,
            2,
        ),  # paper, wood or plastic: not confirmed is not satisfied
    ],
)
def test_class_1_by_propellant_mass_and_materials(propellant, mass, confirmed, number):
    numbers = {
        "total_impulse": 100.0,
        "liftoff_mass": mass,
        "propellant_mass": propellant,
    }
    said = {"light_materials": True} if confirmed else {}
    (line,) = judged("us-faa-101", "class", numbers, **said)
    assert line.what.startswith(f"class of rocket: Class {number},")


@pytest.mark.parametrize(
    ("metres", "kept"), [(9259.0, False), (9260.0, True), (9261.0, True)]
)
def test_c17_airport_within_5_nautical_miles(metres, kept):
    groups = {"airports": (("strip", metres),)}
    found = airports_told("us-faa-101", CLASS_2, groups)
    assert found == (["ask", "pass"] if kept else ["ask"])
    told = {"no_airport_near": kept, "airport_authorization": False}
    found = airports_told("us-faa-101", CLASS_2, groups, **told)
    assert found == (["pass", "pass"] if kept else ["fail"])


@pytest.mark.parametrize(
    ("hours", "late", "early"),
    [(72, False, False), (23.9, True, False), (73, False, True)],
)
def test_c18_notice_between_24_and_72_hours_ahead(hours, late, early):
    numbers = CLASS_2 | {"notice": hours * 3600.0}
    for name, broken in (("notice_at_least", late), ("notice_at_most", early)):
        assert outcome("us-faa-101", name, numbers) == ("fail" if broken else "pass")


@pytest.mark.parametrize(("tenths", "expected"), [(5, "pass"), (6, "fail")])
def test_c18_more_than_five_tenths_of_cloud(tenths, expected):
    numbers = CLASS_2 | {"cloud_cover": tenths / 10}
    assert outcome("us-faa-101", "cloud_cover", numbers) == expected


@pytest.mark.parametrize(("miles", "expected"), [(5.0, "pass"), (4.99, "fail")])
def test_visibility_of_five_miles(miles, expected):
    numbers = CLASS_2 | {"visibility": miles * 1609.344}
    assert outcome("us-faa-101", "visibility", numbers) == expected


@pytest.mark.parametrize(
    ("impulse", "motors", "cleared_ft", "distance_ft"),
    [
        (320.0, 1, 50, 100),
        (640.0, 1, 50, 100),
        (640.0, 2, 50, 200),
        (640.01, 1, 50, 100),
        (1280.0, 2, 50, 200),
        (1280.01, 1, 75, 200),
        (1280.01, 2, 75, 300),
        (2560.01, 1, 100, 300),
        (2560.01, 2, 100, 500),
        (5120.01, 1, 125, 500),
        (9000.0, 2, 125, 1000),
        (10240.01, 1, 125, 1000),
        (10240.01, 3, 125, 1500),
        (20480.01, 1, 125, 1500),
        (40960.0, 2, 125, 2000),
    ],
)
def test_c21_c22_high_power_distances_by_impulse(
    impulse, motors, cleared_ft, distance_ft
):
    numbers = {"total_impulse": impulse, "motor_count": motors, "cleared_diameter": 1.0,
               "boundary_distance": 1.0}  # fmt: skip
    for name, feet in (
        ("personnel_distance", distance_ft),
        ("boundary_distance", distance_ft),
        ("cleared_diameter", cleared_ft),
    ):
        line, *sparks = judged("us-high-power", name, numbers, {"people": NEAR})
        assert line.limit == pytest.approx(feet * FOOT, rel=1e-12)
        assert line.outcome == "fail"
        # Half as far again with titanium sponge (code, item 7).
        assert [s.limit for s in sparks] == [
            pytest.approx(1.5 * cleared_ft * FOOT, rel=1e-12)
        ] * (name == "cleared_diameter")


def test_c21_beyond_the_table_nothing_is_allowed():
    numbers = {"total_impulse": 40_960.01, "motor_count": 1}
    (line,) = judged("us-high-power", "personnel_distance", numbers, {"people": NEAR})
    assert line.outcome == "fail"
    assert line.limit is None


@pytest.mark.parametrize(("ceiling_ft", "side_ft"), [(10_000, 5000), (2500, 1500)])
def test_c24_site_dimension_is_half_the_ceiling_or_1500_ft(ceiling_ft, side_ft):
    numbers = {"waiver_ceiling": ceiling_ft * FOOT, "site_dimension": 1.0,
               "total_impulse": 500.0}  # fmt: skip
    (line,) = judged("us-high-power", "site_dimension", numbers)
    assert line.limit == pytest.approx(side_ft * FOOT, rel=1e-12)


def test_small_low_flight_needs_1000_ft_only():
    small = {"total_impulse": 159.0, "liftoff_mass": 1.4, "expected_altitude": 600.0,
             "waiver_ceiling": 3000.0, "site_dimension": 310.0}  # fmt: skip
    (line,) = judged("us-high-power", "site_dimension", small)
    assert line.limit == pytest.approx(1000 * FOOT)
    (line,) = judged("us-high-power", "site_dimension", small | {"liftoff_mass": 1.5})
    assert line.limit == pytest.approx(1500.0)


@pytest.mark.parametrize(
    ("speed", "expected"),
    [
        (20.0 * MILE_PER_HOUR, "pass"),
        (20.1 * MILE_PER_HOUR, "fail"),
        (9.0, "fail"),  # 20.13 mph
        (17.0 * KNOT, "pass"),  # 19.56 mph
        (18.0 * KNOT, "fail"),
    ],
)
def test_c25_surface_wind(speed, expected):
    assert outcome("us-high-power", "surface_wind", {"surface_wind": speed}) == expected


@pytest.mark.parametrize(
    ("rules", "degrees", "expected"),
    [
        ("us-high-power", 20.0, "pass"),
        ("us-high-power", 21.0, "fail"),
        ("us-model", 30.0, "pass"),
        ("us-model", 31.0, "fail"),
    ],
)
def test_c26_rail(rules, degrees, expected):
    numbers = MODEL | {"rail_tilt": math.radians(degrees), "total_impulse": 30.0}
    (line,) = judged(rules, "rail_tilt", numbers, no_sparks=rules == "us-model")
    assert (line.outcome, line.unit) == (expected, "deg")
    assert line.value == pytest.approx(degrees)


def test_c27_three_class_k_rockets_together():
    numbers = {"total_impulse": 2000.0, "motor_count": 1.0, "rockets_together": 3.0,
               "expected_altitude": 1000 * FOOT}  # fmt: skip
    (line,) = judged("us-high-power", "drag_race_distance", numbers, {"people": NEAR})
    # Twice one K is 600 ft; 6,000 N s together is an M, 1,000 ft: the larger of both.
    assert line.limit == pytest.approx(1000 * FOOT)
    low = numbers | {"expected_altitude": 200 * FOOT}
    (line,) = judged("us-high-power", "drag_race_distance", low, {"people": NEAR})
    assert line.limit == pytest.approx(300 * FOOT)
    large = numbers | {"total_impulse": 15_000.0, "expected_altitude": 5000.0}
    one, sum_ = judged("us-high-power", "drag_race_distance", large, {"people": NEAR})
    assert one.limit == pytest.approx(2000 * FOOT)
    assert (sum_.limit, sum_.outcome) == (None, "fail")  # 45,000 N s: no row
    two = numbers | {"rockets_together": 2.0}
    assert judged("us-high-power", "drag_race_distance", two, {"people": NEAR}) == []


@pytest.mark.parametrize(
    ("impulse", "letter"),
    [(0.625, "1/4A"), (1.25, "1/2A"), (2.5, "A"), (2.51, "B"), (160.0, "G"), (160.01, "H"),
     (320.0, "H"), (640.0, "I"), (640.01, "J"), (2560.0, "K"), (5120.01, "M"),
     (40_960.0, "O")],
)  # fmt: skip
def test_c28_letter_of_an_impulse(impulse, letter):
    assert motor_class(impulse) == letter


@pytest.mark.parametrize("impulse", [0.0, -1.0, 40_960.01, math.nan])
def test_impulse_without_a_letter_is_refused(impulse):
    with pytest.raises(ValueError, match="total_impulse"):
        motor_class(impulse)


@pytest.mark.parametrize(
    ("impulse", "side_ft"),
    [(1.25, 50), (1.26, 100), (2.51, 200), (5.01, 400), (10.01, 500), (20.01, 1000),
     (160.0, 1000), (160.01, 1500), (320.0, 1500)],
)  # fmt: skip
def test_model_site_dimension(impulse, side_ft):
    numbers = MODEL | {
        "total_impulse": impulse,
        "motor_count": 3.0,
        "site_dimension": 1.0,
    }
    (line,) = judged("us-model", "site_dimension", numbers, no_sparks=True)
    assert line.limit == pytest.approx(side_ft * FOOT)


@pytest.mark.parametrize(
    ("change", "fits"),
    [
        ({}, True),
        ({"total_impulse": 320.01}, False),
        ({"liftoff_mass": 1.501}, False),
        ({"propellant_mass": 0.126}, False),
        ({"motor_impulse": 160.01}, False),
        ({"motor_thrust": 80.01}, False),
    ],
)
def test_model_limits(change, fits):
    numbers = {"total_impulse": 320.0, "liftoff_mass": 1.5, "propellant_mass": 0.125,
               "motor_impulse": 160.0, "motor_thrust": 80.0} | change  # fmt: skip
    assert outcome("us-model", "class", numbers, no_sparks=True) == (
        "pass" if fits else "fail"
    )
    assert outcome("us-model", "class", numbers, no_sparks=False) == "fail"
    assert outcome("us-model", "class", numbers) == ("ask" if fits else "fail")


def test_lift_off_weight_is_a_third_of_the_average_thrust():
    numbers = {"average_thrust": 300.0, "liftoff_weight": 100.0}
    assert outcome("us-high-power", "liftoff_weight", numbers) == "pass"
    numbers["liftoff_weight"] = 100.1
    assert outcome("us-high-power", "liftoff_weight", numbers) == "fail"


@pytest.mark.parametrize(
    ("impulse", "name", "asks"),
    [
        (160.0, "rocket below the small-rocket rules", set[str]()),
        (161.0, "small rocket", {"clear_airspace", "uk_controlled_airspace"}),
        (10_240.0, "small rocket", {"clear_airspace", "uk_controlled_airspace"}),
        (
            10_241.0,
            "large rocket",
            {"clear_airspace", "uk_controlled_airspace", "large_rocket_permission"},
        ),
    ],
)
def test_c31_united_kingdom(impulse, name, asks):
    facts = Facts({"total_impulse": impulse, "expected_altitude": 1000.0})
    results = evaluate(read_rules(["uk"]), facts)
    assert results[0].what == f"class of rocket: {name}"
    law = {r.name for r in results if r.outcome == "ask" and not r.yardstick}
    everywhere = {rule.name for rule in read_rules(["range"])[0].rules}
    assert law == asks | everywhere | {"local_code_read"}


@pytest.mark.parametrize(
    ("altitude_ft", "metres"),
    [(5500, 1000.0), (3000, 500.0), (3001, 1000.0), (10_000, 2000.0), (12_000, 3000.0)],
)
def test_c32_canada(altitude_ft, metres):
    numbers = CLASS_2 | {"expected_altitude": altitude_ft * FOOT, "site_dimension": 1.0}
    (line,) = judged("canada", "site_dimension", numbers)
    assert line.limit == pytest.approx(metres)


def test_c32_canada_case_by_case_is_never_satisfied_by_silence():
    numbers = CLASS_2 | {"expected_altitude": 12_001 * FOOT, "site_dimension": 1e5}
    assert outcome("canada", "site_dimension", numbers) == "ask"
    assert outcome("canada", "site_dimension", numbers, site_agreed=True) == "pass"
    assert outcome("canada", "site_dimension", numbers, site_agreed=False) == "fail"


@pytest.mark.parametrize(
    ("impulse", "motors", "feet"),
    [(320.0, 1, 30), (320.01, 1, 150), (320.0, 2, 150), (10_241.0, 1, 1000)],
)
def test_california_uses_the_next_row_for_clusters(impulse, motors, feet):
    numbers = {"total_impulse": impulse, "motor_count": motors}
    limit = asked("us-california", "personnel_distance", numbers)
    assert limit == pytest.approx(feet * FOOT)


@pytest.mark.parametrize(
    ("impulse", "feet"), [(320.0, 1500), (640.0, 2500), (5121.0, 10_000)]
)
def test_california_site_dimension_by_impulse(impulse, feet):
    numbers = {"total_impulse": impulse, "site_dimension": 1.0}
    (line,) = judged("us-california-sites", "site_dimension", numbers)
    assert line.limit == pytest.approx(feet * FOOT)


def test_australia_400_ft_in_controlled_airspace():
    numbers = MODEL | {"total_impulse": 100.0, "liftoff_mass": 0.6,
                       "motor_propellant": 0.02, "expected_altitude": 401 * FOOT}  # fmt: skip
    assert outcome("australia", "expected_altitude", numbers) == "ask"
    numbers["expected_altitude"] = 400 * FOOT
    assert outcome("australia", "expected_altitude", numbers) == "pass"
    assert outcome("australia", "approved_area", CLASS_2) == "ask"
    assert judged("australia", "approved_area", numbers) == []


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({}, "small model rocket"),
        ({"propellant_mass": 0.026}, "small model rocket"),  # and at most 20 N s
        ({"total_impulse": 21.0}, "small model rocket"),  # and at most 25 g
        ({"propellant_mass": 0.026, "total_impulse": 21.0}, "model rocket"),
        ({"liftoff_mass": 0.5}, "model rocket"),
        ({"liftoff_mass": 1.6}, "other rocket"),
        ({"liftoff_mass": 1.0, "motor_propellant": 0.063}, "other rocket"),
        ({"liftoff_mass": 1.0, "motor_impulse": 161.0}, "other rocket"),
    ],
)
def test_australia_classes(change, name):
    numbers = MODEL | {"liftoff_mass": 0.499, "propellant_mass": 0.025,
                       "total_impulse": 20.0, "motor_propellant": 0.025}  # fmt: skip
    (line,) = judged("australia", "class", numbers | change)[:1]
    assert line.what == f"class of rocket: {name}"


@pytest.mark.parametrize(
    ("rules", "change", "asks"),
    [
        ("germany", {"propellant_mass": 0.020}, False),
        ("germany", {"propellant_mass": 0.0201}, True),
        ("new-zealand", {"liftoff_mass": 1.5, "total_impulse": 320.0}, False),
        ("new-zealand", {"liftoff_mass": 1.51}, True),
        ("new-zealand", {"total_impulse": 320.1}, True),
        ("switzerland", {}, True),
    ],
)
def test_larger_rockets_need_leave(rules, change, asks):
    of = {"switzerland": "swiss_", "new-zealand": "nz_"}.get(rules, "")
    lines = judged(
        rules, f"{of}airspace_leave", MODEL | {"total_impulse": 10.0} | change
    )
    assert [line.outcome for line in lines] == ["ask"] * asks


def test_switzerland_lets_models_fly_when_the_law_counts_them_so():
    said = {"swiss_model_rocket": True}
    assert judged("switzerland", "swiss_airspace_leave", MODEL, **said) == []


@pytest.mark.parametrize(("metres", "kept"), [(1499.0, False), (1500.0, True)])
def test_germany_aerodromes_at_1500_m(metres, kept):
    groups = {"airports": (("strip", metres),)}
    found = airports_told("germany", MODEL, groups)
    assert found == (["ask", "pass"] if kept else ["ask"])


@pytest.mark.parametrize(
    ("impulse", "level"),
    [(640.0, 1), (640.1, 2), (5120.0, 2), (5120.1, 3), (40_960.0, 3)],
)
def test_certification_level_by_impulse(impulse, level):
    for held in (1.0, 2.0, 3.0):
        numbers = CLASS_2 | {"total_impulse": impulse, "certification_level": held}
        found = outcome("us-high-power", "certification_level", numbers)
        assert found == ("pass" if held >= level else "fail")


@pytest.mark.parametrize("rules", ["us-faa-101", "us-california"])
@pytest.mark.parametrize(("degrees", "kept"), [(0.1, True), (-0.1, False)])
def test_daylight_is_worked_out_where_the_time_is_known(rules, degrees, kept):
    numbers = CLASS_2 | {"sun_height": math.radians(degrees), "motor_impulse": 400.0}
    night = "ask" if rules == "us-faa-101" else "fail"
    assert outcome(rules, "sun_height", numbers) == ("pass" if kept else night)
    bare = CLASS_2 | {"motor_impulse": 400.0}
    assert outcome(rules, "sun_height", bare) == "ask"
    assert outcome(rules, "sun_height", bare, daylight=True) == "pass"


@pytest.mark.parametrize(
    ("name", "value", "expected"),
    [("total_impulse", 20_480.0, "pass"), ("total_impulse", 20_481.0, "fail"),
     ("motor_impulse", 10_240.0, "pass"), ("motor_impulse", 10_241.0, "fail")],
)  # fmt: skip
def test_california_largest_motors(name, value, expected):
    numbers = (
        CLASS_2 | {"total_impulse": 10_000.0, "motor_impulse": 10_000.0} | {name: value}
    )
    assert outcome("us-california", name, numbers) == expected


@pytest.mark.parametrize("rules", ["us-high-power", "us-model"])
def test_a_rocket_comes_down_on_something(rules):
    numbers = MODEL | {"total_impulse": 30.0, "recovery_devices": 0.0}
    assert outcome(rules, "recovery_devices", numbers, no_sparks=True) == "ask"
    numbers["recovery_devices"] = 1.0
    assert outcome(rules, "recovery_devices", numbers, no_sparks=True) == "pass"
