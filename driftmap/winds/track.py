"""The wind that a rocket came down through: its tracker's log, or drift and time in words.

Under a canopy or a streamer a rocket goes with the air: the way it makes over the ground,
height by height, is the wind it fell through. The log is GPX, or NMEA 0183 sentences; in
words it is "drifted 350 m toward 60 from 900 m in 120 s": the club's free sounding.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import reduce
from typing import Final
from xml.etree import ElementTree

from driftmap.air.wind import WindLevel
from driftmap.core import units
from driftmap.core.errors import WindError, at, located
from driftmap.winds.plain_words import bearing_of, when_said
from driftmap.winds.reading import (
    Reading,
    Setting,
    check_speed,
    held_to_ground,
    held_to_site,
    level_toward,
)
from driftmap.winds.text import above_zero, reader
from driftmap.winds.times import parse_time

_FIX_ERROR: Final = 5.0
"""Error of a component of a fix from satellites, against one a minute later [m]; assumed."""

_GLIDE_ERROR: Final = 0.7
"""Error of a component for how a body under its canopy glides and lags [m s⁻¹]; assumed."""

_SPAN: Final = timedelta(seconds=20)  # time over which a wind is told
_SETTLED: Final = timedelta(seconds=4)  # after apogee, until it goes with the air
_FASTEST_FALL: Final = 40.0  # m/s: faster is no fall under a device, and lags the wind
_RISE: Final = 60.0  # m that make a flight
_SOON: Final = timedelta(seconds=30)  # in which one rises so far; assumed
_ONCE: Final = timedelta(seconds=5)  # before which it is not up and down; assumed
_UP: Final = timedelta(minutes=2)  # from lift-off to apogee at the most; assumed
_LOST: Final = timedelta(seconds=10)  # at the end, in which it lies still
_STILL: Final = 1.5  # m/s: falls slower than any device; assumed
_LANDED: Final = 8.0  # m above where it lay
_LANDS: Final = 12.0  # m/s: fast for a landing; a slow one in feet is faster; assumed
_EARTH: Final = 6_371_000.0  # m
_MOST: Final = 200_000
_NIGHT: Final = timedelta(hours=12)
_CLOCK: Final = re.compile(r"\d{6}(?:\.\d{0,6})?", re.ASCII)
_SENTENCE: Final = re.compile(r"\$(G[A-Z](?:GGA|RMC)),([^*\s]*)(?:\*([0-9A-Fa-f]{2}))?")


@dataclass(frozen=True, slots=True)
class _Fix:
    time: datetime
    latitude: float
    longitude: float
    altitude: float


def looks_like_track(text: str) -> bool:
    """Tell whether it is GPX, or holds sentences with positions."""
    start = text[:2000]
    return "<gpx" in start or bool(re.search(r"^\$G[A-Z]GGA,", start, re.MULTILINE))


@reader
def read_track(text: str, source: str, setting: Setting) -> Reading:
    """Read GPX with times and elevations, or GGA sentences with RMC, which tell the day.

    A level for each 20 s of the descent, as high as it was above where it landed.
    """
    fixes, left, dated = (_gpx if "<gpx" in text[:2000] else _nmea)(text)
    first = (fixes[0].latitude, fixes[0].longitude) if fixes else None
    place, odd, away = held_to_site(first, setting, source)
    fall, ground, what = _descent(fixes)
    doubts = (*held_to_ground(ground, setting), *_fast(fall))
    odd += tuple(f"{source}: {said}" for said in doubts)
    levels = tuple(_levels(fall, ground, source))
    if not levels:
        raise ValueError("no 20 s of descent under a canopy or a streamer in it")
    return Reading(
        source=source,
        kind="aloft",
        levels=levels,
        valid=fall[-1].time if dated else None,
        away=away,
        warned=odd,
        assumed=(
            place,
            f"{source}: {len(levels)} winds from the way it went as it came down, heights "
            f"above {what}",
            *(
                [f"{source}: fixes that cannot be used left out: {left}"]
                if left
                else ()
            ),
        ),
    )


def _descent(fixes: list[_Fix]) -> tuple[list[_Fix], float, str]:
    """Give the fixes of the fall, the ground under it [m], and what that is."""
    if len(fixes) < 3:
        raise ValueError(f"{len(fixes)} fixes with time and altitude")
    top = max(range(len(fixes)), key=lambda i: fixes[i].altitude)
    ground, what = fixes[-1].altitude, "where it landed"
    if _falls_still(fixes[top:]):  # it was lost in the air
        ground = min(ground, fixes[0].altitude)
        what = "where it began, as its log ends in the air"
    low = min(fix.altitude for fix in fixes[: top + 1])
    if fixes[top].altitude - max(ground, low) < _RISE:
        raise ValueError(f"no flight in it: nothing rises {_RISE:g} m and comes down")
    after = fixes[top:]
    near = (i for i, fix in enumerate(after) if fix.altitude - ground <= _LANDED)
    end = next(near, len(after) - 1)
    if end and after[end].time - after[end - 1].time > _SETTLED:
        end -= 1  # it may have lain there for long
    before = [fix for fix in fixes[:top] if after[0].time - fix.time > _UP]
    others = (_rises(part, ground) for part in (before, after[end:]))
    for other in filter(None, others):
        raise ValueError(
            f"holds a second flight, up at {other.time:%H:%M:%S}Z: part the log, and give "
            "each flight's as a wind of its own"
        )
    settled = after[0].time + _SETTLED
    fall = [fix for fix in after[: end + 1] if fix.time >= settled]
    return fall, ground, what


def _fast(fall: list[_Fix]) -> Iterator[str]:
    """Doubt a fall that is as fast to its end as no landing is, unless told in feet."""
    before = (fix for fix in reversed(fall) if fall[-1].time - fix.time >= _SPAN)
    for fix in itertools.islice(before, 1):
        span = (fall[-1].time - fix.time) / timedelta(seconds=1)
        sink = (fix.altitude - fall[-1].altitude) / span
        if sink > _LANDS:
            yield f"it comes down at {sink:.0f} m/s to the end: are its heights in feet?"


def _rises(fixes: list[_Fix], ground: float) -> _Fix | None:
    """Find where it goes up as no car does; a log may hold all flights of a day.

    A receiver that begins far below the ground, or errs once, has not flown.
    """
    low, since = math.inf, None
    for fix, then in itertools.pairwise(fixes):
        height, next_height = (max(one.altitude, ground) for one in (fix, then))
        if since is None or height < low or fix.time - since > _SOON:
            low, since = height, fix.time
            continue
        once = then.time - fix.time <= _ONCE and next_height - low < _RISE
        if height - low >= _RISE and not once:
            return fix
    return None


def _falls_still(after: list[_Fix]) -> bool:
    last = after[-1]
    before = (fix for fix in reversed(after) if last.time - fix.time >= _LOST)
    since = next(before, after[0])
    span = (last.time - since.time) / timedelta(seconds=1)
    return since.altitude - last.altitude > _STILL * span


def _levels(fall: list[_Fix], ground: float, source: str) -> list[WindLevel]:
    levels = []
    start = fall[0] if fall else None
    for fix in fall[1:]:
        assert start is not None
        span = (fix.time - start.time) / timedelta(seconds=1)
        if span < _SPAN.total_seconds():
            continue
        height = (fix.altitude + start.altitude) / 2 - ground
        if start.altitude - fix.altitude <= _FASTEST_FALL * span and height >= 0:
            north = math.radians(fix.latitude - start.latitude) * _EARTH / span
            turn = math.radians((fix.longitude - start.longitude + 180) % 360 - 180)
            east = turn * _EARTH * math.cos(math.radians(fix.latitude)) / span
            error = math.hypot(_FIX_ERROR * math.sqrt(2) / span, _GLIDE_ERROR)
            with at(f"{fix.time:%H:%M:%S}"):
                levels.append(level_toward(height, east, north, source, error))
        start = fix
    by_height = {level.height: level for level in reversed(levels)}  # first of equals
    return [by_height[height] for height in sorted(by_height)]


_Log = tuple[list[_Fix], int, bool]
"""Fixes in order, how many others there were, whether the day is known."""


def _gpx(text: str) -> _Log:
    if "<!" in text.replace("<!--", ""):  # entities may grow without end
        raise ValueError("holds declarations; accepted is plain GPX")
    try:
        tree = ElementTree.fromstring(text)
    except ElementTree.ParseError as problem:
        raise ValueError(f"is no XML ({problem})") from None
    tracks, left = [], 0
    for number, track in enumerate(_named(tree, "trk"), 1):
        points = list(_named(track, "trkpt"))
        fixes = []
        for i, point in enumerate(points, 1):
            inner = {child.tag.rpartition("}")[2]: child.text or "" for child in point}
            if "ele" in inner and "time" in inner:
                with at(f"track {number}, point {i}"):
                    fixes.append(_fix_of(point.attrib, inner))
        left += len(points) - len(fixes)
        tracks += [_in_order(fixes)] if points else []
    _check_apart(tracks)
    return _in_order(list(itertools.chain(*tracks))), left, True


def _named(tree: ElementTree.Element, name: str) -> Iterator[ElementTree.Element]:
    return (part for part in tree.iter() if part.tag.rpartition("}")[2] == name)


def _check_apart(tracks: Sequence[list[_Fix]]) -> None:
    """Refuse tracks of two bodies: one at the time of another, or nobody knows when."""
    if len(tracks) > 1 and not all(tracks):
        raise ValueError("holds a track without times or heights beside another")
    spans = sorted((fixes[0].time, fixes[-1].time) for fixes in tracks if fixes)
    if any(after[0] < before[1] for before, after in itertools.pairwise(spans)):
        raise ValueError("holds two tracks of one time: give each as a wind of its own")


def _fix_of(place: Mapping[str, str], inner: Mapping[str, str]) -> _Fix:
    try:
        return _fix(
            parse_time(inner["time"], zone=UTC),
            *(float(text) for text in (place["lat"], place["lon"], inner["ele"])),
        )
    except (ValueError, KeyError) as problem:
        raise ValueError(f"no place and time: {problem}") from None


def _fix(when: datetime, latitude: float, longitude: float, altitude: float) -> _Fix:
    good = abs(latitude) <= 90 and abs(longitude) <= 180 and -500 < altitude < 60_000
    if not good:
        raise ValueError(f"{latitude:g}, {longitude:g}, {altitude:g} m is no place")
    return _Fix(when, latitude, longitude, altitude)


def _in_order(fixes: list[_Fix]) -> list[_Fix]:
    if len(fixes) > _MOST:
        raise ValueError(f"{len(fixes)} fixes; accepted are {_MOST} at most")
    return sorted(fixes, key=lambda fix: fix.time)


def _nmea(text: str) -> _Log:
    day: date | None = None
    fixes, damaged, last = [], 0, None
    for kind, cells in _sentences(text):
        if cells is None:
            damaged += 1
        elif kind == "RMC":
            day = _day(cells) or day
        else:
            fix = _gga(cells, day or date(2000, 1, 1))
            # Past midnight; a sentence that comes a little late is in its own day.
            if fix is not None and last is not None and fix.time < last - _NIGHT:
                fix = replace(fix, time=fix.time + timedelta(days=1))
            if fix is not None:
                last = fix.time
                fixes.append(fix)
    return _in_order(fixes), damaged, day is not None


def _sentences(text: str) -> Iterator[tuple[str, list[str] | None]]:
    for found in _SENTENCE.finditer(text):
        body = f"{found[1]},{found[2]}"
        total = reduce(lambda a, b: a ^ b, body.encode(), 0)
        bad = found[3] is not None and int(found[3], 16) != total
        yield found[1][2:], None if bad else found[2].split(",")


def _day(cells: list[str]) -> date | None:
    try:
        return datetime.strptime(cells[8], "%d%m%y").replace(tzinfo=UTC).date()
    except (ValueError, IndexError):
        return None


def _gga(cells: list[str], day: date) -> _Fix | None:
    """Read a fix; None where the receiver had none."""
    try:
        if cells[5] == "0" or not _CLOCK.fullmatch(cells[0]):
            return None
        clock = time(int(cells[0][:2]), int(cells[0][2:4]), int(cells[0][4:6]))
        part = timedelta(seconds=float(f"0{cells[0][6:]}"))
        return _fix(
            datetime.combine(day, clock, UTC) + part,
            _degrees(cells[1], cells[2], 2),
            _degrees(cells[3], cells[4], 3),
            float(cells[8]),
        )
    except (ValueError, IndexError):
        return None


def _degrees(text: str, side: str, digits: int) -> float:
    value = float(text[:digits]) + float(text[digits:]) / 60
    return -value if side in {"S", "W"} else value


_LEAN: Final = 0.09
"""How far apogee may lie beside the pad, as a share of its height, a component: a lean of
5 degrees; assumed."""

_WORDS: Final = re.compile(
    r"drift(?:ed)?\s+(?P<way>[\d.,]+\s*[a-z]+)\s+towards?\s+(?P<toward>[\w.-]+?)\s*(?:°|deg)?\s+"
    r"from\s+(?P<height>[\d.,]+\s*[a-z]+)\s+in\s+(?P<time>[\d.,]+\s*[a-z]+)",
    re.IGNORECASE,
)


def looks_like_drift(text: str) -> bool:
    """Tell whether it is one line that begins with "drift"."""
    return bool(re.match(r"\s*drift", text, re.IGNORECASE)) and "\n" not in text.strip()


def read_drift(text: str, source: str, setting: Setting) -> Reading:
    """Read ``drifted DISTANCE toward BEARING from APOGEE in TIME [N min ago | at 14:05]``.

    From the pad to where it landed, and from apogee to the ground under one canopy or
    streamer: one level at half the height, where a steady fall is in the middle of its time.
    The sentence names itself.
    """
    del source
    name = " ".join(text.split())
    with located(name, "", WindError):
        valid, notes, rest = when_said(name, setting)
        found = _WORDS.fullmatch(rest.strip(" ,;."))
        if not found:
            raise ValueError(
                'accepted is "drifted 350 m toward 60 from 900 m in 120 s"'
            )
        level, spread = _drifted(found, name)
    return Reading(
        source=name,
        kind="aloft",
        levels=(level,),
        valid=valid,
        away=0.0,
        direction_error=spread if found["toward"].isalpha() else 0.0,
        assumed=(
            f"{name}: the mean wind of the fall, taken for that at half its height; apogee "
            "above the pad but for a lean of 5 degrees",
            *(f"{name}: {note}" for note in notes),
        ),
    )


def _drifted(found: re.Match[str], name: str) -> tuple[WindLevel, float]:
    """Give the mean wind of a fall, and the error of its direction [rad]."""
    with at("way"):
        way = units.parse(found["way"], "length")
    with at("height"):
        height = above_zero(found["height"], "length")
    with at("time"):
        seconds = above_zero(found["time"], "time")
    fall = height / seconds
    if not (10.0 <= height <= 30_000.0 and 1.0 <= fall <= 40.0):
        raise ValueError(
            f"falls at {fall:.3g} m/s from {height:.5g} m; accepted is a fall under a "
            "device, at 1 to 40 m/s from 10 m to 30 km"
        )
    with at("toward"):
        bearing, spread = bearing_of(found["toward"])
    came_from = (bearing + math.pi) % (2 * math.pi)
    error = math.hypot(_LEAN * fall, _GLIDE_ERROR)
    speed = check_speed(way / seconds)
    return WindLevel(height / 2, came_from, speed, None, name, error=error), spread
