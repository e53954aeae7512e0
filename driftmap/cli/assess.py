"""``driftmap assess``: the main job."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Literal, Unpack

import click

from driftmap.cli.assessing import EXIT, Inputs, assessed, assessment_of
from driftmap.cli.options import around_of, stop_wind_option, voice_of, words_options
from driftmap.cli.output import Progress, json_text
from driftmap.cli.windoptions import echo_flight

__all__ = ["assess_command"]


@click.command("assess")
@assessed
@words_options
@stop_wind_option
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("driftmap-out"),
    show_default=True,
    help="Folder for map.html and assessment.json.",
)
@click.option(
    "--propose",
    is_flag=True,
    help="Fly changes to the plan and say which would turn the verdict.",
)
@click.option("--json", "as_json", is_flag=True, help="Print assessment.json.")
@click.option(
    "--log",
    metavar="[FILE]",
    is_flag=False,
    flag_value="",
    help="Write the assessment to your log, or to FILE; see driftmap log.",
)
@click.pass_context
def assess_command(
    ctx: click.Context,
    units: Literal["us", "si"] | None,
    language: str,
    stop_wind: bool,
    out: Path,
    propose: bool,
    as_json: bool,
    log: str | None,
    **inputs: Unpack[Inputs],
) -> None:
    """Say where everything can come down, who stands there, and whether to fly.

    Writes map.html, which opens with no network, and assessment.json.

    \b
    Examples:
      driftmap assess examples/willet.toml --site sites/saltgrass-flat.geojson \\
          --wind examples/morning.csv --when 2026-06-13T08:30-07:00 \\
          --answers examples/answers.toml --out today
      driftmap assess FLIGHT --site SITE --wind layers.csv --samples 100000 --units si
      driftmap assess FLIGHT --site SITE --wind "9 kt from 250" --wind bulletin.txt \\
          --station KXYZ --when 14:30

    Exit codes: 0 go, 3 hold, 4 no-go, 2 bad input.
    """
    from driftmap.cli.output import write_all
    from driftmap.report.map import map_html
    from driftmap.report.reading import stops_at
    from driftmap.report.terminal import proposals, summary
    from driftmap.report.voice import english
    from driftmap.verdict.assessment import document
    from driftmap.verdict.turning import turns

    voice = voice_of(language, units)
    result = assessment_of(inputs)
    around = around_of(result, asked=stop_wind)
    data, proposed = document(result), None
    if around is not None:
        data["holds_while"] = asdict(around)
    if propose:
        with Progress("changes of the plan") as progress:
            proposed = turns(result, progress=progress)
        data["proposals"] = [asdict(turn) for turn in proposed.better]
        data["stays"] = [check.name for check in proposed.stays]
    text = json_text(data)
    page = map_html(result, units=voice.units, language=voice.catalogue, around=around)
    write_all(out, {"map.html": page, "assessment.json": text + "\n"})
    if as_json:
        click.echo(text)
    else:
        click.echo(summary(result, units=voice.units))
        if around is not None:
            click.echo(stops_at(result.wind, around, english(voice.units)))
        echo_flight(inputs["asked"])
        if proposed is not None:
            click.echo("\n" + proposals(proposed, units=voice.units))
        click.echo(f"\nMap: {out / 'map.html'}")
    if log is not None:
        from driftmap.cli.log import log_assessment

        told = log_assessment(result, inputs, log)
        click.echo(told, err=as_json)
    ctx.exit(EXIT[result.verdict])
