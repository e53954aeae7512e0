"""A season from soundings: each flown as it is, one that cannot be used is not known."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from awkward import foreign, latin_words
from click.testing import CliRunner

from driftmap.cli.season import season_command
from driftmap.core.errors import WindError
from driftmap.ground.site import read_site
from driftmap.planning import season
from driftmap.planning.ledger import Ledger
from driftmap.planning.season_aloft import (
    _try_sounding,
    read_soundings,
    season_soundings,
)
from driftmap.planning.trial import pack, try_flight
from driftmap.rocket.flightfile import read_flight
from driftmap.verdict.check import Kind
from driftmap.verdict.setup import Setup
from driftmap.winds.formats import decode, each_time
from driftmap.winds.profile import read_winds, shape
from driftmap.winds.reading import Setting

ROOT = Path(__file__).parents[2]
FLIGHT, SITE = ROOT / "examples/dunlin.toml", ROOT / "sites/saltgrass-flat.geojson"
BARROW = ROOT / "tests/data/winds/igra_barrow_2010-06.txt"
# Columns after "Format Description of IGRA 2 Sounding Data Files"; no level has a wind.
WINDLESS = """\
#USM00070026 2010 06 02 00 2302    2 ncdc-nws ncdc-nws  712889 -1567833
21     0 102095B   12B   11B-9999    15 -9999 -9999
10    35 100000B  178B    3B-9999    20 -9999 -9999
"""


@pytest.fixture(scope="module")
def setup():
    return Setup(read_flight(FLIGHT), read_site(SITE), 200, 1)


@pytest.fixture(scope="module")
def setting(setup):
    return Setting(setup.site.elevation)


@pytest.mark.slow  # the command is tried too
def test_each_sounding_is_judged_as_any_wind(setup, setting):
    aloft = read_soundings([BARROW], setting)
    assert [one.time.day for one in aloft] == [31, 1]
    hours = season_soundings(setup, aloft, setting, Ledger("key"))
    assert [hour.time for hour in hours] == [one.time for one in aloft]
    for hour in hours:
        wind = read_winds(
            [str(BARROW)], site_altitude=setup.site.elevation, when=hour.time
        )
        trial = try_flight(setup, wind)
        assert (hour.finding, hour.blocked_by) == (trial.verdict, trial.blocked_by)


def test_a_sounding_without_wind_is_not_known(setup, setting, tmp_path):
    path = tmp_path / "station.txt"
    path.write_text(WINDLESS)
    aloft = read_soundings([path], setting)
    assert aloft[0].time == datetime(2010, 6, 1, 23, 2, tzinfo=UTC)
    (hour,) = season_soundings(setup, aloft, setting, Ledger("key"))
    assert hour.finding == "not known"
    assert hour.blocked_by


def test_what_the_ledger_holds_is_not_flown_again(setup, setting, monkeypatch):
    aloft = read_soundings([BARROW, BARROW], setting)
    assert len(aloft) == 2  # the same file twice is the same winds
    ledger = Ledger("key")
    first = season_soundings(setup, aloft, setting, ledger)

    def never(*_):
        raise AssertionError("flown again")

    monkeypatch.setattr(season, "try_flight", never)
    assert season_soundings(setup, aloft, setting, ledger) == first


def test_a_forecast_for_several_times_is_taken_apart(setting, tmp_path):
    level = {"height_m": 10, "from_deg": 240, "speed_mps": 4.2}
    times = ["2026-05-09T18:00Z", "2026-05-09T15:00Z"]
    each = [{"valid": time, "levels": [level]} for time in times]
    path = tmp_path / "forecast.json"
    path.write_text(json.dumps({"source": "model", "forecasts": each}))
    aloft = read_soundings([path], setting)
    assert [one.time.hour for one in aloft] == [15, 18]


ARRAYS = {
    "height": [10],
    "wind_speed": [[20], [3]],
    "wind_from_direction": [[240], [240]],
    "units": {"height": "m", "wind_speed": "m/s", "wind_from_direction": "deg"},
}


@pytest.mark.parametrize(
    "text", ["", "{", '{"forecasts": 3}', '{"forecasts": []}', "[]"]
)
def test_what_cannot_be_taken_apart_stays_whole(text):
    assert each_time(text) == (text,)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (WINDLESS + WINDLESS.replace("USM00070026", "USM00070027"), "holds 2 stations"),
        ("height_m,from_deg,speed_mps\n10,240,4\n", "does not say its time"),
        (WINDLESS.replace("2010 06 02", "2010 13 02"), "its time"),
        ("nothing was blown\n", "is no wind that can be read"),
        (
            "METAR KXYZ 091753Z 24005KT CLR\nMETAR KXYZ 091853Z 24035KT CLR",
            "holds 2 times, of which one would count",
        ),
        (
            json.dumps(ARRAYS | {"time": ["2026-05-09T15:00Z", "2026-05-09T18:00Z"]}),
            "holds 2 times, of which one would count",
        ),
    ],
)
def test_files_that_cannot_make_a_season_are_refused(text, said, setting, tmp_path):
    path = tmp_path / "winds.txt"
    path.write_text(text)
    with pytest.raises(WindError, match=said):
        read_soundings([path], setting)


def run(*words):
    return CliRunner().invoke(
        season_command, [str(FLIGHT), "--site", str(SITE), *map(str, words)]
    )


def test_the_command_counts_soundings_and_goes_on(tmp_path):
    words = ("--soundings", BARROW, "--samples", 200, "--out", tmp_path)
    first = run(*words)
    assert first.exit_code == 0, first.output
    assert "2 of 2" in first.output
    assert "soundings known" in first.output
    document = json.loads((tmp_path / "season.json").read_text())
    assert document["counted"] == "soundings"
    assert document["bins"] is None
    page = tmp_path / "season.html"
    assert "soundings" in page.read_text()
    again = run(*words, "--language", foreign(tmp_path / "x.toml"))
    assert "going on: 2 of 2" in again.output
    names = SITE.read_text("utf-8"), "Dunlin"
    assert latin_words(page.read_text("utf-8"), *names) == set()


@pytest.mark.parametrize(
    "words", [(), ("--winds", "hourly.csv", "--soundings", BARROW)]
)
def test_one_kind_of_wind_is_asked_for(words):
    from driftmap.core.errors import InputError

    result = run(*words)
    assert isinstance(result.exception, InputError)
    assert "--winds, --soundings and --log" in str(result.exception)


@pytest.mark.parametrize("storm", [[], ["squalls by noon"]])
def test_a_forecast_of_a_season_or_a_shape_need_not_have_been_read_at_the_field(
    setup, storm, tmp_path
):
    """As every wind of a plan is still to be read; what else it tells holds."""
    levels = [{"height_m": z, "from_deg": 240, "speed_mps": 2} for z in (10, 300, 1500)]
    told = {"valid": "2026-06-13T15:00Z", "based_on": "2026-06-13T12:00Z"}
    path = tmp_path / "forecast.json"
    path.write_text(json.dumps({**told, "levels": levels, "notes": storm}))
    when = datetime(2026, 6, 13, 15, tzinfo=UTC)
    here = Setting(setup.site.elevation, when=when)
    (one,) = read_soundings([path], here)
    trial = _try_sounding(pack(setup), here, one)
    kinds = [check.kind for check in trial.blocks if check.kind is Kind.WIND_WARNED]
    assert len(kinds) == len(storm)
    shown = shape(decode(str(path), here), here)
    assert len(shown.warned) == len(storm)
    flown = read_winds([str(path)], site_altitude=setup.site.elevation, when=when)
    assert any("nobody read the wind near the ground" in one for one in flown.warned)
