"""Fetching, against a server on this machine.

The answers are written by hand in the form the public service documents; none of them
was ever sent by it.
"""

import contextlib
import gzip
import json
import threading
import time
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from click.testing import CliRunner
from reading import decode

from driftmap.cli.assess import assess_command
from driftmap.cli.inputs import _near_by
from driftmap.cli.winds import winds_command
from driftmap.core.errors import InputError, WindError
from driftmap.ground.site import read_site
from driftmap.winds import fetch, formats
from driftmap.winds.fetch import fetch_forecast
from driftmap.winds.merge import merge
from driftmap.winds.reading import Setting

WHEN = datetime(2026, 5, 9, 18, 20, tzinfo=UTC)
PLACE = (40.0, -119.0)
HERE = {"latitude": 40.0, "longitude": -119.0}
SITE = Setting(50.0, when=WHEN, place=PLACE)


def _answer():
    """Make an answer by hand: two hours, two heights, two pressure levels."""
    hourly = {
        "time": ["2026-05-09T18:00", "2026-05-09T19:00"],
        "wind_speed_10m": [4.0, 5.0],
        "wind_direction_10m": [240, 245],
        "wind_gusts_10m": [7.0, 8.0],
        "wind_speed_80m": [6.0, 7.0],
        "wind_direction_80m": [242, 247],
        "wind_speed_1000hPa": [4.1, None],
        "wind_direction_1000hPa": [241, None],
        "geopotential_height_1000hPa": [110.0, 112.0],
        "temperature_1000hPa": [15.0, 15.5],
        "wind_speed_850hPa": [12.0, 13.0],
        "wind_direction_850hPa": [260, 262],
        "geopotential_height_850hPa": [1500.0, 1501.0],
        "temperature_850hPa": [6.0, 6.1],
    }
    of = {
        "wind_s": "m/s",
        "wind_g": "m/s",
        "wind_d": "°",
        "geopot": "m",
        "temper": "°C",
    }
    units = {name: of.get(name[:6], "iso8601") for name in hourly}
    return {
        "latitude": 40.0,
        "longitude": -119.0,
        "elevation": 60.0,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "hourly_units": units,
        "hourly": hourly,
    }


@contextmanager
def _server(*replies):
    """Serve the replies one by one, then the last again; yield address and requests."""
    asked: list[str] = []

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self):
            asked.append(self.path)
            status, body = replies[min(len(asked), len(replies)) - 1]
            self.send_response(status)
            self.end_headers()
            self.wfile.write(
                body if isinstance(body, bytes) else json.dumps(body).encode()
            )

        def log_message(self, *_):
            pass

    with HTTPServer(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever, args=(0.01,))
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.server_port}/v1/forecast", asked
        finally:
            server.shutdown()
            thread.join()


@pytest.fixture(autouse=True)
def _no_proxy(monkeypatch):
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    monkeypatch.setenv("no_proxy", "127.0.0.1")


def _fetch(service, tmp_path, *, setting=SITE, **more):
    return fetch_forecast(setting, service=service, cache=tmp_path, **more)


def test_fetched_answer_becomes_a_wind(tmp_path):
    with _server((200, _answer())) as (service, asked):
        reading = _fetch(service, tmp_path, setting=replace(SITE, site_altitude=150.0))
    assert [round(level.height) for level in reading.levels] == [10, 80, 1350]
    assert reading.levels[0].gust == 7.0
    assert reading.valid == WHEN.replace(minute=0)
    assert any("fetched" in note for note in reading.assumed)
    assert any("1 level below the site" in note for note in reading.assumed)
    query = parse_qs(urlsplit(asked[0]).query)
    assert query["latitude"] == ["40.0000"]
    assert query["wind_speed_unit"] == ["ms"]
    assert query["start_date"] == ["2026-05-09"]
    asked_for = query["hourly"][0].split(",")
    levels = [1000, 975, 950, 925, 900, 850, 800, 700, 600, 500, 400, 300]
    assert {f"wind_speed_{p}hPa" for p in levels} <= set(asked_for)
    assert {f"wind_direction_{z}m" for z in (10, 80, 120, 180)} <= set(asked_for)
    sky = {"weather_code", "visibility", "cloud_cover_low"}
    assert sky <= set(asked_for)
    assert len(asked_for) == 4 * len(levels) + 2 * 4 + 1 + len(sky)


