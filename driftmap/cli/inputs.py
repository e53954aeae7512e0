"""The inputs of a run: flight, site, wind and answers, and the set-up made of them."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from datetime import datetime
from typing import TYPE_CHECKING, Final, TypeVar

import click

from driftmap.air.profile_law import ROUGHNESS
from driftmap.cli.options import (
    Quantity,
    Weather,
    day_of,
    day_options,
    gathered,
    option_stack,
    run_options,
    site_of,
    site_options,
)
from driftmap.cli.times import flight_time, show_flight
from driftmap.core.errors import InputError
from driftmap.winds.reading import FARTHEST_STATION, Reading, Setting
from driftmap.winds.times import present

if TYPE_CHECKING:
    from driftmap.air.wind import WindProfile
    from driftmap.ground.areas import Site
    from driftmap.planning.assumed_winds import Supposition
    from driftmap.rocket.flight import Flight
    from driftmap.rules.occasion import Occasion
    from driftmap.verdict.judgement import Need
    from driftmap.verdict.setup import Setup


F = TypeVar("F", bound=Callable[..., object])
T = TypeVar("T")

_FEW: Final = 100  # flights that tell how many a go needs

HERE: Final = "the site"
"""What --at says where it names no site of its own."""


@dataclass(frozen=True, slots=True)
class WindOptions:
    """What the options of `wind_options` say, as typed; a time is one, and all are of use.

    Raises `InputError` if not, before anything is read or flown.
    """

    winds: tuple[str, ...] = ()
    station: str | None = None
    when: str | None = None
    read_at: str | None = None
    at: str | None = None
    service: str | None = None
    terrain: str = "open"
    declination: float | None = None
    station_away: float | None = None

    def __post_init__(self) -> None:
        self.times(present())
        if self.winds or self.at is not None:
            return
        for name in ("station", "station_away", "read_at"):
            if getattr(self, name) is not None:
                option = "--" + name.replace("_", "-")
                raise InputError(option, "", "is of a wind, and none is given")

    def times(self, now: datetime) -> tuple[datetime | None, datetime | None]:
        """Read --when and --read-at, which is of its zone."""
        when = None if self.when is None else flight_time(self.when, now)
        if self.read_at is None:
            return when, None
        zone = when.tzinfo if when else None
        return when, flight_time(self.read_at, now, option="--read-at", zone=zone)


def place_of(site: Site) -> Setting:
    """Take from a site file all that readers of winds ask of a place."""
    position = (site.latitude, site.longitude)
    return Setting(site.elevation, declination=site.declination, place=position)


place_options = option_stack(
    click.option(
        "--station", metavar="ID", help="Station to take from a report of several."
    ),
    click.option(
        "--station-away",
        type=Quantity("length", 0.0, FARTHEST_STATION),
        help="How far the station of a report, a table or a record is from the field, where "
        "that is not known.",
    ),
    click.option(
        "--when",
        metavar="TIME",
        help="Time of the flight: 14:30, 18:30Z, or a date and time; the present "
        "when left out.",
    ),
    click.option(
        "--read-at",
        metavar="TIME",
        help="When the winds were read that do not say so themselves.",
    ),
    click.option(
        "--at",
        is_flag=False,
        flag_value=HERE,
        metavar="[SITE]",
        help="Ask a public forecast service for the wind there at --when.",
    ),
    click.option(
        "--service",
        metavar="URL",
        envvar="DRIFTMAP_FORECAST_URL",
        help="Address of the forecast service.",
    ),
    click.option(
        "--terrain",
        type=click.Choice(list(ROUGHNESS)),
        default="open",
        help="Ground about the site.",
    ),
    click.option(
        "--declination",
        type=Quantity("angle", -math.pi, math.pi),
        help="Of the magnetic needle, east positive [deg].",
    ),
)
"""Add all of `wind_options` but --wind."""


def wind_options(command: Callable[..., T]) -> Callable[..., T]:
    """Add --wind and what goes with it; the command gets them as one ``asked``."""
    return wind_options_for(
        'A file of layers or a report, or words: "12 mph from 240" at head height. Give '
        "it again to merge a surface reading with winds aloft."
    )(command)


def wind_options_for(meaning: str) -> Callable[[Callable[..., T]], Callable[..., T]]:
    """Add `wind_options` where the wind means something else."""
    wind = click.option("--wind", "winds", multiple=True, metavar="WIND", help=meaning)
    names = [one.name for one in fields(WindOptions)]
    return option_stack(wind, place_options, gathered(WindOptions, "asked", *names))


def setting_of(asked: WindOptions, place: Setting) -> Setting:
    """Say what the readers must know of place and time."""
    now = present()
    (when, read_at), needle = asked.times(now), asked.declination
    return replace(
        place,
        station=asked.station,
        when=when or now,
        declination=place.declination if needle is None else needle,
        terrain=asked.terrain,
        read_at=read_at,
        now=now,
        station_away=asked.station_away,
        zone=when.tzinfo if when else None,
    )


def readings_of(asked: WindOptions, setting: Setting) -> tuple[Reading, ...]:
    """Read every source named, and ask the forecast service where that is wanted."""
    from driftmap.winds.formats import decode

    if not asked.winds and asked.at is None:
        raise click.UsageError('Give --wind, such as "12 mph from 240", or --at.')
    readings = [one for text in asked.winds for one in decode(text, setting)]
    if asked.at is not None:
        readings.append(_fetched(asked, setting))
    return tuple(readings)


def _fetched(asked: WindOptions, setting: Setting) -> Reading:
    from driftmap.winds.fetch import PATIENCE, SERVICE, fetch_forecast

    if asked.at not in {None, HERE}:
        setting = replace(setting, place=_near_by(str(asked.at), setting))
    if asked.when is None:
        raise click.UsageError("--at needs --when: a forecast is for a time.")
    if setting.place is None:
        raise click.UsageError("--at needs a site file: a forecast is for a place.")
    if sys.stderr.isatty():
        click.echo(f"asking for the forecast, {PATIENCE:.0f} s at most …", err=True)
    return fetch_forecast(setting, service=asked.service or SERVICE)


def _near_by(path: str, setting: Setting) -> tuple[float, float] | None:
    """Return the place of another site file, where that is no farther off than a grid's point."""
    from driftmap.core.points import over_ground
    from driftmap.winds.reading import OTHER_FIELD

    place = place_of(site_of(path)).place
    if place is not None and setting.place is not None:
        off = over_ground(place, setting.place)
        if off > OTHER_FIELD:
            text = f"{path} lies {off / 1000:.0f} km from the site; --at alone asks for that"
            raise InputError("--at", "", text)
    return place


