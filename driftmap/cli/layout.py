"""``driftmap layout``: where on a site pads and people could stand."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

import click

from driftmap.cli.inputs import setup_of
from driftmap.cli.options import (
    Quantity,
    cautions,
    forewarn,
    hands_of,
    json_option,
    out_option,
    pad_option,
    plan_options,
    preamble,
    site_of,
    voice_of,
    words_options,
)
from driftmap.cli.output import json_text, text_table, write_all
from driftmap.errors import located

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from driftmap.ground.site import Site
    from driftmap.planning.distances import Keep
    from driftmap.planning.layout import Place, Rose
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
@click.option("--best", type=click.IntRange(1, 50), default=5, show_default=True)
@pad_option
@plan_options
@words_options
@json_option()
@out_option("Folder for layout.html, layout.json and layout.geojson.")
def layout_command(  # noqa: PLR0913, PLR0917
    site: str,
    flights: tuple[str, ...],
    winds: tuple[str, ...],
    season: str | None,
    sets: tuple[str, ...],
    distance: float | None,
    spacing: float | None,
    areas: tuple[str, ...],
    best: int,
    answers: tuple[str, ...],
    samples: int,
    seed: int,
    workers: int | None,
    processes: bool,
    units: Literal["us", "si"] | None,
    language: str,
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
    from driftmap.planning.documents import heading, layout_document, layout_geojson
    from driftmap.planning.layout import Question, best_pads, best_stands
    from driftmap.planning.supposed import Supposition, suppose
    from driftmap.planning.trial import basis_of
    from driftmap.rocket.flightfile import read_flight

    voice = voice_of(language, units)
    ground = site_of(site)
    rockets = [read_flight(path) for path in flights]
    setups = tuple(
        setup_of(rocket, ground, (samples, seed), answers, ahead=True)
        for rocket in rockets
    )
    supposition = Supposition(ground.elevation)
    rose, notes = _rose(winds, season)
    keep = _keep(ground, sets, distance)
    question = Question(setups, supposition, rose, keep)
    pair = [suppose(supposition, 90.0 * i, 3.0) for i in range(2)]
    read = [supposition.read(90.0 * i, 3.0) for i in range(2)]
    bases = [basis_of(setup, *pair, known=read) for setup in setups]
    forewarn(max(bases, key=lambda basis: basis.need.flights), samples)
    with (
        located("--spacing", ""),
        hands_of(workers, processes, "flights in a wind") as hands,
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
    text = json_text(data)
    if out is not None:
        spots = layout_geojson(question, pads, stands)
        files = {
            "layout.html": _page(data, ground, pads, stands, best, voice),
            "layout.json": text + "\n",
            "layout.geojson": json_text(spots, indent=None),
        }
        write_all(out, files)
    if as_json:
        click.echo(text)
        return
    for line in preamble(data):
        click.echo(line)
    click.echo(_told(pads, stands, best, voice))
    click.echo(cautions(data["assumed"]))
    if out is not None:
        click.echo(f"\nMap: {out / 'layout.html'}")


def _keep(site: Site, sets: tuple[str, ...], distance: float | None) -> Keep:
    """Take the distances from the rules, an option, or both."""
    from driftmap.planning.distances import Keep
    from driftmap.rules import picked_rules

    least = distance or 0.0
    if not sets and not site.rules.strip() and least:
        return Keep((), least)
    return Keep(picked_rules(site, sets), least)


def _rose(winds: tuple[str, ...], season: str | None) -> tuple[Rose, list[str]]:
    """Make the winds to score by, and say what was assumed of them."""
    if winds and season:
        raise click.UsageError("Give --wind or --winds, not both.")
    from driftmap.planning.hours import even_rose, read_hours, rose_of, spoken_rose

    if season:
        return rose_of(read_hours(season))
    return (spoken_rose(winds), []) if winds else even_rose()


def _told(
    pads: Sequence[Place],
    stands: Mapping[str, Sequence[Place]],
    best: int,
    voice: Voice,
) -> str:

    barred = sum(bool(p.broken) for p in pads)
    blocks = [
        f"{len(pads)} pads tried, {barred} of them barred by rules on distances.",
        "",
        text_table(_rows(voice.say("plan.pad"), pads, best, voice)),
    ]
    drawn = next(p for p in pads if p.shift == 0)
    if drawn.broken:
        blocks.append(f"The pad as drawn is barred: {drawn.broken[0]}")
    for name, places in stands.items():
        blocks += [
            "",
            text_table(
                _rows(voice.say("plan.middle_of", area=name), places, best, voice)
            ),
        ]
    return "\n".join(blocks)


def _rows(
    what: str, places: Sequence[Place], best: int, voice: Voice
) -> list[list[str]]:
    keys = ("go_in", "hits", "people", "edge", "largest", "held_by")
    rows = [[what, *(voice.say(f"plan.{key}") for key in keys)]]
    chosen = [p for p in places[:best] if not p.broken]
    chosen += [p for p in places if p.shift == 0 and p not in chosen and not p.broken]
    for place in chosen:
        room = place.capacity
        where = voice.toward(place.east, place.north)
        rows.append(
            [
                voice.say("plan.as_drawn") if place.shift == 0 else where,
                voice.percent(place.go) + (" *" if place.unknown else ""),
                voice.number(f"{place.hazard:.2g}"),
                voice.exact_distance(place.to_people),
                voice.exact_distance(place.to_boundary),
                ""
                if room is None
                else _largest(room.motor_class, room.altitude, voice),
                place.blocked_by,
            ]
        )
    return rows


def _largest(motor: str, altitude: float, voice: Voice) -> str:
    if not motor:
        return voice.say("plan.none")
    return f"{motor}, {voice.exact_distance(altitude)}"


def _page(
    data: dict[str, Any],
    site: Site,
    pads: Sequence[Place],
    stands: Mapping[str, Sequence[Place]],
    best: int,
    voice: Voice,
) -> str:
    from driftmap.report.planpage import governing, page, printable, table
    from driftmap.report.sketches import layout_svg

    blocks = [
        f"<p>{printable(voice.say('plan.layout_how'))}</p>",
        layout_svg(site, pads, best, voice),
        table(_rows(voice.say("plan.pad"), pads, best, voice), voice),
    ]
    for name, places in stands.items():
        blocks += [
            f"<h2>{printable(name)}</h2>",
            layout_svg(site, places, best, voice),
            table(_rows(voice.say("plan.middle"), places, best, voice), voice),
        ]
    return page(
        voice.say("plan.layout_title", site=site.name),
        blocks,
        voice,
        assumed=data["assumed"],
        questions=data["questions_set_aside"],
        warnings=governing(data, voice),
    )
