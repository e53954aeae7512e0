"""What text formats share: lines, cells, columns with units, stations, levels in order."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, tzinfo
from functools import wraps
from pathlib import Path
from types import MappingProxyType
from typing import Final, TypeAlias, TypeVar

from driftmap.air.wind import WindLevel, direction_and_speed
from driftmap.core import units
from driftmap.core.errors import PlacedError, WindError, at, located
from driftmap.core.files import bytes_of
from driftmap.core.tables import remarks_of
from driftmap.winds.reading import (
    FARTHEST_STATION,
    SLIP,
    Reading,
    Setting,
    check_direction,
    check_speed,
    words,
)
from driftmap.winds.times import parse_time, show_time

Reader: TypeAlias = Callable[[str, str, Setting], Reading | tuple[Reading, ...]]
"""Reads a text, by the name of its source, for a setting."""

_Told = TypeVar("_Told", Reading, tuple[Reading, ...])


def reader(
    read: Callable[[str, str, Setting], _Told],
) -> Callable[[str, str, Setting], _Told]:
    """Let a reader tell its mistakes as those of the source that it reads."""

    @wraps(read)
    def told(text: str, source: str, setting: Setting) -> _Told:
        with located(source, "", WindError):
            return read(text, source, setting)

    return told


LONGEST_FILE: Final = 20_000_000
"""Largest file read [bytes]: a year of soundings from one station."""

_MOST_LINES: Final = 200_000
_LONGEST_LINE: Final = 1000
"""Longest line of a report [characters]; a JSON or XML document may stand in one."""


def load_text(path: Path) -> str:
    """Read a text file, without a byte order mark; refuse what is too long or no text."""
    raw = bytes_of(path, WindError, LONGEST_FILE)
    with located(str(path), "", WindError):
        if b"\0" in raw:
            raise ValueError(_BINARY)
        try:
            return check_text(raw.decode("utf-8-sig"))
        except UnicodeDecodeError:
            # Older station lists carry a degree sign or an accent in Latin-1.
            return check_text(raw.decode("latin-1"))


_BINARY: Final = "is a binary file; accepted are text files"
_CONTROL: Final = re.compile(r"[\x00\x02\x04-\x08\x0b\x0e-\x1d\x1f]")


def check_text(text: str) -> str:
    """Return text of a sensible size; refuse it empty, too long or binary."""
    if not text.strip():
        raise ValueError("is empty")
    lines = text.count("\n")
    if lines > _MOST_LINES:
        raise ValueError(f"{lines} lines; accepted are {_MOST_LINES} at most")
    if text.lstrip()[:1] not in {"{", "[", "<"}:
        for n, line in enumerate(text.splitlines(), 1):
            if len(line) > _LONGEST_LINE:
                raise PlacedError(
                    f"line {n}", f"is over {_LONGEST_LINE} characters long"
                )
    if _CONTROL.search(text, 0, 4096):
        raise ValueError(_BINARY)
    return text


def stated_distance(text: str, setting: Setting) -> float | None:
    """Return how far off a file says that it was read, else as told of stations [m]."""
    told = remarks_of(text, ("away",)).get("away")
    if told is None:
        return setting.station_away
    with at(told[0]):
        away = units.quantity(told[1], "length")
        if not 0 <= away <= FARTHEST_STATION:
            raise ValueError(f"away {away:g} m; accepted is 0 to 500 km")
    return away


def above_zero(text: str, dimension: str) -> float:
    """Read a quantity with its unit that cannot be nothing."""
    value = units.parse(text, dimension)
    if not value > 0:
        raise ValueError(f"{text[:40]!r} must be above 0")
    return value


def meanings(form: str) -> dict[str, str]:
    """Return what the names of a form's columns or arrays stand for."""
    means = words("names")[form]
    return {name: quantity for quantity, names in means.items() for name in names}


def unit_size(form: str, quantity: str, unit: str, what: str = "") -> float:
    """Return the size of a unit that a form tells a quantity in."""
    accepted = words("units")[form][quantity]
    size = accepted.get(unit, accepted.get(unit.lower()))
    if size is None:
        raise ValueError(
            f"{what} in {unit[:20]!r}; accepted is {', '.join(accepted)}".strip()
        )
    return _SIZES[size] if isinstance(size, str) else float(size)