def wind_asked(asked: WindOptions, place: Setting) -> WindProfile:
    """Read and merge the wind over a place; what it assumes tells the flight's time."""
    from driftmap.winds.merge import merge

    setting = setting_of(asked, place)
    wind = merge(readings_of(asked, setting), setting)
    if asked.when is None:
        return wind
    text = f"the flight is at {show_flight(setting.when)}"
    return replace(wind, assumed=(text, *wind.assumed))


def echo_flight(asked: WindOptions) -> None:
    """Show back the time of the flight as it was understood, where one was told."""
    if asked.when is not None:
        click.echo(f"For a flight at {show_flight(flight_time(asked.when))}")


def shape_of(
    asked: WindOptions, place: Setting, *, of_the_day: bool = False
) -> WindProfile | None:
    """Read a wind to plan with, of whatever day or of that of the flight; None when none is named.

    Raises `WindError` where it must be of the day and is from another, or after the flight.
    """
    from driftmap.winds.merge import merge
    from driftmap.winds.profile import shape

    if not asked.winds and asked.at is None:
        return None
    setting = setting_of(asked, place)
    readings = readings_of(asked, setting)
    if of_the_day:
        merge(readings, setting)
    return shape(readings, setting)


def answers_option(
    told: str = "Answers to the questions of the rules (TOML); driftmap rules lists them. "
    "Give it again for several files.",
) -> Callable[[F], F]:
    """Make --answers."""
    return click.option("--answers", multiple=True, metavar="FILE", help=told)


