"""The command line as a shell sees it: exit codes, one clear line, nothing half written."""

import json
import os
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from shell import driftmap

from driftmap.air.wind import WindProfile
from driftmap.cli import cli
from driftmap.cli.assess import _by_the_clock
from driftmap.cli.inputs import Run, WindOptions
from driftmap.core.errors import InputError
from driftmap.montecarlo import cloud

ROOT = Path(__file__).parents[2]
FLIGHT = str(ROOT / "examples" / "willet.toml")
SITE = str(ROOT / "sites" / "saltgrass-flat.geojson")
MORNING = str(ROOT / "examples" / "morning.csv")
ANSWERS = str(ROOT / "examples" / "answers.toml")
NOON = str(ROOT / "examples" / "noon.csv")


THEN = ("--when", "2026-06-13T08:30-07:00")
WHEN = {MORNING: "2026-06-13T08:30-07:00", NOON: "2026-06-13T12:10-07:00"}
"""The example winds' own day, shortly after they were read."""

no_page = pytest.mark.usefixtures("no_map")


def assess(tmp_path, *more, samples=500, flight=FLIGHT, site=SITE, wind=MORNING):
    out = tmp_path / "out"
    arguments = [flight, "--site", site, "--wind", wind, "--samples", samples]
    arguments += ["--when", WHEN[wind]] if wind in WHEN else []
    arguments += ["--answers", ANSWERS, "--out", out]
    return driftmap("assess", *arguments, *more), out


@pytest.mark.parametrize(
    ("option", "one", "other"),
    [("--site", SITE, "other.geojson"), ("--samples", "9", "10")],
)
def test_an_option_of_which_one_would_be_lost_is_refused(option, one, other):
    """Whoever edits the end of yesterday's line must not fly from another pad unseen."""
    run = CliRunner().invoke(cli, ["assess", FLIGHT, option, one, option, other])
    assert run.exit_code == 2
    assert f"{option} is given twice" in run.output


DUNLIN = str(ROOT / "examples" / "dunlin.toml")
ON = {  # what each command that takes times and winds is called with, and its wind
    "assess": (FLIGHT, "--site", SITE),
    "brief": (FLIGHT, "--site", SITE),
    "export": (FLIGHT, "--site", SITE, "--as", "kml"),
    "dial": (DUNLIN, "--site", SITE),
    "limits": (DUNLIN, "--site", SITE),
    "aim": (FLIGHT, "--site", SITE),
    "compare": (FLIGHT, "--site", SITE),
    "cases": (FLIGHT,),
    "rules": (FLIGHT, "--site", SITE),
    "search": (FLIGHT, "--site", SITE, "--out", "nowhere"),
    "explain": (FLIGHT, "--site", SITE, "--found", str(ROOT / "examples/found.toml")),
    "drop": ("--from", "900 m", "--mass", "1 kg", "--drag-area", "1 m2"),
}
IN = ("--wind", "9 mph from 240")


@pytest.mark.parametrize("command", [*ON, "winds"])
def test_a_time_that_is_none_is_refused_by_every_command_with_a_wind_or_without(
    monkeypatch, command
):
    """Of a shell's empty variable as well, and though nothing may come to read it."""
    monkeypatch.setattr(cloud, "fly_block", None)  # nothing is flown
    given = ON.get(command, (IN[1], "--site-elevation", "0 m"))
    winds = (IN, ()) if command in ON else ((),)
    for wind in winds:
        for option, text in (("--when", ""), ("--read-at", ""), ("--read-at", "soon")):
            run = CliRunner().invoke(cli, [command, *given, *wind, option, text])
            assert isinstance(run.exception, InputError), run.output
            assert str(run.exception).startswith(f"{option}: {text!r}; accepted is")


