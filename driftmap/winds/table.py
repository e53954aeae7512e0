"""Tables as comma-separated values: layers of wind by height, and a meter's record by time.

Their headers name the units. A record is that of a hand-held meter or a station: from it come
the mean of the last ten minutes, how well that mean is known by its own swing, the gusts
of the last hour, and whether the wind is growing or turning.
"""

from __future__ import annotations

import cmath
import contextlib
import itertools
import math
import re
from bisect import bisect
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Final

import numpy as np

from driftmap.air.law import LOG_TOP
from driftmap.air.uncertainty import FRESH_ERROR
from driftmap.air.wind import WindLevel, components_from, direction_and_speed
from driftmap.core import units
from driftmap.core.checks import FloatArray
from driftmap.core.errors import at
from driftmap.core.tables import names_of, number_of, remarks_of, rows_of
from driftmap.winds import text as texts
from driftmap.winds.reading import (
    MORE,
    PAST,
    SLIP,
    Reading,
    Setting,
    check_direction,
    check_speed,
    parse_time,
    show_time,
)
from driftmap.winds.spoken import HEAD_HEIGHT
from driftmap.winds.text import GROUND, NAMES, Placed, laid_out, told_time

_MOST_LAYERS: Final = 20_000
_MAY_BE_EMPTY: Final = ("from", "gust", "error")
_TIME: Final = "time"
_FORECAST: Final = re.compile(r"\s*#[#\s]*forecast\b", re.IGNORECASE)
_TIMES: Final = ("read", "valid", "based on")


def looks_like_table(text: str) -> bool:
    """Tell whether its first line names a column of a table of layers."""
    return any(name in NAMES for name in names_of(text))


@texts.reader
def read_table(text: str, source: str, setting: Setting) -> Reading:
    """Read a table of layers: header and rows, in any order, parted by commas, semicolons or tabs.

    Of the lines that start with ``#``, one says when it was read, ``# read 2026-05-09
    08:10-07:00``, or that it is a ``# forecast``, for when, ``# valid …``, and from data of
    what time, ``# based on …``; one, ``# away 12 km``, how far from the field. Columns: ``height_m`` or ``height_ft`` above the site, or
    ``altitude_m`` or ``altitude_ft`` above the sea; ``from_deg`` (or ``from_magnetic_deg``);
    ``speed_mps``, ``speed_mph``, ``speed_kt`` or ``speed_kmh``; or ``u_mps`` toward east and
    ``v_mps`` toward north in place of both; ``gust_`` and ``error_`` (of a component; what is
    less than that of a reading which tells none counts as that) with one of the same units,
    and ``time``, when each was read, of which the oldest counts. An empty direction is a
    variable wind, an empty gust is none.
    """
    times = _times(text)
    levels: list[Placed] = []
    read = []
    for where, cells in rows_of(text, (*NAMES, _TIME), _check, 1, _MOST_LAYERS):
        with at(where):
            if _TIME in cells:
                read.append(told_time(cells.pop(_TIME)))
            levels.append((where, _level(cells, source, setting)))
    flown, moved = laid_out(levels, source, setting)
    if read and max(read) - setting.seen_by > SLIP:
        raise ValueError(
            f"a row of {show_time(max(read))} is from after the flight or the present; "
            "check the day, the zone and --when"
        )
    if read and times.keys() - {"based on"}:
        raise ValueError("tells its time twice: in a column and a # line")
    return Reading(
        source=source,
        kind="aloft",
        levels=flown,
        valid=min(read, default=times.get("valid", times.get("read"))),
        away=0.0,  # unless told otherwise
        based_on=times.get("based on"),
        forecast=_forecast(text, times),
        assumed=moved,
    )


def _check(names: list[str]) -> None:
    texts.check_names(name for name in names if name != _TIME)


def _level(cells: dict[str, str], source: str, setting: Setting) -> WindLevel:
    row = {k: _number(cell, k) for k, cell in cells.items()}
    height = texts.vertical(row, setting, lenient=True)
    if height < -GROUND or (height < 0 and "height" in "".join(row)):
        texts.vertical(row, setting)  # which says what is wrong
    return _knowable(texts.level_from(row, height, setting, source))


_LEAST_ERROR: Final = 0.2
"""Error of a component near the ground that no meter is better than [m s⁻¹]; assumed."""


