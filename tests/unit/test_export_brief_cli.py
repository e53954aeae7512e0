"""``driftmap export`` and ``driftmap brief``: files, exit codes, refusals."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from driftmap.cli.assess import brief_command, export_command
from driftmap.core.errors import InputError

ROOT = Path(__file__).parents[2]
FLIGHT = [
    str(ROOT / "examples" / "willet.toml"),
    "--site",
    str(ROOT / "sites" / "saltgrass-flat.geojson"),
    "--wind",
    "8 mph from 240",
    "--samples",
    "300",
]
CODES = {"GO": 0, "HOLD": 3, "NO-GO": 4}


def run(command, *arguments):
    return CliRunner().invoke(command, [*FLIGHT, *arguments], catch_exceptions=True)


@pytest.mark.parametrize(
    ("formats", "files"),
    [
        pytest.param(["geojson"], {"landing.geojson"}, marks=pytest.mark.slow),
        (["kml", "gpx"], {"landing.kml", "landing.gpx"}),
        (
            ["csv"],
            {
                f"{n}.csv"
                for n in ("about", "areas", "contours", "pieces", "points", "grid")
            },
        ),
    ],
)
def test_export_writes_what_was_asked(tmp_path, formats, files):
    asked = [part for name in formats for part in ("--as", name)]
    result = run(export_command, *asked, "--out", str(tmp_path))
    assert {path.name for path in tmp_path.iterdir()} == files
    assert result.exit_code == CODES[result.stdout.split(";")[0]]
    assert all(name in result.output for name in files)


def test_export_options_reach_the_file(tmp_path):
    options = ["--points", "2", "--floor", "0.3 %", "--square", "250 ft"]
    run(export_command, "--as", "geojson", *options, "--out", str(tmp_path))
    features = json.loads((tmp_path / "landing.geojson").read_text())["features"]
    found = [f["properties"] for f in features]
    squares = [p for p in found if p["kind"] == "square"]
    means = [p for p in found if p["kind"] == "mean landing point"]
    assert len([p for p in found if p["kind"] == "landing point"]) == 2 * len(means)
    assert {p["side_m"] for p in squares} == {76.2}
    assert min(p["hit_probability"] for p in squares) >= 0.003


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--floor", "2"], "--floor: '2' is out of bounds; accepted is 0 to 1"),
        (["--floor", "low"], "--floor: 'low' is no share"),
        (["--square", "0 m"], "--square: '0 m' is out of bounds; accepted is 0.1 to"),
        (
            ["--square", "20 cm"],
            "--square: squares of 0.2 m would be more than 1,000,000; make them wider",
        ),
        (["--square", "1 acre"], "--square: '1 acre' has no unit of length"),
    ],
)
def test_export_refuses_and_writes_nothing(tmp_path, options, told):
    out = tmp_path / "out"
    result = run(export_command, "--as", "kml", *options, "--out", str(out))
    assert isinstance(result.exception, InputError)
    assert told in str(result.exception)
    assert not out.exists()


def test_export_needs_a_format(tmp_path):
    result = run(export_command, "--out", str(tmp_path))
    assert result.exit_code == 2
    assert "--as" in result.output


def test_brief_writes_one_page(tmp_path):
    result = run(
        brief_command, "--language", "de", "--units", "si", "--out", str(tmp_path)
    )
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "briefing.html",
        "caller.html",
        "poster.html",
    ]
    assert result.exit_code == CODES[result.stdout.split(";")[0]]
    page = (tmp_path / "briefing.html").read_text("utf-8")
    assert '<html lang="de"' in page
    assert "ft" not in page.partition("<main>")[2].partition("<svg")[0]


def test_brief_refuses_an_unknown_language_before_it_flies(tmp_path):
    out = tmp_path / "out"
    result = run(brief_command, "--language", "xx", "--out", str(out))
    assert isinstance(result.exception, InputError)
    assert str(result.exception).startswith("--language: must be one of de, en, es, fr")
    assert not out.exists()
