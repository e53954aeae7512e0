"""What speaks against flying, in the few lines a sheet has room for."""

from __future__ import annotations

from collections.abc import Iterable

from driftmap.briefing.voice import Voice
from driftmap.report.reasons import to_tell
from driftmap.report.sentences import sentence
from driftmap.verdict.check import Check

__all__ = ["reasons"]


def reasons(checks: Iterable[Check], people: Iterable[str], voice: Voice) -> list[str]:
    """Say in a sentence each what speaks against flying.

    Parameters
    ----------
    checks : iterable of Check
        All checks.
    people : iterable of str
        Names of the areas where people are; these come before others.
    voice : Voice
        Writes the messages.

    Returns
    -------
    list of str
        The worst first, of each kind of check and area only the worst; the count of open
        questions last.
    """
    against = to_tell(checks, set(people))
    told: dict[tuple[str, str], str] = {}
    for check in against:
        if not check.question:
            told.setdefault(
                (check.kind, check.area or check.name), sentence(check, voice)
            )
    asked = sum(check.question for check in against)
    if asked:
        told["", ""] = voice.say("reason.questions", count=voice.count(asked))
    return list(told.values())
