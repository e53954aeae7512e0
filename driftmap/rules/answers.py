"""Answers to what no file can know: clouds, permissions, what a person must confirm."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Final

from driftmap.errors import InputError
from driftmap.rules.facts import Facts, of_each_motor
from driftmap.rules.kinds import FACTS, FLOOR, GROUPS, NOT_COVERED
from driftmap.rules.reading import read_rules
from driftmap.rules.ruleset import RuleSet
from driftmap.rules.schema import nearest, quantity, toml_of
from driftmap.units import DIMENSIONS

__all__ = ["Answers", "check_answers", "questions", "read_answers", "with_answers"]


_LARGER: Final = ("total_impulse", "expected_altitude", "surface_wind")
"""Facts that both a person and the flights flown may tell."""


@dataclass(frozen=True, slots=True)
class Answers:
    """What people answered for a day.

    Parameters
    ----------
    confirmed : mapping of str to bool
        Answer to each question by its name.
    numbers : mapping of str to float
        Facts by key of `driftmap.rules.kinds.FACTS`, in SI.
    source : str
        Where they were read.
    """

    confirmed: Mapping[str, bool] = field(default_factory=dict)
    numbers: Mapping[str, float] = field(default_factory=dict)
    source: str = "answers"

    def __post_init__(self) -> None:
        object.__setattr__(self, "confirmed", MappingProxyType(dict(self.confirmed)))
        object.__setattr__(self, "numbers", MappingProxyType(dict(self.numbers)))


def read_answers(path: str | Path, sets: Iterable[RuleSet]) -> Answers:
    """Read an answers file: one ``name = answer`` a line.

    Parameters
    ----------
    path : str or Path
        A TOML file, such as ``daylight = "yes"`` and ``visibility = "10 mi"``.
    sets : iterable of RuleSet
        The rules it answers.

    Returns
    -------
    Answers
        The answers, checked.

    Raises
    ------
    InputError
        As `check_answers`, or if the file cannot be read.
    """
    return check_answers(str(path), toml_of(Path(path)), sets)


def check_answers(
    source: str, given: Mapping[str, object], sets: Iterable[RuleSet]
) -> Answers:
    """Check answers against the questions that the rules ask.

    Parameters
    ----------
    source : str
        Where they come from, for messages.
    given : mapping
        Answer by name: yes or no to a question, a quantity for a fact.
    sets : iterable of RuleSet
        The rules they answer.

    Returns
    -------
    Answers
        The answers in SI.

    Raises
    ------
    InputError
        If a name is not asked for, or an answer is none.
    """
    asked = questions(sets)
    confirmed, numbers = {}, {}
    for name, value in given.items():
        try:
            if name in asked:
                confirmed[name] = _yes_or_no(value)
            elif name in FACTS:
                numbers[name] = _number(name, value)
            else:
                hint = nearest(name, [*asked, *FACTS])
                raise InputError(source, name[:60], f"is not asked for; {hint}")
        except ValueError as problem:
            raise InputError(source, name, str(problem)) from None
    return Answers(confirmed, numbers, source)


def questions(sets: Iterable[RuleSet]) -> dict[str, str]:
    """List every question that rules may ask.

    Parameters
    ----------
    sets : iterable of RuleSet
        The rules.

    Returns
    -------
    dict of str to str
        Text of each question by its name.
    """
    found = {group.absent: f"no {group.text} is near" for group in GROUPS.values()}
    found[NOT_COVERED] = (
        "the local code on what these rules leave out was read and is kept"
    )
    for rules in (*sets, *read_rules(FLOOR)):
        for kind in rules.classes:
            found |= dict(kind.confirmed)
        for rule in rules.rules:
            if rule.question:
                found[rule.name] = rule.text
            elif rule.excuse:
                found[rule.excuse] = rule.excuse_text
    return found


def _yes_or_no(value: object) -> bool:
    if isinstance(value, bool):
        return value
    word = value.strip().lower() if isinstance(value, str) else ""
    if word not in {"yes", "no"}:
        raise ValueError(f'must be "yes" or "no" (got {value!r:.60})')
    return word == "yes"


def _number(name: str, value: object) -> float:
    dimension = FACTS[name].dimension
    number = quantity(value, dimension)
    most = 1.0 if dimension == "share" else 1e9
    if not 0 <= number <= most:
        unit = next(iter(DIMENSIONS[dimension])) or "1"
        raise ValueError(f"must lie in 0 to {most:g} {unit} (got {value!r})")
    return number


def with_answers(facts: Facts, answers: Answers) -> Facts:
    """Add the numbers that people gave to those the files told.

    A flight file is one rocket: it is launched alone unless an answer says otherwise.
    Where people and flights flown both tell a figure of which more is never better (total
    impulse, height, wind), the larger counts.

    Parameters
    ----------
    facts : Facts
        From `driftmap.rules.facts_of`.
    answers : Answers
        From `read_answers`.

    Returns
    -------
    Facts
        Both together.

    Raises
    ------
    InputError
        If an answer contradicts what the files tell.
    """
    numbers = {"rockets_together": 1.0, **facts.numbers, **answers.numbers}
    for name in answers.numbers.keys() & facts.numbers.keys():
        if name not in _LARGER:
            text = f"{FACTS[name].text} is known already; change it where it stands"
            raise InputError(answers.source, name, text)
        numbers[name] = max(answers.numbers[name], facts.numbers[name])
    return of_each_motor(Facts(numbers, facts.groups, facts.ranges))
