"""A wind in words: "12 mph from 240"; clauses in any order, and nothing left over."""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from typing import Final

from driftmap.air.profile_law import ROUGHNESS, surface_shape
from driftmap.air.wind import HEAD, MAST, NEAR_GROUND, WindLevel
from driftmap.core import units
from driftmap.core.errors import PlacedError, WindError, at, located
from driftmap.core.points import COMPASS
from driftmap.core.tables import number_of
from driftmap.winds.reading import Reading, Setting, check_direction, check_speed, words
from driftmap.winds.times import check_zone, clock_time

_LETTERS: Final = {"N": "NORTH", "E": "EAST", "S": "SOUTH", "W": "WEST"}
_LONG: Final = {"".join(map(_LETTERS.__getitem__, name)): name for name in COMPASS}
"""Points in full, such as NORTHNORTHEAST, and how they are written."""

_POINT: Final = 22.5  # deg between compass points
_POINT_ERROR: Final = math.radians(_POINT) / math.sqrt(12)  # even over one's width
_READ_ERROR: Final = math.radians(10.0)  # assumed, for a bearing judged by eye

_LIGHT: Final = 5 * units.KNOT  # what "light" is less than, as in bulletins aloft
_BEAUFORT: Final = (
    *(0.0, 0.3, 1.6, 3.4, 5.5, 8.0, 10.8, 13.9, 17.2, 20.8, 24.5, 28.5, 32.7),
    37.0,
)
"""Least speed of each force at 10 m [m s⁻¹] (WMO code table 1100, from memory); the last
closes the open force 12, assumed."""

_SOCKS: Final = 5.0  # m; assumed
_HIGHEST: Final = 150.0  # m: kite, mast or drone


def _pattern(text: str) -> re.Pattern[str]:
    for name, one in _PARTS.items():
        text = text.replace(f"%{name}%", one)
    return re.compile(text, re.IGNORECASE)


_SAYINGS: Final = words("spoken")
_PARTS: Final = {
    "speed": r"\d+(?:[.,]\d*)?|\.\d+",
    "unit": "mph|kts?|knots?|kn|m/s|mps|ms|km/h|kmh|kph|kmph|ft/s|fps",
    "compass": "|".join(sorted((*COMPASS, *_LONG), key=lambda one: (-len(one), one))),
    "coded": _SAYINGS["coded"],
}
_PLAIN: Final = (
    *((_pattern(form), plain) for form, plain in _SAYINGS["plain"]),
    *(
        (_pattern(rf"\b{name}\b"), f"force {force}")
        for force, name in enumerate(_SAYINGS["breezes"])
        if force > 1
    ),
)
_NAMED: Final = {
    name.split()[0]: force for force, name in enumerate(_SAYINGS["breezes"][:7])
}
"""First words of the breezes, by which people name a strength beside its figure."""
_OUT: Final = {out: row["kt"] for row in _SAYINGS["sock"] for out in row["out"]}
_SOCK: Final = _pattern(_SAYINGS["of_a_sock"])
_CLAUSES: Final = {name: _pattern(form) for name, form in _SAYINGS["clauses"].items()}
_MAIN: Final = _pattern(_SAYINGS["strength"])
_CODED: Final = _pattern(_SAYINGS["coded"])
_ALOFT: Final = _pattern(
    r"^(?!.*\bat\s+(?:%speed%)\s*(?:m|ft|feet|met(?:er|re)s?)\b(?!/)).*\b(?:kite|mast|drone)\b"
)
_START: Final = _pattern(_SAYINGS["start"])
_EXAMPLE: Final = (
    '"12 mph from 240", "5 m/s from SW gusting to 8 m/s, 20 min ago", "calm at 14:05"'
)


_LONGEST: Final = 200  # characters; assumed


def looks_like_words(text: str) -> bool:
    """Return whether it is one short line that starts as a wind in words does."""
    if len(text) >= _LONGEST or "\n" in text.strip():
        return False
    return any(_START.match(one) for one in (text, _plainly(text.strip())[0]))


