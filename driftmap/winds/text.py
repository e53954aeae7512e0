"""Text files of winds taken apart: lines, cells, columns with units, JSON by its keys."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from datetime import datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from driftmap.air.wind import WindLevel, direction_and_speed
from driftmap.errors import WindError, nearest, quoted
from driftmap.files import bytes_of, parse_json
from driftmap.units import FOOT, KNOT, MILE_PER_HOUR
from driftmap.winds.reading import (
    Setting,
    check_direction,
    check_speed,
    over_ground,
    parse_time,
)

__all__ = [
    "FARTHEST",
    "LONGEST_FILE",
    "MOST_LINES",
    "NAMES",
    "as_list",
    "as_number",
    "as_object",
    "as_time",
    "cells_of",
    "check_keys",
    "check_names",
    "check_text",
    "distance",
    "idle",
    "level_from",
    "load_document",
    "load_text",
    "mark_of",
    "nearest_name",
    "nearest_point",
    "number_of",
    "unheard",
    "vertical",
]

LONGEST_FILE: Final = 20_000_000
"""Largest file read [bytes]: a year of soundings from one station."""

MOST_LINES: Final = 200_000
"""Most lines read."""

LONGEST_LINE: Final = 1000
"""Longest line of a report [characters]; a JSON or XML document may stand in one."""

_COMMA: Final = re.compile(r"^([-+]?\d+),(\d{1,2})$")


def load_text(path: Path) -> str:
    """Read a text file, without a byte order mark; refuse what is too long or no text."""
    raw = bytes_of(path, WindError, LONGEST_FILE)
    return check_text(_decode(raw, str(path)), str(path))


def _decode(raw: bytes, source: str) -> str:
    if b"\0" in raw:
        raise WindError(source, "", "is a binary file; accepted are text files")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        # Older station lists carry a degree sign or an accent in Latin-1.
        return raw.decode("latin-1")


def check_text(text: str, source: str) -> str:
    """Give back text of a sensible size; refuse it empty, too long or binary."""
    if not text.strip():
        raise WindError(source, "", "is empty")
    lines = text.count("\n")
    if lines > MOST_LINES:
        raise WindError(source, "", f"{lines} lines; accepted are {MOST_LINES} at most")
    if text.lstrip()[:1] not in {"{", "[", "<"}:
        long = next(
            (
                n
                for n, line in enumerate(text.splitlines(), 1)
                if len(line) > LONGEST_LINE
            ),
            None,
        )
        if long is not None:
            raise WindError(
                source, f"line {long}", f"is over {LONGEST_LINE} characters long"
            )
    odd = sum(1 for c in text[:4096] if ord(c) < 32 and c not in "\t\r\n\f\x01\x03\x1e")
    if odd > 0:
        raise WindError(source, "", "is a binary file; accepted are text files")
    return text


def idle(line: str) -> bool:
    """Tell whether a line of a table says nothing: blank, or a remark after ``#``."""
    return not line.strip() or line.lstrip().startswith("#")


_WARY: Final = re.compile(
    r"thunder|lightning|storm|squall|hail|gale|dust devil|funnel|rotor|shear|turbulen|"
    r"\bfronts?\b|gusts?\b|estimat|guess|unsure|doubt|broken|faulty|\baway\b|\bfog|"
    r"low cloud|overcast",
    re.IGNORECASE,
)
"""Words of a remark that somebody meant to be heard."""

_TAKEN_UP: Final = re.compile(
    r"(?:(?:(?:read|valid|based on)\W+(?:(?:at|for)\s+)?|height\W+|zone\W+|released\W+|"
    r"ascent\W+|balloon\W+|free lift\W+|to |which makes )[-+]?\d|second observer|"
    r"azimuth is from true)(?!.*\b(?:magnetic|compass))",
    re.IGNORECASE,
)
"""Remarks that readers do take up."""

