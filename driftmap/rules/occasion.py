"""The occasion that answers are for: flight, place, day, and the ground as it is drawn."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone
from typing import Final

from driftmap.ground.areas import Site
from driftmap.rocket.flight import Flight

_AHEAD: Final = timedelta(hours=1 / 15)  # of the sun, a degree of longitude

_ODD: Final = timedelta(hours=3.5)
"""A clock farther from the sun than this is none of the site: legal time strays by up to three
hours (from memory)."""

_OF_THE_ROCKET: Final = {
    *("airframe", "motor", "apogee", "sustainer", "booster", "air_start"),
    *("recovery", "descent", "pieces", "burst"),
}
"""What of a flight file answers for a flight rest on; rail, limits and likelihoods may change."""


OF_THE_DRAWING: Final = frozenset(
    {
        *("people_are_of_the_launch", "nearby_property_is_ours", "quiet_roads"),
        *("crew_drawn_elsewhere", "drawn_where_it_is", "drawn_whole"),
        *("airport_agreed", "aerodrome_agreed", "airport_authorization"),
        *("no_people_near", "no_outsiders_near"),
    }
)
"""Questions of what is drawn about one pad: a yes of before somebody drew more is none."""

OF_THE_BOUNDS: Final = frozenset(
    {
        *("landowner_leave", "local_code_read", "waiver_active"),
        *("waiver_request_in_time", "advanced_waiver_request_in_time"),
        *("airspace_leave", "swiss_airspace_leave", "nz_airspace_leave"),
        *("launch_authorization", "large_rocket_permission", "approved_area"),
        *("side_of_border", "site_agreed"),
    }
)
"""Questions of how far and how high leave was given, and of what the rules are and leave out."""

SINCE: Final = {
    "drawn": (
        OF_THE_DRAWING,
        "the people and buildings were drawn as they are about this pad",
    ),
    "bounds": (OF_THE_BOUNDS, "land, waiver and rules were as the site file has them"),
}
"""Marks at the head of a file, with the questions whose yes depends on them."""


@dataclass(frozen=True, slots=True)
class Occasion:
    """What answers must be for.

    Parameters
    ----------
    site, flight : str
        Names of the site and of the flight.
    when : datetime or None
        Time of the flight, with its zone; None while it is planned ahead of any day, when
        no answer for a day counts.
    longitude : float
        Of the site [deg]; it tells which day that is there.
    place : (float, float, float) or None
        Latitude and longitude [deg] and elevation [m] of the pad; None to take every
        answer for one given here.
    rocket : str
        Mark of what answers for a flight rest on: another where the file changes it.
    drawn, bounds : str
        Marks of who and what is drawn how far from the pad, and of how large land and waiver
        are, by what rules; empty to take every answer.
    """

    site: str
    flight: str
    when: datetime | None = None
    longitude: float = 0.0
    place: tuple[float, float, float] | None = None
    rocket: str = ""
    drawn: str = ""
    bounds: str = ""

    @classmethod
    def of(cls, flight: Flight, site: Site, when: datetime | None) -> Occasion:
        """Say what is flown, where and when."""
        text = flight.model_dump_json(include=_OF_THE_ROCKET, exclude_defaults=True)
        place = (site.latitude, site.longitude, site.elevation)
        marks = map(_mark, (text, repr(sorted(_drawn(site))), repr([*_bounds(site)])))
        return cls(site.name, flight.name, when, site.longitude, place, *marks)

    @property
    def placed(self) -> str:
        """The place as the head of an answers file gives it."""
        latitude, longitude, elevation = self.place or (0.0, 0.0, 0.0)
        return f"[{latitude:.5f}, {longitude:.5f}, {elevation:.1f}]"

    @property
    def day(self) -> date | None:
        """Day of the flight at the site."""
        return None if self.when is None else at_site(self.when, self.longitude).date()

    @property
    def whole_day(self) -> tuple[datetime, datetime] | None:
        """From when until when it is the day of the flight at the site."""
        if self.when is None:
            return None
        here = at_site(self.when, self.longitude)
        start = here.replace(hour=0, minute=0, second=0, microsecond=0)
        early, late = start, start + timedelta(days=1)
        return early.astimezone(self.when.tzinfo), late.astimezone(self.when.tzinfo)


def _mark(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:8]


def _drawn(site: Site) -> Iterator[tuple[str, str, int]]:
    """List roles and head counts with their distance from the pad, in tens of metres."""
    for area in site.areas:
        yield area.role, str(area.people), round(area.distance / 10)


def _bounds(site: Site) -> Iterator[object]:
    """Yield rules and ceiling of a site, and where and how large land and waiver are.

    To tens of metres, and alike for all pads of a field.
    """
    yield from (*site.rules.split(), round(site.waiver.ceiling))
    for shape in (site.boundary, site.waiver.shape):
        middle = site.to_lonlat(shape.centroid.x, shape.centroid.y)
        yield from (round(float(degrees), 4) for degrees in middle)
        yield from (round(math.sqrt(shape.area) / 10), round(shape.length / 10))


def at_site(when: datetime, longitude: float) -> datetime:
    """Give a time by its own clock, or by the sun where that is UTC or no clock of the place.

    A waiver, a leave, a fire ban are of a date by the clock.
    """
    sun, clock = _AHEAD * longitude, when.utcoffset()
    if clock and abs(clock - sun) <= _ODD:
        return when
    return when.astimezone(timezone(sun))
