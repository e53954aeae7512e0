"""A meter's record by time, as comma-separated values; its headers name the units.

It is that of a hand-held meter or a station: from it come the mean of the last ten minutes, how
well that mean is known by its own swing, the gusts of the last hour, and whether the wind is
growing or turning.
"""

from __future__ import annotations

import cmath
import itertools
import math
from bisect import bisect
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from driftmap.air.wind import WindLevel, direction_and_speed
from driftmap.core.tables import names_of
from driftmap.winds import text as texts
from driftmap.winds.meter_rows import (
    STAMPS,
    Row,
    components_of,
    height_and_zone,
    rows_of_record,
)
from driftmap.winds.reading import MORE, PAST, SLIP, Reading, Setting

_MEAN_OVER: Final = timedelta(minutes=10)
"""Time over which the wind is averaged (WMO-No. 8: the mean wind of reports)."""

_PEAK_OVER: Final = timedelta(hours=1)
"""Time over which a gust counts."""

_FEW: Final = 3  # readings whose swing tells how well their mean is known
_SHIFT: Final = 2.5  # m/s by which a wind changes within ten minutes; assumed
_BESIDE: Final = 1.0
"""How far from the last ten minutes' wind one must be to be told beside it [m s⁻¹]; assumed."""

_EDDY: Final = 60.0  # s over which two readings are one; assumed
_METER: Final = math.radians(5.0)  # error of the meter's direction; assumed
_GROWS: Final = 2.0  # m/s in an hour that hold; assumed
_STEADY: Final = 0.5  # of the mean speed, less of which leaves no direction; assumed
_TURNS: Final = math.radians(30.0)  # in the time recorded that hold; assumed
_SURE: Final = 2.0  # standard errors that a trend must stand out by
_LONG_ENOUGH: Final = timedelta(minutes=20)
_LESS: Final = 0.8
"""A gust under this part of the mean beside it is none; assumed."""


def looks_like_meter_log(text: str) -> bool:
    """Return whether its first line names a time and a speed, but no height."""
    names = names_of(text)
    return (
        any(name in STAMPS for name in names)
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
    height, zone = height_and_zone(text)
    rows, dumb = rows_of_record(text, zone, setting)
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
    told += [*_later(rows[len(seen) :]), *_silences(hour, seen, dumb), *_stuck(hour)]
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
            assumed=(*now.assumed, *_begins(source, hour), *_gustless(source, hour)),
        ),
        *(one for one in others if _apart(one.levels[0], level) > _BESIDE),
    )


def _reading(part: list[Row], level: WindLevel) -> Reading:
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


def _begins(source: str, hour: list[Row]) -> Iterator[str]:
    first, last = hour[0].time, hour[-1].time
    if _PEAK_OVER - (last - first) > _MEAN_OVER:
        minutes = (last - first) / timedelta(minutes=1)
        yield (
            f"{source}: it begins at {first:%H:%M %z}, {minutes:.0f} min before its last: what "
            "blew before nobody read, nor its gusts"
        )


def _apart(one: WindLevel, other: WindLevel) -> float:
    """Return how far two winds are apart [m s⁻¹]; of variable ones by their speeds."""
    if one.direction is None or other.direction is None:
        return abs(one.speed - other.speed)
    turned = one.direction - other.direction
    return abs(one.speed * cmath.exp(1j * turned) - other.speed)


def _change(rows: list[Row]) -> int:
    """Find the row from which on the wind was another than before, 0 for none.

    At whole minutes before the last, by means that differ beyond their errors. Services take
    the mean after such a break alone (FMH-1, from memory).
    """
    last, best, found = rows[-1].time, _SHIFT, 0
    wind = np.array([[row.speed, 0.0] for row in rows])
    if all(row.direction is not None for row in rows):
        wind = np.stack(components_of(rows), axis=1)
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


