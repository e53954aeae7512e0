"""A pilot balloon followed with a compass and a protractor: angles at known times.

A balloon that rises at a known speed tells its height by the clock; its elevation and
azimuth then tell where it is, and two places in a row the wind between them. With a second
observer at a known distance the height is measured and the rate of ascent not needed.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray

from driftmap import units
from driftmap.air.wind import WindLevel, direction_and_speed
from driftmap.checks import FloatArray
from driftmap.errors import WindError
from driftmap.formulas.balloon import ascent_rate
from driftmap.winds.reading import Reading, Setting, check_speed, parse_time
from driftmap.winds.text import cells_of, idle, mark_of, nearest_name, number_of

__all__ = ["RATE_ERROR", "looks_like_balloon", "read_balloon"]

ANGLE: Final = math.radians(0.7)
"""Error of an angle read with a hand-held compass and protractor [rad]; assumed."""

RATE_ERROR: Final = 0.12
"""Part by which a balloon's rate of ascent is off, from turbulence and leaks; assumed."""

_APART: Final = 55.0  # s between two places that tell a wind
_LOWEST: Final = math.radians(6.0)  # elevation below which the distance is a guess
_CROSSING: Final = math.radians(12.0)  # least angle at which two lines of sight cross
_COLUMNS: Final = (
    *("time_s", "elevation_deg", "azimuth_deg", "azimuth_magnetic_deg"),
    *("elevation2_deg", "azimuth2_deg", "azimuth2_magnetic_deg"),
)
_TOLD: Final = re.compile(
    r"\s*#\s*(released|ascent|balloon|free lift|second observer)\s*:?\s+(.+?)\s*$",
    re.IGNORECASE,
)
_MOST: Final = 2000


@dataclass(frozen=True, slots=True, eq=False)
class _Places:
    """Where the balloon was, shape (k,) each, with the error of a component [m]."""

    time: FloatArray
    height: FloatArray
    east: FloatArray
    north: FloatArray
    error: FloatArray


def looks_like_balloon(text: str) -> bool:
    """Tell whether its first line names an elevation."""
    first = next((line for line in text.splitlines() if not idle(line)), "")
    return "elevation_deg" in [c.lower() for c in cells_of(first, mark_of(first))]


def read_balloon(text: str, source: str, setting: Setting) -> Reading:
    """Read a record.

    Parameters
    ----------
    text : str
        Header and rows: ``time_s`` since release, ``elevation_deg``, ``azimuth_deg`` (or
        ``azimuth_magnetic_deg``) toward the balloon. Lines before it: ``# released
        2026-05-09 08:10-07:00``; ``# ascent 2.5 m/s``, or ``# balloon 30 g`` and ``# free
        lift 140 g``; or, with columns ``elevation2_deg`` and ``azimuth2_deg``, ``# second
        observer 400 m toward 90``.
    source : str
        Name of the file.
    setting : Setting
        Time of the flight, declination.

    Returns
    -------
    Reading
        A level at each place between two others about a minute apart.

    Raises
    ------
    WindError
        If a line cannot be read, or the rate of ascent is told by nothing.

    Notes
    -----
    Each level carries its error: of the angles (`ANGLE`, over the time between the two
    places) and of the rate of ascent (`RATE_ERROR`, which scales every distance alike).
    """
    told = _told(text, source)
    rows = _rows(text, source, setting)
    places, about = _places(rows, told, source)
    levels = tuple(_levels(places, source, two="second observer" in told))
    if not levels:
        raise WindError(
            source, "", "no two places a minute apart, high enough to tell a distance"
        )
    return Reading(
        source=source,
        kind="aloft",
        levels=levels,
        valid=_released(told, source),
        assumed=(f"{source}: {about}; {len(levels)} winds, each over about a minute",),
    )


def _told(text: str, source: str) -> dict[str, str]:
    told: dict[str, str] = {}
    for n, line in enumerate(text.splitlines(), 1):
        found = _TOLD.match(line)
        if found:
            what = found[1].lower()
            if what in told:
                raise WindError(source, f"line {n}", f"'# {what}' stands twice")
            told[what] = found[2]
    return told


