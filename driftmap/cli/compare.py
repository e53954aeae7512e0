"""``driftmap compare``: which recovery device to choose."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from driftmap.cli.inputs import (
    Place,
    WindOptions,
    answers_option,
    echo_flight,
    setup_of,
    wind_of,
    wind_options,
)
from driftmap.cli.options import (
    json_option,
    out_option,
    run_options,
    site_of,
    site_options,
    voice_of,
    words_options,
)
from driftmap.cli.output import Progress, json_text, text_table, write_all

if TYPE_CHECKING:
    from driftmap.report.voice import Voice
    from driftmap.verdict.turning import Compared

__all__ = ["compare_command"]


@click.command("compare")
@click.argument("flight", metavar="FLIGHT")
@site_options
@wind_options
@answers_option
@run_options
@words_options
@out_option("Folder for compare.html.")
@json_option()
def compare_command(  # noqa: PLR0913, PLR0917
    flight: str,
    site: str,
    asked: WindOptions,
    answers: tuple[str, ...],
    samples: int,
    seed: int,
    units: Literal["us", "si"] | None,
    language: str,
    out: Path | None,
    as_json: bool,
) -> None:
    """Hold other ways to bring the rocket down side by side, on the same luck.

    The alternatives are the [[alternative]] tables of the flight file, each with a name
    and its own [[alternative.recovery]]; where there are none, smaller, larger, lower and
    streamer versions are made up from the plan, and a fall without any recovery.

    \b
    Example:
      driftmap compare examples/willet.toml --site sites/saltgrass-flat.geojson \\
          --wind examples/noon.csv --when 2026-06-13T12:15-07:00
    """
    from driftmap.air.atmosphere import air_density as density_at
    from driftmap.cli.cases import size_lines, window_line
    from driftmap.failures.alternatives import (
        LANDING_SPEEDS,
        canopy_for,
    )
    from driftmap.rocket.flightfile import read_flight
    from driftmap.verdict.assessment import CAUTIONS
    from driftmap.verdict.turning import compare

    voice = voice_of(language, units)
    plan, ground = read_flight(flight), site_of(site)
    wind = wind_of(asked, Place.of(ground))
    setup = setup_of(plan, ground, (samples, seed), answers, wind=wind, when=asked.when)
    with Progress("ways down") as progress:
        rows = [_figures(one) for one in compare(setup, wind, progress=progress)]
    density = float(density_at(ground.elevation))
    sizes = [
        {"speed_mps": v, "diameter_m": canopy_for(plan, v, density)}
        for v in LANDING_SPEEDS
    ]
    if out is not None:
        page = _page(plan.name, ground.name, _rows(rows, voice), sizes, voice)
        write_all(out, {"compare.html": page})
    if as_json:
        data = {"flight": plan.name, "seed": seed, "samples": samples}
        text = {**data, "alternatives": rows, "cautions": list(CAUTIONS)}
        click.echo(json_text(text))
        return
    click.echo(text_table(_rows(rows, voice)))
    echo_flight(asked)
    if not plan.alternatives:
        click.echo(
            "\nMade up from the plan; put [[alternative]] tables in the flight file."
        )
    early = [
        f"{row['name']}:{window_line(w, voice)}" for row in rows for w in row["windows"]
    ]
    click.echo("\n".join(["", *size_lines(sizes, voice), "", *early]))
    click.echo("\n".join(["", *(f"* {text}" for text in CAUTIONS)]))


def _figures(one: Compared) -> dict[str, Any]:
    """Give the figures of one alternative when all goes as planned, and its verdict."""
    from driftmap.montecarlo.margins import opening_windows
    from driftmap.verdict.assessment import document

    data = document(one.assessment)
    # Recovery as planned comes first; where it never holds, what becomes of it does.
    piece = data["cases"][0]["pieces"][0]
    worst = one.worst.total
    keys = (
        "mean_east_m",
        "mean_north_m",
        "radius_90_m",
        "time_s",
        "impact_speed_mps",
        "energy_j",
    )
    return {
        "name": one.name,
        "verdict": one.assessment.verdict,
        **{key: piece[key] for key in keys},
        "worst_area_hit": worst.estimate,
        "worst_area_interval": [worst.lower, worst.upper],
        "flights": one.assessment.cloud.flights,
        "windows": opening_windows(one.assessment.cloud),
    }


def _page(
    flight: str,
    site: str,
    rows: list[list[str]],
    sizes: list[dict[str, Any]],
    voice: Voice,
) -> str:
    from driftmap.cli.cases import size_lines
    from driftmap.report.planpage import page, printable, table

    lines = "".join(f"<li>{printable(line)}</li>" for line in size_lines(sizes, voice))
    heading = printable(voice.say("plan.which_canopy"))
    return page(
        voice.say("plan.compare_title", flight=flight, site=site),
        [table(rows, voice), f"<h2>{heading}</h2><ul>{lines}</ul>"],
        voice,
        assumed=[],
    )


def _rows(rows: list[dict[str, Any]], voice: Voice) -> list[list[str]]:
    from driftmap.report.planpage import verdict_word

    keys = ("if_planned", "drift", "time", "landing_speed", "energy", "worst_area")
    head = [voice.say(f"plan.{key}") for key in (*keys, "verdict")]
    head.insert(2, voice.say("map.within"))
    table = [head]
    for row in rows:
        hit = voice.share(
            row["worst_area_hit"], row["worst_area_interval"], row["flights"]
        )
        table.append(
            [
                row["name"],
                voice.toward(row["mean_east_m"], row["mean_north_m"]),
                voice.exact_distance(row["radius_90_m"]),
                voice.shown(row["time_s"]["p50"], "time"),
                voice.shown(row["impact_speed_mps"]["p50"], "descent"),
                voice.shown(row["energy_j"]["p50"], "energy"),
                hit.rpartition(":")[2].strip(),
                verdict_word(row["verdict"], voice),
            ]
        )
    return table
