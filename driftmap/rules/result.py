"""One line of what rules say of a flight, and how a person's word settles it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

from driftmap.rules.answers import Answers
from driftmap.rules.ruleset import RuleSet, joined, not_known
from driftmap.rules.vocabulary import Sense

LineOutcome = Literal["pass", "fail", "ask", "hold"]


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
    answered : bool
        Whether it came out on a person's word, not on what files and flights tell.
    denied : str
        Name of the question whose "no" broke it; empty where none did.
    """

    name: str
    what: str
    area: str = ""
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    sense: Sense | Literal[""] = ""
    outcome: LineOutcome = "ask"
    answer: tuple[str, ...] = ()
    source: str = ""
    governs: str = ""
    why: str = ""
    rules: str = ""
    interval: tuple[float, float] | None = None
    yardstick: bool = False
    answered: bool = False
    denied: str = ""


def with_outcome(
    line: RuleResult, outcome: LineOutcome, text: str, **more: Any
) -> RuleResult:
    """Return a line with its outcome, and the reason after why it applies."""
    return replace(line, outcome=outcome, why=joined(line.why, text), **more)


def by_answer(line: RuleResult, name: str, said: Answers, text: str = "") -> RuleResult:
    """Decide a line by what a person answered to a question."""
    given = said.confirmed.get(name)
    before = f"{text}: " if text else ""
    if given is None:
        stale = said.stale.get(name)
        told = f"{stale}; " if stale else "not answered; "
        how = f'{before}{told}{name} = "yes" confirms it'
        return with_outcome(line, "ask", how, answer=(name,))
    if given:
        return with_outcome(line, "pass", f"{before}confirmed", answered=True)
    return with_outcome(
        line, "fail", f'{before}answered "no"', answered=True, denied=name
    )


def unknown(line: RuleResult, names: tuple[str, ...], said: Answers) -> RuleResult:
    """Ask for facts."""
    stale = (f"{name} was {said.stale[name]}" for name in names if name in said.stale)
    return with_outcome(line, "ask", joined(not_known(names), *stale), answer=names)


def begin(
    name: str,
    what: str,
    outcome: LineOutcome = "ask",
    rules: RuleSet | None = None,
    **more: Any,
) -> RuleResult:
    """Begin a line, of a rule set where it is one's."""
    title, governs = (rules.title, rules.governs) if rules else ("", "")
    return RuleResult(name, what, outcome=outcome, rules=title, governs=governs, **more)
