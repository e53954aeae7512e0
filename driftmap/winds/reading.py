"""What a reader returns: the levels of one report, its times, and how old it is."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta, tzinfo
from functools import cache
from importlib.resources import files
from typing import Any, Final, Literal

import numpy as np

from driftmap.air.atmosphere import pressure_height
from driftmap.air.profile_law import ROUGHNESS
from driftmap.air.uncertainty import UNKNOWN_AWAY
from driftmap.air.wind import WindLevel, direction_and_speed
from driftmap.core.checks import FloatArray
from driftmap.core.errors import WindError
from driftmap.core.points import over_ground
from driftmap.core.tables import shipped
from driftmap.winds.times import present, show_time

HIGHEST_SPEED: Final = 120.0
"""Fastest wind taken for real [m s⁻¹]; the surface record is a gust of 113 m s⁻¹
(Barrow Island, 1996; WMO, from memory) and jet streams stay near 110."""

_OFF: Final = 600.0
"""How far from the standard atmosphere's a pressure may lie at sea level [m]; 940 hPa, a deep
low, is 625 m there. Aloft a tenth more of the height; both assumed."""

_OFF_SHARE: Final = 0.1


@dataclass(frozen=True, slots=True)
class Setting:
    """What the readers must know about the place and time of the flight.

    Parameters
    ----------
    site_altitude : float
        Altitude of the site above mean sea level [m].
    station : str, optional
        Station to take of a report that holds several.
    when, now : datetime
        Time of the flight, and the present.
    declination : float, optional
        Magnetic declination, east positive [rad].
    terrain : str
        A class of `ROUGHNESS`.
    place : (float, float), optional
        Latitude and longitude of the site [deg].
    read_at : datetime, optional
        When a wind was read that does not say so itself.
    station_away : float, optional
        Distance of a report's station from the site, where it was given [m].
    zone : tzinfo, optional
        Zone of a time of day that names none: that of `when` where it was given, else this
        computer's.
    one_time : bool
        Whether a text of several times is refused, as where all of them count.
    ahead : bool
        Whether the wind near the ground is still to be read, as where a plan assumes it.
    """

    site_altitude: float
    station: str | None = None
    when: datetime = field(default_factory=present)
    declination: float | None = None
    terrain: str = "open"
    place: tuple[float, float] | None = None
    read_at: datetime | None = None
    now: datetime = field(default_factory=present)
    station_away: float | None = None
    zone: tzinfo | None = None
    one_time: bool = False
    ahead: bool = False

    @property
    def seen_by(self) -> datetime:
        """Latest time at which a wind for this flight can have been measured."""
        return min(self.when, self.now)

    def __post_init__(self) -> None:
        if self.terrain not in ROUGHNESS:
            raise WindError(
                "terrain", "", f"{self.terrain!r} is none of {', '.join(ROUGHNESS)}"
            )
        latitude, longitude = self.place or (0.0, 0.0)
        for name, value, low, high in (
            ("site_altitude", self.site_altitude, -500.0, 9000.0),
            ("latitude of place", latitude, -90.0, 90.0),
            ("longitude of place", longitude, -180.0, 180.0),
            ("declination", self.declination, -math.pi, math.pi),
            ("station_away", self.station_away, 0.0, math.inf),
        ):
            if value is not None and not low <= value <= high:
                raise WindError(name, "", f"{value:g}; accepted is {low:g} to {high:g}")
        for name in ("when", "read_at", "now"):
            time = getattr(self, name)
            if time is not None and time.tzinfo is None:
                raise WindError(name, "", f"{time}; accepted is a time with its zone")

    def away_from(self, station: str, source: str) -> tuple[float | None, str]:
        """Return how far a station stands from the site [m], None if nobody knows, and a note."""
        # Bulletins of winds aloft leave out the land's letter: K, P of the Pacific, C of Canada.
        known = (_stations().get(f"{land}{station}") for land in ("", "K", "P", "C"))
        point = next(filter(None, known), None)
        told = self.station_away
        if told is not None and (point is None or self.place is None):
            return told, f"{source}: {told / 1000:.0f} km off, as told"
        if point is None or self.place is None:
            return None, (
                f"{source}: how far its station stands is not known, counts as "
                f"{UNKNOWN_AWAY / 1000:.0f} km; --station-away tells it"
            )
        away = max(over_ground(point, self.place), told or 0.0)
        return away, f"{source}: its station is {away / 1000:.0f} km from the site"

    def true_bearing(self, magnetic: float) -> float:
        """Turn a magnetic bearing into a true one, in [0, 2π) [rad]."""
        if self.declination is None:
            raise ValueError(
                "a magnetic direction needs the site's declination; give it, or the "
                "direction from true north"
            )
        return (magnetic + self.declination) % (2 * math.pi)


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """One report, decoded: a reading near the ground, or layers; nothing is interpolated.

    Parameters
    ----------
    source : str
        Name of the report, for messages.
    kind : {"surface", "aloft"}
        Whether it was read near the ground.
    levels : tuple of WindLevel
        Its levels, the lowest first.
    valid, based_on : datetime, optional
        When it was measured, or is forecast for; time of the data behind a forecast.
    window : (datetime, datetime), optional
        First and last time that it is meant to be used for.
    forecast, from_ground : bool
        Whether nobody measured it; whether its lowest layer was measured near the ground.
    away : float or None
        Distance from the site at which it was measured [m]; None where nobody knows.
    direction_error : float
        Standard error of its direction, by its coding or its swing [rad].
    members : ndarray, shape (m, 2, k), optional
        East and north of each member of an ensemble [m s⁻¹].
    pressure : float, optional
        Altimeter setting [Pa].
    cloud_cover, visibility : float, optional
        Most cloud, a share of the sky, and least visibility [m].
    cloud_base, lowest_cloud : float, optional
        Lowest layer that hides most of the sky, and lowest of any [m].
    terrain : str, optional
        The terrain it names itself.
    warned, assumed : tuple of str
        What a verdict must hold for, and what the reader had to assume.
    ends : datetime, optional
        From when on a newer report must be given instead.
    up_to : float
        How many times as strong as its levels its wind may be by its own words, such as
        "less than 6 mph".
    """

    source: str
    kind: Literal["surface", "aloft"]
    levels: tuple[WindLevel, ...]
    valid: datetime | None = None
    window: tuple[datetime, datetime] | None = None
    based_on: datetime | None = None
    forecast: bool = False
    away: float | None = field(kw_only=True)  # no reader may leave it out
    direction_error: float = 0.0
    from_ground: bool = False
    members: FloatArray | None = None
    pressure: float | None = None
    cloud_cover: float | None = None
    visibility: float | None = None
    cloud_base: float | None = None
    lowest_cloud: float | None = None
    terrain: str | None = None
    warned: tuple[str, ...] = field(default=())
    assumed: tuple[str, ...] = field(default=())
    ends: datetime | None = None
    up_to: float = 1.0

    @property
    def dated(self) -> bool:
        """Whether the time it is from or for is known; a verdict holds where it is not."""
        return not (self.valid is None and self.window is None)

    def __post_init__(self) -> None:
        heights = [level.height for level in self.levels]
        if not heights or not np.all(np.isfinite(heights)):
            raise ValueError("'levels' must hold at least one level, all finite")
        if heights[0] < 0 or np.any(np.diff(heights) <= 0):
            raise ValueError("'levels' must increase from the ground up")
        if self.away is not None and not 0 <= self.away < 4e7:
            raise ValueError(f"'away' must lie on the Earth (got {self.away:g} m)")


@cache
def words(part: str) -> dict[str, Any]:
    """Return what a part of ``words.toml`` lists."""
    text = files(__package__).joinpath("words.toml").read_text("utf-8")
    told: dict[str, Any] = tomllib.loads(text)[part]
    return told


@cache
def _stations() -> dict[str, tuple[float, float]]:
    """Read where stations with surface reports stand: latitude and longitude [deg]."""
    rows = shipped(__package__, "stations.csv", ",")
    return {name: (float(north), float(east)) for name, north, east in rows}


FARTHEST_STATION: Final = 500_000.0
"""A station farther off than this tells nothing of the field [m]; assumed."""

_FARTHEST: Final = 50_000.0
"""A wind that says that it is of a place farther off than this is refused [m]; assumed."""

OTHER_FIELD: Final = 30_000.0
"""One of a place farther off than this holds [m]: a forecast's grid is no coarser; assumed."""


