"""``driftmap compare``: which recovery device to choose."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from driftmap.cli.inputs import (
    WindOptions,
    answers_option,
    echo_flight,
    setup_in_wind,
    setup_of,
    wind_options,
)
from driftmap.cli.options import (
    json_option,
    out_option,
    run_options,
    site_options,
    words_options,
)
from driftmap.cli.output import Progress, json_text, write_all

if TYPE_CHECKING:
    from driftmap.report.voice import Voice

__all__ = ["compare_command"]


@click.command("compare")
@click.argument("flights", metavar="FLIGHT [OTHER]...", nargs=-1, required=True)
@site_options
@wind_options
@answers_option()
@run_options()
@words_options
@out_option("Folder for compare.html.")
@json_option()
def compare_command(  # noqa: PLR0913, PLR0917 - one an option, or a group of them
    flights: tuple[str, ...],
    site: str,
    asked: WindOptions,
    answers: tuple[str, ...],
    samples: int,
    seed: int,
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

    flight, *others = flights
    setup, wind = setup_in_wind(flight, site, asked, (samples, seed), answers)
    beside = [
        setup_of(
            read_flight(other),
            setup.site,
            (samples, seed),
            answers,
            wind=wind,
            when=asked.when,
        )
        for other in others
    ]
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
    echo_flight(asked)
    click.echo(compare_told(data, rows, voice))