def occasion_of(flight: Flight, site: Site, when: str | None) -> Occasion:
    """Say what is flown where and when: now, where nobody says when."""
    from driftmap.rules.occasion import Occasion

    time = present() if when is None else flight_time(when)
    return Occasion.of(flight, site, time)


@dataclass(frozen=True, slots=True)
class Run:
    """What a run is given: what is flown where, in which wind, how often, by whose answers.

    Each command has options for some of it; the rest stands as it is here.
    """

    flight: str = ""
    site: str = ""
    asked: WindOptions = WindOptions()
    weather: Weather = field(default_factory=Weather)
    samples: int = 0
    seed: int = 1
    precision: float | None = None
    answers: tuple[str, ...] = ()
    workers: int | None = None
    processes: bool = False

    def read(self) -> tuple[Flight, Site]:
        """Read the flight and the site."""
        from driftmap.rocket.flightfile import read_flight

        return read_flight(self.flight), site_of(self.site)

    def setup(
        self,
        flight: Flight,
        site: Site,
        wind: WindProfile | None = None,
        *,
        ahead: bool = False,
    ) -> Setup:
        """Put together what is flown and where.

        Surface readings come from the wind where the options leave them out; ``ahead`` is
        planning for no day yet.
        """
        from driftmap.rules.answers import read_answers
        from driftmap.verdict.setup import Setup

        day, when = day_of(self.weather, site.elevation, wind), self.asked.when
        time = flight_time(when) if when is not None else None if ahead else present()
        said = read_answers(self.answers, flight, site, time)
        return Setup(flight, site, self.samples, self.seed, day, said)

    def in_wind(self) -> tuple[Setup, WindProfile]:
        """Read flight and site, and the wind they are flown in."""
        flight, site = self.read()
        place = place_of(site)
        wind = wind_asked(self.asked, place)
        return self.setup(flight, site, wind), wind

    def supposed(self, *, ahead: bool = False) -> tuple[Setup, Supposition]:
        """Read flight and site, and the shape of the winds that they are tried in.

        The air is that of the reports among them, where it is known of which day it is.
        """
        from driftmap.planning.assumed_winds import Supposition

        flight, site = self.read()
        place = place_of(site)
        shape = shape_of(self.asked, place, of_the_day=not ahead)
        timed = self.asked.when is not None or not ahead
        setup = self.setup(flight, site, shape if timed else None, ahead=ahead)
        when = setting_of(self.asked, place).when if timed else None
        return setup, Supposition.over_site(site, when, shape, self.asked.terrain)


def forewarn(samples: int, *needs: Need) -> bool:
    """Say before the long work where no go can come of it."""
    text = max(needs, key=lambda need: need.flights).warning(samples)
    if text:
        click.echo(text, err=True)
    return bool(text)


def need_of(setup: Setup, wind: WindProfile) -> Need:
    """Find by a few flights how many a go needs."""
    from driftmap.verdict.judgement import flights_needed
    from driftmap.verdict.setup import flown

    few = replace(setup, samples=min(setup.samples, _FEW))
    return flights_needed(flown(few, wind), setup.site, setup.answers)


into_run = gathered(Run, "run", *(one.name for one in fields(Run)))
"""Hand a command what its options say of a run as one ``run``."""


def flight_options(command: Callable[..., T]) -> Callable[..., T]:
    """Add FLIGHT, --site, wind, day, --samples and --seed; the command gets one ``run``."""
    flight = click.argument("flight", metavar="FLIGHT")
    options = (flight, site_options, wind_options, day_options, run_options())
    return option_stack(*options, into_run)(command)
