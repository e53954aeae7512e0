"""What no rule set, file or country takes away, and what a set is silent on."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
import shapely

from driftmap.core.units import FOOT, MILE_PER_HOUR
from driftmap.ground.site import read_site
from driftmap.rules.answers import Answers
from driftmap.rules.evaluate import evaluate
from driftmap.rules.facts import Facts, facts_of
from driftmap.rules.occasion import OF_THE_DRAWING
from driftmap.rules.reading import read_rules, rule_sets

ROOT = Path(__file__).parents[2]
M = {"total_impulse": 9000.0, "motor_count": 1.0, "stages": 1.0, "liftoff_mass": 20.0,
     "propellant_mass": 4.5, "motor_impulse": 9000.0, "motor_thrust": 2000.0}  # fmt: skip
MODEL = {"total_impulse": 30.0, "motor_count": 1.0, "stages": 1.0, "liftoff_mass": 0.3,
         "propellant_mass": 0.02, "motor_impulse": 30.0, "motor_thrust": 20.0}  # fmt: skip


def lines(sets, name, numbers, people=(), **said):
    groups = {"people": tuple((f"crowd {d}", d) for d in people)}
    results = evaluate(read_rules(sets), Facts(numbers, groups), Answers(said))
    return [r for r in results if r.name == name]


@pytest.mark.parametrize("sets", [[], *([name] for name in rule_sets())], ids=str)
def test_people_keep_the_published_distance_whatever_set_is_named(sets):
    near = lines(sets, "personnel_distance", M, [152.0])
    assert {r.outcome for r in near} == {"fail"}
    assert max(r.limit for r in near) == pytest.approx(500 * FOOT)
    far = lines(sets, "personnel_distance", M, [153.0])
    assert {r.outcome for r in far} == {"pass"}


def test_a_yardstick_says_that_it_is_one():
    (line,) = lines(["uk"], "personnel_distance", M, [10.0])
    assert line.yardstick
    assert "a yardstick where it is not the law" in line.why
    (line,) = lines(["us"], "personnel_distance", M, [10.0])
    assert not line.yardstick
    assert "yardstick" not in line.why


CLUB = """title = "A club that is easy on itself"
family = "us-safety-code"
[[class]]
name = "any"
source = "own"
[[rule]]
name = "personnel_distance"
text = "people"
limit = "10 ft"
[[rule]]
name = "personnel_distance"
text = "people, by leave"
limit = "20 ft"
unless_confirmed = { name = "leave", text = "they have leave" }
[[rule]]
name = "surface_wind"
text = "wind"
limit = "60 mph"
"""


def test_no_file_loosens_it(tmp_path):
    path = tmp_path / "club.toml"
    path.write_text(CLUB)
    near = lines([str(path)], "personnel_distance", M, [152.0], leave=True)
    assert "fail" in {r.outcome for r in near}
    windy = M | {"surface_wind": 21 * MILE_PER_HOUR}
    assert {r.outcome for r in lines([str(path)], "surface_wind", windy)} == {
        "pass",
        "hold",
    }


def test_a_stricter_file_is_not_told_twice(tmp_path):
    path = tmp_path / "club.toml"
    path.write_text(CLUB.replace("60 mph", "15 mph").replace("10 ft", "900 ft"))
    windy = M | {"surface_wind": 16 * MILE_PER_HOUR}
    (line,) = lines([str(path)], "surface_wind", windy)
    assert (line.outcome, line.yardstick) == ("fail", False)
    near = lines([str(path)], "personnel_distance", M, [200.0], leave=True)
    assert "fail" in {r.outcome for r in near}


def test_beyond_the_end_of_the_table_nothing_flies():
    numbers = M | {"total_impulse": 41_000.0}
    (line,) = lines(["uk"], "personnel_distance", numbers, [5000.0])
    assert line.outcome == "fail"


@pytest.mark.parametrize("gone", ["total_impulse", "motor_count", "stages"])
def test_what_the_table_needs_is_asked(gone):
    numbers = {k: v for k, v in M.items() if k != gone}
    (line,) = lines(["uk"], "personnel_distance", numbers, [5000.0])
    assert (line.outcome, line.answer) == ("ask", (gone,))


def test_what_is_too_near_for_any_rocket_fails_whatever_is_not_known():
    """150 ft is less than the 500 ft of one M motor, and of two all the more."""
    numbers = {k: v for k, v in M.items() if k not in {"motor_count", "stages"}}
    (line,) = lines(["uk"], "personnel_distance", numbers, [45.0])
    assert (line.outcome, line.answer) == ("fail", ())
    # Between the columns it hangs on what is not known.
    (line,) = lines(["uk"], "personnel_distance", numbers, [200.0])
    assert (line.outcome, line.answer) == ("ask", ("motor_count", "stages"))
    # Of two motors, however many stages, it is surely the farther one.
    (line,) = lines(
        ["uk"], "personnel_distance", numbers | {"motor_count": 2.0}, [200.0]
    )
    assert (line.outcome, line.answer) == ("fail", ())
    near = {"property_separation": 450.0, "people_separation": 450.0}
    for name, distance in near.items():
        groups = dict.fromkeys(("people", "outsiders"), (("it", distance),))
        facts = Facts({"total_impulse": 400.0, "liftoff_mass": 2.0,
                       "propellant_mass": 0.2}, groups)  # fmt: skip
        said = Answers(
            {"nearby_property_is_ours": False, "people_are_of_the_launch": False}
        )
        found = evaluate(read_rules(["us-faa-101"]), facts, said)
        assert {r.outcome for r in found if r.name == name} == {"fail"}


@pytest.mark.parametrize("more", [{"motor_count": 2.0}, {"stages": 2.0}])
def test_several_motors_or_stages_take_the_complex_column(more):
    (line,) = lines(["uk"], "personnel_distance", M | more, [200.0])
    assert line.limit == pytest.approx(1000 * FOOT)
    assert line.outcome == "fail"


def test_a_model_is_held_to_the_model_code_alone():
    said = {"no_sparks": True}
    (line,) = lines(["uk"], "personnel_distance", MODEL, [10.0], **said)
    assert line.outcome == "pass"
    tilted = MODEL | {"rail_tilt": 0.436}  # 25°
    (line,) = lines(["us"], "rail_tilt", tilted, **said)
    assert line.outcome == "pass"
    (line,) = lines(["us"], "rail_tilt", tilted | {"liftoff_mass": 2.0}, **said)
    assert line.outcome == "fail"


@pytest.mark.parametrize(
    "change",
    [{"motor_impulse": 161.0, "total_impulse": 161.0}, {"motor_thrust": 81.0},
     {"propellant_mass": 0.126}, {"liftoff_mass": 1.51}],
)  # fmt: skip
def test_what_is_no_model_is_high_power(change):
    (line,) = lines(
        ["us"], "personnel_distance", MODEL | change, [25.0], no_sparks=True
    )
    assert line.limit == pytest.approx(100 * FOOT)


@pytest.mark.parametrize("sets", [["uk"], ["us"], ["germany"]], ids=str)
@pytest.mark.parametrize(
    ("away", "said", "outcome"),
    [
        (20.0, {}, "ask"),  # a model rocket's 30 ft are kept, the other's 100 are not
        (20.0, {"no_sparks": False}, "fail"),
        (20.0, {"no_sparks": True}, "pass"),
        (5.0, {}, "fail"),  # whatever is answered
        (40.0, {}, "pass"),
    ],
)
def test_what_an_answer_about_sparks_would_settle_is_asked(sets, away, said, outcome):
    (line,) = lines(sets, "personnel_distance", MODEL, [away], **said)
    assert line.outcome == outcome
    assert line.answer == (("no_sparks",) if outcome == "ask" else ())


@pytest.mark.parametrize("sets", [["uk"], ["us"]], ids=str)
@pytest.mark.parametrize(
    ("change", "said", "outcome"),
    [
        ({}, {}, "ask"),  # twelve models: 1.5 times 300 m; of others 400 ft
        ({}, {"no_sparks": True}, "fail"),
        ({}, {"no_sparks": False}, "pass"),
        ({"propellant_mass": None}, {"no_sparks": True}, "fail"),  # perhaps a model
    ],
)
def test_a_salvo_keeps_the_distance_of_what_the_rockets_may_be(
    sets, change, said, outcome
):
    told = MODEL | {"rockets_together": 12.0, "expected_altitude": 300.0}
    told |= {"salvo_impulse": 360.0} | change
    numbers = {key: value for key, value in told.items() if value is not None}
    found = lines(sets, "drag_race_distance", numbers, [400.0], **said)
    order = ("pass", "ask", "hold", "fail")
    assert max((r.outcome for r in found), key=order.index) == outcome


def test_a_law_that_leave_excuses_speaks_for_no_yardstick(tmp_path):
    """Perhaps a model, of which more is asked: a club's own distance may not count at all."""
    path = tmp_path / "club.toml"
    rule = 'name = "drag_race_distance"\ntext = "people"\nlimit = "3000 ft"\n'
    leave = 'unless_confirmed = { name = "leave", text = "they have leave" }\n'
    path.write_text(f'title = "Club"\n[[rule]]\n{rule}{leave}')
    told = MODEL | {"rockets_together": 12.0, "expected_altitude": 300.0}
    numbers = {k: v for k, v in told.items() if k != "propellant_mass"}
    numbers["salvo_impulse"] = 360.0
    said = {"no_sparks": True, "leave": True}
    found = lines([str(path)], "drag_race_distance", numbers, [400.0], **said)
    assert "fail" in {r.outcome for r in found}


