"""Which rule sets apply to a rocket, by its class, and what limits they come to."""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Literal

from driftmap.rules.answers import Answers
from driftmap.rules.facts import Facts
from driftmap.rules.reading import read_rules
from driftmap.rules.ruleset import (
    Condition,
    Question,
    RocketClass,
    Rule,
    RuleSet,
    joined,
    not_known,
    reason,
)
from driftmap.rules.vocabulary import FACTS, FLOOR, RULE_KINDS, amount


@dataclass(frozen=True, slots=True)
class Fit:
    """How the classes of a rule set fit a rocket.

    Parameters
    ----------
    state : {"fits", "unknown", "none"}
        Whether a class fits, facts are missing to tell, or none does.
    name : str
        The class that fits; empty for a set without classes.
    why, source : str
        Why it fits, and where its bounds come from.
    missing : tuple of str
        Facts that would settle it.
    lighter : tuple of str
        Questions that, confirmed, would put the rocket into a lighter class.
    """

    state: Literal["fits", "unknown", "none"]
    name: str = ""
    why: str = ""
    source: str = ""
    missing: tuple[str, ...] = ()
    lighter: tuple[str, ...] = ()


def governing_sets(
    sets: Sequence[RuleSet], facts: Facts, said: Answers
) -> Iterator[tuple[RuleSet, Fit]]:
    """Take, of each family, the first set that surely has a class for the rocket.

    ``sets``: the sets picked; alternatives go from the lightest rocket to the heaviest.

    Result: a set of each family, in doubt its last, with the rocket's class in it.
    """
    families: dict[str, list[tuple[RuleSet, Fit]]] = {}
    for rules in sets:
        if rules.rules or rules.classes:
            fit = _fit(rules, facts, said)
            families.setdefault(rules.family, []).append((rules, fit))
    for members in families.values():
        sure = [pair for pair in members if pair[1].state == "fits"]
        open_ = [pair for pair in members if pair[1].state == "unknown"]
        rules, fit = (sure[:1] or open_[-1:] or members[-1:])[0]
        passed = [other for one, other in members if one is not rules and other.lighter]
        if passed:
            why = joined(fit.why, *(other.why for other in passed))
            more = tuple(key for other in passed for key in other.lighter)
            fit = replace(fit, why=why, lighter=(*fit.lighter, *more))
        yield rules, fit


def _fit(rules: RuleSet, facts: Facts, said: Answers) -> Fit:
    if not rules.classes:
        return Fit("fits")
    hints: dict[str, str] = {}
    missing: list[str] = []
    for kind in rules.classes:
        state, names = _all_hold(kind.when, facts)
        if state is None:
            missing += names
        elif state and not missing:
            unsure = [q for q in kind.confirmed if not said.confirmed.get(q.name)]
            if not unsure:
                why = joined(_reasons(kind, facts), *hints.values())
                return Fit("fits", kind.name, why, kind.source, lighter=tuple(hints))
            hints |= _unless(kind, unsure, said)
    if missing:
        names = tuple(dict.fromkeys(missing))
        why = joined(
            f"not known whether it is a {rules.classes[0].name}", not_known(names)
        )
        return Fit("unknown", why=why, missing=names, lighter=tuple(hints))
    why = joined("the rocket fits none of its classes", *hints.values())
    return Fit("none", why=why, lighter=tuple(hints))


def _unless(
    kind: RocketClass, unsure: Iterable[Question], said: Answers
) -> dict[str, str]:
    """Say what would put the rocket into a class; nothing where that was answered "no"."""
    if any(said.confirmed.get(q.name) is False for q in unsure):
        return {}
    return {
        q.name: f'not {kind.name}, unless {q.name} = "yes" confirms that {q.text}'
        for q in unsure
    }


def _reasons(kind: RocketClass, facts: Facts) -> str:
    return ", ".join(_why_holds(c, facts) for c in kind.when) or "any other"


def _why_holds(condition: Condition, facts: Facts) -> str:
    """Say how what is known meets a condition that it holds."""
    value = facts.numbers.get(condition.fact)
    if value is None:  # then both ends of its range hold it
        value = facts.ranges[condition.fact][condition.sign in {"up_to", "below"}]
    return reason(condition, value)


def _all_hold(
    conditions: Iterable[Condition], facts: Facts
) -> tuple[bool | None, tuple[str, ...]]:
    """Say whether all conditions hold.

    ``facts``: what is known; where a number is not, both ends of its range must agree.

    Result: None where missing facts leave it open, and those.
    """
    missing = []
    for condition in conditions:
        value = facts.numbers.get(condition.fact)
        ends = facts.ranges.get(condition.fact, ()) if value is None else (value,)
        held = {condition.holds(end) for end in ends}
        if len(held) != 1:
            missing.append(condition.fact)
        elif held == {False}:
            return False, ()
    return (None, tuple(missing)) if missing else (True, ())


