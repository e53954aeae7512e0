"""Hours of a season, and how often each wind blows in them."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final, NamedTuple

from driftmap.air.wind import MAST
from driftmap.core.errors import InputError, WindError, at, located, quoted
from driftmap.core.files import bytes_of, decoded
from driftmap.core.tables import number_of, rows_of
from driftmap.planning.layout import Rose, RoseWind
from driftmap.winds.formats import unread_remarks
from driftmap.winds.plain_words import read_words
from driftmap.winds.reading import Setting
from driftmap.winds.text import LONGEST_FILE, NAMES, read_time
from driftmap.winds.unread import check_figure, is_harmless


class HourReading(NamedTuple):
    """One wind of an hour.

    Parameters
    ----------
    way : float or None
        Direction it comes from [deg]; None where it is variable.
    speed : float
        Mean speed [m s⁻¹].
    gust : float
        How far its gusts stand above that [m s⁻¹].
    """

    way: float | None
    speed: float
    gust: float = 0.0


_SPEEDS, _GUSTS = (
    tuple(f"{what}_{unit}" for unit in ("mps", "kt", "mph", "kmh"))
    for what in ("speed", "gust")
)
_MISSING: Final = ("", "na", "nan", "null", "none", "m", "-")
_HIGHEST: Final = 60.0  # m/s near the ground; beyond it a unit or a marker is wrong
_LONGEST: Final = 100 * 8784  # hours; a century
_MOST_ROWS: Final = 6 * _LONGEST


@dataclass(frozen=True, slots=True)
class Hours:
    """Hourly winds.

    Parameters
    ----------
    start : datetime
        The first hour, in UTC.
    readings : tuple of tuple
        For every hour from `start` on, the readings that fall into it; an hour without
        any is not known.
    source : str
        Name of the file.
    held : mapping of datetime to str
        Hours that hold whatever their winds, and why.
    """

    start: datetime
    readings: tuple[tuple[HourReading, ...], ...]
    source: str
    held: Mapping[datetime, str] = field(default_factory=dict)

    @property
    def known(self) -> int:
        """Hours with a reading."""
        return sum(bool(each) for each in self.readings)

    def scaled(self, factor: float) -> Hours:
        """Return the same hours with winds and gusts so many times as strong."""
        stronger = (
            tuple(HourReading(r.way, r.speed * factor, r.gust * factor) for r in each)
            for each in self.readings
        )
        return replace(self, readings=tuple(stronger))

    def times(self) -> Iterator[datetime]:
        """Go through the hours.

        Yields
        ------
        datetime
            The beginning of each, in UTC.
        """
        return (self.start + timedelta(hours=i) for i in range(len(self.readings)))


def read_hours(path: Path | str) -> Hours:
    """Read hourly winds.

    ``path``: a CSV file with a header: ``time_utc`` (ISO 8601), ``from_deg``, and
    ``speed_mps``, ``speed_kt``, ``speed_mph`` or ``speed_kmh``; other columns are
    refused but for figures of temperature, humidity, pressure, rain and the like. Rows in any order. An empty speed is a missing reading; an empty
    direction with a speed is a variable wind; an empty gust where others are told is a reading
    missing.

    Result: every hour from the first to the last; one without a reading is not known.
    Raises `WindError` if the file cannot be used, by its line.
    """
    path = Path(path)
    text = decoded(bytes_of(path, WindError, LONGEST_FILE), path.name, WindError)
    for told in unread_remarks(text, path.name):
        raise WindError(told, "", "take it out, and the hours of which it speaks")
    with located(path.name, "", WindError):
        rows = list(_rows(text))
    named = path.name
    if any(gust is not None for _, _, gust in rows):
        lost = sum(reading is not None and gust is None for _, reading, gust in rows)
        told = f" ({lost:,} readings tell no gust, where others do: not known; write 0 of none)"
        named = f"{named}{told * bool(lost)}, with its gusts"
        rows = [(t, None if gust is None else own, gust) for t, own, gust in rows]
    return hours_of([(t, reading) for t, reading, _ in rows], named)


def hours_of(rows: Sequence[tuple[datetime, HourReading | None]], source: str) -> Hours:
    """Lay out readings by the hour.

    ``rows``: readings with their times, in any order; None where one is missing;
    ``source``: where they came from.

    Result: every hour from the first to the last. Raises `WindError` if there is none,
    or they span too long.
    """
    if not any(reading for _, reading in rows):
        raise WindError(source, "", "holds no wind; give at least one row with speed")
    start = min(time for time, _ in rows).replace(minute=0, second=0, microsecond=0)
    count = int((max(time for time, _ in rows) - start) / timedelta(hours=1)) + 1
    if count > _LONGEST:
        raise WindError(source, "", f"spans {count:,} hours; accepted is a century")
    hours: list[list[HourReading]] = [[] for _ in range(count)]
    for time, reading in rows:
        if reading is not None:
            hours[int((time - start) / timedelta(hours=1))].append(reading)
    return Hours(start, tuple(map(tuple, hours)), source)


def _rows(text: str) -> Iterator[tuple[datetime, HourReading | None, float | None]]:
    """Read each row: its hour, its reading where there is one, and its gust as told."""
    seen: dict[datetime, str] = {}
    for where, cells in rows_of(text, None, _check, 0, _MOST_ROWS):
        with at(where):
            for name in _beside(cells):
                check_figure(cells[name], name)
            told = cells["time_utc"]
            time = read_time(told, "time_utc", UTC).astimezone(UTC)
            if time in seen:
                raise ValueError(f"{told} stands in {seen[time]} already; once each")
            seen[time] = where
            hour = time.replace(minute=0, second=0, microsecond=0)
            gust = _speed(cells, _GUSTS, math.inf)
            reading = _reading(cells, gust or 0.0)
        yield hour, reading, gust


def _check(names: Sequence[str]) -> None:
    speeds = [name for name in names if name in _SPEEDS]
    if "time_utc" not in names or "from_deg" not in names or len(speeds) != 1:
        text = f"columns {', '.join(names)[:120]}; accepted are time_utc, from_deg and "
        raise ValueError(f"{text}one of {', '.join(_SPEEDS)}")
    if len(gusts := [name for name in names if name in _GUSTS]) > 1:
        text = f"columns of gusts {', '.join(gusts)[:120]}; accepted is one of "
        raise ValueError(text + ", ".join(_GUSTS))
    # A letter alone, harmless in a model, may be of a station's wind: d, f, x.
    if odd := [n for n in _beside(names) if len(n) == 1 or not is_harmless(n)]:
        text = f"column {odd[0][:40]!r} is not read and may tell of gusts, sight or storms: "
        raise ValueError(f"{text}take it out, and the hours of which it speaks")


def _beside(names: Iterable[str]) -> list[str]:
    """List the columns that nobody reads."""
    return [n for n in names if n not in {"time_utc", "from_deg", *_SPEEDS, *_GUSTS}]


def _reading(cells: Mapping[str, str], gust: float) -> HourReading | None:
    speed = _speed(cells, _SPEEDS, _HIGHEST)
    if speed is None and gust:
        raise ValueError("tells a gust and no speed")
    if speed is None:
        return None
    above = max(min(gust, _HIGHEST) - speed, 0.0)
    if cells["from_deg"].lower() in _MISSING:
        return HourReading(None, speed, above)
    return HourReading(
        number_of(cells["from_deg"], "from_deg", 0, 360) % 360, speed, above
    )


def _speed(
    cells: Mapping[str, str], names: Collection[str], highest: float
) -> float | None:
    """Read a speed, by whichever of its names stands in the header [m s⁻¹]; None if missing."""
    name = next((name for name in cells if name in names), None)
    if name is None or cells[name].lower() in _MISSING:
        return None
    _, factor = NAMES[name]
    value = number_of(cells[name], name) * factor
    if not 0 <= value <= highest:
        text = f"0 to {highest:g} m/s" if highest < math.inf else "0 or more"
        raise ValueError(f"{name} {cells[name][:40]}; accepted is {text}, or empty")
    return value


_TURN: Final = 22.5  # deg
_STEP: Final = 2.0  # m/s
_MOST: Final = 48


def rose_of(hours: Hours, most: int = _MOST) -> tuple[Rose, list[str]]:
    """Gather hourly winds into a rose.

    Result: winds that weigh as many as they have readings, and what was rounded and left
    out. Raises `ValueError` if no reading has a direction.
    """
    counts: Counter[tuple[float, float]] = Counter()
    dropped = 0
    for way, speed in _blowing(hours):
        # Upward: no wind passes for a lighter one.
        rounded = math.ceil(speed / _STEP - 1e-9) * _STEP
        if way is None and rounded:
            dropped += 1
        else:
            at = round((way or 0.0) / _TURN) * _TURN % 360 if rounded else 0.0
            counts[at, rounded] += 1
    if not counts:
        raise ValueError(f"{hours.source} holds no reading with a direction")
    kept = sorted(counts.items(), key=lambda item: (-item[1], item[0]))[:most]
    share = sum(n for _, n in kept) / (sum(counts.values()) + dropped)
    rose = tuple(RoseWind(*wind, float(n)) for wind, n in sorted(kept))
    gusty = any(reading.gust for each in hours.readings for reading in each)
    own = " as winds of their own" * gusty
    return rose, [
        f"winds of {hours.source}{own} rounded to {_TURN:g}° and up to {_STEP:g} m/s: the "
        f"{len(kept)} most frequent, {share:.1%} of all readings; {dropped} variable "
        "winds left out"
    ]


def _blowing(hours: Hours) -> Iterator[tuple[float | None, float]]:
    """Go through the winds, each gust as one of its own that blows all along."""
    for way, speed, gust in (reading for each in hours.readings for reading in each):
        yield way, speed
        if gust:
            yield way, speed + gust


def even_rose() -> tuple[Rose, list[str]]:
    """Give winds where nobody tells any, and say so."""
    even = (RoseWind(45.0 * i, v, 1.0) for v in (3.0, 6.0) for i in range(8))
    return tuple(even), [
        "no winds given: eight directions at 3 and at 6 m/s, at 10 m, weigh the same"
    ]


def spoken_rose(texts: Iterable[str]) -> Rose:
    """Read winds in words at 10 m, each of the same weight."""
    return tuple(map(_spoken, texts))


def _spoken(text: str) -> RoseWind:
    whole = text if " at " in text else f"{text} at {MAST:g} m"
    reading = read_words(whole, Setting(0.0))
    level = reading.levels[0]
    timed = not any("no time told" in note for note in reading.assumed)
    # Nothing of a wind that scores is dropped in silence: gusts least of all.
    more = level.gust or level.error or reading.terrain or reading.warned
    more = more or timed or reading.forecast or level.height != MAST
    if more or level.direction is None:
        message = (
            f"{quoted(whole)}; accepted: one speed from one direction, at {MAST:g} m, "
            "without gusts, ground or time"
        )
        raise InputError("--wind", "", message)
    return RoseWind(math.degrees(level.direction), level.speed, 1.0)


ALOFT_NOTES: Final = (
    "each sounding or forecast flown as it is, as if taken over the site at the time of the "
    "flight, its wind near the ground as if read at the field; hours without one are not counted",
    "intervals: days drawn in place of soundings; spells of weather outlast a day, so "
    "they are narrow; not error of the physics, nor of the way to the station",
)
"""What a season of soundings rests on."""


def hourly_notes(source: str, height: float) -> list[str]:
    """Say what a season of hourly winds rests on."""
    return [
        f"winds of {source} at {height:g} m, the same over the site",
        "winds put into bins of 10°, 0.5 m/s and 2 m/s of gusts above the mean, rounded "
        "up; each bin judged as a whole, no milder than any wind in it",
        "winds aloft and rising air as usual by the lowest sun of the hours of light that "
        "have a wind, by a low one of an evening, and by the least and the most that a higher "
        "one stirs the air: each bin has its worst word by these",
        "an hour that is dark in part holds, unless it was answered that it is meant so",
        "intervals: days drawn in place of hours; spells of weather outlast a day, so they "
        "are narrow; not error of the winds, of the law aloft or of the physics",
    ]
