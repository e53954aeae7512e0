"""Verdicts as they would have been: the inputs kept give the verdict given, changes turn it."""

import json
import shutil
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from click.testing import CliRunner

from driftmap.air.wind import Disagreement, Stronger, WindLevel
from driftmap.cli.assess import assess_command
from driftmap.cli.log import log_command, review_command
from driftmap.cli.season import season_command
from driftmap.logbook.entry import new_entry
from driftmap.logbook.entry_bodies import assessment_entry, inputs_of, kept_inputs
from driftmap.logbook.factors import Cause, WithInterval
from driftmap.logbook.findings import Bias, Coverage, Review
from driftmap.logbook.reassessment import Changes, reassess
from driftmap.logbook.review_text import format_review
from driftmap.logbook.store import Log
from driftmap.logbook.verification import winds_of
from driftmap.rules.answers import Answers
from driftmap.verdict.assessment import assess_setup
from driftmap.verdict.document import _thinned, as_read, document, read_again

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def logged(tmp_path_factory):
    """A log of one assessment from files that are gone since, and a curve beside them."""
    folder = tmp_path_factory.mktemp("logged")
    log, files = folder / "log.sqlite", folder / "files"
    shutil.copytree(ROOT / "examples", files, ignore=shutil.ignore_patterns("*.png"))
    run = CliRunner().invoke(
        assess_command,
        [
            *(str(files / "willet.toml"), "--samples", "1000"),
            *("--site", str(ROOT / "sites" / "saltgrass-flat.geojson")),
            *("--wind", str(files / "morning.csv"), "--temperature", "18 C"),
            *("--when", "2026-06-13T08:30-07:00", "--log", str(log)),
            *("--answers", str(files / "answers.toml"), "--out", str(folder / "out")),
        ],
    )
    assert run.exception is None or isinstance(run.exception, SystemExit), run.output
    shutil.rmtree(files)
    return log, json.loads((folder / "out" / "assessment.json").read_text())


def kept(path):
    with Log(path, create=False) as log:
        (entry,) = (e for e in log.entries() if e.kind == "assessment")
        contents = {content.digest: content for content in log.contents()}
    return entry, contents


def test_the_log_alone_gives_the_same_checks_again(logged):
    path, told = logged
    entry, contents = kept(path)
    setup, wind = inputs_of(entry, contents, "log")
    again = reassess(entry.body["verdict"], setup, wind, Changes())
    assert again.logged == again.now == again.proposed == told["verdict"]
    assert again.turned == ()

    checks = document(assess_setup(setup, wind))["checks"]
    assert checks == json.loads(json.dumps(entry.body["checks"]))


def test_landings_kept_stand_each_for_as_many_flights():
    """Of 400 alike every second; where one flight stands for half of all, half are of it."""
    cloud = SimpleNamespace(east=np.arange(400.0), north=-np.arange(400.0))
    part = SimpleNamespace(rows=slice(0, 400), count=1, stands_for=np.ones(400))
    found = np.array(_thinned(cloud, part))
    assert np.all(np.abs(found[:, 0] - 2.0 * np.arange(200)) <= 1.0)
    np.testing.assert_array_equal(found[:, 1], -found[:, 0])
    part.stands_for = np.where(np.arange(400) == 7, 399.0, 1.0)
    assert sum(point == [7.0, -7.0] for point in _thinned(cloud, part)) == 100


def test_every_word_of_wind_and_answers_is_read_back(demo):
    """What the log leaves out would make a flight milder when it is assessed again."""
    day = datetime(2026, 6, 13, 15, 30, tzinfo=UTC)
    stronger = Stronger(WindLevel(10.0, 3.0, 7.0, None, "tower"), "one of the tower")
    wind = replace(demo.wind, stronger=(stronger,), warned=("hail",), age=1.5)
    two = Disagreement("hail", stronger.level, stronger.level)
    wind = replace(wind, disagree=(two,))
    wind = replace(wind, with_aside=wind)
    answers = Answers(
        confirmed={"fire_watch": True},
        numbers={"crowd": 30.0},
        stale={"range_closed": "was for another day"},
        when=day,
        files=(("a.toml", "00"),),
        taken_back=("Ann's no",),
        holds=(day, day + timedelta(hours=1)),
        passed_over={"range_closed": "a.toml, of another pad"},
    )
    files = kept_inputs(
        {
            "flight": [str(ROOT / "examples" / "willet.toml")],
            "site": [str(ROOT / "sites" / "saltgrass-flat.geojson")],
        }
    )
    entry, contents = assessment_entry(
        replace(demo, wind=wind, answers=answers), files, when=day.isoformat()
    )
    # What a season of the log flies is the wind that was held against its limit.
    strong = replace(demo, wind=replace(demo.wind, strongest=7.5, gust=3.0))
    logged_so = assessment_entry(strong, files, when=day.isoformat())[0].body
    assert logged_so["wind_10_m"]["speed_mps"] == 7.5
    assert logged_so["wind_10_m"]["gust_above_mps"] == 3.0
    setup, flown_in = inputs_of(entry, {c.digest: c for c in contents}, "log")
    assert setup.answers == answers
    plain = as_read(replace(demo, answers=answers))
    plain["answers"]["until"] = plain["answers"].pop("holds")[1]  # as logs of before
    before, _ = read_again(demo.flight, demo.site, 100, 1, plain)
    assert before.answers == answers
    for old, again in ((wind, flown_in), (wind.with_aside, flown_in.with_aside)):
        for field in fields(old):
            was, is_ = (getattr(w, field.name) for w in (old, again))
            same = field.name == "with_aside" or np.array_equal(was, is_) or was == is_
            assert same, field.name


