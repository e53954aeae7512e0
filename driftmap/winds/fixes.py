"""A tracker's log as fixes in order of time: GPX, or NMEA 0183 sentences."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import reduce
from typing import Final, NamedTuple
from xml.etree import ElementTree

from driftmap.core.errors import at
from driftmap.winds.times import parse_time

_MOST: Final = 200_000
_NIGHT: Final = timedelta(hours=12)
_CLOCK: Final = re.compile(r"\d{6}(?:\.\d{0,6})?", re.ASCII)
_SENTENCE: Final = re.compile(r"\$(G[A-Z](?:GGA|RMC)),([^*\s]*)(?:\*([0-9A-Fa-f]{2}))?")


@dataclass(frozen=True, slots=True)
class Fix:
    """Where something was, and when: degrees, and metres above the sea."""

    time: datetime
    latitude: float
    longitude: float
    altitude: float


class FixLog(NamedTuple):
    """Fixes in order, how many others cannot be used, and whether their day is known."""

    fixes: list[Fix]
    left: int
    dated: bool


def read_gpx(text: str) -> FixLog:
    """Read the points of all tracks that have a time and an elevation."""
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
    return FixLog(_in_order(list(itertools.chain(*tracks))), left, dated=True)


def _named(tree: ElementTree.Element, name: str) -> Iterator[ElementTree.Element]:
    return (part for part in tree.iter() if part.tag.rpartition("}")[2] == name)


def _check_apart(tracks: Sequence[list[Fix]]) -> None:
    """Refuse tracks of two bodies: one at the time of another, or nobody knows when."""
    if len(tracks) > 1 and not all(tracks):
        raise ValueError("holds a track without times or heights beside another")
    spans = sorted((fixes[0].time, fixes[-1].time) for fixes in tracks if fixes)
    if any(after[0] < before[1] for before, after in itertools.pairwise(spans)):
        raise ValueError("holds two tracks of one time: give each as a wind of its own")


def _fix_of(place: Mapping[str, str], inner: Mapping[str, str]) -> Fix:
    try:
        return _fix(
            parse_time(inner["time"], zone=UTC),
            *(float(text) for text in (place["lat"], place["lon"], inner["ele"])),
        )
    except (ValueError, KeyError) as problem:
        raise ValueError(f"no place and time: {problem}") from None


def _fix(when: datetime, latitude: float, longitude: float, altitude: float) -> Fix:
    good = abs(latitude) <= 90 and abs(longitude) <= 180 and -500 < altitude < 60_000
    if not good:
        raise ValueError(f"{latitude:g}, {longitude:g}, {altitude:g} m is no place")
    return Fix(when, latitude, longitude, altitude)


def _in_order(fixes: list[Fix]) -> list[Fix]:
    if len(fixes) > _MOST:
        raise ValueError(f"{len(fixes)} fixes; accepted are {_MOST} at most")
    return sorted(fixes, key=lambda fix: fix.time)


def read_nmea(text: str) -> FixLog:
    """Read GGA sentences, and the day of RMC ones."""
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
    return FixLog(_in_order(fixes), damaged, day is not None)


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


def _gga(cells: list[str], day: date) -> Fix | None:
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