def _mean(mean: list[Row], hour: list[Row], height: float, source: str) -> WindLevel:
    """Return the mean with the error of a component that its own swing leaves.

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
        east, north = components_of(directed)
        way, along = (float(v) for v in direction_and_speed(east.mean(), north.mean()))
        if len(mean) >= _FEW:
            error = float(np.sqrt((east.var() + north.var()) / 2 / several))
    if along < _STEADY * speed:
        way = None
    return WindLevel(height, way, speed, peak, source, error=error)


def _trends(hour: list[Row]) -> list[str]:
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
            direction_and_speed(*(part.mean() for part in components_of(rows)))
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


def _stronger(seen: list[Row], hour: list[Row], level: WindLevel) -> list[str]:
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


def _later(rows: list[Row]) -> list[str]:
    """Doubt a record that goes on after the flight: what it shows there is known too."""
    if not rows:
        return []
    worst = max(rows, key=lambda row: row.peak)
    return [
        f"{len(rows)} readings are from after the flight or the present, of up to "
        f"{worst.peak:.1f} m/s at {worst.time:%H:%M %z}: is the day, the zone or --when "
        "wrong?"
    ]


def _silences(hour: list[Row], seen: list[Row], dumb: list[datetime]) -> list[str]:
    """Doubt a record that tells no wind, or no gust, for longer than a mean takes.

    Rows that stand there without a wind (`dumb`) may lie before its first or after its last.
    One that never told a gust tells as much as one without their column.
    """
    first, last = hour[0].time, hour[-1].time
    seen_at = [row.time for row in seen]
    # Within an hour before, the meter was on.
    before = [t for t in seen_at if timedelta(0) < first - t <= _PEAK_OVER][-1:]
    holes = set(itertools.pairwise([*before, *(row.time for row in hour)]))
    for time in (time for time in dumb if last - time <= _PEAK_OVER):
        i = bisect(seen_at, time)
        low = seen_at[i - 1] if i else dumb[0]
        holes.add((low, seen_at[i] if i < len(seen_at) else dumb[-1]))
    told = [row.time for row in hour if row.gust is not None]
    gusty = set(itertools.pairwise([first, *told, last] if _tells_gusts(seen) else []))
    return [*_longest("wind", holes), *_longest("gust (0 is none)", gusty - holes)]


def _longest(what: str, holes: Iterable[tuple[datetime, datetime]]) -> Iterator[str]:
    """Name the longest time that tells no such thing, and how many more there are."""
    long = sorted(hole for hole in holes if hole[1] - hole[0] > _MEAN_OVER)
    if long:
        low, high = max(long, key=lambda hole: hole[1] - hole[0])
        more = f" And {len(long) - 1} times more" if long[1:] else ""
        yield f"it tells no {what} from {low:%H:%M} to {high:%H:%M %z}: what blew then?{more}"


def _swapped(hour: list[Row]) -> list[str]:
    """Doubt gusts that are less than the mean wind beside them; 0 is none."""
    odd = any(row.gust and row.gust < _LESS * row.speed for row in hour)
    return ["gusts are less than the wind beside them: columns swapped?"] * odd


_NO_MORE: Final = 0.05  # m/s that a gust is above the mean, or it tells none; assumed
_WINDY: Final = 1.0  # m/s; in less wind a vane may stand still; assumed
_ALIKE, _ONE_ALIKE = 6, 20  # rows that are never alike in air; of one column; assumed


def _tells_gusts(rows: list[Row]) -> bool:
    return any((row.gust or 0.0) > row.speed + _NO_MORE for row in rows)


def _gustless(source: str, hour: list[Row]) -> Iterator[str]:
    """Say whose gusts are flown where it tells none: its column may be empty, 0 or the mean."""
    if not _tells_gusts(hour):
        yield f"{source}: tells no gusts; such as are usual in its wind are flown"


def _stuck(hour: list[Row]) -> Iterator[str]:
    """Doubt rows of which one is as the other: a cup or a vane that is stuck."""
    if hour[-1].time - hour[0].time < _MEAN_OVER:
        return
    ways = {row.direction for row in hour}
    speeds = {row.speed for row in hour}
    alike, what = "", "meter"
    if len(hour) >= _ALIKE and len(ways) == len(speeds) == 1:
        alike = "and the same wind"
    elif len(hour) >= _ONE_ALIKE and len(speeds) == 1:
        alike = "speed"
    elif (
        len(hour) >= _ONE_ALIKE
        and max(speeds) > _WINDY
        and len(ways) == 1
        and None not in ways
    ):
        alike, what = "direction", "vane"
    if alike:
        yield (
            f"all {len(hour)} rows show one {alike}: does the {what} turn? If you feel the same, "
            "tell the wind in words and leave the record out"
        )
