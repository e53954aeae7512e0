"""Sources that give several times near the flight: where these differ, a verdict must hold."""

from __future__ import annotations

import math
from collections.abc import Container, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from operator import itemgetter
from typing import Final

import numpy as np
from numpy.typing import NDArray

from driftmap.air.wind import WindLevel, components_from
from driftmap.core.checks import FloatArray
from driftmap.winds.reading import ONE_TIME, PAST, SLIP, Reading, Setting
from driftmap.winds.text import FAR_ABOVE

_SOON: Final = 1.0
"""For so long before and after a flight another wind of the same source is heard [h], as what a
forecast of an aerodrome expects; assumed."""

_MORE, _APART, _OF_SPEED = 3.0, 5.0, 0.3
"""Another wind is so much stronger, or so far from the one flown [m s⁻¹], and so much of that
one's speed; assumed."""


def times_counted(
    times: Sequence[datetime | None],
    chosen: int,
    setting: Setting,
    *,
    forecast: bool = False,
) -> list[int]:
    """List which times of a source count: the one chosen first, then others.

    Those near the flight, and of a forecast those next to the chosen, however far off.
    """
    known = [(time, i) for i, time in enumerate(times) if time is not None]
    near = [i for t, i in known if abs(t - setting.when) <= timedelta(hours=PAST)]
    if forecast and known:
        order = [i for _, i in sorted(known)]
        place = order.index(chosen)
        near += order[max(place - 1, 0) : place + 2]
    return list(dict.fromkeys((chosen, *near)))


def with_others(
    chosen: Reading, others: Iterable[Reading], setting: Setting
) -> Reading:
    """Doubt a report where its source tells another wind for a time near the flight.

    Of what was measured a stronger one counts for hours, and one from after the flight holds.
    Between two times of a forecast the wind goes over from one to the other.
    """
    others = tuple(others)
    here = _hours_off(chosen, setting.when)
    off = {_hours_off(other, setting.when) for other in others}
    beside = {
        max((at for at in off if at < here), default=here),
        min((at for at in off if at > here), default=here),
    }
    told = [
        text for other in others for text in _doubts(chosen, other, setting, beside)
    ]
    return replace(chosen, warned=(*chosen.warned, *told))


def _doubts(
    chosen: Reading, other: Reading, setting: Setting, beside: Container[float]
) -> Iterator[str]:
    late = other.valid is not None and other.valid - setting.seen_by > SLIP
    if late and not other.forecast:
        yield f"{other.source} is from after the flight or the present: is the day or --when wrong?"
        return
    off, here = (_hours_off(each, setting.when) for each in (other, chosen))
    part, near = 1.0, abs(off) <= _SOON
    if other.forecast and not near:
        if off not in beside or other.window:  # for those hours alone
            return
        # As far as the change has come within an hour of the flight.
        part = (math.copysign(_SOON, off) - here) / (off - here or math.inf)
    if part <= 0 or (not other.forecast and abs(off) > PAST):
        return
    known = {told.removeprefix(chosen.source) for told in chosen.warned}
    for told in other.warned:
        if told.removeprefix(other.source) not in known:
            yield told
    turned = near or other.forecast or abs(off - here) < ONE_TIME
    beyond = _beyond(chosen, other, part, turned=turned)
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
    """Return the hours from a flight to the time, or the hours, a report is for; before it < 0."""
    if reading.valid is None:
        return math.inf
    start, end = reading.window or (reading.valid, reading.valid)
    off = max(start - when, timedelta(0)) - max(when - end, timedelta(0))
    return off / timedelta(hours=1)


def _beyond(
    chosen: Reading, other: Reading, part: float, *, turned: bool
) -> Iterator[tuple[float, WindLevel, float]]:
    """Yield by how much levels are beyond what one wind may be, and the speed flown there.

    ``part``: how much of the change counts. Of an ensemble each member does, and the mean.
    """
    if chosen.members is not None or other.members is not None:
        mean, then = (replace(each, members=None) for each in (chosen, other))
        yield from _beyond(mean, then, part, turned=turned)
    for level in (at for at in other.levels if at.height <= FAR_ABOVE):
        there, speeds, _ = _told_at(other, level.height)
        ours, flown, peak = _told_at(chosen, level.height)
        most, speed = float(speeds.max()), float(flown.max())
        beyond = part * max(most - speed, level.peak - peak)
        beyond -= max(_MORE, _OF_SPEED * speed)
        told = all(at.direction is not None for at in (level, *chosen.levels))
        if turned and told:
            apart = np.abs(there[:, None] - ours[None, :]).min(axis=1).max()
            beyond = max(beyond, part * float(apart) - max(_APART, _OF_SPEED * speed))
        if beyond > 0:
            way = level.direction if other.members is None else None
            yield beyond, replace(level, speed=most, direction=way), speed


def _told_at(
    reading: Reading, height: float
) -> tuple[NDArray[np.complex128], FloatArray, float]:
    """Give winds and speeds of every member at a height, and the gust; held beyond the levels."""
    heights = [level.height for level in reading.levels]
    speed, peak = (
        np.interp(height, heights, [getattr(level, key) for level in reading.levels])
        for key in ("speed", "peak")
    )
    winds = np.array(
        [[components_from(at.direction or 0.0, at.speed) for at in reading.levels]]
    )
    if reading.members is not None:
        winds = np.moveaxis(reading.members, 1, 2)
    east, north = (
        np.array([np.interp(height, heights, row) for row in winds[..., k]])
        for k in (0, 1)
    )
    here = east + 1j * north
    return here, np.append(np.abs(here), speed), float(peak)
