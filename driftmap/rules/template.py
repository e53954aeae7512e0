"""The answers file to fill in."""

from __future__ import annotations

import json
import textwrap
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Final

from driftmap.core.units import FOOT, quantity
from driftmap.rules.answers import Answers, questions, scope_of
from driftmap.rules.evaluate import evaluate
from driftmap.rules.facts import Facts, agrees, with_answers
from driftmap.rules.occasion import Occasion
from driftmap.rules.result import RuleResult
from driftmap.rules.ruleset import Question, RuleSet
from driftmap.rules.vocabulary import FACTS, Scope, amount

_HEADS: Final[dict[Scope, str]] = {
    "season": "Once a season: these hold for a year, at this site.",
    "ground": "Of the ground: these hold for a year, at this pad.",
    "day": "For this day.",
    "pad": "For this day, at this pad.",
    "flight": "For this flight.",
}

_LIGHTER: Final = " (not needed; it may put the rocket into a lighter class)"
_MEASURED: Final = {"surface_wind", "expected_altitude"}  # --wind tells them

_HELP: Final = """\
# Answers for driftmap: assess, rules and the others take this file with --answers.
# Take the # from the front of a line such as #name = "yes" to answer it, or write another
# answer; what is not answered makes a verdict hold.
# You may split it into several files, such as season.toml, today.toml and flight.toml, each
# with this head, and give --answers several times. If a leave or a waiver ends before the
# day does, say so at the head of its file, such as until = 2026-06-13T14:00:00-07:00
"""


def to_fill_in(
    sets: Sequence[RuleSet], facts: Facts, said: Answers, occasion: Occasion
) -> str:
    """Write an answers file that answers nothing yet.

    ``sets``: the rules; ``facts``: what files and flights tell; ``said``: what was
    answered before; ``occasion``: what the answers are for. What an answer to one line
    raises is a line of the file too, so a file that is filled in leaves nothing open.

    Result: TOML that `read_answers` takes as it is, and when any line is answered.
    """
    asked = questions(sets)
    rows = _every_row(sets, facts, said, asked)
    lines = [_HELP, *_head(occasion)]
    for scope, head in _HEADS.items():
        names = [n for n in rows if scope_of(n, asked) == scope and n not in _MEASURED]
        if names:
            lines += ["", f"# {head}"]
        for name in names:
            lines += ["", *_row(name, asked, rows[name], facts)]
    return "\n".join(lines) + "\n"


def _every_row(
    sets: Sequence[RuleSet], facts: Facts, said: Answers, asked: Mapping[str, Question]
) -> dict[str, str]:
    """List what is asked now or may be, whatever is answered, with what to remark of it.

    Each answer is tried upon none, upon those that raised something new, and upon a file
    that is filled in as its examples are, until nothing more comes up.
    """

    def told(given: Mapping[str, float]) -> dict[str, str]:
        yes_or_no = {n: bool(v) for n, v in given.items() if n in asked}
        numbers = {n: v for n, v in given.items() if n not in asked}
        both = replace(
            said,
            confirmed={**said.confirmed, **yes_or_no},
            numbers={**said.numbers, **numbers},
        )
        results = evaluate(sets, with_answers(facts, both), both)
        lighter = [n for r in results if r.outcome != "ask" for n in r.answer]
        open_ = sorted(
            (r for r in results if r.outcome == "ask"), key=lambda r: r.limit or 0.0
        )
        needed = {n: _that(n, r, asked) for r in open_ for n in r.answer}
        return {**needed, **dict.fromkeys(lighter, _LIGHTER)}

    rows = told({})
    states: list[dict[str, float]] = [{}]
    for state in states:  # grows
        for name in list(rows):
            for text, value in _answers_to(name, asked, facts):
                tried = {**state, name: value}
                new = {n: r for n, r in told(tried).items() if n not in rows}
                if new:
                    alone = new.keys() <= told({name: value}).keys()
                    others = "" if alone else " beside other answers"
                    remark = f" (asked only with {text}{others})"
                    rows |= {n: r or remark for n, r in new.items()}
                    states.append(tried)
        filled = {name: next(_answers_to(name, asked, facts))[1] for name in rows}
        if state is states[-1] and filled != state:
            states.append(filled)
    return rows


def _that(name: str, line: RuleResult, asked: Mapping[str, Question]) -> str:
    """Say how far "nearer than that" is, at the most."""
    told = name in asked and "than that" in asked[name].text
    if not told or line.limit is None or line.unit != "m":
        return ""
    return f" (that is {line.limit:,.0f} m, {line.limit / FOOT:,.0f} ft)"


def _answers_to(
    name: str, asked: Mapping[str, Question], facts: Facts
) -> Iterator[tuple[str, float]]:
    """Yield the answers to try, none of which the files contradict.

    They are yes and no, or figures about the example, in SI.
    """
    if name in asked:
        yield from ((f'{name} = "yes"', 1.0), (f'{name} = "no"', 0.0))
        return
    value = _value(_example(name, facts), name)
    for tried in (value, 1e-3 * value, 1e3 * value):
        if agrees(facts, name, tried):
            yield f"some answers to {name}", tried


def _example(name: str, facts: Facts) -> str:
    """Write a figure as an example: that of the files where they contradict the usual one."""
    example = FACTS[name].example
    if agrees(facts, name, _value(example, name)):
        return example
    told = amount(facts.numbers[name], FACTS[name].dimension).replace(",", "")
    return told if FACTS[name].dimension == "number" else json.dumps(told)


def _value(example: str, name: str) -> float:
    return quantity(tomllib.loads(f"x = {example}")["x"], FACTS[name].dimension)


def _head(occasion: Occasion) -> list[str]:
    head = [
        f"date = {occasion.day or date.today()}",
        f"site = {json.dumps(occasion.site, ensure_ascii=False)}",
        f"flight = {json.dumps(occasion.flight, ensure_ascii=False)}",
    ]
    if occasion.place is not None:
        head += [
            f"place = {occasion.placed}    # latitude, longitude [deg], elevation [m] of the pad",
            f'rocket = "{occasion.rocket}"    # another once the flight file is changed',
            f'drawn = "{occasion.drawn}"    # another once the ground about the pad is drawn anew',
            f'bounds = "{occasion.bounds}"    # another once land, waiver or rules are changed',
        ]
    return head


def _row(
    name: str, asked: Mapping[str, Question], remark: str, facts: Facts
) -> list[str]:
    """Say what is asked and what is accepted, then the line to fill in."""
    if name in asked:
        text, example, accepted = asked[name].text, '"yes"', '"yes" or "no"'
    else:
        fact = FACTS[name]
        text, example = fact.text, _example(name, facts)
        accepted = "a number" if fact.dimension == "number" else "a number with a unit"
        if fact.dimension == "share":
            accepted = "a share: eighths, tenths or per cent"
    told = textwrap.wrap(text + remark, 88, initial_indent="# ", subsequent_indent="# ")
    return [*told, f"#{name} = {example}    # {accepted}"]
