"""Which rule sets apply to a rocket, by its class."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from driftmap.rules.answers import Answers
from driftmap.rules.facts import Facts
from driftmap.rules.ruleset import Condition, Question, RocketClass, RuleSet
from driftmap.rules.words import joined, not_known, reason

__all__ = ["Fit", "all_hold", "governing_sets", "why_holds"]


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

    Parameters
    ----------
    sets : sequence of RuleSet
        The sets picked; alternatives go from the lightest rocket to the heaviest.
    facts, said : Facts, Answers
        What is known.

    Yields
    ------
    rules : RuleSet
        A set of each family; in doubt, its last.
    fit : Fit
        The rocket's class in it.
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
        why = joined(fit.why, *(other.why for other in passed))
        more = tuple(key for other in passed for key in other.lighter)
        yield rules, replace(fit, why=why, lighter=(*fit.lighter, *more))


def _fit(rules: RuleSet, facts: Facts, said: Answers) -> Fit:
    if not rules.classes:
        return Fit("fits")
    hints: dict[str, str] = {}
    missing: list[str] = []
    for kind in rules.classes:
        state, names = all_hold(kind.when, facts)
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
    return ", ".join(why_holds(c, facts) for c in kind.when) or "any other"


def why_holds(condition: Condition, facts: Facts) -> str:
    """Say how what is known meets a condition that it holds."""
    value = facts.numbers.get(condition.fact)
    if value is None:  # then both ends of its range hold it
        value = facts.ranges[condition.fact][condition.sign in {"up_to", "below"}]
    return reason(condition, value)


def all_hold(
    conditions: Iterable[Condition], facts: Facts
) -> tuple[bool | None, tuple[str, ...]]:
    """Say whether all conditions hold.

    Parameters
    ----------
    conditions : iterable of Condition
        The conditions.
    facts : Facts
        What is known; where a number is not, both ends of its range must agree.

    Returns
    -------
    holds : bool or None
        None where a missing fact leaves it open.
    missing : tuple of str
        The missing facts; empty unless it is open.
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