_AGAINST: Final = tuple(
    (re.compile(told, re.IGNORECASE), named)
    for told, named in (
        (r"\bmagnetic|\bcompass", ("magnetic",)),
        (r"\btrue\b", ("from_deg", "azimuth_deg", "u_")),
        (r"\bmph\b|miles? (?:per|an) hour", ("_mph",)),
        (r"\bkn?o?ts?\b", ("_kt",)),
        (r"\bkm/?h\b|\bkph\b|kilomet\w+ (?:per|an) hour", ("_kmh",)),
        (r"\bm/s\b|\bmps\b|\bmet\w+ (?:per|a) second", ("_mps",)),
        (r"\bfeet\b|\bft\b", ("_ft",)),
        (r"\bmet(?:re|er)s\b(?! (?:per|a) )", ("_m",)),
        (r"\ba?msl\b|sea level", ("altitude_",)),
        (r"\bagl\b|above (?:the )?ground", ("height_",)),
        (r"\btowards?\b|blow\w* to\b|wind goes\b", ("u_",)),
    )
)
"""Units and bearings of which a remark may speak, and the columns that would bear it out."""

_GUST: Final = re.compile(r"\bgusts?\b", re.IGNORECASE)

_NOTED: Final = re.compile(r"<(?:desc|cmt)>([^<]+)<", re.IGNORECASE)
"""Where a tracker's log holds what somebody wrote (GPX 1.1, from memory)."""


def unheard(text: str, source: str) -> tuple[str, ...]:
    r"""Name remarks of a file that no reader takes up, though they should be heard.

    They speak of weather, or of units or bearings that no column is in.

    Of gusts a remark says nothing new beside a column of them.

    Examples
    --------
    >>> unheard("# lightning seen west\nheight_m,from_deg\n", "layers.csv")
    ("layers.csv: a remark that is not read: 'lightning seen west'",)
    """
    lines = (line.strip() for line in text.splitlines())
    marked = [line.strip("# \t") for line in lines if line[:1] == "#"]
    told = [*marked, *(found.strip() for found in _NOTED.findall(text))]
    column = "gust_" in text
    header = next((line for line in text.splitlines() if not idle(line)), "").lower()
    return tuple(
        f"{source}: a remark that is not read: {quoted(line)}"
        for line in told
        if _WARY.search(_GUST.sub("", line) if column else line)
        or (line in marked and _against(line, header))
    )


def _against(remark: str, header: str) -> bool:
    """Tell whether a remark speaks of units or bearings that no column is in."""
    return not _TAKEN_UP.match(remark) and any(
        told.search(remark) and not any(name in header for name in named)
        for told, named in _AGAINST
    )


def mark_of(header: str) -> str:
    """Find what parts the columns: spreadsheets also write semicolons and tabs."""
    return next((mark for mark in ",;\t" if mark in header), ",")


def cells_of(line: str, mark: str) -> list[str]:
    """Part a line of a table into its cells."""
    return [cell.strip().strip('"').strip() for cell in line.split(mark)]


def number_of(cell: str) -> float:
    """Read a number, with a decimal comma too where it cannot part thousands.

    Examples
    --------
    >>> number_of("3,5"), number_of("4.2")
    (3.5, 4.2)
    """
    return float(_COMMA.sub(r"\1.\2", cell.strip()))


_SPEED: Final = MappingProxyType(
    {"mps": 1.0, "mph": MILE_PER_HOUR, "kt": KNOT, "kmh": 1 / 3.6}
)
_HIGHEST: Final = 50_000.0  # m above the site; no balloon goes higher
_LARGEST_ERROR: Final = 100.0  # m/s
_LENGTH: Final = MappingProxyType({"m": 1.0, "ft": FOOT})

NAMES: Final = MappingProxyType(
    {f"height_{u}": ("height", f) for u, f in _LENGTH.items()}
    | {f"altitude_{u}": ("altitude", f) for u, f in _LENGTH.items()}
    | {"from_deg": ("direction", 1.0), "from_magnetic_deg": ("magnetic", 1.0)}
    | {f"speed_{u}": ("speed", f) for u, f in _SPEED.items()}
    | {f"gust_{u}": ("gust", f) for u, f in _SPEED.items()}
    | {f"error_{u}": ("error", f) for u, f in _SPEED.items()}
    | {f"{way}_{u}": (way, f) for way in ("u", "v") for u, f in _SPEED.items()}
)
"""Quantity and size of the unit in SI for each name (directions stay in degrees)."""