def _knowable(level: WindLevel) -> WindLevel:
    """Take an error of layers that is less than anyone's for one that was not told."""
    least = FRESH_ERROR if level.height > LOG_TOP else _LEAST_ERROR
    less = level.error is not None and level.error < least
    return replace(level, error=None) if less else level


def _forecast(text: str, times: dict[str, datetime]) -> bool:
    named = any(map(_FORECAST.match, text.splitlines()))
    return named or "valid" in times or "based on" in times


def _times(text: str) -> dict[str, datetime]:
    """Give the times that the lines of remarks tell."""
    times = {}
    found = remarks_of(text, _TIMES, r"(?:(?:at|for)\s+)?\d.*")
    for what, (where, told) in found.items():
        with at(where):
            times[what] = told_time(re.sub(r"^\D+", "", told))
    if {"read", "valid"} <= set(times) or {"read", "based on"} <= set(times):
        raise ValueError("is either read, or a forecast: valid, based on")
    return times


def _number(cell: str, name: str) -> float:
    if not cell and name.startswith(_MAY_BE_EMPTY):
        return math.nan
    return number_of(cell, name)


_MEAN_OVER: Final = timedelta(minutes=10)
"""Time over which the wind is averaged (WMO-No. 8: the mean wind of reports)."""

_PEAK_OVER: Final = timedelta(hours=1)
"""Time over which a gust counts."""

_FEW: Final = 3  # readings whose swing tells how well their mean is known
_SHIFT: Final = 2.5  # m/s by which a wind changes within ten minutes; assumed
_BESIDE: Final = (
    1.0  # m/s from the last ten minutes' wind, to be told beside it; assumed
)
_EDDY: Final = 60.0  # s over which two readings are one; assumed
_METER: Final = math.radians(5.0)  # error of the meter's direction; assumed
_GROWS: Final = 2.0  # m/s in an hour that hold; assumed
_STEADY: Final = 0.5  # of the mean speed, less of which leaves no direction; assumed
_TURNS: Final = math.radians(30.0)  # in the time recorded that hold; assumed
_SURE: Final = 2.0  # standard errors that a trend must stand out by
_LONG_ENOUGH: Final = timedelta(minutes=20)
_MOST: Final = 100_000
_STAMPS: Final = ("time", "time_utc")
_COLUMNS: Final = tuple(
    name for name in NAMES if name.startswith(("from", "speed", "gust"))
)
_OR_ZONE: Final = ", or without its zone below a line '# zone -07:00'"
_NONE: Final = ("", "-", "--", "na", "nan", "none")

_LESS: Final = 0.8
"""A gust under this part of the mean beside it is none; assumed."""


@dataclass(frozen=True, slots=True)
class _Row:
    time: datetime
    direction: float | None
    speed: float
    gust: float | None

    @property
    def peak(self) -> float:
        """The most that it showed [m s⁻¹]."""
        return max(self.speed, self.gust or 0.0)


def looks_like_meter_log(text: str) -> bool:
    """Tell whether its first line names a time and a speed, but no height."""
    names = names_of(text)
    return (
        any(name in _STAMPS for name in names)
        and any(name.startswith("speed_") for name in names)
        and not any(name.startswith(("height_", "altitude_")) for name in names)
    )


