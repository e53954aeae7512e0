"""``driftmap cases``: the tree of what can happen, with margins and assumptions."""

from __future__ import annotations

from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from driftmap.cli.inputs import Place, WindOptions, wind_of, wind_options_for
from driftmap.cli.options import (
    json_option,
    out_option,
    pad_option,
    run_options,
    site_of,
    voice_of,
    words_options,
)
from driftmap.cli.output import json_text, text_table, write_all
from driftmap.errors import visible

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from driftmap.failures.case import Case
    from driftmap.montecarlo.cloud import Cloud
    from driftmap.report.voice import Voice

__all__ = ["cases_command", "size_lines", "window_line"]

_MOST_INPUTS = 8


@click.command("cases")
@click.argument("flight", metavar="FLIGHT")
@click.option("--site", metavar="SITE", help="Site file; gives the elevation.")
@pad_option
@wind_options_for("As in assess; calm when left out.")
@run_options
@words_options
@out_option("Folder for cases.html.")
@json_option()
def cases_command(  # noqa: PLR0913, PLR0917
    flight: str,
    site: str | None,
    asked: WindOptions,
    samples: int,
    seed: int,
    units: Literal["us", "si"] | None,
    language: str,
    out: Path | None,
    as_json: bool,
) -> None:
    """Print what can happen to a flight, how likely, with margins and assumptions.

    Edit the likelihoods under [cases] in the flight file, and add
    cases of your own as [[case]] tables.

    \b
    Example:
      driftmap cases examples/whimbrel.toml --wind "8 mph from 240"
    """
    from driftmap.failures.alternatives import LANDING_SPEEDS, canopy_for
    from driftmap.montecarlo.cloud import fly
    from driftmap.montecarlo.margins import margins, opening_figures, opening_windows
    from driftmap.montecarlo.sensitivity import influences
    from driftmap.rocket.flightfile import read_flight

    voice = voice_of(language, units)
    plan = read_flight(flight)
    place = Place(0.0) if site is None else Place.of(site_of(site))
    altitude = place.elevation
    if not asked.winds and asked.at is None:
        asked = replace(asked, winds=("calm",))
    profile = wind_of(asked, place)
    cloud = fly(plan, profile, altitude, samples=samples, seed=seed)
    density = float(cloud.plan.sky.density(0.0))
    enough = samples >= 10 * len(cloud.draws)
    ranked = influences(cloud) if enough else ()
    data = {
        "flight": plan.name,
        "wind": profile.source,
        "seed": seed,
        "samples": samples,
        "cases": [_case(cloud, case) for case in cloud.tree.cases],
        "margins": [asdict(margin) for margin in margins(cloud)],
        "openings": opening_figures(cloud),
        "windows": opening_windows(cloud),
        "sizes": [
            {"speed_mps": v, "diameter_m": canopy_for(plan, v, density)}
            for v in LANDING_SPEEDS
        ],
        "inputs": [
            {"name": i.name, "metres": i.metres, "share": i.share} for i in ranked
        ],
        "assumed": [*cloud.plan.assumed, *cloud.tree.assumed],
        "missing": list(cloud.tree.missing),
    }
    if out is not None:
        write_all(out, {"cases.html": _page(data, voice)})
    if as_json:
        click.echo(json_text(data))
    else:
        click.echo(_told(data, voice))


def _case(cloud: Cloud, case: Case) -> dict[str, Any]:
    return {
        "name": case.name,
        "cause": case.cause,
        "probability": case.probability,
        "let_go": _when(case),
        "bodies": [
            {
                "name": part.body,
                "count": part.count,
                "speed_mps": float(part.quantile(cloud.speed, 0.5)),
                "energy_j": float(part.quantile(cloud.energy, 0.5)),
            }
            for part in cloud.of(case.name)
        ],
    }


def _when(case: Case) -> str:
    return {
        "apogee": "at apogee",
        "max q": "at greatest dynamic pressure",
        "coast": "between burnout and apogee",
        "time": "a time after lift-off",
        "late": "some seconds after apogee",
        "first second": "in the first second",
        "breaks": "when it has more than it stands",
        "rail": "on leaving the rail",
        "burn": "during the burn",
        "off rail": "a time after lift-off",
    }[case.release.at]


def _rows(
    data: dict[str, Any], voice: Voice, *, keys_only: bool = True
) -> list[list[str]]:
    """Give a row a body; a page tells each case in words as well as by its key."""
    from driftmap.report.sentences import case_words

    keys = ("happens", "likely", "let_go", "comes_down", "speed", "energy")
    rows = [[voice.say(f"plan.{key}") for key in keys]]
    for case in data["cases"]:
        told = case["name"]
        words = case_words(told, case["cause"], voice)
        if not keys_only and words != told:
            told = f"{words} ({told})"
        for i, body in enumerate(case["bodies"]):
            name = voice.known("piece", body["name"])
            rows.append(
                [
                    "" if i else told,
                    "" if i else voice.percent(case["probability"]),
                    "" if i else voice.say(f"plan.{case['let_go']}"),
                    f"{body['count']} × {name}" if body["count"] > 1 else name,
                    voice.shown(body["speed_mps"], "descent"),
                    voice.shown(body["energy_j"], "energy"),
                ]
            )
    return rows


def _margins(data: dict[str, Any], voice: Voice) -> Iterator[str]:
    from driftmap.report import words

    for m in data["margins"]:
        ends = [_amount(m[k], m["unit"], voice) for k in ("p50", "p5", "p95")]
        text = f"{visible(m['name'])}: {ends[0]} ({words.span(ends[1], ends[2])})"
        if m["against"] is not None:
            text += f", against {_amount(m['against'], m['unit'], voice)}"
        yield text


