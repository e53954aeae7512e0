"""The one instruction for everybody, and what should be seen at which second."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from driftmap.failures.bodies import by_opening
from driftmap.hazard.zones import anywhere
from driftmap.report.sheetfacts import Fall, arrivals, climb, falls, straight_down
from driftmap.report.voice import Voice
from driftmap.report.words import rounded
from driftmap.verdict.assessment import Assessment

__all__ = ["astray", "falls_free", "instruction", "moments"]

_OPENING: Final = 2.0
"""From a trigger to an open device, at the most [s]: 0.5 to 1.5 s are assumed when flying."""

_CALL: Final = 5.0
"""From the call to the ground, at the least [s]: to hear it, stand up and find what falls.
Assumed."""

_LETTERS: Final = 24


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
    return [] if found is None else astray(found.likelihood, found.within, voice)


def astray(likelihood: float, within: float, voice: Voice) -> list[str]:
    """Say how often a flight may go any way; nothing of what never does."""
    if not likelihood:
        return []
    count = voice.count(int(rounded(1 / likelihood, 2, down=True)))
    far = voice.away(within)
    return [voice.say("instruct.anywhere", count=count, distance=far)]


def falls_free(found: Sequence[Fall], voice: Voice) -> list[str]:
    """Say by when each piece beside the rocket can be down if it falls free.

    ``found``: of each piece the falls to tell of, in the order of their seconds.

    Result: one line; none where nothing but the rocket harms anybody.
    """
    told = []
    for piece in dict.fromkeys(fall.piece for fall in found if fall.piece != "rocket"):
        own = [fall for fall in found if fall.piece == piece]
        words = {
            "piece": _short(piece, voice),
            "time": voice.seconds(own[0].first),
        }
        hard = voice.seconds(max(own, key=lambda fall: fall.energy).first)
        if hard == words["time"]:
            told.append(voice.say("heads_up.piece", **words))
        else:
            told.append(voice.say("heads_up.piece_hard", hard=hard, **words))
    return [voice.say("heads_up.free", pieces="; ".join(told))] if told else []


def instruction(assessment: Assessment, voice: Voice) -> list[str]:
    """Say where to stand, what may go astray or fall free, and what to do when nothing opens."""
    found = falls(assessment)
    fast = straight_down(found)
    # A crowd reads few words: of what falls beside the rocket, what kills before it does.
    deadly = [
        fall
        for fall in arrivals(found)
        if fall.deadly and (fast is None or fall.first < fast.first)
    ]
    told = [
        voice.say("instruct.stand"),
        *off_its_path(assessment, voice),
        *falls_free(deadly, voice),
    ]
    devices = sorted(assessment.flight.recovery, key=by_opening)
    if fast is None or not devices:
        return told
    words = {
        "device": voice.say(f"device.{devices[0].kind}"),
        "look": _look(fast, voice),
    }
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
        Moment(0.0, voice.say("watch.up", look=look), _at_once(found, voice)),
        Moment(up.first, voice.say("watch.top", look=look, height=height)),
        *_opening(assessment, voice),
        *_down([fall for fall in found if fall.works], voice),
        *_free(assessment, found, voice),
        Moment(max(fall.last for fall in found), voice.say("watch.over")),
    ]
    begun = (replace(m, should=m.should[0].upper() + m.should[1:]) for m in told)
    return sorted(begun, key=lambda moment: moment.second)


def _down(planned: Sequence[Fall], voice: Voice) -> list[Moment]:
    """Tell when each piece of the plan comes down, by name where there are several."""
    told = []
    for fall in planned:
        look = _look(fall, voice)
        name = f"{voice.known('piece', fall.piece)} – " if len(planned) > 1 else ""
        told.append(Moment(fall.first, name + voice.say("watch.down", look=look)))
        if fall.deadly:
            told.append(_look_up([fall], voice))
    return told


def _opening(assessment: Assessment, voice: Voice) -> list[Moment]:
    """Tell of the opening, and of the fall when nothing opens."""
    fast, by = straight_down(falls(assessment)), opens_by(assessment)
    devices = sorted(assessment.flight.recovery, key=by_opening)
    if fast is None or not devices:
        return []
    look, call = _look(fast, voice), voice.say("watch.free")
    told = [Moment(fast.first, voice.say("watch.hits", look=look))]
    if by is None or by > fast.first - _CALL:
        told.append(_look_up([fast], voice))
    if by is not None:
        device = voice.say(f"device.{devices[0].kind}")
        left = voice.seconds(fast.first - by) if by < fast.first else ""
        if left:
            call = voice.say("watch.not_open", look=look, time=left)
        told.append(Moment(by, voice.say("watch.open", device=device), call))
    return told


def _at_once(found: list[Fall], voice: Voice) -> str:
    """Call at lift-off for what is down sooner than it can be called for by itself."""
    early: dict[str, str] = {}
    for fall in arrivals(found):
        if fall.first <= _CALL:
            early.setdefault(fall.piece, voice.seconds(fall.first))
    told = [
        voice.say("heads_up.piece", piece=_short(piece, voice), time=time)
        for piece, time in early.items()
    ]
    turns = voice.say("watch.turns")
    if not told:
        return turns
    early_told = voice.say("watch.early", pieces="; ".join(told))
    return f"{turns} {early_told}"


def _free(a: Assessment, found: list[Fall], voice: Voice) -> list[Moment]:
    """Tell of every piece when it can strike soonest and hardest, and to look up before."""
    fast = straight_down(found) if a.flight.recovery else None
    looks = fast and _look(fast, voice)
    rows: dict[tuple[int, str], list[Fall]] = {}
    for fall in arrivals(found):
        look = _look(fall, voice)
        told_of = fall.unopened and look == looks
        if fall.first > _CALL and not fall.works and not told_of:
            rows.setdefault((math.floor(fall.first), look), []).append(fall)
    told = []
    for (second, look), falling in rows.items():
        told.append(_look_up(falling, voice))
        deadly = [fall for fall in falling if fall.deadly]
        if deadly:
            words = voice.say("watch.strikes", pieces=_names(deadly, voice), look=look)
            told.append(Moment(second, words))
    return told


def _look_up(falling: list[Fall], voice: Voice) -> Moment:
    """Tell the crowd to look up before something comes down, all of it at one place."""
    first, look = min(fall.first for fall in falling), _look(falling[0], voice)
    words = {"pieces": _names(falling, voice), "time": voice.seconds(first)}
    if any(fall.works for fall in falling):
        should = voice.say("watch.look_up", look=look, **words)
    else:
        should = voice.say("watch.look_up_failed", look=look, **words)
    call = voice.say("watch.free")
    return Moment(max(0.0, math.floor(first) - _CALL), should, call)


def _names(falling: list[Fall], voice: Voice) -> str:
    return ", ".join(_short(fall.piece, voice) for fall in falling)


def _short(piece: str, voice: Voice) -> str:
    """Name a piece in few letters: its second must stand on the page beside it."""
    cut = piece if len(piece) <= _LETTERS else f"{piece[: _LETTERS - 1]}…"
    return voice.known("piece", cut)


def _look(fall: Fall, voice: Voice) -> str:
    """Say where to look for something that falls."""
    if fall.around:
        return voice.say("instruct.around")
    return voice.say("instruct.look", compass=voice.compass(fall.azimuth))
