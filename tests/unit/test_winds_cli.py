"""`driftmap winds`, run as a person runs it."""

import json
import math
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from driftmap.cli.times import flight_time
from driftmap.cli.winds import winds_command
from driftmap.core.errors import DriftmapError, InputError, WindError
from driftmap.report.voice import english
from driftmap.report.wind_text import wind_in_words
from driftmap.winds.profile import read_wind, read_winds

READ = "2026-06-13T08:10-07:00"
DATA = Path(__file__).parents[1] / "data" / "winds"
BULLETIN = str(DATA / "bulletin_constructed.txt")
METAR = "METAR KXYZ 190555Z 24008G17KT 10SM 12/03 A3001"
THEN = ("--when", "2026-05-19T06:10Z")
TOP = ["when", "levels", "sources", "assumed", "site_altitude_m", "readings"]
KEYS = ["height_agl_m", "from_deg", "speed_mps", "gust_mps", "source"]


def _run(*arguments):
    return CliRunner().invoke(winds_command, list(arguments), catch_exceptions=True)


def _json(*arguments):
    result = _run(*arguments, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.output)


def test_the_sky_of_a_report_is_kept(tmp_path):
    """A wind written down and read again flies into the same cloud."""
    text = METAR.replace("10SM", "3SM BR BKN005")
    kept = tmp_path / "kept.json"
    kept.write_text(
        _run(text, "--site-elevation", "0 m", *THEN, "--json").output, encoding="utf-8"
    )
    for source in (text, str(kept)):
        when = datetime(2026, 5, 19, 6, 10, tzinfo=UTC)
        wind = read_winds([source], site_altitude=0.0, when=when)
        assert (wind.cloud_cover, wind.visibility) == (7 / 8, pytest.approx(4828.032))
        assert wind.cloud_base == pytest.approx(152.4)


def test_merged_document():
    where = ("--station", "XYC", "--site-elevation", "800 ft")
    document = _json(METAR, BULLETIN, *where, *THEN)
    assert list(document) == TOP
    assert all(list(level) == KEYS for level in document["levels"])
    heights = [level["height_agl_m"] for level in document["levels"]]
    assert heights == sorted(heights)
    by_height = {level["height_agl_m"]: level for level in document["levels"]}
    assert by_height[10.0]["gust_mps"] == pytest.approx(17 * 0.514444, abs=1e-5)
    assert by_height[2499.36]["from_deg"] is None
    assert by_height[3413.76]["from_deg"] == 260.0
    assert document["sources"] == [
        "surface report KXYZ 190555Z",
        "winds aloft XYC 190600Z",
    ]


def test_decoded_document_has_the_same_keys_and_only_what_was_read():
    document = _json(
        *(METAR, BULLETIN, "--station", "XYC", "--site-elevation", "0 m", "--decoded"),
        *THEN,
    )
    assert list(document) == TOP
    assert all(list(level) == KEYS for level in document["levels"])
    assert len(document["levels"]) == 1 + 7


def test_terminal_table_and_units():
    shown = _run("12 mph from 240", "--site-elevation", "100 m").output
    assert "240°" in shown
    assert "12 mph" in shown
    assert "assumed: above 60 m no source speaks" in shown
    assert "m/s" in _run("calm", "--site-elevation", "0 m", "--units", "si").output
    assert "variable" in _run("3 mph variable", "--site-elevation", "0 m").output
    assert "calm" in _run("calm", "--site-elevation", "0").output
    bare = _run("calm", "--site-elevation", "100")
    assert "must name its unit" in str(bare.exception)


def test_a_wind_from_all_sides_is_a_calm_at_no_height():
    rows = _run("6 mph variable", "--site-elevation", "0 m").output
    assert "calm" not in rows
    assert " 0 mph" not in rows
    told = wind_in_words(read_wind("6 mph variable", site_altitude=0.0), english("us"))
    # ln(10/0.03) / ln(2/0.03) = 1.383 times what is read at head height.
    assert told[0] == "Wind from all sides, 6\xa0mph at head height"
    assert told[1] == "8\xa0mph at 33\xa0ft"


def test_levels_above_the_top_are_counted_not_hidden():
    arguments = (str(DATA / "list_hobart_2013-07-09.txt"), "--site-elevation", "27 m")
    arguments += ("--when", "2013-07-09T00:30Z")
    assert "levels above 9,843 ft; --top shows them" in _run(*arguments).output
    assert "--top shows" not in _run(*arguments, "--top", "30 km").output
    assert len(_json(*arguments)["levels"]) == 49


def test_decoded_surface_report_tells_temperature_and_pressure():
    arguments = (METAR, "--site-elevation", "0 m", "--decoded", *THEN)
    assert "54 °F, 30.01 inHg" in _run(*arguments).output
    assert "12 °C, 1016 hPa" in _run(*arguments, "--units", "si").output


def test_decoded_table():
    shown = _run("12 mph from 240", "--site-elevation", "0 m", "--decoded").output
    assert "law" not in shown
    assert "12 mph" in shown


def test_picture_is_written_and_asks_nothing_from_outside(tmp_path):
    out = tmp_path / "new" / "folder"
    result = _run("12 mph from 240", "--site-elevation", "0 m", "--out", str(out))
    assert result.exit_code == 0
    page = (out / "wind.html").read_text()
    assert "<svg" in page
    assert "http:" not in page.replace("http://www.w3.org/2000/svg", "")
    assert "https:" not in page


