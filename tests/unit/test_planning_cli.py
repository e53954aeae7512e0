"""The planning commands: what they print, what they write, and bad input in one line."""

import json
from pathlib import Path
from typing import get_args, get_type_hints

import pytest
from awkward import foreign, latin_words
from click.testing import CliRunner

from driftmap.cli.assess import assess_command
from driftmap.cli.compare import cases_command, compare_command
from driftmap.cli.dial import dial_command
from driftmap.cli.plans import aim_command, in_processes, limits_command
from driftmap.cli.rules import rules_command
from driftmap.cli.season import layout_command, season_command
from driftmap.core.errors import InputError, SiteError
from driftmap.planning.casedocuments import _LET_GO
from driftmap.planning.hours import spoken_rose
from driftmap.report.voice import Voice, languages, read_catalogue
from driftmap.rocket.case import Release

ROOT = Path(__file__).parents[2]
FLIGHT = str(ROOT / "examples" / "dunlin.toml")
SITE = str(ROOT / "sites" / "saltgrass-flat.geojson")
NAMES = (Path(SITE).read_text("utf-8"), "Whimbrel Dunlin")
FEW = ("--samples", "150", "--workers", "1")


def run(command, *arguments):
    """Run a command; let what it raises through, as the program's own door does."""
    result = CliRunner().invoke(command, [str(a) for a in arguments])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def test_limits_are_told_written_and_drawn_on_a_page_that_needs_no_network(tmp_path):
    out = tmp_path / "plan"
    made = run(
        limits_command,
        *(FLIGHT, "--site", SITE, "--directions", 6, "--steps", 1, *FEW),
        *("--out", out),
    )
    assert made.exit_code == 0
    assert "GO IF below, at head height" in made.stdout
    assert "at 33 ft" not in made.stdout  # no figure stands there
    assert made.stdout.startswith("None of the 18 winds tried")
    assert "150 cannot show" in made.stdout
    assert "An aid to judgement" in made.stdout
    data = json.loads((out / "limits.json").read_text())
    assert [d["from_deg"] for d in data["directions"]] == [0, 60, 120, 180, 240, 300]
    for direction in data["directions"]:
        assert direction["go_below_mps"] == 0.0  # 150 flights show no share under 0.001
        assert direction["blocked_by"]
    assert data["speeds_at_m"] == 10.0
    assert any("counts as known to the top" in text for text in data["assumed"])
    page = (out / "limits.html").read_text()
    assert "Nothing is drawn: with so few flights" in page
    assert 'class="dial"' not in page  # of too few flights: it would be empty
    assert "://" not in page.replace("http://www.w3.org/2000/svg", "")
    assert "An aid to judgement" in page


def test_aim_shows_the_plan_beside_the_best(monkeypatch):
    from driftmap.planning import aim

    monkeypatch.setattr(aim, "_SHARES_OF_LIMIT", (0.5,))
    monkeypatch.setattr(aim, "_TURN", 180.0)
    monkeypatch.setattr(aim, "_REFINED", 0)
    made = run(
        aim_command,
        *(FLIGHT, "--site", SITE, "--wind", "4 mph from 180", *FEW),
        *("--best", 2),
    )
    assert "as planned: 3.0° into the wind" in made.stdout
    assert "3 aims tried" in made.stdout


def test_layout_writes_a_map_of_scores(tmp_path):
    made = run(
        layout_command,
        *(SITE, "--flight", FLIGHT, "--wind", "2 m/s from 90", "--distance", "500 ft"),
        *("--spacing", "900 m", "--move", "South crowd line", *FEW),
        *("--json", "--out", tmp_path, "--language", foreign(tmp_path / "x.toml")),
    )
    data = json.loads(made.stdout)
    assert json.loads((tmp_path / "layout.json").read_text()) == data
    assert data["as_drawn"]["moved_m"] == 0.0
    assert all(pad["to_people_m"] >= 152.4 for pad in data["pads"])
    assert data["stands"]["South crowd line"]
    spots = json.loads((tmp_path / "layout.geojson").read_text())
    assert spots["type"] == "FeatureCollection"
    first = spots["features"][0]
    assert first["properties"]["rank"] == 1
    assert first["geometry"]["coordinates"][0] == pytest.approx(-117.95, abs=0.1)
    page = (tmp_path / "layout.html").read_text()
    assert "<svg" in page
    assert latin_words(page, *NAMES) == set()


