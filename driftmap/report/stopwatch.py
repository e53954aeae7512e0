"""What should be seen at which second after lift-off, and what it means if it is not."""

from __future__ import annotations

from dataclasses import dataclass

from driftmap.failures.bodies import by_opening
from driftmap.report.facts import climb, falls, straight_down
from driftmap.report.instruct import opens_by
from driftmap.report.voice import Voice
from driftmap.verdict.assessment import Assessment

__all__ = ["Moment", "moments"]


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

    Parameters
    ----------
    assessment : Assessment
        The assessment.
    voice : Voice
        Writes the messages.

    Returns
    -------
    list of Moment
        In the order of time, from lift-off until everything of nine in ten flights of
        every case is down.
    """
    up, found = climb(assessment), falls(assessment)
    look = voice.say("watch.overhead")
    if up.azimuth is not None:
        look = voice.say("instruct.look", compass=voice.compass(up.azimuth))
    height = voice.distance(up.height)
    down = voice.say("instruct.around")
    if not found[0].around:
        down = voice.say("instruct.look", compass=voice.compass(found[0].azimuth))
    told = [
        Moment(0.0, voice.say("watch.up", look=look), voice.say("watch.turns")),
        Moment(up.first, voice.say("watch.top", look=look, height=height)),
        *_opening(assessment, voice),
        Moment(found[0].first, voice.say("watch.down", look=down)),
        Moment(max(fall.last for fall in found), voice.say("watch.over")),
    ]
    return sorted(told, key=lambda moment: moment.second)


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