@texts.reader
def read_meter_log(text: str, source: str, setting: Setting) -> tuple[Reading, ...]:
    """Read a record: the mean of its last ten minutes before the flight, with its own error.

    Where the wind changed within them, of what came after. What it showed in the tens of
    minutes of the hour before is given beside it, as older readings, where that was another wind.

    Rows in any order of time. Columns: ``time`` with date and zone (or ``time_utc``; or with
    a line ``# zone -07:00`` times of that zone), ``speed_mps``, ``speed_mph``, ``speed_kt`` or
    ``speed_kmh``; optionally ``from_deg`` or ``from_magnetic_deg``, and ``gust_…``. A line
    ``# height 10 m`` tells how high the meter was; without one it is at head height, 2 m; one
    ``# away 12 km`` how far from the field it stood.

    It warns of a wind that grows or turns. Readings within a minute count as one when the
    error of the mean is told: gusts last so long near the ground (assumed).
    """
    height, zone = _told(text)
    rows, dumb = _rows(text, zone, setting)
    seen = [row for row in rows if row.time - setting.seen_by <= SLIP] or rows[:1]
    last = seen[-1].time
    hour = [row for row in seen if last - row.time <= _PEAK_OVER]
    tens = [
        [
            row
            for row in hour
            if k * _MEAN_OVER < last - row.time <= (k + 1) * _MEAN_OVER
        ]
        for k in range(1, 6)
    ]
    ten = [row for row in hour if last - row.time <= _MEAN_OVER]
    cut = _change(ten)
    mean, level = ten[cut:], _mean(ten[cut:], hour, height, source)
    told = [*_trends(hour), *_stronger(seen, hour, level), *_swapped(hour)]
    told += [*_later(rows[len(seen) :]), *_silences(hour, seen, dumb)]
    if cut:
        told.append(
            f"the wind changed at {mean[0].time:%H:%M %z}: only what came after counts; wait "
            "until it holds: what blew within the hour before is still heard"
        )
    now = _reading(mean, level)
    others = (
        _reading(
            part,
            _mean(part, part, height, f"{source} to {part[-1].time:%H:%M %z}"),
        )
        for part in (ten[:cut], *tens)
        if part
    )
    return (
        replace(
            now,
            warned=tuple(f"{source}: {one}" for one in told),
            assumed=(*now.assumed, *_begins(source, hour)),
        ),
        *(one for one in others if _apart(one.levels[0], level) > _BESIDE),
    )


def _reading(part: list[_Row], level: WindLevel) -> Reading:
    name, known = level.source, level.direction is not None
    minutes = round((part[-1].time - part[0].time) / timedelta(minutes=1))
    about = f"{len(part)} readings of {minutes} min to {part[-1].time:%H:%M %z}"
    return Reading(
        source=name,
        kind="surface",
        levels=(level,),
        valid=part[-1].time,
        away=0.0,  # unless told otherwise
        direction_error=_METER if known else 0.0,
        assumed=(
            f"{name}: mean of {about}, at {level.height:g} m",
            *(() if known else (f"{name}: no direction holds, taken from anywhere",)),
        ),
    )


def _begins(source: str, hour: list[_Row]) -> Iterator[str]:
    first, last = hour[0].time, hour[-1].time
    if _PEAK_OVER - (last - first) > _MEAN_OVER:
        minutes = (last - first) / timedelta(minutes=1)
        yield (
            f"{source}: it begins at {first:%H:%M %z}, {minutes:.0f} min before its last: what "
            "blew before nobody read, nor its gusts"
        )


def _apart(one: WindLevel, other: WindLevel) -> float:
    """Give how far two winds are apart [m s⁻¹]; of variable ones by their speeds."""
    if one.direction is None or other.direction is None:
        return abs(one.speed - other.speed)
    turned = one.direction - other.direction
    return abs(one.speed * cmath.exp(1j * turned) - other.speed)


def _change(rows: list[_Row]) -> int:
    """Find the row from which on the wind was another than before, 0 for none.

    At whole minutes before the last, by means that differ beyond their errors. Services take
    the mean after such a break alone (FMH-1, from memory).
    """
    last, best, found = rows[-1].time, _SHIFT, 0
    wind = np.array([[row.speed, 0.0] for row in rows])
    if all(row.direction is not None for row in rows):
        wind = np.stack(_components(rows), axis=1)
    for minutes in range(1, 10):
        since = last - timedelta(minutes=minutes)
        cut = sum(row.time < since for row in rows)
        parts = wind[:cut], wind[cut:]
        if min(map(len, parts)) < 2:
            continue
        apart = float(np.hypot(*(parts[1].mean(axis=0) - parts[0].mean(axis=0))))
        swing = sum(float(part.var(axis=0).sum()) * len(part) for part in parts)
        spans = (10.0 - minutes, minutes)
        several = [min(len(p), span) for p, span in zip(parts, spans, strict=True)]
        error = math.sqrt(swing / len(rows) * sum(1 / n for n in several))
        if apart > max(best, 3 * error):
            best, found = apart, cut
    return found


