"""The one instruction for everybody, and what should be seen at which second."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from driftmap.failures.bodies import by_opening
from driftmap.hazard.zones import anywhere
from driftmap.report.sheetfacts import Fall, climb, falls, straight_down
from driftmap.report.voice import Voice
from driftmap.report.words import rounded
from driftmap.verdict.assessment import Assessment

__all__ = ["Moment", "instruction", "moments", "opens_by"]

_OPENING: Final = 2.0
"""From a trigger to an open device, at the most [s]: 0.5 to 1.5 s are assumed when flying."""


def opens_by(assessment: Assessment) -> float | None:
    """Say by when the first device should be seen.

    Result: time after lift-off [s]; None where it opens at a height, which nobody can
    count.
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
    """Say where to stand, and what to do when nothing opens."""
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


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment of the flight as people on the ground count it.

    Parameters
    ----------
    second : float
        After lift-off; never later than what it warns of [s].
    should : str
        Where to look and what should be seen.
    otherwise : str
        What it means, and what to do, if it is not; empty where there is nothing to say.
    """

    second: float
    should: str
    otherwise: str = ""


def moments(assessment: Assessment, voice: Voice) -> list[Moment]:
    """List the moments of a flight.

    Result: in the order of time, from lift-off until everything of nine in ten flights
    of every case is down.
    """
    up, found = climb(assessment), falls(assessment)
    look = voice.say("watch.overhead")
    if up.azimuth is not None:
        look = voice.say("instruct.look", compass=voice.compass(up.azimuth))
    height = voice.distance(up.height)
    told = [
        Moment(0.0, voice.say("watch.up", look=look), voice.say("watch.turns")),
        Moment(up.first, voice.say("watch.top", look=look, height=height)),
        *_opening(assessment, voice),
        *_down([fall for fall in found if fall.works], voice),
        Moment(max(fall.last for fall in found), voice.say("watch.over")),
    ]
    return sorted(told, key=lambda moment: moment.second)


def _down(planned: Sequence[Fall], voice: Voice) -> list[Moment]:
    """Tell when each piece of the plan comes down, by name where there are several."""
    told = []
    for fall in planned:
        look = voice.say("instruct.around")
        if not fall.around:
            look = voice.say("instruct.look", compass=voice.compass(fall.azimuth))
        name = f"{voice.known('piece', fall.piece)} – " if len(planned) > 1 else ""
        told.append(Moment(fall.first, name + voice.say("watch.down", look=look)))
    return told


def _opening(assessment: Assessment, voice: Voice) -> list[Moment]:
    """Tell of the opening, and of the fall when nothing opens."""
    fast, by = straight_down(falls(assessment)), opens_by(assessment)
    devices = sorted(assessment.flight.recovery, key=by_opening)
    if fast is None or not devices:
        return []
    look = voice.say("instruct.around")
    if not fast.around:
        look = voice.say("instruct.look", compass=voice.compass(fast.azimuth))
    hits = Moment(fast.first, voice.say("watch.hits", look=look))
    if by is None or by >= fast.first:
        return [hits]
    device = voice.say(f"device.{devices[0].kind}")
    left = voice.seconds(fast.first - by)
    otherwise = voice.say("watch.not_open", look=look, time=left)
    return [Moment(by, voice.say("watch.open", device=device), otherwise), hits]