_SIZES: Final = {**units.DIMENSIONS["speed"], **units.DIMENSIONS["length"]}
_SPEED: Final = {u: _SIZES[u] for u in ("mps", "mph", "kt", "kmh")}
_LOWEST: Final = -500.0  # m; the lowest land is 430 m below the sea
_HIGHEST: Final = 50_000.0  # m above the site; no balloon goes higher
_LARGEST_ERROR: Final = 100.0  # m/s
_LENGTH: Final = {u: _SIZES[u] for u in ("m", "ft")}

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


def check_names(names: Iterable[str], *, vertical: bool = True) -> None:
    """Refuse a set of names that leaves a quantity out or gives it twice."""
    held: dict[str, list[str]] = {}
    for name in names:
        quantity = NAMES[name][0]
        group = {"altitude": "height", "magnetic": "direction"}.get(quantity, quantity)
        held.setdefault(group, []).append(name)
    for given in held.values():
        if len(given) > 1:
            raise ValueError(f"both {' and '.join(given)}; keep one of them")
    told = _components(held)
    for (first, *_), accepted in (
        *(() if told else _NEEDED),
        *([_VERTICAL] if vertical else []),
    ):
        if first not in held:
            raise ValueError(f"no {accepted}; add one")


def _components(held: Mapping[str, list[str]]) -> bool:
    """Return whether u and v stand for speed and direction."""
    parts = [way for way in ("u", "v") if way in held]
    if len(parts) == 1:
        raise ValueError(f"{held[parts[0]][0]} needs its other component")
    if parts and ("speed" in held or "direction" in held):
        raise ValueError("u and v beside a speed or direction; keep one")
    return bool(parts)


def vertical(
    row: Mapping[str, float], setting: Setting, *, lenient: bool = False
) -> float:
    """Return the height above the site that a row names [m], below the ground if `lenient`."""
    name = next(n for n in row if NAMES.get(n, ("",))[0] in _VERTICAL[0])
    quantity, factor = NAMES[name]
    value = row[name] * factor
    height = value if quantity == "height" else value - setting.site_altitude
    if value < _LOWEST:
        raise ValueError(
            f"{name} {row[name]:.5g} is below all land; leave out what is missing"
        )
    if not height <= _HIGHEST:
        raise ValueError(f"{name} {row[name]:.5g} is above {_HIGHEST / 1000:.0f} km")
    if height < 0 and not lenient:
        site = f"; the site is at {setting.site_altitude:.4g} m"
        raise ValueError(
            f"{name} {row[name]:.5g} is below the ground"
            f"{site if quantity == 'altitude' else ''}"
        )
    return height


