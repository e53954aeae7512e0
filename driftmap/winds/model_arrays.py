"""A model's output as arrays: a list for each quantity, by level, or by time and level.

Names and units are those of the CF conventions (from memory) and the short ones beside
them; the form is plain lists, or objects with their data and attributes.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final

from driftmap.errors import WindError
from driftmap.units import FOOT, KNOT
from driftmap.winds.forecast import read_forecast
from driftmap.winds.reading import Reading, Setting
from driftmap.winds.service_answer import MOST_HOURS, SPEEDS, check_place, valid_time
from driftmap.winds.text import as_list, as_object, load_document

__all__ = ["looks_like_arrays", "read_arrays"]

_MEANS: Final = MappingProxyType(
    {
        **dict.fromkeys(("u", "u_wind", "ugrd", "eastward_wind"), "u_mps"),
        **dict.fromkeys(("v", "v_wind", "vgrd", "northward_wind"), "v_mps"),
        "wind_speed": "speed_mps",
        **dict.fromkeys(("wind_from_direction", "wind_direction"), "from_deg"),
        **dict.fromkeys(
            ("air_pressure", "pressure", "pressure_level", "isobaric", "level"),
            "pressure_hpa",
        ),
        "height": "height_m",
        **dict.fromkeys(("altitude", "geopotential_height"), "altitude_m"),
        "air_temperature": "temperature_c",
    }
)
"""What names of arrays mean: standard names of the CF conventions (from memory), and the
short ones that models' files use beside them."""

_MEASURES: Final = MappingProxyType(
    {
        **{
            key: {**SPEEDS, "m s-1": 1.0, "m s**-1": 1.0, "knots": KNOT}
            for key in ("u_mps", "v_mps", "speed_mps")
        },
        "from_deg": {"°": 1.0, "deg": 1.0, "degree": 1.0, "degrees": 1.0},
        "pressure_hpa": {
            **dict.fromkeys(("hPa", "mbar", "mb", "millibar", "millibars"), 1.0),
            "Pa": 0.01,
        },
        "height_m": {"m": 1.0, "ft": FOOT},
        "altitude_m": {"m": 1.0, "gpm": 1.0, "ft": FOOT},
        "temperature_c": {"degC": 1.0, "°C": 1.0, "C": 1.0},
    }
)


def looks_like_arrays(text: str) -> bool:
    """Tell whether a text is JSON with an array for each component or for the speed."""
    names = "|".join(
        name for name, key in _MEANS.items() if key in {"u_mps", "speed_mps"}
    )
    return text.lstrip().startswith("{") and bool(
        re.search(rf'"(?:{names})"\s*:\s*[\[{{]', text)
    )


def read_arrays(text: str, source: str, setting: Setting) -> Reading:
    """Read a model's output: an array for each quantity, by level, or by time and level.

    Parameters
    ----------
    text : str
        JSON: arrays by name (those of `_MEANS`) with ``units``, an object of them; or
        objects with ``data`` and ``attrs`` that tells ``units``, under ``coords`` and
        ``data_vars`` or at the top. ``time`` holds ISO times, UTC where no zone is told.
    source : str
        Name of the file.
    setting : Setting
        Place and time of the flight.

    Raises
    ------
    WindError
        If an array has no unit, or no shape that can be read.
    """
    document = as_object(load_document(text, source), source, "the document")
    arrays, units = _arrays(document, source)
    times = arrays.pop("time", None)
    if times is not None and not isinstance(times, list):
        times = [times]
    count = 1 if times is None else len(as_list(times, source, "time", MOST_HOURS))
    columns = {
        name: _by_time(values, count, times is not None, source, name)
        for name, values in arrays.items()
    }
    forecasts = []
    for i in range(count):
        one: dict[str, Any] = {"levels": _rows_of(columns, units, i, source)}
        if times is not None:
            one["valid"] = valid_time(times[i], 0.0, source)
        forecasts.append(one)
    place: tuple[str, ...] = (
        f"{source}: for what place it is was not held against the site's",
    )
    if _number(document.get("latitude")) and _number(document.get("longitude")):
        place = check_place(document, source, setting)
    own = {
        "source": f"forecast of {source}",
        "notes": list(place),
        "forecasts": forecasts,
    }
    return read_forecast(json.dumps(own), source, setting)


def _arrays(
    document: Mapping[str, Any], source: str
) -> tuple[dict[str, Any], dict[str, str]]:
    """Find the arrays that mean something, and the units that they tell."""
    told = document.get("units")
    units: dict[str, Any] = dict(told) if isinstance(told, dict) else {}
    held: dict[str, Any] = {}
    for part in (document, document.get("coords"), document.get("data_vars")):
        for name, value in part.items() if isinstance(part, dict) else ():
            if name not in _MEANS and name != "time":
                continue
            data, attrs = value, None
            if isinstance(value, dict):
                data, attrs = value.get("data"), value.get("attrs")
            if isinstance(attrs, dict) and "units" in attrs:
                units[name] = attrs["units"]
            held[name] = data
    for name in held:
        if name != "time" and units.get(name) not in _MEASURES[_MEANS[name]]:
            accepted = ", ".join(_MEASURES[_MEANS[name]])
            told = str(units.get(name, "no unit"))[:20]
            raise WindError(source, name, f"in {told!r}; accepted is {accepted}")
    return held, {name: str(unit) for name, unit in units.items()}


def _by_time(
    values: Any, count: int, timed: bool, source: str, name: str
) -> list[list[Any]]:
    """Give an array of one row of levels for each time."""
    rows = as_list(values if isinstance(values, list) else [values], source, name)
    if not all(isinstance(row, list) for row in rows):
        return [rows] * count  # alike at all times, as levels are
    if not timed or len(rows) != count:
        raise WindError(
            source, name, f"must hold a row of levels for each of {count} times"
        )
    return [as_list(row, source, name) for row in rows]


def _rows_of(
    columns: Mapping[str, list[list[Any]]],
    units: Mapping[str, str],
    i: int,
    source: str,
) -> list[dict[str, Any]]:
    """Give the levels of one time; what one quantity does not tell is left out."""
    of = {name: rows[i] for name, rows in columns.items()}
    lengths = {len(row) for row in of.values()}
    if len(lengths) != 1:
        raise WindError(source, "levels", f"arrays of {sorted(lengths)[:5]} values")
    levels = []
    for k in range(lengths.pop()):
        level = {
            _MEANS[name]: row[k] * _MEASURES[_MEANS[name]][units[name]]
            if _number(row[k])
            else row[k]
            for name, row in of.items()
        }
        if None not in level.values():
            levels.append(level)
    return levels


def _number(value: Any) -> bool:
    good = isinstance(value, int | float) and not isinstance(value, bool)
    return good and abs(value) < 1e9 and math.isfinite(value)
