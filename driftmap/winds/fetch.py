"""Ask a public forecast service for the wind over a site; never needed for the rest.

The service's answer is turned into the document of `driftmap.winds.forecast`. Its form
is the one that Open-Meteo documents for hourly values at heights and on pressure levels
(from memory; an own server with the same form can be named instead).
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlencode, urlsplit

import requests
from requests.adapters import HTTPAdapter
from urllib3.util.retry import Retry

from driftmap.errors import WindError
from driftmap.winds.times import show_time

__all__ = ["SERVICE", "fetch_forecast", "to_document"]

SERVICE: Final = "https://api.open-meteo.com/v1/forecast"
"""Address asked where none is given."""

HEIGHTS: Final = (10, 80, 120, 180)
"""Heights above the ground asked for [m]."""

PRESSURES: Final = (1000, 975, 950, 925, 900, 850, 800, 700, 600, 500, 400, 300)
"""Pressure levels asked for [hPa]."""

FRESH: Final = timedelta(hours=1)
"""A kept answer younger than this is used without asking again."""

KEEP: Final = timedelta(hours=12)
"""A kept answer older than this is not used even without a network."""

_TIMEOUT: Final = (5.0, 15.0)  # s, to connect and to answer
_LONGEST: Final = 5_000_000  # bytes
_LOCAL: Final = ("localhost", "127.0.0.1", "::1")


def fetch_forecast(
    latitude: float,
    longitude: float,
    when: datetime,
    *,
    service: str = SERVICE,
    cache: Path | None = None,
    now: datetime | None = None,
) -> str:
    """Fetch the forecast for a place and time.

    Parameters
    ----------
    latitude, longitude : float
        Place, WGS 84 [deg].
    when : datetime
        Time of the flight, with its time zone.
    service : str
        Address of the service, over HTTPS (or on this machine).
    cache : Path, optional
        Folder of kept answers; by default the user's own cache folder.
    now : datetime, optional
        The present time.

    Returns
    -------
    str
        A document for `driftmap.winds.forecast.read_forecast`.

    Raises
    ------
    WindError
        If the service cannot be reached and no young answer was kept, or its answer
        cannot be used.

    Notes
    -----
    Asks again twice when the line or the server fails, and waits 15 s at most each time.
    """
    now = now or datetime.now(UTC)
    host = _checked(service)
    url = f"{service}?{urlencode(_query(latitude, longitude, when))}"
    kept = (
        cache or _cache_folder()
    ) / f"{hashlib.sha256(url.encode()).hexdigest()[:24]}.json"
    at, answer = _kept(kept)
    if at is not None and timedelta(0) <= now - at <= FRESH:
        return json.dumps(to_document(answer, host, (f"fetched {show_time(at)}",)))
    try:
        fresh = _asked(url, host)
    except WindError:
        if at is None or not timedelta(0) <= now - at <= KEEP:
            raise
        note = f"not reached: kept answer of {show_time(at)} used"
        return json.dumps(to_document(answer, host, (note,)))
    document = to_document(fresh, host, (f"fetched {show_time(now)}",))
    _keep(kept, now, fresh)  # only what could be used
    return json.dumps(document)


def _checked(service: str) -> str:
    parts = urlsplit(service)
    local = parts.hostname in _LOCAL
    if not parts.hostname or not (
        parts.scheme == "https" or (parts.scheme == "http" and local)
    ):
        raise WindError(
            "forecast service", "", f"address {service[:80]!r}; accepted is https://…"
        )
    return parts.hostname


def _query(latitude: float, longitude: float, when: datetime) -> dict[str, str]:
    names = [
        f"{what}_{z}m" for z in HEIGHTS for what in ("wind_speed", "wind_direction")
    ]
    names += ["wind_gusts_10m"]
    names += [
        f"{what}_{p}hPa"
        for p in PRESSURES
        for what in (
            "wind_speed",
            "wind_direction",
            "geopotential_height",
            "temperature",
        )
    ]
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
    except (OSError, ValueError, KeyError, TypeError):
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
    retry = Retry(
        total=2,
        backoff_factor=0.2,
        status_forcelist=(429, 502, 503, 504),
        allowed_methods=("GET",),
        respect_retry_after_header=False,  # a person is waiting
        raise_on_status=False,
    )
    try:
        with requests.Session() as session:
            session.mount("https://", HTTPAdapter(max_retries=retry))
            session.mount("http://", HTTPAdapter(max_retries=retry))
            with session.get(
                url,
                timeout=_TIMEOUT,
                allow_redirects=False,
                stream=True,
                headers={"User-Agent": "driftmap"},
            ) as reply:
                body = reply.raw.read(_LONGEST + 1, decode_content=True)
                status = reply.status_code
    except (requests.RequestException, OSError) as problem:
        raise WindError(
            "forecast service",
            host,
            f"cannot be reached ({type(problem).__name__}); without a network give a "
            'wind file, or words such as "12 mph from 240"',
        ) from None
    return _parsed(body, status, host)


def _parsed(body: bytes, status: int, host: str) -> dict[str, Any]:
    try:
        answer = json.loads(body) if len(body) <= _LONGEST else None
    except (ValueError, RecursionError):
        answer = None
    reason = answer.get("reason") if isinstance(answer, dict) else None
    if status != 200 or reason:
        told = f": {str(reason)[:200]}" if reason else ""
        raise WindError("forecast service", host, f"answered {status}{told}")
    if not isinstance(answer, dict):
        raise WindError("forecast service", host, "its answer is not the JSON expected")
    return answer


def to_document(
    answer: Mapping[str, Any], host: str, notes: tuple[str, ...] = ()
) -> dict[str, Any]:
    """Turn a service's answer into a forecast document.

    Parameters
    ----------
    answer : mapping
        The answer: ``hourly`` with ``time`` and a list for each value asked for.
    host : str
        Name of the service.
    notes : tuple of str
        What to say about how it was fetched.

    Returns
    -------
    dict
        For `driftmap.winds.forecast.read_forecast`.

    Raises
    ------
    WindError
        If the answer lacks its times, or tells no wind.
    """
    hourly, units = answer.get("hourly"), answer.get("hourly_units")
    times = hourly.get("time") if isinstance(hourly, dict) else None
    if not isinstance(hourly, dict) or not isinstance(times, list) or not times:
        raise WindError("forecast service", host, "its answer holds no hourly times")
    if not isinstance(units, dict) or units.get("wind_speed_10m") != "m/s":
        raise WindError("forecast service", host, "its answer is not in m/s")
    hours = [
        {"valid": f"{time}Z", "levels": levels}
        for i, time in enumerate(times)
        if (levels := _levels(hourly, i))
    ]
    if not hours:
        raise WindError("forecast service", host, "its answer tells no wind")
    about = (
        "time of the model run not told; heights above the model's ground taken for "
        "heights above the site"
    )
    return {
        "source": f"forecast of {host}",
        "notes": [f"{host}: {note}" for note in (*notes, about)],
        "forecasts": hours,
    }


def _levels(hourly: Mapping[str, Any], i: int) -> list[dict[str, Any]]:
    def value(name: str) -> Any:
        column = hourly.get(name)
        return column[i] if isinstance(column, list) and i < len(column) else None

    levels = [
        {
            "height_m": z,
            "from_deg": value(f"wind_direction_{z}m"),
            "speed_mps": value(f"wind_speed_{z}m"),
        }
        for z in HEIGHTS
    ]
    levels[0]["gust_mps"] = value("wind_gusts_10m")
    levels += [
        {
            "pressure_hpa": p,
            "altitude_m": value(f"geopotential_height_{p}hPa"),
            "from_deg": value(f"wind_direction_{p}hPa"),
            "speed_mps": value(f"wind_speed_{p}hPa"),
            "temperature_c": value(f"temperature_{p}hPa"),
        }
        for p in PRESSURES
    ]
    needed = ("height_m", "altitude_m", "from_deg", "speed_mps")
    return [
        level
        for level in levels
        if all(level.get(key, 0) is not None for key in needed)
    ]
