"""``driftmap rules``: what the rules of the range ask of a flight, and why."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Literal

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
from driftmap.core.errors import InputError


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
@json_option()
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
    from driftmap.rules.answers import answers_to
    from driftmap.rules.evaluate import evaluate
    from driftmap.rules.facts import with_answers
    from driftmap.rules.lines import CAUTION, rule_lines
    from driftmap.rules.reading import picked_rules
    from driftmap.rules.template import to_fill_in
    from driftmap.verdict.rule_checks import facts_flown, position_lines

    (rocket, ground), asked = run.read(), run.asked
    sets = picked_rules(ground, names)
    occasion = occasion_of(rocket, ground, asked.when)
    said = answers_to(run.answers, sets, occasion)
    named = asked.winds or asked.at is not None
    wind = wind_asked(asked, place_of(ground)) if named else None
    flown = facts_flown(rocket, ground, wind, when=said.when)
    facts = with_answers(flown, said)
    results = [*evaluate(sets, facts, said), *position_lines(ground, sets)]
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
            "cautions": [CAUTION],
        }
        click.echo(json_text(document))
    else:
        click.echo("\n".join(rule_lines(rocket.name, ground.name, results, units)))
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
