"""``driftmap explain`` and ``search``: which case fits what people saw, and where to look."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from driftmap.cli.inputs import Run, flight_options, place_of, wind_asked
from driftmap.cli.options import (
    Quantity,
    day_of,
    gathered,
    json_option,
    option_stack,
    out_option,
    units_option,
    words_options,
)
from driftmap.cli.output import Progress, json_text, write_all
from driftmap.core.errors import InputError, quoted

if TYPE_CHECKING:
    from driftmap.ground.areas import Site
    from driftmap.observations.seenfile import Observed
    from driftmap.observations.weighing import Weighed
    from driftmap.report.voice import Voice
    from driftmap.report.words import Units


T = TypeVar("T")


def _observed(
    option: str, told: str, *, required: bool = False
) -> Callable[[Callable[..., T]], Callable[..., T]]:
    """Add FLIGHT, --site, wind, day, run, and ``files``: of observations, and --searched."""
    return option_stack(
        flight_options,
        click.option(
            option, "seen", multiple=True, required=required, metavar="FILE", help=told
        ),
        click.option(
            "--searched",
            multiple=True,
            metavar="FILE",
            help="Ground walked in vain, in the same form.",
        ),
        gathered(
            lambda seen, searched: (*seen, *searched), "files", "seen", "searched"
        ),
    )


def _read_observed(run: Run, files: tuple[str, ...]) -> Observed:
    """Read the flight, the site, the wind and what was seen; nothing is flown yet."""
    from driftmap.observations.seenfile import Observed, read_seen
    from driftmap.winds.times import present

    flight, site = run.read()
    told, assumed = read_seen(files, flight, site)  # before a forecast is asked for
    wind = wind_asked(run.asked, place_of(site))
    day = day_of(run.weather, site.elevation, wind)
    when, _ = run.asked.times(present())
    return Observed(flight, site, wind, day, told, assumed, files, when)


def _flown_and_weighed(seen: Observed, run: Run, **how: Any) -> tuple[Weighed, Weighed]:
    """Fly what was observed, as `Observed.weighed` takes it, and weigh it."""
    with Progress("flights", run.samples) as progress:
        return seen.weighed(run.samples, run.seed, progress=progress, **how)


@click.command("explain")
@_observed(
    "--found",
    "Where pieces lay and what was seen (TOML), as for driftmap search.",
    required=True,
)
@units_option
@json_option()
def explain_command(
    run: Run, files: tuple[str, ...], units: Units, as_json: bool
) -> None:
    """Say which case fits what was found, how surely, and what would settle it.

    \b
    Example:
      driftmap explain examples/willet.toml --site sites/saltgrass-flat.geojson \\
          --wind "14 mph from 230" --found examples/found.toml

    An aid to thought: it knows only the cases of the flight file, and says so when none of
    them explains what was found.
    """
    from driftmap.observations.evidence import explain
    from driftmap.observations.lines import explanation_lines
    from driftmap.observations.observation import FAR_IN
    from driftmap.observations.weighing import fit_of

    far, seen = FAR_IN[units], _read_observed(run, files)
    plain, known = _flown_and_weighed(seen, run)
    result = explain(known, fit_of(plain), far)
    notes = seen.notes(known)
    if as_json:
        doubted = [doubt.says(far) for doubt in known.doubted]
        told = {**asdict(result), "notes": notes, "doubted": doubted}
        click.echo(json_text(told))
        return
    click.echo("\n".join(explanation_lines(result, known, notes, far)))


@click.command("search")
@_observed("--seen", "What people saw and found (TOML); give it again for more.")
@click.option(
    "--piece",
    default="rocket",
    metavar="PIECE",
    help="What to look for, as the flight file names it.",
)
@click.option(
    "--from",
    "start",
    default="pad",
    metavar="PLACE",
    help='Where you stand: a name of the site, or "41.604, -117.952".',
)
@click.option(
    "--walkers", "count", type=click.IntRange(1, 50), default=2, help="In line."
)
@click.option(
    "--spacing",
    type=Quantity("length", 0.5, 500.0),
    default="10 m",
    help="Between walkers.",
)
@click.option(
    "--cover",
    type=click.Choice(["bare", "stubble", "grass", "crop", "brush", "woods"]),
    default="grass",
    help="What grows there.",
)
@gathered(dict, "line", "count", "spacing", "cover")
@words_options
@out_option("Folder for the page, the sheet, GPX and KML.", required=True)
def search_command(
    run: Run,
    files: tuple[str, ...],
    piece: str,
    start: str,
    line: dict[str, Any],
    voice: Voice,
    out: Path,
) -> None:
    """Say where to look for what came down, by what people saw, and in which order.

    Writes search.html, which keeps count on a phone with no network, search-sheet.html to
    print, search.gpx and search.kml.

    \b
    Examples:
      driftmap search examples/willet.toml --site sites/saltgrass-flat.geojson \\
          --wind "14 mph from 230" --seen examples/seen.toml --out search
      driftmap search FLIGHT --site SITE --wind WIND --piece fin --seen seen.toml --out search

    Nobody climbs, throws or pokes for a rocket on a power line.
    """
    from driftmap.observations.lines import search_lines
    from driftmap.observations.lying_apart import implied_by_finds
    from driftmap.observations.search_exports import (
        search_gpx,
        search_kml,
        search_sheet,
    )
    from driftmap.observations.search_page import plan_search, search_html
    from driftmap.observations.seenfile import is_small, pieces_of
    from driftmap.observations.walk import Walkers
    from driftmap.observations.weighing import bodies_of

    seen = _read_observed(run, files)
    if piece not in (pieces := pieces_of(seen.flight)):
        text = f"{quoted(piece)} is not listed; accepted: {', '.join(pieces)}"
        raise InputError("--piece", "", text)
    who = Walkers(**line, small=is_small(seen.flight, piece))
    sight = who.widths[who.cover] / 2  # to either side
    follows = implied_by_finds(piece, seen.told, seen.flight, sight)
    seen = replace(seen, told=(*seen.told, *follows))
    here, read = _start(start, seen.site), bodies_of(seen.told)
    looked_at = None if read is None else read | {piece}
    _, known = _flown_and_weighed(seen, run, bodies=looked_at, sparing=True)
    try:
        result = plan_search(seen, known, piece, who, here, voice)
    except ValueError as problem:
        raise InputError("--seen", "", f"no squares can be laid: {problem}") from None
    write_all(
        out,
        {
            "search.html": search_html(result, voice),
            "search-sheet.html": search_sheet(result, voice),
            "search.gpx": search_gpx(result, voice),
            "search.kml": search_kml(result, voice),
        },
    )
    click.echo("\n".join(search_lines(result, known, follows, voice)))
    click.echo(f"\nPage for the phone: {out / 'search.html'}")


def _start(text: str, site: Site) -> tuple[float, float]:
    from driftmap.observations.rows import SeenTable

    value: object = text
    if "," in text and text not in {area.name for area in site.areas}:
        try:
            value = [float(part) for part in text.split(",")]
        except ValueError:
            message = f"{quoted(text)} is no position; accepted: 41.604, -117.952"
            raise InputError("--from", "", message) from None
    east, north, _ = SeenTable("--from", "", {"": value}, site).point("", '"pad"')
    return east, north
