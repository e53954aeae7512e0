"""A wind in words: "12 mph from 240"."""

from __future__ import annotations

import math
import re
from datetime import datetime, timedelta
from types import MappingProxyType
from typing import Final

from driftmap import units
from driftmap.air.wind import WindLevel
from driftmap.errors import WindError
from driftmap.winds.law import ROUGHNESS
from driftmap.winds.reading import Reading, Setting, check_direction, check_speed
from driftmap.winds.times import parse_time

__all__ = [
    "HEAD_HEIGHT",
    "looks_like_words",
    "read_words",
]

HEAD_HEIGHT: Final = 2.0
"""Height of a hand-held meter where none is said [m]."""

_POINTS: Final = (
    *("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE"),
    *("S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW"),
)
_POINT: Final = 22.5  # deg between compass points
_UNITS: Final = MappingProxyType(
    {"knots": "kt", "knot": "kt", "kts": "kt", "kph": "km/h", "kmph": "km/h"}
)
_POINT_ERROR: Final = math.radians(_POINT) / math.sqrt(
    12
)  # even over one point's width
_READ_ERROR: Final = math.radians(10.0)  # assumed, for a bearing judged by eye

_SPEED: Final = r"\d+(?:\.\d*)?|\.\d+"
_UNIT: Final = r"[A-Za-z]+(?:/[A-Za-z]+)?"
_GRAMMAR: Final = re.compile(
    rf"""^\s*(?:
        (?P<calm>calm)
      | (?P<speed>{_SPEED})\s*(?P<unit>{_UNIT})
        (?:\s+(?P<variable>variable)
          |\s+from\s+(?:the\s+)?(?P<from>[-+\w.]+?)\s*(?:deg(?:rees?)?|°)?
           (?:\s*\b(?P<north>true|magnetic))?)
    )
    (?:,?\s+gust(?:s|ing)?(?:\s+to)?\s+(?P<gust>{_SPEED})\s*(?P<gustunit>{_UNIT}))?
    (?:,?\s+at\s+(?P<height>(?:{_SPEED})\s*[A-Za-z]+))?
    (?:,?\s+over\s+(?P<terrain>[a-z ]+?)(?:\s+(?:land|country|terrain|ground))?)?
    (?:,?\s+(?P<ago>{_SPEED})\s*(?P<agounit>min(?:ute)?s?|h(?:(?:ou)?rs?)?)\s+ago
      |,?\s+at\s+(?P<clock>\d{{1,2}}:\d\d(?:\s*(?:Z|UTC|[-+]\d\d:?\d\d))?))?
    \s*$""",
    re.VERBOSE | re.IGNORECASE,
)
_EXAMPLE: Final = (
    '"12 mph from 240", "5 m/s from SW gusting to 8 m/s, 20 min ago", "calm at 14:05"'
)


def looks_like_words(text: str) -> bool:
    """Tell whether a text is meant as a wind in words.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    bool
        Whether it is one short line that starts with a speed, or with "calm".
    """
    return (
        len(text) < 200
        and "\n" not in text.strip()
        and bool(
            re.match(
                rf"\s*(?:calm\b|(?:{_SPEED}|[-+]\d|nan|inf)[^\n]*\s\w)", text, re.I
            )
        )
    )


def read_words(text: str, setting: Setting) -> Reading:
    """Read a wind in words.

    Parameters
    ----------
    text : str
        ``SPEED UNIT from DIRECTION [true|magnetic] [gusting to SPEED UNIT] [at HEIGHT]
        [over TERRAIN land] [N min ago | at 14:05]``, ``SPEED UNIT variable``, or
        ``calm``. A direction is a bearing or one of the 16 compass points; a time of day
        is that of this computer unless it ends in Z or an offset.
    setting : Setting
        Place and time of the flight.

    Returns
    -------
    Reading
        One level, at head height unless another is said.

    Raises
    ------
    WindError
        If the text cannot be read as such.
    """
    source = " ".join(text.split())
    found = _GRAMMAR.match(text)
    if not found:
        raise WindError(source, "", f"not a wind in words; accepted is {_EXAMPLE}")
    height = _height(found["height"], source)
    speed = _speed(found["speed"], found["unit"], source) if found["speed"] else 0.0
    direction, spread = _direction(found, source, setting)
    gust = _speed(found["gust"], found["gustunit"], source) if found["gust"] else None
    if gust is not None and gust < speed:
        raise WindError(source, "gust", "less than the mean wind; give the peak")
    assumed = [] if found["height"] else [f"{source}: read at head height, 2 m"]
    valid, timed = _read_at(found, source, setting)
    assumed += timed
    if spread:
        assumed.append(f"{source}: direction good to {math.degrees(spread):.0f} deg")
    return Reading(
        source=source,
        kind="surface",
        levels=(WindLevel(height, direction, speed, gust, source),),
        valid=valid,
        direction_error=spread,
        terrain=_terrain(found["terrain"], source),
        assumed=tuple(assumed),
    )


