"""Winds of any format, read and merged into one profile."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from driftmap.air.wind import WindProfile
from driftmap.winds.formats import decode
from driftmap.winds.merge import merge
from driftmap.winds.reading import Reading, Setting
from driftmap.winds.times import present


def read_winds(  # noqa: PLR0913 - all but the first are options
    sources: Sequence[str],
    *,
    site_altitude: float,
    station: str | None = None,
    when: datetime | None = None,
    declination: float | None = None,
    terrain: str = "open",
    place: tuple[float, float] | None = None,
    read_at: datetime | None = None,
    station_away: float | None = None,
) -> WindProfile:
    """Read what is known of the wind and merge it into one profile over the site.

    Parameters
    ----------
    sources : sequence of str
        Paths of files, winds in words, or both, in any order.
    site_altitude : float
        Altitude of the site above mean sea level [m].
    station : str, optional
        Station to take from a report that holds several.
    when : datetime, optional
        Time of the flight, with its time zone; the present when left out.
    declination : float, optional
        Magnetic declination, east positive [rad].
    terrain : str
        Class of `driftmap.air.profile_law.ROUGHNESS`; a wind in words may name its own.
    place : tuple of float, optional
        Latitude and longitude of the site [deg]; picks a point of a gridded forecast.
    read_at : datetime, optional
        When the sources were read that do not say so themselves.
    station_away : float, optional
        How far the station of a report stands from the site [m], where it is not known.

    Returns
    -------
    WindProfile
        The wind over the site.

    Raises
    ------
    WindError
        If a source cannot be read, by its line, level or group; is of another day, or
        from after the flight.

    Examples
    --------
    >>> wind = read_winds(["12 mph from 240"], site_altitude=120.0)
    >>> wind.age, wind.known_to
    (0.0, 60.0)
    """
    now = present()
    setting = Setting(
        site_altitude,
        station=station,
        when=when or now,
        declination=declination,
        terrain=terrain,
        place=place,
        read_at=read_at,
        now=now,
        station_away=station_away,
        zone=when.tzinfo if when else None,
    )
    return merge([r for text in sources for r in decode(text, setting)], setting)


def shape(readings: Sequence[Reading], setting: Setting) -> WindProfile:
    """Merge a wind for its shape alone, of whatever day, without an age: to plan with."""
    times = [r.valid for r in readings if r.valid is not None]
    own = replace(setting, when=max(times, default=setting.when), ahead=True)
    return replace(merge(readings, own), age=None, when=None, undated=())


def read_wind(
    text: str,
    *,
    site_altitude: float,
    declination: float | None = None,
    when: datetime | None = None,
    place: tuple[float, float] | None = None,
) -> WindProfile:
    """Read one wind: a file, or words such as "12 mph from 240".

    Parameters
    ----------
    text : str
        Path of a file, or a wind in words, at head height unless it says otherwise.
    site_altitude : float
        Altitude of the site above mean sea level [m].
    declination : float, optional
        Magnetic declination, east positive [rad].
    when : datetime, optional
        Time of the flight, with its time zone; the present when left out.
    place : tuple of float, optional
        Latitude and longitude of the site [deg]; gives the sun, which stirs the air by day
        and stills it by night. When left out the air is that of a clear summer noon, the
        most stirred there is, and the spread of landings errs to wider.

    Returns
    -------
    WindProfile
        The wind over the site.

    Raises
    ------
    WindError
        If it cannot be read, is of another day, or from after the flight.

    Examples
    --------
    >>> wind = read_wind("5 m/s from 270 at 10 m", site_altitude=0.0)
    >>> float(wind.at(100.0)[0])
    7.04539
    """
    return read_winds(
        [text],
        site_altitude=site_altitude,
        declination=declination,
        when=when,
        place=place,
    )