def test_sparks_not_denied_make_it_high_power_and_say_so():
    (line,) = lines(["us"], "personnel_distance", MODEL, [25.0])
    assert line.outcome == "ask"
    told = [r for r in lines(["us"], "class", MODEL) if "no_sparks" in r.answer]
    assert 'no_sparks = "yes"' in told[0].why


def test_several_motors_may_be_unequal():
    two = {k: v for k, v in MODEL.items() if not k.startswith("motor_")}
    two |= {"motor_count": 2.0, "total_impulse": 300.0}
    groups = {"people": (("crowd", 25.0),)}

    def outcome(**ranges):
        facts = Facts(two, groups, ranges)
        said = Answers({"no_sparks": True})
        return next(r for r in evaluate(read_rules(["us"]), facts, said)
                    if r.name == "personnel_distance").outcome  # fmt: skip

    unsure = {"motor_impulse": (150.0, 300.0), "motor_thrust": (30.0, 60.0)}
    assert outcome(**unsure) == "fail"
    assert outcome(**unsure | {"motor_impulse": (75.0, 150.0)}) == "pass"


@pytest.mark.parametrize("name", [*rule_sets(), "none"])
def test_whether_the_drawing_leaves_ground_out_is_asked_by_whatever_set(name):
    """A power line that nobody drew is the milder site: no other check speaks of it."""
    sets = [] if name == "none" else read_rules([name])
    (line,) = [r for r in evaluate(sets, Facts()) if r.name == "drawn_whole"]
    assert (line.outcome, line.answer) == ("ask", ("drawn_whole",))
    (told,) = [
        r
        for r in evaluate(sets, Facts(), Answers({"drawn_whole": False}))
        if r.name == "drawn_whole"
    ]
    assert told.outcome in {"fail", "hold"}
    assert "drawn_whole" in OF_THE_DRAWING  # drawn anew, it is asked again