def _page(data: dict[str, Any], voice: Voice) -> str:
    from driftmap.report.planpage import page, printable, table

    def items(lines: Iterable[str]) -> str:
        return f"<ul>{''.join(f'<li>{printable(line)}</li>' for line in lines)}</ul>"

    def title(key: str) -> str:
        return f"<h2>{printable(voice.say(f'plan.{key}'))}</h2>"

    windows = [window_line(one, voice) for one in data["windows"]]
    return page(
        voice.say("plan.cases_title", flight=data["flight"]),
        [
            f"<p>{printable(voice.say('plan.wind', wind=data['wind']))}</p>",
            table(_rows(data, voice, keys_only=False), voice),
            title("margins"),
            items(_margins(data, voice)),
            title("openings"),
            table(_openings(data["openings"], voice), voice),
            items([*windows, *size_lines(data["sizes"], voice)]),
        ],
        voice,
        assumed=data["assumed"],
        warnings=[voice.say("plan.missing", what=text) for text in data["missing"]],
    )


def _told(data: dict[str, Any], voice: Voice) -> str:
    from driftmap.report import words
    from driftmap.verdict.assessment import CAUTIONS

    rows = _rows(data, voice)
    lines = [
        f"{visible(data['flight'])}, wind {visible(data['wind'])}",
        "",
        text_table(rows),
        "",
    ]
    lines.append("Margins (middle, and 5 to 95 % of flights):")
    lines += [f"  {line}" for line in _margins(data, voice)]
    lines += [
        "",
        "Openings (middle, and 95 % of flights below), whatever comes of them:",
    ]
    lines += ["", text_table(_openings(data["openings"], voice)), ""]
    lines += [window_line(one, voice) for one in data["windows"]]
    lines += [*size_lines(data["sizes"], voice)]
    if data["inputs"]:
        lines += [
            "",
            "What moves the landing most when all goes as planned (one sigma):",
        ]
        for i in data["inputs"][:_MOST_INPUTS]:
            far = words.distance(i["metres"], voice.units)
            lines.append(
                f"  {visible(i['name'])}: {far}, {i['share']:.0%} of the spread"
            )
    lines += [
        "",
        "Assumed; what the flight file states takes the place of its default:",
    ]
    lines += [f"  {visible(text)}" for text in data["assumed"]]
    lines += [f"NOT FLOWN: {visible(text)}" for text in data["missing"]]
    return "\n".join([*lines, "", *(f"* {text}" for text in CAUTIONS)])


def window_line(one: dict[str, Any], voice: Voice) -> str:
    """Say how early and how late about apogee a device may open."""
    ends = [
        voice.say(f"plan.{word}", time=voice.number(f"{one[key]:.2f} s"))
        for key, word in (("before_s", "before_top"), ("after_s", "after_top"))
        if one[key] is not None
    ]
    if len(ends) > 1:
        ends = [voice.say("plan.and", one=ends[0], other=ends[1])]
    told = voice.say("plan.window", device=one["device"], ends="".join(ends))
    return f"  {told}".replace("\u00a0", " ")


def size_lines(sizes: list[dict[str, Any]], voice: Voice) -> Iterator[str]:
    """Say how large a canopy must be for a few speeds of landing."""
    for one in sizes:
        speed = voice.shown(one["speed_mps"], "descent")
        told = voice.say("plan.no_canopy", speed=speed)
        if one["diameter_m"] is not None:
            across = one["diameter_m"]
            us = voice.units == "us"
            size = f"{across / 0.0254:.0f} in" if us else f"{across:.2f} m"
            told = voice.say("plan.canopy", speed=speed, size=voice.number(size))
        yield f"  {told}".replace("\u00a0", " ")


def _openings(found: list[dict[str, Any]], voice: Voice) -> list[list[str]]:
    from driftmap.failures.cases import WORKS

    keys = ("opens", "when", "speed", "load", "over_weight", "snatch", "holds")
    rows = [[voice.say(f"plan.{key}") for key in keys]]
    for one in found:
        cells = [
            " / ".join(_amount(one[key][p], unit, voice) for p in ("p50", "p95"))
            for key, unit in (("speed_mps", "m/s"), ("load_n", "N"))
        ]
        heavy = " / ".join(f"{one['load_over_weight'][p]:.0f}" for p in ("p50", "p95"))
        strength = one["strength_n"]
        planned = one["cause"] == WORKS
        rows.append(
            [
                one["device"],
                voice.say("plan.planned")
                if planned
                else voice.known("case", one["cause"])
                if voice.catalogue.language != "en"
                else one["cause"],
                *cells,
                voice.say("plan.times", count=heavy),
                voice.say("plan.to", value=_amount(one["snatch_n"]["p95"], "N", voice)),
                voice.say("plan.not_stated")
                if strength is None
                else _amount(strength, "N", voice),
            ]
        )
    return rows


def _amount(value: float, unit: str, voice: Voice) -> str:
    us = voice.units == "us"
    if unit == "m":
        return voice.exact_distance(value)
    if unit == "m/s":
        return voice.shown(value, "descent")
    told = f"{value:.2f} {unit}".rstrip()
    if unit == "N":
        told = f"{value / 4.4482216:,.0f} lbf" if us else f"{value:,.0f} N"
    if unit == "Pa":
        told = f"{value / 6894.757:,.2f} psi" if us else f"{value / 1000:,.1f} kPa"
    return voice.number(told)