def _plainly(text: str) -> tuple[str, str]:
    """Say in plain words what was said of a sock, a breeze by its name, or a kite.

    The second text is what was said of a sock, if anything.
    """
    sock = _SOCK.match(text)
    if sock:
        out = re.sub(r"\s*(?:(?:of|/)\s*5|stripes?)$", "", sock["out"].lower())
        low, high = _OUT[" ".join(out.replace("-", " ").split())]
        return f"{low:g} to {high:g} kt {text[sock.end() :]}", sock[0]
    for form, plain in _PLAIN:
        text = form.sub(plain, text).strip(" ,")
    return text, ""


def read_words(text: str, setting: Setting) -> Reading:
    """Read a wind in words: one level, at head height unless another is said or meant.

    ``SPEED UNIT from DIRECTION [true|magnetic] [gusting to SPEED [UNIT]] [at
    HEIGHT] [over TERRAIN land] [N min ago | at 14:05]``, in any order; also ``SW 9 mph,
    gusts 14``, ``9 to 14 mph``, ``240 at 9 kt``, ``24009G14KT``, ``light and
    variable``, ``force 3 from W``, ``gentle breeze from W``, ``windsock half out from
    W``, ``calm``, and ``forecast`` before it. A direction is a bearing or a compass
    point; a time of day is that of this computer unless it ends in Z or an offset.
    """
    source = " ".join(text.split())
    with located(source[:_LONGEST], "", WindError):
        if len(source) >= _LONGEST:
            raise ValueError("is longer than a wind in words")
        return _reading(source, setting)


def _reading(source: str, setting: Setting) -> Reading:
    said, found = _clauses(source)
    low, high, assumed = _strength(found, said)
    # Of a sock the middle is the mean; one that stands straight tells no upper end.
    direction, spread, told = _direction(found, said, setting)
    speed, spread_speed = (low + high) / 2, (high - low) / math.sqrt(12)
    height, where = _height(found, said)
    valid, timed = _read_at(said, setting)
    ranged = found["most"] or found["light"]
    gust = _gust(found, said, speed, high if ranged and high > low else None)
    assumed = [*assumed, *told, *where, *timed]
    if spread:
        assumed.append(f"direction good to {math.degrees(spread):.0f} deg")
    level = WindLevel(
        height, direction, speed, gust, source, error=spread_speed or None
    )
    notes = tuple(f"{source}: {note}" for note in assumed)
    terrain = _terrain(said["terrain"])
    told = [note for note in notes if "or more, by how far" in note]
    told += _named_stronger(source, level, ROUGHNESS[terrain or setting.terrain])
    return Reading(
        source=source,
        kind="surface" if height <= NEAR_GROUND else "aloft",
        levels=(level,),
        valid=valid,
        away=0.0,
        forecast=said["forecast"] is not None,
        warned=tuple(told),
        direction_error=spread,
        terrain=terrain,
        assumed=notes,
        # "Less than 6" does not say that it is 3.
        up_to=2.0 if low == 0.0 < high else 1.0,
    )


def _named_stronger(source: str, level: WindLevel, roughness: float) -> Iterator[str]:
    """Doubt a figure that lies two forces or more below the name beside it.

    One below is how people speak.
    """
    mast, here = surface_shape([MAST, level.height], roughness)
    for name in re.findall(r"[a-z]+", source.lower()):
        force = _NAMED.get(name, 0)
        if force and level.speed * mast / here < _BEAUFORT[force - 1]:
            least = _BEAUFORT[force]
            yield f"{source}: {name} is {least:g} m/s or more at 10 m: which is it?"


_Said = defaultdict[str, str | None]


