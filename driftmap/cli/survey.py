"""``driftmap survey``: the page that draws or walks a field, by itself."""

from __future__ import annotations

from pathlib import Path

import click

__all__ = ["survey_command"]


@click.command("survey")
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("driftmap-out"),
    show_default=True,
    help="Folder for survey.html.",
)
def survey_command(out: Path) -> None:
    """Write the page that surveys a field: it needs no network, on a phone least of all.

    Pad and areas by tape and compass, by tapping, or by standing at their corners; the file it
    gives is a site file.

    \b
    Example:
      driftmap survey --out field
    """
    from driftmap.cli.output import write_all
    from driftmap.desk.survey import survey_html

    write_all(out, {"survey.html": survey_html()})
    click.echo(f"Survey: {out / 'survey.html'}")
