"""Options that several commands share, how they are read, and the workers of a plan."""

from __future__ import annotations

import functools
import math
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from driftmap.core.errors import InputError, located
from driftmap.core.units import bounded, parse, quantity

if TYPE_CHECKING:
    from driftmap.air.day import AirDay
    from driftmap.air.wind import WindProfile
    from driftmap.ground.areas import Site
    from driftmap.planning.wind_margin import WindMargin
    from driftmap.report.voice import Voice
    from driftmap.report.words import Units
    from driftmap.verdict.assessment import Assessment


F = TypeVar("F", bound=Callable[..., object])
T = TypeVar("T")


class Quantity(click.ParamType):  # type: ignore[type-arg]  # none in older click
    """An option with a unit. A bare number is SI, but a length or speed other than 0 names its unit."""

    def __init__(
        self,
        dimension: str,
        least: float = -math.inf,
        most: float = math.inf,
        *,
        above: bool = False,
    ) -> None:
        self.name = self._dimension = dimension  # as its help calls the value
        self._least, self._most = least, most
        self._above = above

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read it, or name the option."""
        del ctx
        if isinstance(value, float):  # read already
            return value
        with located(param.opts[0] if param is not None else "", ""):
            far = self._dimension in ("length", "speed")
            if far and parse(value, self._dimension):  # nothing is nothing in any unit
                quantity(value, self._dimension)
            return bounded(
                value, self._dimension, self._least, self._most, above=self._above
            )


def option_stack(*options: Callable[[F], F]) -> Callable[[F], F]:
    """Make one decorator of several options, in their order."""

    def add(command: F) -> F:
        for option in reversed(options):
            command = option(command)
        return command

    return add


def gathered(
    make: Callable[..., object], into: str, *names: str
) -> Callable[[Callable[..., T]], Callable[..., T]]:
    """Give a command the values of several of its options as one argument."""

    def add(command: Callable[..., T]) -> Callable[..., T]:
        @functools.wraps(command)
        def call(*args: Any, **given: Any) -> T:
            own = {name: given.pop(name) for name in names if name in given}
            given[into] = make(**own)
            return command(*args, **given)

        return call

    return add


_SETTINGS: Final = (95_000.0, 107_000.0)
"""Altimeter settings of days fit to fly [Pa]; assumed. Below lies what a meter shows at a field
of some height, which is none."""

_DEEP, _LIKE = 97_500.0, 2_000.0
"""A setting below this, a deep low's, that is so near what the air at the field usually presses
is what a meter shows there [Pa]; assumed."""


@dataclass(frozen=True, slots=True)
class Weather:
    """Readings of the day at the site, in SI, as far as they are known."""

    temperature: float | None = None
    altimeter: float | None = None
    humidity: float | None = None


def day_options(command: Callable[..., T]) -> Callable[..., T]:
    """Add the surface readings of the day; the command gets them as one ``weather``."""
    return option_stack(
        click.option(
            "--temperature",
            type=Quantity("temperature", 228.15, 333.15),
            help='At the site, such as "31 C".',
        ),
        click.option(
            "--altimeter",
            type=Quantity("pressure", *_SETTINGS),
            help='Altimeter setting (QNH, of sea level), such as "29.92 inHg"; not the '
            "pressure at the field.",
        ),
        click.option(
            "--humidity",
            type=Quantity("share", 0.0, 1.0),
            help='Relative, such as "40 %".',
        ),
        gathered(Weather, "weather", "temperature", "altimeter", "humidity"),
    )(command)


_PAD: Final = "driftmap.pad"


def _keep_pad(ctx: click.Context, _: click.Parameter, value: str | None) -> None:
    ctx.meta[_PAD] = value


pad_option = click.option(
    "--pad",
    metavar="NAME",
    expose_value=False,
    callback=_keep_pad,
    help="Pad flown from, where the site has several.",
)
"""Add --pad, which `site_of` takes up."""


def site_options(command: F) -> F:
    """Add --site and --pad."""
    site = click.option(
        "--site", required=True, metavar="SITE", help="Site file (GeoJSON)."
    )
    return site(pad_option(command))


def _pad() -> str | None:
    context = click.get_current_context(silent=True)
    return None if context is None else context.meta.get(_PAD)


def site_of(path: str) -> Site:
    """Read a site about the pad that --pad names."""
    from driftmap.ground.site import read_site

    return read_site(path, pad=_pad())


def no_site() -> None:
    """Refuse --pad where no site file is named, which alone knows its pads."""
    if _pad() is not None:
        raise InputError("--pad", "", "is a pad of a site file, and none is given")


def run_options(
    default: int = 20_000,
    least: int = 20,
    most: int = 5_000_000,
    *,
    samples: str = "Flights flown in each case.",
    seed: str = "The same seed gives the same points.",
) -> Callable[[F], F]:
    """Make --samples and --seed; ``samples`` and ``seed``: what their help says."""
    return option_stack(
        click.option(
            "--samples", type=click.IntRange(least, most), default=default, help=samples
        ),
        click.option("--seed", type=click.IntRange(0), default=1, help=seed),
    )


def out_option(text: str, **more: Any) -> Callable[[F], F]:
    """Make --out: a folder that is written into, or none where there is no default."""
    folder = click.Path(file_okay=False, path_type=Path)
    return click.option("--out", type=folder, help=text, **more)


def out_here_option(text: str) -> Callable[[F], F]:
    """Make --out for a command that always writes."""
    return out_option(text, default=Path("driftmap-out"))


def json_option(text: str = "Print JSON in SI units.") -> Callable[[F], F]:
    """Make --json."""
    return click.option("--json", "as_json", is_flag=True, help=text)


units_option = click.option(
    "--units", type=click.Choice(["us", "si"]), default="us", help="Units to show."
)
"""Add --units."""


language_option = click.option(
    "--language",
    default="en",
    metavar="LANGUAGE",
    help="en, de, es, fr, or a catalogue file of your own (TOML).",
)
"""Add --language alone, where a command tells no units."""


def words_options(command: Callable[..., T]) -> Callable[..., T]:
    """Add --units and --language; the command gets them as one ``voice``."""
    return option_stack(
        click.option(
            "--units",
            type=click.Choice(["us", "si"]),
            help="Units to show; without it us in English, si in de, es and fr.",
        ),
        language_option,
        gathered(voice_of, "voice", "language", "units"),
    )(command)


def voice_of(language: str, units: Units | None) -> Voice:
    """Return the voice of the pages, in the units of its language unless others are picked."""
    from driftmap.report.voice import Voice, read_catalogue

    catalogue = read_catalogue(language)
    return Voice(catalogue, units or catalogue.units)


stop_wind_option = click.option(
    "--stop-wind",
    is_flag=True,
    help="Also judge all winds around that of a go, in spans of up to 39 winds flown, and "
    "say on the page at which reading of the meter it stops being true.",
)
"""Add --stop-wind, which `around_of` takes up."""


def around_of(result: Assessment, *, asked: bool) -> WindMargin | None:
    """Judge the winds about that of an assessment, with a bar, if that was asked for."""
    if not asked:
        return None
    if result.verdict != "go":
        click.echo("--stop-wind: no go that a wind could stop", err=True)
        return None
    from driftmap.planning.wind_margin import MOST_WINDS, winds_around

    with click.progressbar(
        length=MOST_WINDS, label="Winds about", file=sys.stderr
    ) as bar:
        return winds_around(result, progress=bar.update)


def day_of(
    weather: Weather, altitude: float, wind: WindProfile | None = None
) -> AirDay | None:
    """Read the day from the options of `day_options`; None when nothing is known of it.

    What is left out is taken from the surface report among the winds, if there is one;
    what that does not say is standard, and dry.
    """
    from driftmap.air.atmosphere import pressure
    from driftmap.air.day import day_from_readings

    told, usual = weather.altimeter, float(pressure(altitude))
    if told is not None and told < _DEEP and abs(told - usual) <= _LIKE:
        raise InputError(
            "--altimeter",
            "",
            f"{told / 100:.0f} hPa is about what the air presses at the field itself, "
            f"{usual / 100:.0f} hPa at {altitude:.0f} m; accepted is the altimeter setting "
            "(QNH), of sea level: leave it out where nobody tells it",
        )
    warm, setting = (None, None) if wind is None else (wind.temperature, wind.altimeter)
    warm = warm if weather.temperature is None else weather.temperature
    setting = setting if weather.altimeter is None else weather.altimeter
    with located("surface readings", ""):
        return day_from_readings(altitude, warm, setting, weather.humidity)
