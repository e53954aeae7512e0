"""A forecast for one place as JSON: levels, or several members with levels each.

The form is this project's own::

    {"source": "point forecast", "based_on": "2026-05-09T06:00Z",
     "valid": "2026-05-09T18:00Z",
     "levels": [{"height_m": 10, "from_deg": 240, "speed_mps": 4.2, "gust_mps": 7.5},
                {"pressure_hpa": 850, "altitude_m": 1480, "from_deg": 255,
                 "speed_kt": 22, "temperature_c": 6.5}]}

A level names its height as in a table, or ``pressure_hpa`` alone; ``from_deg`` null is
a variable wind. Instead of ``levels``, ``members`` is a list of ``{"levels": […]}``, and
``forecasts`` a list of such documents for several times. A grid is a list ``points``
of ``{"latitude": …, "longitude": …}`` with any of these; the point nearest to the site is
taken. A wind that was measured, not forecast, says
``"read"`` and the time in place of ``valid``. ``u_mps`` and ``v_mps`` toward east and north
may stand for speed and direction, and a bare list for its levels.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from types import MappingProxyType
from typing import Any, Final

import numpy as np

from driftmap.air.wind import WindLevel, components_from, direction_and_speed
from driftmap.checks import FloatArray
from driftmap.errors import PlacedError, at
from driftmap.winds.document import (
    as_number,
    as_time,
    check_keys,
    load_document,
    nearest_point,
    objects_of,
)
from driftmap.winds.reading import Reading, Setting, ordered, show_time
from driftmap.winds.sonde import (
    above_ground,
    altitude_of,
    choose_time,
    fill_heights,
    geopotential_of,
    without_doubles,
)
from driftmap.winds.soundings import looks_like_igra
from driftmap.winds.text import (
    NAMES,
    check_names,
    level_from,
    nearest_name,
    reader,
    vertical,
)

__all__ = ["each_time", "looks_like_forecast", "read_document", "read_forecast"]

_DOCUMENT: Final = (
    *("source", "based_on", "valid", "read", "levels", "members", "forecasts"),
    *("notes", "points", "latitude", "longitude"),
)
_EXTRA: Final = MappingProxyType(
    {"pressure_hpa": (1.0, 1100.0), "temperature_c": (-120.0, 60.0)}
)
"""What a level may tell beside what a row of a table does, and its range."""

_ROW: Final = (*NAMES, *_EXTRA)
_MOST_MEMBERS: Final = 1000


def looks_like_forecast(text: str) -> bool:
    """Tell whether the first character of a text opens a JSON document."""
    return text.lstrip()[:1] in {"{", "["}


@reader
def read_forecast(text: str, source: str, setting: Setting) -> Reading:
    """Read a forecast.

    ``source``: name of the file; ``setting``: time that is meant, and the altitude of
    the site.

    Result: levels above the site, and the members of an ensemble. Raises `WindError` if
    a key or a value cannot be used, by its level.
    """
    return read_document(load_document(text, source), source, setting)


def read_document(document: dict[str, Any], source: str, setting: Setting) -> Reading:
    """Read what a document holds, or what another form was turned into."""
    check_keys(document, _DOCUMENT, "")
    document, notes = nearest_point(document, source, setting)
    check_keys(document, _DOCUMENT, "")
    if document.get("forecasts") is None:
        return _reading(document, source, "", notes, setting)
    shared = {k: v for k, v in document.items() if k != "forecasts"}
    each = [
        (place, shared | one) for place, one in objects_of(document, "forecasts", "")
    ]
    times = [as_time(one, "read" if "read" in one else "valid", "") for _, one in each]
    chosen, picked = choose_time(times, setting, source, forecast=True)
    where, one = each[chosen]
    check_keys(one, _DOCUMENT, where)
    return _reading(one, source, where, (*notes, *picked), setting)


def _reading(
    document: dict[str, Any],
    source: str,
    where: str,
    notes: tuple[str, ...],
    setting: Setting,
) -> Reading:
    valid, read, based = (
        as_time(document, k, where) for k in ("valid", "read", "based_on")
    )
    if read is not None and not {"valid", "based_on"}.isdisjoint(document):
        raise PlacedError(where, "is either read, or a forecast: valid, based_on")
    label = document.get("source", source)
    if not isinstance(label, str):
        raise PlacedError(f"{where} source".strip(), "must be text")
    time = read or valid
    name = f"{label} {show_time(time)}" if time else label
    told = [str(note) for note in _notes(document, "notes")]
    levels, members, found = _content(document, where, name, setting)
    return Reading(
        source=name,
        kind="aloft",
        levels=levels,
        valid=time,
        based_on=based,
        forecast=read is None,
        members=members,
        assumed=(*notes, *told, *found),
    )


def _notes(document: dict[str, Any], key: str) -> list[Any]:
    value = document.get(key, [])
    return value if isinstance(value, list) else [value]


Content = tuple[tuple[WindLevel, ...], FloatArray | None, tuple[str, ...]]


def _content(
    document: dict[str, Any], where: str, name: str, setting: Setting
) -> Content:
    if ("levels" in document) == ("members" in document):
        raise PlacedError(where, "give either levels or members")
    if "levels" in document:
        levels, notes = _levels(document, where, name, setting)
        return levels, None, notes
    each = []
    for place, member in objects_of(document, "members", where, _MOST_MEMBERS):
        check_keys(member, ("levels",), place)
        each.append(_levels(member, place, name, setting))
    with at("members"):
        return _ensemble(each, name)


def _levels(
    held: dict[str, Any], where: str, name: str, setting: Setting
) -> tuple[tuple[WindLevel, ...], tuple[str, ...]]:
    rows = []
    for place, one in objects_of(held, "levels", where):
        with at(place):
            rows.append((place, _row(one)))
    heights, standard = _heights(rows, setting)
    levels = []
    for (place, row), height in zip(rows, heights, strict=True):
        with at(place):
            levels.append((place, _level(row, height, name, setting)))
    clear, foot = above_ground(levels, name, setting)
    single, doubled = without_doubles(clear, name)
    notes = foot + doubled
    if standard:
        notes += (
            f"{name}: levels placed by pressure in the standard atmosphere: {standard}",
        )
    return ordered(single), notes


def _row(given: dict[str, Any]) -> dict[str, float]:
    out: dict[str, float] = {}
    for key, value in given.items():
        if key not in _ROW:
            raise ValueError(f"unknown key {nearest_name(key, _ROW)}")
        if value is None and key.startswith(("from", "gust", "error")):
            out[key] = math.nan
        elif value is not None or key not in _EXTRA:
            out[key] = as_number(value, key, *_EXTRA.get(key, ()))
    names = [key for key in out if key in NAMES]
    check_names(names, vertical="pressure_hpa" not in out)
    return out


def _heights(
    rows: list[tuple[str, dict[str, float]]], setting: Setting
) -> tuple[list[float], int]:
    """Give the height of each level above the site, and how many are standard."""
    told: list[float | None] = []
    for place, row in rows:
        named = {NAMES.get(key, ("",))[0] for key in row}
        if not named & {"height", "altitude"}:
            told.append(None)
            continue
        # Pressure surfaces may lie under the ground; a height above it may not.
        lenient = "pressure_hpa" in row or "altitude" in named
        with at(place):
            told.append(vertical(row, setting, lenient=lenient))
    pressures = [
        p * 100.0 if (p := row.get("pressure_hpa")) else None for _, row in rows
    ]
    anchors = [
        None if z is None or p is None else geopotential_of(z + setting.site_altitude)
        for z, p in zip(told, pressures, strict=True)
    ]
    celsius = [row.get("temperature_c") for _, row in rows]
    found, standard = fill_heights(
        pressures, anchors, [None if c is None else c + 273.15 for c in celsius]
    )
    heights = [
        z if z is not None else altitude_of(h or 0.0) - setting.site_altitude
        for z, h in zip(told, found, strict=True)
    ]
    return heights, sum(standard)


def _level(
    row: dict[str, float], height: float, name: str, setting: Setting
) -> WindLevel:
    numbers = {key: value for key, value in row.items() if key in NAMES}
    level = level_from(numbers, height, setting, name)
    celsius = row.get("temperature_c")
    return level if celsius is None else replace(level, temperature=celsius + 273.15)


def _ensemble(
    each: list[tuple[tuple[WindLevel, ...], tuple[str, ...]]], name: str
) -> Content:
    """Bring the members to the levels that all of them reach."""
    heights = [np.array([level.height for level in levels]) for levels, _ in each]
    low, high = max(z[0] for z in heights), min(z[-1] for z in heights)
    common = np.unique(np.concatenate(heights).round(3))
    common = common[(common >= low - 1e-3) & (common <= high + 1e-3)]
    if common.size == 0:
        raise ValueError("have no heights in common")
    members = np.array([_components(levels, common) for levels, _ in each], dtype=float)
    direction, speed = direction_and_speed(*members.mean(axis=0))
    levels = tuple(
        WindLevel(float(z), float(d), float(v), None, name)
        for z, d, v in zip(common, direction, speed, strict=True)
    )
    notes = tuple(dict.fromkeys(note for _, told in each for note in told))
    spread = f"{name}: {len(each)} members, drawn one by one; the mean is shown"
    return levels, members, (*notes, spread)


def _components(levels: tuple[WindLevel, ...], common: FloatArray) -> list[FloatArray]:
    if any(level.direction is None for level in levels):
        raise ValueError("a variable direction in a member")
    parts = components_from(
        np.array([level.direction for level in levels], dtype=float),
        np.array([level.speed for level in levels]),
    )
    heights = [level.height for level in levels]
    return [np.interp(common, heights, part) for part in parts]


def each_time(text: str) -> tuple[str, ...]:
    """Take a file apart by time, into texts that its reader reads as files of their own.

    What cannot be taken apart comes back whole: the reader then explains.

    Examples
    --------
    >>> each_time('{"source": "model", "forecasts": [{"valid": 1}, {"valid": 2}]}')
    ('{"source": "model", "valid": 1}', '{"source": "model", "valid": 2}')
    """
    if looks_like_igra(text):
        return _soundings(text)
    if looks_like_forecast(text):
        return _forecasts(text)
    return (text,)


def _soundings(text: str) -> tuple[str, ...]:
    parts: list[list[str]] = []
    for line in text.splitlines():
        if line.startswith("#") or not parts:
            parts.append([])
        parts[-1].append(line)
    whole = ("\n".join(lines) for lines in parts)
    return tuple(part for part in whole if part.strip())


def _forecasts(text: str) -> tuple[str, ...]:
    try:
        document: Any = json.loads(text)
    except ValueError:
        return (text,)
    each = document.get("forecasts") if isinstance(document, dict) else None
    if not (isinstance(each, list) and all(isinstance(one, dict) for one in each)):
        return (text,)
    shared = {key: value for key, value in document.items() if key != "forecasts"}
    return tuple(json.dumps(shared | one) for one in each) or (text,)