def held_to_site(
    point: tuple[float, float] | None, setting: Setting, source: str
) -> tuple[str, tuple[str, ...], float]:
    """Hold the place that a wind says it is of [deg] against the site's.

    Give a note, what holds, and how far off it is, 0 if nobody knows [m]. Raises `ValueError`
    if it is too far off.
    """
    if point is None or setting.place is None:
        note = f"{source}: for what place it is was not held against the site's"
        text = f"{source} is of a place, and nobody says where the site is: give it too"
        return note, (text,) * (point is not None), 0.0
    away = over_ground(point, setting.place)
    text = f"is of a place {away / 1000:,.0f} km from the site"
    if away > _FARTHEST:
        raise ValueError(f"{text}; accepted is {_FARTHEST / 1000:.0f} km")
    note = f"{source}: its point is {away / 1000:.0f} km from the site"
    return note, (f"{source} {text}",) * (away > OTHER_FIELD), away


_APART: Final = 100.0  # m between the site and the ground that heights are of; assumed
_FAR_APART: Final = 1000.0  # m: another mountain, or a mistaken place; assumed


def held_to_ground(ground: float, setting: Setting) -> Iterator[str]:
    """Hold the ground that the heights of a wind are of [m above the sea] against the site's.

    Give what holds. Raises `ValueError` if it is too far off.
    """
    apart = ground - setting.site_altitude
    text = (
        f"its ground is {abs(apart):.0f} m {'above' if apart > 0 else 'below'} the site "
        f"({setting.site_altitude:.0f} m)"
    )
    if abs(apart) > _FAR_APART:
        raise ValueError(f"{text}; accepted is {_FAR_APART:.0f} m")
    if abs(apart) > _APART:
        yield f"{text}: is it of another place, or in another unit?"


