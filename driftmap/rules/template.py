"""The answers file to fill in."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Final

from driftmap.rules.answers import Occasion
from driftmap.rules.evaluate import RuleResult
from driftmap.rules.kinds import FACTS, Scope
from driftmap.rules.ruleset import Question

__all__ = ["to_fill_in"]

_HEADS: Final[dict[Scope, str]] = {
    "season": "Once a season: these hold for a year, at this site.",
    "day": "For this day.",
    "flight": "For this flight.",
}

_MEASURED: Final = {"surface_wind", "expected_altitude"}  # --wind tells them

_HELP: Final = """\
# Answers for driftmap: assess, rules and the others take this file with --answers.
# Take the # from the front of a line such as #name = "yes" to answer it, or write another
# answer; what is not answered makes a verdict hold.
# You may split it into several files, such as season.toml, today.toml and flight.toml, each
# with this head, and give --answers several times.
"""


def to_fill_in(
    results: Sequence[RuleResult],
    asked: Mapping[str, Question],
    occasion: Occasion,
) -> str:
    """Write an answers file that answers nothing yet.

    ``results``: what the rules say; what is open in them is asked; ``asked``: every
    question by its name, from `driftmap.rules.questions`; ``occasion``: what the
    answers are for.

    Result: TOML that `read_answers` takes as it is, and when any line is answered.
    """
    needed = dict.fromkeys(n for r in results if r.outcome == "ask" for n in r.answer)
    optional = {n for r in results if r.outcome == "pass" for n in r.answer}
    names = [n for n in needed if n not in _MEASURED]
    names += sorted(optional - needed.keys())
    lines = [_HELP, *_head(occasion)]
    for scope, head in _HEADS.items():
        rows = [n for n in names if _scope(n, asked) == scope]
        if rows:
            lines += ["", f"# {head}"]
        for name in rows:
            lines += ["", *_row(name, asked, optional=name not in needed)]
    return "\n".join(lines) + "\n"


def _head(occasion: Occasion) -> list[str]:
    return [
        f"date = {occasion.day or date.today()}",
        f"site = {json.dumps(occasion.site, ensure_ascii=False)}",
        f"flight = {json.dumps(occasion.flight, ensure_ascii=False)}",
    ]


def _scope(name: str, asked: Mapping[str, Question]) -> Scope:
    return asked[name].scope if name in asked else FACTS[name].scope


def _row(name: str, asked: Mapping[str, Question], *, optional: bool) -> list[str]:
    """Say what is asked and what is accepted, then the line to fill in."""
    if name in asked:
        text, example, accepted = asked[name].text, '"yes"', '"yes" or "no"'
    else:
        fact = FACTS[name]
        text, example = fact.text, fact.example
        accepted = "a number" if fact.dimension == "number" else "a number with a unit"
        if fact.dimension == "share":
            accepted = "a share: eighths, tenths or per cent"
    if optional:
        text += " (not needed; it may put the rocket into a lighter class)"
    told = textwrap.wrap(text, 88, initial_indent="# ", subsequent_indent="# ")
    return [*told, f"#{name} = {example}    # {accepted}"]
