"""The answer of a forecast service, as asked for or saved as a file by hand.

Its form is the one that Open-Meteo documents for hourly values at heights and on pressure
levels (from memory): ``hourly`` with ``time`` and a list for each quantity, named such as
``wind_speed_80m`` or ``wind_direction_850hPa``, and their units in ``hourly_units``. What
it says of itself – place, ground, zone, units – is held against what was asked.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import MappingProxyType
from typing import Any, Final

from driftmap.errors import WindError
from driftmap.units import FOOT, KNOT, MILE_PER_HOUR
from driftmap.winds.forecast import read_forecast
from driftmap.winds.reading import Reading, Setting
from driftmap.winds.text import (
    FARTHEST,
    as_list,
    as_number,
    as_object,
    distance,
    load_document,
)

__all__ = [
    "MOST_HOURS",
    "SPEEDS",
    "check_place",
    "looks_like_answer",
    "read_answer",
    "read_saved_answer",
    "valid_time",
]

SPEEDS: Final = MappingProxyType(
    {
        "m/s": 1.0,
        "ms": 1.0,
        "km/h": 1 / 3.6,
        "kmh": 1 / 3.6,
        "mp/h": MILE_PER_HOUR,
        "mph": MILE_PER_HOUR,
        "kn": KNOT,
        "kt": KNOT,
    }
)
"""Size of each unit of speed, as services write it [m s⁻¹]."""

_UNITS: Final = MappingProxyType(
    {
        "wind_speed": SPEEDS,
        "wind_gusts": SPEEDS,
        "wind_direction": {"°": 1.0, "deg": 1.0},
        "geopotential_height": {"m": 1.0, "ft": FOOT},
        "temperature": {"°C": 1.0, "C": 1.0},
    }
)
_COLUMN: Final = re.compile(
    r"(wind_speed|wind_gusts|wind_direction|geopotential_height|temperature)_"
    r"(\d{1,5})(m|hPa)"
)
_KEYS: Final = MappingProxyType(
    {
        "wind_speed": "speed_mps",
        "wind_gusts": "gust_mps",
        "wind_direction": "from_deg",
        "geopotential_height": "altitude_m",
        "temperature": "temperature_c",
    }
)
_APART: Final = 100.0  # m between the model's ground and the site; assumed
_FAR_APART: Final = 1000.0  # m: another mountain, or a mistaken place; assumed
MOST_HOURS: Final = 2000
"""Most times of one answer."""


def looks_like_answer(text: str) -> bool:
    """Tell whether a text is JSON that has ``hourly`` and ``hourly_units``."""
    return text.lstrip().startswith("{") and bool(
        re.search(r'"hourly"\s*:', text) and re.search(r'"hourly_units"\s*:', text)
    )


def read_saved_answer(text: str, source: str, setting: Setting) -> Reading:
    """Read an answer that was saved as a file.

    Raises
    ------
    WindError
        If a value cannot be used, or it is for another place.
    """
    answer = as_object(load_document(text, source), source, "the document")
    return read_answer(answer, source, setting, ())


def read_answer(
    answer: Mapping[str, Any], source: str, setting: Setting, notes: tuple[str, ...]
) -> Reading:
    """Read an answer.

    Parameters
    ----------
    answer : mapping
        What the service sent.
    source : str
        Name of the service or the file.
    setting : Setting
        Place and time of the flight.
    notes : tuple of str
        How it was fetched.

    Returns
    -------
    Reading
        The hour nearest to the flight; it warns where the model's ground is not the
        site's.

    Raises
    ------
    WindError
        If a value cannot be used, or the answer is for another place.
    """
    place = check_place(answer, source, setting)
    ground, warned = _ground(answer, source, setting)
    about = (
        "time of the model run not told; heights above the model's ground taken for "
    )
    document = {
        "source": f"forecast of {source}",
        "notes": [*notes, *place, f"{source}: {about}heights above the site"],
        "forecasts": _hours(answer, source, ground),
    }
    reading = read_forecast(json.dumps(document), source, setting)
    return replace(reading, warned=(*reading.warned, *warned))


def check_place(
    answer: Mapping[str, Any], source: str, setting: Setting
) -> tuple[str, ...]:
    """Hold the place of an answer against the site's; a note of how far it is."""
    if "latitude" not in answer or "longitude" not in answer:
        raise WindError(source, "", "does not say its latitude and longitude")
    if setting.place is None:
        return (f"{source}: for what place it is was not held against the site's",)
    away = distance(answer, setting.place, source, "the answer")
    if away > FARTHEST:
        raise WindError(
            source,
            "",
            f"is for {answer['latitude']:.4f}, {answer['longitude']:.4f}, "
            f"{away / 1000:.0f} km from the site; accepted is {FARTHEST / 1000:.0f} km",
        )
    return (f"{source}: its point is {away / 1000:.0f} km from the site",)