ONE_TIME: Final = 1.5
"""Reports whose ages differ by less than this speak of one wind [h], its gusts with it; one so
old must have a newer beside it: they come every hour, and a special one between (FMH-1, from
memory); half an hour more assumed."""


def next_due(reading: Reading) -> datetime | None:
    """Say by when the next of an aerodrome's reports must be there."""
    return None if reading.valid is None else reading.valid + timedelta(hours=ONE_TIME)


def not_renewed(reading: Reading, setting: Setting) -> Iterator[str]:
    """Say of an aerodrome's report that a newer one is out, whose wind and sky it cannot know."""
    old = setting.seen_by - (reading.valid or setting.seen_by)
    if old > timedelta(hours=ONE_TIME):
        yield (
            f"{reading.source} is {old / timedelta(hours=1):.1f} h old and they come every "
            "hour: take the newest"
        )


def check_placed(pressure: float, height: float) -> None:
    """Refuse a height above the sea [m] that its pressure [Pa] contradicts.

    A missing one written as 0 or -999 would lie under the ground, and its wind be left out.
    """
    usual = pressure_height(pressure)
    bound = _OFF + _OFF_SHARE * max(usual, 0.0)
    if abs(height - usual) > bound:
        raise ValueError(
            f"{height:.0f} m above the sea and {pressure / 100:.0f} hPa, which lies near "
            f"{usual:.0f} m, contradict each other"
        )


def check_speed(speed: float, *, what: str = "speed") -> float:
    """Accept a wind speed, from 0 to `HIGHEST_SPEED` [m s⁻¹]."""
    if not 0.0 <= speed <= HIGHEST_SPEED:
        raise ValueError(
            f"{what} {speed:.4g} m/s; accepted is 0 to {HIGHEST_SPEED:g} m/s"
        )
    return speed


def level_toward(
    height: float, east: float, north: float, source: str, error: float
) -> WindLevel:
    """Make a level of a wind by its components [m s⁻¹]."""
    direction, speed = (float(each) for each in direction_and_speed(east, north))
    return WindLevel(height, direction, check_speed(speed), None, source, error=error)


def check_direction(degrees: float) -> float:
    """Accept a wind direction in degrees, 0 to 360, and give it in [rad]."""
    if not 0.0 <= degrees <= 360.0:
        raise ValueError(f"direction {degrees:g} deg; accepted is 0 to 360")
    return math.radians(degrees)


OLDEST: Final = 24.0
"""A report further from the flight than this is of another day, and refused [h]."""

SLIP: Final = timedelta(minutes=10)
"""How far two clocks may differ before a wind counts as one of the future; assumed."""

PAST, MORE = 3.0, 2.0
"""Hours over which a wind or gust is told that was so much stronger than what is told now
[h], [m s⁻¹]; assumed."""


def check_seen(reading: Reading, setting: Setting) -> Reading:
    """Refuse a wind, or a forecast's data, from after the flight or the present.

    A forecast rests on data from before what it is for.
    """
    end = reading.window[1] if reading.window else reading.valid
    slack = timedelta(hours=ONE_TIME)  # of an hour that is nearest, in steps of three
    if end and reading.based_on and reading.based_on - end > slack:
        text = f"is for {show_time(end)} and rests on data of {show_time(reading.based_on)}"
        raise WindError(reading.source, "", f"{text}: are the two swapped?")
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


def age_of(reading: Reading, when: datetime) -> float | None:
    """Return the hours between a report and the flight [h]; None when not known.

    From the time it was measured, or by which the flight lies outside the hours a forecast
    is for. A report of another day is refused.
    """
    if reading.window is not None:
        start, end = reading.window
        age = max((start - when), (when - end), timedelta(0)) / timedelta(hours=1)
    elif reading.valid is not None:
        age = abs(when - reading.valid) / timedelta(hours=1)
    else:
        return None
    if age > OLDEST:
        # Just beyond a day it must not read as a day.
        shown = math.ceil(10 * age) / 10 if age < OLDEST + 1 else round(age)
        raise WindError(
            reading.source,
            "",
            f"is {shown:g} h from the flight's time; accepted is "
            f"{OLDEST:.0f} h at most: take a later one, or give the time of the flight "
            "with --when",
        )
    return age


def lead_of(reading: Reading, when: datetime) -> float | None:
    """Return the hours between the data of a forecast and the flight [h]; None if not known."""
    if reading.based_on is None:
        return None
    return max(0.0, (when - reading.based_on) / timedelta(hours=1))