def test_a_level_without_values_is_left_out(tmp_path):
    later = WHEN.replace(hour=19)
    with _server((200, _answer())) as (service, _):
        reading = _fetch(service, tmp_path, setting=replace(SITE, when=later))
    assert [round(level.height) for level in reading.levels] == [10, 80, 1451]


def test_kept_answer_is_used_for_an_hour_then_asked_again(tmp_path):
    now = datetime(2026, 5, 9, 12, tzinfo=UTC)
    with _server((200, _answer())) as (service, asked):
        for minutes in (0, 59, 61):
            _fetch(service, tmp_path, now=now + timedelta(minutes=minutes))
    assert len(asked) == 2


def test_without_network_a_kept_answer_is_used_and_said(tmp_path):
    now = datetime(2026, 5, 9, 12, tzinfo=UTC)
    with _server((200, _answer())) as (service, _):
        _fetch(service, tmp_path, now=now)
    reading = _fetch(service, tmp_path, now=now + timedelta(hours=11))
    assert any("kept answer of 2026-05-09 12:00Z used" in n for n in reading.assumed)
    with pytest.raises(WindError, match="cannot be reached"):
        _fetch(service, tmp_path, now=now + timedelta(hours=13))


def test_without_network_or_kept_answer_the_way_out_is_named(tmp_path):
    with pytest.raises(
        WindError, match=r"cannot be reached .*give a wind file"
    ) as caught:
        _fetch("http://127.0.0.1:9/v1/forecast", tmp_path)
    assert "\n" not in str(caught.value)


def test_asks_again_when_the_server_is_busy(tmp_path):
    with _server((503, b""), (503, b""), (200, _answer())) as (service, asked):
        _fetch(service, tmp_path)
    assert len(asked) == 3


def test_a_server_that_never_answers_is_given_up(tmp_path, monkeypatch):
    monkeypatch.setattr(fetch, "_TIMEOUT", (0.1, 0.1))
    import socket

    with socket.socket() as deaf:
        deaf.bind(("127.0.0.1", 0))
        deaf.listen(8)
        address = f"http://127.0.0.1:{deaf.getsockname()[1]}/"
        with pytest.raises(WindError, match="cannot be reached"):
            _fetch(address, tmp_path)


