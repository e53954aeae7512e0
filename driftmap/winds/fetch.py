"""Ask a public forecast service for the wind over a site; never needed for the rest.

Its answer is read by `driftmap.winds.model_output`; an own server with answers of the
same form can be named instead.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import queue
import threading
import zlib
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlencode, urlsplit

import requests
from requests.adapters import HTTPAdapter
from urllib3.util.retry import Retry

from driftmap.core.errors import WindError
from driftmap.winds.model_output import read_answer
from driftmap.winds.reading import Reading, Setting, age_of, check_seen
from driftmap.winds.times import show_time

SERVICE: Final = "https://api.open-meteo.com/v1/forecast"
"""Address asked where none is given."""

HEIGHTS: Final = (10, 80, 120, 180)
"""Heights above the ground asked for [m]."""

_PRESSURES: Final = (1000, 975, 950, 925, 900, 850, 800, 700, 600, 500, 400, 300)
"""Pressure levels asked for [hPa]."""

_SKY: Final = ("weather_code", "visibility", "cloud_cover_low")
"""What is asked of storms, fog, sight and cloud, for which a verdict or a rule holds."""

_YOUNG: Final = timedelta(hours=1)
"""A kept answer younger than this is used without asking again."""

_KEEP: Final = timedelta(hours=12)
"""A kept answer older than this is not used even without a network."""

PATIENCE: Final = 15.0
"""Longest wait for the whole of an answer, with every try [s]."""

_TIMEOUT: Final = (5.0, 10.0)  # s, to connect and between two parts of an answer
_LONGEST: Final = 5_000_000  # bytes
_LOCAL: Final = ("localhost", "127.0.0.1", "::1")


def fetch_forecast(
    setting: Setting,
    *,
    service: str = SERVICE,
    cache: Path | None = None,
    now: datetime | None = None,
) -> Reading:
    """Fetch the forecast for the place and time of a flight.

    Over HTTPS (or on this machine), with answers kept in the user's own cache folder unless
    another is named. Asks again twice when the line or the server fails, and waits 15 s at
    most in all. Only an answer that could be read as a wind for this place and time is kept.
    Raises `WindError` if the place is not known, or the service cannot be reached or used and
    no young answer was kept.
    """
    if setting.place is None:
        raise _fault("", "the place of the site is not known")
    now = now or datetime.now(UTC)
    host = _checked(service)
    url = f"{service}?{urlencode(_query(*setting.place, setting.when))}"
    name = hashlib.sha256(url.encode()).hexdigest()[:24]
    kept = (cache or _cache_folder()) / f"{name}.json"
    at, answer = _kept(kept)
    old = None if at is None or at > now else now - at
    if old is not None and old <= _YOUNG:
        with contextlib.suppress(WindError):  # not good after all: ask again
            return _read(answer, host, setting, f"fetched {show_time(now - old)}")
    try:
        fresh = _asked(url, host)
        reading = _read(fresh, host, setting, f"fetched {show_time(now)}")
    except WindError as problem:
        if old is None or old > _KEEP:
            raise
        text = f"{problem.problem}: kept answer of {show_time(now - old)} used"
        with contextlib.suppress(WindError):
            return _read(answer, host, setting, text)
        raise
    _keep(kept, now, fresh)
    return reading


def _read(answer: Mapping[str, Any], host: str, setting: Setting, note: str) -> Reading:
    offset = answer.get("utc_offset_seconds", 0)
    if offset != 0:
        text = (
            f"answered in a zone {str(offset)[:20]} s from UTC, in which it was asked"
        )
        raise _fault(host, text)
    try:
        asked = {"timezone": "GMT", **answer}
        reading = read_answer(asked, host, setting, (f"{host}: {note}",))
    except ValueError as problem:
        where = f"{host} {getattr(problem, 'where', '')}".strip()
        raise _fault(where, str(problem)) from None
    age_of(reading, setting.when)  # of another day it is refused
    return check_seen(reading, setting)


def _fault(where: str, problem: str) -> WindError:
    return WindError("forecast service", where, problem)


def _checked(service: str) -> str:
    try:
        parts = urlsplit(service)
        local = parts.hostname in _LOCAL
        parts.port  # noqa: B018 - which is only looked at when asked for
    except ValueError as problem:
        raise _fault("", f"address {service[:80]!r}: {problem}") from None
    safe = parts.scheme == "https" or (parts.scheme == "http" and local)
    if not parts.hostname or not safe:
        raise _fault("", f"address {service[:80]!r}; accepted is https://…")
    return parts.hostname


def _query(latitude: float, longitude: float, when: datetime) -> dict[str, str]:
    low, high = ("wind_speed", "wind_direction"), ("geopotential_height", "temperature")
    names = [f"{what}_{z}m" for z in HEIGHTS for what in low]
    names += ["wind_gusts_10m", *_SKY]
    names += [f"{what}_{p}hPa" for p in _PRESSURES for what in (*low, *high)]
    day = when.astimezone(UTC)
    return {
        "latitude": f"{latitude:.4f}",
        "longitude": f"{longitude:.4f}",
        "hourly": ",".join(names),
        "wind_speed_unit": "ms",
        "timezone": "GMT",
        # The next day too: the nearest hour of 23:45 lies there.
        "start_date": f"{day:%Y-%m-%d}",
        "end_date": f"{day + timedelta(days=1):%Y-%m-%d}",
    }


def _cache_folder() -> Path:
    named = os.environ.get("DRIFTMAP_CACHE")
    if named:
        return Path(named)
    base = os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    return Path(base) / "driftmap"


def _kept(path: Path) -> tuple[datetime | None, dict[str, Any]]:
    try:
        held = json.loads(path.read_text(encoding="utf-8"))
        return datetime.fromisoformat(held["fetched"]).astimezone(UTC), dict(
            held["answer"]
        )
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None, {}  # nothing kept, or not by us: ask the service


def _keep(path: Path, at: datetime, answer: Mapping[str, Any]) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_suffix(f".{os.getpid()}.part")
        part.write_text(
            json.dumps({"fetched": at.isoformat(), "answer": answer}), encoding="utf-8"
        )
        part.replace(path)
    except OSError:
        return  # without a cache the next call asks again


def _asked(url: str, host: str) -> dict[str, Any]:
    """Ask in a thread of its own, so that no server can make a person wait longer."""
    found: queue.SimpleQueue[tuple[int, bytes] | Exception] = queue.SimpleQueue()

    def ask() -> None:
        try:
            found.put(_reply(url))
        except Exception as problem:
            found.put(problem)

    threading.Thread(target=ask, daemon=True).start()
    try:
        got = found.get(timeout=PATIENCE)
    except queue.Empty:
        got = TimeoutError(f"no whole answer in {PATIENCE:g} s")
    if isinstance(got, Exception):
        told = str(got) if isinstance(got, TimeoutError) else type(got).__name__
        raise _fault(
            host,
            f"cannot be reached ({told}); without a network give a wind file, or words "
            'such as "12 mph from 240"',
        )
    status, body = got
    return _parsed(body, status, host)


def _reply(url: str) -> tuple[int, bytes]:
    retry = Retry(
        total=2,
        backoff_factor=0.2,
        status_forcelist=(429, 502, 503, 504),
        allowed_methods=("GET",),
        respect_retry_after_header=False,  # a person is waiting
        raise_on_status=False,
    )
    with requests.Session() as session:
        session.mount("https://", HTTPAdapter(max_retries=retry))
        session.mount("http://", HTTPAdapter(max_retries=retry))
        with session.get(
            url,
            timeout=_TIMEOUT,
            allow_redirects=False,
            stream=True,
            headers={"User-Agent": "driftmap", "Accept-Encoding": "gzip"},
        ) as reply:
            body = reply.raw.read(_LONGEST + 1, decode_content=False)
            packed = reply.headers.get("Content-Encoding", "identity").strip().lower()
            return reply.status_code, _unpacked(body, packed)


def _unpacked(body: bytes, packed: str) -> bytes:
    """Unpack an answer up to a bounded size; what cannot be unpacked is no answer.

    Some versions of urllib3 unpack all of what they were sent, however large it grows.
    """
    if packed != "gzip":
        return body if packed == "identity" else b""
    try:
        return zlib.decompressobj(wbits=16 + zlib.MAX_WBITS).decompress(
            body, _LONGEST + 1
        )
    except zlib.error:
        return b""


def _parsed(body: bytes, status: int, host: str) -> dict[str, Any]:
    try:
        answer = json.loads(body) if len(body) <= _LONGEST else None
    except (ValueError, RecursionError):
        answer = None
    reason = answer.get("reason") if isinstance(answer, dict) else None
    if status != 200 or reason:
        text = f": {str(reason)[:200]}" if reason else ""
        raise _fault(host, f"answered {status}{text}")
    if not isinstance(answer, dict):
        raise _fault(host, "its answer is not the JSON expected")
    return answer
