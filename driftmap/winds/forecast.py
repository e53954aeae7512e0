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
taken; one for a place far from the site is refused. A wind that was measured, not forecast, says
``"read"`` and the time in place of ``valid``. ``u_mps`` and ``v_mps`` toward east and north
may stand for speed and direction, and a bare list for its levels.
"""

from __future__ import annotations

import math
from dataclasses import replace
from types import MappingProxyType
from typing import Any, Final

import numpy as np

from driftmap.air.atmosphere import altitude_of, fill_heights, geopotential_of
from driftmap.air.wind import WindLevel, components_from, direction_and_speed
from driftmap.core.checks import FloatArray
from driftmap.core.errors import PlacedError, at
from driftmap.core.points import over_ground
from driftmap.core.tables import nearest_name
from driftmap.core.units import kelvin
from driftmap.winds.json_document import (
    as_number,
    as_time,
    check_keys,
    check_place,
    load_document,
    objects_of,
    stated_point,
)
from driftmap.winds.other_times import times_counted, with_others
from driftmap.winds.reading import Reading, Setting, check_placed
from driftmap.winds.text import (
    NAMES,
    check_names,
    choose_time,
    laid_out,
    level_from,
    reader,
    vertical,
)
from driftmap.winds.times import show_time

_DOCUMENT: Final = (
    *("source", "based_on", "valid", "read", "levels", "members", "forecasts"),
    *("notes", "points", "latitude", "longitude"),
)
_HOLDS: Final = ("levels", "members", "forecasts", "points")
_EXTRA: Final = MappingProxyType(
    {"pressure_hpa": (1.0, 1100.0), "temperature_c": (-120.0, 60.0)}
)
"""What a level may tell beside what a row of a table does, and its range."""

_ROW: Final = (*NAMES, *_EXTRA)
_MOST_MEMBERS: Final = 1000
_ONE_PLACE: Final = 100.0  # m between points of a grid; assumed


def looks_like_forecast(text: str) -> bool:
    """Return whether the first character of a text opens a JSON document."""
    return text.lstrip()[:1] in {"{", "["}


@reader
def read_forecast(text: str, source: str, setting: Setting) -> Reading:
    """Read a forecast: levels above the site, and the members of an ensemble."""
    return read_document(load_document(text, source), source, setting)


def read_document(
    document: dict[str, Any], source: str, setting: Setting, notes: tuple[str, ...] = ()
) -> Reading:
    """Read what a document holds, or what another form was turned into, as `notes` say."""
    _check_whole(document, "")
    document, placed = _nearest_point(document, source, setting)
    notes += placed
    if document.get("forecasts") is None:
        return _reading(document, source, "", notes, setting)
    shared = {k: v for k, v in document.items() if k != "forecasts"}
    times_told = objects_of(document, "forecasts", "")
    for place, one in times_told:
        _check_whole(one, place)
    each = [(place, shared | one) for place, one in times_told]
    times = [as_time(one, "read" if "read" in one else "valid", "") for _, one in each]
    chosen, picked = choose_time(times, setting, source, forecast=True)
    foretold = "read" not in each[chosen][1]
    heard = times_counted(times, chosen, setting, forecast=foretold)
    flown, *others = (
        _reading(one, source, where, notes, setting)
        for where, one in (each[i] for i in heard)
    )
    flown = replace(flown, assumed=(*flown.assumed, *picked))
    return with_others(flown, others, setting)


def _check_whole(document: dict[str, Any], where: str) -> None:
    """Refuse keys that are not known, and winds of which one would be passed over."""
    check_keys(document, _DOCUMENT, where)
    held = [key for key in _HOLDS if document.get(key) is not None]
    if len(held) > 1:
        raise PlacedError(where, f"both {' and '.join(held)}; give one of them")


def _reading(
    document: dict[str, Any],
    source: str,
    where: str,
    notes: tuple[str, ...],
    setting: Setting,
) -> Reading:
    check_keys(document, _DOCUMENT, where)
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
    notes_told = document.get("notes", [])
    told = notes_told if isinstance(notes_told, list) else [notes_told]
    place, odd, away = check_place(document, setting, source, where)
    levels, members, found = _content(document, where, name, setting)
    return Reading(
        source=name,
        kind="aloft",
        levels=levels,
        valid=time,
        based_on=based,
        forecast=read is None,
        away=0.0 if read is None else away,  # a grid's point stands for its square
        members=members,
        # Somebody meant them to be heard, as a remark in a table.
        warned=(*odd, *(f"{name}: {said}" for said in told if str(said).strip())),
        assumed=(*notes, place, *found),
    )


Members = tuple[tuple[WindLevel, ...], FloatArray | None, tuple[str, ...]]


def _content(
    document: dict[str, Any], where: str, name: str, setting: Setting
) -> Members:
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
    flown, notes = laid_out(levels, name, setting)
    if standard:
        notes += (
            f"{name}: levels placed by pressure in the standard atmosphere: {standard}",
        )
    return flown, notes


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
    """Return the height of each level above the site, and how many are standard."""
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
    anchors: list[float | None] = []
    for (place, _), z, p in zip(rows, told, pressures, strict=True):
        if z is None or p is None:
            anchors.append(None)
            continue
        anchors.append(geopotential_of(z + setting.site_altitude))
        with at(place):
            check_placed(p, z + setting.site_altitude)
    temperatures = [kelvin(row.get("temperature_c")) for _, row in rows]
    found, standard = fill_heights(pressures, anchors, temperatures)
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
    return replace(level, temperature=kelvin(row.get("temperature_c")))


def _ensemble(
    each: list[tuple[tuple[WindLevel, ...], tuple[str, ...]]], name: str
) -> Members:
    """Bring the members to the levels that all of them reach."""
    heights = [np.array([level.height for level in levels]) for levels, _ in each]
    low, high = max(z[0] for z in heights), min(z[-1] for z in heights)
    common = np.unique(np.concatenate(heights).round(3))
    common = common[(common >= low - 1e-3) & (common <= high + 1e-3)]
    if common.size == 0:
        raise ValueError("have no heights in common")
    members = np.array([_components(levels, common) for levels, _ in each], dtype=float)
    direction, speed = direction_and_speed(*members.mean(axis=0))
    # What any member tells counts at the common height nearest to it: the strongest gust, or
    # wind below or above all of them, and the largest error.
    gusts: dict[int, float] = {}
    errors: dict[int, float] = {}
    for one in (one for levels, _ in each for one in levels):
        i = int(np.argmin(np.abs(common - one.height)))
        if one.gust or not low - 1e-3 <= one.height <= high + 1e-3:
            gusts[i] = max(one.peak, gusts.get(i, float(speed[i])))
        if one.error:
            errors[i] = max(one.error, errors.get(i, 0.0))
    levels = tuple(
        WindLevel(float(z), float(d), float(v), gusts.get(i), name, error=errors.get(i))
        for i, (z, d, v) in enumerate(zip(common, direction, speed, strict=True))
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


def _nearest_point(
    document: dict[str, Any], source: str, setting: Setting
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Put the point nearest to the site in place of ``points``, where there are any."""
    if "points" not in document:
        return document, ()
    points = objects_of(document, "points", "")
    with at("points"):
        if setting.place is None:
            raise ValueError(
                "are a grid, and where the site lies is not known; give it"
            )
        away = []
        for where, point in points:
            with at(where):
                away.append(over_ground(stated_point(point), setting.place))
        nearest = points[away.index(min(away))][1]
        apart = (
            over_ground(stated_point(nearest), stated_point(point))
            for _, point in points
        )
        if sum(one < _ONE_PLACE for one in apart) > 1:
            raise ValueError("hold one place twice; its times go into 'forecasts'")
    shared = {key: value for key, value in document.items() if key != "points"}
    note = f"{source}: the nearest of {len(points)} points is taken"
    _check_whole(nearest, "points")
    return shared | nearest, (note,)
