"""Compare rules with facts: what applies to this flight, what holds at every site, whether it is kept."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Sequence
from dataclasses import replace
from functools import lru_cache, partial
from types import MappingProxyType
from typing import Any, Final

from driftmap.rules.answers import Answers, questions
from driftmap.rules.applicability import (
    Demand,
    Fit,
    demands_of,
    floor_rules,
    governing_sets,
    strictest,
    yardsticks,
)
from driftmap.rules.facts import Facts, at_odds, larger_beside
from driftmap.rules.occasion import OF_THE_DRAWING
from driftmap.rules.reading import read_rules
from driftmap.rules.result import (
    LineOutcome,
    RuleResult,
    begin,
    by_answer,
    unknown,
    with_outcome,
)
from driftmap.rules.ruleset import Rule, RuleSet, joined
from driftmap.rules.vocabulary import (
    FACTS,
    GROUPS,
    LARGER,
    LARGER_JUDGED,
    NOT_COVERED,
    RULE_KINDS,
    SCALE,
    UNIT,
    not_covered,
)

_LEAVE: Final = "; strike it out if it does not bear on this flight"
_UNHEARD: Final = (
    f'though nothing asked of this flight rests on it, {{}} was answered "no"{_LEAVE}'
)
_BEYOND: Final = "answered, though it is not asked of this flight" + _LEAVE

_ASKED: Final = MappingProxyType(
    {
        "total_impulse": "the impulse on the motor's label beside what its record and mass take",
        "motor_count": "the number of motors, which the flight file does not tell",
    }
)
"""What `Facts.asked` may name, each in words."""

_BROKEN: Final = ("fail", "hold")

_CLASS_OUTCOME: Final[dict[str, LineOutcome]] = {
    "fits": "pass",
    "unknown": "ask",
    "none": "fail",
}


def evaluate(
    sets: Sequence[RuleSet],
    facts: Facts,
    answers: Answers | None = None,
    *,
    only: Container[str] | None = None,
) -> tuple[RuleResult, ...]:
    """Say which rules apply to a flight and whether they are kept.

    Of several limits of one name the stricter governs. A fact or an answer that is
    missing gives "ask", and so do having no rules at all, and what the rules say nothing
    of. A "no", or a figure of the day beyond its limit, gives "hold" even where no rule
    asks it of this flight. Beside the rules of the sets every flight is held to `yardsticks`.
    What is broken only for want of an answer that would make the rocket a lighter one, or
    would be broken with it, gives "ask".

    ``facts``: what is known, with the numbers of the answers (`with_answers`); ``only``:
    names of the rules to look at, where not all of them count.

    Result: at least one line of all rules.
    """
    said = answers or Answers()
    results = _evaluated(sets, facts, said, only)
    fits = [
        *governing_sets(sets, facts, said),
        *governing_sets(floor_rules(), facts, said),
    ]
    lighter = tuple(dict.fromkeys(name for _, fit in fits for name in fit.lighter))
    if not lighter:
        return results
    now = _broken(results)
    kept: dict[tuple[str, str], tuple[str, ...]] = {}
    beside: dict[tuple[str, str], RuleResult] = {}
    for names in dict.fromkeys((lighter, *((name,) for name in lighter))):
        yes = {**said.confirmed, **dict.fromkeys(names, True)}
        then = _broken(_evaluated(sets, facts, replace(said, confirmed=yes), only))
        kept |= dict.fromkeys(now.keys() - then.keys(), names)
        beside |= {at: _asks(then[at], names) for at in then.keys() - now.keys()}
    asked = (
        _asks(r, kept[r.name, r.area])
        if r.outcome in _BROKEN and (r.name, r.area) in kept
        else r
        for r in results
    )
    return (*asked, *beside.values())


def _broken(results: Iterable[RuleResult]) -> dict[tuple[str, str], RuleResult]:
    return {(r.name, r.area): r for r in results if r.outcome in _BROKEN}


def _asks(line: RuleResult, names: tuple[str, ...]) -> RuleResult:
    """Ask for what would tell whether a line counts, where it is broken in one class alone."""
    return replace(line, outcome="ask", answer=(*line.answer, *names))


def _evaluated(
    sets: Sequence[RuleSet], facts: Facts, said: Answers, only: Container[str] | None
) -> tuple[RuleResult, ...]:
    results: list[RuleResult] = []
    demands: list[Demand] = []
    governing = tuple(governing_sets(sets, facts, said))
    for rules, fit in governing:
        results += _class_lines(rules, fit)
        if fit.state != "none":
            demands += demands_of(rules, fit, facts, only)
    if governing and only is None:
        results += _silence(
            not_covered(
                {field for rules, _ in governing for field in rules.whole},
                {demand.rule.name for demand in demands},
            ),
            said,
        )
    elif not governing:
        text = "no rules were picked; name a rule set in the site file"
        results.append(begin("rules", "a rule set for this site", "ask", why=text))
    if facts.numbers.get("stages", 1.0) > facts.stages_flown:
        text = "how the stages part and where each comes down is not flown"
        results.append(begin("stages", text, "hold"))
    for demand in strictest([*demands, *yardsticks(facts, said, demands, only)]):
        results += _lines(demand, facts, said)
    if only is None:
        results += (
            unknown(begin(name, _ASKED[name]), (name,), said)
            for name in facts.asked
            if name not in said.numbers
        )
        results += (begin(*two, "hold") for two in at_odds(facts, said))
        if larger_beside(facts, said):
            why = (
                "all that go together have more impulse than as many like the one flown"
            )
            line = begin(LARGER_JUDGED, LARGER, why=why)
            results.append(by_answer(line, LARGER_JUDGED, said))
        results += _not_heard(said, {name for r in results for name in r.answer})
    settled = {result.name for result in results} | {d.rule.name for d in demands}
    heard = [result.denied for result in results]
    results += _beyond_limits(sets, settled, facts, said)
    if denied := [name for name, yes in said.confirmed.items() if not yes]:
        results += _denied(sets, denied, {*heard, *_leaves(sets, settled)})
    return tuple(results)


def _not_heard(said: Answers, asked: Container[str]) -> Iterator[RuleResult]:
    """Hold on answers that do not count, though they may be meant for this flight."""
    left = [f"{k} in {v}" for k, v in said.passed_over.items() if k not in asked]
    if left:
        what = "an answer that may be meant for this flight does not count as it stands"
        yield begin("answers", f"{what}: {'; '.join(left)}", "hold")


def _leaves(sets: Iterable[RuleSet], settled: Container[str]) -> Iterator[str]:
    """Name the permissions to break a rule that was settled without them: none is missing.

    That of who or what stands nearer than allowed is more: nobody drawn there is another word.
    What would make a rocket a lighter one has told its class: the heavier one's rules count.
    """
    for rules in (*sets, *floor_rules()):
        yield from (q.name for kind in rules.classes for q in kind.confirmed)
        for rule in rules.rules:
            either = (rule.excuse, rule.stand_in) if rule.name in settled else ()
            yield from (q.name for q in either if q and q.name not in OF_THE_DRAWING)


def _denied(
    sets: Iterable[RuleSet], denied: Iterable[str], heard: Container[str]
) -> Iterator[RuleResult]:
    """Hold on every "no" that no line rests on: not asked here, or what is drawn says otherwise."""
    known = questions(sets)
    for name in sorted(name for name in denied if name not in heard):
        what = known[name].text if name in known else name
        line = begin(name, what, "hold", why=_UNHEARD.format(name))
        yield replace(line, answered=True)


def _beyond_limits(
    sets: Iterable[RuleSet], settled: Container[str], facts: Facts, said: Answers
) -> Iterator[RuleResult]:
    """Hold on figures told of the day that break a rule which others have.

    What somebody sees of the sky counts wherever he stands: silence of a set allows no fog.
    """
    spoken = set()
    sky = _sky_rules() if not said.numbers.keys().isdisjoint(_SKY) else ()
    for rules in (*sets, *floor_rules(), *sky) if said.numbers else ():
        for rule in rules.rules:
            if rule.name in settled or rule.name in spoken:
                continue
            if rules in sky and rule.name not in _SKY:
                continue
            if line := _beyond(rule, rules, facts, said):
                spoken.add(rule.name)
                yield replace(line, outcome="hold", answered=True)


_SKY: Final = ("cloud_cover", "visibility")


@lru_cache(1)  # the package's own files stay as they are while it runs
def _sky_rules() -> tuple[RuleSet, ...]:
    return read_rules(["us-faa-101"])


_ALWAYS: Final = {"when": (), "unless": (), "classes": ()}


def _beyond(
    rule: Rule, rules: RuleSet, facts: Facts, said: Answers
) -> RuleResult | None:
    """Return the line of a rule that others have, if a figure answered for the day breaks it."""
    kind = RULE_KINDS.get(rule.name)
    if kind is None or kind.fact not in said.numbers:
        return None
    if FACTS[kind.fact].scope not in {"day", "pad"}:
        return None
    bare = replace(rules, rules=(rule.model_copy(update=_ALWAYS),))
    for demand in demands_of(bare, Fit("fits"), facts):
        for line in _lines(demand, facts, said):
            if line.outcome in _BROKEN:
                return replace(line, why=joined(_BEYOND, line.why))
    return None


def _silence(topics: Sequence[str], said: Answers) -> Iterator[RuleResult]:
    """Ask about what the rules leave out: silence of a set is no permission."""
    if topics:
        what = (
            f"these rules say nothing of {', '.join(topics)}: the local code on that "
            "was read and is kept"
        )
        yield by_answer(begin(NOT_COVERED, what), NOT_COVERED, said)


def _class_lines(rules: RuleSet, fit: Fit) -> Iterator[RuleResult]:
    if rules.classes or fit.lighter:
        name = fit.name if rules.classes else f"that of the {rules.title}"
        yield begin(
            "class",
            f"class of rocket: {name or 'not known'}",
            _CLASS_OUTCOME[fit.state],
            rules=rules,
            source=fit.source,
            why=fit.why,
            answer=fit.missing or fit.lighter,
        )


def _lines(demand: Demand, facts: Facts, said: Answers) -> Iterator[RuleResult]:
    if demand.rule.question:
        found = [by_answer(_of(demand), demand.rule.name, said)]
    else:
        found = _of_a_limit(demand, facts, said)
    note = demand.rule.note
    for line in found:
        yield replace(line, why=joined(line.why, note)) if note else line


def _of_a_limit(demand: Demand, facts: Facts, said: Answers) -> list[RuleResult]:
    """Hold what is known against a limit, or against both ends of what it may come to."""
    mild, strict = (
        [] if limit is None else list(_against(demand, limit, facts, said))
        for limit in (demand.mildest, demand.strictest)
    )
    if demand.limit is not None:
        return mild
    if strict and all(line.outcome == "pass" for line in strict):
        text = f"kept at either end of what is known of the {FACTS[demand.missing[0]].text}"
        return [with_outcome(line, "pass", text) for line in strict]
    broken = [line for line in mild if line.outcome in _BROKEN]
    return broken or [_open(demand, said)]


_OUT_OF_SIGHT: Final = ("airports",)
"""What who draws the field does not see from it: one drawn far off tells of no other."""


def _against(
    demand: Demand, limit: float, facts: Facts, said: Answers
) -> Iterator[RuleResult]:
    """Compare a figure with a limit; of areas every one that is too near, or else the nearest."""
    fact = RULE_KINDS[demand.rule.name].fact
    if fact not in GROUPS:
        ends = facts.ranges.get(fact)
        yield _compared(demand, limit, ("", facts.numbers.get(fact)), said, ends)
        return
    group, areas = GROUPS[fact], facts.groups.get(fact, ())
    near = [pair for pair in areas if not pair[1] >= limit]
    if not areas or (fact in _OUT_OF_SIGHT and not near):
        blank = _of(demand, limit=limit)
        text = f"the site file draws no {group.text}{' so near' if areas else ''}"
        yield by_answer(blank, group.absent, said, text)
    if not areas:
        return
    for area in near or [min(areas, key=lambda pair: pair[1])]:
        yield _compared(demand, limit, area, said)


def _of(demand: Demand, **more: Any) -> RuleResult:
    """Begin the line of a rule with why it applies, and what is compared."""
    rule = demand.rule
    kind = None if rule.question else RULE_KINDS[rule.name]
    return begin(
        rule.name,
        rule.asks,
        rules=demand.rules,
        source=rule.cited,
        why=demand.why,
        yardstick=bool(demand.yardstick),
        unit=UNIT[kind.dimension] if kind else "",
        sense=kind.sense if kind else "",
        **more,
    )


def _open(demand: Demand, said: Answers) -> RuleResult:
    """Tell of a limit that could not be worked out."""
    excuse, line = demand.rule.excuse, _of(demand)
    if demand.missing:
        return unknown(line, demand.missing, said)
    if excuse:
        return by_answer(line, excuse.name, said, excuse.text)
    return replace(line, outcome="fail")


def _compared(
    demand: Demand,
    limit: float,
    named: tuple[str, float | None],
    said: Answers,
    ends: tuple[float, float] | None = None,
) -> RuleResult:
    rule, kind, (area, value) = demand.rule, RULE_KINDS[demand.rule.name], named
    scale = SCALE.get(kind.dimension, 1.0)
    line = partial(
        _of,
        demand,
        area=area,
        value=None if value is None else value / scale,
        limit=limit / scale,
        interval=None if ends is None else (ends[0] / scale, ends[1] / scale),
    )
    broken: LineOutcome = "hold" if demand.yardstick == "holds" else "fail"
    if value is not None:
        own = said.numbers.get(kind.fact) == value
        if kind.keeps(value, limit):
            if ends and not all(kind.keeps(end, limit) for end in ends):
                text = "not surely: see its interval"
                return with_outcome(line(answered=own), "hold", text)
            return line(outcome="pass", answered=own)
        if not rule.excuse:
            return line(outcome=broken, answered=own)
    if question := rule.excuse if value is not None else rule.stand_in:
        found = by_answer(line(), question.name, said, question.text)
        return replace(found, outcome=broken) if found.outcome == "fail" else found
    return unknown(line(), (kind.fact,), said)
