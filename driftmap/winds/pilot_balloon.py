"""A pilot balloon followed with a compass and a protractor: angles at known times.

A balloon that rises at a known speed tells its height by the clock; its elevation and
azimuth then tell where it is, and two places in a row the wind between them. With a second
observer at a known distance the height is measured and the rate of ascent not needed.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from driftmap.air.uncertainty import RATE_ERROR
from driftmap.air.wind import WindLevel
from driftmap.core import units
from driftmap.core.checks import FloatArray, checked
from driftmap.core.errors import PlacedError, at
from driftmap.core.tables import names_of, number_of, remarks_of, rows_of
from driftmap.winds.reading import Reading, Setting, level_toward
from driftmap.winds.text import above_zero, read_time, reader

RATES: Final = (0.5, 10.0)
"""Least and greatest rate of ascent of a balloon that a person can follow [m s⁻¹]."""

COLUMNS: Final = (
    *("time_s", "elevation_deg", "azimuth_deg", "azimuth_magnetic_deg"),
    *("elevation2_deg", "azimuth2_deg", "azimuth2_magnetic_deg"),
)
"""What a record may hold, a column each."""

ANGLE: Final = math.radians(0.7)
"""Error of an angle read with a hand-held compass and protractor [rad]; assumed."""

_APART: Final = 55.0  # s between two places that tell a wind
_LOWEST: Final = math.radians(6.0)  # elevation below which the distance is a guess
_CROSSING: Final = math.radians(12.0)  # least angle at which two lines of sight cross
_TOLD: Final = ("released", "ascent", "balloon", "free lift", "second observer")
_MOST_LIFT: Final = 12.0
"""Free lift over the balloon's own mass: most are let go with 4 to 5; assumed."""

_MOST: Final = 2000


@dataclass(frozen=True, slots=True, eq=False)
class _Places:
    """Where the balloon was, shape (k,) each, with the error of a component [m]."""

    time: FloatArray
    height: FloatArray
    east: FloatArray
    north: FloatArray
    error: FloatArray


def ascent_rate(balloon: ArrayLike, free_lift: ArrayLike) -> FloatArray:
    r"""Return the rate at which a small rubber balloon rises.

    .. math:: w = 72 \left( \frac{l}{L^{2/3}} \right)^{0.63}, \qquad L = l + b

    in metres a minute, with the free lift `l`, the balloon's own mass `b` and their sum in
    grams.

    Parameters
    ----------
    balloon : array_like, shape (...)
        Mass of the balloon [kg].
    free_lift : array_like, shape (...)
        Mass that it just lifts besides itself [kg].

    Returns
    -------
    ndarray, shape (...)
        Rate of ascent [m s⁻¹].

    Raises
    ------
    ValueError
        If a mass is not above 0.

    Notes
    -----
    For balloons of 30 to 100 g near sea level; in the first minutes of a day with thermals
    it rises faster. The formula and its figures are from memory, not re-read.

    References
    ----------
    .. [1] U.S. Weather Bureau, *Instructions for Making Pilot Balloon Observations*,
       Circular O, Aerological Division (from memory).

    Examples
    --------
    A balloon of 30 g that lifts 125 g:

    >>> float(ascent_rate(0.030, 0.125).round(1))
    3.0
    """
    own = 1000.0 * checked("balloon", balloon, above=0)
    lift = 1000.0 * checked("free_lift", free_lift, above=0)
    return np.asarray(72.0 / 60.0 * (lift / (lift + own) ** (2 / 3)) ** 0.63)


def looks_like_balloon(text: str) -> bool:
    """Return whether its first line names an elevation."""
    return "elevation_deg" in names_of(text)


@reader
def read_balloon(text: str, source: str, setting: Setting) -> Reading:
    """Read a record: a level between each two places about a minute apart.

    Rows of ``time_s`` since release, ``elevation_deg``, ``azimuth_deg`` (or
    ``azimuth_magnetic_deg``) toward the balloon. Lines before: ``# released 2026-05-09
    08:10-07:00``; ``# ascent 2.5 m/s``, or ``# balloon 30 g`` and ``# free lift 140 g``;
    or, with columns ``elevation2_deg`` and ``azimuth2_deg``, ``# second observer 400 m toward
    90``. Each level carries its error: of the angles (`ANGLE`, over the time between the
    two places) and of the rate of ascent (`RATE_ERROR`, which scales all alike).
    """
    told = remarks_of(text, _TOLD)
    where, when = told.get("released", ("", ""))
    with at(where):
        released = read_time(when, "released") if when else None
    rows, two = _rows(text, setting), "second observer" in told
    places, about = _places(rows, told)
    winds = _levels(places, source, two=two)
    tops = [0.0, *np.maximum.accumulate([level.height for level in winds])]
    rises = [level.height > top for level, top in zip(winds, tops, strict=False)]
    levels = tuple(itertools.compress(winds, rises))
    lost = [level for level, up in zip(winds, rises, strict=True) if not up]
    if not levels:
        raise ValueError("no two places a minute apart, high enough to tell a distance")
    return Reading(
        source=source,
        kind="aloft",
        levels=levels,
        valid=released,
        away=0.0,
        warned=(
            *_turning_about(places, source),
            *_unheard(rows, places, lost, source, two=two),
        ),
        assumed=(f"{source}: {about}; {len(levels)} winds, each over about a minute",),
    )


