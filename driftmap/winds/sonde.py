"""A sounding's levels made a wind, whatever format lists them; which of many is meant."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from driftmap.air.atmosphere import altitude_of, fill_heights
from driftmap.air.uncertainty import SONDE_ERROR
from driftmap.air.wind import WindLevel
from driftmap.core.errors import PlacedError
from driftmap.core.points import over_ground
from driftmap.winds.other_times import times_counted, with_others
from driftmap.winds.reading import (
    Reading,
    Setting,
    check_direction,
    check_placed,
    check_speed,
)
from driftmap.winds.text import (
    FAR_ABOVE,
    GROUND,
    Placed,
    choose_station,
    choose_time,
    laid_out,
)

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


def last_before(
    stations: Sequence[str],
    time_of: Callable[[int], datetime | None],
    read: Callable[[int], Reading],
    source: str,
    setting: Setting,
) -> Reading:
    """Read of a station's soundings the last before the flight, and doubt it by those near it.

    ``stations``: of each sounding of the source; ``time_of``, ``read``: one of them, by its
    place among these.
    """
    station, named = choose_station(stations, setting, source)
    mine = [k for k, name in enumerate(stations) if name == station]
    times = [time_of(k) for k in mine]
    chosen, notes = choose_time(times, setting, source)
    heard = times_counted(times, chosen, setting)
    flown, *others = (read(mine[i]) for i in heard)
    flown = replace(flown, assumed=(*named, *notes, *flown.assumed))
    return with_others(flown, others, setting)


def away_of(
    north: str, east: str, name: str, setting: Setting, *, station: str = ""
) -> tuple[float | None, str]:
    """Return how far off it was let go, by the place it tells [deg], else by its station."""
    try:
        point = float(north), float(east)
    except ValueError:
        point = 99.0, 0.0
    known = abs(point[0]) <= 90 and abs(point[1]) <= 180
    if setting.place is None or not known:
        return setting.away_from(station, name)
    away = max(over_ground(point, setting.place), setting.station_away or 0.0)
    return away, f"{name}: let go {away / 1000:.0f} km from the site"


def sounding(
    rows: Sequence[SondeRow],
    *,
    name: str,
    valid: datetime | None,
    setting: Setting,
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
        warned=_lost_winds(rows, name, setting),
        assumed=(
            away[1],
            *_notes(len(sane) - len(levels), standard, name),
            *odd,
            *moved,
        ),
    )


def _lost_winds(
    rows: Sequence[SondeRow], name: str, setting: Setting
) -> tuple[str, ...]:
    """Doubt speeds that tell no direction or no height, where flights go: they make no level."""
    told = [row for row in rows if row.speed and _incomplete(row)]
    lost = [row.speed or 0.0 for row in told if not _far(row, setting)]
    if not lost:
        return ()
    return (
        f"{name}: levels tell a speed and no direction or height ({len(lost)}), of up to {max(lost):.1f} m/s: "
        "they are left out, read them again",
    )


def _incomplete(row: SondeRow) -> bool:
    return row.direction is None or (row.pressure is None and row.geopotential is None)


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
    """Return whether a row lies far above, by all that it says of its height."""
    z, p = row.geopotential, row.pressure
    high = z is None or z - setting.site_altitude > FAR_ABOVE
    thin = p is None or 0 < p < _FAR_PRESSURE
    return high and thin and not (z is None and p is None)


def _levels(
    rows: Sequence[SondeRow], name: str, setting: Setting
) -> tuple[list[Placed], int]:
    """Return the levels that have a wind, and how many the standard atmosphere placed."""
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
    if row.pressure is not None and row.geopotential is not None:
        check_placed(row.pressure, row.geopotential)


def _notes(without: int, standard: int, name: str) -> list[str]:
    counted = (
        ("levels without a wind or a height left out", without),
        ("levels placed by pressure in the standard atmosphere", standard),
    )
    return [f"{name}: {what}: {count}" for what, count in counted if count]
