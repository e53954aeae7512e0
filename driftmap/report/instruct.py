"""The one instruction for everybody on the field."""

from __future__ import annotations

from typing import Final

from driftmap.failures.bodies import by_opening
from driftmap.hazard.zones import anywhere
from driftmap.report.facts import climb, falls, straight_down
from driftmap.report.voice import Voice
from driftmap.report.words import rounded
from driftmap.verdict.assessment import Assessment

__all__ = ["instruction", "opens_by"]

_OPENING: Final = 2.0
"""From a trigger to an open device, at the most [s]: 0.5 to 1.5 s are assumed when flying."""


def opens_by(assessment: Assessment) -> float | None:
    """Say by when the first device should be seen.

    Parameters
    ----------
    assessment : Assessment
        The assessment.

    Returns
    -------
    float or None
        Time after lift-off [s]; None where it opens at a height, which nobody can count.
    """
    devices = sorted(assessment.flight.recovery, key=by_opening)
    if not devices:
        return None
    trigger = devices[0].opens_at
    if trigger.at == "apogee":
        return climb(assessment).last + _OPENING
    return trigger.value + _OPENING if trigger.at == "time" else None


def off_its_path(assessment: Assessment, voice: Voice) -> list[str]:
    """Say how often, and how far, something may come down on any side."""
    found = anywhere(assessment.cloud)
    if found is None or not found.likelihood:
        return []
    count = voice.count(int(rounded(1 / found.likelihood, 2, down=True)))
    far = voice.distance(found.within)
    return [voice.say("instruct.anywhere", count=count, distance=far)]


def instruction(assessment: Assessment, voice: Voice) -> list[str]:
    """Say where to stand, and what to do when nothing opens.

    Parameters
    ----------
    assessment : Assessment
        The assessment.
    voice : Voice
        Writes the messages.

    Returns
    -------
    list of str
        A few short sentences.
    """
    told = [voice.say("instruct.stand"), *off_its_path(assessment, voice)]
    fast = straight_down(falls(assessment))
    devices = sorted(assessment.flight.recovery, key=by_opening)
    if fast is None or not devices:
        return told
    words = {"device": voice.say(f"device.{devices[0].kind}")}
    words["look"] = voice.say("instruct.around")
    if not fast.around:
        words["look"] = voice.say("instruct.look", compass=voice.compass(fast.azimuth))
    by = opens_by(assessment)
    if by is None:
        return [*told, voice.say("instruct.past", **words)]
    return [*told, voice.say("instruct.count", time=voice.seconds(by), **words)]
