"""Rule files: what comes with the package is whole, and what is wrong is refused by row."""

import tomllib
from pathlib import Path

import pytest

import driftmap.rules
from driftmap.core.errors import InputError
from driftmap.rules.answers import Answers, check_answers
from driftmap.rules.evaluate import evaluate
from driftmap.rules.facts import Facts, with_answers
from driftmap.rules.reading import read_rules, rule_sets
from driftmap.rules.vocabulary import FACTS, RULE_KINDS

FILES = sorted(Path(driftmap.rules.__file__).parent.glob("*.toml"))
ROW = """
[[rule]]
name = "surface_wind"
text = "club's wind limit"
limit = "15 mph"
"""


def club(tmp_path, text, name="club.toml"):
    path = tmp_path / name
    path.write_text('title = "Copper Heron Rocket Club"\n' + text, encoding="utf-8")
    return path


def refused(tmp_path, text):
    path = club(tmp_path, text)
    with pytest.raises(InputError) as caught:
        read_rules([str(path)])
    message = str(caught.value)
    assert message.startswith(str(path))
    assert "\n" not in message
    return message


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_row_that_comes_along_names_its_source(path):
    content = tomllib.loads(path.read_text(encoding="utf-8"))
    assert content.get("extends") or "govern" in content["governs"]
    for row in content.get("rule", ()):
        for key in ("source", "edition", "from_memory"):
            assert key in row, f"{row['name']} lacks {key}"
    for row in content.get("class", ()):
        assert row["source"]


@pytest.mark.parametrize("name", rule_sets())
def test_every_set_reads_and_answers_nothing_with_a_pass(name):
    """Knowing nothing of a flight, no rule may be kept."""
    results = evaluate(read_rules([name]), Facts())
    assert results
    # A class that takes any other rocket may fit; no rule may pass.
    assert {r.outcome for r in results if r.name != "class"} <= {"ask"}


def test_no_rules_at_all_is_asked_not_passed():
    (line,) = [r for r in evaluate((), Facts()) if not r.yardstick]
    assert (line.name, line.outcome) == ("rules", "ask")


def test_us_takes_the_model_code_for_models_and_the_high_power_code_else():
    sets = read_rules(["us"])
    small = {"total_impulse": 100.0, "liftoff_mass": 1.0, "propellant_mass": 0.1,
             "motor_impulse": 100.0, "motor_thrust": 50.0}  # fmt: skip
    said = Answers({"no_sparks": True})
    model = {r.rules for r in evaluate(sets, Facts(small), said)}
    large = {r.rules for r in evaluate(sets, Facts(small | {"liftoff_mass": 2.0}))}
    unsure = {r.rules for r in evaluate(sets, Facts({"liftoff_mass": 1.0}))}
    assert "United States, model rocket safety code" in model
    assert "United States, high power safety code" not in model
    assert "United States, high power safety code" in large & unsure
    assert "United States, model rocket safety code" not in large | unsure


def test_no_set_for_the_rocket_fails():
    facts = Facts({"total_impulse": 500.0, "liftoff_mass": 3.0, "propellant_mass": 0.3})
    lines = [r for r in evaluate(read_rules(["us-model"]), facts) if not r.yardstick]
    assert (lines[0].name, lines[0].outcome) == ("class", "fail")
    assert {r.rules for r in lines[1:]} == {"Practice of the range", ""}


@pytest.mark.parametrize(
    ("limit", "expected"), [("15 mph", "fail"), ("25 mph", "pass")]
)
def test_stricter_of_club_and_code_governs(tmp_path, limit, expected):
    text = 'extends = ["us-high-power"]\n' + ROW.replace("15 mph", limit)
    sets = read_rules([str(club(tmp_path, text))])
    at_18 = Facts({"surface_wind": 18 * 0.44704})
    (line,) = [r for r in evaluate(sets, at_18) if r.name == "surface_wind"]
    assert line.outcome == expected
    assert line.limit == pytest.approx((15 if expected == "fail" else 20) * 0.44704)
    assert "at least as strict as" in line.why


def test_permission_does_not_excuse_a_club_limit_that_grants_none(tmp_path):
    text = """extends = ["us-faa-101"]
[[rule]]
name = "airport_distance"
text = "club's distance"
limit = "3 nmi"
"""
    sets = read_rules([str(club(tmp_path, text))])
    facts = Facts({"total_impulse": 500.0, "liftoff_mass": 2.0, "propellant_mass": 0.3},
                  {"airports": (("strip", 2 * 1852.0),)})  # fmt: skip
    said = Answers({"airport_authorization": True})
    lines = [r for r in evaluate(sets, facts, said) if r.name == "airport_distance"]
    assert sorted(r.outcome for r in lines) == ["fail", "pass"]


