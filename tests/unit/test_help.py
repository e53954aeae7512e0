"""Chapters of README and guide in a terminal."""

import itertools
import json
import re
import tomllib
from pathlib import Path

import jsonschema
import pytest
import shapely
from click import Context, Group, Option
from click.testing import CliRunner

from driftmap.cli import cli
from driftmap.cli.help import CHAPTERS, chapter, help_command
from driftmap.core.errors import InputError, PlacedError
from driftmap.ground.geojson import Feature
from driftmap.ground.roles import ROLES, read_mark

ROOT = Path(__file__).parents[2]
GUIDE = "\n".join(
    (ROOT / name).read_text(encoding="utf-8")
    for name in ("README.md", "driftmap/guide.md")
)


@pytest.mark.parametrize("title", CHAPTERS.values(), ids=CHAPTERS)
def test_every_topic_is_a_chapter_that_fits_a_terminal(title):
    text = chapter(GUIDE, title)
    assert text.startswith(title.upper())
    assert len(text) > 400
    assert not any(mark in text for mark in ("**", "](", "| "))
    commands = [line for line in text.splitlines() if "driftmap " in line]
    assert all(len(line) <= 80 for line in text.splitlines() if line not in commands)


def test_tables_lose_nothing():
    text = " ".join(chapter(GUIDE, "The flight file").split())
    for key in ("[airframe]", 'stability = "1.8 cal"', "[[alternative]]", "area_hit"):
        assert key in text
    winds = chapter(GUIDE, "The wind")
    assert "a pilot balloon" in winds
    assert "forecast SW 9 mph" in winds


def test_every_chapter_of_the_guide_is_a_topic():
    text = (ROOT / "driftmap" / "guide.md").read_text(encoding="utf-8")
    titles = re.findall(r"^## (.+)$", text, re.MULTILINE)
    assert titles
    assert set(titles) <= set(CHAPTERS.values())
    assert len(titles) == len(set(titles))


def test_the_command_prints_the_chapter():
    run = CliRunner().invoke(help_command, ["flight"])
    assert run.output.startswith("THE FLIGHT FILE")
    assert "[airframe]" in run.output


def test_every_option_of_every_command_says_what_it_is():
    context = Context(cli)
    commands = [cli.get_command(context, name) for name in cli.list_commands(context)]
    groups = (one for one in commands if isinstance(one, Group))
    commands += [below for group in groups for below in group.commands.values()]
    options = [
        (command.name, one)
        for command in commands
        for one in command.params
        if isinstance(one, Option)
    ]
    assert len(options) > 200
    assert not [(name, one.name) for name, one in options if not one.help]


def test_links_of_readme_and_guide_lead_somewhere():
    for name in (
        *("README.md", "driftmap/guide.md", "DEVELOPERS.md"),
        "tests/benchmarks/MEASURED.md",
    ):
        here = ROOT / name
        text = here.read_text(encoding="utf-8")
        for target, _, anchor in re.findall(r"\]\(([\w./-]*)(#?)([\w-]*)\)", text):
            there = (here.parent / target).resolve() if target else here
            assert there.exists(), (name, target)
            titles = (
                re.findall(r"^#+ (.+)$", there.read_text("utf-8"), re.MULTILINE)
                if anchor
                else []
            )
            known = {
                re.sub(r"[^a-z -]", "", t.lower()).replace(" ", "-") for t in titles
            }
            assert not anchor or anchor in known, (name, anchor)


def test_a_line_shown_for_a_file_can_be_typed_as_it_is():
    shown = re.findall(r"`([a-z_]+ = [^`\n]+)`", GUIDE)
    whole = [line for line in shown if "…" not in line and line != "name = answer"]
    assert len(whole) > 15
    for line in whole:
        assert tomllib.loads(line), line


def test_a_word_that_is_no_topic_names_those_that_are():
    run = CliRunner().invoke(help_command, ["flihgt"])
    assert isinstance(run.exception, InputError)
    assert "did you mean 'flight'?" in str(run.exception)
    assert "verdict" in CliRunner().invoke(help_command, []).output
    with pytest.raises(InputError, match="not in this copy"):
        chapter("# Nothing", "The wind")


def _printed(*arguments):
    run = CliRunner().invoke(help_command, arguments)
    assert run.exception is None
    return jsonschema.Draft202012Validator(json.loads(run.output))


@pytest.mark.parametrize("name", ["willet", "whimbrel", "dunlin", "plover"])
def test_the_schema_takes_every_example_and_no_wrong_key(name):
    schema = _printed("flight", "--schema")
    data = tomllib.loads((ROOT / "examples" / f"{name}.toml").read_text("utf-8"))
    schema.validate(data)
    for wrong in (
        {**data, "airfram": {}},
        {**data, "rail": {**data["rail"], "lenght": "2 m"}},
        {**data, "name": 3},
        {key: value for key, value in data.items() if key != "airframe"},
    ):
        assert not schema.is_valid(wrong)


def test_the_schema_of_rules_takes_those_that_come_with_the_package():
    schema = _printed("rules", "--schema")
    for path in (ROOT / "driftmap" / "rules").glob("*.toml"):
        schema.validate(tomllib.loads(path.read_text("utf-8")))
    assert not schema.is_valid({"title": "Ours", "rlue": []})


@pytest.mark.slow  # every key is tried
def test_the_schema_of_sites_takes_what_reading_takes():
    schema = _printed("site", "--schema")
    paths = sorted((ROOT / "sites").glob("*.geojson"))
    assert paths
    for path in paths:
        site = json.loads(path.read_text("utf-8"))
        schema.validate(site)
        schema.validate({**site, "flights_today": "60"})
        assert not schema.is_valid({**site, "flights_today": "many"})
        assert not schema.is_valid({k: v for k, v in site.items() if k != "elevation"})
    given = {
        **dict.fromkeys(("radius", "width", "ceiling"), "300 ft"),
        "ceiling_altitude": 2000,
        "people": 4,
        "shelter": "car",
        "name": "Ours",
    }
    square = [[[0, 0], [0, 0.01], [0.01, 0.01], [0, 0]]]
    drawn = {
        "Point": [0, 0],
        "LineString": square[0][:2],
        "MultiLineString": [square[0][:2]],
        "Polygon": square,
        "MultiPolygon": [square],
    }
    taken = {True: 0, False: 0}
    for role, (kind, corners), keys in itertools.product(
        [*ROLES, "pond"],
        drawn.items(),
        [(), *((k,) for k in given), ("radius", "ceiling"), ("radius", "people")],
    ):
        geometry = {"type": kind, "coordinates": corners}
        own = {"role": role, **{key: given[key] for key in keys}}
        feature = {"type": "Feature", "properties": own, "geometry": geometry}
        try:
            read_mark(Feature("", own, {}, shapely.geometry.shape(geometry)))
        except (PlacedError, ValueError):
            read = False
        else:
            read = True
        one = schema.is_valid({**site, "features": [feature]})
        # Of two ceilings a waiver gives one: that only reading tells.
        assert one == read or (role == "waiver" and one), (role, kind, keys)
        taken[read] += 1
    assert min(taken.values()) > 50


def test_the_schema_of_answers_takes_those_of_the_examples():
    schema = _printed("answers", "--schema")
    for path in (ROOT / "examples").glob("answers*.toml"):
        said = tomllib.loads(path.read_text("utf-8"))
        schema.validate(said)
        assert not schema.is_valid({**said, "no_fire_ban": "perhaps"})
        assert not schema.is_valid({k: v for k, v in said.items() if k != "site"})
    told = schema.schema["properties"]["no_fire_ban"]["description"]
    assert "fire" in told