@pytest.mark.parametrize(
    ("command", "more"),
    [
        ("limits", ("--read-at", "2026-06-13T08:30-07:00")),
        ("rules", ("--station", "KXYZ")),
        ("dial", ("--station-away", "3 km")),
        ("cases", ("--pad", "West pad")),
        ("season", ("--soundings", MORNING, "--height", "2 m")),
        ("season", ("--log", "--height", "2 m")),
        ("season", ("--soundings", MORNING, "--check", "9")),
        ("season", ("--winds", "no-such-file.csv")),
        ("season", ("--soundings", "no-such-file.txt")),
        ("layout", ("--move", "Nobody there")),
        ("layout", ("--spacing", "1 m")),
        ("dial", ("--when", "2026-06-15T08:30-07:00", "--wind", MORNING)),
        ("dial", ("--when", "2026-06-13T07:30-07:00", "--wind", MORNING)),
    ],
)
def test_what_is_of_no_use_or_is_none_is_told_before_anything_is_flown(
    monkeypatch, command, more
):
    monkeypatch.setattr(cloud, "fly_block", None)
    given = {**ON, "season": ON["limits"], "layout": (SITE, "--flight", DUNLIN)}
    run = CliRunner().invoke(cli, [command, *given[command], *more])
    assert isinstance(run.exception, InputError), run.output
    assert "\n" not in str(run.exception)
    found = str(run.exception)
    named = (*more[-2:], "Nobody there", "morning.csv: is")
    assert any(told in found for told in named)


def test_a_verdict_writes_map_and_document(tmp_path):
    run, out = assess(tmp_path, "--json", samples=100)
    assert run.returncode == 3, run.stderr
    data = json.loads(run.stdout)
    assert data == json.loads((out / "assessment.json").read_text(encoding="utf-8"))
    assert data["verdict"] == "hold"
    assert (out / "map.html").stat().st_size > 100_000
    assert {p.name for p in out.iterdir()} == {"map.html", "assessment.json"}


def test_no_go_page_of_an_earlier_run_passes_for_this_one(tmp_path):
    """What stops before a flight is flown writes no map: a go that lay there must not stay."""
    out = tmp_path / "out"
    out.mkdir()
    for name in (
        "map.html",
        "poster.html",
        "assessment.json",
        "landing.kml",
        "mine.txt",
    ):
        (out / name).write_text("GO", encoding="utf-8")
    heavy = tmp_path / "heavy.toml"
    text = Path(FLIGHT).read_text(encoding="utf-8")
    heavy.write_text(text.replace('mass = "1.85 kg" ', 'mass = "80 kg" '), "utf-8")
    curve = Path(FLIGHT).with_name("willet_motor.csv")
    (tmp_path / curve.name).write_bytes(curve.read_bytes())
    run, _ = assess(tmp_path, flight=str(heavy))
    assert run.returncode == 4, run.stderr
    assert {p.name for p in out.iterdir()} == {"map.html", "poster.html", "mine.txt"}
    for name in ("map.html", "poster.html"):
        page = (out / name).read_text(encoding="utf-8")
        assert "off the rail" in page
        assert 'class="no-go"' in page
    assert (out / "mine.txt").read_text(encoding="utf-8") == "GO"


def test_pages_of_an_earlier_run_are_named(tmp_path):
    """Bad input writes nothing and loses nothing, and says what lies there still."""
    out = tmp_path / "out"
    out.mkdir()
    (out / "map.html").write_text("GO", encoding="utf-8")
    run, _ = assess(tmp_path, wind="7 mph from nowhere")
    assert run.returncode == 2
    assert (out / "map.html").read_text(encoding="utf-8") == "GO"
    assert f"of an earlier run, not of this one: {out / 'map.html'}" in run.stderr


@no_page
def test_verdicts_have_their_exit_codes(tmp_path):
    # Nothing seen in a hundred flights is no proof of a chance below 1 in 1,000.
    run, _ = assess(tmp_path, samples=100)
    assert run.returncode == 3
    assert run.stdout.startswith("HOLD")
    assert "needs 3,689 flights or more" in run.stderr
    run, _ = assess(tmp_path, wind="30 mph from 80")
    assert run.returncode == 4
    assert run.stdout.startswith("NO-GO")
    assert "range safety officer decides" in run.stdout


@no_page
def test_an_unanswered_question_holds(tmp_path):
    out = tmp_path / "out"
    some = tmp_path / "answers.toml"
    some.write_text(
        "date = 2026-06-13\n"
        'site = "Saltgrass Flat, Copper Heron Rocket Club"\n'
        "place = [41.604, -117.952, 1234.4]\n"
        'landowner_leave = "yes"\n'
    )
    arguments = ["assess", FLIGHT, "--site", SITE, "--wind", MORNING, "--out", out]
    arguments += ["--when", WHEN[MORNING], "--samples", 4000]
    for more in ([], ["--answers", some]):
        run = driftmap(*arguments, *more)
        assert run.returncode == 3
        assert "of the rules not answered" in run.stdout
        assert run.stdout.count("    to be answered: ") == 3
        assert "more to be answered\n    driftmap rules, with --write-ans" in run.stdout


