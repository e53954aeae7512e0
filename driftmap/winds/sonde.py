"""What soundings and other layers share: which report of a file, which levels, how high."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from driftmap.air.atmosphere import (
    EARTH_RADIUS,
    GAS_CONSTANT,
    LAPSE_RATE,
    SEA_LEVEL_PRESSURE,
    SEA_LEVEL_TEMPERATURE,
    TROPOPAUSE,
)
from driftmap.air.wind import WindLevel
from driftmap.core.errors import PlacedError
from driftmap.core.units import STANDARD_GRAVITY
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
    "altitude_of",
    "choose_station",
    "choose_time",
    "fill_heights",
    "geopotential_of",
    "laid_out",
    "pressure_height",
    "sounding",
    "thickness",
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


_EXPONENT: Final = GAS_CONSTANT * LAPSE_RATE / STANDARD_GRAVITY
_COLD: Final = (
    SEA_LEVEL_TEMPERATURE - LAPSE_RATE * TROPOPAUSE
)  # K, above the tropopause
_THIN: Final = SEA_LEVEL_PRESSURE * (_COLD / SEA_LEVEL_TEMPERATURE) ** (1 / _EXPONENT)


def altitude_of(geopotential: float) -> float:
    """Turn a geopotential height into an altitude [m] (US76, ``z = r H / (r - H)``)."""
    return EARTH_RADIUS * geopotential / (EARTH_RADIUS - geopotential)


def geopotential_of(altitude: float) -> float:
    """Turn an altitude into a geopotential height [m] (US76, ``H = r z / (r + z)``)."""
    return EARTH_RADIUS * altitude / (EARTH_RADIUS + altitude)


def pressure_height(pressure: float) -> float:
    """Give the geopotential height of a pressure [Pa] in the standard atmosphere [m].

    US76, solved for height, in its two lowest layers.

    Examples
    --------
    >>> round(pressure_height(95_000.0), 2)
    540.34
    """
    if pressure >= _THIN:
        fall = 1 - math.pow(pressure / SEA_LEVEL_PRESSURE, _EXPONENT)
        return SEA_LEVEL_TEMPERATURE / LAPSE_RATE * fall
    return TROPOPAUSE + thickness(_THIN, pressure, _COLD)


def thickness(below: float, above: float, mean_temperature: float) -> float:
    r"""Give the thickness of the layer between two pressures [m], geopotential.

    .. math:: \Delta H = (R T / g_0) \ln(p_1 / p_2)

    Notes
    -----
    The hypsometric equation (textbook, from memory).

    Examples
    --------
    >>> round(thickness(100_000.0, 50_000.0, 273.15))
    5542
    """
    scale = GAS_CONSTANT * mean_temperature / STANDARD_GRAVITY
    return scale * math.log(below / above)


def fill_heights(
    pressures: Sequence[float | None],
    heights: Sequence[float | None],
    temperatures: Sequence[float | None],
) -> tuple[list[float | None], list[bool]]:
    """Find the geopotential heights [m] of levels that tell only their pressure [Pa].

    As told; or by the hypsometric equation from the level nearest in pressure whose height
    is told; or, where none is told, that of the standard atmosphere. None where there is no
    pressure either. The second list says where the standard atmosphere served, for height
    or for temperature [K].
    """
    anchors = [
        (p, h, t)
        for p, h, t in zip(pressures, heights, temperatures, strict=True)
        if p is not None and h is not None
    ]
    found: list[float | None] = []
    standard: list[bool] = []
    for p, h, t in zip(pressures, heights, temperatures, strict=True):
        known = h is not None or p is None
        value, assumed = (h, False) if known else _height(p or 0.0, t, anchors)
        found.append(value)
        standard.append(assumed)
    return found, standard


def _height(
    pressure: float,
    temperature: float | None,
    anchors: list[tuple[float, float, float | None]],
) -> tuple[float, bool]:
    if not anchors:
        return pressure_height(pressure), True
    foot, height, foot_temperature = min(
        anchors, key=lambda anchor: abs(math.log(anchor[0] / pressure))
    )
    told = [t for t in (temperature, foot_temperature) if t is not None]
    if not told:
        return height + pressure_height(pressure) - pressure_height(foot), True
    return height + thickness(foot, pressure, sum(told) / len(told)), False


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