def _mean(mean: list[_Row], hour: list[_Row], height: float, source: str) -> WindLevel:
    """Give the mean with the error of a component that its own swing leaves.

    That of one or two readings is not known by themselves: it is the swing of all.
    """
    speed = float(np.mean([row.speed for row in mean]))
    peak = max(speed, *(row.peak for row in hour))
    directed = [row for row in mean if row.direction is not None]
    several = max(1.0, (mean[-1].time - mean[0].time).total_seconds() / _EDDY)
    several = min(several, len(mean))
    way, along = None, 0.0
    swung = mean if len(mean) >= _FEW else hour
    error = float(np.std([row.speed for row in swung])) / math.sqrt(several)
    if directed:
        east, north = _components(directed)
        way, along = (float(v) for v in direction_and_speed(east.mean(), north.mean()))
        if len(mean) >= _FEW:
            error = float(np.sqrt((east.var() + north.var()) / 2 / several))
    if along < _STEADY * speed:
        way = None
    return WindLevel(height, way, speed, peak, source, error=error)


def _components(rows: list[_Row]) -> tuple[FloatArray, FloatArray]:
    return components_from(
        np.array([row.direction for row in rows], float),
        np.array([row.speed for row in rows]),
    )


def _trends(hour: list[_Row]) -> list[str]:
    """Say what makes the mean no guide to the next hour: a wind that grows or turns."""
    span = hour[-1].time - hour[0].time
    if len(hour) < _FEW or span < _LONG_ENOUGH:
        return []
    told = []
    hours = np.array([(row.time - hour[0].time) / timedelta(hours=1) for row in hour])
    speed = np.array([row.speed for row in hour])
    slope, start = np.polyfit(hours, speed, 1)
    free = min(len(hour), span.total_seconds() / _EDDY) - 2
    spread = float(np.std(speed - slope * hours - start))
    error = spread / (float(np.std(hours)) * math.sqrt(max(free, 1.0)))
    if slope > max(_GROWS, _SURE * error):
        told.append(f"the wind grows by {slope:.1f} m/s in an hour")
    directed = [row for row in hour if row.direction is not None]
    half = len(directed) // 2
    if half >= _FEW:
        ways = [
            direction_and_speed(*(part.mean() for part in _components(rows)))
            for rows in (directed[:half], directed[half:])
        ]
        turned = (float(ways[1][0] - ways[0][0]) + math.pi) % (2 * math.pi) - math.pi
        if abs(turned) > _TURNS and min(float(way[1]) for way in ways) > 1.0:
            side = "right" if turned > 0 else "left"
            told.append(
                f"the wind turned {abs(math.degrees(turned)):.0f} deg to the {side} in "
                f"{span / timedelta(minutes=1):.0f} min"
            )
    return told


def _stronger(seen: list[_Row], hour: list[_Row], level: WindLevel) -> list[str]:
    """Name the strongest wind before the hour, where it was more than the hour's."""
    past = [
        row
        for row in seen
        if _PEAK_OVER < hour[-1].time - row.time <= timedelta(hours=PAST)
    ]
    worst = max(past, key=lambda row: row.peak, default=None)
    if worst is None or worst.peak <= level.peak + MORE:
        return []
    return [f"it showed {worst.peak:.1f} m/s at {worst.time:%H:%M %z}"]


def _later(rows: list[_Row]) -> list[str]:
    """Doubt a record that goes on after the flight: what it shows there is known too."""
    if not rows:
        return []
    worst = max(rows, key=lambda row: row.peak)
    return [
        f"{len(rows)} readings are from after the flight or the present, of up to "
        f"{worst.peak:.1f} m/s at {worst.time:%H:%M %z}: is the day, the zone or --when "
        "wrong?"
    ]


def _silences(hour: list[_Row], seen: list[_Row], dumb: list[datetime]) -> list[str]:
    """Doubt a record that tells no wind, or no gust, for longer than a mean takes.

    Rows that stand there without a wind (`dumb`) may lie before its first or after its last.
    """
    first, last = hour[0].time, hour[-1].time
    told_at = [row.time for row in seen]
    # Within an hour before, the meter was on.
    before = [t for t in told_at if timedelta(0) < first - t <= _PEAK_OVER][-1:]
    holes = set(itertools.pairwise([*before, *(row.time for row in hour)]))
    for time in (time for time in dumb if last - time <= _PEAK_OVER):
        i = bisect(told_at, time)
        low = told_at[i - 1] if i else dumb[0]
        holes.add((low, told_at[i] if i < len(told_at) else dumb[-1]))
    gusts = [row.time for row in hour if row.gust is not None]
    shows = any(row.gust is not None for row in seen)
    gusty = set(itertools.pairwise([first, *gusts, last] if shows else []))
    return [*_longest("wind", holes), *_longest("gust (0 is none)", gusty - holes)]


