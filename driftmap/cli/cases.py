"""``driftmap cases``: the tree of what can happen, with margins and assumptions."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from driftmap.cli.inputs import WindOptions, WindPlace, wind_asked, wind_options_for
from driftmap.cli.options import (
    json_option,
    out_option,
    pad_option,
    run_options,
    site_of,
    words_options,
)
from driftmap.cli.output import json_text, write_all

if TYPE_CHECKING:
    from driftmap.report.voice import Voice

__all__ = ["cases_command"]


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
