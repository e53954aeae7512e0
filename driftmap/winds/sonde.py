"""What soundings and other layers share: which report of a file, which levels, how high."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from driftmap.air.atmosphere import altitude_of, fill_heights
from driftmap.air.wind import WindLevel
from driftmap.core.errors import PlacedError
from driftmap.winds.reading import (
    SLIP,
    Reading,
    Setting,
    check_direction,
    check_speed,
    show_time,
)
from driftmap.winds.uncertainty import SONDE_ERROR

__all__ = [
    "FAR_ABOVE",
    "GROUND",
    "Placed",
    "SondeRow",
    "choose_station",
    "choose_time",
    "laid_out",
    "sounding",
]

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


_DIRECTION_ERROR: Final = math.radians(5.0) / math.sqrt(12)
"""Soundings round direction to 5 degrees (WMO-No. 8, ch. 13) [rad]."""


_FAR_PRESSURE: Final = 40_000.0  # Pa, that of 7.2 km in the standard atmosphere


@dataclass(frozen=True, slots=True)
class SondeRow:
    """One level as told, with its line; None for what is not.

    Pressure [Pa], geopotential height above the sea [m], temperature [K], true direction the
    wind comes from [deg], speed [m s⁻¹].
    """

    where: str
    pressure: float | None
    geopotential: float | None
    temperature: float | None
    direction: float | None
    speed: float | None


def sounding(
    rows: Sequence[SondeRow],
    *,
    name: str,
    valid: datetime | None,
    setting: Setting,
    assumed: tuple[str, ...] = (),
    away: tuple[float | None, str],
) -> Reading:
    """Make a reading from the levels of a sounding that have a wind and lie above the site."""
    sane, odd = _sane(rows, name, setting)
    levels, standard = _levels(sane, name, setting)
    if all(level.height < -GROUND for _, level in levels):
        raise PlacedError(
            name, f"no level with a wind above the site; {len(levels)} below it"
        )
    flown, moved = laid_out(levels, name, setting, repeats=True)
    return Reading(
        source=name,
        kind="aloft",
        levels=flown,
        valid=valid,
        direction_error=_DIRECTION_ERROR,
        from_ground=min(level.height for _, level in levels) >= -GROUND,
        away=away[0],
        assumed=(
            *assumed,
            away[1],
            *_notes(len(sane) - len(levels), standard, name),
            *odd,
            *moved,
        ),
    )


def _sane(
    rows: Sequence[SondeRow], name: str, setting: Setting
) -> tuple[list[SondeRow], list[str]]:
    """Leave out rows that cannot be right, where no flight goes or no wind is told."""
    sane, odd = [], []
    for row in rows:
        try:
            _check(row)
        except ValueError as problem:
            if not _far(row, setting) and None not in {row.speed, row.direction}:
                raise PlacedError(row.where, str(problem)) from None
            odd.append(f"{name}: {row.where} left out: {problem}")
        else:
            sane.append(row)
    return sane, odd


def _far(row: SondeRow, setting: Setting) -> bool:
    """Tell whether a row lies far above, by all that it says of its height."""
    z, p = row.geopotential, row.pressure
    high = z is None or z - setting.site_altitude > FAR_ABOVE
    thin = p is None or 0 < p < _FAR_PRESSURE
    return high and thin and not (z is None and p is None)


def _levels(
    rows: Sequence[SondeRow], name: str, setting: Setting
) -> tuple[list[Placed], int]:
    """Give the levels that have a wind, and how many the standard atmosphere placed."""
    heights, standard = fill_heights(
        [row.pressure for row in rows],
        [row.geopotential for row in rows],
        [row.temperature for row in rows],
    )
    levels = [
        (
            row.where,
            WindLevel(
                height=altitude_of(height) - setting.site_altitude,
                direction=math.radians(row.direction),
                speed=row.speed,
                gust=None,
                source=name,
                temperature=row.temperature,
                error=SONDE_ERROR,
            ),
        )
        for row, height in zip(rows, heights, strict=True)
        if height is not None and row.speed is not None and row.direction is not None
    ]
    return levels, sum(standard)


def _check(row: SondeRow) -> None:
    if row.direction is not None:
        check_direction(row.direction)
    if row.speed is not None:
        check_speed(row.speed)
    ranges = (
        ("pressure", row.pressure, 10.0, 110_000.0, "Pa"),
        ("height", row.geopotential, -1000.0, 60_000.0, "m"),
        ("temperature", row.temperature, 150.0, 340.0, "K"),
    )
    for what, value, low, high, unit in ranges:
        if value is not None and not low <= value <= high:
            raise ValueError(
                f"{what} {value:.5g} {unit}; accepted is {low:g} to {high:g}"
            )


def _notes(without: int, standard: int, name: str) -> list[str]:
    notes = []
    if without:
        notes.append(f"{name}: levels without a wind or a height left out: {without}")
    if standard:
        notes.append(
            f"{name}: levels placed by pressure in the standard atmosphere: {standard}"
        )
    return notes