def test_the_log_keeps_what_was_flown(demo, tmp_path, monkeypatch):
    """A flight file that is saved anew while it is flown is kept as it was."""
    flight, log = tmp_path / "willet.toml", tmp_path / "log.sqlite"
    shutil.copy(ROOT / "examples" / "willet.toml", flight)
    before = flight.read_bytes()

    def saved_meanwhile(*_):
        flight.write_bytes(before.replace(b"Willet", b"Plover"))
        return demo

    monkeypatch.setattr("driftmap.cli.assess._assessment_of", saved_meanwhile)
    words = [str(flight), "--site", str(ROOT / "sites" / "saltgrass-flat.geojson")]
    words += [
        "--wind",
        "4 mph from 90",
        "--out",
        str(tmp_path / "out"),
        "--log",
        str(log),
    ]
    CliRunner().invoke(assess_command, words, catch_exceptions=False)
    entry, contents = kept(log)
    assert contents[entry.contents["flight"]].data == before


def test_a_correction_of_what_was_corrected_is_no_second_outcome(tmp_path):
    path, file = tmp_path / "log.sqlite", tmp_path / "o.toml"
    file.write_text("flew = true")
    assessed = new_entry("assessment", {"flight": "Willet", "verdict": "go"})
    with Log(path) as log:
        log.append([assessed])

    def run(*args):
        told = CliRunner().invoke(log_command, [*map(str, args), "--log", str(path)])
        assert told.exception is None
        return told.output

    first = run("add", file, "--about", "last").split()[1]
    assert "already" not in run("correct", first, file)
    assert "already" not in run("correct", first, file)
    assert "already" in run("add", file, "--about", "last")


@pytest.mark.slow  # one more log judged again
def test_a_proposal_that_makes_it_worse_turns_checks(logged):
    entry, contents = kept(logged[0])
    setup, wind = inputs_of(entry, contents, "log")
    worse = Changes(
        drag=0.2, wind_error=3.0, likelihoods={("Willet 54", "nothing deploys"): 0.3}
    )
    again = reassess(entry.body["verdict"], setup, wind, worse)
    assert again.proposed == "no-go"
    assert any("to fail" in text for text in again.turned)


def test_review_tells_verdicts_and_what_cannot_be_told(logged):
    path, told = logged
    other = path.with_name("other.sqlite")
    shutil.copy(path, other)
    entry, _ = kept(path)
    with Log(other) as log:
        log.append([new_entry("assessment", entry.body)])
    run = CliRunner().invoke(review_command, ["--log", str(other), "--verdicts", "5"])
    assert run.exit_code == 0, run.output
    assert f"was {told['verdict']}, would have been {told['verdict']}" in run.output
    assert "does not keep all of its inputs" in run.output
    assert "no outcome beside an assessment tells a landing or a case yet" in run.output


def test_a_second_outcome_of_one_flight_is_pointed_out(logged, tmp_path):
    path = tmp_path / "log.sqlite"
    shutil.copy(logged[0], path)
    entry, _ = kept(path)
    outcome = str(ROOT / "examples" / "outcome.toml")
    add = ["add", outcome, "--about", entry.id[:8], "--log", str(path)]
    assert "already" not in CliRunner().invoke(log_command, add).output
    run = CliRunner().invoke(log_command, add)
    assert "has an outcome already" in run.output


def test_a_correction_keeps_the_photographs(tmp_path):
    path, outcome = tmp_path / "log.sqlite", str(ROOT / "examples" / "outcome.toml")
    photo = tmp_path / "fin.jpg"
    photo.write_bytes(b"a picture")
    log = ["--log", str(path)]
    run = CliRunner().invoke(log_command, ["add", outcome, "--photo", str(photo), *log])
    first = run.output.split()[1]
    CliRunner().invoke(log_command, ["correct", first, outcome, *log])
    with Log(path) as opened:
        (now,) = opened.current()
    assert now.corrects
    assert [p["name"] for p in now.body["photographs"]] == ["fin.jpg"]


HERE = (41.604, -117.952)


