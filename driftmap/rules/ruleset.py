"""Rules as records, and how their facts, amounts and reasons are put in words."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

from driftmap.rules.kinds import FACTS, Realm, Scope

__all__ = [
    "SCALE",
    "UNIT",
    "Band",
    "Condition",
    "Question",
    "RocketClass",
    "Rule",
    "RuleSet",
    "amount",
    "joined",
    "not_known",
    "reason",
]


@dataclass(frozen=True, slots=True)
class Condition:
    """A fact within bounds.

    Parameters
    ----------
    fact : str
        A key of `driftmap.rules.kinds.FACTS`.
    sign : {"up_to", "below", "above", "at_least"}
        Which side of the bound is meant; only ``up_to`` and ``at_least`` hold it.
    bound : float
        In SI.
    """

    fact: str
    sign: Literal["up_to", "below", "above", "at_least"]
    bound: float

    def holds(self, value: float) -> bool:
        """Say whether a value lies on the meant side.

        ``value``: the fact in SI.
        """
        if self.sign == "up_to":
            return value <= self.bound
        if self.sign == "below":
            return value < self.bound
        return value > self.bound if self.sign == "above" else value >= self.bound


@dataclass(frozen=True, slots=True)
class Band:
    """A row of a table of limits.

    Parameters
    ----------
    up_to : float
        Greatest value of the fact the table goes by, in SI; infinite for "and beyond".
    single, complex : float or None
        Limit in SI for a rocket of one motor and for one of several; None where the
        table has no figure.
    """

    up_to: float
    single: float | None
    complex: float | None


@dataclass(frozen=True, slots=True)
class Question:
    """What a person must confirm.

    Parameters
    ----------
    name, text : str
        Its name in an answers file, and the question in words.
    scope : {"season", "ground", "day", "flight"}
        How long the answer holds.
    """

    name: str
    text: str
    scope: Scope = "day"


@dataclass(frozen=True, slots=True)
class Rule:
    """One row of a rule file.

    A limit is the stricter of what `limit`, `share` and `bands` ask for, unless `take`
    says otherwise. A question has none of them.

    Parameters
    ----------
    name : str
        Key of `driftmap.rules.kinds.KINDS`, or the name of a question.
    text : str
        What is asked for, in words; the question itself for a question.
    question : bool
        Whether a person must confirm it.
    limit : float or None
        Fixed limit in SI.
    share, share_of : float and str
        Limit as a multiple of a fact; 0 and empty where there is none.
    bands, bands_by : tuple of Band, str
        Limit by a fact; empty where there is none.
    column : {"by motors", "complex"}
        Whether the number of motors picks the column, or "complex" is always taken.
    take : {"strictest", "least"}
        Which of several figures counts.
    when, unless : tuple of Condition
        The rule applies where all of `when` hold and not all of `unless` do.
    classes : tuple of str
        Classes of rocket it applies to; all where empty.
    scope : {"season", "ground", "day", "flight"}
        How long the answer to a question holds.
    excuse : Question or None
        What, confirmed, lets a figure beyond the limit stand.
    stand_in : Question or None
        What a person may confirm in place of a figure that is not known.
    source, edition : str
        Where it comes from.
    from_memory : bool
        Whether nobody had the text open when it was written down.
    note : str
        What else a reader must know.
    yardstick : {"", "fails", "holds"}
        What breaking it means at a site whose rules do not name it; empty for nothing.
    """

    name: str
    text: str
    question: bool = False
    limit: float | None = None
    share: float = 0.0
    share_of: str = ""
    bands: tuple[Band, ...] = ()
    bands_by: str = ""
    column: Literal["by motors", "complex"] = "by motors"
    take: Literal["strictest", "least"] = "strictest"
    when: tuple[Condition, ...] = ()
    unless: tuple[Condition, ...] = ()
    classes: tuple[str, ...] = ()
    scope: Scope = "day"
    excuse: Question | None = None
    stand_in: Question | None = None
    source: str = ""
    edition: str = ""
    from_memory: bool = False
    note: str = ""
    yardstick: Literal["", "fails", "holds"] = ""

    @property
    def cited(self) -> str:
        """Source, edition and whether it is from memory, in one line."""
        memory = "from memory" if self.from_memory else ""
        return "; ".join(part for part in (self.source, self.edition, memory) if part)


@dataclass(frozen=True, slots=True)
class RocketClass:
    """A class of rocket that a rule set tells apart.

    Parameters
    ----------
    name : str
        Its name.
    when : tuple of Condition
        All of them hold for a rocket of the class.
    confirmed : tuple of Question
        What must have been confirmed as well.
    source : str
        Where its bounds come from.
    """

    name: str
    when: tuple[Condition, ...]
    confirmed: tuple[Question, ...] = ()
    source: str = ""


@dataclass(frozen=True, slots=True)
class RuleSet:
    """The rules of one file.

    Parameters
    ----------
    name : str
        Name of the file without its ending.
    title : str
        What the rules are.
    governs : str
        Which text governs in place of this file.
    family : str
        Sets of one family are alternatives: the first that has a class for the rocket
        applies. A set without a family has its own name here.
    classes : tuple of RocketClass
        From the lightest to the heaviest; the first that fits is the rocket's. Empty
        where the set is for every rocket.
    rules : tuple of Rule
        Its rows.
    whole : tuple of {"ground", "air"}
        What it holds the whole code of, so that its silence is the code's.
    """

    name: str
    title: str
    governs: str
    family: str
    classes: tuple[RocketClass, ...]
    rules: tuple[Rule, ...]
    whole: tuple[Realm, ...] = ()


UNIT: Final = MappingProxyType(
    {
        "length": "m",
        "speed": "m/s",
        "mass": "kg",
        "impulse": "N s",
        "force": "N",
        "angle": "deg",
        "time": "h",
        "share": "share",
        "number": "",
    }
)
"""Unit in which a result gives each kind of quantity."""

SCALE: Final = MappingProxyType({"angle": math.pi / 180, "time": 3600.0})
"""SI units in one of `UNIT`, where that is not SI."""

_SIGN: Final = {
    "up_to": "at most",
    "below": "below",
    "above": "above",
    "at_least": "at least",
}


def amount(value: float, dimension: str) -> str:
    """Write a quantity with its unit.

    Parameters
    ----------
    value : float
        In SI.
    dimension : str
        A key of `UNIT`.

    Returns
    -------
    str
        The number, to six digits, and the unit.

    Examples
    --------
    >>> amount(640.01, "impulse")
    '640.01 N s'
    """
    return f"{value / SCALE.get(dimension, 1.0):,.6g} {UNIT[dimension]}".rstrip()


def reason(condition: Condition, value: float) -> str:
    """Say how a fact meets a condition that it holds.

    ``value``: the fact in SI.

    Result: fact, figure and bound.
    """
    fact = FACTS[condition.fact]
    bound = amount(condition.bound, fact.dimension)
    figure = amount(value, fact.dimension)
    return f"{fact.text} {figure} is {_SIGN[condition.sign]} {bound}"


def not_known(names: Iterable[str]) -> str:
    """Say which facts are missing and under what name they can be answered.

    Result: one clause for each.
    """
    return "; ".join(
        f"{FACTS[name].text} is not known: answer {name}" for name in names
    )


def joined(*parts: str) -> str:
    """Put clauses in one line.

    ``parts``: clauses; empty ones are left out.
    """
    return "; ".join(part for part in parts if part)
