"""One line of a verdict: what was checked, its figure, its limit, and how they compare."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

import numpy as np

__all__ = ["ALL_CASES", "Check", "Outcome", "at_least", "at_most"]

Outcome: TypeAlias = Literal["pass", "warn", "fail"]

ALL_CASES: Final = "all cases"


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One line of the verdict.

    Parameters
    ----------
    name : str
        What was checked.
    case, area : str
        Which case and which area; empty where there is none.
    value : float or None
        The figure; None for a question, and for what is not known.
    interval : (float, float) or None
        Its interval.
    limit : float or None
        What it is compared with; None for a question.
    unit : str
        Unit of the three.
    outcome : {"pass", "warn", "fail"}
        Within the limit, not surely so, or beyond it.
    source : str
        Where the limit comes from.
    sense : {"most", "least"}
        Whether the limit is a greatest or a least value.
    note : str
        What else there is to say; for a question, how to answer it.
    question : bool
        Whether people must answer it on the day.
    """

    name: str
    case: str = ""
    area: str = ""
    value: float | None = None
    interval: tuple[float, float] | None = None
    limit: float | None = None
    unit: str = ""
    outcome: Outcome
    source: str
    sense: Literal["most", "least"] = "most"
    note: str = ""
    question: bool = False


def at_most(interval: tuple[float, float], limit: float) -> Outcome:
    """Compare a figure that must not exceed its limit.

    Parameters
    ----------
    interval : (float, float)
        Ends of its interval.
    limit : float
        The limit.

    Returns
    -------
    {"pass", "warn", "fail"}
        Pass if all of the interval is within the limit, fail if all of it is beyond,
        warn if the limit lies inside it or an end is not finite.
    """
    lower, upper = interval
    if not (np.isfinite(lower) and np.isfinite(upper)):
        return "warn"
    if upper <= limit:
        return "pass"
    return "fail" if lower > limit else "warn"


def at_least(interval: tuple[float, float], limit: float) -> Outcome:
    """Compare a figure that must reach its limit; the mirror of `at_most`.

    Parameters
    ----------
    interval : (float, float)
        Ends of its interval.
    limit : float
        The limit.

    Returns
    -------
    {"pass", "warn", "fail"}
        Pass if all of the interval reaches the limit, fail if none of it does, warn
        otherwise.
    """
    lower, upper = interval
    return at_most((-upper, -lower), -limit)