def _released(told: Mapping[str, str], source: str) -> datetime | None:
    if "released" not in told:
        return None
    try:
        return parse_time(told["released"])
    except ValueError:
        raise WindError(
            source,
            "released",
            f"{told['released'][:40]!r}; accepted is such as 2026-05-09 08:10-07:00",
        ) from None


def _quantity(told: Mapping[str, str], key: str, dimension: str, source: str) -> float:
    try:
        value = units.parse(told[key], dimension)
    except ValueError as problem:
        raise WindError(source, key, str(problem)) from None
    if not value > 0:
        raise WindError(source, key, f"{told[key][:40]!r} must be above 0")
    return value


def _rows(text: str, source: str, setting: Setting) -> dict[str, FloatArray]:
    lines = [(n, line) for n, line in enumerate(text.splitlines(), 1) if not idle(line)]
    if not lines:
        raise WindError(source, "", "is empty; give a header and rows")
    (n, head), body = lines[0], lines[1:]
    mark = mark_of(head)
    body = [(n, line) for n, line in body if any(cells_of(line, mark)[1:])]
    names = [name.lower() for name in cells_of(head, mark)]
    for name in names:
        if name not in _COLUMNS:
            raise WindError(
                source, f"line {n}", f"unknown column {nearest_name(name, _COLUMNS)}"
            )
    if not 1 < len(body) <= _MOST:
        raise WindError(source, "", f"{len(body)} rows; accepted are 2 to {_MOST}")
    table = [
        _numbers(cells_of(line, mark), names, source, f"line {n}") for n, line in body
    ]
    columns = dict(zip(names, np.array(table).T, strict=True))
    for name in [name for name in columns if "magnetic" in name]:
        turned = setting.true_bearing(0.0, source, name)
        plain = name.replace("_magnetic", "")
        columns[plain] = columns.pop(name) + math.degrees(turned)
    for name in ("time_s", "elevation_deg", "azimuth_deg"):
        if name not in columns:
            raise WindError(source, f"line {n}", f"no column {name}")
    if np.any(np.diff(columns["time_s"]) <= 0) or columns["time_s"][0] < 0:
        raise WindError(source, "time_s", "must increase from the release on")
    return columns


def _numbers(
    cells: list[str], names: list[str], source: str, where: str
) -> list[float]:
    if len(cells) != len(names):
        raise WindError(
            source, where, f"{len(cells)} cells; the header names {len(names)}"
        )
    values = []
    for name, cell in zip(names, cells, strict=True):
        low, high = (0.0, 90.0) if name.startswith("elev") else (0.0, 360.0)
        low, high = (0.0, 36_000.0) if name == "time_s" else (low, high)
        try:
            value = number_of(cell)
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            raise WindError(
                source, where, f"{name} {cell[:40]!r}; accepted is {low:g} to {high:g}"
            )
        values.append(value)
    return values


def _places(
    rows: Mapping[str, FloatArray], told: Mapping[str, str], source: str
) -> tuple[_Places, str]:
    two = {"elevation2_deg", "azimuth2_deg"} <= set(rows)
    if two != ("second observer" in told):
        raise WindError(
            source,
            "second observer",
            "needs both its columns, elevation2_deg and azimuth2_deg, and its place, "
            "'# second observer 400 m toward 90'",
        )
    if two:
        return _crossed(rows, told, source)
    if "ascent" in told:
        rate, how = _quantity(told, "ascent", "speed", source), "as told"
        if "balloon" in told or "free lift" in told:
            raise WindError(source, "ascent", "give it, or balloon and free lift")
    elif {"balloon", "free lift"} <= set(told):
        balloon, lift = (
            _quantity(told, key, "mass", source) for key in ("balloon", "free lift")
        )
        rate, how = float(ascent_rate(balloon, lift)), "from its free lift"
    else:
        raise WindError(
            source,
            "ascent",
            "is not told; add '# ascent 2.5 m/s', or '# balloon 30 g' and "
            "'# free lift 140 g'",
        )
    if not 0.5 <= rate <= 10.0:
        raise WindError(source, "ascent", f"{rate:.2f} m/s; accepted is 0.5 to 10 m/s")
    return _timed(rows, rate), f"rises at {rate:.2f} m/s, {how}"


