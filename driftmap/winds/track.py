"""The wind that a rocket came down through, from its tracker's log: the club's free sounding.

Under a canopy or a streamer a rocket goes with the air: the way it makes over the ground,
height by height, is the wind it fell through.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator
from datetime import timedelta
from typing import Final

from driftmap.air.wind import WindLevel
from driftmap.core.errors import at
from driftmap.core.points import EARTH
from driftmap.winds.fixes import Fix, read_gpx, read_nmea
from driftmap.winds.reading import (
    Reading,
    Setting,
    held_to_ground,
    held_to_site,
    level_toward,
)
from driftmap.winds.text import reader

_FIX_ERROR: Final = 5.0
"""Error of a component of a fix from satellites, against one a minute later [m]; assumed."""

GLIDE_ERROR: Final = 0.7
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


def looks_like_track(text: str) -> bool:
    """Return whether it is GPX, or holds sentences with positions."""
    start = text[:2000]
    return "<gpx" in start or bool(re.search(r"^\$G[A-Z]GGA,", start, re.MULTILINE))


@reader
def read_track(text: str, source: str, setting: Setting) -> Reading:
    """Read GPX with times and elevations, or GGA sentences with RMC, which tell the day.

    A level for each 20 s of the descent, as high as it was above where it landed.
    """
    fixes, left, dated = (read_gpx if "<gpx" in text[:2000] else read_nmea)(text)
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


def _descent(fixes: list[Fix]) -> tuple[list[Fix], float, str]:
    """Return the fixes of the fall, the ground under it [m], and what that is."""
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
            f"holds a second flight, up at {other.time:%H:%M:%S}Z: split the log, and give "
            "each flight's as a wind of its own"
        )
    settled = after[0].time + _SETTLED
    fall = [fix for fix in after[: end + 1] if fix.time >= settled]
    return fall, ground, what


def _fast(fall: list[Fix]) -> Iterator[str]:
    """Doubt a fall that is as fast to its end as no landing is, unless told in feet."""
    before = (fix for fix in reversed(fall) if fall[-1].time - fix.time >= _SPAN)
    for fix in itertools.islice(before, 1):
        span = (fall[-1].time - fix.time) / timedelta(seconds=1)
        sink = (fix.altitude - fall[-1].altitude) / span
        if sink > _LANDS:
            yield f"it comes down at {sink:.0f} m/s to the end: are its heights in feet?"


def _rises(fixes: list[Fix], ground: float) -> Fix | None:
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


def _falls_still(after: list[Fix]) -> bool:
    last = after[-1]
    before = (fix for fix in reversed(after) if last.time - fix.time >= _LOST)
    since = next(before, after[0])
    span = (last.time - since.time) / timedelta(seconds=1)
    return since.altitude - last.altitude > _STILL * span


def _levels(fall: list[Fix], ground: float, source: str) -> list[WindLevel]:
    levels = []
    start = fall[0] if fall else None
    for fix in fall[1:]:
        assert start is not None
        span = (fix.time - start.time) / timedelta(seconds=1)
        if span < _SPAN.total_seconds():
            continue
        height = (fix.altitude + start.altitude) / 2 - ground
        if start.altitude - fix.altitude <= _FASTEST_FALL * span and height >= 0:
            north = math.radians(fix.latitude - start.latitude) * EARTH / span
            turn = math.radians((fix.longitude - start.longitude + 180) % 360 - 180)
            east = turn * EARTH * math.cos(math.radians(fix.latitude)) / span
            error = math.hypot(_FIX_ERROR * math.sqrt(2) / span, GLIDE_ERROR)
            with at(f"{fix.time:%H:%M:%S}"):
                levels.append(level_toward(height, east, north, source, error))
        start = fix
    by_height = {level.height: level for level in reversed(levels)}  # first of equals
    return [by_height[height] for height in sorted(by_height)]