@pytest.mark.parametrize(
    ("command", "words"),
    [
        pytest.param(
            *(limits_command, ("--directions", 6, "--steps", 1, "--samples", 30)),
            marks=pytest.mark.slow,
        ),
        (aim_command, ("--wind", "4 mph from 180", *FEW)),  # as above: flown once
        pytest.param(
            *(compare_command, ("--wind", "4 mph from 180", "--samples", 30)),
            marks=pytest.mark.slow,
        ),
        (cases_command, ("--wind", "4 mph from 180", "--samples", 30)),
    ],
    ids=["limits", "aim", "compare", "cases"],
)
def test_pages_say_nothing_that_stands_in_no_catalogue(
    tmp_path, monkeypatch, command, words
):
    monkeypatch.setattr("driftmap.planning.aim._SHARES_OF_LIMIT", (0.5,))
    monkeypatch.setattr("driftmap.planning.aim._TURN", 180.0)
    monkeypatch.setattr("driftmap.planning.aim._REFINED", 0)
    # One has all kinds of margins, the other few cases.
    name = "whimbrel" if command is cases_command else "dunlin"
    flight = ROOT / "examples" / f"{name}.toml"
    run(
        command,
        *(flight, "--site", SITE, *words, "--out", tmp_path),
        *("--language", foreign(tmp_path / "x.toml")),
    )
    (page,) = tmp_path.glob("*.html")
    assert latin_words(page.read_text("utf-8"), *NAMES, *map(str, words)) == set()


@pytest.mark.slow  # a season of soundings goes on as well
def test_season_goes_on_from_its_file(tmp_path):
    path = tmp_path / "hourly.csv"
    path.write_text(
        "time_utc,from_deg,speed_mps\n2026-05-01T00:00Z,90,1\n2026-05-01T02:00Z,90,3\n"
    )
    out = tmp_path / "season"
    arguments = (
        *(FLIGHT, "--site", SITE, "--winds", path, "--check", 1, *FEW),
        *("--out", out, "--language", foreign(tmp_path / "x.toml")),
    )
    first = run(season_command, *arguments)
    kept = (out / "season-verdicts.jsonl").read_text()
    parts = [json.loads(line)["part"] for line in kept.splitlines()]
    own = ["90 deg 1.0 m/s", "90 deg 3.0 m/s"]  # beside those by each sun
    assert sorted(part for part in parts if "sun" not in part) == own
    again = run(season_command, *arguments)
    assert "going on: 2 of 2 winds are done" in again.stderr
    assert again.stdout == first.stdout
    assert (out / "season-verdicts.jsonl").read_text() == kept
    data = json.loads((out / "season.json").read_text())
    assert data["all"]["hours"] == 3
    assert data["all"]["known"] == 2
    page = (out / "season.html").read_text()
    assert "<svg" in page
    assert latin_words(page, *NAMES) == set()


