"""Times of reports: which day is meant, and how old a report is at the flight."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Final

from driftmap.errors import WindError, quoted
from driftmap.winds.reading import Reading, Setting

__all__ = [
    "OLDEST",
    "SLIP",
    "age_of",
    "check_seen",
    "lead_of",
    "nearest_day",
    "parse_time",
    "show_time",
]

OLDEST: Final = 24.0
"""A report further from the flight than this is of another day, and refused [h]."""

_YEARS: Final = (1900, 2200)  # no wind of use is older, and no clock as wrong

SLIP: Final = timedelta(minutes=10)
"""How far two clocks may differ before a wind counts as one of the future; assumed."""


def show_time(time: datetime) -> str:
    """Write a time as reports do.

    Parameters
    ----------
    time : datetime
        With its time zone.

    Returns
    -------
    str
        Date, hour and minute in UTC.
    """
    return f"{time.astimezone(UTC):%Y-%m-%d %H:%M}Z"


def parse_time(
    text: str, *, zone: tzinfo | None = None, local: bool = False
) -> datetime:
    """Read a time in the form of ISO 8601.

    Parameters
    ----------
    text : str
        Date, time and zone: ``2026-05-09T18:00Z``, ``2026-05-09 11:00 -07:00``.
    zone : tzinfo, optional
        Zone of a time that names none.
    local : bool
        Whether a time that names none is one of this computer's clock.

    Returns
    -------
    datetime
        In the zone that is told.

    Raises
    ------
    ValueError
        If it is not such a time, or has no zone.
    """
    time = datetime.fromisoformat(re.sub(r"\s+(?=[-+Zz])", "", text.strip()))
    if not _YEARS[0] <= time.year <= _YEARS[1]:
        raise ValueError(f"year {time.year}; accepted is {_YEARS[0]} to {_YEARS[1]}")
    if time.tzinfo is not None:
        return time
    if zone is None and not local:
        raise ValueError(f"{quoted(text)} has no time zone; add Z or an offset")
    return time.replace(tzinfo=zone) if zone is not None else time.astimezone()


def nearest_day(day: int, hour: int, minute: int, when: datetime) -> datetime:
    """Find the date that a day of the month stands for.

    Parameters
    ----------
    day, hour, minute : int
        As coded, UTC.
    when : datetime
        The time it must be near to.

    Returns
    -------
    datetime
        The date nearest to it with that day.

    Raises
    ------
    ValueError
        If no month near the flight has such a day and time.
    """
    if not (1 <= day <= 31 and 0 <= hour <= 24 and 0 <= minute <= 59):
        raise ValueError(f"day {day:02d}, {hour:02d}:{minute:02d} is no time")
    near = [
        date + timedelta(hours=hour, minutes=minute)
        for back in range(-32, 33)
        if (date := _midnight(when) + timedelta(days=back)).day == day
    ]
    if not near:
        raise ValueError(f"no month near {show_time(when)} has a day {day:02d}")
    return min(near, key=lambda time: abs(time - when))


def _midnight(when: datetime) -> datetime:
    return when.astimezone(UTC).replace(hour=0, minute=0, second=0, microsecond=0)


def check_seen(reading: Reading, setting: Setting) -> Reading:
    """Refuse a wind that cannot have been measured yet.

    Parameters
    ----------
    reading : Reading
        The report.
    setting : Setting
        Time of the flight and the present.

    Returns
    -------
    Reading
        The same report.

    Raises
    ------
    WindError
        If it was measured, or the data of a forecast were, after the flight or the
        present: its day, its zone or a clock is wrong.
    """
    time = reading.based_on if reading.forecast else reading.valid
    if time is None or time - setting.seen_by <= SLIP:
        return reading
    late = setting.when <= setting.now
    hours = (time - setting.seen_by) / timedelta(hours=1)
    raise WindError(
        reading.source,
        "",
        f"{'rests on data' if reading.forecast else 'is a wind'} of {show_time(time)}, "
        f"{hours:.1f} h after {'the flight' if late else 'the present'} "
        f"({show_time(setting.seen_by)}); check the day, the zone and --when",
    )


def age_of(reading: Reading, when: datetime | None) -> float | None:
    """Give the hours between a report and the flight.

    Parameters
    ----------
    reading : Reading
        The report.
    when : datetime or None
        Time of the flight.

    Returns
    -------
    float or None
        Hours [h]: from the time it was measured, or by which the flight lies outside
        the hours a forecast is for; None when either time is not known.

    Raises
    ------
    WindError
        If the report is of another day.
    """
    if reading.age is not None:
        age = reading.age
    elif when is None or (reading.valid is None and reading.window is None):
        return None
    elif reading.window is not None:
        start, end = reading.window
        age = max((start - when), (when - end), timedelta(0)) / timedelta(hours=1)
    else:
        assert reading.valid is not None
        age = abs(when - reading.valid) / timedelta(hours=1)
    if age > OLDEST:
        raise WindError(
            reading.source,
            "",
            f"is {age:.0f} h from the flight's time; accepted is {OLDEST:.0f} h: take a "
            "later one, or give the time of the flight with --when",
        )
    return age


def lead_of(reading: Reading, when: datetime | None) -> float | None:
    """Give the hours between the data of a forecast and the flight.

    Parameters
    ----------
    reading : Reading
        The forecast.
    when : datetime or None
        Time of the flight; the time it is valid for stands in.

    Returns
    -------
    float or None
        Hours [h], never below 0; None when not known.
    """
    end = when or reading.valid
    if reading.based_on is None or end is None:
        return None
    return max(0.0, (end - reading.based_on) / timedelta(hours=1))