def _timed(rows: Mapping[str, FloatArray], rate: float) -> _Places:
    """Place the balloon by the clock."""
    up, way = np.radians(rows["elevation_deg"]), np.radians(rows["azimuth_deg"])
    with np.errstate(divide="ignore"):
        height = rate * rows["time_s"]
        away = height / np.tan(up)
        error = ANGLE * np.hypot(away, height / np.sin(up) ** 2) / math.sqrt(2)
    seen = (up >= _LOWEST) & (height > 0)  # at the release there is nothing to see
    columns = (
        rows["time_s"],
        height,
        away * np.sin(way),
        away * np.cos(way),
        error,
    )
    return _from_release(columns, seen)


def _from_release(columns: Sequence[FloatArray], seen: NDArray[np.bool_]) -> _Places:
    """Begin with the release, which is where and when it is known to be."""
    return _Places(*(np.concatenate([[0.0], column[seen]]) for column in columns))


def _crossed(
    rows: Mapping[str, FloatArray], told: Mapping[str, str], source: str
) -> tuple[_Places, str]:
    """Place the balloon where two lines of sight cross on the map."""
    base_east, base_north = _base(told["second observer"], source)
    one, two = (np.radians(rows[name]) for name in ("azimuth_deg", "azimuth2_deg"))
    crossing = np.sin(one - two)
    seen = np.abs(crossing) >= math.sin(_CROSSING)
    with np.errstate(divide="ignore", invalid="ignore"):
        away = (base_north * np.sin(two) - base_east * np.cos(two)) / -crossing
    east, north = away * np.sin(one), away * np.cos(one)
    ahead = (east - base_east) * np.sin(two) + (north - base_north) * np.cos(two)
    seen &= (away > 0) & (ahead > 0) & (rows["time_s"] > 0)
    if not np.any(seen):
        raise WindError(source, "azimuth2_deg", "the lines of sight never cross")
    far = np.hypot(east - base_east, north - base_north)
    first = away * np.tan(np.radians(rows["elevation_deg"]))
    second = far * np.tan(np.radians(rows["elevation2_deg"]))
    height = (first + second) / 2
    error = ANGLE * np.hypot(away, far) / np.abs(np.where(seen, crossing, 1.0))
    columns = (rows["time_s"], height, east, north, error)
    places = _from_release(columns, seen)
    apart = float(np.mean(np.abs(first - second)[seen]))
    return places, f"by two observers, whose heights differ by {apart:.0f} m"


def _base(text: str, source: str) -> tuple[float, float]:
    found = re.fullmatch(r"(.+?)\s+toward\s+(\d+(?:\.\d*)?)", text, re.IGNORECASE)
    try:
        if not found:
            raise ValueError(f"{text[:40]!r}; accepted is such as '400 m toward 90'")
        length, way = units.parse(found[1], "length"), math.radians(float(found[2]))
        if not 20.0 <= length <= 10_000.0:
            raise ValueError(f"{length:g} m; accepted is 20 m to 10 km")
    except ValueError as problem:
        raise WindError(source, "second observer", str(problem)) from None
    return length * math.sin(way), length * math.cos(way)


def _levels(places: _Places, source: str, *, two: bool) -> list[WindLevel]:
    """Give the wind between places about a minute apart, each used once."""
    levels: list[WindLevel] = []
    first = 0
    for i in range(1, len(places.time)):
        if places.time[i] - places.time[first] < _APART:
            continue
        span = float(places.time[i] - places.time[first])
        east = float(places.east[i] - places.east[first]) / span
        north = float(places.north[i] - places.north[first]) / span
        way, speed = (float(v) for v in direction_and_speed(east, north))
        check_speed(speed, source, f"time_s {places.time[i]:g}")
        error = math.hypot(places.error[i], places.error[first]) / span
        error = math.hypot(error, 0.0 if two else RATE_ERROR * speed)
        height = float(places.height[i] + places.height[first]) / 2
        if height > (levels[-1].height if levels else 0.0):
            levels.append(WindLevel(height, way, speed, None, source, error=error))
        first = i
    return levels