def test_stages_that_are_not_flown_hold():
    (line,) = lines(["us"], "stages", M | {"stages": 2.0})
    assert line.outcome == "hold"
    assert lines(["us"], "stages", M) == []


@pytest.mark.parametrize(("stages", "holds"), [(2.0, 0), (3.0, 1)])
def test_two_stages_flown_to_the_ground_do_not_hold_for_it(stages, holds):
    facts = Facts(M | {"stages": stages}, stages_flown=2)
    results = evaluate(read_rules(["us"]), facts, Answers({}))
    assert sum(r.name == "stages" for r in results) == holds


def test_a_set_that_leaves_things_out_asks_for_the_local_code():
    (line,) = lines(["uk"], "local_code_read", M)
    assert line.outcome == "ask"
    assert "people's distance from the pad" in line.what
    (line,) = lines(["uk"], "local_code_read", M, local_code_read=True)
    assert line.outcome == "pass"
    assert lines(["us"], "local_code_read", M) == []
    (line,) = lines(["us-high-power"], "local_code_read", M)
    assert "airspace, cloud and visibility" in line.what
    assert "wind" not in line.what
    (line,) = lines(["us-faa-101"], "local_code_read", M)
    assert "people's distance" in line.what
    assert "airspace" not in line.what


@pytest.fixture
def site(tmp_path):
    """Write the invented site again with one more feature beside the pad."""
    content = json.loads((ROOT / "sites" / "saltgrass-flat.geojson").read_text("utf-8"))
    pad = content["features"][0]["geometry"]["coordinates"]

    def built(**properties):
        ring = {"type": "Point", "coordinates": [pad[0] + 3e-4, pad[1]]}
        if properties["role"] in {"road", "railway"}:
            ring = {"type": "LineString", "coordinates": [
                [pad[0] + 3e-4, pad[1]], [pad[0] + 3e-4, pad[1] + 1e-3]]}  # fmt: skip
            properties["width"] = "6 m"
        else:
            properties["radius"] = "5 m"
        feature = {"type": "Feature", "properties": properties, "geometry": ring}
        whole = content | {"features": [*content["features"], feature]}
        path = tmp_path / "site.geojson"
        path.write_text(json.dumps(whole))
        return read_site(path)

    return built