@pytest.mark.parametrize("newer", ["flight", "site", "answers", "wind", "out", None])
def test_a_file_newer_than_now_holds_where_the_flight_is_now(tmp_path, newer):
    files = {name: tmp_path / name for name in ("flight", "site", "answers", "wind")}
    files["out"] = tmp_path / "map.html"
    for name, path in files.items():
        path.touch()
        if name == newer:
            later = time.time() + 3600
            os.utime(path, (later, later))
    calm = WindProfile([0.0], [0.0], [0.0], [1.0])
    run = Run(
        flight=str(files["flight"]),
        site=str(files["site"]),
        asked=WindOptions(("calm", str(files["wind"]))),
        answers=(str(files["answers"]),),
    )
    (*said,) = _by_the_clock(calm, run, tmp_path).warned
    assert bool(said) == (newer is not None)
    assert all("clock is behind" in text and str(files[newer]) in text for text in said)
    then = WindOptions(run.asked.winds, when="2026-06-13T08:30-07:00")
    # The flight is told to be then.
    assert not _by_the_clock(calm, replace(run, asked=then), tmp_path).warned


@no_page
def test_yesterdays_answers_hold(tmp_path):
    old = tmp_path / "old.toml"
    given = Path(ANSWERS).read_text(encoding="utf-8")
    old.write_text(given.replace("2026-06-13", "2026-06-12"), encoding="utf-8")
    out = tmp_path / "out"
    arguments = ["--wind", MORNING, "--when", WHEN[MORNING], "--answers", old]
    arguments += ["--samples", 500]
    run = driftmap("assess", FLIGHT, "--site", SITE, *arguments, "--out", out)
    assert run.returncode == 3
    data = json.loads((out / "assessment.json").read_text(encoding="utf-8"))
    assert len(data["inputs"]["answers old.toml"]) == 64
    assert data["answers"]["given"]["remote_ignition"] is True  # of the season
    assert "answered for 2026-06-12" in data["answers"]["stale"]["landowner_leave"]
    asked = [c for c in data["checks"] if c["question"]]
    assert any("answered for 2026-06-12" in c["note"] for c in asked)


@pytest.mark.slow  # as the same seed gives the same flights
@pytest.mark.usefixtures("flown_anew")
def test_same_seed_same_files_and_units_change_the_words_alone(tmp_path):
    (one, first), (two, second), (si, third) = (
        assess(tmp_path / name, *more)
        for name, more in (("a", ()), ("b", ()), ("c", ("--units", "si")))
    )
    assert one.stdout.replace("/a/", "/b/") == two.stdout
    assert (first / "map.html").read_bytes() == (second / "map.html").read_bytes()
    assert " ft toward" in one.stdout
    assert " m toward" in si.stdout
    told = [(out / "assessment.json").read_bytes() for out in (first, second, third)]
    assert told[0] == told[1] == told[2]


@pytest.mark.slow  # as a surface report brings its own air
@no_page
def test_hot_day_falls_faster(tmp_path):
    """Density goes with 1/T at one pressure, the fall with the root of 1/density."""
    calm = {"wind": "calm"}  # or the wind, which is no faster, counts in the speed
    cold, _ = assess(tmp_path / "a", "--json", "--temperature", "-10 C", **calm)
    hot, _ = assess(tmp_path / "b", "--json", "--temperature", "40 C", **calm)
    speeds = [
        json.loads(run.stdout)["cases"][0]["pieces"][0]["impact_speed_mps"]["p50"]
        for run in (cold, hot)
    ]
    assert speeds[1] / speeds[0] == pytest.approx(np.sqrt(313.15 / 263.15), rel=0.01)


