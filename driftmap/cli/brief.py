"""``driftmap brief``: one page to read aloud and post."""

from __future__ import annotations

from pathlib import Path
from typing import Literal, Unpack

import click

from driftmap.cli.assessing import EXIT, Inputs, assessed, assessment_of
from driftmap.cli.options import around_of, stop_wind_option, voice_of, words_options
from driftmap.cli.windoptions import echo_flight

__all__ = ["brief_command"]


@click.command("brief")
@assessed
@words_options
@stop_wind_option
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("driftmap-out"),
    show_default=True,
    help="Folder for the three pages.",
)
@click.pass_context
def brief_command(
    ctx: click.Context,
    units: Literal["us", "si"] | None,
    language: str,
    stop_wind: bool,
    out: Path,
    **inputs: Unpack[Inputs],
) -> None:
    """Write a sheet to read aloud and post: where to stand, what comes down where.

    Writes briefing.html, poster.html, six lines for the crowd, and caller.html, the
    seconds to read aloud. Each opens with no network and prints on one page.

    \b
    Example:
      driftmap brief examples/willet.toml --site sites/saltgrass-flat.geojson \\
          --wind "8 mph from 240" --language de --units si --out today

    Exit codes: 0 go, 3 hold, 4 no-go, 2 bad input.
    """
    from driftmap.cli.output import write_all
    from driftmap.report.posters import caller_html, poster_html
    from driftmap.report.sheet import brief_html

    voice = voice_of(language, units)
    result = assessment_of(inputs)
    around = around_of(result, asked=stop_wind)
    pages = {
        f"{name}.html": write(
            result, catalogue=voice.catalogue, units=voice.units, around=around
        )
        for name, write in (
            ("briefing", brief_html),
            ("poster", poster_html),
            ("caller", caller_html),
        )
    }
    write_all(out, pages)
    click.echo(f"{result.verdict.upper()}; briefing: {out / 'briefing.html'}")
    echo_flight(inputs["asked"])
    ctx.exit(EXIT[result.verdict])
