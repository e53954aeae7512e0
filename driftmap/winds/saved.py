"""A wind written down: rows for a person, and a document that reads back as it was.

A forecast comes back as a forecast, with its times; a level with its own error; what
held a verdict holds it again.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import lru_cache
from hashlib import sha256
from operator import attrgetter
from types import MappingProxyType
from typing import Any, Final, Literal, NamedTuple, TypeAlias, cast

import numpy as np

from driftmap.air.profile_law import ROUGHNESS
from driftmap.air.wind import WindLevel, WindProfile, direction_and_speed
from driftmap.core.checks import FloatArray
from driftmap.core.errors import PlacedError, at
from driftmap.winds.json_document import (
    as_list,
    as_number,
    as_time,
    check_keys,
    check_place,
    load_document,
    objects_of,
)
from driftmap.winds.reading import (
    HIGHEST_SPEED,
    Reading,
    Setting,
    next_due,
    not_renewed,
)
from driftmap.winds.text import reader

Document: TypeAlias = dict[str, object]


class _Number(NamedTuple):
    """A number as a document has it: its key, the size of its unit, its least and most."""

    key: str
    unit: float
    least: float
    most: float


_TIMES: Final = ("valid", "based_on")
_NUMBERS: Final = MappingProxyType(
    {
        "direction_error": _Number(
            "direction_error_deg", math.radians(1.0), 0.0, 180.0
        ),
        "up_to": _Number("up_to", 1.0, 1.0, 10.0),
        "away": _Number("away_m", 1.0, 0.0, 4e7),
        "pressure": _Number("pressure_hpa", 100.0, 1.0, 1e4),
        "cloud_cover": _Number("cloud_cover", 1.0, 0.0, 1.0),
        "visibility": _Number("visibility_m", 1.0, 0.0, 1e6),
        "cloud_base": _Number("cloud_base_m", 1.0, 0.0, 1e5),
        "lowest_cloud": _Number("lowest_cloud_m", 1.0, 0.0, 1e5),
    }
)
"""Numbers of a reading, by their name here."""
_FLAGS: Final = ("forecast", "from_ground")
_TEXTS: Final = ("warned", "assumed")
_DOCUMENT: Final = (
    *("when", "site_altitude_m", "latitude", "longitude", "readings"),
    *("levels", "sources", "assumed"),  # of `wind_document`
)
_READING: Final = (
    *("source", "kind", "levels", "window", "members", "terrain"),
    *(*_TIMES, *_FLAGS, *_TEXTS, *(row.key for row in _NUMBERS.values())),
)
_LEVEL: Final = MappingProxyType(
    {
        "height": _Number("height_m", 1.0, 0.0, 1e5),
        "direction": _Number("from_deg", math.radians(1.0), 0.0, 360.0),
        "speed": _Number("speed_mps", 1.0, 0.0, HIGHEST_SPEED),
        "gust": _Number("gust_mps", 1.0, 0.0, HIGHEST_SPEED),
        "temperature": _Number("temperature_k", 1.0, 100.0, 400.0),
        "error": _Number("error_mps", 1.0, 0.0, 100.0),
    }
)
"""Those of a level."""
_ELSEWHERE: Final = 1.0  # m between the site it was kept for and the one it is read for
_OF_ONE_TIME: Final = timedelta(minutes=30)
"""A forecast that was kept is of another time than so long before or after; assumed."""
_MOST: Final = 1000  # readings, and members of an ensemble


def keep_readings(readings: Iterable[Reading], setting: Setting) -> Document:
    """Write readings, heights above a site, as a document that `read_kept` reads."""
    place = () if setting.place is None else setting.place
    return {
        "when": setting.when.isoformat(),
        "site_altitude_m": setting.site_altitude,
        **dict(zip(("latitude", "longitude"), place, strict=False)),
        "readings": [_kept(reading) for reading in readings],
    }


def _kept(reading: Reading) -> Document:
    window, members = reading.window, reading.members
    document: dict[str, object | None] = {
        "source": reading.source,
        "kind": reading.kind,
        **{key: _iso(getattr(reading, key)) for key in _TIMES},
        "window": None if window is None else [_iso(time) for time in window],
        **{key: getattr(reading, key) for key in (*_FLAGS, *_TEXTS, "terrain")},
        **_numbers(reading, _NUMBERS),
        "levels": [
            {**_numbers(level, _LEVEL), "source": level.source}
            for level in reading.levels
        ],
        "members": None if members is None else members.tolist(),
    }
    return {key: value for key, value in document.items() if value is not None}


def _iso(time: datetime | None) -> str | None:
    return None if time is None else time.isoformat()


def _numbers(record: Reading | WindLevel, table: Mapping[str, _Number]) -> Document:
    return {
        row.key: value / row.unit
        for name, row in table.items()
        if (value := getattr(record, name)) is not None
    }


def name_of(stem: str, text: str) -> str:
    """Name a file after what it holds, so that nothing else passes for it."""
    return f"{stem}-kept{sha256(text.encode()).hexdigest()[:8]}"


def named_so(stem: str, text: str) -> bool:
    """Return whether a file holds what its name says; a name of another kind says nothing."""
    named = re.fullmatch(r"(.*)-kept[0-9a-f]{8}(-\d+)?", stem)
    return named is None or stem.startswith(name_of(named[1], text))


@lru_cache(512)
def looks_kept(text: str) -> bool:
    """Return whether a text is a document of `keep_readings`: JSON with readings."""
    if not text.lstrip().startswith("{") or '"readings"' not in text:
        return False
    try:
        return "readings" in json.loads(text)
    except (ValueError, RecursionError):
        return bool(re.match(r'\s*\{\s*"(?:site_altitude_m|readings)"', text))


# The desk reads all winds of its day at each look: what no time changes is kept by the text.
_loaded: Final = lru_cache(512)(load_document)


@lru_cache(512)
def _readings(text: str, source: str) -> tuple[Reading, ...]:
    each = []
    for where, one in objects_of(_loaded(text, source), "readings", "", _MOST):
        with at(where):
            each.append(_reading(one, where))
    return tuple(each)


@reader
def read_kept(text: str, source: str, setting: Setting) -> tuple[Reading, ...]:
    """Read what `keep_readings` wrote for this site, of the merged wind beside it nothing."""
    document = _loaded(text, source)
    check_keys(document, _DOCUMENT, "")
    with at("the document"):
        altitude = as_number(document.get("site_altitude_m"), "site_altitude_m")
    if abs(altitude - setting.site_altitude) > _ELSEWHERE:
        raise PlacedError(
            "site_altitude_m",
            f"{altitude:g} m: its heights are above another site; this one lies at "
            f"{setting.site_altitude:g} m",
        )
    _, odd, off = check_place(document, setting, source)
    kept_for = as_time(document, "when", "the document")
    each, readings = [], _readings(text, source)
    seen = [reading for reading in readings if reading.valid and not reading.forecast]
    # Of a station's reports the last is the one that is followed.
    last = {_station(r): r for r in sorted(seen, key=attrgetter("valid"))}
    for reading in readings:
        away = None if reading.away is None else max(reading.away, off)
        told, ends = _outlived(reading, kept_for, setting)
        if reading in seen and last[_station(reading)] is not reading:
            told, ends = (), None
        warned = (*reading.warned, *odd, *told)
        each.append(replace(reading, away=away, warned=warned, ends=ends))
    return tuple(each)


def _station(reading: Reading) -> str:
    """Name the station whose reports follow each other, by all but the time."""
    return reading.source.rpartition(" ")[0]


def _outlived(
    reading: Reading, kept_for: datetime | None, setting: Setting
) -> tuple[Iterable[str], datetime | None]:
    """Say what is kept of a report that itself would tell another thing by now, or when it will.

    A forecast of many hours was read for one of them, which is that of its validity if that is
    not all of its use; an aerodrome's report is followed by the next.
    """
    surface, window = reading.kind == "surface", reading.window
    if reading.forecast and surface == (window is not None):
        both = (kept_for, None if surface else reading.valid)
        times = [time for time in both if time is not None]
        near = [time for time in times if abs(setting.when - time) <= _OF_ONE_TIME]
        if near:
            return (), max(near) + _OF_ONE_TIME
        text = f"{reading.source} was kept for another time: give the forecast itself"
        return [text], None
    if surface and not reading.forecast and reading.away != 0:
        return not_renewed(reading, setting), next_due(reading)
    return (), None


def _reading(given: dict[str, Any], where: str) -> Reading:
    check_keys(given, _READING, where)
    kind, terrain = given.get("kind"), given.get("terrain")
    if kind not in ("surface", "aloft"):
        raise PlacedError(f"{where} kind", "accepted are 'surface' and 'aloft'")
    if terrain is not None and terrain not in tuple(ROUGHNESS):
        raise PlacedError(f"{where} terrain", f"accepted: {', '.join(ROUGHNESS)}")
    levels = []
    for place, one in objects_of(given, "levels", where):
        with at(place):
            levels.append(_level(one, place))
    valid, based = (as_time(given, key, where) for key in _TIMES)
    forecast, from_ground = (_flag(given, key, where) for key in _FLAGS)
    warned, assumed = (_texts(given, key, where) for key in _TEXTS)
    told = {name: _number(given, row) for name, row in _NUMBERS.items()}
    return Reading(
        source=_text(given, where),
        kind=cast(Literal["surface", "aloft"], kind),
        levels=tuple(levels),
        valid=valid,
        window=_window(given, where),
        based_on=based,
        forecast=forecast,
        from_ground=from_ground,
        members=_members(given.get("members"), len(levels), where),
        terrain=terrain,
        warned=warned,
        assumed=assumed,
        **{  # type: ignore[arg-type]
            **told,
            "direction_error": told["direction_error"] or 0.0,
            "up_to": told["up_to"] or 1.0,
        },
    )


def _level(given: dict[str, Any], where: str) -> WindLevel:
    check_keys(given, (*(row.key for row in _LEVEL.values()), "source"), where)
    told = {name: _number(given, row) for name, row in _LEVEL.items()}
    for name in ("height", "speed"):
        if told[name] is None:
            raise ValueError(f"no {_LEVEL[name].key}")
    return WindLevel(source=_text(given, where), **told)  # type: ignore[arg-type]


def _number(given: dict[str, Any], row: _Number) -> float | None:
    if (value := given.get(row.key)) is None:
        return None
    return row.unit * as_number(value, row.key, row.least, row.most)


def _flag(given: dict[str, Any], key: str, where: str) -> bool:
    if not isinstance(value := given.get(key), bool):
        raise PlacedError(f"{where} {key}", "must be true or false")
    return value


def _text(given: dict[str, Any], where: str) -> str:
    if not isinstance(value := given.get("source"), str) or not value.strip():
        raise PlacedError(f"{where} source", "must be text")
    return value


def _texts(given: dict[str, Any], key: str, where: str) -> tuple[str, ...]:
    value = given.get(key, [])
    if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
        raise PlacedError(f"{where} {key}", "must be a list of texts")
    return tuple(value)


def _window(given: dict[str, Any], where: str) -> tuple[datetime, datetime] | None:
    if given.get("window") is None:
        return None
    both = as_list(given["window"], f"{where} window", 2)
    times = [as_time({"window": one}, "window", where) for one in both]
    if len(times) != 2 or times[0] is None or times[1] is None or times[1] < times[0]:
        raise PlacedError(f"{where} window", "must be a first and a last time")
    return times[0], times[1]


def _members(value: object, levels: int, where: str) -> FloatArray | None:
    if value is None:
        return None
    try:
        members = np.array(value, dtype=float)
    except (ValueError, TypeError, OverflowError):
        members = np.empty(0)
    good = members.ndim == 3 and members.shape[1:] == (2, levels)
    if not good or not 0 < len(members) <= _MOST or not np.all(np.isfinite(members)):
        raise PlacedError(
            f"{where} members",
            f"must be members of 2 components at {levels} levels, all finite",
        )
    return members


def _levels_of(wind: WindProfile) -> tuple[WindLevel, ...]:
    """Return the levels as read, or from the layers up to `known_to` where nothing was read."""
    if wind.levels:
        return wind.levels
    direction, speed = direction_and_speed(wind.east, wind.north)
    return tuple(
        WindLevel(float(z), float(d), float(v), None, wind.source)
        for z, d, v in zip(wind.height, direction, speed, strict=True)
        if z <= wind.known_to
    )


def _row(level: WindLevel) -> Document:
    # Six decimals hide the rounding of unit conversions, nothing more.
    return {
        "height_agl_m": round(level.height, 6),
        "from_deg": None
        if level.direction is None
        else round(math.degrees(level.direction), 6),
        "speed_mps": round(level.speed, 6),
        "gust_mps": None if level.gust is None else round(level.gust, 6),
        "source": level.source,
    }


def wind_document(wind: WindProfile) -> Document:
    """Describe a merged wind: ``levels``, ``sources`` and ``assumed``, ready for JSON."""
    sources = (part for part in wind.source.split("; ") if part)
    return _document(_levels_of(wind), sources, wind.assumed)


def decoded_document(readings: Sequence[Reading]) -> Document:
    """Describe what each report says by itself, with the keys of `wind_document`."""
    return _document(
        (level for reading in readings for level in reading.levels),
        (reading.source for reading in readings),
        dict.fromkeys(note for reading in readings for note in reading.assumed),
    )


def _document(
    levels: Iterable[WindLevel], sources: Iterable[str], assumed: Iterable[str]
) -> Document:
    return {
        "levels": [_row(level) for level in levels],
        "sources": list(sources),
        "assumed": list(assumed),
    }