@pytest.mark.parametrize(
    ("command", "arguments", "said"),
    [
        (
            layout_command,
            (SITE, "--flight", FLIGHT, "--spacing", "3 furlongs"),
            "--spacing: '3 furlongs' has no unit of length",
        ),
        (
            layout_command,
            (SITE, "--flight", FLIGHT, "--spacing", "2 m", *FEW),
            "--spacing: 2 m apart gives",
        ),
        (
            layout_command,
            (SITE, "--flight", FLIGHT, "--wind", "3 m/s variable"),
            "one speed from one direction, at 10 m",
        ),
        (
            layout_command,
            (SITE, "--flight", FLIGHT, "--distance", "-5 m"),
            "--distance: '-5 m' is out of bounds; accepted is more than 0",
        ),
        (
            limits_command,
            (FLIGHT, "--site", SITE, "--wind", "no-such-file.csv", *FEW),
            "no-such-file.csv: is no file",
        ),
        (
            limits_command,
            (FLIGHT, "--site", SITE, "--wind", "calm", *FEW),
            "a shape to scale needs 0.5 m/s or more",
        ),
        (
            season_command,
            (FLIGHT, "--site", SITE, "--winds", SITE, *FEW),
            "accepted are time_utc, from_deg",
        ),
    ],
)
def test_bad_input_is_one_line(command, arguments, said):
    with pytest.raises(InputError) as caught:
        run(command, *arguments)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_season_height_is_checked(tmp_path):
    path = tmp_path / "h.csv"
    path.write_text("time_utc,from_deg,speed_mps\n2026-05-01T00:00Z,90,2\n")
    with pytest.raises(
        InputError, match="--height: '500 m' is out of bounds; accepted is 1 to 100 m"
    ):
        run(
            season_command,
            *(FLIGHT, "--site", SITE, "--winds", path, "--height", "500 m"),
        )


def test_two_ways_to_give_winds_are_refused():
    result = CliRunner().invoke(
        layout_command,
        [SITE, "--flight", FLIGHT, "--wind", "2 m/s from 9", "--winds", "h.csv"],
    )
    assert result.exit_code == 2
    assert "not both" in result.output


def test_every_command_of_a_site_asks_which_of_its_pads(tmp_path):
    """Without --pad the choice is asked for in one line; with it that pad is flown from."""
    farm = json.loads(Path(SITE).read_text("utf-8"))
    pad = next(f for f in farm["features"] if f["properties"]["role"] == "pad")
    other = json.loads(json.dumps(pad))
    pad["properties"]["name"], other["properties"]["name"] = "near", "far"
    lon, lat = other["geometry"]["coordinates"][:2]
    other["geometry"]["coordinates"] = [lon + 0.0005, lat]
    farm["features"].append(other)
    path = tmp_path / "two.geojson"
    path.write_text(json.dumps(farm), encoding="utf-8")
    wind = ("--wind", "4 mph from 180")
    asked = {
        aim_command: (FLIGHT, "--site", path, *wind),
        assess_command: (FLIGHT, "--site", path, *wind),
        compare_command: (FLIGHT, "--site", path, *wind),
        dial_command: (FLIGHT, "--site", path),
        limits_command: (FLIGHT, "--site", path),
        rules_command: (FLIGHT, "--site", path),
        season_command: (FLIGHT, "--site", path, "--winds", "none.csv"),
        layout_command: (path, "--flight", FLIGHT),
    }
    for command, arguments in asked.items():
        with pytest.raises(SiteError, match=r"say which .* 'near', 'far'") as caught:
            run(command, *arguments)
        assert "\n" not in str(caught.value)
        with pytest.raises(SiteError, match="accepted: 'near', 'far'"):
            run(command, *arguments, "--pad", "fra")
    made = run(rules_command, FLIGHT, "--site", path, "--pad", "far")
    assert made.exit_code in {0, 3, 4}


def test_every_moment_of_letting_go_has_words_in_every_language():
    moments = get_args(get_type_hints(Release)["at"])
    assert set(_LET_GO) == set(moments)
    for language in languages():
        voice = Voice(read_catalogue(language), "si")
        for told in _LET_GO.values():
            assert voice.say(f"plan.{told}")


@pytest.mark.parametrize(
    "more",
    [
        "2 m/s from 240 gusting 14 m/s",
        "2 to 9 m/s from 240",
        "2 m/s from 240, 3 h ago",
        "2 m/s from 240 over rough land",
        "forecast 2 m/s from 240",
    ],
)
def test_nothing_of_a_wind_that_scores_is_dropped_in_silence(more):
    with pytest.raises(InputError, match="without gusts, ground or time"):
        spoken_rose([more])
    assert spoken_rose(["2 m/s from 240"]) == ((pytest.approx(240.0), 2.0, 1.0),)


def test_calls_come_back_from_processes_in_their_order():
    with in_processes(5000) as through:
        assert list(through(max, [(1, 2), (4, 3), (5, 5)])) == [2, 4, 5]