@pytest.mark.parametrize(
    ("reply", "message"),
    [
        (
            (400, {"error": True, "reason": "No such place\nhere"}),
            "400: No such place here",
        ),
        ((500, b"oops"), "answered 500"),
        ((302, b""), "answered 302"),
        ((200, b"<html>"), "not the JSON expected"),
        ((200, [1]), "not the JSON expected"),
        ((200, HERE), "no hourly times"),
        (
            (
                200,
                {
                    "hourly": {"time": ["2026-05-09T18:00"]},
                    "hourly_units": {},
                    **HERE,
                },
            ),
            "tells no wind",
        ),
        (
            (
                200,
                {
                    "hourly": {"time": ["2026-05-09T18:00"]},
                    "hourly_units": {"wind_speed_10m": "m/s"},
                    **HERE,
                },
            ),
            "tells no wind",
        ),
        ((200, {"hourly": {"time": ["2026-05-09T18:00"]}}), "does not say its lat"),
        ((200, {"hourly": {"time": ["x"]}, **HERE}), "hourly_units: must be an object"),
    ],
)
def test_bad_answers_are_told_in_one_line_and_not_kept(tmp_path, reply, message):
    with _server(reply) as (service, _):
        with pytest.raises(WindError, match=message) as caught:
            _fetch(service, tmp_path)
        assert "\n" not in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_an_answer_of_another_day_is_not_kept(tmp_path):
    answer = _answer()
    answer["hourly"]["time"] = ["2026-05-11T18:00", "2026-05-11T19:00"]
    with _server((200, answer)) as (service, _), pytest.raises(WindError):
        _fetch(service, tmp_path)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda a: a["hourly"]["wind_direction_80m"].__setitem__(0, 2420), "2420"),
        (lambda a: a["hourly"]["wind_speed_10m"].__setitem__(0, -5), "speed -5"),
        (lambda a: a["hourly"]["wind_speed_10m"].__setitem__(0, "5.0"), "'5.0'"),
        (lambda a: a["hourly"]["wind_speed_10m"].pop(), "must be a list of 2"),
        (lambda a: a["hourly"].update(time=["x", "y"]), "'x' is no time"),
        (lambda a: a.update(latitude=10.0), "km from the site"),
        (lambda a: a.update(latitude="x"), "latitude 'x'"),
        (lambda a: a.update(elevation=2600.0), "2550 m above the site"),
        (lambda a: a.update(utc_offset_seconds=-25200), "-25200 s from UTC"),
        (lambda a: a["hourly_units"].update(wind_speed_80m="Bft"), "'Bft'; accepted"),
        (lambda a: a["hourly_units"].update(wind_direction_80m="rad"), "'rad'; acc"),
        (lambda a: a["hourly_units"].pop("temperature_850hPa"), "temperature_850hPa"),
        (
            lambda a: a["hourly"].update(wind_speed_80m_member01=[15.0, 15.0]),
            "wind_speed_80m_member01: is of a member",
        ),
    ],
)
def test_a_wrong_answer_is_one_line_and_never_kept(tmp_path, change, message):
    """And a server that is mended is asked again, not the answer that was bad."""
    bad = _answer()
    change(bad)
    with _server((200, bad), (200, _answer())) as (service, asked):
        with pytest.raises(WindError, match=message) as caught:
            _fetch(service, tmp_path)
        assert "\n" not in str(caught.value)
        assert list(tmp_path.iterdir()) == []
        assert _fetch(service, tmp_path).levels
    assert len(asked) == 2


@pytest.mark.parametrize("code", [95, "95"])
def test_an_answer_says_what_blows_from_nobody_knows_where_and_what_storms(code):
    answer = _answer()
    answer["hourly"]["wind_direction_10m"] = [None, None]
    answer["hourly"] |= {"weather_code": [3, 3], "weathercode": [3, code]}
    (reading,) = formats.decode_text(json.dumps(answer), "saved.json", SITE)
    low = reading.levels[0]
    assert (low.height, low.direction, low.speed, low.gust) == (10.0, None, 4.0, 7.0)
    (told,) = (said for said in reading.warned if "weather code" in said)
    assert "weather code 95 at 2026-05-09T19:00: thunder" in told


@pytest.mark.parametrize(
    ("told", "unit", "held"),
    [
        ({"visibility": [100.0, 100.0]}, "m", "visibility 100.0 at"),
        ({"visibility": [None, 9000.0]}, "ft", "visibility 9000.0 at"),  # 2.7 km
        ({"visibility": [9000.0, 24_140.0]}, "m", None),
        ({"weather_code": [45, 3]}, "m", "weather code 45 at 2026-05-09T18:00: fog"),
        ({"weather_code": [3, 61]}, "m", None),
    ],
)
def test_fog_and_poor_sight_beside_the_wind_of_a_service_hold(told, unit, held):
    answer = _answer()
    answer["hourly"] |= told
    answer["hourly_units"] |= {"visibility": unit}
    (reading,) = formats.decode_text(json.dumps(answer), "saved.json", SITE)
    assert any((held or "saved.json:") in one for one in reading.warned) is bool(held)