HERE = ["assess", FLIGHT, "--site", SITE]
DAY = [*HERE, "--wind", MORNING]
BODY = {"--from": "90 m", "--mass": 1, "--drag-area": 1, "--wind": "calm"}
BAD = [
    (["assess", "nowhere.toml", "--site", SITE, "--wind", MORNING], "nowhere.toml"),
    (["assess", FLIGHT, "--site", "no.geojson", "--wind", MORNING], "no.geojson"),
    (["assess", FLIGHT, "--site", FLIGHT, "--wind", MORNING], "willet.toml"),
    ([*HERE, "--wind", "brisk"], "brisk"),
    ([*HERE, "--wind", "12 mph from 2700"], "2700"),
    (HERE, "--wind"),
    ([*DAY, "--samples", "0"], "--samples"),
    ([*DAY, "--sample", "9"], "--samples"),
    ([*DAY, "--units", "cgs"], "cgs"),
    ([*DAY, *THEN, "--temperature", "90 C"], "temperature"),
    ([*DAY, *THEN, "--answers", "no"], "no"),
    ([*DAY, *THEN, "--precision", "0"], "--precision"),
    *(
        (["drop", *sum({**BODY, key: value}.items(), ())], key)
        for key, value in (("--from", "-3 m"), ("--mass", "x"), ("--from", "90 km"))
    ),
    (["asses"], "Did you mean 'assess'"),
    (["cases", "nowhere.toml"], "nowhere.toml"),
    (["rules", FLIGHT, "--site", SITE, "--rules", "usa"], "usa"),
    (["compare", FLIGHT, "--site", SITE, "--wind", "x"], "x"),
]


@pytest.mark.parametrize(("arguments", "told"), BAD)
def test_bad_input_is_one_line_and_exit_code_2(tmp_path, arguments, told):
    run = driftmap(*arguments, cwd=tmp_path)
    assert run.returncode == 2
    assert run.stdout == ""
    assert len(run.stderr.splitlines()) == 1
    assert told in run.stderr
    assert list(tmp_path.iterdir()) == []


def test_bad_files_of_every_kind(tmp_path):
    """Empty, binary, and far too large files as flight, site and wind."""
    empty, binary, large = (tmp_path / n for n in ("empty", "binary", "large"))
    empty.write_bytes(b"")
    binary.write_bytes(bytes(range(256)) * 4)
    large.write_text("height_m,from_deg,speed_mps\n" + "1,2,3\n" * 1_000_000)
    given = {"flight": FLIGHT, "site": SITE, "wind": MORNING}
    for path in (empty, binary, large):
        for what in given:
            run, out = assess(tmp_path, **{**given, what: str(path)})
            assert run.returncode == 2, (what, path)
            assert len(run.stderr.splitlines()) == 1
            assert path.name in run.stderr
            assert not out.exists()


@no_page
def test_a_surface_report_brings_its_own_air(tmp_path):
    """Temperature and altimeter setting of a METAR make the day; an option overrides."""
    report = "METAR KXYZ 131520Z 08004KT 10SM CLR 35/05 A2992"
    winds = ["--wind", report, "--json"]
    run, _ = assess(tmp_path / "a", *winds)
    told = json.loads(run.stdout)["assumed"] if run.returncode != 2 else run.stderr
    assert any("35 °C" in text for text in told), told
    run, _ = assess(tmp_path / "b", *winds, "--temperature", "10 C")
    assert any("10 °C" in text for text in json.loads(run.stdout)["assumed"])


def test_a_fault_of_our_own_is_one_line_and_no_verdict():
    code = (
        "import driftmap.cli as c\n"
        "def broken(**kw): raise KeyError('inside')\n"
        "c.cli.main = broken\n"
        "c.main()"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False
    )
    assert run.returncode == 1
    assert len(run.stderr.splitlines()) == 1
    assert "no verdict" in run.stderr


def test_a_folder_that_cannot_be_made(tmp_path):
    (tmp_path / "out").write_text("a file in the way")
    run, _ = assess(tmp_path)
    assert run.returncode == 2
    assert len(run.stderr.splitlines()) == 1


def test_drop_keys_and_sense():
    body = ("--from", "1000 m", "--mass", "1.5", "--drag-area", "0.75")
    wind = ("--wind", "10 m/s from 270")
    run = driftmap("drop", *body, "--speed-up", "20 m/s", *wind, "--json")
    data = json.loads(run.stdout)
    assert [key for key in data if not key.endswith(("_m", "_s", "_mps", "_j"))] == [
        "notes"
    ]
    assert data["east_m"] > 1000
    assert abs(data["north_m"]) < 1.0
    assert data["energy_j"] == pytest.approx(0.75 * data["impact_speed_mps"] ** 2)