_NEEDED: Final = (
    (("direction", "magnetic"), "from_deg or from_magnetic_deg"),
    (("speed",), "speed_mps, speed_mph, speed_kt or speed_kmh"),
)
_VERTICAL: Final = (
    ("height", "altitude"),
    "height_m, height_ft, altitude_m or altitude_ft",
)


def nearest_name(name: str, accepted: Iterable[str]) -> str:
    """Say that a name is not known, with the nearest that is."""
    return f"{quoted(name)}; {nearest(name, accepted, cutoff=0.4)}"


def check_names(
    names: Iterable[str], source: str, where: str, *, vertical: bool = True
) -> None:
    """Refuse a set of names that leaves a quantity out or gives it twice."""
    held: dict[str, list[str]] = {}
    for name in names:
        quantity = NAMES[name][0]
        group = {"altitude": "height", "magnetic": "direction"}.get(quantity, quantity)
        held.setdefault(group, []).append(name)
    for given in held.values():
        if len(given) > 1:
            raise WindError(
                source, where, f"both {' and '.join(given)}; keep one of them"
            )
    told = _components(held, source, where)
    for (first, *_), accepted in (
        *(() if told else _NEEDED),
        *([_VERTICAL] if vertical else []),
    ):
        if first not in held:
            raise WindError(source, where, f"no {accepted}; add one")


def _components(held: Mapping[str, list[str]], source: str, where: str) -> bool:
    """Tell whether u and v stand for speed and direction."""
    parts = [way for way in ("u", "v") if way in held]
    if len(parts) == 1:
        raise WindError(source, where, f"{held[parts[0]][0]} needs its other component")
    if parts and ("speed" in held or "direction" in held):
        raise WindError(source, where, "u and v beside a speed or direction; keep one")
    return bool(parts)


def vertical(
    row: Mapping[str, float],
    setting: Setting,
    source: str,
    where: str,
    *,
    lenient: bool = False,
) -> float:
    """Give the height above the site that a row names [m].

    Below the ground it is refused unless `lenient`, where the caller leaves it out.
    """
    name = next(n for n in row if NAMES.get(n, ("",))[0] in _VERTICAL[0])
    quantity, factor = NAMES[name]
    value = row[name] * factor
    height = value if quantity == "height" else value - setting.site_altitude
    if not height <= _HIGHEST:
        raise WindError(
            source, where, f"{name} {row[name]:.5g} is above {_HIGHEST / 1000:.0f} km"
        )
    if height < 0 and not lenient:
        site = f"; the site is at {setting.site_altitude:.4g} m"
        raise WindError(
            source,
            where,
            f"{name} {row[name]:.5g} is below the ground"
            f"{site if quantity == 'altitude' else ''}",
        )
    return height


def level_from(
    row: Mapping[str, float], height: float, setting: Setting, source: str, where: str
) -> WindLevel:
    """Make a level from a row of numbers by name.

    NaN stands for a variable direction, for no gust, and for an error that is not told.
    """
    si = {
        NAMES[name][0]: value * NAMES[name][1]
        for name, value in row.items()
        if name in NAMES and not math.isnan(value)
    }
    direction = None
    if "u" in si and "v" in si:
        way, size = direction_and_speed(si.pop("u"), si.pop("v"))
        direction, si["speed"] = float(way), float(size)
    elif "direction" in si:
        direction = check_direction(si["direction"], source, where)
    elif "magnetic" in si:
        direction = setting.true_bearing(
            check_direction(si["magnetic"], source, where), source, where
        )
    speed, gust = check_speed(si["speed"], source, where), si.get("gust")
    if gust is not None and check_speed(gust, source, where, what="gust") < speed:
        raise WindError(
            source, where, f"gust {gust:.4g} m/s is less than the mean {speed:.4g} m/s"
        )
    error = si.get("error")
    if error is not None and not 0.0 <= error <= _LARGEST_ERROR:
        raise WindError(
            source, where, f"error {error:.4g} m/s; accepted is 0 to {_LARGEST_ERROR:g}"
        )
    return WindLevel(height, direction, speed, gust, source, error=error)