def _ground(
    answer: Mapping[str, Any], source: str, setting: Setting
) -> tuple[float | None, tuple[str, ...]]:
    """Give the altitude of the model's ground, and what to hold for because of it."""
    if answer.get("elevation") is None:
        return None, ()
    ground = as_number(answer["elevation"], "elevation", source, "the answer")
    apart = ground - setting.site_altitude
    told = (
        f"{abs(apart):.0f} m {'above' if apart > 0 else 'below'} the site "
        f"({setting.site_altitude:.0f} m)"
    )
    if abs(apart) > _FAR_APART:
        raise WindError(
            source, "", f"its ground is {told}; accepted is {_FAR_APART:.0f} m"
        )
    if abs(apart) > _APART:
        return ground, (
            f"{source}: its ground is {told}: its wind is of other country",
        )
    return ground, ()


def _hours(
    answer: Mapping[str, Any], source: str, ground: float | None
) -> list[dict[str, Any]]:
    hourly = answer.get("hourly")
    if not isinstance(hourly, dict) or not hourly.get("time"):
        raise WindError(source, "", "its answer holds no hourly times")
    units = as_object(answer.get("hourly_units"), source, "hourly_units")
    times = as_list(hourly["time"], source, "hourly time", MOST_HOURS)
    offset = as_number(
        answer.get("utc_offset_seconds", 0), "utc_offset_seconds", source, "the answer"
    )
    columns = _columns(hourly, units, len(times), source)
    hours = []
    for i, time in enumerate(times):
        levels = _levels(columns, i, ground)
        if levels:
            hours.append({"valid": valid_time(time, offset, source), "levels": levels})
    if not hours:
        raise WindError(source, "", "its answer tells no wind")
    return hours


def valid_time(time: object, offset: float, source: str) -> str:
    """Give a time as text with its zone; one without is off UTC by `offset` [s]."""
    try:
        local = datetime.fromisoformat(str(time))
        if local.tzinfo is not None:
            return local.isoformat()
        return (local - timedelta(seconds=offset)).replace(tzinfo=UTC).isoformat()
    except (ValueError, OverflowError):
        raise WindError(
            source, "hourly time", f"{str(time)[:40]!r} is no time"
        ) from None


Columns = dict[tuple[str, str], dict[str, tuple[list[Any], float]]]
"""By height or pressure: each quantity with its values and the size of its unit."""


def _columns(
    hourly: Mapping[str, Any], units: Mapping[str, Any], count: int, source: str
) -> Columns:
    columns: Columns = {}
    for name, values in hourly.items():
        found = _COLUMN.fullmatch(name)
        if not found:
            continue
        what, size, unit = found.groups()
        if what == "temperature" and unit == "m":
            continue
        factors = _UNITS[what]
        if units.get(name) not in factors:
            raise WindError(
                source,
                name,
                f"in {str(units.get(name))[:20]!r}; accepted is {', '.join(factors)}",
            )
        if not isinstance(values, list) or len(values) != count:
            raise WindError(source, name, f"must be a list of {count}, as the times")
        columns.setdefault((size, unit), {})[_KEYS[what]] = values, factors[units[name]]
    return columns


def _levels(columns: Columns, i: int, ground: float | None) -> list[dict[str, Any]]:
    levels = []
    for (size, unit), held in columns.items():
        level = {
            key: values[i] * factor if _number(values[i]) else values[i]
            for key, (values, factor) in held.items()
        }
        level["height_m" if unit == "m" else "pressure_hpa"] = float(size)
        needed = ("from_deg", "speed_mps", *(("altitude_m",) if unit == "hPa" else ()))
        if any(level.get(key) is None for key in needed):
            continue
        # What lies under the model's own ground was never wind.
        altitude: Any = level.get("altitude_m")
        if ground is not None and _number(altitude) and altitude < ground:
            continue
        levels.append(level)
    return levels


def _number(value: Any) -> bool:
    good = isinstance(value, int | float) and not isinstance(value, bool)
    return good and abs(value) < 1e9 and math.isfinite(value)
