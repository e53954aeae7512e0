"""``driftmap dial``, ``desk`` and ``survey``: pages for the field, or for this machine's browser."""

from __future__ import annotations

import os
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from driftmap.cli.inputs import (
    Run,
    answers_option,
    into_run,
    occasion_of,
    wind_options_for,
)
from driftmap.cli.options import (
    Quantity,
    day_options,
    out_here_option,
    run_options,
    site_options,
    words_options,
)
from driftmap.cli.output import Progress, write_all
from driftmap.core.pools import processes

if TYPE_CHECKING:
    from driftmap.planning.assumed_winds import Supposition
    from driftmap.planning.dial import Dial
    from driftmap.planning.dial_reach import Reach
    from driftmap.report.voice import Voice
    from driftmap.verdict.setup import Setup


@click.command("dial")
@click.argument("flight", metavar="FLIGHT")
@site_options
@wind_options_for(
    "Wind whose shape is scaled and turned with the meter; by default the law over the "
    "ground of --terrain. Give it again to merge a surface reading with winds aloft. "
    "Other winds aloft than were read say CHECK ALOFT, never go."
)
@click.option(
    "--top-speed",
    type=Quantity("speed", 0.5, 40.0),
    default="20 mph",
    help="Strongest wind at the meter, at head height.",
)
@click.option(
    "--speeds", type=click.IntRange(1, 40), default=10, help="Steps from calm to it."
)
@click.option(
    "--directions",
    type=click.IntRange(4, 72),
    default=36,
    help="Directions round the compass.",
)
@click.option(
    "--gust",
    type=Quantity("number", 1.0, 5.0),
    default="1",
    help="Strongest gusts over the mean wind, such as 1.4; the page holds in stronger ones.",
)
@run_options(
    4000,
    1,
    100_000,
    samples="Flights flown in each case and wind; too few can never be go.",
    seed="The same seed gives the same page.",
)
@day_options
@words_options
@answers_option()
@out_here_option("Folder for dial.html.")
@into_run
def dial_command(
    run: Run,
    top_speed: float,
    speeds: int,
    directions: int,
    gust: float,
    voice: Voice,
    out: Path,
) -> None:
    """Work out every wind beforehand, to be read at the pad from a hand-held meter.

    Writes dial.html: it opens with no network. Set speed and direction on it and see the
    verdict, its reasons, and where every piece comes down.

    \b
    Examples:
      driftmap dial examples/dunlin.toml --site sites/saltgrass-flat.geojson \\
          --answers examples/answers.toml --out today
      driftmap dial FLIGHT --site SITE --wind morning.csv --top-speed "9 m/s" --units si
    """
    from driftmap.planning.dial_reach import Reach
    from driftmap.planning.dial_reading import check_between
    from driftmap.report.dialpage import dial_html

    reach = Reach(top_speed, speeds, directions, gust)
    setup, supposition = run.supposed()
    dial = _computed(setup, supposition, reach)
    # The answers count for that day, so the page must not outlive it.
    served = occasion_of(setup.flight, setup.site, run.asked.when).day
    page = dial_html(dial, units=voice.units, language=voice.catalogue, made_for=served)
    write_all(out, {"dial.html": page})
    click.echo(_told(dial))
    between = check_between(dial)
    click.echo(
        f"{between.cells} cells between them: {between.milder} are held by what lies "
        "between the winds alone (more --directions and --speeds make cells smaller)"
    )
    click.echo(f"\nDial: {out / 'dial.html'} ({len(page.encode()) / 1000:.0f} kB)")


def _computed(setup: Setup, supposition: Supposition, reach: Reach) -> Dial:
    from driftmap.planning.dial import compute_dial
    from driftmap.planning.sweep import Workers

    told = partial(click.echo, err=True)
    with Progress("groups of winds") as progress:
        workers = Workers(None, partial(processes, os.cpu_count() or 1), progress)
        return compute_dial(setup, supposition, reach, workers=workers, told=told)


def _told(dial: Dial) -> str:
    from driftmap.planning.dial_node import WORDS

    words = [node.word for node in dial.nodes]
    named = {"go if aloft": "check aloft"}  # as on the page
    text = ", ".join(f"{words.count(w)} {named.get(w, w)}" for w in WORDS)
    lost = sum(bool(node.problem) for node in dial.nodes)
    more = f"; {lost} of them could not be worked out and hold" if lost else ""
    told = f"{len(dial.nodes)} winds: {text}{more}"
    if few := dial.samples_to_settle:
        told += f"\nmore flights may settle some: --samples {few}, perhaps more still"
    return told


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
    from driftmap.desk.serve import survey_html

    write_all(out, {"survey.html": survey_html()})
    click.echo(f"Survey: {out / 'survey.html'}")
