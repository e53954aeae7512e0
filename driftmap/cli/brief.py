"""``driftmap brief``: one page to read aloud and post."""

from __future__ import annotations

from pathlib import Path
from typing import Literal, Unpack

import click

from driftmap.cli.assessing import EXIT, Inputs, assessed, assessment_of
from driftmap.cli.options import units_option
from driftmap.cli.windoptions import echo_flight

__all__ = ["brief_command"]


@click.command("brief")
@assessed
@units_option
@click.option(
    "--language",
    default="en",
    show_default=True,
    metavar="LANGUAGE",
    help="en, de, es, fr, or a catalogue file of your own (TOML).",
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("driftmap-out"),
    show_default=True,
    help="Folder for briefing.html.",
)
@click.pass_context
def brief_command(
    ctx: click.Context,
    units: Literal["us", "si"],
    language: str,
    out: Path,
    **inputs: Unpack[Inputs],
) -> None:
    """Write a sheet to read aloud and post: where to stand, what comes down where.

    Writes briefing.html: it opens with no network and prints on one page.

    \b
    Example:
      driftmap brief examples/willet.toml --site sites/saltgrass-flat.geojson \\
          --wind "8 mph from 240" --language de --units si --out today

    Exit codes: 0 go, 3 hold, 4 no-go, 2 bad input.
    """
    from driftmap.cli.output import write_all
    from driftmap.report.catalogue import read_catalogue
    from driftmap.report.sheet import brief_html

    catalogue = read_catalogue(language)
    result = assessment_of(inputs)
    page = brief_html(result, catalogue=catalogue, units=units)
    write_all(out, {"briefing.html": page})
    click.echo(f"{result.verdict.upper()}; briefing: {out / 'briefing.html'}")
    echo_flight(inputs["asked"])
    ctx.exit(EXIT[result.verdict])
