"""The time of a flight, as it is typed and shown back."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Final

from driftmap.core.errors import InputError
from driftmap.winds.times import check_zone, clock_time, show_time

_PAST: Final = timedelta(hours=1)
"""A time of day given alone is refused when it is longer ago than this: another day is
more likely to be meant; assumed."""


def show_flight(when: datetime) -> str:
    """Write a time of flight with its day, its zone and in UTC."""
    offset = f"{when:%z}" or "+0000"
    return f"{when:%a %Y-%m-%d %H:%M} UTC{offset[:3]}:{offset[3:5]} ({show_time(when)})"


def flight_time(
    text: str,
    now: datetime | None = None,
    *,
    option: str = "--when",
    zone: tzinfo | None = None,
) -> datetime:
    """Read the time of a flight, in the zone that was meant.

    ``14:30`` is today by this computer's clock (or in ``zone``), ``18:30Z`` today in UTC; a
    time of day alone that is over an hour ago is refused: the day is then asked for.

    >>> noon = datetime(2026, 5, 9, 12, tzinfo=UTC)
    >>> flight_time("18:30Z", noon).isoformat()
    '2026-05-09T18:30:00+00:00'
    """
    now = now or datetime.now(UTC)
    try:
        time = clock_time(text, now, zone)
    except (ValueError, OverflowError):
        message = f"{text[:40]!r}; accepted is 14:30, 18:30Z or 2026-05-09T14:30-07:00"
        raise InputError(option, "", message) from None
    if not re.search(r"(?:Z|[-+]\d\d:?\d\d)\s*$", text, re.IGNORECASE):
        try:
            check_zone(zone, now)
        except ValueError as problem:
            raise InputError(option, "", f"{text[:40]!r} {problem}") from None
    bare = not re.match(r"\s*\d{4}-", text)
    if bare and option == "--when" and now - time > _PAST:
        ago = f"was {(now - time) / timedelta(hours=1):.1f} h ago"
        whole = time.isoformat(timespec="minutes")
        message = f"{text.strip()} {ago}; give the day too: {whole}"
        raise InputError(option, "", message)
    return time