_MOST_LEVELS = 20_000


def load_document(text: str, source: str) -> object:
    """Read a JSON document of winds."""
    return parse_json(text, source, WindError)


def as_object(value: object, source: str, where: str) -> dict[str, Any]:
    """Take a value for an object."""
    if not isinstance(value, dict):
        raise WindError(source, where, "must be an object in braces")
    return value


def as_list(
    value: object, source: str, where: str, most: int = _MOST_LEVELS
) -> list[Any]:
    """Take a value for a list that is not empty."""
    if not isinstance(value, list) or not 0 < len(value) <= most:
        raise WindError(source, where, f"must be a list of 1 to {most}")
    return value


def check_keys(
    given: dict[str, Any], accepted: tuple[str, ...], source: str, where: str
) -> None:
    """Refuse a key that is not known, with the nearest that is."""
    for key in given:
        if key not in accepted:
            raise WindError(source, where, f"unknown key {nearest_name(key, accepted)}")


def as_time(
    document: dict[str, Any], key: str, source: str, where: str
) -> datetime | None:
    """Take a value for a time with its zone; None where it is missing or null."""
    value = document.get(key)
    if value is None:
        return None
    try:
        return parse_time(str(value))
    except ValueError:
        raise WindError(
            source,
            f"{where} {key}".strip(),
            f"{str(value)[:40]!r}; accepted is such as '2026-05-09T18:00Z'",
        ) from None


def as_number(value: object, key: str, source: str, where: str) -> float:
    """Take a value for a finite number."""
    good = isinstance(value, int | float) and not isinstance(value, bool)
    if not good or abs(value) > 1e9 or not math.isfinite(value):  # type: ignore[arg-type]
        raise WindError(
            source, where, f"{key} {str(value)[:40]!r}; accepted is a finite number"
        )
    return float(value)  # type: ignore[arg-type]


FARTHEST: Final = 50_000.0
"""How far a forecast's point may lie from the site [m]; assumed."""


def nearest_point(
    document: dict[str, Any], source: str, setting: Setting
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Put the point nearest to the site in place of ``points``; tell how far it is.

    A document without ``points`` comes back as it is.
    """
    if "points" not in document:
        return document, ()
    points = []
    for i, one in enumerate(as_list(document["points"], source, "points"), 1):
        point = as_object(one, source, f"point {i}")
        points.append(point)
    if setting.place is None:
        raise WindError(
            source,
            "points",
            "are a grid, and where the site lies is not known; give it",
        )
    away = [
        distance(point, setting.place, source, f"point {i}")
        for i, point in enumerate(points, 1)
    ]
    near = away.index(min(away))
    told = f"the nearest of {len(points)} points is {away[near] / 1000:.0f} km away"
    if away[near] > FARTHEST:
        raise WindError(
            source, "points", f"{told}; accepted is {FARTHEST / 1000:.0f} km"
        )
    shared = {key: value for key, value in document.items() if key != "points"}
    return shared | points[near], (f"{source}: {told}, and its wind is taken",)


def distance(
    point: Mapping[str, Any], place: tuple[float, float], source: str, where: str
) -> float:
    """Give the distance from a place in degrees [m], over a sphere (haversine)."""
    given = []
    for key, most in (("latitude", 90.0), ("longitude", 180.0)):
        value = as_number(point.get(key), key, source, where)
        if abs(value) > most:
            raise WindError(
                source, where, f"{key} {value:g}; accepted is -{most:g} to {most:g}"
            )
        given.append(value)
    return over_ground((given[0], given[1]), place)