@pytest.mark.parametrize(
    ("winds", "said"),
    [
        (["5 m/s from 270 at 10 m"], "known up to 60 m only; above that it grows"),
        (
            [
                "METAR KXYZ 091455Z VRB05KT 9SM CLR 15/12 A2992",
                "5 m/s from 100 at 110 m",
            ],
            "comes from no one side",
        ),
        (["less than 20 mph from W"], "told by what it is less than"),
        (
            ["5 mph from 100", "25 mph from 280"],
            "holds a flight: winds disagree at 2 m",
        ),
        (["METAR KXYZ 091455Z 28015KT 9SM TSRA BKN020CB 15/12 A2992"], "thunderstorm"),
    ],
)
def test_drop_tells_what_is_known_of_its_wind(winds, said):
    body = ("--from", "1000 m", "--mass", "1.5 kg", "--drag-area", "0.75 m2")
    told = [word for wind in winds for word in ("--wind", wind)]
    run = driftmap("drop", *body, *told, "--when", "2026-05-09T15:00Z")
    assert said in run.stdout


@pytest.mark.parametrize("wind", ["20 mph", "light and variable", "force 6"])
def test_a_drop_in_a_wind_from_nobody_knows_where_is_no_drop_in_a_calm(wind):
    body = ("--from", "1000 m", "--mass", "1.5 kg", "--drag-area", "0.75 m2")
    run = driftmap("drop", *body, "--wind", wind)
    assert run.returncode == 2
    assert "where would it land?" in run.stderr


def test_compare_and_cases(tmp_path):
    run = driftmap(
        *("compare", FLIGHT, "--site", SITE, "--wind", NOON, "--when", WHEN[NOON]),
        *("--samples", 500, "--json"),
    )
    rows = json.loads(run.stdout)["alternatives"]
    drift = {r["name"]: np.hypot(r["mean_east_m"], r["mean_north_m"]) for r in rows}
    speed = {r["name"]: r["impact_speed_mps"]["p50"] for r in rows}
    smaller, larger = (f"main a quarter {w} across" for w in ("smaller", "larger"))
    assert drift[smaller] < drift["as planned"] < drift[larger]
    assert speed[smaller] > speed["as planned"] > speed[larger]
    assert all(bool(row["held_by"]) == (row["verdict"] != "go") for row in rows)
    assert json.loads(run.stdout)["assumed"]
    run = driftmap(
        *("compare", FLIGHT, "examples/dunlin.toml", "--site", SITE, "--wind", NOON),
        *("--samples", 100, "--json", "--when", WHEN[NOON]),
    )
    data = json.loads(run.stdout)
    assert [row["name"] for row in data["alternatives"]] == ["Willet 54", "Dunlin 38"]
    assert not data["made_up"]
    run = driftmap(
        *("cases", FLIGHT, "--samples", 1000, "--json", "--wind", "4 mph from 240"),
        *("--language", "de", "--out", tmp_path),
    )
    data = json.loads(run.stdout)
    assert sum(c["probability"] for c in data["cases"]) == pytest.approx(1.0)
    assert data["assumed"]
    told = (tmp_path / "cases.html").read_text("utf-8").replace("\xa0", " ")
    # 4 mph are 1.788 m/s; the page speaks its reader's language, not the file's.
    assert "Wind 1,8 m/s aus Südwesten (240°)" in told
    assert "mph" not in told.partition("Angenommen")[0]


@pytest.mark.parametrize("command", ["", "assess", "drop", "cases", "compare", "winds"])
def test_help_teaches_by_example(command):
    run = driftmap(*filter(None, [command]), "--help")
    assert run.returncode == 0
    assert f"driftmap {command or 'assess'} " in run.stdout


@pytest.mark.parametrize("command", ["assess", "brief", "compare"])
def test_too_few_flights_are_told_before_the_run(tmp_path, monkeypatch, command):
    def stop(*_, **__):
        raise InputError("the run", "", "has begun")

    monkeypatch.setattr("driftmap.verdict.assessment.assess_setup", stop)
    monkeypatch.setattr("driftmap.verdict.compared.compare", stop)
    given = ["--site", SITE, "--wind", MORNING, *THEN, "--out", tmp_path]
    run = driftmap(command, FLIGHT, *given, "--samples", 3000)
    need, begun, *_ = run.stderr.splitlines()
    assert need.startswith("needs 3,689 flights or more (--samples 3689): 3,000 cannot")
    assert "has begun" in begun
    run = driftmap(command, FLIGHT, *given, "--samples", 4000)
    assert "needs" not in run.stderr
