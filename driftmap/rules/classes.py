"""Which rule sets apply to a rocket, by its class."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from driftmap.rules.answers import Answers
from driftmap.rules.facts import Facts
from driftmap.rules.ruleset import Condition, RocketClass, RuleSet
from driftmap.rules.words import joined, not_known, reason

__all__ = ["Fit", "all_hold", "governing_sets"]


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
    """

    state: Literal["fits", "unknown", "none"]
    name: str = ""
    why: str = ""
    source: str = ""
    missing: tuple[str, ...] = ()


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
        yield (sure[:1] or open_[-1:] or members[-1:])[0]


def _fit(rules: RuleSet, facts: Facts, said: Answers) -> Fit:
    if not rules.classes:
        return Fit("fits")
    hints: list[str] = []
    missing: list[str] = []
    for kind in rules.classes:
        state, names = all_hold(kind.when, facts.numbers)
        if state is None:
            missing += names
        elif state and not missing:
            unsure = [
                (k, text) for k, text in kind.confirmed if not said.confirmed.get(k)
            ]
            if not unsure:
                why = joined(_reasons(kind, facts), *hints)
                return Fit("fits", kind.name, why, kind.source)
            key, text = unsure[0]
            hints.append(f'not {kind.name}, unless {key} = "yes" confirms that {text}')
    if missing:
        names = tuple(dict.fromkeys(missing))
        return Fit("unknown", why=not_known(names), missing=names)
    return Fit("none", why="the rocket fits none of its classes")


def _reasons(kind: RocketClass, facts: Facts) -> str:
    return ", ".join(reason(c, facts.numbers[c.fact]) for c in kind.when) or "any other"


def all_hold(
    conditions: Iterable[Condition], numbers: Mapping[str, float]
) -> tuple[bool | None, tuple[str, ...]]:
    """Say whether all conditions hold.

    Parameters
    ----------
    conditions : iterable of Condition
        The conditions.
    numbers : mapping of str to float
        What is known, in SI.

    Returns
    -------
    holds : bool or None
        None where a missing fact leaves it open.
    missing : tuple of str
        The missing facts; empty unless it is open.
    """
    missing = []
    for condition in conditions:
        value = numbers.get(condition.fact)
        if value is None:
            missing.append(condition.fact)
        elif not condition.holds(value):
            return False, ()
    return (None, tuple(missing)) if missing else (True, ())
