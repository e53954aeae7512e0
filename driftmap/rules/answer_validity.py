"""Whether the answers of a file still count for what is to be flown."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import partial
from typing import Any, Final, TypeVar

from driftmap.core.checks import names_somebody, zoned
from driftmap.core.errors import InputError, located
from driftmap.rules.occasion import SINCE, Occasion, at_site
from driftmap.rules.vocabulary import LASTING, OF_A_PAD, Scope

_Read = TypeVar("_Read")

_SEASON: Final = timedelta(days=365)
"""How long an answer for the season holds; assumed."""

_SLIP: Final = timedelta(minutes=10)
"""How far two clocks may differ; assumed."""

_NEAR: Final = ((2000.0, 30.0), (200.0, 1.0))
"""How far off, and how much higher or lower, an answer may have been given [m]: for any pad of
one field; and, of the ground, for one pad. Assumed."""

_DEGREE: Final = 111_200.0  # m of latitude

HEAD: Final = (
    *("date", "site", "place", "flight", "rocket", "drawn", "bounds", "by"),
    *("flown", "taken_back", "until", "measured"),
)
"""Keys that say what the answers of a file are for."""


@dataclass(frozen=True, slots=True)
class Head:
    """What the answers of a file were given for.

    Parameters
    ----------
    day : date
        Day of the answers.
    site : str
        Name of the site.
    place : (float, float, float) or None
        As that of an `Occasion`.
    flight, rocket : str or None
        Name of the flight, and mark of its file.
    flown : str or None
        When the flight that was answered for was flown, once it is.
    taken_back : tuple of str
        Answers against flying that were taken back since, and who had given them.
    until : datetime or None
        When what was answered for the day or a flight ends, such as a waiver, with its zone.
    at : datetime or None
        When it was answered, where the day is told by a time with its zone.
    drawn, bounds : str or None
        As those of an `Occasion`.
    by : str or None
        Who answered.
    measured : tuple of str
        Figures that were found so when the rocket was measured again.
    """

    day: date
    site: str
    place: tuple[float, float, float] | None
    flight: str | None
    rocket: str | None
    flown: str | None
    taken_back: tuple[str, ...]
    until: datetime | None = None
    at: datetime | None = None
    drawn: str | None = None
    bounds: str | None = None
    by: str | None = field(default=None, kw_only=True)
    measured: tuple[str, ...] = field(default=(), kw_only=True)

    def changed_since(self, occasion: Occasion, name: str) -> str:
        """Say why a yes to what the site file has does not count; empty where it does."""
        for key, (names, what) in SINCE.items():
            mark = getattr(occasion, key)
            if name in names and mark not in {"", getattr(self, key)}:
                again = f'ask again, and write {key} = "{mark}" at the head of the file'
                return f"answered before {what}: {again}"
        return ""

    def not_for(self, occasion: Occasion, scope: Scope) -> str:
        """Say why an answer does not count; empty where it does."""
        if self.site.casefold() != occasion.site.casefold():
            return f"answered for another site, {self.site}"
        lasts = scope in LASTING
        if occasion.day is None:
            if not lasts:
                return (
                    f"answered for {self.day}, and the day of the flight is not known"
                )
        elif not (
            timedelta(0) <= occasion.day - self.day <= _SEASON
            if lasts
            else self.day == occasion.day
        ):
            return f"answered for {self.day}, and the flight is on {occasion.day}"
        if scope == "flight" and (told := self._not_of(occasion)):
            return told
        return self._not_then(occasion.when) or self._not_there(
            occasion, *_NEAR[scope in OF_A_PAD]
        )

    def holds(self, occasion: Occasion) -> tuple[datetime, datetime] | None:
        """Say from when until when what was answered for the day of a flight holds."""
        if occasion.whole_day is None:
            return None
        early, late = occasion.whole_day
        late = min(late, self.until or late)
        return early, late.astimezone(early.tzinfo)

    def _not_then(self, when: datetime | None) -> str:
        if when is not None and self.at is not None and self.at > when + _SLIP:
            return f"answered at {self.at:%H:%M %z}, after the flight"
        end = self.until
        if end is not None and when is not None and when >= end:
            return f"answered until {end:%Y-%m-%d %H:%M %z}, and that is past"
        return ""

    def may_be_for(
        self, occasion: Occasion, scope: Scope, *, changed: bool = False
    ) -> bool:
        """Return whether an answer that does not count may yet be meant for an occasion.

        Its head leaves out flight, rocket or place, or gives the place another name;
        ``changed``: or flight file or pad were changed since, or its end is past.
        """
        whole = replace(
            self,
            site=self.site if self.place is None else occasion.site,
            place=self.place or occasion.place,
            flight=self.flight or occasion.flight,
            rocket=self.rocket or occasion.rocket,
        )
        if changed:
            whole = replace(whole, rocket=occasion.rocket, until=None)
            same = self.site.casefold() == occasion.site.casefold()
            if same and scope not in OF_A_PAD:  # another pad is asked by itself
                whole = replace(whole, place=occasion.place)
        return not whole.not_for(occasion, scope)

    def _not_there(self, occasion: Occasion, near: float, level: float) -> str:
        if occasion.place is None:
            return ""
        head = f"place = {occasion.placed} at the head of the file"
        if self.place is None:
            return f"answered for no place: write {head} if it was for this pad"
        north = self.place[0] - occasion.place[0]
        east = (self.place[1] - occasion.place[1] + 180) % 360 - 180
        east *= math.cos(math.radians(occasion.place[0]))
        away = math.hypot(north, east) * _DEGREE
        up = abs(self.place[2] - occasion.place[2])
        if away <= near and up <= level:
            return ""
        return (
            f"answered {away / 1000:.1f} km off and {up:.0f} m above or below: ask again, "
            f"and write {head}"
        )

    def _not_of(self, occasion: Occasion) -> str:
        if self.flight is None:
            return (
                'answered for no flight: write flight = "..." at the head of the file'
            )
        if self.flight.casefold() != occasion.flight.casefold():
            return f"answered for another flight, {self.flight}"
        if self.flown is not None:
            return f"answered for the flight of {self.flown}, which is over: ask again"
        if occasion.rocket and self.rocket != occasion.rocket:
            why = "answered before the flight file was changed: ask again, and"
            if self.rocket is None:
                why = "answered for no rocket: if it is the one of the flight file,"
            return f'{why} write rocket = "{occasion.rocket}" at the head of the file'
        return ""


def read_head(source: str, given: Mapping[str, Any], longitude: float) -> Head:
    """Read what the answers of a file were given for.

    ``source``: the file, for messages; ``given``: the values of `HEAD`, None where left
    out; ``longitude``: of the site [deg], for the day.

    Raises `InputError` if one cannot be used, or there is no day or no site.
    """

    def read(key: str, reader: Callable[[Any, str], _Read]) -> _Read | None:
        if given[key] is None:
            return None
        with located(source, key):
            return reader(given[key], key)

    for key, needed in (("date", _A_DAY), ("site", _OF_FILE.format("site"))):
        if given[key] is None:
            raise InputError(source, key, f"is missing; accepted is {needed}")
    day, site = read("date", partial(_day, longitude=longitude)), read("site", _name)
    assert day is not None
    assert site is not None
    place, back = read("place", _place), read("taken_back", _texts) or ()
    measured = read("measured", _texts) or ()
    flight, rocket, flown, by, *marks = (
        read(key, _name) for key in ("flight", "rocket", "flown", "by", *SINCE)
    )
    at = None
    with contextlib.suppress(ValueError):
        at = _until(given["date"], "date")
    end = read("until", _until)
    if measured and by is None:
        wanted = 'is nobody\'s word; accepted beside it is who measured: by = "..."'
        raise InputError(source, "measured", wanted)
    told = (day, site, place, flight, rocket, flown, back, end, at)
    return Head(*told, *marks, by=by, measured=measured)


def _until(value: object, key: str) -> datetime:
    """Read when the answers for the day end."""
    try:
        end = datetime.fromisoformat(value) if isinstance(value, str) else value
        if isinstance(end, datetime) and zoned(end).tzinfo is not None:
            return end
    except ValueError:
        pass
    text = f"{key} = 2026-06-13T14:00:00-07:00"
    raise ValueError(f"{value!s:.40}; accepted is a time with its zone: {text}")


def _place(value: object, key: str) -> tuple[float, float, float]:
    if (
        not isinstance(value, list)
        or len(value) != 3
        or not all(type(v) in {int, float} and math.isfinite(v) for v in value)
    ):
        text = f"{value!r:.60}; accepted are latitude and longitude [deg] and elevation [m]"
        raise ValueError(f"{text}: {key} = [41.604, -117.952, 1234.4]")
    latitude, longitude, elevation = map(float, value)
    return latitude, longitude, elevation


_A_DAY: Final = "the day it was answered for: date = 2026-06-13"
_OF_FILE: Final = "the name that the {} file gives"


def _day(value: object, key: str, *, longitude: float) -> date:
    """Read a day; of a time with its zone the day it is at the site."""
    try:
        day = date.fromisoformat(value.strip()) if isinstance(value, str) else value
        if isinstance(day, datetime):
            known = zoned(day).tzinfo is not None
            return (at_site(day, longitude) if known else day).date()
        if isinstance(day, date):
            return day
    except ValueError:
        pass
    raise ValueError(f"{value!r:.40} is no day; accepted is {_A_DAY}")


def _name(value: object, key: str) -> str:
    named = isinstance(value, str) and value.strip()
    if not named or (key == "by" and not names_somebody(str(value))):
        others = {
            "by": "the name of who answered",
            "flown": "the name of the time it was flown at",
        }
        meant = others.get(key, _OF_FILE.format(key))
        raise ValueError(f"{value!r:.40} is no name; accepted is {meant}")
    return str(value).strip()


def _texts(value: object, key: str) -> tuple[str, ...]:
    del key
    if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
        raise ValueError(f"{value!r:.40}; accepted is a list of texts")
    return tuple(value)
