"""Files tell the form they are written in: old ones stay good, newer ones are refused."""

import json
import tomllib
from pathlib import Path

import pytest

from driftmap.core.errors import InputError
from driftmap.core.files import FORM, toml_of
from driftmap.ground.site import read_site
from driftmap.observations.seenfile import read_seen
from driftmap.rocket.flightfile import read_flight
from driftmap.rules.answers import answers_to
from driftmap.rules.occasion import Occasion
from driftmap.rules.reading import picked_rules

ROOT = Path(__file__).parents[2]
SITE = ROOT / "sites" / "saltgrass-flat.geojson"
EXAMPLES = sorted((ROOT / "examples").glob("*.toml"))
RULES = sorted((ROOT / "driftmap" / "rules").glob("*.toml"))


def told(path, folder, form):
    """Write a file again, its form told at the top."""
    text, copy = path.read_text(encoding="utf-8"), folder / path.name
    if path.suffix == ".toml":
        copy.write_text(f"form = {json.dumps(form)}\n{text}", encoding="utf-8")
    else:
        copy.write_text(json.dumps({"form": form, **json.loads(text)}), "utf-8")
    return copy


@pytest.mark.parametrize("path", [*EXAMPLES, *RULES], ids=lambda path: path.stem)
def test_a_file_that_tells_its_form_is_the_file_without(path, tmp_path):
    assert toml_of(told(path, tmp_path, FORM)) == tomllib.loads(
        path.read_text(encoding="utf-8")
    )


def test_a_site_that_tells_its_form_is_the_site_without(tmp_path):
    old, new = read_site(SITE), read_site(told(SITE, tmp_path, FORM))
    assert new.assumed == old.assumed
    assert [a.shape for a in new.areas] == [a.shape for a in old.areas]


def read_as(path):
    flight = ROOT / "examples" / "willet.toml"
    site = read_site(path if path.suffix == ".geojson" else SITE)
    if path.stem == "willet":
        read_flight(path)
    elif path.stem == "answers":
        answers_to([path], picked_rules(site), Occasion("here", "it", None, 0.0))
    elif path.stem == "found":
        read = read_flight(flight)
        read_seen([str(path)], read, site)
    elif path.stem == "us":
        picked_rules(site, [str(path)])


@pytest.mark.parametrize(
    "path",
    [
        SITE,
        *(
            ROOT / "examples" / f"{name}.toml"
            for name in ("willet", "answers", "found")
        ),
        ROOT / "driftmap" / "rules" / "us.toml",
    ],
    ids=lambda path: path.stem,
)
@pytest.mark.parametrize(
    ("form", "words"),
    [
        (FORM + 1, "form: is 2: written for a newer driftmap; this one reads up to 1"),
        (0, "form: must be a whole number from 1 to 1 (got 0)"),
        (True, "form: must be a whole number"),
        ("1", "form: must be a whole number"),
    ],
)
def test_a_form_that_is_newer_or_none_is_refused_in_one_line(
    path, form, words, tmp_path
):
    if path.stem == "willet":
        (tmp_path / "willet_motor.csv").write_bytes(
            (path.parent / "willet_motor.csv").read_bytes()
        )
    with pytest.raises(InputError) as problem:
        read_as(told(path, tmp_path, form))
    assert words in str(problem.value)
    assert "\n" not in str(problem.value)