def test_site_file_gives_elevation_and_declination(tmp_path):
    site = Path(__file__).parents[2] / "sites" / "larkfold-farm.geojson"
    path = tmp_path / "w.csv"
    path.write_text("altitude_m,from_deg,speed_mps\n3000,90,5\n")
    document = _json(str(path), "--site", str(site))
    from driftmap.ground.site import read_site

    expected = 3000.0 - read_site(site).elevation
    assert document["levels"][-1]["height_agl_m"] == pytest.approx(expected)


@pytest.mark.parametrize(
    ("remark", "column", "turned"),
    [
        ("", "from_magnetic_deg", True),
        ("# azimuth_magnetic_deg where by the needle\n", "from_deg", False),
        ("# not magnetic\n", "from_deg", False),
    ],
)
def test_only_bearings_that_were_turned_are_held_against_the_needle(
    remark, column, turned
):
    text = f"{remark}# read {READ}\nheight_m,{column},speed_mps\n2,90,2\n"
    wind = read_winds(
        [text],
        site_altitude=0.0,
        when=datetime.fromisoformat(READ),
        declination=math.radians(-28.0),
        place=(41.6, -117.9),
    )
    assert any("a needle there points 1" in said for said in wind.warned) == turned


def test_declination_turns_magnetic_bearings():
    document = _json(
        "5 mph from 350 magnetic", "--site-elevation", "0 m", "--declination", "12"
    )
    assert document["levels"][0]["from_deg"] == pytest.approx(2.0)


@pytest.mark.parametrize(
    "arguments",
    [
        (),
        ("12 mph from 240",),
        ("12 mph from 240", "--site", "x", "--site-elevation", "0 m"),
        ("12 mph from 240", "--site-elevation", "0 m", "--units", "cubits"),
        ("12 mph from 240", "--site-elevation", "0 m", "--sation", "X"),
    ],
)
def test_wrong_use_exits_2(arguments):
    assert _run(*arguments).exit_code == 2


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("12 mph from 2700", "--site-elevation", "0 m"), "direction 2700"),
        (("calm", "--site-elevation", "high"), "--site-elevation"),
        (("calm", "--site-elevation", "99 km"), "accepted is -500 to 9,000"),
        (("calm", "--site-elevation", "0 m", "--when", "noon"), "--when"),
        (("calm", "--site-elevation", "0 m", "--declination", "far"), "--declination"),
        (("calm", "--site-elevation", "0 m", "--out", "x", "--top", "-5 m"), "--top"),
        (("nowhere.csv", "--site-elevation", "0 m"), "no file"),
        ((BULLETIN, "--site-elevation", "0 m"), "name one: XYA, XYB, XYC"),
    ],
)
def test_bad_input_is_one_line_and_nothing_is_shown(arguments, message):
    result = _run(*arguments)
    assert isinstance(result.exception, DriftmapError)
    assert message in str(result.exception)
    assert "\n" not in str(result.exception)
    assert result.output == ""


def test_a_folder_that_cannot_be_is_named():
    result = _run("calm", "--site-elevation", "0 m", "--out", "/dev/null/x")
    # The command line tells what a system refuses, in one place for all commands.
    assert isinstance(result.exception, OSError)
    assert result.exception.filename == "/dev/null/x"
    assert result.output == ""


def test_old_sounding_is_refused():
    result = _run(
        str(DATA / "list_hobart_2013-07-09.txt"),
        *("--site-elevation", "27 m", "--when", "2013-07-10T06:00Z"),
    )
    assert isinstance(result.exception, WindError)
    assert "30 h from the flight's time" in str(result.exception)


def test_fetching_needs_a_time_and_says_when_there_is_no_network(monkeypatch, tmp_path):
    monkeypatch.setenv("DRIFTMAP_CACHE", str(tmp_path))
    site = str(Path(__file__).parents[2] / "sites" / "larkfold-farm.geojson")
    assert _run("--at", site).exit_code == 2
    service = ("--service", "http://127.0.0.1:9/")
    result = _run("--at", site, "--when", "2026-05-19T14:30Z", *service)
    assert isinstance(result.exception, WindError)
    assert "cannot be reached" in str(result.exception)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("18:30Z", datetime(2026, 5, 9, 18, 30, tzinfo=UTC)),
        ("2026-05-10T14:30+02:00", datetime(2026, 5, 10, 12, 30, tzinfo=UTC)),
        ("2026-05-10 14:30Z", datetime(2026, 5, 10, 14, 30, tzinfo=UTC)),
    ],
)
def test_flight_time(text, expected):
    assert flight_time(text, datetime(2026, 5, 9, 12, tzinfo=UTC)) == expected


def test_flight_time_without_a_zone_is_this_computers_clock():
    now = datetime(2026, 5, 9, 12, tzinfo=UTC)
    local = flight_time("14:30", now).astimezone()
    assert (local.hour, local.minute) == (14, 30)


@pytest.mark.parametrize(
    "text", ["", "25:00", "14:75", "tomorrow", "2026-05-09", "٣٤:٥٥"]
)
def test_no_flight_time(text):
    with pytest.raises(InputError, match="--when"):
        flight_time(text)


def test_the_gust_that_counts_is_shown_whosever_report_tells_it():
    meter = "6 mph from 240 at 06:08Z"
    told = _run(METAR, meter, "--site-elevation", "0 m", *THEN, "--units", "us")
    wind = read_winds(
        [METAR, meter], site_altitude=0.0, when=datetime(2026, 5, 19, 6, 10, tzinfo=UTC)
    )
    # Nine knots over the mean of the report's own, over six miles an hour: 16 (by hand).
    assert "; gusts to 16 mph count" in told.output
    assert wind_in_words(wind, english("us"))[0].endswith(", gusts to 16\xa0mph")