_ABOUT: Final = 3.0
"""A balloon seen to turn about by so much from one row to the next, beyond three errors of
its places [m s⁻¹], has angles that no wind fits; assumed."""


def _turning_about(places: _Places, source: str) -> tuple[str, ...]:
    """Doubt angles by which the balloon flies to and fro, as a back bearing makes it."""
    span = np.diff(places.time)
    steps = np.stack([np.diff(places.east), np.diff(places.north)]) / span
    error = np.hypot(places.error[1:], places.error[:-1]) / span
    turned = (steps[:, 1:] * steps[:, :-1]).sum(axis=0) < 0
    leap = np.hypot(*np.diff(steps, axis=1)) - 3 * np.hypot(error[1:], error[:-1])
    rows = np.flatnonzero(turned & (leap > _ABOUT))
    return tuple(
        f"{source}: the balloon is seen to turn about at {places.time[i + 1]:g} s: read its "
        "angles again"
        for i in rows[:1]
    )


def _unheard(
    rows: Mapping[str, FloatArray],
    places: _Places,
    lost: Sequence[WindLevel],
    source: str,
    *,
    two: bool,
) -> Iterator[str]:
    """Doubt what is left out: a balloon of no certain place, as in a strong wind, or sinking.

    Two observers see it along one line where it crosses theirs; only at the end that may be as
    far as a strong wind takes it.
    """
    since = places.time[-1] if two else 0.0
    unseen = ~np.isin(rows["time_s"], places.time)
    times = rows["time_s"][unseen & (rows["time_s"] > since)]
    if times.size:
        low = f"it stands under {math.degrees(_LOWEST):.0f} deg, too low"
        cause = "the lines of sight run too much alike" if two else low
        yield (
            f"{source}: at {times[0]:g} s {cause} to tell a place, which is left out: a strong "
            "wind?"
        )
    if lost:
        most = max(level.speed for level in lost)
        yield (
            f"{source}: winds where the balloon does not rise are left out ({len(lost)}), of up to "
            f"{most:.1f} m/s: read its angles again"
        )


_Told = Mapping[str, tuple[str, str]]
"""What the lines before the rows tell, by their keys, each with its place."""


def _quantity(told: _Told, key: str, dimension: str) -> float:
    where, text = told[key]
    with at(f"{where}, {key}"):
        return above_zero(text, dimension)


def _rows(text: str, setting: Setting) -> dict[str, FloatArray]:
    table = []
    for where, cells in rows_of(text, COLUMNS, _check, 2, _MOST):
        if any([*cells.values()][1:]):  # what was not read yet is passed over
            with at(where):
                table.append([_number(cell, name) for name, cell in cells.items()])
    if len(table) < 2:
        raise ValueError(f"{len(table)} rows with angles; at least 2 are needed")
    columns = dict(zip(names_of(text), np.array(table).T, strict=True))
    for name in [name for name in columns if "magnetic" in name]:
        with at(name):
            turned = math.degrees(setting.true_bearing(0.0))
        columns[name.replace("_magnetic", "")] = columns.pop(name) + turned
    if np.any(np.diff(columns["time_s"]) <= 0) or columns["time_s"][0] < 0:
        raise PlacedError("time_s", "must increase from the release on")
    return columns


def _check(names: list[str]) -> None:
    plain = [name.replace("_magnetic", "") for name in names]
    for name in ("time_s", "elevation_deg", "azimuth_deg"):
        if plain.count(name) != 1:
            raise ValueError(f"must have one column {name}")


def _number(cell: str, name: str) -> float:
    most = 36_000.0 if name == "time_s" else 90.0 if name[:4] == "elev" else 360.0
    return number_of(cell, name, 0.0, most)


def _places(rows: Mapping[str, FloatArray], told: _Told) -> tuple[_Places, str]:
    two = set(COLUMNS[4:6]) <= set(rows)
    if two != ("second observer" in told):
        raise PlacedError(
            "second observer",
            "needs both its columns, elevation2_deg and azimuth2_deg, and its place, "
            "'# second observer 400 m toward 90'",
        )
    if two:
        return _crossed(rows, told)
    rate, how = _rate(told)
    with at("ascent"):
        check_rate(rate)
    return _timed(rows, rate), f"rises at {rate:.2f} m/s, {how}"


