"""``driftmap layout``: where on a site pads and people could stand."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from driftmap.cli.inputs import Run
from driftmap.cli.options import (
    Quantity,
    json_option,
    out_option,
    pad_option,
    site_of,
    words_options,
)
from driftmap.cli.output import json_text
from driftmap.cli.plans import forewarn, hands_of, plan_options, put_out
from driftmap.core.errors import located

if TYPE_CHECKING:
    from driftmap.planning.layout import Rose
    from driftmap.report.voice import Voice

__all__ = ["layout_command"]


_LENGTH: Final = Quantity("length", 0.0, 10_000.0, above=True)


@click.command("layout")
@click.argument("site", metavar="SITE")
@click.option(
    "--flight",
    "flights",
    multiple=True,
    required=True,
    metavar="FLIGHT",
    help="Flight file. Give it again for several: a wind counts as go when all are.",
)
@click.option(
    "--wind",
    "winds",
    multiple=True,
    metavar="WIND",
    help='Wind in words at 10 m, such as "4 m/s from 240". Give it again for several; '
    "each weighs the same.",
)
@click.option(
    "--winds",
    "season",
    metavar="FILE",
    help="Hourly winds (CSV, as for season): scored by how often each blows.",
)
@click.option(
    "--rules",
    "sets",
    multiple=True,
    metavar="SET",
    help="Rule set for distances, in place of those the site file names.",
)
@click.option(
    "--distance",
    type=_LENGTH,
    metavar="D",
    help='Least distance from pad to people and edge, such as "500 ft", beside the rules.',
)
@click.option(
    "--spacing",
    type=_LENGTH,
    metavar="D",
    help="Between candidates; a round one by default.",
)
@click.option(
    "--move",
    "areas",
    multiple=True,
    metavar="AREA",
    help="Also find a place for this area of people, the pad staying where it is.",
)
@click.option("--best", type=click.IntRange(1, 50), default=5)
@pad_option
@plan_options
@words_options
@json_option()
@out_option("Folder for layout.html, layout.json and layout.geojson.")
def layout_command(  # noqa: PLR0913, PLR0917 - one an option, or a group of them
    flights: tuple[str, ...],
    winds: tuple[str, ...],
    season: str | None,
    sets: tuple[str, ...],
    distance: float | None,
    spacing: float | None,
    areas: tuple[str, ...],
    best: int,
    run: Run,
    voice: Voice,
    as_json: bool,
    out: Path | None,
) -> None:
    """Score pads, and places for people, all over the allowed ground of a site.

    Distances come from the rules that the site names. Without --wind and --winds, eight
    directions at 3 and at 6 m/s weigh the same.

    \b
    Example:
      driftmap layout sites/saltgrass-flat.geojson --flight examples/dunlin.toml \\
          --move "South crowd line" --out plan
    """
    from driftmap.planning.distances import Keep
    from driftmap.planning.documents import heading, layout_document, layout_geojson
    from driftmap.planning.layout import Question, best_pads, best_stands
    from driftmap.planning.supposed import Supposition, suppose
    from driftmap.planning.trial import basis_of
    from driftmap.report.plantold import layout_page, layout_told
    from driftmap.rocket.flightfile import read_flight

    ground = site_of(run.site)
    rockets = [read_flight(path) for path in flights]
    setups = tuple(run.setup(rocket, ground, ahead=True) for rocket in rockets)
    supposition = Supposition.over_site(ground)
    rose, notes = _rose(winds, season)
    keep = Keep.at(ground, sets, distance or 0.0)
    question = Question(setups, supposition, rose, keep)
    pair = [suppose(supposition, 90.0 * i, 3.0) for i in range(2)]
    read = [supposition.read(90.0 * i, 3.0) for i in range(2)]
    bases = [basis_of(setup, *pair, known=read) for setup in setups]
    forewarn(run.samples, *bases)
    with (
        located("--spacing", ""),
        hands_of(run, "flights in a wind", apart=True) as hands,
    ):
        pads = best_pads(question, spacing=spacing, hands=hands)
        stands = {
            name: best_stands(question, name, spacing=spacing, hands=hands)
            for name in dict.fromkeys(areas)
        }
    notes += ["the ground is level: each candidate pad stands as high as the one drawn"]
    notes += pair[0].assumed
    notes += [
        f"{setup.flight.name}: {note}" if len(setups) > 1 else note
        for setup, basis in zip(setups, bases, strict=True)
        for note in basis.assumed
    ]
    head = heading(setups[0], notes, *bases)
    data = layout_document(head, question, pads, stands, best)
    spots = layout_geojson(question, pads, stands) if out is not None else None
    page = partial(layout_page, data, ground, pads, stands, best, voice)
    told = partial(layout_told, pads, stands, best, voice)
    more = {"layout.geojson": json_text(spots, indent=None)}
    put_out("layout", data, page, told, out, as_json=as_json, more=more)


def _rose(winds: tuple[str, ...], season: str | None) -> tuple[Rose, list[str]]:
    """Make the winds to score by, and say what was assumed of them."""
    if winds and season:
        raise click.UsageError("Give --wind or --winds, not both.")
    from driftmap.planning.hours import even_rose, read_hours, rose_of, spoken_rose

    if season:
        return rose_of(read_hours(season))
    return (spoken_rose(winds), []) if winds else even_rose()
