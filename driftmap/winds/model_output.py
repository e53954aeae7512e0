"""What models give out: the answer of a forecast service, or arrays as in their files.

A service's answer has the form that Open-Meteo documents for hourly values at heights and
on pressure levels (from memory): ``hourly`` with ``time`` and a list for each quantity,
named such as ``wind_speed_80m`` or ``wind_direction_850hPa``, and their units in
``hourly_units``. Arrays are named as in the CF conventions (from memory), or by the short
names beside them: a list for each quantity, by level, or by time and level. What either
says of itself – place, ground, zone, units – is held against what was asked.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from typing import Any, Final

from driftmap.core.checks import zoned
from driftmap.core.errors import PlacedError, at
from driftmap.winds.forecast import read_document
from driftmap.winds.json_document import (
    as_list,
    as_number,
    as_object,
    is_number,
    load_document,
)
from driftmap.winds.reading import Reading, Setting, check_placed, held_to_ground
from driftmap.winds.sky import POOR
from driftmap.winds.text import meanings, reader, unit_size
from driftmap.winds.times import present
from driftmap.winds.unread import (
    ARRAY_GROUPS,
    COLUMN,
    FOG,
    MEANS,
    SIGHT,
    STORMS,
    WEATHER_CODES,
    unread_arrays,
    unread_blocks,
)

_KEYS: Final = meanings("hourly")
"""What names of columns mean: keys of a level."""

_CLOUD: Final = re.compile(r"cloud_?cover(?:_\w+)?")
"""Names of columns of cloud, of the whole sky or of a part of its height."""

_PLACE: Final = ("latitude", "longitude")
_MOST_HOURS: Final = 2000


def looks_like_answer(text: str) -> bool:
    """Return whether a text is JSON that has ``hourly`` and ``hourly_units``."""
    return text.lstrip().startswith("{") and bool(
        re.search(r'"hourly"\s*:', text) and re.search(r'"hourly_units"\s*:', text)
    )


@reader
def read_saved_answer(text: str, source: str, setting: Setting) -> Reading:
    """Read an answer of a service that was saved as a file."""
    return read_answer(load_document(text, source), source, setting, ())


def read_answer(
    answer: Mapping[str, Any], source: str, setting: Setting, notes: tuple[str, ...]
) -> Reading:
    """Read the hour nearest to the flight; `notes` say how the answer was fetched.

    It warns where the model's ground is not the site's. Raises `ValueError` if a value
    cannot be used, or the answer is for another place.
    """
    if "latitude" not in answer or "longitude" not in answer:
        raise ValueError("does not say its latitude and longitude")
    ground, odd = _ground(answer, setting)
    text = "time of the model run not told; heights above the model's ground taken for "
    document = {
        "source": f"forecast of {source}",
        **{key: answer[key] for key in _PLACE},
        "forecasts": _hours(answer, ground),
    }
    notes += (f"{source}: {text}heights above the site",)
    reading = read_document(document, source, setting, notes)
    hours = [*_hours_about(answer, reading)]
    odd += (*_of_the_sky(answer, hours), *unread_blocks(answer))
    warned = tuple(f"{source}: {said}" for said in odd)
    cloud = max(_cloud(answer, hours), default=None)
    return replace(reading, warned=(*reading.warned, *warned), cloud_cover=cloud)


def _hours_about(answer: Mapping[str, Any], reading: Reading) -> Iterator[int]:
    """List the hours about that of the wind by their place in the answer."""
    zone, flown = _zone(answer), reading.valid or present()
    for i, time in enumerate(answer["hourly"]["time"]):
        apart = datetime.fromisoformat(_valid(time, zone)) - flown
        if abs(apart) <= timedelta(hours=1):
            yield i


def _cloud(answer: Mapping[str, Any], hours: Sequence[int]) -> Iterator[float]:
    """Yield the parts of the sky that columns of cloud tell, of whichever height they are."""
    for name in filter(_CLOUD.fullmatch, answer["hourly"]):
        size = _factor(name, "cloud_share", answer["hourly_units"].get(name))
        for i in hours:
            value = _value(answer["hourly"], name, i)
            if value is not None:
                with at(name):
                    yield as_number(_in_si(value, size), "cloud", 0.0, 1.0)


def _of_the_sky(answer: Mapping[str, Any], hours: Sequence[int]) -> Iterator[str]:
    """Tell of storms, fog and poor sight in the hours about that of the wind."""
    hourly = answer["hourly"]
    size = 1.0
    if SIGHT in hourly:
        size = _factor(SIGHT, "visibility_m", answer["hourly_units"].get(SIGHT))
    for i, time in ((i, hourly["time"][i]) for i in hours):
        for code in (_value(hourly, name, i) for name in WEATHER_CODES):
            if code is not None and (not is_number(code) or code in STORMS):
                yield f"weather code {code} at {time}: thunder, squalls or a funnel cloud"
            elif code in FOG:
                yield f"weather code {code} at {time}: fog"
        seen = _value(hourly, SIGHT, i)
        if seen is not None and not (is_number(seen) and size * seen >= POOR):
            yield f"visibility {seen} at {time}: what comes down may not be seen"


def _value(hourly: Mapping[str, Any], name: str, i: int) -> Any:
    column = hourly.get(name)
    return column[i] if isinstance(column, list) and i < len(column) else None


def _ground(
    answer: Mapping[str, Any], setting: Setting
) -> tuple[float | None, tuple[str, ...]]:
    """Return the altitude of the model's ground, and what to hold for because of it."""
    if answer.get("elevation") is None:
        return None, ()
    with at("the answer"):
        ground = as_number(answer["elevation"], "elevation")
    return ground, tuple(held_to_ground(ground, setting))