@pytest.mark.parametrize(
    ("told", "cover"),
    [
        ({"cloud_cover_low": [0, 90]}, 0.9),  # of the hour after
        ({"cloud_cover": [10, 20], "cloudcover_mid": [60.0, None]}, 0.6),
        ({"cloud_cover_850hPa": [100, 0], "cloud_cover_low": [None, None]}, 1.0),
        ({"cloud_cover_low": [None, None]}, None),
        ({}, None),
    ],
)
def test_the_most_cloud_that_a_service_tells_is_what_rules_are_held_to(told, cover):
    answer = _answer()
    answer["hourly"] |= told
    answer["hourly_units"] |= dict.fromkeys(told, "%")
    (reading,) = formats.decode_text(json.dumps(answer), "saved.json", SITE)
    assert reading.cloud_cover == cover
    heard = cover if cover is not None and cover > 0.5 else None
    assert merge([reading], SITE).cloud_cover == heard


@pytest.mark.parametrize(("value", "unit"), [(101, "%"), ("low", "%"), (0.5, "okta")])
def test_cloud_that_is_no_part_of_the_sky_is_refused(value, unit):
    answer = _answer()
    answer["hourly"]["cloud_cover_low"] = [value, 0]
    answer["hourly_units"]["cloud_cover_low"] = unit
    with pytest.raises(WindError, match="cloud_cover_low"):
        formats.decode_text(json.dumps(answer), "saved.json", SITE)


def test_a_gust_without_a_speed_in_the_next_hour_is_heard():
    answer = _answer()
    for name, values in answer["hourly"].items():
        if name.startswith("wind_speed"):
            values[1] = None
        elif name == "wind_gusts_10m":
            values[1] = 25.0
    early = replace(SITE, when=WHEN.replace(hour=18, minute=0))
    (reading,) = formats.decode_text(json.dumps(answer), "saved.json", early)
    assert any("19:00Z tells 25.0 m/s" in told for told in reading.warned)


@pytest.mark.parametrize(
    ("gusts", "doubted"),
    [([None, 8.0], True), ([7.0, None], True), ([None, None], False)],
)
def test_an_hour_without_its_gust_is_doubted_where_others_have_one(gusts, doubted):
    answer = _answer()
    answer["hourly"]["wind_gusts_10m"] = gusts
    (reading,) = formats.decode_text(json.dumps(answer), "saved.json", SITE)
    assert any("no gust is told" in told for told in reading.warned) is doubted


def test_a_level_of_a_service_is_placed_by_its_pressure_where_no_height_is_told():
    """Its standard height lies within 100 m of the one that was left out."""
    answer = _answer()
    answer["hourly"]["geopotential_height_850hPa"] = [None, None]
    (reading,) = formats.decode_text(json.dumps(answer), "saved.json", SITE)
    assert reading.levels[-1].speed == 12.0
    assert reading.levels[-1].height == pytest.approx(1500.0 - 50.0, abs=100.0)


@pytest.mark.parametrize(
    ("block", "beside", "held"),
    [
        ("current", {"wind_gusts_10m": 19.0}, "current tells of 'wind_gusts_10m'"),
        ("daily", {"weather_code": [96]}, "daily tells of 'weather_code'"),
        ("hourly", {"windgusts_10m": [19.0, 20.0]}, "hourly tells of 'windgusts_10m'"),
        ("alerts", ["gale warning"], "'alerts' is not read"),
        ("warning", "squalls from noon", "'warning' is not read"),
        ("error", True, "'error' is not read"),
        ("data", {"levels": [{"speed_mps": 29.0}]}, "data tells of 'speed_mps'"),
        ("later", [{"levels": [{"speed_mps": 29.0}]}], "'later' is not read"),
        ("run_time", {"now": {"u_mps": 29.0}}, "run_time tells of 'u_mps'"),
        ("data_units", {"said": {"gust": 29.0}}, "data_units tells of 'gust'"),
        ("daily", {"weather": {"code": 95}}, "daily tells of 'weather'"),
        ("daily", {"outlook": ["a gale by noon"]}, "'outlook' ('a gale by noon')"),
        ("daily", {"sunrise": ["2026-05-09T05:31"], "sunset": ["2026-05-09"]}, None),
        ("hourly", {"beaufort": [9, 9]}, "hourly tells of 'beaufort'"),
        ("hourly", {"ff_10m": [25.0, 25.0]}, "hourly tells of 'ff_10m'"),
        ("models", ["a model"], None),
        ("model_run", {"id": "12Z", "created_at": "2026-05-09T12:00Z"}, None),
        ("attribution", "data by a weather service", None),
        ("daily", {"weather_code": [3], "temperature_2m_max": [21.0]}, None),
        ("hourly", {"weather_code": [[95], 3]}, "hourly tells of 'weather_code'"),
        ("hourly", {"weather_code": [None, 3], "rain": [0, 0]}, None),
    ],
)
def test_wind_beside_the_columns_by_the_hour_holds(block, beside, held):
    answer = _answer()
    answer[block] = answer.get(block, {}) | beside if type(beside) is dict else beside
    (reading,) = formats.decode_text(json.dumps(answer), "saved.json", SITE)
    told = [said for said in reading.warned if "is not read" in said]
    assert [held in said for said in told if held] == [True] * (held is not None)
    assert bool(told) is (held is not None)


