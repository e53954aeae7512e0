"""``driftmap aim``: how to set the rail in this wind."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from driftmap.cli.answering import setup_of
from driftmap.cli.options import (
    Weather,
    day_options,
    site_of,
    site_options,
    units_option,
)
from driftmap.cli.output import json_text
from driftmap.cli.sweeping import (
    cautions,
    forewarn,
    hands_of,
    plan_options,
    preamble,
    warnings,
)
from driftmap.cli.windoptions import (
    Place,
    WindOptions,
    echo_flight,
    wind_of,
    wind_options,
)

if TYPE_CHECKING:
    from driftmap.planning.aim import Aim

__all__ = ["aim_command"]


@click.command("aim")
@click.argument("flight", metavar="FLIGHT")
@site_options
@wind_options
@day_options
@plan_options
@click.option(
    "--best",
    type=click.IntRange(1, 50),
    default=5,
    show_default=True,
    help="How many aims to show.",
)
@units_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON in SI units.")
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for aim.html and aim.json.",
)
def aim_command(  # noqa: PLR0913, PLR0917
    flight: str,
    site: str,
    asked: WindOptions,
    weather: Weather,
    answers: tuple[str, ...],
    samples: int,
    seed: int,
    workers: int | None,
    processes: bool,
    best: int,
    units: Literal["us", "si"],
    as_json: bool,
    out: Path | None,
) -> None:
    """Find the rail's tilt and azimuth that keep the flight inside and people clear.

    Tries aims within the limit on the rail's tilt, each a verdict in full on the same
    seed, and shows the best with what each brings.

    \b
    Example:
      driftmap aim examples/willet.toml --site sites/saltgrass-flat.geojson \\
          --wind examples/noon.csv --when 2026-06-13T12:15-07:00
    """
    from driftmap.cli.output import text_table, write_all
    from driftmap.planning.aim import best_aims
    from driftmap.planning.documents import aim_document, heading
    from driftmap.planning.trial import basis_of
    from driftmap.rocket.flightfile import read_flight

    rocket, ground = read_flight(flight), site_of(site)
    wind = wind_of(asked, Place.of(ground))
    setup = setup_of(
        rocket,
        ground,
        (samples, seed),
        answers,
        weather=weather,
        wind=wind,
        when=asked.when,
    )
    basis = basis_of(setup, wind)
    forewarn(basis, samples)
    with hands_of(workers, processes, "aims") as hands:
        planned, aims = best_aims(setup, wind, hands)
    head = heading(setup, (*wind.assumed, *basis.assumed), basis)
    data = aim_document(head, planned, aims, best)
    text = json_text(data)
    if out is not None:
        rows = _rows(planned, aims[:best], held=bool(basis.conditions))
        write_all(out, {"aim.html": _page(data, rows), "aim.json": text + "\n"})
    if as_json:
        click.echo(text)
        return
    echo_flight(asked)
    lines = preamble(data)
    table = text_table(_rows(planned, aims[:best], held=bool(basis.conditions)))
    click.echo("\n".join([*lines, *([""] if lines else []), table]))
    click.echo(
        f"\n{len(aims)} aims tried. Aim where the code lets you, clear of people."
    )
    click.echo(cautions(data["assumed"]))


def _page(data: dict[str, Any], rows: list[list[str]]) -> str:
    from driftmap.report.planpage import page, table

    return page(
        f"Aim of the rail: {data['flight']} at {data['site']}",
        [table(rows), "<p>Aim where the code lets you, clear of people.</p>"],
        assumed=data["assumed"],
        questions=data["questions_set_aside"],
        warnings=warnings(data),
    )


def _rows(planned: Aim, best: tuple[Aim, ...], *, held: bool) -> list[list[str]]:
    head = [
        "rail",
        "verdict",
        "worst in a failure",
        "outside the boundary if all works",
        "rail speed over wind",
        "passes over",
        "held by",
    ]
    rows = [_row("as planned: ", planned, held), *(_row("", aim, held) for aim in best)]
    return [head, *rows]


def _row(before: str, aim: Aim, held: bool) -> list[str]:
    from driftmap.report.words import percent

    stray, _, most = aim.trial.stray
    worst: Any = aim.worst_failure
    margin = aim.rail_margin
    leans = "" if aim.azimuth_deg is None else f" toward {aim.azimuth_deg:03.0f}°"
    if aim.azimuth_deg is None:
        leans = " into the wind"
    return [
        f"{before}{aim.tilt_deg:.1f}°{leans if aim.tilt_deg else ''}",
        "GO IF" if held and aim.trial.verdict == "go" else aim.trial.verdict.upper(),
        "" if worst is None else f"{percent(worst.value)} {worst.area}, {worst.case}",
        percent(stray) if stray else f"under {percent(most)}",
        ""
        if margin is None or margin.interval is None
        else f"{margin.interval[0]:.1f}",
        ", ".join(f"{name} in {percent(share)}" for name, share in aim.over)
        or "nobody seen",
        aim.trial.blocked_by,
    ]