def _hours(answer: Mapping[str, Any], ground: float | None) -> list[dict[str, Any]]:
    hourly = answer.get("hourly")
    if not isinstance(hourly, dict) or not hourly.get("time"):
        raise ValueError("its answer holds no hourly times")
    units = as_object(answer.get("hourly_units"), "hourly_units")
    times = as_list(hourly["time"], "hourly time", _MOST_HOURS)
    zone = _zone(answer)
    columns = _columns(hourly, units, len(times))
    hours = []
    for i, time in enumerate(times):
        told = _usable(_levels(columns, i, ground))
        told["notes"] += _gusts_untold(columns, i)
        if told["levels"] or told["notes"]:
            hours.append({"valid": _valid(time, zone), **told})
    if not hours:
        raise ValueError("its answer tells no wind")
    return hours


def _zone(answer: Mapping[str, Any]) -> timezone | None:
    """Return the zone of times that name none; None where only a name of it may be told."""
    given = answer.get("utc_offset_seconds")
    if given is None:
        return UTC if answer.get("timezone") in ("GMT", "UTC") else None
    with at("the answer"):
        offset = as_number(given, "utc_offset_seconds", -86399, 86399)
    return timezone(timedelta(seconds=offset))


def _valid(time: object, zone: timezone | None) -> str:
    """Give a time as text with its zone."""
    text = f"{str(time)[:40]!r}"
    try:
        local = datetime.fromisoformat(str(time))
        local = zoned(local.replace(tzinfo=local.tzinfo or zone))
        if local.tzinfo is not None:
            return local.astimezone(UTC).isoformat()
    except (ValueError, OverflowError):
        raise PlacedError("hourly time", f"{text} is no time") from None
    known = 'utc_offset_seconds beside it, or timezone "GMT"'
    raise PlacedError("hourly time", f"{text} names no zone; accepted is {known}")


Columns = dict[tuple[str, str], dict[str, tuple[list[Any], float]]]
"""By height or pressure: each quantity with its values and the size of its unit."""


