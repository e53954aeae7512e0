"""What all soundings share: levels of pressure, height, temperature and wind."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from driftmap.air.wind import WindLevel
from driftmap.errors import WindError
from driftmap.winds.choice import FAR_ABOVE, NEAR, Placed, above_ground, without_doubles
from driftmap.winds.pressure import altitude_of, fill_heights
from driftmap.winds.reading import (
    Reading,
    Setting,
    check_direction,
    check_speed,
    ordered,
)

__all__ = ["SondeRow", "sounding"]

_DIRECTION_ERROR: Final = math.radians(5.0) / math.sqrt(12)
"""Soundings round direction to 5 degrees (WMO-No. 8, ch. 13) [rad]."""


_FAR_PRESSURE: Final = 40_000.0  # Pa, that of 7.2 km in the standard atmosphere


@dataclass(frozen=True, slots=True)
class SondeRow:
    """One level as told; None for what is not.

    Parameters
    ----------
    where : str
        Line in the file.
    pressure : float or None
        Pressure [Pa].
    geopotential : float or None
        Geopotential height above mean sea level [m].
    temperature : float or None
        Temperature [K].
    direction : float or None
        Direction the wind comes from, true [deg].
    speed : float or None
        Wind speed [m s⁻¹].
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
    source: str,
    valid: datetime | None,
    setting: Setting,
    assumed: tuple[str, ...] = (),
) -> Reading:
    """Make a reading from the levels of a sounding.

    Parameters
    ----------
    rows : sequence of SondeRow
        Levels in any order.
    name : str
        Name of the sounding, for people.
    source : str
        Name of the file, for messages.
    valid : datetime or None
        Time of the sounding.
    setting : Setting
        Altitude of the site.
    assumed : tuple of str
        What was assumed so far.

    Returns
    -------
    Reading
        Levels that have a wind and lie above the site.

    Raises
    ------
    WindError
        If a value is out of range, or two levels differ at one height, or none is left.
    """
    sane, odd = _sane(rows, name, source, setting)
    levels, standard = _levels(sane, name, setting)
    clear, foot = above_ground(levels, name, setting)
    if not clear:
        raise WindError(
            source, name, f"no level with a wind above the site; {len(levels)} below it"
        )
    single, doubled = without_doubles(clear, name)
    return Reading(
        source=name,
        kind="aloft",
        levels=ordered(single, source, repeats=True),
        valid=valid,
        direction_error=_DIRECTION_ERROR,
        from_ground=min(level.height for _, level in levels) >= -NEAR,
        assumed=(
            *assumed,
            *_notes(len(sane) - len(levels), standard, name),
            *odd,
            *foot,
            *doubled,
        ),
    )


def _sane(
    rows: Sequence[SondeRow], name: str, source: str, setting: Setting
) -> tuple[list[SondeRow], list[str]]:
    """Leave out rows that cannot be right, where no flight goes or no wind is told."""
    sane, odd = [], []
    for row in rows:
        try:
            _check(row, source)
        except WindError as problem:
            if not _far(row, setting) and None not in {row.speed, row.direction}:
                raise
            odd.append(f"{name}: {problem.where} left out: {problem.problem}")
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
        (row.where, _level(row, height, name, setting))
        for row, height in zip(rows, heights, strict=True)
        if height is not None and row.speed is not None and row.direction is not None
    ]
    return levels, sum(standard)


def _check(row: SondeRow, source: str) -> None:
    if row.direction is not None:
        check_direction(row.direction, source, row.where)
    if row.speed is not None:
        check_speed(row.speed, source, row.where)
    ranges = (
        ("pressure", row.pressure, 10.0, 110_000.0, "Pa"),
        ("height", row.geopotential, -1000.0, 60_000.0, "m"),
        ("temperature", row.temperature, 150.0, 340.0, "K"),
    )
    for what, value, low, high, unit in ranges:
        if value is not None and not low <= value <= high:
            raise WindError(
                source,
                row.where,
                f"{what} {value:.5g} {unit}; accepted is {low:g} to {high:g}",
            )


def _level(
    row: SondeRow, height: float | None, name: str, setting: Setting
) -> WindLevel:
    return WindLevel(
        height=altitude_of(height or 0.0) - setting.site_altitude,
        direction=math.radians(row.direction or 0.0),
        speed=row.speed or 0.0,
        gust=None,
        source=name,
        temperature=row.temperature,
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
