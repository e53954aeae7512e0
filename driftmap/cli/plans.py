"""``driftmap aim`` and ``limits``: how to set the rail, and up to which wind."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

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
    voice_of,
    words_options,
)
from driftmap.cli.output import json_text, text_table, write_all

if TYPE_CHECKING:
    from collections.abc import Sequence

    from driftmap.planning.aim import Aim
    from driftmap.planning.windlimits import DirectionLimit
    from driftmap.report.voice import Voice

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
@words_options
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
    units: Literal["us", "si"] | None,
    language: str,
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

    voice = voice_of(language, units)
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
    rows = _rows(planned, aims[:best], voice, held=bool(basis.conditions))
    if out is not None:
        page = _page(data, rows, voice)
        write_all(out, {"aim.html": page, "aim.json": text + "\n"})
    if as_json:
        click.echo(text)
        return
    echo_flight(asked)
    lines = preamble(data)
    click.echo("\n".join([*lines, *([""] if lines else []), text_table(rows)]))
    click.echo(
        f"\n{len(aims)} aims tried. Aim where the code lets you, clear of people."
    )
    click.echo(cautions(data["assumed"]))


def _page(data: dict[str, Any], rows: list[list[str]], voice: Voice) -> str:
    from driftmap.report.planpage import governing, page, printable, table

    return page(
        voice.say("plan.aim_title", flight=data["flight"], site=data["site"]),
        [table(rows, voice), f"<p>{printable(voice.say('plan.aim_where'))}</p>"],
        voice,
        assumed=data["assumed"],
        questions=data["questions_set_aside"],
        warnings=governing(data, voice),
    )


_AIM_HEAD: Final = (
    "rail",
    "verdict",
    "worst",
    "outside",
    "over_wind",
    "over",
    "held_by",
)


def _rows(
    planned: Aim, best: tuple[Aim, ...], voice: Voice, *, held: bool
) -> list[list[str]]:
    first = _row(planned, held, voice)
    first[0] = voice.say("plan.as_planned", rail=first[0])
    head = [voice.say(f"plan.{key}") for key in _AIM_HEAD]
    return [head, first, *(_row(aim, held, voice) for aim in best)]


def _rail(aim: Aim, voice: Voice) -> str:
    tilt = voice.number(f"{aim.tilt_deg:.1f}°")
    if not aim.tilt_deg:
        return tilt
    if aim.azimuth_deg is None:
        return voice.say("plan.into_wind", tilt=tilt)
    return voice.say("plan.toward", tilt=tilt, bearing=f"{aim.azimuth_deg:03.0f}°")


def _row(aim: Aim, held: bool, voice: Voice) -> list[str]:
    from driftmap.report.planpage import verdict_word

    stray, _, most = aim.trial.stray
    worst: Any = aim.worst_failure
    margin = aim.rail_margin
    over = (
        voice.say("plan.seen_over", area=name, share=voice.percent(share))
        for name, share in aim.over
    )
    case = "" if worst is None else voice.known("case", worst.case)
    return [
        _rail(aim, voice),
        verdict_word(aim.trial.verdict, voice, conditional=held),
        "" if worst is None else f"{voice.percent(worst.value)} {worst.area}, {case}",
        voice.percent(stray)
        if stray
        else voice.say("plan.under", share=voice.percent(most)),
        ""
        if margin is None or margin.interval is None
        else voice.number(f"{margin.interval[0]:.1f}"),
        ", ".join(over) or voice.say("plan.nobody"),
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
@words_options
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
    units: Literal["us", "si"] | None,
    language: str,
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
    from driftmap.planning.supposed import Supposition, head_share, suppose
    from driftmap.planning.trial import basis_of
    from driftmap.planning.windlimits import LIGHTEST, scan_speeds, wind_limits
    from driftmap.rocket.flightfile import read_flight

    voice = voice_of(language, units)
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
    rows = _limits_rows(found, share, head["conditions"], voice)
    if out is not None:
        page = _limits_page(data, found, most, rows, voice)
        write_all(out, {"limits.html": page, "limits.json": text + "\n"})
    if as_json:
        click.echo(text)
        return
    before = [*_none_go(found, voice), *preamble(data)]
    click.echo(_told(rows, before, assumed))
    if out is not None:
        click.echo(f"\nPicture: {out / 'limits.html'}")


def _none_go(found: Sequence[DirectionLimit], voice: Voice) -> list[str]:
    """Say it first where no wind is go."""
    return [] if any(limit.go for limit in found) else [voice.say("plan.no_wind_goes")]


def _scan_note(half: float) -> str:
    return (
        f"each direction stands for {half:.3g}° to either side; what is told as go was "
        "judged as a whole, so that no wind in it is judged milder than by itself; what "
        "is not told as go may still be go"
    )


def _limits_rows(
    found: Sequence[DirectionLimit], share: float, held: Sequence[str], voice: Voice
) -> list[list[str]]:
    from driftmap.units import show

    def speed(value: float) -> str:
        return voice.number(show(value, "speed", voice.units, digits=1))

    below_all = "go_if_below" if held else "go_below"
    keys = ("wind_from", below_all, "at_head", "also_go", "held_by")
    rows = [[voice.say(f"plan.{key}") for key in keys]]
    for limit in found:
        below = limit.go_below
        most, head = voice.say("plan.not_known"), ""
        if below is not None:
            most = speed(below) if below else voice.say("plan.not_go")
            head = speed(below * share) if below else ""
        others = [span for span in limit.go if not limit.from_lightest(span)]
        also = ", ".join(
            voice.say("figure.span", low=speed(a), high=speed(b)) for a, b in others
        )
        way = voice.bearing(math.radians(limit.from_deg))
        rows.append([way, most, head, also, limit.problem or limit.blocked_by])
    # A column of nothing would push what holds off a phone.
    kept = [i for i in range(len(keys)) if any(row[i] for row in rows[1:])]
    return [[row[i] for i in kept] for row in rows]


def _told(rows: list[list[str]], before: list[str], assumed: list[str]) -> str:

    table = text_table(rows)
    return "\n".join([*before, *([""] if before else []), table, cautions(assumed)])


def _limits_page(
    data: dict[str, Any],
    found: Sequence[DirectionLimit],
    most: float,
    rows: list[list[str]],
    voice: Voice,
) -> str:
    from driftmap.report.planpage import governing, page, printable, table
    from driftmap.report.sketches import dial_svg

    none = [f"<p><b>{printable(text)}</b></p>" for text in _none_go(found, voice)]
    text = f"<p>{printable(voice.say('plan.limits_how'))}</p>"
    return page(
        voice.say("plan.limits_title", flight=data["flight"], site=data["site"]),
        [*none, dial_svg(found, most, voice), text, table(rows, voice)],
        voice,
        assumed=data["assumed"],
        questions=data["questions_set_aside"],
        warnings=governing(data, voice),
    )