def _longest(what: str, holes: Iterable[tuple[datetime, datetime]]) -> Iterator[str]:
    """Name the longest time that tells no such thing, and how many more there are."""
    long = sorted(hole for hole in holes if hole[1] - hole[0] > _MEAN_OVER)
    if long:
        low, high = max(long, key=lambda hole: hole[1] - hole[0])
        more = f" And {len(long) - 1} times more" if long[1:] else ""
        yield f"it tells no {what} from {low:%H:%M} to {high:%H:%M %z}: what blew then?{more}"


def _swapped(hour: list[_Row]) -> list[str]:
    """Doubt gusts that are less than the mean wind beside them; 0 is none."""
    odd = any(row.gust and row.gust < _LESS * row.speed for row in hour)
    return ["gusts are less than the wind beside them: columns swapped?"] * odd


def _with_lone_gusts(rows: list[_Row], lone: list[_Row]) -> list[_Row]:
    """Give each gust that was recorded without a mean to the row nearest in time."""
    kept = list(rows)
    for gust in lone:
        near = min(range(len(kept)), key=lambda i: abs(kept[i].time - gust.time))
        most = max(kept[near].gust or 0.0, gust.gust or 0.0)
        kept[near] = replace(kept[near], gust=most)
    return kept


def _told(text: str) -> tuple[float, tzinfo | None]:
    """Read the lines that tell the meter's height and the zone of its clock."""
    told = remarks_of(text, ("height", "zone"))
    height, zone = HEAD_HEIGHT, None
    if "height" in told:
        with at(told["height"][0]):
            height = units.quantity(told["height"][1], "length")
            if not 0.5 <= height <= 150.0:
                raise ValueError(f"height {height:g} m; accepted is 0.5 to 150 m")
    if "zone" in told:
        with at(told["zone"][0]):
            zone = _zone(told["zone"][1])
    return height, zone


def _zone(text: str) -> tzinfo:
    found = re.fullmatch(r"(?:UTC)?\s*([-+]\d\d:?\d\d|Z)|UTC", text, re.IGNORECASE)
    with contextlib.suppress(ValueError):
        if found and (zone := parse_time(f"2000-01-01T00{found[1] or 'Z'}").tzinfo):
            return zone
    raise ValueError(f"zone {text[:20]!r}; accepted is such as -07:00, or Z")


def _rows(
    text: str, zone: tzinfo | None, setting: Setting
) -> tuple[list[_Row], list[datetime]]:
    """Read the rows in order of time, and when rows tell no wind, as far as it was seen."""
    rows: list[_Row] = []
    for where, cells in rows_of(text, (*_STAMPS, *_COLUMNS), _check_record, 1, _MOST):
        with at(where):
            rows.append(_row(cells, zone, setting))
    whole = [row for row in rows if not math.isnan(row.speed)]
    if not whole:
        raise ValueError("holds no reading with a speed")
    rest = [row for row in rows if math.isnan(row.speed)]
    lone = [row for row in rest if row.gust is not None]
    silent = (row.time for row in rest if row.gust is None)
    dumb = sorted(time for time in silent if time - setting.seen_by <= SLIP)
    return sorted(_with_lone_gusts(whole, lone), key=lambda row: row.time), dumb


def _check_record(names: list[str]) -> None:
    for start in ("time", "from", "speed", "gust"):
        if sum(name.startswith(start) for name in names) > 1:
            raise ValueError(f"two columns of {start}; keep one of them")


def _row(cells: dict[str, str], zone: tzinfo | None, setting: Setting) -> _Row:
    values = {
        name.split("_")[0]: number_of(cell, name) * NAMES[name][1]
        for name, cell in cells.items()
        if name not in _STAMPS and cell.lower() not in _NONE
    }
    direction = None
    if "from" in values:
        direction = check_direction(values["from"])
        if "from_magnetic_deg" in cells:
            direction = setting.true_bearing(direction)
    speed = check_speed(values["speed"]) if "speed" in values else math.nan
    gust = values.get("gust")
    if gust is not None:
        check_speed(gust, what="gust")
    name = next(name for name in cells if name in _STAMPS)
    own = UTC if name == "time_utc" else zone
    time = told_time(cells[name], name, own, also=_OR_ZONE)
    return _Row(time, direction, speed, gust)