@dataclass(frozen=True, slots=True)
class Demand:
    """A rule that applies, with the limit it comes to for this flight.

    Parameters
    ----------
    rule : Rule
        The rule.
    rules : RuleSet
        The set it stands in.
    why : str
        Why it applies, and how the limit came about.
    missing : tuple of str
        Facts that would settle it.
    mildest, strictest : float or None
        The least and the most that the limit can come to, in SI: alike where it is known;
        None for a question, and where missing facts leave that end open.
    yardstick : {"", "fails", "holds"}
        What breaking it means where the rule is no law of the site; empty for a law.
    """

    rule: Rule
    rules: RuleSet
    why: str
    missing: tuple[str, ...] = ()
    mildest: float | None = None
    strictest: float | None = None
    yardstick: Literal["", "fails", "holds"] = ""

    @property
    def limit(self) -> float | None:
        """The limit where it is known."""
        return self.mildest if self.mildest == self.strictest else None


def demands_of(
    rules: RuleSet, fit: Fit, facts: Facts, only: Container[str] | None = None
) -> Iterator[Demand]:
    """List the rules that apply, or may apply for all that is known; of some names alone.

    Yields
    ------
    Demand
        One for each rule.
    """
    for rule in rules.rules:
        if only is not None and rule.name not in only:
            continue
        if rule.classes and fit.state == "fits" and fit.name not in rule.classes:
            continue
        applies, missing = _all_hold(rule.when, facts)
        excepted, _ = _all_hold(rule.unless, facts) if rule.unless else (False, ())
        if applies is False or excepted:
            continue
        why = _applies(rule, fit, facts)
        if missing or rule.question:
            yield Demand(rule, rules, why, missing)
        else:
            yield _demand(rule, rules, facts, why)


def _applies(rule: Rule, fit: Fit, facts: Facts) -> str:
    parts = [f"for {fit.name}"] if rule.classes and fit.name else []
    parts += [_why_holds(c, facts) for c in rule.when if _all_hold([c], facts)[0]]
    return "; ".join(parts)


def _demand(rule: Rule, rules: RuleSet, facts: Facts, why: str) -> Demand:
    """Work out the limit of a rule for this flight."""
    figures, missing = _figures(rule, facts.numbers)
    if missing:
        strictest = _surely(rule, facts) if missing == (rule.share_of,) else None
        mildest = _mildest(rule, facts.numbers)
        return Demand(rule, rules, why, missing, mildest, strictest)
    for figure, text in figures:
        if figure is None:
            return Demand(rule, rules, joined(why, text))
    limit, text = _pick(rule)(figures, key=lambda pair: pair[0])
    return Demand(rule, rules, joined(why, text), (), limit, limit)


def _pick(rule: Rule) -> Callable[..., Any]:
    """Tell which of several figures counts."""
    high = (RULE_KINDS[rule.name].sense == "at least") == (rule.take == "strictest")
    return max if high else min


def _surely(rule: Rule, facts: Facts) -> float | None:
    """Return the strictest limit that a share can come to; None where it has no known ends."""
    limits = []
    for end in facts.ranges.get(rule.share_of, ()):
        figures, _ = _figures(rule, {**facts.numbers, rule.share_of: end})
        known = [figure for figure, _ in figures if figure is not None]
        if len(known) < len(figures):
            return None
        limits.append(float(_pick(rule)(known)))
    strict = max if RULE_KINDS[rule.name].sense == "at least" else min
    return strict(limits, default=None)


def _mildest(rule: Rule, numbers: Mapping[str, float]) -> float | None:
    """Return the limit that holds whatever the missing facts are; None where none does."""
    if rule.take == "least":
        return None
    figures = [] if rule.limit is None else [rule.limit]
    if rule.share_of in numbers:
        figures.append(rule.share * numbers[rule.share_of])
    if rule.bands_by in numbers:  # one motor and stage: more of them ask for no less
        one = {"motor_count": 1.0, "stages": 1.0, **numbers}
        figure, _ = _from_table(rule, one)
        figures += [] if figure is None else [figure]
    return float(_pick(rule)(figures)) if figures else None


def _figures(
    rule: Rule, numbers: Mapping[str, float]
) -> tuple[list[tuple[float | None, str]], tuple[str, ...]]:
    """Give each figure the rule names, with how it came about; and what is missing."""
    figures: list[tuple[float | None, str]] = []
    needed = [rule.share_of] if rule.share_of else []
    if rule.bands:
        needed += [rule.bands_by]
        needed += ["motor_count", "stages"] if _by_motors(rule) else []
    missing = tuple(dict.fromkeys(name for name in needed if name not in numbers))
    if missing:
        return figures, missing
    if rule.limit is not None:
        figures.append((rule.limit, ""))
    if rule.share_of:
        text = f"{rule.share:.4g} times the {FACTS[rule.share_of].text}"
        figures.append((rule.share * numbers[rule.share_of], text))
    if rule.bands:
        figures.append(_from_table(rule, numbers))
    return figures, ()


