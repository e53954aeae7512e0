"""``driftmap cases`` and ``compare``: what can happen, and other ways to bring it down."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from driftmap.cli.inputs import (
    Run,
    WindOptions,
    WindPlace,
    answers_option,
    echo_flight,
    into_run,
    wind_asked,
    wind_options,
    wind_options_for,
)
from driftmap.cli.options import (
    json_option,
    out_option,
    pad_option,
    run_options,
    site_of,
    site_options,
    words_options,
)
from driftmap.cli.output import Progress, json_text, write_all

if TYPE_CHECKING:
    from driftmap.report.voice import Voice

__all__ = ["cases_command", "compare_command"]


@click.command("compare")
@click.argument("flights", metavar="FLIGHT [OTHER]...", nargs=-1, required=True)
@site_options
@wind_options
@answers_option()
@run_options()
@words_options
@out_option("Folder for compare.html.")
@json_option()
@into_run
def compare_command(
    run: Run,
    flights: tuple[str, ...],
    voice: Voice,
    out: Path | None,
    as_json: bool,
) -> None:
    """Hold other ways to bring the rocket down, or other flights, side by side.

    All are flown in one wind, on the same luck. Several flight files are held side by
    side as they are. Of one alone the alternatives are its [[alternative]] tables, each
    with a name and its own [[alternative.recovery]]; where there are none, smaller,
    larger, lower and streamer versions are made up from the plan, and a fall without any
    recovery.

    \b
    Example:
      driftmap compare examples/willet.toml --site sites/saltgrass-flat.geojson \\
          --wind examples/noon.csv --when 2026-06-13T12:15-07:00
    """
    from driftmap.planning.documents import compare_document
    from driftmap.report.casetold import compare_page, compare_rows, compare_told
    from driftmap.rocket.flightfile import read_flight
    from driftmap.verdict.turning import compare

    first, *others = flights
    setup, wind = replace(run, flight=first).in_wind()
    beside = [run.setup(read_flight(other), setup.site, wind) for other in others]
    with Progress("ways down") as progress:
        found = compare(setup, wind, beside=beside, progress=progress)
    data = compare_document(setup, found)
    rows = compare_rows(data["alternatives"], found, voice)
    if out is not None:
        page = compare_page(data, rows, setup.site.name, voice)
        write_all(out, {"compare.html": page})
    if as_json:
        click.echo(json_text(data))
        return
    echo_flight(run.asked)
    click.echo(compare_told(data, rows, voice))


@click.command("cases")
@click.argument("flight", metavar="FLIGHT")
@click.option("--site", metavar="SITE", help="Site file; gives the elevation.")
@pad_option
@wind_options_for("As in assess; calm when left out.")
@run_options()
@words_options
@out_option("Folder for cases.html.")
@json_option()
def cases_command(
    flight: str,
    site: str | None,
    asked: WindOptions,
    samples: int,
    seed: int,
    voice: Voice,
    out: Path | None,
    as_json: bool,
) -> None:
    """Print what can happen to a flight, how likely, with margins and assumptions.

    Edit the likelihoods under [cases] in the flight file, and add
    cases of your own as [[case]] tables.

    \b
    Example:
      driftmap cases examples/whimbrel.toml --wind "8 mph from 240"
    """
    from driftmap.montecarlo.cloud import fly
    from driftmap.planning.documents import cases_document
    from driftmap.report.casetold import cases_page, cases_told
    from driftmap.rocket.flightfile import read_flight

    plan = read_flight(flight)
    place = WindPlace(0.0) if site is None else WindPlace.of(site_of(site))
    if not asked.winds and asked.at is None:
        asked = replace(asked, winds=("calm",))
    wind = wind_asked(asked, place)
    cloud = fly(plan, wind, place.elevation, samples=samples, seed=seed)
    data = cases_document(cloud, wind.source)
    if out is not None:
        write_all(out, {"cases.html": cases_page(data, voice)})
    click.echo(json_text(data) if as_json else cases_told(data, voice))