@pytest.mark.parametrize(
    ("properties", "counts"),
    [({"role": "closed ground", "people": 200}, True),
     ({"role": "road", "people": 2}, True),
     ({"role": "camp"}, True),
     ({"role": "building"}, True),
     ({"role": "building", "people": 0}, False),
     ({"role": "road"}, False)],
)  # fmt: skip
def test_everyone_counts_wherever_drawn(site, properties, counts, willet):
    facts = facts_of(willet, site(name="here", **properties))
    assert ("here" in dict(facts.groups["people"])) == counts
    if properties["role"] == "building":
        assert ("here" in dict(facts.groups["buildings"])) == counts


@pytest.mark.parametrize(
    ("people", "size", "asked"),
    [
        *((8, 7900.0, 0), (8, 8100.0, 1), (1, 4900.0, 0), (1, 5100.0, 1)),
        *((100, 25.5, 0), (100, 24.5, 1)),  # four on a square metre
    ],
)
def test_how_much_ground_a_crowd_stands_on_before_it_is_asked_about(
    people, size, asked, willet
):
    ground = read_site(ROOT / "sites" / "saltgrass-flat.geojson")
    like = next(a for a in ground.areas if a.role == "spectators")
    shape = shapely.box(60.0, -300.0, 60.0 + size**0.5, -300.0 + size**0.5)
    own = replace(like, people=people, shape=shape)
    facts = facts_of(willet, replace(ground, areas=(own,)))
    assert facts.numbers["drawn_astray"] == asked


@pytest.mark.parametrize(("off", "asked"), [(480.0, 0), (520.0, 1)])
def test_how_far_off_the_land_people_stand_before_they_are_asked_about(
    off, asked, willet
):
    ground = read_site(ROOT / "sites" / "saltgrass-flat.geojson")
    ground = replace(ground, boundary=shapely.box(-900.0, -900.0, 900.0, 900.0))
    like = next(a for a in ground.areas if a.role == "spectators")
    own = replace(
        like, people=50, shape=shapely.box(895.0 + off, 0.0, 900.0 + off, 50.0)
    )
    facts = facts_of(willet, replace(ground, areas=(own,)))
    assert facts.numbers["drawn_astray"] == asked


@pytest.mark.parametrize("what", ["boundary", "waiver"])
@pytest.mark.parametrize(
    ("corner", "asked"),
    [((-600.0, 1500.0), 0), ((-8900.0, 1500.0), 1), ((-650.0, 1500.0), 0)],
)
def test_a_corner_of_land_or_waiver_that_slipped_outward_is_asked_about(
    what, corner, asked, willet
):
    """A tenth of a degree of longitude makes land where there is none."""
    ground = replace(read_site(ROOT / "sites" / "saltgrass-flat.geojson"), areas=())
    others = [(1500.0, 1500.0), (1500.0, -1500.0), (-600.0, -1500.0)]
    shape = shapely.Polygon([corner, *others])
    told = shape if what == "boundary" else replace(ground.waiver, shape=shape)
    facts = facts_of(willet, replace(ground, **{what: told}))
    assert facts.numbers["drawn_astray"] == asked


@pytest.mark.parametrize(
    ("role", "people", "corner", "asked"),
    [
        ("spectators", 120, None, 0),
        ("spectators", 120, (9000.0, -300.0), 1),  # a tenth of a degree
        ("spectators", 6, (900.0, -600.0), 1),  # on the land: wide for few
        ("spectators", 5000, (900.0, -600.0), 0),
        ("spectators", 15_000, None, 1),  # four on each square metre
        ("camp", None, (9000.0, -300.0), 1),
        ("road", None, (9000.0, -300.0), 0),  # roads lead away
        ("spectators", 0, (900.0, -600.0), 0),
    ],
)
def test_one_corner_that_slipped_is_asked_about(role, people, corner, asked, willet):
    """It thins out all who stand there, though the rest of them lies on the land."""
    ground = read_site(ROOT / "sites" / "saltgrass-flat.geojson")
    place = [(60.0, -300.0), (60.0, -360.0), (120.0, -360.0)]
    shape = shapely.Polygon([*place, corner or (120.0, -300.0)])
    like = next(a for a in ground.areas if a.role == "spectators")
    own = replace(like, role=role, people=people, shape=shape)
    facts = facts_of(willet, replace(ground, areas=(own,)))
    assert facts.numbers["drawn_astray"] == asked
