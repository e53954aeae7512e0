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
from driftmap.rules.floor import not_covered, yardsticks
from driftmap.rules.kinds import GROUPS, KINDS, NOT_COVERED, Kind, Sense
from driftmap.rules.ruleset import Rule, RuleSet
from driftmap.rules.words import SCALE, UNIT, joined, not_known

__all__ = ["RuleResult", "evaluate"]

Outcome = Literal["pass", "fail", "ask", "hold"]

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
    outcome : {"pass", "fail", "ask", "hold"}
        Kept, broken, unknown until someone answers, or not surely kept; a verdict holds
        on the last two.
    answer : tuple of str
        Names of what an answers file must give to settle an "ask", or may give to put the
        rocket into a lighter class.
    source : str
        Where the rule comes from.
    governs : str
        Which text governs in its place.
    why : str
        Why it applies and how the outcome came about.
    rules : str
        Title of the rule set.
    interval : (float, float) or None
        Ends of the figure, in `unit`, where it is not known exactly.
    yardstick : bool
        Whether the rule is no law of the site but holds everywhere.
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
    interval: tuple[float, float] | None = None
    yardstick: bool = False


def evaluate(
    sets: Sequence[RuleSet], facts: Facts, answers: Answers | None = None
) -> tuple[RuleResult, ...]:
    """Say which rules apply to a flight and whether they are kept.

    Of several limits of one name the stricter governs. A fact or an answer that is
    missing gives "ask", and so do having no rules at all, and what the rules say nothing
    of. Beside the rules of the sets every flight is held to `yardsticks`.

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
    governing = tuple(governing_sets(sets, facts, said))
    for rules, fit in governing:
        results += _class_lines(rules, fit)
        if fit.state != "none":
            demands += demands_of(rules, fit, facts)
    if governing:
        results += _silence(
            not_covered([rules for rules, _ in governing], demands), said
        )
    else:
        text = "no rules were picked; name a rule set in the site file"
        results.append(_line("rules", "a rule set for this site", "ask", why=text))
    if facts.numbers.get("stages", 1.0) > 1:
        text = "how the stages part and where each comes down is not flown"
        results.append(_line("stages", text, "hold"))
    for demand in strictest([*demands, *yardsticks(facts, said, demands)]):
        results += _lines(demand, facts, said)
    return tuple(results)


def _silence(topics: Sequence[str], said: Answers) -> Iterator[RuleResult]:
    """Ask for what the rules leave out: silence of a set is no leave."""
    if topics:
        what = (
            f"these rules say nothing of {', '.join(topics)}: the local code on that "
            "was read and is kept"
        )
        outcome, why = _settled(NOT_COVERED, said)
        answer = (NOT_COVERED,) if outcome == "ask" else ()
        yield _line(NOT_COVERED, what, outcome, why=why, answer=answer)


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
    if rules.classes or fit.lighter:
        name = fit.name if rules.classes else f"that of the {rules.title}"
        yield _line(
            "class",
            f"class of rocket: {name or 'not known'}",
            _CLASS_OUTCOME[fit.state],
            rules=rules,
            source=fit.source,
            why=fit.why,
            answer=fit.missing or fit.lighter,
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
        ends = facts.ranges.get(KINDS[rule.name].fact)
        yield _compared(demand, demand.limit, ("", value), said, ends)


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
    yardstick = bool(demand.yardstick)
    return replace(
        bare, unit=UNIT[kind.dimension], sense=kind.sense, yardstick=yardstick
    )


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
    demand: Demand,
    limit: float,
    named: tuple[str, float | None],
    said: Answers,
    ends: tuple[float, float] | None = None,
) -> RuleResult:
    rule, kind, (area, value) = demand.rule, KINDS[demand.rule.name], named
    outcome, answer, text = _judged(rule, limit, value, said)
    if outcome == "fail" and demand.yardstick == "holds":
        outcome = "hold"
    elif outcome == "pass" and ends and not all(_within(kind, e, limit) for e in ends):
        outcome, text = "hold", "its interval reaches beyond the limit"
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
        interval=None if ends is None else (ends[0] / scale, ends[1] / scale),
        yardstick=bool(demand.yardstick),
    )


def _within(kind: Kind, value: float, limit: float) -> bool:
    return value >= limit if kind.sense == "at least" else value <= limit


def _judged(
    rule: Rule, limit: float, value: float | None, said: Answers
) -> tuple[Outcome, tuple[str, ...], str]:
    kind = KINDS[rule.name]
    if value is None:
        return "ask", (kind.fact,), not_known((kind.fact,))
    if _within(kind, value, limit):
        return "pass", (), ""
    if not rule.excuse:
        return "fail", (), ""
    outcome, text = _settled(rule.excuse, said)
    answer = (rule.excuse,) if outcome == "ask" else ()
    return outcome, answer, f"{rule.excuse_text}: {text}"
