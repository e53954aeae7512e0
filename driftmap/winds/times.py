"""Times as reports and people write them, and the present."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Final

from driftmap.core.checks import zoned
from driftmap.core.errors import InputError, quoted

_YEARS: Final = (1900, 2200)  # no wind of use is older, and no clock as wrong


def present() -> datetime:
    """Return the present, in the zone of this computer's clock: pages tell it so."""
    return datetime.now(UTC).astimezone()


def show_time(time: datetime) -> str:
    """Write a time as reports do: date, hour and minute in UTC."""
    return f"{time.astimezone(UTC):%Y-%m-%d %H:%M}Z"


def parse_time(
    text: str, *, zone: tzinfo | None = None, local: bool = False
) -> datetime:
    """Read a time in the form of ISO 8601, such as ``2026-05-09 11:00 -07:00``.

    One that names no zone is of `zone`, or of this computer if `local`, or refused; so is
    an hour that the computer's clock skips or shows twice.
    """
    time = zoned(datetime.fromisoformat(re.sub(r"\s+(?=[-+Zz])", "", text.strip())))
    if not _YEARS[0] <= time.year <= _YEARS[1]:
        raise ValueError(f"year {time.year}; accepted is {_YEARS[0]} to {_YEARS[1]}")
    if time.tzinfo is not None:
        return time
    if zone is None and not local:
        raise ValueError(f"{quoted(text)} has no time zone; add Z or an offset")
    if zone is not None:
        return time.replace(tzinfo=zone)
    # By the clock before a change and by that after it: an hour may be skipped or come twice.
    before, after = (time.replace(fold=fold).astimezone() for fold in (0, 1))
    if before != after:
        message = (
            "comes twice, or never, as this computer's clock is changed that day; "
        )
        raise InputError(quoted(text), "", message + "add an offset such as -07:00")
    return before


def clock_time(text: str, now: datetime, zone: tzinfo | None = None) -> datetime:
    """Read a time as people type it: of today, ``14:30``, ``18:30Z``, or with its day.

    One that names no zone is of `zone`, or of this computer; today is the day there at `now`.
    """
    clock = re.fullmatch(
        r"\s*(\d{1,2}):(\d\d)\s*(Z|[-+]\d\d:?\d\d)?\s*", text, re.IGNORECASE
    )
    if clock:
        named = clock[3] and datetime.fromisoformat(f"{now:%Y-%m-%d}T00{clock[3]}")
        day = now.astimezone(named.tzinfo if named else zone).date()
        text = f"{day}T{int(clock[1]):02d}:{clock[2]}{clock[3] or ''}"
    elif not re.match(r"\s*\d{4}-\d\d-\d\d[T ]\d", text):
        raise ValueError(f"{quoted(text)} has no time of day")
    return parse_time(text, zone=zone, local=True)


def check_zone(zone: tzinfo | None, seen: datetime) -> None:
    """Refuse a time of day that names no zone where nobody can tell which was meant.

    A flight's time in UTC does not say that the field's clocks show UTC.
    """
    own = seen.astimezone().utcoffset()
    if zone is not None and seen.astimezone(zone).utcoffset() == timedelta(0) != own:
        raise ValueError(
            "names no zone, and --when is in UTC while this computer's clock is not; "
            "add Z or an offset such as -07:00"
        )


def nearest_day(coded: str, when: datetime) -> datetime:
    """Find the date nearest to `when` of a day, hour and minute in UTC: ``DDHHMM`` or ``DDHH``."""
    day, hour, minute = int(coded[:2]), int(coded[2:4]), int(coded[4:] or 0)
    if not (1 <= day <= 31 and 0 <= hour <= 24 and 0 <= minute <= 59):
        raise ValueError(f"day {day:02d}, {hour:02d}:{minute:02d} is no time")
    midnight = when.astimezone(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
    near = [
        date + timedelta(hours=hour, minutes=minute)
        for back in range(-32, 33)
        if (date := midnight + timedelta(days=back)).day == day
    ]
    if not near:
        raise ValueError(f"no month near {show_time(when)} has a day {day:02d}")
    return min(near, key=lambda time: abs(time - when))
