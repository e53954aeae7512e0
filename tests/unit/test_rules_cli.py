"""``driftmap rules``: what it prints, and what it refuses."""

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from driftmap.cli.rules import rules_command
from driftmap.core.errors import InputError
from driftmap.ground.site import read_site
from driftmap.rules.reading import picked_rules

ROOT = Path(__file__).parents[2]
FLIGHT = str(ROOT / "examples" / "willet.toml")
HEAD = (
    'date = 2026-06-13\nsite = "Saltgrass Flat, Copper Heron Rocket Club"\n'
    'flight = "Willet 54"\nplace = [41.604, -117.952, 1234.4]\n'
)
SITE = str(ROOT / "sites" / "saltgrass-flat.geojson")


def run(*more, flight=FLIGHT):
    return CliRunner().invoke(
        rules_command, [flight, "--site", SITE, *more], catch_exceptions=False
    )


def test_prints_every_rule_with_source_and_reason():
    text = run("--rules", "us").output
    assert "Rules for Willet 54 at Saltgrass Flat" in text
    assert "class of rocket: Class 2, high-power rocket" in text
    assert "14 CFR 101.25(b)" in text
    assert "from memory" in text
    assert "To be answered (--write-answers FILE writes" in text
    assert "governs" in text


def test_tells_where_the_rules_are_of_another_land_than_the_pads():
    text = run("--rules", "uk").output
    assert "FAIL the pad lies where the rules are made for, uk" in text
    assert "HOLD the rules of the land the pad lies in (us) are not all" in text
    assert "the pad lies" not in run("--rules", "us").output


def test_json_holds_the_same_lines(tmp_path):
    answers = tmp_path / "today.toml"
    answers.write_text(HEAD + 'sky_watched = "yes"\nvisibility = "10 mi"\n')
    more = ("--rules", "us", "--wind", "8 mph from 240", "--answers", str(answers))
    more += ("--when", "2026-06-13T08:30-07:00")
    document = json.loads(run(*more, "--json").output)
    lines = {line["name"]: line for line in document["rules"]}
    assert lines["sky_watched"]["outcome"] == "pass"
    assert lines["sky_watched"]["answered"]
    assert lines["sun_height"]["outcome"] == "pass"
    assert not lines["sun_height"]["answered"]
    assert lines["visibility"]["value"] == pytest.approx(16_093.44)
    assert lines["surface_wind"]["outcome"] == "pass"
    assert lines["clear_of_cloud"]["outcome"] == "ask"
    assert lines["airport_distance"]["value"] is None
    assert document["sets"][0]["governs"]
    assert "range safety officer" in document["cautions"][0]
    assert document["facts_si"]["expected_altitude"] > 1000
    json.dumps(document, allow_nan=False)


def test_without_wind_the_surface_wind_is_asked_for():
    document = json.loads(run("--rules", "us", "--json").output)
    (line,) = [r for r in document["rules"] if r["name"] == "surface_wind"]
    assert (line["outcome"], line["answer"]) == ("ask", ["surface_wind"])


def test_flight_without_a_motor_asks_for_it():
    flight = str(ROOT / "examples" / "dunlin.toml")
    document = json.loads(
        run("--rules", "us-high-power", "--json", flight=flight).output
    )
    (line,) = [r for r in document["rules"] if r["name"] == "personnel_distance"]
    assert line["outcome"] == "ask"
    assert line["answer"] == ["motor_count", "stages"]


def test_units_of_the_reader():
    assert "at least 30 m" in run("--rules", "us-high-power", "--units", "si").output
    assert "at least 100 ft" in run("--rules", "us-high-power").output


@pytest.mark.parametrize(
    ("more", "part"),
    [
        (("--rules", "us-hi-power"), "did you mean 'us-high-power'?"),
        (("--rules", "us", "--answers", "none.toml"), "none.toml: cannot be read"),
    ],
)
def test_bad_options_are_named(more, part):
    with pytest.raises(InputError) as caught:
        run(*more)
    assert part in str(caught.value)


def test_site_names_its_rules_and_paths_start_beside_it(tmp_path):
    (tmp_path / "club.toml").write_text('title = "Club"\nextends = ["uk"]\n')
    text = Path(SITE).read_text(encoding="utf-8")
    named = tmp_path / "field.geojson"
    content = json.loads(text) | {"rules": "us-faa-101, club.toml"}
    named.write_text(json.dumps(content))
    sets = picked_rules(read_site(named))
    assert [s.name for s in sets] == ["us-faa-101", "range", "uk", "club"]


def test_site_without_rules_is_refused(tmp_path):
    content = json.loads(Path(SITE).read_text(encoding="utf-8"))
    content.pop("rules", None)
    bare = tmp_path / "bare.geojson"
    bare.write_text(json.dumps(content))
    with pytest.raises(InputError, match="names no rule set"):
        picked_rules(read_site(bare))


def test_the_file_to_fill_in_says_how_far_nearer_than_that_is(tmp_path):
    blank = tmp_path / "blank.toml"
    run("--when", "2026-06-13T08:30-07:00", "--write-answers", str(blank))
    text = " ".join(blank.read_text("utf-8").replace("\n# ", " ").split())
    for name in re.findall(r"#(\w+) =", text):
        before = text[: text.index(f"#{name} =")].rsplit("#", 1)[-1]
        assert ("nearer than that" in before) <= ("(that is " in before), name
    assert "nearer than that takes part in the launch (that is 457 m, 1,500 ft)" in text


def test_the_file_to_fill_in_is_written_once(tmp_path):
    blank = tmp_path / "today.toml"
    when = ("--when", "2026-06-13T08:30-07:00")
    text = run(*when, "--write-answers", str(blank)).output
    assert f"To fill in: {blank}" in text
    content = blank.read_text(encoding="utf-8")
    for line in HEAD.splitlines():
        assert line.replace("604, -117.952,", "60400, -117.95200,") in content
    assert 'rocket = "' in content
    assert 'drawn = "' in content
    assert '#visibility = "10 mi"    # a number with a unit' in content
    assert "surface_wind" not in content  # the wind tells it
    with pytest.raises(InputError, match="is there already"):
        run(*when, "--write-answers", str(blank))
    filled = content.replace("\n#", "\n")  # comments of words are no TOML
    answers = [line for line in filled.splitlines() if " = " in line and line[0] != " "]
    blank.write_text("\n".join(answers), encoding="utf-8")
    more = (*when, "--answers", str(blank), "--wind", "8 mph from 240")
    assert "0 broken, 0 not surely kept, 0 to be answered" in run(*more).output


def test_at_night_the_flight_is_dark():
    document = json.loads(run("--when", "2026-06-13T23:30-07:00", "--json").output)
    (line,) = [r for r in document["rules"] if r["name"] == "sun_height"]
    assert (line["outcome"], line["answer"]) == ("ask", ["night_authorised"])
    assert line["value"] < 0
