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
    units_option,
)
from driftmap.cli.output import json_text, text_table, write_all
from driftmap.errors import visible

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from driftmap.failures.case import Case
    from driftmap.montecarlo.cloud import Cloud

__all__ = ["cases_command", "size_lines", "window_line"]

_MOST_INPUTS = 8


@click.command("cases")
@click.argument("flight", metavar="FLIGHT")
@click.option("--site", metavar="SITE", help="Site file; gives the elevation.")
@pad_option
@wind_options_for("As in assess; calm when left out.")
@run_options
@units_option
@out_option("Folder for cases.html.")
@json_option()
def cases_command(
    flight: str,
    site: str | None,
    asked: WindOptions,
    samples: int,
    seed: int,
    units: Literal["us", "si"],
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
        write_all(out, {"cases.html": _page(data, units)})
    if as_json:
        click.echo(json_text(data))
    else:
        click.echo(_told(data, units))


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


def _rows(data: dict[str, Any], units: Literal["us", "si"]) -> list[list[str]]:
    from driftmap.report import words
    from driftmap.units import show

    rows = [["what happens", "likely", "let go", "comes down", "speed", "energy"]]
    for case in data["cases"]:
        for i, body in enumerate(case["bodies"]):
            many = body["count"] > 1
            rows.append(
                [
                    "" if i else case["name"],
                    "" if i else words.percent(case["probability"]),
                    "" if i else case["let_go"],
                    f"{body['count']} × {body['name']}" if many else body["name"],
                    show(body["speed_mps"], "descent", units),
                    show(body["energy_j"], "energy", units),
                ]
            )
    return rows


def _margins(data: dict[str, Any], units: Literal["us", "si"]) -> Iterator[str]:
    from driftmap.report import words

    for m in data["margins"]:
        ends = [_amount(m[k], m["unit"], units) for k in ("p50", "p5", "p95")]
        text = f"{visible(m['name'])}: {ends[0]} ({words.span(ends[1], ends[2])})"
        if m["against"] is not None:
            text += f", against {_amount(m['against'], m['unit'], units)}"
        yield text


def _page(data: dict[str, Any], units: Literal["us", "si"]) -> str:
    from driftmap.report.planpage import page, printable, table

    def items(lines: Iterable[str]) -> str:
        return f"<ul>{''.join(f'<li>{printable(line)}</li>' for line in lines)}</ul>"

    return page(
        f"What can go wrong: {data['flight']}",
        [
            f"<p>Wind: {printable(data['wind'])}</p>",
            table(_rows(data, units)),
            "<h2>Margins: middle, and 5 to 95 % of flights</h2>",
            items(_margins(data, units)),
            "<h2>Openings: middle, and 95 % of flights below</h2>",
            table(_openings(data["openings"], units)),
            items(
                [*map(window_line, data["windows"]), *size_lines(data["sizes"], units)]
            ),
        ],
        assumed=data["assumed"],
        warnings=[f"Not flown: {text}" for text in data["missing"]],
    )


def _told(data: dict[str, Any], units: Literal["us", "si"]) -> str:
    from driftmap.report import words
    from driftmap.verdict.assessment import CAUTIONS

    rows = _rows(data, units)
    lines = [
        f"{visible(data['flight'])}, wind {visible(data['wind'])}",
        "",
        text_table(rows),
        "",
    ]
    lines.append("Margins (middle, and 5 to 95 % of flights):")
    lines += [f"  {line}" for line in _margins(data, units)]
    lines += [
        "",
        "Openings (middle, and 95 % of flights below), whatever comes of them:",
    ]
    lines += ["", text_table(_openings(data["openings"], units)), ""]
    lines += [window_line(one) for one in data["windows"]]
    lines += [*size_lines(data["sizes"], units)]
    if data["inputs"]:
        lines += [
            "",
            "What moves the landing most when all goes as planned (one sigma):",
        ]
        for i in data["inputs"][:_MOST_INPUTS]:
            far = words.distance(i["metres"], units)
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


def window_line(one: dict[str, Any]) -> str:
    """Say how early and how late about apogee a device may open."""
    ends = [
        f"{one[key]:.2f} s {word} apogee"
        for key, word in (("before_s", "before"), ("after_s", "after"))
        if one[key] is not None
    ]
    return f"  {one['device']}: 19 of 20 openings hold up to {' and '.join(ends)}"


def size_lines(
    sizes: list[dict[str, Any]], units: Literal["us", "si"]
) -> Iterator[str]:
    """Say how large a canopy must be for a few speeds of landing."""
    from driftmap.units import show

    for one in sizes:
        speed = show(one["speed_mps"], "descent", units)
        if one["diameter_m"] is None:
            yield f"  no canopy is needed to land at {speed}"
            continue
        across = one["diameter_m"]
        told = f"{across / 0.0254:.0f} in" if units == "us" else f"{across:.2f} m"
        yield f"  to land at {speed}: a flat circular canopy of {told} (half land faster)"


def _openings(
    found: list[dict[str, Any]], units: Literal["us", "si"]
) -> list[list[str]]:
    from driftmap.failures.cases import WORKS

    rows = [["opens", "when", "speed", "load", "over weight", "snatch", "holds"]]
    for one in found:
        cells = [
            " / ".join(_amount(one[key][p], unit, units) for p in ("p50", "p95"))
            for key, unit in (("speed_mps", "m/s"), ("load_n", "N"))
        ]
        heavy = " / ".join(f"{one['load_over_weight'][p]:.0f}" for p in ("p50", "p95"))
        strength = one["strength_n"]
        rows.append(
            [
                one["device"],
                "as planned" if one["cause"] == WORKS else one["cause"],
                *cells,
                f"{heavy} times",
                f"to {_amount(one['snatch_n']['p95'], 'N', units)}",
                "not stated" if strength is None else _amount(strength, "N", units),
            ]
        )
    return rows


def _amount(value: float, unit: str, units: Literal["us", "si"]) -> str:
    from driftmap.report import words
    from driftmap.units import show

    if unit == "m":
        return words.distance(value, units)
    if unit == "m/s":
        return show(value, "descent", units)
    if unit == "N":
        return f"{value / 4.4482216:,.0f} lbf" if units == "us" else f"{value:,.0f} N"
    if unit == "Pa":
        return (
            f"{value / 6894.757:,.2f} psi"
            if units == "us"
            else f"{value / 1000:,.1f} kPa"
        )
    return f"{value:.2f} {unit}".rstrip()