def test_a_kept_answer_stands_in_for_a_bad_one(tmp_path):
    now = datetime(2026, 5, 9, 12, tzinfo=UTC)
    bad = _answer() | {"latitude": 10.0}
    with _server((200, _answer()), (200, bad)) as (service, _):
        _fetch(service, tmp_path, now=now)
        (kept,) = tmp_path.iterdir()
        before = kept.read_bytes()
        again = _fetch(service, tmp_path, now=now + timedelta(hours=2))
    assert any("kept answer of 2026-05-09 12:00Z" in note for note in again.assumed)
    assert kept.read_bytes() == before


def test_a_kept_answer_that_is_bad_is_not_used(tmp_path):
    now = datetime(2026, 5, 9, 12, tzinfo=UTC)
    with _server((200, _answer())) as (service, asked):
        _fetch(service, tmp_path, now=now)
        (kept,) = tmp_path.iterdir()
        kept.write_text(kept.read_text().replace("[4.0, 5.0]", "[-4.0, 5.0]"))
        assert _fetch(service, tmp_path, now=now + timedelta(minutes=5)).levels
    assert len(asked) == 2


def test_a_models_ground_far_from_the_sites_holds(tmp_path):
    with _server((200, _answer() | {"elevation": 420.0})) as (service, _):
        reading = _fetch(service, tmp_path)
    assert any("370 m above the site" in note for note in reading.warned)
    # 110 m lies under that ground: it was never wind.
    assert [round(level.height) for level in reading.levels] == [10, 80, 1450]