def _by_motors(rule: Rule) -> bool:
    """Return whether the number of motors matters to a table."""
    differ = any(b.figure(many=True) != b.figure(many=False) for b in rule.bands)
    return rule.column == "by motors" and differ


def _from_table(rule: Rule, numbers: Mapping[str, float]) -> tuple[float | None, str]:
    fact, value = FACTS[rule.bands_by], numbers[rule.bands_by]
    at = f"{fact.text} {amount(value, fact.dimension)}"
    band = next((band for band in rule.bands if value <= band.up_to), None)
    if band is None:
        return None, f"the table ends before {at}"
    if rule.column == "complex":
        figure, text = band.figure(many=True), f"at {at}, complex rocket"
    elif _by_motors(rule) and max(numbers["motor_count"], numbers["stages"]) > 1:
        parts = f"{numbers['motor_count']:g} motors, {numbers['stages']:g} stages"
        figure, text = band.figure(many=True), f"at {at}, {parts} (complex)"
    else:
        figure, text = band.figure(many=False), f"at {at}"
    return figure, text if figure is not None else f"the table has no figure {text}"


def strictest(demands: Iterable[Demand]) -> Iterator[Demand]:
    """Keep the strictest of known limits that share a name and an excuse.

    ``demands``: of all sets, the law's before yardsticks: of equals the first stays.

    Result: in the order of the first of each name; questions and open limits all stay.
    """
    kept: dict[object, Demand] = {}
    demands = list(demands)
    for demand in (one for one in demands if not _spoken_for(one, demands)):
        rule = demand.rule
        key: object = (rule.name, rule.excuse, demand.yardstick == "holds")
        if demand.limit is None or rule.question:
            key = id(demand)
        kept[key] = _stricter(kept[key], demand) if key in kept else demand
    yield from kept.values()


def _spoken_for(demand: Demand, others: Iterable[Demand]) -> bool:
    """Return whether a yardstick that only holds is met by a law that allows no more."""
    if demand.yardstick != "holds" or demand.limit is None:
        return False
    laws = (
        other
        for other in others
        if not other.yardstick
        and other.rule.name == demand.rule.name
        and not other.rule.excuse
        and other.limit is not None
    )
    return any(_stricter(law, demand).rule is law.rule for law in laws)


def _stricter(one: Demand, other: Demand) -> Demand:
    assert one.limit is not None
    assert other.limit is not None
    kind = RULE_KINDS[one.rule.name]
    # Of equals the first stays: a limit that keeps the other is at least as strict.
    winner, loser = (one, other) if kind.keeps(one.limit, other.limit) else (other, one)
    assert loser.limit is not None
    least = amount(loser.limit, kind.dimension)
    text = f"at least as strict as {least} of {loser.rules.title}"
    return replace(winner, why=joined(winner.why, text))


def yardsticks(
    facts: Facts,
    said: Answers,
    law: Sequence[Demand],
    only: Container[str] | None = None,
) -> Iterator[Demand]:
    """List what every flight is held to beside the rules that its site names.

    ``law``: what the site's own rules ask; what stands there already is left out;
    ``only``: as in `demands_of`.

    Result: rows of the floor that bear a yardstick; of a class that missing facts leave open
    those that ask for more.
    """
    there = {(d.rules.name, d.rule) for d in law if d.rule.yardstick}
    held = [(*pair, True) for pair in governing_sets(floor_rules(), facts, said)]
    fits = ((rules, _fit(rules, facts, said)) for rules in floor_rules())
    perhaps = [(*pair, False) for pair in fits if pair[1].state == "unknown"]
    asked = list(law)
    for rules, fit, surely in (*held, *perhaps):
        for demand in demands_of(rules, fit, facts, only):
            rule = demand.rule
            if not rule.yardstick or (rules.name, rule) in there:
                continue
            if surely or _asks_more(demand, asked):
                asked.append(demand)
                why = joined("a yardstick where it is not the law", demand.why, fit.why)
                yield replace(demand, yardstick=rule.yardstick, why=why)


def _asks_more(demand: Demand, others: Iterable[Demand]) -> bool:
    """Return whether a known limit is stricter than what others of its name come to at least."""
    if demand.limit is None:
        return False
    keeps, name = RULE_KINDS[demand.rule.name].keeps, demand.rule.name
    known = (o.mildest for o in others if o.rule.name == name and not o.rule.excuse)
    return not any(m is not None and keeps(m, demand.limit) for m in known)


@lru_cache(1)  # the package's own files stay as they are while it runs
def floor_rules() -> tuple[RuleSet, ...]:
    """Return the sets whose yardsticks hold at every site."""
    return read_rules(FLOOR)
