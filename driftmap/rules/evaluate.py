"""Compare rules with facts: what applies to this flight, and whether it is kept."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from driftmap.rules.answers import Answers
from driftmap.rules.classes import Fit, governing_sets
from driftmap.rules.demands import Demand, demands_of, strictest
from driftmap.rules.facts import Facts
from driftmap.rules.kinds import GROUPS, KINDS, Sense
from driftmap.rules.ruleset import Rule, RuleSet
from driftmap.rules.words import SCALE, UNIT, joined, not_known

__all__ = ["RuleResult", "evaluate"]

Outcome = Literal["pass", "fail", "ask"]

_CLASS_OUTCOME: Final[dict[str, Outcome]] = {
    "fits": "pass",
    "unknown": "ask",
    "none": "fail",
}


@dataclass(frozen=True, slots=True)
class RuleResult:
    """One line of what the rules say of a flight.

    Parameters
    ----------
    name : str
        Name of the rule; ``"class"`` for the class of the rocket.
    what : str
        What is asked for, in words.
    area : str
        Area of the site it speaks of; empty where there is none.
    value, limit : float or None
        Figure and limit in `unit`; None where unknown, or for a question.
    unit : str
        SI unit, but degrees for angles and hours for times; ``"share"`` or empty for
        pure numbers.
    sense : {"at least", "at most", ""}
        How the figure must compare with the limit.
    outcome : {"pass", "fail", "ask"}
        Kept, broken, or unknown until someone answers; a verdict holds on "ask".
    answer : tuple of str
        Names of what an answers file must give to settle an "ask".
    source : str
        Where the rule comes from.
    governs : str
        Which text governs in its place.
    why : str
        Why it applies and how the outcome came about.
    rules : str
        Title of the rule set.
    """

    name: str
    what: str
    area: str
    value: float | None
    limit: float | None
    unit: str
    sense: Sense | Literal[""]
    outcome: Outcome
    answer: tuple[str, ...]
    source: str
    governs: str
    why: str
    rules: str


def evaluate(
    sets: Sequence[RuleSet], facts: Facts, answers: Answers | None = None
) -> tuple[RuleResult, ...]:
    """Say which rules apply to a flight and whether they are kept.

    Of several limits of one name the stricter governs. A fact or an answer that is
    missing gives "ask", and so does having no rules at all.

    Parameters
    ----------
    sets : sequence of RuleSet
        From `driftmap.rules.read_rules`.
    facts : Facts
        What is known, with the numbers of the answers (`with_answers`).
    answers : Answers, optional
        What people confirmed.

    Returns
    -------
    tuple of RuleResult
        At least one line.
    """
    said = answers or Answers()
    results: list[RuleResult] = []
    demands: list[Demand] = []
    for rules, fit in governing_sets(sets, facts, said):
        results += _class_lines(rules, fit)
        if fit.state != "none":
            demands += demands_of(rules, fit, facts)
    for demand in strictest(demands):
        results += _lines(demand, facts, said)
    if not results:
        text = "no rules were picked; name a rule set in the site file"
        results.append(_line("rules", "a rule set for this site", "ask", why=text))
    return tuple(results)


def _line(
    name: str,
    what: str,
    outcome: Outcome,
    *,
    rules: RuleSet | None = None,
    source: str = "",
    why: str = "",
    answer: tuple[str, ...] = (),
) -> RuleResult:
    title, governs = (rules.title, rules.governs) if rules else ("", "")
    return RuleResult(
        name, what, "", None, None, "", "", outcome, answer, source, governs, why, title
    )


def _class_lines(rules: RuleSet, fit: Fit) -> Iterator[RuleResult]:
    if not rules.classes:
        return
    outcome = _CLASS_OUTCOME[fit.state]
    what = f"class of rocket: {fit.name or 'not known'}"
    source = fit.source
    yield _line(
        "class",
        what,
        outcome,
        rules=rules,
        source=source,
        why=fit.why,
        answer=fit.missing,
    )


def _lines(demand: Demand, facts: Facts, said: Answers) -> Iterator[RuleResult]:
    rule = demand.rule
    if rule.question:
        yield _asked(demand, said)
    elif demand.limit is None:
        yield _open(demand, said)
    elif KINDS[rule.name].fact in GROUPS:
        yield from _distances(demand, demand.limit, facts, said)
    else:
        value = facts.numbers.get(KINDS[rule.name].fact)
        yield _compared(demand, demand.limit, ("", value), said)


def _settled(name: str, said: Answers) -> tuple[Outcome, str]:
    answer = said.confirmed.get(name)
    if answer is None:
        return "ask", f'not answered; {name} = "yes" confirms it'
    return ("pass", "confirmed") if answer else ("fail", 'answered "no"')


def _asked(demand: Demand, said: Answers) -> RuleResult:
    rule = demand.rule
    outcome, text = _settled(rule.name, said)
    return _line(
        rule.name,
        rule.text,
        outcome,
        rules=demand.rules,
        source=rule.cited,
        why=joined(demand.why, text, rule.note),
        answer=(rule.name,) if outcome == "ask" else (),
    )


def _open(demand: Demand, said: Answers) -> RuleResult:
    """Tell of a limit that could not be worked out."""
    rule = demand.rule
    outcome: Outcome = "ask"
    answer, text = demand.missing, ""
    if demand.missing:
        text = not_known(demand.missing)
    elif rule.excuse:
        outcome, text = _settled(rule.excuse, said)
        text = f"{rule.excuse_text}: {text}"
        answer = (rule.excuse,) if outcome == "ask" else ()
    else:
        outcome, answer = "fail", ()
    bare = _line(
        rule.name,
        rule.text,
        outcome,
        rules=demand.rules,
        source=rule.cited,
        why=joined(demand.why, text, rule.note),
        answer=answer,
    )
    kind = KINDS[rule.name]
    return replace(bare, unit=UNIT[kind.dimension], sense=kind.sense)


def _distances(
    demand: Demand, limit: float, facts: Facts, said: Answers
) -> Iterator[RuleResult]:
    """Compare every area that is too near, or else the nearest."""
    group = GROUPS[KINDS[demand.rule.name].fact]
    areas = facts.groups.get(KINDS[demand.rule.name].fact, ())
    if not areas:
        outcome, text = _settled(group.absent, said)
        text = f"the site file draws no {group.text}: {text}"
        answer = (group.absent,) if outcome == "ask" else ()
        blank = _compared(demand, limit, ("", math.inf), said)
        why = joined(demand.why, text, demand.rule.note)
        yield replace(blank, value=None, outcome=outcome, answer=answer, why=why)
        return
    near = [pair for pair in areas if not pair[1] >= limit]
    for area in near or [min(areas, key=lambda pair: pair[1])]:
        yield _compared(demand, limit, area, said)


def _compared(
    demand: Demand, limit: float, named: tuple[str, float | None], said: Answers
) -> RuleResult:
    rule, kind, (area, value) = demand.rule, KINDS[demand.rule.name], named
    outcome, answer, text = _judged(rule, limit, value, said)
    scale = SCALE.get(kind.dimension, 1.0)
    return RuleResult(
        name=rule.name,
        what=rule.text,
        area=area,
        value=None if value is None else value / scale,
        limit=limit / scale,
        unit=UNIT[kind.dimension],
        sense=kind.sense,
        outcome=outcome,
        answer=answer,
        source=rule.cited,
        governs=demand.rules.governs,
        why=joined(demand.why, text, rule.note),
        rules=demand.rules.title,
    )


def _judged(
    rule: Rule, limit: float, value: float | None, said: Answers
) -> tuple[Outcome, tuple[str, ...], str]:
    kind = KINDS[rule.name]
    if value is None:
        return "ask", (kind.fact,), not_known((kind.fact,))
    if value >= limit if kind.sense == "at least" else value <= limit:
        return "pass", (), ""
    if not rule.excuse:
        return "fail", (), ""
    outcome, text = _settled(rule.excuse, said)
    answer = (rule.excuse,) if outcome == "ask" else ()
    return outcome, answer, f"{rule.excuse_text}: {text}"
