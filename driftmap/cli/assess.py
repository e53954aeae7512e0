"""``driftmap assess``, ``brief`` and ``export``: one flight in one wind."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, replace
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Final, TypeVar

import click

from driftmap.cli.inputs import (
    Run,
    answers_option,
    echo_flight,
    flight_options,
    forewarn,
    need_of,
)
from driftmap.cli.options import (
    Quantity,
    around_of,
    json_option,
    out_here_option,
    stop_wind_option,
    words_options,
)
from driftmap.cli.output import EXIT, Progress, json_text, write_all
from driftmap.core.errors import DriftmapError, NoGoError, located, one_line

if TYPE_CHECKING:
    from driftmap.air.wind import WindProfile
    from driftmap.report.voice import Voice
    from driftmap.verdict.assessment import Assessment
    from driftmap.verdict.what_if import Turning


_EXPORTS: Final = {
    "geojson": ("landing.geojson",),
    "kml": ("landing.kml",),
    "gpx": ("landing.gpx",),
    "csv": tuple(
        f"{name}.csv"
        for name in ("about", "areas", "contours", "pieces", "points", "grid")
    ),
}
_PAGES: Final = ("map.html", "briefing.html", "poster.html", "caller.html")
_WRITTEN: Final = (*_PAGES, "assessment.json", *chain(*_EXPORTS.values()))
"""All that an assessment leaves in a folder, by whichever command."""

T = TypeVar("T")


def assessed(command: Callable[..., T]) -> Callable[..., T]:
    """Add `flight_options`, --answers and --precision."""
    precision = click.option(
        "--precision",
        type=Quantity("share", 0.0, 1.0, above=True),
        help='How well each area with people must be known, such as "30 %"; '
        "flies as many steered flights as that takes.",
    )
    return flight_options(answers_option()(precision(command)))


def _assessment_of(run: Run, out: Path, pages: Sequence[str]) -> Assessment:
    """Read the inputs and assess the flight, with a progress bar for long runs.

    Where it is no go, nothing that an earlier run left in the folder passes for this
    one's. ``pages``: the pages that the command is to write.
    """
    from driftmap.verdict.assessment import assess_setup
    from driftmap.verdict.judgement import flights_needed

    earlier = [name for name in _WRITTEN if (out / name).exists()]
    try:
        setup, wind = run.in_wind()
        wind = _by_the_clock(wind, run, out)
        said = forewarn(setup.samples, need_of(setup, wind))
        draws = _bring_map if "map.html" in pages else int
        with Progress("flights", setup.samples, meanwhile=draws) as progress:
            result = assess_setup(
                setup, wind, precision=run.precision, progress=progress
            )
    except NoGoError as problem:
        _refuse(out, dict.fromkeys([*pages, *earlier]), problem)
        raise
    except DriftmapError:
        _still_there(out, earlier)
        raise
    if result.verdict != "go":
        if not said:
            need = flights_needed(result.cloud, result.site, result.answers)
            forewarn(result.cloud.flights, need)
        _still_there(out, [name for name in earlier if name not in pages])
    return result


def _bring_map() -> None:
    """Import what draws the map, which takes as long as two thousand flights."""
    import folium  # noqa: F401

    import driftmap.report.map  # noqa: F401


def _refuse(out: Path, names: Iterable[str], problem: NoGoError) -> None:
    """Replace each page by the no-go for which nothing was flown, and remove its data."""
    from driftmap.report.page import refusal
    from driftmap.report.voice import english

    page = refusal(one_line(str(problem)), english("us"))
    write_all(out, {name: page for name in names if name.endswith(".html")})
    for name in names:
        if not name.endswith(".html"):
            (out / name).unlink(missing_ok=True)


def _still_there(out: Path, names: Sequence[str]) -> None:
    """Say which files in the folder are of an earlier run."""
    if names:
        text = ", ".join(str(out / name) for name in names)
        click.echo(f"of an earlier run, not of this one: {text}", err=True)


def _by_the_clock(wind: WindProfile, run: Run, out: Path) -> WindProfile:
    """Hold where a file is newer than this computer's clock, and the flight is now.

    A clock that is behind lets an old reading, and the last go, count for longer.
    """
    from driftmap.verdict.setup import CLOCKS

    latest = time.time() + CLOCKS.total_seconds()
    named = [run.flight, run.site, *run.answers, *run.asked.winds]
    paths = [__file__, *named, *(str(out / name) for name in _WRITTEN)]
    late = []
    for path in paths:
        with contextlib.suppress(OSError, ValueError):  # words are no file
            if Path(path).stat().st_mtime > latest:
                late.append(path)
    if run.asked.when is not None or not late:
        return wind
    text = f"this computer's clock is behind: {late[0]} is newer than now; set it"
    return replace(wind, warned=(*wind.warned, text))


@click.command("assess")
@assessed
@words_options
@stop_wind_option
@out_here_option("Folder for map.html and assessment.json.")
@click.option(
    "--propose",
    is_flag=True,
    help="Fly changes to the plan and say which would change the verdict.",
)
@json_option("Print assessment.json.")
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
    voice: Voice,
    stop_wind: bool,
    out: Path,
    propose: bool,
    as_json: bool,
    log: str | None,
    run: Run,
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
    from driftmap.cli.log import check_log, inputs_to_log, log_assessment

    if log is not None:
        check_log(log)
        inputs = inputs_to_log(run)
    result = _assessment_of(run, out, ("map.html", "assessment.json"))
    from driftmap.report.map import map_html
    from driftmap.report.terminal import proposals, summary
    from driftmap.report.voice import english
    from driftmap.report.wind_text import stops_at
    from driftmap.verdict.document import document

    around = around_of(result, asked=stop_wind)
    proposed = _proposed(result) if propose else None
    data = document(result)
    if around is not None:
        data["holds_while"] = asdict(around)
    if proposed is not None:
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
        echo_flight(run.asked)
        if proposed is not None:
            click.echo("\n" + proposals(proposed, units=voice.units))
        click.echo(f"\nMap: {out / 'map.html'}")
    if log is not None:
        click.echo(log_assessment(result, run, inputs, log), err=as_json)
    ctx.exit(EXIT[result.verdict])


def _proposed(result: Assessment) -> Turning:
    """Fly changes to the plan."""
    from driftmap.cli.plans import in_processes
    from driftmap.verdict.what_if import turns

    with (
        Progress("changes of the plan") as progress,
        in_processes(result.cloud.flights) as through,
    ):
        return turns(result, progress=progress, through=through)


@click.command("brief")
@assessed
@words_options
@stop_wind_option
@out_here_option("Folder for the three pages.")
@click.pass_context
def brief_command(
    ctx: click.Context, voice: Voice, stop_wind: bool, out: Path, run: Run
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
    from driftmap.report.instructions import watch
    from driftmap.report.sheet import brief_html, caller_html, poster_html

    writers = {
        "briefing.html": brief_html,
        "poster.html": poster_html,
        "caller.html": caller_html,
    }
    result = _assessment_of(run, out, tuple(writers))
    around = around_of(result, asked=stop_wind)
    seen = watch(result, voice)
    write_all(out, {name: write(seen, around) for name, write in writers.items()})
    click.echo(f"{result.verdict.upper()}; briefing: {out / 'briefing.html'}")
    echo_flight(run.asked)
    ctx.exit(EXIT[result.verdict])


@click.command("export")
@assessed
@click.option(
    "--as",
    "formats",
    type=click.Choice(tuple(_EXPORTS)),
    multiple=True,
    required=True,
    help="Format to write; give it again for more.",
)
@click.option(
    "--points",
    type=click.IntRange(0),
    default=100,
    help="Landing points written of each piece, at the most (not in GPX).",
)
@click.option(
    "--floor",
    type=Quantity("share", 0.0, 1.0),
    default="0.01 %",
    help="Squares less likely to be hit are left out (GeoJSON, CSV).",
)
@click.option(
    "--square",
    type=Quantity("length", 0.1, 10_000.0),
    help='Side of the squares, such as "50 m"; by default to suit the spread.',
)
@out_here_option("Folder for the files.")
@click.pass_context
def export_command(
    ctx: click.Context,
    formats: tuple[str, ...],
    points: int,
    floor: float,
    square: float | None,
    out: Path,
    run: Run,
) -> None:
    """Write contours, landing points, areas and probabilities in open formats.

    \b
    geojson   landing.geojson: everything
    kml       landing.kml: everything but the squares
    gpx       landing.gpx: pad and mean landing points; outlines as tracks
    csv       about.csv, areas.csv, contours.csv, pieces.csv, points.csv, grid.csv

    \b
    Example:
      driftmap export examples/willet.toml --site sites/saltgrass-flat.geojson \\
          --wind "8 mph from 240" --as kml --as gpx --out today

    Exit codes: those of assess, for the verdict stands in the files.
    """
    from driftmap.report import geojson_csv
    from driftmap.report.kml_gpx import gpx_text, kml_text

    names = tuple(chain(*(_EXPORTS[name] for name in formats)))
    result = _assessment_of(run, out, names)
    with located("--floor and --square", ""):
        cells = geojson_csv.hit_cells(result.cloud, floor=floor, size=square)
    makers: dict[str, Callable[[], str]] = {
        "landing.geojson": lambda: geojson_csv.geojson_text(
            result, points=points, cells=cells
        ),
        "landing.kml": lambda: kml_text(result, points=points),
        "landing.gpx": lambda: gpx_text(result),
        "about.csv": lambda: geojson_csv.about_csv(result),
        "areas.csv": lambda: geojson_csv.areas_csv(result),
        "contours.csv": lambda: geojson_csv.contours_csv(result),
        "pieces.csv": lambda: geojson_csv.pieces_csv(result),
        "points.csv": lambda: geojson_csv.points_csv(result, points=points),
        "grid.csv": lambda: geojson_csv.grid_csv(result, cells=cells),
    }
    files = {name: make() for name, make in makers.items() if name in names}
    write_all(out, files)
    click.echo(f"{result.verdict.upper()}; written to {out}:")
    for name, text in files.items():
        click.echo(f"  {name}, {len(text.encode()) / 1000:,.0f} kB")
    echo_flight(run.asked)
    ctx.exit(EXIT[result.verdict])
