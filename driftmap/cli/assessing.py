"""The options of every command that assesses a flight, and the assessment itself."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Final, TypedDict, TypeVar

import click

from driftmap.cli.answering import answers_option, setup_of
from driftmap.cli.options import (
    Quantity,
    Weather,
    day_options,
    run_options,
    site_of,
    site_options,
)
from driftmap.cli.output import Progress
from driftmap.cli.windoptions import Place, WindOptions, wind_of, wind_options

if TYPE_CHECKING:
    from driftmap.air.wind import WindProfile
    from driftmap.verdict.assessment import Assessment, Setup

__all__ = [
    "EXIT",
    "FlightInputs",
    "Inputs",
    "assessed",
    "assessment_of",
    "flight_options",
]

EXIT: Final = {"go": 0, "hold": 3, "no-go": 4}
"""Exit code of every command that reaches a verdict."""

T = TypeVar("T")


class FlightInputs(TypedDict):
    """What the options of `flight_options` hand to a command."""

    flight: str
    site: str
    asked: WindOptions
    weather: Weather
    samples: int
    seed: int


class Inputs(FlightInputs):
    """What the options of `assessed` hand to a command."""

    precision: float | None
    answers: tuple[str, ...]


def flight_options(command: Callable[..., T]) -> Callable[..., T]:
    """Add FLIGHT, --site, wind, day, --samples and --seed."""
    command = day_options(run_options(command))
    return click.argument("flight", metavar="FLIGHT")(
        site_options(wind_options(command))
    )


def assessed(command: Callable[..., T]) -> Callable[..., T]:
    """Add `flight_options`, --answers and --precision."""
    command = click.option(
        "--precision",
        type=Quantity("share", 0.0, 1.0, above=True),
        metavar="P",
        help='How well each area with people must be known, such as "30 %"; '
        "flies as many steered flights as that takes.",
    )(command)
    return flight_options(answers_option(command))


def assessment_of(inputs: Inputs) -> Assessment:
    """Read the inputs and assess the flight, with a progress bar for long runs."""
    from driftmap.rocket.flightfile import read_flight
    from driftmap.verdict.assessment import assess_setup

    rocket, ground = read_flight(inputs["flight"]), site_of(inputs["site"])
    wind = wind_of(inputs["asked"], Place.of(ground))
    setup = setup_of(
        rocket,
        ground,
        (inputs["samples"], inputs["seed"]),
        inputs["answers"],
        weather=inputs["weather"],
        wind=wind,
        when=inputs["asked"].when,
    )
    _forewarn(setup, wind)
    with Progress("flights", setup.samples) as progress:
        return assess_setup(
            setup, wind, precision=inputs["precision"], progress=progress
        )


def _forewarn(setup: Setup, wind: WindProfile) -> None:
    """Say before the flights are flown where no go can come of so few."""
    from driftmap.montecarlo.cloud import fly
    from driftmap.verdict.enough import SCOUTS, flights_needed

    few = min(setup.samples, SCOUTS)
    altitude = setup.site.elevation
    scout = fly(setup.flight, wind, altitude, samples=few, seed=1, day=setup.day)
    if text := flights_needed(scout, setup.site).warning(setup.samples):
        click.echo(text, err=True)