class _Dripping(BaseHTTPRequestHandler):
    """Send the head, then a byte at a time, or half of what was announced."""

    half = False

    def do_GET(self):
        body = json.dumps(_answer()).encode()
        self.send_response(200)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        if self.half:
            self.wfile.write(body[: len(body) // 2])
            self.wfile.flush()
            self.connection.close()
            return
        with contextlib.suppress(OSError):
            for byte in body:
                self.wfile.write(bytes([byte]))
                time.sleep(0.05)

    def log_message(self, *_):
        pass


class _Half(_Dripping):
    half = True


class _BadZip(_Dripping):
    """Say gzip and send something else."""

    def do_GET(self):
        self.send_response(200)
        self.send_header("Content-Encoding", "gzip")
        self.end_headers()
        self.wfile.write(b"not gzip at all")


@pytest.mark.parametrize("kind", [_Dripping, _Half, _BadZip])
def test_a_broken_server_is_one_line_in_bounded_time(tmp_path, monkeypatch, kind):
    monkeypatch.setattr(fetch, "PATIENCE", 1.0)
    with ThreadingHTTPServer(("127.0.0.1", 0), kind) as server:
        server.daemon_threads = True
        threading.Thread(target=server.serve_forever, args=(0.01,)).start()
        address = f"http://127.0.0.1:{server.server_port}/"
        start = time.monotonic()
        try:
            with pytest.raises(WindError, match=r"127\.0\.0\.1: ") as caught:
                _fetch(address, tmp_path)
        finally:
            server.shutdown()
        assert time.monotonic() - start < 27  # all of it would drip for twice that
    assert "\n" not in str(caught.value)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("encoding", "body", "read"),
    [
        ("gzip", gzip.compress(json.dumps(_answer()).encode()), True),
        ("identity", json.dumps(_answer()).encode(), True),
        ("gzip", gzip.compress(json.dumps(_answer()).encode())[:-40], False),
        ("gzip", gzip.compress(b"{" + b" " * 8_000_000, 1), False),
        ("br", json.dumps(_answer()).encode(), False),
    ],
    ids=["packed", "plain", "cut", "swelling", "unasked"],
)
def test_a_packed_answer_is_unpacked_up_to_a_bounded_size(
    tmp_path, encoding, body, read
):
    class Packed(_Dripping):
        def do_GET(self):
            self.send_response(200)
            self.send_header("Content-Encoding", encoding)
            self.end_headers()
            self.wfile.write(body)

    assert len(fetch._unpacked(body, encoding)) <= fetch._LONGEST + 1
    with ThreadingHTTPServer(("127.0.0.1", 0), Packed) as server:
        threading.Thread(target=server.serve_forever, args=(0.01,)).start()
        address = f"http://127.0.0.1:{server.server_port}/"
        told = contextlib.nullcontext() if read else pytest.raises(WindError)
        try:
            with told as caught:
                reading = _fetch(address, tmp_path)
        finally:
            server.shutdown()
    if read:
        assert [round(level.height) for level in reading.levels] == [10, 60, 80, 1450]
    else:
        assert "its answer is not the JSON expected" in str(caught.value)


def test_the_wait_is_fifteen_seconds_in_all():
    assert fetch.PATIENCE == 15.0


@pytest.mark.parametrize(
    "address",
    [
        *(
            "http://example.org/",
            "file:///etc/passwd",
            "x",
            "https://[::1",
            "https://[",
        ),
        *("https://x:99999/", "https://x:y/"),
    ],
)
def test_address_must_be_https(tmp_path, address):
    with pytest.raises(WindError, match="forecast service: address"):
        _fetch(address, tmp_path)


@pytest.mark.parametrize(
    ("name", "below"), [("DRIFTMAP_CACHE", ""), ("XDG_CACHE_HOME", "driftmap")]
)
def test_where_answers_are_kept(tmp_path, monkeypatch, name, below):
    for other in ("DRIFTMAP_CACHE", "XDG_CACHE_HOME"):
        monkeypatch.delenv(other, raising=False)
    monkeypatch.setenv(name, str(tmp_path))
    with _server((200, _answer())) as (service, _):
        fetch_forecast(SITE, service=service)
    assert len(list((tmp_path / below).glob("*.json"))) == 1


def test_a_folder_that_cannot_be_written_only_costs_the_next_call(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("")
    with _server((200, _answer())) as (service, asked):
        for _ in range(2):
            fetch_forecast(SITE, service=service, cache=blocked / "x")
    assert len(asked) == 2


def test_damaged_kept_answer_is_passed_over(tmp_path):
    with _server((200, _answer())) as (service, asked):
        _fetch(service, tmp_path)
        (kept,) = tmp_path.iterdir()
        kept.write_text("{")
        _fetch(service, tmp_path)
    assert len(asked) == 2


def test_an_answer_saved_with_a_browser_is_a_forecast(tmp_path):
    """In the service's own default units, local time, and with columns of no wind."""
    answer = _answer()
    for name, values in answer["hourly"].items():
        if name.startswith(("wind_speed", "wind_gusts")):
            answer["hourly"][name] = [None if v is None else 3.6 * v for v in values]
            answer["hourly_units"][name] = "km/h"
    answer["hourly"]["time"] = ["2026-05-09T11:00", "2026-05-09T12:00"]
    answer["hourly"]["rain"] = [0.0, 0.0]
    answer |= {"utc_offset_seconds": -25200, "timezone_abbreviation": "PDT"}
    path = tmp_path / "saved.json"
    path.write_text(json.dumps(answer))
    reading = decode(str(path), SITE)
    assert reading.forecast
    assert reading.valid == WHEN.replace(minute=0)
    assert [level.speed for level in reading.levels] == pytest.approx([4, 4.1, 6, 12])
    assert reading.levels[0].gust == pytest.approx(7.0)
    assert any("its point is 0 km from the site" in note for note in reading.assumed)
    with pytest.raises(WindError, match=r"saved.json: .*is of a place 11"):
        decode(str(path), replace(SITE, place=(39.0, -119.0)))
    answer |= {"utc_offset_seconds": None, "timezone": "America/Los_Angeles"}
    path.write_text(json.dumps(answer))
    with pytest.raises(WindError, match=r"T11:00' names no zone; .*utc_offset_seconds"):
        decode(str(path), SITE)


ROOT = Path(__file__).parents[2]
FIELD = str(ROOT / "sites" / "saltgrass-flat.geojson")


def _at_the_field():
    site = read_site(FIELD)
    answer = _answer() | {"latitude": site.latitude, "longitude": site.longitude}
    answer["elevation"] = site.elevation
    answer["hourly"]["geopotential_height_850hPa"] = [1900.0, 1901.0]
    return answer


@pytest.mark.parametrize(
    "at", [("--at", FIELD), pytest.param(("--at",), marks=pytest.mark.slow)]
)
def test_a_verdict_may_rest_on_the_forecast_asked_for(tmp_path, monkeypatch, at):
    """And as it stays a forecast, its error is that of one, not of a fresh reading."""
    monkeypatch.setenv("DRIFTMAP_CACHE", str(tmp_path / "kept"))
    flight = str(ROOT / "examples" / "dunlin.toml")
    with _server((200, _at_the_field())) as (service, asked):
        result = CliRunner().invoke(
            assess_command,
            [
                *(flight, "--site", FIELD, *at, "--service", service),
                *("--when", "2026-05-09T18:20Z", "--samples", "100", "--json"),
                *("--out", str(tmp_path)),
            ],
        )
    assert result.exit_code in {3, 4}, result.output
    assert len(asked) == 1
    told = json.loads(result.stdout)
    assert any("fetched" in note for note in told["assumed"])
    assert any("flight is at Sat 2026-05-09 18:20" in note for note in told["assumed"])


def test_what_winds_fetched_and_printed_is_still_a_forecast(tmp_path, monkeypatch):
    monkeypatch.setenv("DRIFTMAP_CACHE", str(tmp_path / "kept"))
    when = ("--when", "2026-05-09T18:20Z")
    with _server((200, _at_the_field())) as (service, _):
        words = ("--at", FIELD, "--service", service, *when, "--json")
        printed = CliRunner().invoke(winds_command, words).stdout
    path = tmp_path / "kept.json"
    path.write_text(printed)
    (reading,) = formats.decode(
        str(path), Setting(read_site(FIELD).elevation, when=WHEN)
    )
    assert reading.forecast
    assert reading.valid == WHEN.replace(minute=0)


def test_the_wind_of_another_place_is_not_asked_for():
    here = Setting(0.0, place=(41.6, -118.0))
    field = read_site(FIELD)
    there = _near_by(
        FIELD, replace(here, place=(field.latitude + 0.1, field.longitude))
    )
    assert there == (field.latitude, field.longitude)  # 11 km
    with pytest.raises(
        InputError, match=r"lies 3\d\d km from the site; --at alone asks"
    ):
        _near_by(FIELD, replace(here, place=(field.latitude + 3, field.longitude)))
    assert _near_by(FIELD, Setting(0.0)) == there


def test_no_wind_and_no_place_to_ask_for_is_wrong_use():
    flight = str(ROOT / "examples" / "dunlin.toml")
    for arguments in ((), ("--at",)):
        result = CliRunner().invoke(
            assess_command, [flight, "--site", FIELD, *arguments]
        )
        assert result.exit_code == 2
