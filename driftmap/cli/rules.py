"""``driftmap rules``: what the rules of the range ask of a flight, and why."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

import click

from driftmap.cli.inputs import (
    Run,
    answers_option,
    into_run,
    occasion_of,
    place_of,
    wind_asked,
    wind_options_for,
)
from driftmap.cli.options import json_option, site_options, units_option
from driftmap.cli.output import json_text
from driftmap.core.errors import InputError, visible
from driftmap.core.units import show

if TYPE_CHECKING:
    from driftmap.ground.areas import Site
    from driftmap.rocket.flight import Flight
    from driftmap.rules.result import RuleResult


_KINDS: Final = {"m": "length", "m/s": "speed", "kg": "mass"}
_WIDTH: Final = 88
_CAUTION: Final = (
    "A help to remember the rules, not the rules. The text that governs, the range safety "
    "officer and the landowner decide."
)


@click.command("rules")
@click.argument("flight", metavar="FLIGHT")
@site_options
@click.option(
    "--rules",
    "names",
    multiple=True,
    metavar="SET",
    help="Rule set, or a club's own file (.toml), in place of those the site file "
    "names. Give it again for several.",
)
@answers_option()
@click.option(
    "--write-answers",
    "blank",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write the answers file to fill in: every open question, and what an answer may "
    "raise, with what is accepted.",
)
@wind_options_for(
    "Wind, as for assess; without it the height is that in calm air and the "
    "surface wind is not known."
)
@json_option("Print JSON.")
@units_option
@into_run
def rules_command(
    run: Run,
    names: tuple[str, ...],
    blank: Path | None,
    as_json: bool,
    units: Literal["us", "si"],
) -> None:
    """Show which rules apply to a flight at a site, and why.

    Rule sets: those the site file names in "rules", or --rules.

    \b
    Examples:
      driftmap rules examples/willet.toml --site sites/saltgrass-flat.geojson --rules us
      driftmap rules FLIGHT --site SITE --write-answers today.toml
      driftmap rules FLIGHT --site SITE --answers season.toml --answers today.toml \\
          --wind "8 mph from 240" --when 14:30
    """
    from driftmap.rules.answers import read_answers
    from driftmap.rules.evaluate import evaluate
    from driftmap.rules.facts import with_answers
    from driftmap.rules.reading import picked_rules
    from driftmap.rules.template import to_fill_in
    from driftmap.verdict.rule_checks import facts_flown

    (rocket, ground), asked = run.read(), run.asked
    sets = picked_rules(ground, names)
    occasion = occasion_of(rocket, ground, asked.when)
    said = read_answers(run.answers, sets, occasion)
    named = asked.winds or asked.at is not None
    wind = wind_asked(asked, place_of(ground)) if named else None
    flown = facts_flown(rocket, ground, wind, when=said.when)
    facts = with_answers(flown, said)
    results = evaluate(sets, facts, said)
    if blank is not None:
        _write_new(blank, to_fill_in(sets, flown, said, occasion))
    if as_json:
        document = {
            "flight": rocket.name,
            "site": ground.name,
            "sets": [
                {"name": s.name, "title": s.title, "governs": s.governs} for s in sets
            ],
            "facts_si": dict(facts.numbers),
            "rules": [asdict(result) for result in results],
            "cautions": [_CAUTION],
        }
        click.echo(json_text(document))
    else:
        click.echo(_text(rocket, ground, results, units))
    if blank is not None:
        click.echo(f"\nTo fill in: {blank}", err=as_json)


def _write_new(path: Path, text: str) -> None:
    """Write a file that is not there yet: answers once given are not lost."""
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except OSError as problem:
        reason = "is there already" if path.exists() else str(problem.strerror)
        raise InputError("--write-answers", "", f"{path} {reason}") from None


def _text(flight: Flight, site: Site, results: Sequence[RuleResult], units: str) -> str:
    lines = [f"Rules for {visible(flight.name)} at {visible(site.name)}", ""]
    order = ("fail", "hold", "ask", "pass")
    for result in sorted(results, key=lambda r: order.index(r.outcome)):
        lines += _entry(result, units)
    counts = Counter(r.outcome for r in results)
    lines.append(
        f"{counts['pass']} kept, {counts['fail']} broken, {counts['hold']} not surely kept, "
        f"{counts['ask']} to be answered."
    )
    wanted = dict.fromkeys(
        name for r in results if r.outcome == "ask" for name in r.answer
    )
    if wanted:
        told = "To be answered (--write-answers FILE writes the file to fill in): "
        lines += _wrapped(told + ", ".join(wanted), "  ")
    for text in dict.fromkeys(r.governs for r in results if r.governs):
        lines += _wrapped(f"{text[0].upper()}{visible(text[1:])}.", "  ")
    lines += _wrapped(_CAUTION, "")
    return "\n".join(lines)


def _entry(result: RuleResult, units: str) -> list[str]:
    area = f", {visible(result.area)}" if result.area else ""
    lines = _wrapped(f"{result.outcome.upper():5}{visible(result.what)}{area}", " " * 5)
    if result.limit is not None:
        value = "not known" if result.value is None else _amount(result, "value", units)
        lines.append(f"     {value}; {result.sense} {_amount(result, 'limit', units)}")
    if result.why:
        lines += _wrapped(f"     why: {visible(result.why)}", " " * 7)
    if result.source:
        lines += _wrapped(f"     source: {visible(result.source)}", " " * 7)
    return [*lines, ""]


def _amount(result: RuleResult, key: Literal["value", "limit"], units: str) -> str:
    number = float(getattr(result, key))
    if result.unit in _KINDS:
        return show(number, _KINDS[result.unit], units)
    return (
        f"{number:.0%}"
        if result.unit == "share"
        else f"{number:,.6g} {result.unit}".rstrip()
    )


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, subsequent_indent=indent) or [""]
