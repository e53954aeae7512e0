"""Options that several commands share, and how they are read."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Final, TypeVar

import click

from driftmap.errors import InputError
from driftmap.units import parse

if TYPE_CHECKING:
    from driftmap.air.day import Day
    from driftmap.air.wind import WindProfile
    from driftmap.ground.site import Site

__all__ = [
    "day_of",
    "day_options",
    "pad_option",
    "precision_of",
    "run_options",
    "site_of",
    "site_options",
    "units_option",
]

F = TypeVar("F", bound=Callable[..., object])


def _stack(*options: Callable[[F], F]) -> Callable[[F], F]:
    def add(command: F) -> F:
        for option in reversed(options):
            command = option(command)
        return command

    return add


def day_options(command: F) -> F:
    """Add the surface readings of the day."""
    return _stack(
        click.option("--temperature", metavar="T", help='At the site, such as "31 C".'),
        click.option(
            "--altimeter",
            metavar="P",
            help='Altimeter setting (QNH), such as "29.92 inHg".',
        ),
        click.option("--humidity", metavar="H", help='Relative, such as "40 %".'),
    )(command)


_PAD: Final = "driftmap.pad"


def _keep_pad(ctx: click.Context, _: click.Parameter, value: str | None) -> None:
    ctx.meta[_PAD] = value


def pad_option(command: F) -> F:
    """Add --pad, which `site_of` takes up."""
    return click.option(
        "--pad",
        metavar="NAME",
        expose_value=False,
        callback=_keep_pad,
        help="Pad flown from, where the site has several.",
    )(command)


def site_options(command: F) -> F:
    """Add --site and --pad."""
    site = click.option(
        "--site", required=True, metavar="SITE", help="Site file (GeoJSON)."
    )
    return site(pad_option(command))


def site_of(path: str) -> Site:
    """Read a site about the pad that --pad names."""
    from driftmap.ground.site import read_site

    context = click.get_current_context(silent=True)
    return read_site(path, pad=None if context is None else context.meta.get(_PAD))


def run_options(command: F) -> F:
    """Add --samples and --seed."""
    return _stack(
        click.option(
            "--samples",
            type=click.IntRange(20, 5_000_000),
            default=20_000,
            show_default=True,
            help="Flights flown in each case.",
        ),
        click.option(
            "--seed",
            type=click.IntRange(0),
            default=1,
            show_default=True,
            help="The same seed gives the same points.",
        ),
    )(command)


def units_option(command: F) -> F:
    """Add --units."""
    return click.option(
        "--units",
        type=click.Choice(["us", "si"]),
        default="us",
        show_default=True,
        help="Units to show.",
    )(command)


def precision_of(text: str | None) -> float | None:
    """Read a wanted precision; None when none was given."""
    from driftmap.hazard.sampling import read_precision

    try:
        return None if text is None else read_precision(text)
    except ValueError as problem:
        raise InputError("--precision", "", str(problem)) from None


def day_of(
    temperature: str | None,
    altimeter: str | None,
    humidity: str | None,
    altitude: float,
    wind: WindProfile | None = None,
) -> Day | None:
    """Read the day from the options of `day_options`; None when nothing is known of it.

    What is left out is taken from the surface report among the winds, if there is one;
    what that does not say is standard, and dry.
    """
    from driftmap.air.day import day_told

    told = (None, None) if wind is None else (wind.temperature, wind.altimeter)
    try:
        return day_told(
            altitude,
            _read("--temperature", temperature, "temperature", told[0]),
            _read("--altimeter", altimeter, "pressure", told[1]),
            _read("--humidity", humidity, "share", None),
        )
    except ValueError as problem:
        raise InputError("surface readings", "", str(problem)) from None


def _read(
    option: str, text: str | None, dimension: str, default: float | None
) -> float | None:
    if text is None:
        return default
    try:
        return parse(text, dimension)
    except ValueError as problem:
        raise InputError(option, "", str(problem)) from None
