"""The options of every command that assesses a flight, and the assessment itself."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Final, TypedDict, TypeVar

import click

from driftmap.cli.options import (
    day_of,
    day_options,
    run_options,
    wind_of,
    wind_options,
)

if TYPE_CHECKING:
    from driftmap.assessment import Assessment

__all__ = ["EXIT", "Inputs", "assessed", "assessment_of"]

EXIT: Final = {"go": 0, "hold": 3, "no-go": 4}
"""Exit code of every command that reaches a verdict."""

F = TypeVar("F", bound=Callable[..., object])


class Inputs(TypedDict):
    """What the options of `assessed` hand to a command."""

    flight: str
    site: str
    winds: tuple[str, ...]
    station: str | None
    when: str | None
    temperature: str | None
    altimeter: str | None
    humidity: str | None
    samples: int
    seed: int


def assessed(command: F) -> F:
    """Add FLIGHT, --site, the wind, the day, --samples and --seed."""
    command = run_options(command)
    command = day_options(command)
    command = wind_options(command)
    site = click.option(
        "--site", required=True, metavar="SITE", help="Site file (GeoJSON)."
    )
    return click.argument("flight", metavar="FLIGHT")(site(command))


def assessment_of(inputs: Inputs) -> Assessment:
    """Read the inputs and assess the flight, with a progress bar for long runs."""
    from driftmap.assessment import assess
    from driftmap.cli.assess import _Progress
    from driftmap.flightfile import read_flight
    from driftmap.site import read_site

    rocket, ground = read_flight(inputs["flight"]), read_site(inputs["site"])
    wind = wind_of(inputs["winds"], inputs["station"], inputs["when"], ground)
    day = day_of(
        inputs["temperature"],
        inputs["altimeter"],
        inputs["humidity"],
        ground.elevation,
    )
    samples, seed = inputs["samples"], inputs["seed"]
    with _Progress(samples) as progress:
        return assess(
            rocket, ground, wind, samples=samples, seed=seed, day=day, progress=progress
        )