def test_club_question_and_paths_beside_the_file(tmp_path):
    club(tmp_path, '[[rule]]\nname = "water_ready"\nquestion = "water is at the pad"\n')
    club(tmp_path, 'extends = ["club.toml"]\n', "field.toml")
    sets = read_rules(["field.toml"], base=tmp_path)

    def asked(said):
        lines = evaluate(sets, Facts(), said)
        return next(r for r in lines if r.name == "water_ready")

    line = asked(None)
    assert (line.outcome, line.answer) == ("ask", ("water_ready",))
    for answer, outcome in (("yes", "pass"), ("no", "fail"), (True, "pass")):
        said = check_answers("answers", {"water_ready": answer}, sets)
        assert asked(said).outcome == outcome


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        (ROW.replace("surface_wind", "surface_wnd"),
         ["rule 1 (surface_wnd)", "did you mean 'surface_wind'?"]),
        (ROW.replace("limit =", "limti ="), ["rule 1", "limti", "did you mean 'limit'?"]),
        (ROW.replace('"15 mph"', '"15 furlongs"'), ["limit", "no unit of speed", "mph"]),
        (ROW.replace('"15 mph"', "15"), ["limit", "must name its unit of speed"]),
        (ROW.replace('"15 mph"', '"-1 mph"'), ["limit", "above 0"]),
        (ROW.replace('"15 mph"', "true"), ["limit", "True is no speed"]),
        (ROW.replace('limit = "15 mph"', ""), ["needs one of limit, share, table"]),
        (ROW.replace("text =", "note ="), ["needs 'text'"]),
        (ROW + 'share = "1/2"\n', ["needs share and share_of together"]),
        (ROW + 'share = "1/2"\nshare_of = "rail_tilt"\n', ["measured as angle", "as speed"]),
        (ROW + 'share = "1/2"\nshare_of = "surface_wnd"\n', ["did you mean 'surface_wind'"]),
        (ROW + 'table_by = "liftoff_mass"\n', ["table and table_by together"]),
        (ROW + 'table_by = "liftoff_mass"\ntable = []\n', ["table needs a row"]),
        (ROW + 'table_by = "mass"\ntable = [{ value = "3 mph" }]\n', ["'mass' is no fact"]),
        (ROW + 'table_by = "liftoff_mass"\ntable = [{ up_to = "1 kg" }]\n',
         ["table 1", "needs 'value'"]),
        (ROW + 'table_by = "liftoff_mass"\ntable = [{ up_to = "2 kg", value = "9 mph" }, '
         '{ up_to = "1 kg", value = "5 mph" }]\n', ["table: row 2", "reach further"]),
        (ROW + 'when = [{ fact = "liftoff_mass" }]\n', ["when", "exactly one of"]),
        (ROW + 'when = [{ fact = "mas", above = "1 kg" }]\n', ["'mas' is no fact"]),
        (ROW + 'classes = ["Class 2"]\n', ["'Class 2' is no class here"]),
        ('[[rule]]\nname = "until"\nquestion = "is it so"\n', ["until: is asked differently"]),
        ('[[rule]]\nname = "surface_wind"\nquestion = "is it calm"\n', ["names a limit"]),
        ('[[rule]]\nname = "calm"\nquestion = "is it calm"\nlimit = "3 mph"\n',
         ["rule 1 (calm), limit", "no meaning for a question"]),
        ('[[rule]]\nname = "cloud_cover"\ntext = "t"\nlimit = "120 %"\n', ["up to 1"]),
        ("[[rule]]\n", ["rule 1", "name"]),
        ("rule = 3\n", ["rule: must be a list (got 3)"]),
        ("[rule]\n", ["rule: must be a list: write [[rule]]"]),
        (ROW + "table_factor = 9\n", ["table_factor and table_column need a table"]),
        ("extends = ['us-high-powre']\n", ["did you mean 'us-high-power'?"]),
        ("extends = ['club.toml']\n", ["extends", "leads back"]),
        ("extends = ['none.toml']\n", []),
        ("= 3\n", ["is not TOML"]),
    ],
)  # fmt: skip
def test_broken_rule_files_are_refused_by_row(tmp_path, text, parts):
    if "none.toml" in text:
        with pytest.raises(InputError, match=r"none\.toml: cannot be read"):
            read_rules([str(club(tmp_path, text))])
        return
    message = refused(tmp_path, text)
    for part in parts:
        assert part in message


def test_unknown_set_suggests_the_nearest():
    with pytest.raises(
        InputError, match=r"'us-modle' is no rule set; did you mean 'us-model'"
    ):
        read_rules(["us-modle"])


@pytest.mark.parametrize(
    ("given", "part"),
    [
        ({"daylihgt": "yes"}, "did you mean 'daylight'?"),
        ({"daylight": "maybe"}, 'must be "yes" or "no"'),
        ({"daylight": 1}, 'must be "yes" or "no"'),
        ({"visibility": 10}, 'write visibility = "10 mi"'),
        ({"visibility": "10 miles"}, "'10 miles' is no horizontal visibility"),
        ({"visibility": "-1 mi"}, 'write visibility = "10 mi"'),
        ({"cloud_cover": "7/5"}, 'write cloud_cover = "2/8"'),
        ({"cloud_cover": 3}, 'write cloud_cover = "2/8"'),
        ({"cloud_cover": "few"}, 'write cloud_cover = "2/8"'),
        ({"cloud_cover": "nan"}, "cloud cover"),
        ({"notice": "2 days"}, 'write notice = "48 h"'),
        ({"motor_count": 0}, "is no number of motors"),
        ({"stages": 1.5}, "is no number of stages"),
        ({"total_impulse": "0 N s"}, "is no total impulse"),
    ],
)
def test_bad_answers_are_refused_by_name(given, part):
    with pytest.raises(InputError) as caught:
        check_answers("today.toml", given, read_rules(["us"]))
    assert str(caught.value).startswith("today.toml: ")
    assert part in str(caught.value)


