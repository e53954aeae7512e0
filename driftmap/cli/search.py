"""``driftmap search``: where to look for what came down."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal, Unpack

import click

from driftmap.cli.explain import (
    SeenInputs,
    flown_and_weighed,
    observed,
    read_observed,
    tell_doubts,
)
from driftmap.cli.options import Quantity, out_option, units_option
from driftmap.core.errors import InputError, quoted

if TYPE_CHECKING:
    from driftmap.ground.site import Site
    from driftmap.observations.weighing import Weighed
    from driftmap.search.phone import Search

__all__ = ["search_command"]


class _Options(SeenInputs):
    """What the options of ``search`` alone hand over, beside those of `observed`."""

    piece: str
    start: str
    walkers: int
    spacing: float
    cover: str
    units: Literal["us", "si"]
    out: Path


@click.command("search")
@observed("--seen", "What people saw and found (TOML); give it again for more.")
@click.option(
    "--piece",
    default="rocket",
    metavar="P",
    help="What to look for, as the flight file names it.",
)
@click.option(
    "--from",
    "start",
    default="pad",
    metavar="PLACE",
    help='Where you stand: a name of the site, or "41.604, -117.952".',
)
@click.option("--walkers", type=click.IntRange(1, 50), default=2, help="In line.")
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
@units_option
@out_option("Folder for the page, the sheet, GPX and KML.", required=True)
def search_command(**options: Unpack[_Options]) -> None:
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
    from driftmap.cli.output import write_all
    from driftmap.observations.seenfile import is_small, pieces_of
    from driftmap.observations.weighing import bodies_of
    from driftmap.search.handouts import search_gpx, search_kml, search_sheet
    from driftmap.search.phone import plan_search, search_html
    from driftmap.search.walk import Walkers

    units, out = options["units"], options["out"]
    seen = read_observed(options)
    if options["piece"] not in (pieces := pieces_of(seen.flight)):
        told = (
            f"{quoted(options['piece'])} is not listed; accepted: {', '.join(pieces)}"
        )
        raise InputError("--piece", "", told)
    small = is_small(seen.flight, options["piece"])
    who = Walkers(options["walkers"], options["spacing"], options["cover"], small)
    here, read = _start(options["start"], seen.site), bodies_of(seen.told)
    looked_at = None if read is None else read | {options["piece"]}
    _, known = flown_and_weighed(seen, options, looked_at)
    try:
        result = plan_search(seen, known, options["piece"], who, here, units)
    except ValueError as problem:
        raise InputError("--seen", "", f"no squares can be laid: {problem}") from None
    write_all(
        out,
        {
            "search.html": search_html(result, units=units),
            "search-sheet.html": search_sheet(result, units=units),
            "search.gpx": search_gpx(result),
            "search.kml": search_kml(result),
        },
    )
    _tell(result, known, units)
    click.echo(f"\nPage for the phone: {out / 'search.html'}")


def _start(text: str, site: Site) -> tuple[float, float]:
    from driftmap.observations.rows import SeenTable

    value: object = text
    if "," in text and text not in {area.name for area in site.areas}:
        try:
            value = [float(part) for part in text.split(",")]
        except ValueError:
            told = f"{quoted(text)} is no position; accepted: 41.604, -117.952"
            raise InputError("--from", "", told) from None
    east, north, _ = SeenTable("--from", "", {"": value}, site).point("", '"pad"')
    return east, north


def _tell(result: Search, known: Weighed, units: Literal["us", "si"]) -> None:
    from driftmap.observations.toward import ENOUGH
    from driftmap.search.phone import shares_told

    chances = result.chances
    click.echo(f"Where the {chances.piece} may lie:")
    for line in shares_told(chances, units):
        click.echo(f"  {line}")
    best = ", ".join(f"{s.name} {100 * s.chance:.1f} %" for s in chances.listed[:5])
    click.echo(f"Likeliest squares: {best}")
    met = [*(s.cautions for s in chances.listed), *(s.mind for s in result.sweeps)]
    for text in sorted({text for told in met for text in told if text[:5] == "power"}):
        click.echo(f"CAUTION: {text}")
    tell_doubts(known, units)
    few = " - FEW: what was seen fits hardly anything flown"
    few = few if known.effective < ENOUGH else ""
    click.echo(f"Rests on {known.effective:,.0f} effective flights{few}")
