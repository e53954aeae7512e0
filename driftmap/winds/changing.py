"""One source that tells of several times near the flight: of one that differs, a verdict must hold."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from operator import itemgetter
from typing import Final

import numpy as np

from driftmap.air.wind import WindLevel, components_from
from driftmap.winds.reading import PAST, SLIP, Reading, Setting
from driftmap.winds.text import FAR_ABOVE

_SOON: Final = 1.0
"""For so long before and after a flight another wind of the same source is heard [h], as what a
forecast of an aerodrome expects; assumed."""

_MORE, _APART, _OF_SPEED = 3.0, 5.0, 0.3
"""Another wind is so much stronger, or so far from the one flown [m s⁻¹], and so much of that
one's speed; assumed."""


def heard_beside(time: datetime | None, setting: Setting) -> bool:
    """Tell whether what a source says of a time has its say beside what is flown."""
    return time is not None and abs(time - setting.when) <= timedelta(hours=PAST)


def with_others(
    chosen: Reading, others: Iterable[Reading], setting: Setting
) -> Reading:
    """Doubt a report where its source tells another wind for a time near the flight.

    Of what was measured a stronger one counts for hours, and one from after the flight holds.
    """
    told = [text for other in others for text in _doubts(chosen, other, setting)]
    return replace(chosen, warned=(*chosen.warned, *told))


def _doubts(chosen: Reading, other: Reading, setting: Setting) -> Iterator[str]:
    late = other.valid is not None and other.valid - setting.seen_by > SLIP
    if late and not other.forecast:
        yield f"{other.source} is from after the flight or the present: is the day or --when wrong?"
        return
    off = _hours_off(other, setting.when)
    if off > (_SOON if other.forecast else PAST):
        return
    known = {told.removeprefix(chosen.source) for told in chosen.warned}
    for told in other.warned:
        if told.removeprefix(other.source) not in known:
            yield told
    beyond = _beyond(chosen, other, turned=off <= _SOON)
    most = max(beyond, key=itemgetter(0), default=None)
    if most is not None:
        _, level, flown = most
        way = "" if level.direction is None else f" from {_degrees(level.direction)}"
        yield (
            f"{other.source} tells {level.peak:.1f} m/s{way} at {level.height:.0f} m, where "
            f"{flown:.1f} m/s is flown by {chosen.source}: the wind changes"
        )


def _degrees(direction: float) -> str:
    return f"{round(math.degrees(direction)) % 360:03d}°"


def _hours_off(reading: Reading, when: datetime) -> float:
    """Give the hours between a flight and the time, or the hours, a report is for."""
    if reading.valid is None:
        return math.inf
    start, end = reading.window or (reading.valid, reading.valid)
    return max(start - when, when - end, timedelta(0)) / timedelta(hours=1)


def _beyond(
    chosen: Reading, other: Reading, *, turned: bool
) -> Iterator[tuple[float, WindLevel, float]]:
    """Give by how much levels are beyond what one wind may be, and the speed flown there."""
    for level in (at for at in other.levels if at.height <= FAR_ABOVE):
        speed, peak, east, north = _flown(chosen.levels, level.height)
        more = max(level.speed - speed, level.peak - peak)
        beyond = more - max(_MORE, _OF_SPEED * speed)
        told = all(at.direction is not None for at in (level, *chosen.levels))
        if turned and told:
            there = components_from(level.direction or 0.0, level.speed)
            apart = math.hypot(there[0] - east, there[1] - north)
            beyond = max(beyond, apart - max(_APART, _OF_SPEED * speed))
        if beyond > 0:
            yield beyond, level, speed


def _flown(levels: Sequence[WindLevel], height: float) -> list[float]:
    """Give speed, gust and components toward east and north at a height; held beyond the levels."""
    heights = [level.height for level in levels]
    rows = [
        (at.speed, at.peak, *components_from(at.direction or 0.0, at.speed))
        for at in levels
    ]
    return [
        float(np.interp(height, heights, column)) for column in zip(*rows, strict=True)
    ]