def test_answer_cannot_contradict_a_file():
    said = Answers(numbers={"liftoff_mass": 1.0}, source="today.toml")
    with pytest.raises(InputError, match=r"today\.toml: liftoff_mass: .*known already"):
        with_answers(Facts({"liftoff_mass": 2.0}), said)
    assert (
        with_answers(Facts({"liftoff_mass": 1.0}), said).numbers["liftoff_mass"] == 1.0
    )


@pytest.mark.parametrize("name", ["total_impulse", "surface_wind"])
def test_of_what_both_tell_the_larger_counts(name):
    """A label may be rounded, and differs from what a record or a height shows."""
    for answered, flown in ((1.0, 2.0), (2.0, 1.0)):
        known = Facts({name: flown}, label_apart=2.0)
        facts = with_answers(known, Answers(numbers={name: answered}))
        assert facts.numbers[name] == 2.0


@pytest.mark.parametrize("answered", [310.0, 360.0])
def test_an_impulse_that_is_not_the_motors_is_refused(answered):
    """Which of the two is on the rail? The file's flies, and the rules would ask the other's."""
    said = Answers(numbers={"total_impulse": answered}, source="today.toml")
    with pytest.raises(InputError, match=rf"{answered:g} N s was .* tell 341 N s"):
        with_answers(Facts({"total_impulse": 341.0}), said)


@pytest.mark.parametrize(
    ("numbers", "groups"),
    [({"mass": 1.0}, {}), ({"liftoff_mass": float("nan")}, {}), ({}, {"crowd": ()}),
     ({}, {"people": (("a", float("inf")),)})],
)  # fmt: skip
def test_broken_facts_are_refused(numbers, groups):
    with pytest.raises(ValueError, match=r"fact|finite"):
        Facts(numbers, groups)


def test_area_that_is_not_drawn_must_be_confirmed():
    sets = read_rules(["us-high-power"])
    for said, expected in (({}, "ask"), ({"no_building_near": True}, "pass"),
                           ({"no_building_near": False}, "fail")):  # fmt: skip
        results = evaluate(sets, Facts(), Answers(said))
        (line,) = [r for r in results if r.name == "building_distance"]
        assert line.outcome == expected


def test_every_area_too_near_is_told_and_else_the_nearest():
    groups = {"people": (("a", 20.0), ("b", 25.0), ("c", 500.0))}
    numbers = {"total_impulse": 500.0, "motor_count": 1.0, "stages": 1.0}
    results = evaluate(read_rules(["us-high-power"]), Facts(numbers, groups))
    near = [r.area for r in results if r.name == "personnel_distance"]
    assert near == ["a", "b"]
    groups = {"people": (("c", 500.0), ("d", 400.0))}
    results = evaluate(read_rules(["us-high-power"]), Facts(numbers, groups))
    (line,) = [r for r in results if r.name == "personnel_distance"]
    assert (line.area, line.outcome) == ("d", "pass")


def test_every_kind_speaks_of_something_that_exists():
    from driftmap.rules.vocabulary import GROUPS

    for kind in RULE_KINDS.values():
        assert kind.fact in FACTS or kind.fact in GROUPS


@pytest.mark.parametrize(
    ("sets", "name", "where"),
    [
        (["us"], "sky_watched", "range.toml"),  # of what a set of the package extends
        (["us"], "no_sparks", "us-model.toml"),  # behind a class
        (["germany"], "airspace_leave", "germany.toml"),
        ([], "no_people_near", "driftmap itself"),
        ([], "landowner_leave", "range.toml"),  # of the floor, whatever is picked
    ],
)
def test_a_question_of_ones_own_needs_a_name_of_its_own(tmp_path, sets, name, where):
    """A yes to the other would answer it, and it was never shown."""
    club = tmp_path / "club.toml"
    row = (
        f'[[rule]]\nname = "{name}"\nquestion = "the tower was rung"\nsource = "club"\n'
    )
    club.write_text(f'title = "Club"\n{row}', encoding="utf-8")
    told = rf"club.toml: {name}: is asked differently in {where}; accepted is a name of"
    with pytest.raises(InputError, match=told):
        read_rules([*sets, str(club)])
    club.write_text(f'title = "Club"\n{row}'.replace(name, "tower"), encoding="utf-8")
    assert read_rules([*sets, str(club)])[-1].name == "club"


def test_no_two_sets_of_the_package_ask_by_one_name():
    assert {rules.name for rules in read_rules(rule_sets())} == set(rule_sets())
