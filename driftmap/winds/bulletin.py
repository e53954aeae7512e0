"""The winds-and-temperatures-aloft bulletin of the United States (FB, formerly FD).

Groups ``DDff±TT``: direction in tens of degrees true, speed in knots, temperature in
degrees Celsius. Coding rules as in FAA AC 00-45 and the *Aeronautical Information
Manual*, read in secondary copies.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from driftmap.air.atmosphere import altitude_of
from driftmap.air.wind import WindLevel
from driftmap.core.errors import PlacedError, at, quoted
from driftmap.core.units import FOOT, KNOT, kelvin
from driftmap.winds.other_times import with_others
from driftmap.winds.reading import Reading, Setting
from driftmap.winds.text import FAR_ABOVE, choose_station, choose_time, laid_out, reader
from driftmap.winds.times import nearest_day

_LIGHT: Final = 5.0  # kt: "light and variable" is less than this
_SIGNLESS_ABOVE: Final = 24_000  # ft: temperatures above are negative, sign left out
_TRUE_ALTITUDE_TO: Final = 12_000  # ft: levels above are pressure altitudes
_TEMPERATURE_ALWAYS_FROM: Final = 18_000  # ft: no station is within 2,500 ft of these
_SLACK: Final = 1  # characters a group may stand out of its field
_DIRECTION_ERROR: Final = math.radians(10.0) / math.sqrt(12)  # tens of degrees

_LEVELS: Final = re.compile(r"\s*FT((?:\s+\d{3,5})+)\s*$")
_USE: Final = re.compile(r"\bVALID\s+\d{6}Z\s+FOR\s+USE\b")
_OTHER_UNIT: Final = re.compile(r"\b(?:KM/?H|MPS|M/S)\b")
_FAR: Final = 100  # lines into a file that a heading is looked for
_STATION: Final = re.compile(r"\s*([A-Z0-9]{3,4})(?=\s)")
_GROUP: Final = re.compile(r"(\d\d)(\d\d)(?:([+-])?(\d\d))?", re.ASCII)
_BASED: Final = re.compile(r"\bDATA\s+BASED\s+ON\s+(\d{6})Z")
_ISSUED: Final = re.compile(
    r"DATA BASED ON \d{6}Z|VALID \d{6}Z|FOR USE \d{4}-\d{4}Z|TEMPS NEG ABV \d+|FT(?= )|"
    r"[A-Z]{4}\d\d [A-Z]{4} \d{6}|F[BD]\w{3,5}|NNNN".replace(" ", r"\s+")
)
"""What stands beside the winds of a bulletin as issued."""
_VALID: Final = re.compile(r"\bVALID\s+(\d{6})Z(?:.*?\bFOR\s+USE\s+(\d{4})-(\d{4})Z)?")


@dataclass(frozen=True, slots=True)
class WindGroup:
    """One decoded group: true direction [deg], speed [kt], temperature [°C].

    No direction is light and variable, with the most speed it can be; a speed coded 99 over
    100 is a lower bound, `at_least`.
    """

    direction: float | None
    speed: float
    temperature: float | None
    at_least: bool = False


def decode_group(text: str, level: int) -> WindGroup:
    """Decode ``DDff``, ``DDff±TT`` or, above 24,000 ft, ``DDffTT`` at a level [ft].

    Examples
    --------
    >>> decode_group("731960", 39_000)
    WindGroup(direction=230.0, speed=119.0, temperature=-60.0, at_least=False)
    >>> decode_group("9900", 6_000).direction is None
    True
    """
    found = _GROUP.fullmatch(text)
    if not found:
        raise ValueError(f"group {text[:12]!r} is not DDff, DDff+TT or DDffTT")
    tens, speed = int(found[1]), int(found[2])
    temperature = _temperature(found, level)
    if (tens, speed) == (99, 0):
        return WindGroup(None, _LIGHT, temperature)
    fast = 51 <= tens <= 86
    if fast:
        tens, speed = tens - 50, speed + 100
    if not 1 <= tens <= 36:
        raise ValueError(
            f"group {text!r} has direction {found[1]}; accepted is 01 to 36, 51 to 86 "
            "for 100 kt and more, or 9900"
        )
    return WindGroup(10.0 * tens, float(speed), temperature, fast and found[2] == "99")


def _temperature(found: re.Match[str], level: int) -> float | None:
    text, sign, digits = found[0], found[3], found[4]
    if digits is None:
        if level >= _TEMPERATURE_ALWAYS_FROM:
            raise ValueError(f"group {text!r} is cut short, it has no temperature")
        return None
    if sign is None and level <= _SIGNLESS_ABOVE:
        raise ValueError(
            f"group {text!r} has a temperature without its sign; only levels above "
            "24,000 ft leave it out"
        )
    if sign == "+" and level > _SIGNLESS_ABOVE:
        raise ValueError(f"group {text!r} is above freezing over 24,000 ft")
    return float(digits) if sign == "+" else -float(digits)


def looks_like_bulletin(text: str) -> bool:
    """Return whether a text is such a bulletin."""
    return any(
        _LEVELS.match(line) or _BASED.search(line) or _USE.search(line)
        for line in text.splitlines()[:_FAR]
    )


Times = tuple[datetime | None, tuple[datetime, datetime] | None, datetime | None]
"""Valid time, hours for use, and time of the data."""


@dataclass(slots=True)
class _Block:
    """What stands above the rows now being read."""

    based: str | None = None
    valid: str | None = None
    use: tuple[str, str] | None = None
    levels: tuple[tuple[int, int], ...] = ()  # feet, end of the column


@dataclass(frozen=True, slots=True)
class _Row:
    station: str
    line: str
    where: str
    block: _Block


@reader
def read_bulletin(text: str, source: str, setting: Setting) -> Reading:
    """Read the wind over one station from bulletins with their columns as issued.

    A group may be missing below the lowest that is told and far above, not between.
    """
    if other := _OTHER_UNIT.search(text):
        raise ValueError(f"winds in {other[0]}; accepted are bulletins in knots")
    rows, odd = _rows(text)
    if not rows:
        raise ValueError("a bulletin without a line of levels (FT …) and a station")
    names = [row.station for row in rows]
    station, _ = choose_station(names, setting, source, strict=True)
    mine = [row for row in rows if row.station == station]
    times = []
    for row in mine:
        with at(row.where):
            times.append(_times(row.block, setting))
    chosen, notes = choose_time(
        [time[0] for time in times], setting, source, forecast=True
    )
    windows = [window or (setting.now, setting.now) for _, window, _ in times]
    inside = (i for i, (a, b) in enumerate(windows) if a <= setting.when < b)
    chosen = next(inside, chosen)  # whose hours for use they are
    reading, *others = (
        _reading(mine[i], times[i], notes, setting)
        for i in dict.fromkeys((chosen, *range(len(mine))))
    )
    reading = with_others(reading, others, setting)
    told = (f"{reading.source}: a line that is not read: {quoted(one)}" for one in odd)
    return replace(reading, warned=(*reading.warned, *told))


def _rows(text: str) -> tuple[list[_Row], list[str]]:
    """Return the lines of stations, each with what stands above it, and lines of neither."""
    rows: list[_Row] = []
    odd: list[str] = []
    block = _Block()
    for n, line in enumerate(text.splitlines(), 1):
        where = f"line {n}"
        plain = line.expandtabs().rstrip()
        with at(where):
            heading = _heading(plain, block)
        found = None if heading else _STATION.match(plain + " ")
        if found and block.levels and re.search(r"\d{4}", plain[found.end() :]):
            rows.append(_Row(found[1], plain, where, replace(block)))
        elif found and block.levels and plain.strip() == found[1] != "NNNN":
            raise PlacedError(f"{where}, {found[1]}", "no group; it is cut short")
        elif re.search(r"[^\W\d_]", _ISSUED.sub(" ", plain)):
            odd.append(plain.strip())
    return rows, odd


def _heading(line: str, block: _Block) -> bool:
    based, valid, levels = _BASED.search(line), _VALID.search(line), _LEVELS.match(line)
    if based:
        block.based, block.valid, block.use, block.levels = based[1], None, None, ()
    if valid:
        block.valid = valid[1]
        block.use = (valid[2], valid[3]) if valid[2] else None
    if levels:
        spans = [(int(m[0]), m.end()) for m in re.finditer(r"\d+", line)]
        feet = [level for level, _ in spans]
        if feet != sorted(set(feet)):
            raise ValueError("levels do not increase")
        block.levels = tuple(spans)
    return bool(based or valid or levels)


def _reading(
    row: _Row, times: Times, notes: tuple[str, ...], setting: Setting
) -> Reading:
    where, block = f"{row.where}, {row.station}", row.block
    with at(where):
        groups = _columns(row.line, block.levels)
    _check_missing(groups, block.levels, where, setting)
    name = f"winds aloft {row.station}" + (f" {block.valid}Z" if block.valid else "")
    decoded = []
    for feet, text in groups:
        place = f"{where}, {feet:,} ft"
        with at(place):
            decoded.append((feet, decode_group(text, feet), place))
    _check_temperatures(decoded)
    levels = [(place, _level(feet, g, name, setting)) for feet, g, place in decoded]
    flown, moved = laid_out(levels, name, setting)
    valid, window, based = times
    away, far = setting.away_from(row.station, name)
    return Reading(
        source=name,
        kind="aloft",
        levels=flown,
        valid=valid,
        window=window,
        based_on=based,
        forecast=True,
        away=away,
        direction_error=_DIRECTION_ERROR,
        assumed=(*notes, far, *_notes(decoded, name), *moved),
    )


def _columns(line: str, levels: tuple[tuple[int, int], ...]) -> list[tuple[int, str]]:
    """Give each group its level: a field reaches from one heading's end to the next's.

    A group without temperature stands at the left of its field, others fill it.
    """
    found = list(re.finditer(r"\S+", line))[1:]
    held: dict[int, str] = {}
    for token in found:
        feet = _field(token, levels)
        if feet is None or feet in held:
            if len(found) == len(levels):  # every level told: the order is enough
                return [(f, t[0]) for (f, _), t in zip(levels, found, strict=True)]
            raise ValueError(
                f"group {token[0][:12]!r} stands under no level; keep the spaces of "
                "the bulletin"
            )
        held[feet] = token[0]
    return [(feet, held[feet]) for feet, _ in levels if feet in held]


def _check_missing(
    groups: list[tuple[int, str]],
    levels: tuple[tuple[int, int], ...],
    where: str,
    setting: Setting,
) -> None:
    """Refuse a gap where flights go; the lowest levels are left out by rule."""
    held = {feet for feet, _ in groups}
    lowest = min(*held, _TRUE_ALTITUDE_TO)
    for feet, _ in levels:
        high = feet * FOOT - setting.site_altitude > FAR_ABOVE
        if feet >= lowest and feet not in held and not high:
            raise PlacedError(
                f"{where}, {feet:,} ft",
                "group missing; only the lowest and the highest may be left out",
            )


def _field(token: re.Match[str], levels: tuple[tuple[int, int], ...]) -> int | None:
    """Return the level in whose field a group stands."""
    start, middle = 0, (token.start() + token.end()) / 2
    for feet, end in levels:
        if start < middle <= end:
            inside = token.start() >= start - _SLACK and token.end() <= end + _SLACK
            return feet if inside else None
        start = end
    return None


def _check_temperatures(decoded: list[tuple[int, WindGroup, str]]) -> None:
    told = False
    for _, group, place in decoded:
        if told and group.temperature is None:
            raise PlacedError(place, "no temperature, though a lower level has one")
        told = told or group.temperature is not None


def _level(feet: int, group: WindGroup, name: str, setting: Setting) -> WindLevel:
    altitude = feet * FOOT
    if feet > _TRUE_ALTITUDE_TO:
        altitude = altitude_of(altitude)
    return WindLevel(
        height=altitude - setting.site_altitude,
        direction=None if group.direction is None else math.radians(group.direction),
        speed=group.speed * KNOT,
        gust=None,
        source=name,
        temperature=kelvin(group.temperature),
    )


def _notes(decoded: list[tuple[int, WindGroup, str]], name: str) -> tuple[str, ...]:
    notes = []
    for feet, group, _ in decoded:
        if group.direction is None:
            notes.append(
                f"{name} at {feet:,} ft: light and variable, less than 5 kt; taken as "
                "5 kt from anywhere"
            )
        if group.at_least:
            notes.append(f"{name} at {feet:,} ft: 199 kt or more; taken as 199 kt")
    if any(feet > _TRUE_ALTITUDE_TO for feet, *_ in decoded):
        notes.append(
            f"{name}: levels above 12,000 ft are pressure altitudes, placed as in the "
            "standard atmosphere"
        )
    return tuple(notes)


def _times(block: _Block, setting: Setting) -> Times:
    try:
        valid = _day(block.valid, setting.when)
        based = _day(block.based, valid or setting.when)
        return valid, _window(valid, block.use), based
    except ValueError as problem:
        raise ValueError(f"its times: {problem}") from None


def _day(text: str | None, near: datetime) -> datetime | None:
    return None if text is None else nearest_day(text, near)


def _window(
    valid: datetime | None, use: tuple[str, str] | None
) -> tuple[datetime, datetime] | None:
    if use is None:
        return None
    minutes = [int(text[:2]) * 60 + int(text[2:]) for text in use]
    if max(minutes) > 24 * 60 or any(int(text[2:]) > 59 for text in use):
        raise ValueError(f"for use {use[0]}-{use[1]}Z is no time")
    if valid is None:
        return None
    midnight = valid.replace(hour=0, minute=0)
    start, end = (midnight + timedelta(minutes=m) for m in minutes)
    day = timedelta(days=1)
    # The hours for use lie about the valid time, across midnight if need be.
    return (start - day if start > valid else start), (
        end + day if end < valid else end
    )