@pytest.mark.parametrize(
    ("more", "counts"),
    [
        ({}, True),
        ({"place": [30.091, -92.553]}, False),  # another field
        ({"place": None}, False),
        ({"wind_kinds": ["words", "JSON forecast"]}, True),  # read near the ground
        ({"wind_kinds": ["forecast asked for"]}, False),  # which nobody met
        ({"wind_kinds": ["words of a forecast", "aerodrome forecast (TAF)"]}, False),
    ],
)
def test_a_season_of_the_log_is_of_winds_met_at_the_field(more, counts):
    body = {
        "place": [41.604, -117.963],
        "when": "2026-06-13T08:30-07:00",
        "wind_10_m": {"speed_mps": 3.0, "from_rad": 1.0},
        "wind_kinds": ["words"],
        **more,
    }
    kept = {key: value for key, value in body.items() if value is not None}
    assert len(winds_of([new_entry("assessment", kept)], HERE)) == counts


@pytest.mark.slow  # one more search of a season
def test_a_season_can_be_the_days_that_were_logged(logged):
    entry, _ = kept(logged[0])
    (wind,) = winds_of([entry], HERE)
    assert not wind.held
    near = {k: v for k, v in entry.body["wind_10_m"].items() if k != "from_rad"}
    varied = replace(entry, body={**entry.body, "wind_10_m": near})
    assert winds_of([varied], HERE) == (
        replace(wind, way=None),
    )  # an hour as hard as any
    for kind, name in (("wind warned", "a thunderstorm"), ("wind shear", "12 in 30 m")):
        held = {"kind": kind, "name": name, "outcome": "warn"}
        warned = {**entry.body, "checks": [*entry.body["checks"], held]}
        assert winds_of([replace(entry, body=warned)], HERE)[0].held == name
    assert wind.time.isoformat() == "2026-06-13T15:30:00+00:00"
    assert wind.speed == pytest.approx(entry.body["wind_10_m"]["speed_mps"])
    assert wind.gust == pytest.approx(entry.body["wind_10_m"]["gust_above_mps"])
    run = CliRunner().invoke(
        season_command,
        [
            *(str(ROOT / "examples" / "willet.toml"), "--samples", "200"),
            *("--site", str(ROOT / "sites" / "saltgrass-flat.geojson")),
            *("--log", str(logged[0]), "--check", "0", "--json"),
        ],
    )
    assert run.exit_code == 0, run.output
    told = json.loads(run.stdout)
    assert told["all"]["known"] == told["all"]["hours"] == 1
    assert any("1 assessments in log.sqlite" in text for text in told["assumed"])
    assert 0 <= wind.way < 360


def whole_review(**more):
    """A review in which everything has something to say."""
    line = Coverage(0.5, WithInterval(0.9, 0.8, 0.97, 40))
    bias = Bias(
        "under main",
        WithInterval(120.0, 60.0, 180.0, 40),
        WithInterval(-5.0, -np.inf, np.inf, 40),
    )
    seen = Cause(
        "late opening",
        0.01,
        4,
        WithInterval(0.1, 0.028, 0.237, 40),
        WithInterval(0.05, 0.016, 0.1, 40),
    )
    return Review(
        **{
            "landings": 40,
            "flights": 40,
            "coverage": (line,),
            "ranks": (1, 9),
            "band": (2, 7),
            "energy": WithInterval(-12.0, -20.0, -4.0, 40),
            "log": None,
            "biases": (bias,),
            "drift": None,
            "width": None,
            "causes": (seen,),
            "cautions": ("be careful",),
            "proposals": (),
            **more,
        }
    )


def test_a_review_tells_each_of_its_parts():
    told = format_review(whole_review())
    for line in (
        "Landings found: 40; flights of known case: 40.",
        "!! be careful",
        "   50% line held  90.0 % (80.0 to 97.0 %)  <- not as told",
        "    0- 10 %      1  #  <- outside",
        "   10- 20 %      9  #########  <- outside",
        "Forecast less reference, energy score: -12 m (-20 to -4)",
        "  under main, 40: 120 m (60 to 180); -5 m (flights of one day: no interval)",
        "  late opening: 4 of 40 (2.8% to 23.7% by these alone), assumed 1.0%, now 5.0% (1.6% to 10.0%)",
    ):
        assert line in told
    assert "log score" not in told


@pytest.mark.parametrize(
    ("counts", "told"),
    [
        (
            {"landings": 0, "flights": 0},
            "no outcome beside an assessment tells a landing or a case yet",
        ),
        ({"landings": 2, "flights": 9}, "can neither show nor rule out"),
        ({"landings": 2, "flights": 10}, "what was seen fits what was told"),
        ({"proposals": ("fly less",)}, "  fly less"),
    ],
)
def test_few_flights_are_not_said_to_fit(counts, told):
    assert told in format_review(whole_review(**counts)).splitlines()[-1]