def _columns(
    hourly: Mapping[str, Any], units: Mapping[str, Any], count: int
) -> Columns:
    columns: Columns = {}
    for name, values in hourly.items():
        found = COLUMN.fullmatch(name)
        if found is None and name.startswith("wind_"):
            text = "is of a member, or of a height that is not known; accepted are columns such as"
            raise PlacedError(name[:60], f"{text} wind_speed_80m of one forecast")
        if not found or (found[1] == "temperature" and found[3] == "m"):
            continue
        key = _KEYS[found[1]]
        factor = _factor(name, key, units.get(name))
        if not isinstance(values, list) or len(values) != count:
            raise PlacedError(name, f"must be a list of {count}, as the times")
        columns.setdefault((found[2], found[3]), {})[key] = values, factor
    return columns


def _factor(name: str, key: str, unit: object) -> float:
    with at(name):
        text = "no unit" if unit is None else str(unit)
        return unit_size("model", key.rsplit("_", 1)[1], text)


def _in_si(value: Any, factor: float) -> Any:
    return value * factor if is_number(value) else value


def _gusts_untold(columns: Columns, i: int) -> Iterator[str]:
    """Doubt an hour of a wind of which no gust is told, though of others there is."""
    for held in columns.values():
        speeds, gusts = (
            held.get(key, ([], 1.0))[0] for key in ("speed_mps", "gust_mps")
        )
        blows = bool(speeds) and speeds[i] is not None
        if blows and any(map(is_number, gusts)) and gusts[i] is None:
            yield "no gust is told of that hour, though of others: read it again"


def _levels(columns: Columns, i: int, ground: float | None) -> list[dict[str, Any]]:
    levels = []
    for (size, unit), held in columns.items():
        level = {
            key: _in_si(values[i], factor) for key, (values, factor) in held.items()
        }
        level["height_m" if unit == "m" else "pressure_hpa"] = float(size)
        level.setdefault("from_deg", None)  # a wind all the same, from anywhere
        # What lies under the model's own ground was never wind.
        altitude: Any = level.get("altitude_m")
        if ground is not None and is_number(altitude) and altitude < ground:
            with at(f"geopotential_height_{size}{unit}"):
                check_placed(float(size) * 100.0, altitude)
            continue
        levels.append(level)
    return levels


_WINDS: Final = ("speed_mps", "gust_mps", "u_mps", "v_mps")
_PLACES: Final = ("height_m", "altitude_m", "pressure_hpa")


