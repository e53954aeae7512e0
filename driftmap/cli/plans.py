"""``driftmap aim`` and ``limits``: how to set the rail, and up to which wind."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from driftmap.cli.inputs import (
    Place,
    WindOptions,
    echo_flight,
    setup_of,
    shape_of,
    wind_of,
    wind_options,
    wind_options_for,
)
from driftmap.cli.options import (
    Weather,
    cautions,
    day_options,
    forewarn,
    hands_of,
    json_option,
    out_option,
    plan_options,
    preamble,
    site_of,
    site_options,
    units_option,
    warnings,
)
from driftmap.cli.output import json_text, text_table, write_all

if TYPE_CHECKING:
    from collections.abc import Sequence

    from driftmap.planning.aim import Aim
    from driftmap.planning.limits import DirectionLimit

__all__ = ["aim_command", "limits_command"]


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
@json_option()
@out_option("Folder for aim.html and aim.json.")
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


@click.command("limits")
@click.argument("flight", metavar="FLIGHT")
@site_options
@click.option(
    "--directions",
    type=click.IntRange(6, 72),
    default=16,
    show_default=True,
    help="How many, evenly around from north.",
)
@wind_options_for(
    "A wind whose growth and turning with height are kept; without it, the law of "
    "the surface layer over open land.",
)
@click.option(
    "--steps",
    type=click.IntRange(1, 50),
    default=6,
    show_default=True,
    help="Steps of the scan from light air to the limit of the surface wind.",
)
@day_options
@plan_options
@units_option
@json_option()
@out_option("Folder for limits.html and limits.json.")
def limits_command(  # noqa: PLR0913, PLR0917
    flight: str,
    site: str,
    directions: int,
    asked: WindOptions,
    steps: int,
    weather: Weather,
    answers: tuple[str, ...],
    samples: int,
    seed: int,
    workers: int | None,
    processes: bool,
    units: Literal["us", "si"],
    as_json: bool,
    out: Path | None,
) -> None:
    """Find, for every direction, the strongest surface wind that is still go.

    Winds are supposed: they count as known to the top, and every go is a go if the winds
    aloft are as supposed. Speeds are told at 10 m and at head height.

    \b
    Example:
      driftmap limits examples/dunlin.toml --site sites/saltgrass-flat.geojson --out plan
    """
    from driftmap.planning.documents import heading, limits_document
    from driftmap.planning.limits import LIGHTEST, scan_speeds, wind_limits
    from driftmap.planning.supposed import Supposition, head_share, suppose
    from driftmap.planning.trial import basis_of
    from driftmap.rocket.flightfile import read_flight

    rocket, ground = read_flight(flight), site_of(site)
    setup = setup_of(
        rocket,
        ground,
        (samples, seed),
        answers,
        weather=weather,
        when=asked.when,
        ahead=True,
    )
    supposition = Supposition(ground.elevation, shape_of(asked, Place.of(ground)))
    most = scan_speeds(setup, steps)[-2]
    top = suppose(supposition, 90.0, most)
    light = suppose(supposition, 0.0, LIGHTEST)
    read = [supposition.read(0.0, LIGHTEST), supposition.read(90.0, most)]
    basis = basis_of(setup, light, top, known=read)
    forewarn(basis, samples)
    with hands_of(workers, processes, "directions") as hands:
        ways = [360 / directions * i for i in range(directions)]
        half = 180 / directions
        found = wind_limits(
            setup, supposition, ways, half=half, steps=steps, hands=hands
        )
    assumed = [_scan_note(half), *top.assumed, *basis.assumed]
    head = heading(setup, assumed, basis)
    share = head_share(supposition)
    data = limits_document(head, found, share)
    text = json_text(data)
    rows = _limits_rows(found, share, head["conditions"], units)
    if out is not None:
        page = _limits_page(data, found, most, rows, units)
        write_all(out, {"limits.html": page, "limits.json": text + "\n"})
    if as_json:
        click.echo(text)
        return
    click.echo(_told(rows, preamble(data), assumed))
    if out is not None:
        click.echo(f"\nPicture: {out / 'limits.html'}")


def _scan_note(half: float) -> str:
    return (
        f"each direction stands for {half:.3g}° to either side; what is told as go was "
        "judged as a whole, so that no wind in it is judged milder than by itself; what "
        "is not told as go may still be go"
    )


def _limits_rows(
    found: Sequence[DirectionLimit],
    share: float,
    held: Sequence[str],
    units: Literal["us", "si"],
) -> list[list[str]]:
    from driftmap.report.words import bearing
    from driftmap.units import show

    def speed(value: float) -> str:
        return show(value, "speed", units, digits=1)

    rows = [
        [
            "wind from",
            f"go{' if' * bool(held)}, below at 10 m",
            "at head height",
            "also go",
            "held by",
        ]
    ]
    for limit in found:
        below = limit.go_below
        most, head = "not known", ""
        if below is not None:
            most = speed(below) if below else "not go"
            head = speed(below * share) if below else ""
        others = [span for span in limit.go if not limit.from_lightest(span)]
        also = ", ".join(f"{speed(a)} to {speed(b)}" for a, b in others)
        way = bearing(math.radians(limit.from_deg))
        rows.append([way, most, head, also, limit.problem or limit.blocked_by])
    return rows


def _told(rows: list[list[str]], before: list[str], assumed: list[str]) -> str:

    table = text_table(rows)
    return "\n".join([*before, *([""] if before else []), table, cautions(assumed)])


def _limits_page(
    data: dict[str, Any],
    found: Sequence[DirectionLimit],
    most: float,
    rows: list[list[str]],
    units: Literal["us", "si"],
) -> str:
    from driftmap.report.limitsketch import dial_svg
    from driftmap.report.planpage import page, table

    text = (
        "<p>Each wedge points to where the wind comes from and reaches to the strongest "
        "wind, at 10 m, up to which all winds in it are go. A dashed wedge is go only "
        "from some wind on; grey is not known.</p>"
    )
    return page(
        f"Wind limits: {data['flight']} at {data['site']}",
        [dial_svg(found, most, units), text, table(rows)],
        assumed=data["assumed"],
        questions=data["questions_set_aside"],
        warnings=warnings(data),
    )
