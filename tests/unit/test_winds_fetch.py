"""Fetching, against a server on this machine.

The answers are written by hand in the form the public service documents; none of them
was ever sent by it.
"""

import json
import threading
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from urllib.parse import parse_qs, urlsplit

import pytest

from driftmap.errors import WindError
from driftmap.winds import fetch
from driftmap.winds.fetch import fetch_forecast, to_document
from driftmap.winds.forecast import read_forecast
from driftmap.winds.reading import Setting

WHEN = datetime(2026, 5, 9, 18, 20, tzinfo=UTC)


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
    units = {"time": "iso8601", "wind_speed_10m": "m/s"}
    return {
        "latitude": 40.0,
        "longitude": -119.0,
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


def _fetch(service, tmp_path, **more):
    return fetch_forecast(40.0, -119.0, WHEN, service=service, cache=tmp_path, **more)


def test_fetched_answer_becomes_a_wind(tmp_path):
    with _server((200, _answer())) as (service, asked):
        text = _fetch(service, tmp_path)
    reading = read_forecast(text, "service", Setting(150.0, when=WHEN))
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
    assert len(asked_for) == 4 * len(levels) + 2 * 4 + 1


def test_a_level_without_values_is_left_out(tmp_path):
    later = WHEN.replace(hour=19)
    with _server((200, _answer())) as (service, _):
        text = _fetch(service, tmp_path)
    reading = read_forecast(text, "service", Setting(50.0, when=later))
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
    text = _fetch(service, tmp_path, now=now + timedelta(hours=11))
    assert "kept answer of 2026-05-09 12:00Z used" in text
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
        ((200, {}), "no hourly times"),
        (
            (200, {"hourly": {"time": ["2026-05-09T18:00"]}, "hourly_units": {}}),
            "not in m/s",
        ),
        (
            (
                200,
                {
                    "hourly": {"time": ["2026-05-09T18:00"]},
                    "hourly_units": {"wind_speed_10m": "m/s"},
                },
            ),
            "tells no wind",
        ),
    ],
)
def test_bad_answers_are_told_in_one_line_and_not_kept(tmp_path, reply, message):
    with _server(reply) as (service, _):
        with pytest.raises(WindError, match=message) as caught:
            _fetch(service, tmp_path)
        assert "\n" not in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_impossible_values_in_an_answer_name_the_level(tmp_path):
    answer = _answer()
    answer["hourly"]["wind_direction_80m"] = [2420, 0]
    with _server((200, answer)) as (service, _):
        text = _fetch(service, tmp_path)
    with pytest.raises(WindError, match="level 2: direction 2420"):
        read_forecast(text, "service", Setting(50.0, when=WHEN))


@pytest.mark.parametrize("address", ["http://example.org/", "file:///etc/passwd", "x"])
def test_address_must_be_https(tmp_path, address):
    with pytest.raises(WindError, match="accepted is https"):
        _fetch(address, tmp_path)


@pytest.mark.parametrize(
    ("name", "below"), [("DRIFTMAP_CACHE", ""), ("XDG_CACHE_HOME", "driftmap")]
)
def test_where_answers_are_kept(tmp_path, monkeypatch, name, below):
    for other in ("DRIFTMAP_CACHE", "XDG_CACHE_HOME"):
        monkeypatch.delenv(other, raising=False)
    monkeypatch.setenv(name, str(tmp_path))
    with _server((200, _answer())) as (service, _):
        fetch_forecast(40.0, -119.0, WHEN, service=service)
    assert len(list((tmp_path / below).glob("*.json"))) == 1


def test_a_folder_that_cannot_be_written_only_costs_the_next_call(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("")
    with _server((200, _answer())) as (service, asked):
        for _ in range(2):
            fetch_forecast(40.0, -119.0, WHEN, service=service, cache=blocked / "x")
    assert len(asked) == 2


def test_damaged_kept_answer_is_passed_over(tmp_path):
    with _server((200, _answer())) as (service, asked):
        _fetch(service, tmp_path)
        (kept,) = tmp_path.iterdir()
        kept.write_text("{")
        _fetch(service, tmp_path)
    assert len(asked) == 2


def test_document_names_its_service():
    assert to_document(_answer(), "host")["source"] == "forecast of host"
