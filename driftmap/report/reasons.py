"""What checks found, and what speaks against flying, as sentences."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping

from driftmap.montecarlo.cloud import Cloud
from driftmap.report.sentences import sentence
from driftmap.report.voice import Voice
from driftmap.verdict.check import ALL_CASES, Check

__all__ = [
    "flights_flown",
    "to_tell",
    "verdict_reasons",
    "worst_first",
]


def flights_flown(cloud: Cloud) -> Mapping[str, int]:
    """Count the flights of each case; one that hangs on luck flew fewer than all.

    Parameters
    ----------
    cloud : Cloud
        Landing points.

    Returns
    -------
    mapping of str to int
        By name of the case; for a check of none or of all cases, all flights.
    """
    flown = {part.case: part.flights for part in cloud.parts}
    return {"": cloud.flights, ALL_CASES: cloud.flights, **flown}


def worst_first(checks: Iterable[Check], people: Collection[str]) -> list[Check]:
    """Order the checks that do not pass.

    Parameters
    ----------
    checks : iterable of Check
        All checks.
    people : collection of str
        Names of the areas where people are; these come before others.

    Returns
    -------
    list of Check
        What must stand beside the word first, then failing before warning, people before
        the rest, then by how far over the limit.
    """

    def order(check: Check) -> tuple[bool, bool, bool, bool, float]:
        over = math.inf
        if check.limit and check.value is not None:
            over = check.value / check.limit
            if check.sense == "least":
                over = 1 / over if over else math.inf
        calm = check.area not in people
        beside = check.beside
        return not beside, check.outcome != "fail", check.question, calm, -over

    return sorted((c for c in checks if c.outcome != "pass"), key=order)


def to_tell(checks: Iterable[Check], people: Collection[str]) -> list[Check]:
    """Order what is told of a verdict.

    Parameters
    ----------
    checks : iterable of Check
        All checks.
    people : collection of str
        Names of the areas where people are; these come before others.

    Returns
    -------
    list of Check
        First one that must stand beside the word even though it passes, then all that do
        not pass, the worst first, then others that must stand beside it.
    """
    every = list(checks)
    worst = worst_first(every, people)
    beside = [check for check in worst if check.beside]
    beside += [check for check in every if check.beside and check.outcome == "pass"]
    return [*beside[:1], *(c for c in worst if not c.beside), *beside[1:]]


def verdict_reasons(
    checks: Collection[Check],
    people: Collection[str],
    voice: Voice,
    *,
    once: bool = False,
) -> list[str]:
    """Say in a line each what speaks against flying, the worst first.

    Parameters
    ----------
    checks : collection of Check
        All checks.
    people : collection of str
        Names of the areas where people are; these come before others.
    voice : Voice
        Writes the messages.
    once : bool
        Whether of each kind of check and area only the worst is told, for a page with
        room for few.

    Returns
    -------
    list of str
        One for each check that does not pass, then for each that passes but must stand
        beside the word, and one for all questions together.
    """
    worst = to_tell(checks, people)
    told: dict[object, str] = {}
    for place, check in enumerate(worst):
        if not check.question:
            key = (check.kind, check.area or check.name) if once else place
            told.setdefault(key, sentence(check, voice))
    lines = list(told.values())
    open_ = sum(check.question for check in worst)
    if open_:
        lines.append(voice.say("reason.questions", count=voice.count(open_)))
    return lines
