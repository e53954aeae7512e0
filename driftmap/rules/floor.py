"""What holds at every site, whatever set, file or country it names; and what a set leaves out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from driftmap.rules.answers import Answers
from driftmap.rules.classes import governing_sets
from driftmap.rules.demands import Demand, demands_of
from driftmap.rules.facts import Facts
from driftmap.rules.kinds import FLOOR, TOPICS
from driftmap.rules.reading import read_rules
from driftmap.rules.ruleset import RuleSet
from driftmap.rules.words import joined

__all__ = ["not_covered", "yardsticks"]


def yardsticks(facts: Facts, said: Answers, law: Sequence[Demand]) -> Iterator[Demand]:
    """List what every flight is held to beside the rules that its site names.

    Parameters
    ----------
    facts, said : Facts, Answers
        What is known.
    law : sequence of Demand
        What the site's own rules ask; what stands there already is left out.

    Yields
    ------
    Demand
        Rows of the floor that bear a yardstick.
    """
    there = {(demand.rules.name, demand.rule) for demand in law}
    for rules, fit in governing_sets(read_rules(FLOOR), facts, said):
        for demand in demands_of(rules, fit, facts):
            rule = demand.rule
            if rule.yardstick and (rules.name, rule) not in there:
                why = joined("a yardstick where it is not the law", demand.why, fit.why)
                yield replace(demand, yardstick=rule.yardstick, why=why)


def not_covered(sets: Iterable[RuleSet], law: Iterable[Demand]) -> tuple[str, ...]:
    """List what the rules that govern a flight say nothing of.

    Parameters
    ----------
    sets : iterable of RuleSet
        The sets that govern.
    law : iterable of Demand
        What they ask of the flight.

    Returns
    -------
    tuple of str
        Topics; none of a field that one set holds the whole of.
    """
    asked = {demand.rule.name for demand in law}
    whole = {field for rules in sets for field in rules.whole}
    return tuple(
        topic
        for field, topics in TOPICS.items()
        if field not in whole
        for topic, names in topics.items()
        if not asked & names
    )
