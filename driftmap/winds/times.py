"""Times of reports: which day is meant, and how old a report is at the flight."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Final

from driftmap.errors import WindError
from driftmap.winds.reading import Reading

__all__ = ["OLDEST", "age_of", "lead_of", "nearest_day", "show_time"]

OLDEST: Final = 24.0
"""A report further from the flight than this is of another day, and refused [h]."""


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


def nearest_day(
    day: int, hour: int, minute: int, when: datetime | None
) -> datetime | None:
    """Find the date that a day of the month stands for.

    Parameters
    ----------
    day, hour, minute : int
        As coded, UTC.
    when : datetime or None
        Time of the flight.

    Returns
    -------
    datetime or None
        The date nearest to the flight with that day; None when the time of the flight
        is not known.

    Raises
    ------
    ValueError
        If no month near the flight has such a day and time.
    """
    if not (1 <= day <= 31 and 0 <= hour <= 24 and 0 <= minute <= 59):
        raise ValueError(f"day {day:02d}, {hour:02d}:{minute:02d} is no time")
    if when is None:
        return None
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
            f"is {age:.0f} h from the flight's time; accepted is {OLDEST:.0f} h",
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