def _clauses(source: str) -> tuple[_Said, re.Match[str]]:
    """Take every clause out of the text; what is left must be a strength."""
    rest, sock = _plainly(source)
    if _ALOFT.search(rest):
        raise ValueError('a wind by kite, mast or drone and no height: add "at 60 m"')
    coded = _CODED.fullmatch(source)
    if coded:
        way, speed, gust, unit = coded.groups()
        way = "variable" if way.upper() == "VRB" else f"from {way}"
        rest = f"{speed} {unit} {way}" + (f" gusting {gust}" if gust else "")
    said, rest = _taken_out(rest, _CLAUSES)
    said.update(sock=sock or None, coded=coded[0] if coded else None)
    ways = [way for key in ("bearing", "from", "point", "way") if (way := said[key])]
    called = said["bearing"] and len(ways) == 2 and _one_way(*ways)
    if len(ways) > 1 and not called:
        raise PlacedError(
            "direction", f"both {ways[0]} and {ways[1]}; give one of them"
        )
    said["from"] = ways[0] if ways else None
    found = _MAIN.fullmatch(rest.strip(" ,;:."))
    if not found:
        raise ValueError(f"not a wind in words; accepted is {_EXAMPLE}")
    if found["speed"] and not found["unit"]:
        raise ValueError('not a wind in words: no unit of speed; write such as "9 mph"')
    return said, found


def _taken_out(text: str, clauses: Iterable[str]) -> tuple[_Said, str]:
    """Take clauses out of a text: what they say, and what is left."""
    said: _Said = defaultdict(lambda: None)
    for name in clauses:
        if one := _CLAUSES[name].search(text):
            said.update(one.groupdict())
            text = f"{text[: one.start()]} {text[one.end() :]}"
    return said, text


def _strength(found: re.Match[str], said: _Said) -> tuple[float, float, list[str]]:
    """Return the least and the greatest mean speed that is meant [m s⁻¹]."""
    if found["calm"]:
        return 0.0, 0.0, []
    if found["light"]:
        return 0.0, _LIGHT, ["light, less than 5 kt"]
    if found["force"]:
        force = int(found["force"])
        upto = int(found["upto"] or force)
        shown = f"{force}" if upto == force else f"{force} to {upto}"
        if not 0 <= force <= upto < len(_BEAUFORT) - 1:
            raise ValueError(f"force {shown}; accepted is 0 to 12")
        low, high = _BEAUFORT[force], _BEAUFORT[upto + 1]
        text = f"force {shown} is {low:g} to {high:g} m/s at 10 m"
        return low, high, [text]
    low = _speed(found["speed"], found["unit"])
    if not found["most"]:
        return low, low, []
    high = _speed(found["most"], found["unit"])
    if high < low:
        raise PlacedError("speed", "the second of the two is less than the first")
    if said["sock"]:
        text = f"{low / units.KNOT:.0f} to {high / units.KNOT:.0f} kt"
        more = ", or more" * (high > 20 * units.KNOT)
        return low, high, [f"{text}{more}, by how far the sock stands out"]
    return low, high, ["its middle is the mean, its end a gust"]


def _gust(
    found: re.Match[str], said: _Said, speed: float, most: float | None
) -> float | None:
    if said["gust"] is None:
        return most
    unit = said["gustunit"] or found["unit"]
    if unit is None:
        raise PlacedError("gust", "no unit of speed")
    gust = _speed(said["gust"], unit)
    if gust < max(speed, most or 0.0):
        raise PlacedError("gust", "less than the mean wind; give the peak")
    return gust


def _terrain(text: str | None) -> str | None:
    if text is None:
        return None
    name = " ".join(text.lower().split())
    if name not in ROUGHNESS:
        raise PlacedError(
            "terrain", f"{name!r} is no class; accepted: {', '.join(ROUGHNESS)}"
        )
    return name


def _height(found: re.Match[str], said: _Said) -> tuple[float, list[str]]:
    text = said["height"]
    if text is None:
        if said["sock"]:
            return _SOCKS, [f"the sock counts as {_SOCKS:g} m up"]
        if found["force"] or said["coded"] or said["forecast"]:
            return MAST, ["counts at 10 m, as such winds are told"]
        return HEAD, ["read at head height, 2 m"]
    with at("height"):
        height = units.parse(text, "length")
        if not 0.5 <= height <= _HIGHEST:
            raise ValueError(
                f"{height:.4g} m; accepted is 0.5 to {_HIGHEST:g} m above ground"
            )
    return height, []


def _speed(number: str, unit: str) -> float:
    name = _SAYINGS["units"].get(unit.lower(), unit.lower())
    with at("speed"):
        return check_speed(
            units.parse(f"{number_of(number, 'speed')!r} {name}", "speed")
        )