def _usable(levels: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """Return the levels that tell a wind and where; a doubt of each that tells but one of them.

    A wind without direction is variable; other nulls are of what is not told there.
    """
    told: dict[str, list[Any]] = {"levels": [], "notes": []}
    for given in levels:
        level = {k: v for k, v in given.items() if v is not None or k == "from_deg"}
        wind = [key for key in _WINDS if key in level]
        shown = ", ".join(f"{k} {level[k]}" for k in (*wind, *_PLACES) if k in level)
        lost = f"a level of {shown} tells no"
        placed = any(key in level for key in _PLACES)
        if placed and wind == ["gust_mps"]:
            told["notes"].append(f"{lost} mean speed: its gust is flown as that")
            told["levels"].append(level | {"speed_mps": level.pop("gust_mps")})
        elif placed and ("speed_mps" in wind or {"u_mps", "v_mps"} <= {*wind}):
            told["levels"].append(level)
        elif wind:
            what = "mean speed" if placed else "height"
            told["notes"].append(f"{lost} {what}, and is not flown: read it again")
    return told


def looks_like_arrays(text: str) -> bool:
    """Return whether a text is JSON with an array for each component or for the speed."""
    names = "|".join(
        name for name, key in MEANS.items() if key in {"u_mps", "speed_mps"}
    )
    return text.lstrip().startswith("{") and bool(
        re.search(rf'"(?:{names})"\s*:\s*[\[{{]', text)
    )


@reader
def read_arrays(text: str, source: str, setting: Setting) -> Reading:
    """Read a model's output: an array for each quantity, by level, or by time and level.

    Arrays by name (those of `MEANS`) with ``units``, an object of them; or objects with
    ``data`` and ``attrs`` that tells ``units``, under ``coords`` and ``data_vars`` or at the
    top. ``time`` holds ISO times, UTC where no zone is told.
    """
    document = load_document(text, source)
    arrays, factors = _arrays(document)
    times = arrays.pop("time", None)
    if times is not None and not isinstance(times, list):
        times = [times]
    count = 1 if times is None else len(as_list(times, "time", _MOST_HOURS))
    columns = {
        name: _by_time(values, count, times is not None, name)
        for name, values in arrays.items()
    }
    forecasts = []
    for i in range(count):
        one = _usable(_rows_of(columns, factors, i))
        if times is not None:
            one["valid"] = _valid(times[i], UTC)
        forecasts.append(one)
    own = {
        "source": f"forecast of {source}",
        "forecasts": forecasts,
        **_place_in(document),
    }
    told = tuple(f"{source}: {said}" for said in unread_arrays(document))
    reading = read_document(own, source, setting)
    return replace(reading, warned=(*reading.warned, *told))


def _place_in(document: Mapping[str, Any]) -> dict[str, float]:
    """Return the one place that a document tells, at the top or among its coordinates."""
    coords = document.get("coords")
    told = {}
    for key in _PLACE:
        value = document.get(key, coords.get(key) if isinstance(coords, dict) else None)
        value = value.get("data") if isinstance(value, dict) else value
        value = value[0] if isinstance(value, list) and len(value) == 1 else value
        if is_number(value):
            told[key] = value
    return told if len(told) == len(_PLACE) else {}


def _arrays(document: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, float]]:
    """Find the arrays that mean something, and the sizes of their units."""
    told = document.get("units")
    units: dict[str, Any] = dict(told) if isinstance(told, dict) else {}
    held: dict[str, Any] = {}
    meant: dict[str, str] = {}
    for part in (document, *map(document.get, ARRAY_GROUPS)):
        for name, value in part.items() if isinstance(part, dict) else ():
            if name not in MEANS and name != "time":
                continue
            data, attrs = value, None
            if isinstance(value, dict):
                data, attrs = value.get("data"), value.get("attrs")
            if isinstance(attrs, dict) and "units" in attrs:
                units[name] = attrs["units"]
            other = meant.setdefault(MEANS.get(name) or name, name)
            if name in held or other != name:
                told = f"two arrays of one meaning: {other}, {name}; keep one of them"
                raise PlacedError(name, told)
            held[name] = data
    factors = {
        name: _factor(name, MEANS[name], units.get(name))
        for name in held
        if name != "time"
    }
    return held, factors


def _by_time(values: Any, count: int, timed: bool, name: str) -> list[list[Any]]:
    """Give an array of one row of levels for each time."""
    rows = as_list(values if isinstance(values, list) else [values], name)
    if not all(isinstance(row, list) for row in rows):
        return [rows] * count  # alike at all times, as levels are
    if not timed or len(rows) != count:
        raise PlacedError(name, f"must hold a row of levels for each of {count} times")
    return [as_list(row, name) for row in rows]


def _rows_of(
    columns: Mapping[str, list[list[Any]]], factors: Mapping[str, float], i: int
) -> list[dict[str, Any]]:
    """Return the levels of one time."""
    of = {name: rows[i] for name, rows in columns.items()}
    lengths = {len(row) for row in of.values()}
    if len(lengths) != 1:
        raise PlacedError("levels", f"arrays of {sorted(lengths)[:5]} values")
    return [
        {
            MEANS[name]: _in_si(value, factors[name])
            for name, value in zip(of, row, strict=True)
        }
        for row in zip(*of.values(), strict=True)
    ]
