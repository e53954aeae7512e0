"""How facts, amounts and reasons are put in words."""

from __future__ import annotations

import math
from collections.abc import Iterable
from types import MappingProxyType
from typing import Final

from driftmap.rules.kinds import FACTS
from driftmap.rules.ruleset import Condition

__all__ = ["SCALE", "UNIT", "amount", "joined", "not_known", "reason"]

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

    Parameters
    ----------
    condition : Condition
        The condition.
    value : float
        The fact in SI.

    Returns
    -------
    str
        Fact, figure and bound.
    """
    fact = FACTS[condition.fact]
    bound = amount(condition.bound, fact.dimension)
    figure = amount(value, fact.dimension)
    return f"{fact.text} {figure} is {_SIGN[condition.sign]} {bound}"


def not_known(names: Iterable[str]) -> str:
    """Say which facts are missing and under what name they can be answered.

    Parameters
    ----------
    names : iterable of str
        Keys of `FACTS`.

    Returns
    -------
    str
        One clause for each.
    """
    return "; ".join(
        f"{FACTS[name].text} is not known: answer {name}" for name in names
    )


def joined(*parts: str) -> str:
    """Put clauses in one line.

    Parameters
    ----------
    *parts : str
        Clauses; empty ones are left out.

    Returns
    -------
    str
        The line.
    """
    return "; ".join(part for part in parts if part)