def _rate(told: _Told) -> tuple[float, str]:
    """Return the rate of ascent [m s⁻¹], and how it is known."""
    if "ascent" in told:
        if "balloon" in told or "free lift" in told:
            raise PlacedError("ascent", "give it, or balloon and free lift")
        return _quantity(told, "ascent", "speed"), "as told"
    if not {"balloon", "free lift"} <= set(told):
        raise PlacedError(
            "ascent",
            "is not told; add '# ascent 2.5 m/s', or '# balloon 30 g' and "
            "'# free lift 140 g'",
        )
    balloon, lift = (_quantity(told, key, "mass") for key in ("balloon", "free lift"))
    if lift > _MOST_LIFT * balloon:
        raise PlacedError(
            told["free lift"][0],
            f"free lift of {1000 * lift:.4g} g on a balloon of {1000 * balloon:.4g} g; "
            f"accepted is {_MOST_LIFT:g} times its own mass",
        )
    return float(ascent_rate(balloon, lift)), "from its free lift"


def check_rate(rate: float) -> None:
    """Refuse a rate of ascent that no small balloon has."""
    least, most = RATES
    if not least <= rate <= most:
        raise ValueError(
            f"rises at {rate:.2f} m/s; accepted is {least:g} to {most:g} m/s"
        )


def _timed(rows: Mapping[str, FloatArray], rate: float) -> _Places:
    """Place the balloon by the clock."""
    up, way = np.radians(rows["elevation_deg"]), np.radians(rows["azimuth_deg"])
    with np.errstate(divide="ignore"):
        height = rate * rows["time_s"]
        away = height / np.tan(up)
        error = ANGLE * np.hypot(away, height / np.sin(up) ** 2) / math.sqrt(2)
    seen = (up >= _LOWEST) & (height > 0)  # at the release there is nothing to see
    columns = (rows["time_s"], height, away * np.sin(way), away * np.cos(way), error)
    return _from_release(columns, seen)


def _from_release(columns: Sequence[FloatArray], seen: NDArray[np.bool_]) -> _Places:
    """Begin with the release, which is where and when it is known to be."""
    return _Places(*(np.concatenate([[0.0], column[seen]]) for column in columns))


_DIFFER: Final = 0.25
"""Of its height two observers may differ by so much: angles read to 1 deg where their lines
cross at 12 deg make a tenth; assumed."""


def _crossed(rows: Mapping[str, FloatArray], told: _Told) -> tuple[_Places, str]:
    """Place the balloon where two lines of sight cross on the map."""
    with at(told["second observer"][0]):
        base_east, base_north = _base(told["second observer"][1])
    one, two = (np.radians(rows[name]) for name in ("azimuth_deg", "azimuth2_deg"))
    crossing = np.sin(one - two)
    seen = np.abs(crossing) >= math.sin(_CROSSING)
    with np.errstate(divide="ignore", invalid="ignore"):
        away = (base_north * np.sin(two) - base_east * np.cos(two)) / -crossing
    east, north = away * np.sin(one), away * np.cos(one)
    ahead = (east - base_east) * np.sin(two) + (north - base_north) * np.cos(two)
    seen &= (away > 0) & (ahead > 0) & (rows["time_s"] > 0)
    if not np.any(seen):
        raise PlacedError("azimuth2_deg", "the lines of sight never cross")
    far = np.hypot(east - base_east, north - base_north)
    first = away * np.tan(np.radians(rows["elevation_deg"]))
    second = far * np.tan(np.radians(rows["elevation2_deg"]))
    height = (first + second) / 2
    error = ANGLE * np.hypot(away, far) / np.abs(np.where(seen, crossing, 1.0))
    columns = (rows["time_s"], height, east, north, error)
    places = _from_release(columns, seen)
    apart, mean = (
        float(np.mean(each[seen])) for each in (np.abs(first - second), height)
    )
    if apart > _DIFFER * mean:
        odd = f"give heights {apart:.0f} m apart where it is {mean:.0f} m high"
        raise PlacedError("second observer", f"{odd}: read the angles again")
    return places, f"by two observers, whose heights differ by {apart:.0f} m"


def _base(text: str) -> tuple[float, float]:
    found = re.fullmatch(r"(.+?)\s+toward\s+(\d+(?:\.\d*)?)", text, re.IGNORECASE)
    if not found:
        raise ValueError(f"{text[:40]!r}; accepted is such as '400 m toward 90'")
    length, way = units.parse(found[1], "length"), math.radians(float(found[2]))
    if not 20.0 <= length <= 10_000.0:
        raise ValueError(f"{length:g} m; accepted is 20 m to 10 km")
    return length * math.sin(way), length * math.cos(way)


def _levels(places: _Places, source: str, *, two: bool) -> list[WindLevel]:
    """Return the wind between places about a minute apart, each used once."""
    levels: list[WindLevel] = []
    first = 0
    for i in range(1, len(places.time)):
        if places.time[i] - places.time[first] < _APART:
            continue
        span = float(places.time[i] - places.time[first])
        east = float(places.east[i] - places.east[first]) / span
        north = float(places.north[i] - places.north[first]) / span
        error = math.hypot(places.error[i], places.error[first]) / span
        error = math.hypot(error, 0.0 if two else RATE_ERROR * math.hypot(east, north))
        height = float(places.height[i] + places.height[first]) / 2
        with at(f"time_s {places.time[i]:g}"):
            levels.append(level_toward(height, east, north, source, error))
        first = i
    return levels