def _terrain(text: str | None, source: str) -> str | None:
    if text is None:
        return None
    name = " ".join(text.lower().split())
    if name not in ROUGHNESS:
        raise WindError(
            source, "terrain", f"{name!r} is no class; accepted: {', '.join(ROUGHNESS)}"
        )
    return name


def _height(text: str | None, source: str) -> float:
    if text is None:
        return HEAD_HEIGHT
    try:
        height = units.parse(text, "length")
    except ValueError as problem:
        raise WindError(source, "height", str(problem)) from None
    if not 0.5 <= height <= 100.0:
        raise WindError(
            source, "height", f"{height:.4g} m; accepted is 0.5 to 100 m above ground"
        )
    return height


def _speed(number: str, unit: str, source: str) -> float:
    name = _UNITS.get(unit.lower(), unit.lower())
    try:
        speed = units.parse(f"{number} {name}", "speed")
    except ValueError as problem:
        raise WindError(source, "speed", str(problem)) from None
    return check_speed(speed, source, "")


def _direction(
    found: re.Match[str], source: str, setting: Setting
) -> tuple[float | None, float]:
    if found["calm"]:
        return 0.0, 0.0
    if found["variable"]:
        return None, 0.0
    name = found["from"].upper()
    if name in _POINTS:
        bearing = math.radians(_POINT * _POINTS.index(name))
        spread = math.hypot(_POINT_ERROR, _READ_ERROR)
    else:
        try:
            degrees = float(name)
        except ValueError:
            raise WindError(
                source,
                "direction",
                f"{found['from']!r}; accepted is 0 to 360 or a compass point "
                "such as SW",
            ) from None
        bearing, spread = check_direction(degrees, source, ""), _READ_ERROR
    if (found["north"] or "").lower() == "magnetic":
        bearing = setting.true_bearing(bearing, source, "direction")
    return bearing, spread


def _read_at(
    found: re.Match[str], source: str, setting: Setting
) -> tuple[datetime, list[str]]:
    """Tell when the wind was read: as said, or else now."""
    seen = setting.seen_by
    if found["ago"]:
        try:
            unit = 60.0 if found["agounit"].lower().startswith("m") else 3600.0
            return seen - timedelta(seconds=float(found["ago"]) * unit), []
        except OverflowError:
            raise WindError(source, "", f"{found['ago']} is no age") from None
    if found["clock"]:
        return _today(found["clock"], source, seen), []
    if setting.read_at is not None:
        return setting.read_at, []
    when = "now" if setting.now <= setting.when else "at the time of the flight"
    return seen, [f"{source}: no time told, counts as read {when}"]


def _today(text: str, source: str, seen: datetime) -> datetime:
    """Give the time of day a date: that of the day on which it is said."""
    clock = re.sub(r"\s|UTC", lambda m: "Z" if m[0].strip() else "", text.upper())
    hour, rest = clock.split(":", 1)
    zone = datetime.fromisoformat(f"2000-01-01T00:00{rest[2:]}").tzinfo
    day = seen.astimezone(zone).date()  # without a zone, this computer's
    try:
        return parse_time(f"{day}T{int(hour):02d}:{rest[:2]}{rest[2:]}", local=True)
    except ValueError:
        raise WindError(
            source, "", f"{text!r} is no time; accepted is 14:05 or 21:05Z"
        ) from None