def level_from(
    row: Mapping[str, float], height: float, setting: Setting, source: str
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
        direction = check_direction(si["direction"])
    elif "magnetic" in si:
        direction = setting.true_bearing(check_direction(si["magnetic"]))
    speed, gust = check_speed(si["speed"]), si.get("gust")
    if gust is not None and check_speed(gust, what="gust") < speed:
        raise ValueError(f"gust {gust:.4g} m/s is less than the mean {speed:.4g} m/s")
    error = si.get("error")
    if error is not None and not 0.0 <= error <= _LARGEST_ERROR:
        raise ValueError(f"error {error:.4g} m/s; accepted is 0 to {_LARGEST_ERROR:g}")
    return WindLevel(height, direction, speed, gust, source, error=error)


def read_time(
    text: str, what: str = "time", zone: tzinfo | None = None, *, also: str = ""
) -> datetime:
    """Read a time, or say how one is written."""
    try:
        return parse_time(text, zone=zone)
    except ValueError:
        raise ValueError(
            f"{what} {text[:40]!r}; accepted is such as 2026-05-09T08:10-07:00, or …Z{also}"
        ) from None


FAR_ABOVE: Final = 6000.0
"""A level higher above the site than this [m] may be left out where it cannot be right: few
flights reach it, and the note says so; assumed."""

GROUND: Final = 30.0
"""How far below the site a level is still its ground [m]; assumed."""

Placed = tuple[str, WindLevel]
"""A level with its place in the source."""


def choose_station(
    stations: Sequence[str], setting: Setting, source: str, *, strict: bool = False
) -> tuple[str, tuple[str, ...]]:
    """Pick the station that is meant, of names in capitals; ``DEN`` and ``KDEN`` are one.

    The only station of a source is taken with a note though another was named, which may
    be meant for another source; not so if `strict`.
    """
    names = list(dict.fromkeys(stations))
    shown = ", ".join(names[:12]) + (", …" if len(names) > 12 else "")
    if setting.station is None:
        if len(names) == 1:
            return names[0], ()
        raise ValueError(f"holds {len(names)} stations; name one: {shown}")
    wanted = setting.station.upper()
    for name in names:
        if name in {wanted, f"K{wanted}"} or f"K{name}" == wanted:
            return name, ()
    if len(names) == 1 and not strict:
        return names[0], (
            f"{source}: of {names[0] or 'a station not told'}, not {wanted}",
        )
    raise ValueError(f"holds no station {wanted}; it holds {shown}")


def choose_time(
    times: Sequence[datetime | None],
    setting: Setting,
    source: str,
    *,
    forecast: bool = False,
) -> tuple[int, tuple[str, ...]]:
    """Pick the report that speaks of the flight best, by its place in the list.

    Of forecasts the nearest; of what was measured the last that can have been seen.
    """
    if len(times) == 1:
        return 0, ()
    if setting.one_time:
        text = (
            f"holds {len(times)} times, of which one would count; give a file of each"
        )
        raise ValueError(f"{text}, or JSON with 'forecasts'")
    known = [time for time in times if time is not None]
    if len(known) < len(times):
        raise ValueError(f"holds {len(times)} reports, not all with a time; keep one")
    seen = [time for time in known if time - setting.seen_by <= SLIP]
    if forecast:
        time = min(known, key=lambda each: abs(each - setting.when))
        how = "the nearest to the flight"
    else:
        time, how = max(seen, default=min(known)), "the last before the flight"
    if known.count(time) > 1:
        raise ValueError(f"holds two reports of {show_time(time)}; keep one of them")
    note = f"{source}: {show_time(time)} is {how} of {len(times)} reports"
    return known.index(time), (note,)


def laid_out(
    levels: Sequence[Placed], name: str, setting: Setting, *, repeats: bool = False
) -> tuple[tuple[WindLevel, ...], tuple[str, ...]]:
    """Put levels in order of height, and tell what was left out or moved.

    What lies below the site is left out, but a foot that all but reaches it is kept. Of two
    winds at one height the second is left out far above the site, or where it is the
    same and `repeats`; else it is refused.
    """
    above, notes = _above_ground(levels, name, setting)
    if not above:
        raise ValueError("holds no wind level that can be used")
    rows = sorted(above, key=lambda row: row[1].height)
    kept, doubled = rows[:1], 0
    for where, level in rows[1:]:
        place, before = kept[-1]
        same = (level.direction, level.speed) == (before.direction, before.speed)
        if level.height - before.height > 1e-6:
            kept.append((where, level))
        elif level.height >= FAR_ABOVE:
            doubled += 1
        elif not (repeats and same):
            raise PlacedError(
                where,
                f"a second level at one height as {place} "
                f"({level.height:,.0f} m above the site); each height once",
            )
    if doubled:
        notes += (
            f"{name}: second levels at one height, far above, left out: {doubled}",
        )
    return tuple(level for _, level in kept), notes


def _above_ground(
    levels: Sequence[Placed], name: str, setting: Setting
) -> tuple[list[Placed], tuple[str, ...]]:
    clear = [pair for pair in levels if pair[1].height >= 0]
    under = [pair for pair in levels if pair[1].height < 0]
    where, foot = max(under, key=lambda pair: pair[1].height, default=("", None))
    notes: tuple[str, ...] = ()
    below = len(under)
    if (
        foot is not None
        and foot.height >= -GROUND
        and all(level.height >= 1.0 for _, level in clear)
    ):
        notes = (
            f"{name}: its level {-foot.height:.0f} m below the site taken at the ground",
        )
        clear, below = [(where, replace(foot, height=0.0)), *clear], below - 1
    if below:
        notes += (
            f"{name}: {below} level{'s' if below > 1 else ''} below the site "
            f"({setting.site_altitude:.0f} m) left out",
        )
    return clear, notes