def _direction(
    found: re.Match[str], said: _Said, setting: Setting
) -> tuple[float | None, float, list[str]]:
    told = said["from"]
    # It must be one though none is asked for, as of a calm.
    bearing, spread = (0.0, 0.0) if told is None else bearing_of(told)
    if found["calm"]:
        return 0.0, 0.0, []
    if said["variable"]:
        return None, 0.0, []
    if told is None:
        return None, 0.0, ["no direction told, taken as from anywhere"]
    if (said["north"] or "").lower() == "magnetic":
        with at("direction"):
            bearing = setting.true_bearing(bearing)
    return bearing, spread, []


def bearing_of(text: str) -> tuple[float, float]:
    """Read degrees or a compass point: the bearing, and its standard error [rad]."""
    name = re.sub(r"(?<=[A-Z])-(?=[A-Z])", "", text.upper())
    name = _LONG.get(name.removesuffix("ERLY"), name)
    if name in COMPASS:
        bearing = math.radians(_POINT * COMPASS.index(name))
        return bearing, math.hypot(_POINT_ERROR, _READ_ERROR)
    try:
        return check_direction(float(name)), _READ_ERROR
    except ValueError as problem:
        message = f"{text!r}; accepted is 0 to 360 or a compass point such as SW"
        numbers = "direction" in str(problem)
        raise PlacedError("direction", str(problem) if numbers else message) from None


def _one_way(degrees: str, point: str) -> bool:
    """Return whether a compass point is what degrees beside it are called, or nearly."""
    apart = bearing_of(degrees)[0] - bearing_of(point)[0]
    return abs(math.remainder(apart, 2 * math.pi)) <= math.radians(_POINT)


def _read_at(said: _Said, setting: Setting) -> tuple[datetime, list[str]]:
    """Tell when the wind was read: as said, or else now."""
    seen = setting.seen_by
    if said["ago"] and said["clock"]:
        raise ValueError(
            f"tells its time twice, {said['ago']} … ago and {said['clock']}"
        )
    if said["ago"]:
        try:
            unit = 60.0 if (said["agounit"] or "").lower().startswith("m") else 3600.0
            ago = number_of(said["ago"], "age")
            return seen - timedelta(seconds=ago * unit), []
        except OverflowError:
            raise ValueError(f"{said['ago']} is no age") from None
    if said["clock"]:
        return _today(said["clock"], setting)
    if setting.read_at is not None:
        return setting.read_at, []
    when = "now" if setting.now <= setting.when else "at the time of the flight"
    return seen, [f"no time told, counts as read {when}"]


def split_time(source: str, setting: Setting) -> tuple[datetime, list[str], str]:
    """Take the time out of a sentence that may end in ``20 min ago`` or ``at 14:05``.

    Give when it was read, what was assumed, and the sentence without it.
    """
    said, rest = _taken_out(source, ("ago", "clock"))
    return *_read_at(said, setting), rest


def _today(text: str, setting: Setting) -> tuple[datetime, list[str]]:
    """Return the time of day a date: that of the day on which it is said."""
    clock = re.sub(r"\s|UTC", lambda m: "Z" if m[0].strip() else "", text.upper())
    if clock[-2:] in {"AM", "PM"}:
        hour, minutes = clock[:-2].split(":", 1)
        clock = f"{_of_day(hour, clock[-2:])}:{minutes}"
    try:
        time = clock_time(clock, setting.seen_by, setting.zone)
    except ValueError:
        raise ValueError(f"{text!r} is no time; accepted is 14:05 or 21:05Z") from None
    if setting.zone is None or re.search("[-+Z]", clock):
        return time, []
    try:
        check_zone(setting.zone, setting.seen_by)
    except ValueError as problem:
        raise ValueError(f"{text!r} {problem}") from None
    return time, [f"{text} is taken in the zone of --when, {time:UTC%z}"]


def _of_day(hour: str, half: str) -> str:
    """Turn an hour before or after noon, of 1 to 12, into one of the day."""
    if not 1 <= int(hour) <= 12:
        raise ValueError(
            f"{hour} {half.lower()} is no time; accepted is 2:05 pm or 14:05"
        )
    return str(int(hour) % 12 + 12 * (half == "PM"))
