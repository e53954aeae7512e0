"""``driftmap desk`` and ``survey``: pages served to the browser of this machine."""

from __future__ import annotations

from pathlib import Path

import click

from driftmap.cli.options import out_here_option

__all__ = ["desk_command", "survey_command"]


@click.command("desk")
@click.argument(
    "folder", metavar="FOLDER", type=click.Path(file_okay=False, path_type=Path)
)
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=0,
    help="Port on this machine; 0 takes the one it had last, or a free one.",
)
@click.option(
    "--no-browser", "quiet", is_flag=True, help="Tell the address, open nothing."
)
def desk_command(folder: Path, port: int, quiet: bool) -> None:
    """Serve a folder of plain files as one page on this machine.

    The field, the flights, the wind and the day's list are drawn, typed and judged in
    the browser; every file stays one that the other commands read and write. Only this
    machine is answered, and only with the key in the address.

    \b
    Example:
      driftmap desk saturday
    """
    from driftmap.desk.serve import serve

    serve(folder, port=port, show=not quiet, echo=click.echo)


@click.command("survey")
@out_here_option("Folder for survey.html.")
def survey_command(out: Path) -> None:
    """Write the page that surveys a field: it needs no network, on a phone least of all.

    Pad and areas by tape and compass, by tapping, or by standing at their corners; the file it
    gives is a site file.

    \b
    Example:
      driftmap survey --out field
    """
    from driftmap.cli.output import write_all
    from driftmap.desk.serve import survey_html

    write_all(out, {"survey.html": survey_html()})
    click.echo(f"Survey: {out / 'survey.html'}")
