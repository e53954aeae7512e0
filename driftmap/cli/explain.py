"""``driftmap explain``: flights held against what people saw, and which case fits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from typing import TYPE_CHECKING, TypeVar, Unpack

import click

from driftmap.cli.assess import flight_options
from driftmap.cli.inputs import FlightInputs, WindPlace, wind_asked
from driftmap.cli.options import (
    day_of,
    json_option,
    option_stack,
    site_of,
    units_option,
)
from driftmap.cli.output import Progress, json_text

if TYPE_CHECKING:
    from driftmap.montecarlo.cloud import Cloud
    from driftmap.observations.evidence import Explanation
    from driftmap.observations.seenfile import Observed
    from driftmap.observations.weighing import Weighed
    from driftmap.report.words import Units

__all__ = [
    "SeenInputs",
    "explain_command",
    "flown_and_weighed",
    "observed",
    "read_observed",
    "tell_doubts",
]

T = TypeVar("T")


class SeenInputs(FlightInputs):
    """What the options of `observed` hand to a command."""

    seen: tuple[str, ...]
    searched: tuple[str, ...]


def observed(
    option: str, told: str, *, required: bool = False
) -> Callable[[Callable[..., T]], Callable[..., T]]:
    """Add FLIGHT, --site, wind, day, run, a file of observations and --searched."""
    return option_stack(
        flight_options,
        click.option(
            option, "seen", multiple=True, required=required, metavar="FILE", help=told
        ),
        click.option(
            "--searched",
            multiple=True,
            metavar="FILE",
            help="Ground walked in vain, in the same form.",
        ),
    )


def read_observed(inputs: SeenInputs) -> Observed:
    """Read the flight, the site, the wind and what was seen; nothing is flown yet."""
    from driftmap.observations.seenfile import Observed, read_told
    from driftmap.rocket.flightfile import read_flight

    flight, site = read_flight(inputs["flight"]), site_of(inputs["site"])
    files = (*inputs["seen"], *inputs["searched"])
    told, assumed = read_told(files, flight, site)  # before a forecast is asked for
    wind = wind_asked(inputs["asked"], WindPlace.of(site))
    day = day_of(inputs["weather"], site.elevation, wind)
    return Observed(flight, site, wind, day, told, assumed, files)


def flown_and_weighed(
    seen: Observed, inputs: SeenInputs, bodies: set[str] | None = None
) -> tuple[Cloud, Weighed]:
    """Fly what was observed, beside the rocket only some bodies if named, and weigh it."""
    with Progress("flights", inputs["samples"]) as progress:
        return seen.weighed(inputs["samples"], inputs["seed"], bodies, progress)


class _Options(SeenInputs):
    """What the options of ``explain`` alone hand over, beside those of `observed`."""

    units: Units
    as_json: bool


@click.command("explain")
@observed(
    "--found",
    "Where pieces lay and what was seen (TOML), as for driftmap search.",
    required=True,
)
@units_option
@json_option("Print as JSON.")
def explain_command(**options: Unpack[_Options]) -> None:
    """Say which case fits what was found, how surely, and what would settle it.

    \b
    Example:
      driftmap explain examples/willet.toml --site sites/saltgrass-flat.geojson \\
          --wind "14 mph from 230" --found examples/found.toml

    An aid to thought: it knows only the cases of the flight file, and says so when none of
    them explains what was found.
    """
    from driftmap.observations.evidence import explain
    from driftmap.observations.fit import fit_of
    from driftmap.observations.flown import flown_cases
    from driftmap.observations.observation import FAR_IN

    far = FAR_IN[options["units"]]
    seen = read_observed(options)
    cloud, known = flown_and_weighed(seen, options)
    result = explain(known, fit_of(flown_cases(cloud, seen.wind), seen.told), far)
    notes = seen.notes(known)
    if options["as_json"]:
        doubted = [doubt.says(far) for doubt in known.doubted]
        told = {**asdict(result), "notes": notes, "doubted": doubted}
        click.echo(json_text(told))
        return
    click.echo(_text(result))
    tell_doubts(known, options["units"])
    click.echo("\n".join(["\nAssumed:", *(f"  {note}" for note in notes)]))


def tell_doubts(known: Weighed, units: Units) -> None:
    """Say what was told but comes near nothing that was flown."""
    from driftmap.observations.observation import FAR_IN

    for doubt in known.doubted:
        told = doubt.says(FAR_IN[units])
        click.echo(f"AT ODDS with everything flown, taken as a mistake: {told}")


def _text(result: Explanation) -> str:
    from driftmap.observations.toward import ENOUGH

    lines = []
    if not result.explained:
        lines += [
            "!! NONE OF THE CASES EXPLAINS THIS: each would show something so odd in fewer",
            "!! than 1 flight of 100. The chances below only compare cases that do not fit.",
            "",
        ]
    lines += ["Chance    before    fit     case"]
    lines += [
        f"{100 * s.after:6.1f} %  {100 * s.before:6.1f} %  "
        f"{'odd' if s.fit < 0.01 else f'{s.fit:.2f}':6}  {s.case}"
        f"{f'  (± {100 * s.error:.1f} %)' if s.error > 0.01 else ''}"
        for s in result.shares
        if s.after >= 0.0005 or s.before > 0.5
    ]
    for title, sentences in (
        ("What each thing says", result.evidence),
        ("How surely they are told apart", result.apart),
        ("What would settle it", result.advice),
    ):
        if sentences:
            lines += ["", f"{title}:", *(f"  {text}" for text in sentences)]
    few = "" if result.effective >= ENOUGH else " - FEW: read the chances as rough"
    rests = f"\nRests on {result.effective:,.0f} effective flights{few}."
    return "\n".join([*lines, rests])
