"""A wind written down: rows for a person, and a document that reads back as it was.

A forecast comes back as a forecast, with its times; a level with its own error; what
held a verdict holds it again.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Sequence
from datetime import datetime
from types import MappingProxyType
from typing import Any, Final, Literal, TypeAlias, cast

import numpy as np

from driftmap import units
from driftmap.air.wind import WindLevel, WindProfile, direction_and_speed
from driftmap.checks import FloatArray
from driftmap.errors import WindError
from driftmap.winds.law import ROUGHNESS
from driftmap.winds.reading import Reading, Setting, check_direction, check_speed
from driftmap.winds.text import (
    as_list,
    as_number,
    as_object,
    as_time,
    check_keys,
    load_document,
)

__all__ = [
    "decoded_document",
    "keep_readings",
    "levels_of",
    "looks_kept",
    "read_kept",
    "text_table",
    "wind_document",
]

Document: TypeAlias = dict[str, object]

_TIMES: Final = ("valid", "based_on")
_NUMBERS: Final = ("direction_error_deg", "pressure_hpa")
_AWAY: Final = "away_m"
_SKY: Final = MappingProxyType(
    {
        "cloud_cover": ("cloud_cover", 1.0),
        "visibility": ("visibility_m", 1e6),
        "cloud_base": ("cloud_base_m", 1e5),
        "lowest_cloud": ("lowest_cloud_m", 1e5),
    }
)
"""What a report tells of the sky: name here, key and the most it may be."""
_READING: Final = (
    *("source", "kind", "levels", *_TIMES, "window", "forecast", *_NUMBERS),
    *("from_ground", _AWAY, "members", "terrain", "warned", "assumed"),
    *(key for key, _ in _SKY.values()),
)
_LEVEL: Final = (
    *("height_m", "from_deg", "speed_mps", "gust_mps", "temperature_k", "error_mps"),
    "source",
)
_ELSEWHERE: Final = 1.0  # m between the site it was kept for and the one it is read for
_MOST: Final = 1000  # readings, and members of an ensemble


def keep_readings(readings: Iterable[Reading], site_altitude: float) -> Document:
    """Write readings as a document that `read_kept` reads.

    Parameters
    ----------
    readings : iterable of Reading
        Before merging.
    site_altitude : float
        Altitude of the site above which their heights are [m].

    Returns
    -------
    dict
        ``site_altitude_m`` and ``readings``, ready for JSON, with every digit.
    """
    return {
        "site_altitude_m": site_altitude,
        "readings": [_kept(reading) for reading in readings],
    }


def _kept(reading: Reading) -> Document:
    window, pressure = reading.window, reading.pressure
    document: dict[str, object | None] = {
        "source": reading.source,
        "kind": reading.kind,
        "forecast": reading.forecast,
        "valid": _iso(reading.valid),
        "window": None if window is None else [_iso(time) for time in window],
        "based_on": _iso(reading.based_on),
        "direction_error_deg": math.degrees(reading.direction_error),
        "from_ground": reading.from_ground,
        _AWAY: reading.away,
        "pressure_hpa": None if pressure is None else pressure / 100,
        "terrain": reading.terrain,
        "levels": [_kept_level(level) for level in reading.levels],
        **{key: getattr(reading, name) for name, (key, _) in _SKY.items()},
        "members": None if reading.members is None else reading.members.tolist(),
        "warned": list(reading.warned),
        "assumed": list(reading.assumed),
    }
    return {key: value for key, value in document.items() if value is not None}


def _iso(time: datetime | None) -> str | None:
    return None if time is None else time.isoformat()


def _kept_level(level: WindLevel) -> Document:
    way = level.direction
    document: dict[str, object | None] = {
        "height_m": level.height,
        "from_deg": None if way is None else math.degrees(way),
        "speed_mps": level.speed,
        "gust_mps": level.gust,
        "temperature_k": level.temperature,
        "error_mps": level.error,
        "source": level.source,
    }
    return {key: value for key, value in document.items() if value is not None}


def looks_kept(text: str) -> bool:
    """Tell whether a text is a document of `keep_readings`: JSON with readings."""
    if not text.lstrip().startswith("{") or '"readings"' not in text:
        return False
    try:
        return "readings" in json.loads(text)
    except (ValueError, RecursionError):
        return bool(re.match(r'\s*\{\s*"(?:site_altitude_m|readings)"', text))


def read_kept(text: str, source: str, setting: Setting) -> tuple[Reading, ...]:
    """Read what `keep_readings` wrote; other keys beside it are passed over.

    Parameters
    ----------
    text : str
        The document.
    source : str
        Name of the file.
    setting : Setting
        The site, which must be the one it was kept for.

    Raises
    ------
    WindError
        If a value cannot be used, or the site lies at another altitude.
    """
    document = as_object(load_document(text, source), source, "the document")
    altitude = as_number(
        document.get("site_altitude_m"), "site_altitude_m", source, "the document"
    )
    if abs(altitude - setting.site_altitude) > _ELSEWHERE:
        raise WindError(
            source,
            "site_altitude_m",
            f"{altitude:g} m: its heights are above another site; this one lies at "
            f"{setting.site_altitude:g} m",
        )
    each = as_list(document["readings"], source, "readings", _MOST)
    return tuple(
        _reading(as_object(one, source, f"reading {i}"), source, f"reading {i}")
        for i, one in enumerate(each, 1)
    )


def _reading(given: dict[str, Any], source: str, where: str) -> Reading:
    check_keys(given, _READING, source, where)
    kind = given.get("kind")
    if kind not in {"surface", "aloft"}:
        raise WindError(source, f"{where} kind", "accepted are 'surface' and 'aloft'")
    each = as_list(given.get("levels"), source, f"{where} levels")
    levels = tuple(
        _level(
            as_object(one, source, f"{where} level {i}"), source, f"{where} level {i}"
        )
        for i, one in enumerate(each, 1)
    )
    turn, pressure = (_number(given, key, source, where) for key in _NUMBERS)
    valid, based = (as_time(given, key, source, where) for key in _TIMES)
    terrain = given.get("terrain")
    if terrain is not None and terrain not in ROUGHNESS:
        raise WindError(source, f"{where} terrain", f"accepted: {', '.join(ROUGHNESS)}")
    try:
        return Reading(
            source=_text(given.get("source"), source, where),
            kind=cast(Literal["surface", "aloft"], kind),
            levels=levels,
            valid=valid,
            window=_window(given, source, where),
            based_on=based,
            forecast=_flag(given, "forecast", source, where),
            direction_error=math.radians(turn or 0.0),
            from_ground=_flag(given, "from_ground", source, where),
            away=_number(given, _AWAY, source, where),
            members=_members(given.get("members"), len(levels), source, where),
            pressure=None if pressure is None else pressure * 100,
            terrain=terrain,
            **_sky(given, source, where),
            warned=_texts(given, "warned", source, where),
            assumed=_texts(given, "assumed", source, where),
        )
    except ValueError as problem:
        raise WindError(source, where, str(problem)) from None


def _level(given: dict[str, Any], source: str, where: str) -> WindLevel:
    check_keys(given, _LEVEL, source, where)
    height, speed = (
        as_number(given.get(key), key, source, where) for key in _LEVEL[:3:2]
    )
    way, gust, kelvin, error = (
        _number(given, key, source, where)
        for key in ("from_deg", "gust_mps", "temperature_k", "error_mps")
    )
    if gust is not None:
        check_speed(gust, source, where, what="gust")
    if error is not None and not 0 <= error <= 100:
        raise WindError(source, where, f"error_mps {error:g}; accepted is 0 to 100")
    return WindLevel(
        height,
        None if way is None else check_direction(way, source, where),
        check_speed(speed, source, where),
        gust,
        _text(given.get("source"), source, where),
        kelvin,
        error,
    )


def _sky(given: dict[str, Any], source: str, where: str) -> dict[str, float | None]:
    """Read what was kept of the sky."""
    told: dict[str, float | None] = {}
    for name, (key, most) in _SKY.items():
        value = told[name] = _number(given, key, source, where)
        if value is not None and not 0 <= value <= most:
            raise WindError(
                source, where, f"{key} {value:g}; accepted is 0 to {most:g}"
            )
    return told


def _number(given: dict[str, Any], key: str, source: str, where: str) -> float | None:
    value = given.get(key)
    return None if value is None else as_number(value, key, source, where)


def _flag(given: dict[str, Any], key: str, source: str, where: str) -> bool:
    value = given.get(key)
    if not isinstance(value, bool):
        raise WindError(source, f"{where} {key}", "must be true or false")
    return value


def _text(value: object, source: str, where: str) -> str:
    if not isinstance(value, str) or not value.strip():
        raise WindError(source, f"{where} source", "must be text")
    return value


def _texts(given: dict[str, Any], key: str, source: str, where: str) -> tuple[str, ...]:
    value = given.get(key, [])
    if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
        raise WindError(source, f"{where} {key}", "must be a list of texts")
    return tuple(value)


def _window(
    given: dict[str, Any], source: str, where: str
) -> tuple[datetime, datetime] | None:
    if given.get("window") is None:
        return None
    both = as_list(given["window"], source, f"{where} window", 2)
    times = [as_time({"window": one}, "window", source, where) for one in both]
    if len(times) != 2 or times[0] is None or times[1] is None or times[1] < times[0]:
        raise WindError(source, f"{where} window", "must be a first and a last time")
    return times[0], times[1]


def _members(value: object, levels: int, source: str, where: str) -> FloatArray | None:
    if value is None:
        return None
    try:
        members = np.array(value, dtype=float)
    except (ValueError, TypeError, OverflowError):
        members = np.empty(0)
    good = members.ndim == 3 and members.shape[1:] == (2, levels)
    if not good or not 0 < len(members) <= _MOST or not np.all(np.isfinite(members)):
        raise WindError(
            source,
            f"{where} members",
            f"must be members of 2 components at {levels} levels, all finite",
        )
    return members


def levels_of(wind: WindProfile) -> tuple[WindLevel, ...]:
    """Give the levels of a wind as a person reads them.

    Returns
    -------
    tuple of WindLevel
        As read, or made from the layers up to `known_to` where nothing was read.
    """
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
    """Describe a merged wind.

    Returns
    -------
    dict
        ``levels``, ``sources`` and ``assumed``, ready for JSON.
    """
    return {
        "levels": [_row(level) for level in levels_of(wind)],
        "sources": [part for part in wind.source.split("; ") if part],
        "assumed": list(wind.assumed),
    }


def decoded_document(readings: Sequence[Reading]) -> Document:
    """Describe what each report says by itself.

    Returns
    -------
    dict
        The same keys as `wind_document`.
    """
    return {
        "levels": [_row(level) for reading in readings for level in reading.levels],
        "sources": [reading.source for reading in readings],
        "assumed": list(
            dict.fromkeys(note for reading in readings for note in reading.assumed)
        ),
    }


def text_table(levels: Iterable[WindLevel], system: str) -> str:
    """Set levels as a table, the highest first, as the sky is.

    Parameters
    ----------
    levels : iterable of WindLevel
        Levels to show.
    system : {"us", "si"}
        Units the reader picked.
    """
    head = ("height", "from", "speed", "gust", "source")
    rows = [_cells(level, system) for level in reversed(list(levels))]
    widths = [max(len(row[i]) for row in (head, *rows)) for i in range(4)]
    return "\n".join(
        "  ".join([*(c.rjust(w) for c, w in zip(row, widths, strict=False)), row[4]])
        for row in (head, *rows)
    )


def _cells(level: WindLevel, system: str) -> tuple[str, ...]:
    if level.speed == 0:
        bearing = "calm"
    elif level.direction is None:
        bearing = "variable"
    else:
        bearing = f"{round(math.degrees(level.direction)) or 360:03d}°"
    return (
        units.show(level.height, "length", system),
        bearing,
        units.show(level.speed, "speed", system),
        "" if level.gust is None else units.show(level.gust, "speed", system),
        "".join(c if c.isprintable() else "?" for c in level.source),
    )
