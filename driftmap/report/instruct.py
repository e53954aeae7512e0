"""The one instruction for everybody, and what should be seen at which second."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from driftmap.failures.bodies import by_opening
from driftmap.hazard.zones import anywhere
from driftmap.report.sheetfacts import (
    Climb,
    Fall,
    arrivals,
    climb,
    falls,
    straight_down,
)
from driftmap.report.voice import Voice
from driftmap.report.words import isolate, rounded
from driftmap.rocket.flight import Flight
from driftmap.verdict.assessment import Assessment

__all__ = [
    "astray",
    "before",
    "falls_free",
    "instruction",
    "looks",
    "moments",
    "off_its_path",
    "sight_of",
]

_OPENING: Final = 2.0
"""From a trigger to an open device, at the most [s]: 0.5 to 1.5 s are assumed when flying."""

_CALL: Final = 5.0
"""From the call to the ground, at the least [s]: to hear it, stand up and find what falls.
Assumed."""

_LETTERS: Final = 24

_OVER: Final = 50.0  # m; what comes down nearer than this is above them. Assumed
_AHEAD, _FAR, _BEHIND = 8.0, 60.0, 120.0
"""Turns from the pad [deg] from which a side is told, is far, and is behind. Assumed."""


@dataclass(frozen=True, slots=True)
class Sight:
    """Where people look from: left and right help who has no compass.

    Parameters
    ----------
    name : str
        Of the crowd that stands there.
    east, north : float
        Its middle from the pad [m].
    """

    name: str
    east: float
    north: float

    def side(self, distance: float, azimuth: float) -> str:
        """Say on which side of the pad a point lies for them, as a key of the catalogue.

        ``distance`` and ``azimuth``: of the point from the pad [m], [rad].
        """
        east = distance * math.sin(azimuth) - self.east
        north = distance * math.cos(azimuth) - self.north
        away = math.hypot(east, north)
        pad = math.atan2(-self.east, -self.north)
        turn = math.degrees(math.remainder(math.atan2(east, north) - pad, math.tau))
        if away < _OVER:
            return "over"
        if abs(turn) < _AHEAD:
            return "beyond" if away > math.hypot(self.east, self.north) else "before"
        if abs(turn) > _BEHIND:
            return "behind"
        return ("far_" if abs(turn) > _FAR else "") + ("right" if turn > 0 else "left")


def sight_of(assessment: Assessment) -> Sight | None:
    """Pick the crowd whose left and right are told: spectators first; None at the pad alone."""
    people = [area for area in assessment.site.areas if area.occupied]
    people.sort(key=lambda area: area.role != "spectators")
    for area in people:
        middle = area.shape.representative_point()
        if math.hypot(middle.x, middle.y) > _OVER:
            return Sight(area.name, middle.x, middle.y)
    return None


Look = Callable[[Fall], str]
"""Says where to look for something that falls."""


def looks(sight: Sight | None, voice: Voice, *, named: bool = False) -> Look:
    """Give what says where to look; ``named``: with the crowd whose left and right it is."""

    def look(fall: Fall) -> str:
        if fall.around:
            return voice.say("instruct.around")
        return toward(fall.distance, fall.azimuth, sight, voice, named=named)

    return look


def toward(
    distance: float,
    azimuth: float,
    sight: Sight | None,
    voice: Voice,
    *,
    named: bool = False,
) -> str:
    """Say where to look for a point so far from the pad [m], [rad]."""
    told = voice.say("instruct.look", compass=voice.compass(azimuth))
    if sight is None:
        return told
    side = voice.say(f"side.{sight.side(distance, azimuth)}")
    if named:
        side = voice.say("side.seen", side=side, area=isolate(sight.name))
    return voice.say("side.look", look=told, side=side)


def opens_by(flight: Flight, up: Climb) -> float | None:
    """Say by when the first device should be seen.

    Result: time after lift-off [s]; None where it opens at a height, which nobody can
    count.
    """
    devices = sorted(flight.recovery, key=by_opening)
    if not devices:
        return None
    trigger = devices[0].opens_at
    if trigger.at == "apogee":
        return up.last + _OPENING
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


def instruction(
    assessment: Assessment, voice: Voice, *, named: bool = True
) -> list[str]:
    """Say where to stand, what may go astray or fall free, and what to do when nothing opens.

    ``named``: with the crowd whose left and right it tells.
    """
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
        "look": looks(sight_of(assessment), voice, named=named)(fast),
    }
    by = opens_by(assessment.flight, climb(assessment))
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


def before(assessment: Assessment, voice: Voice) -> list[str]:
    """Say what the caller says before lift-off: what is down sooner than it can be called.

    Result: with the crowd whose left and right the moments tell.
    """
    early: dict[str, str] = {}
    for fall in arrivals(falls(assessment)):
        if fall.first <= _CALL:
            early.setdefault(fall.piece, voice.seconds(fall.first))
    pieces = "; ".join(
        voice.say("heads_up.piece", piece=_short(piece, voice), time=time)
        for piece, time in early.items()
    )
    told = [voice.say("watch.early", pieces=pieces)] if early else []
    if sight := sight_of(assessment):
        told.append(voice.say("side.note", area=isolate(sight.name)))
    return told


def moments(assessment: Assessment, voice: Voice) -> list[Moment]:
    """List the moments of a flight.

    Result: in the order of time, from lift-off until everything of nine in ten flights
    of every case is down.
    """
    up, found = climb(assessment), falls(assessment)
    sight = sight_of(assessment)
    look, above = looks(sight, voice), voice.say("watch.overhead")
    if up.azimuth is not None:
        above = toward(up.distance, up.azimuth, sight, voice)
    height = voice.distance(up.height)
    turns = voice.say("watch.turns")
    told = [
        Moment(0.0, voice.say("watch.up", look=above), turns),
        Moment(up.first, voice.say("watch.top", look=above, height=height)),
        *_opening(assessment.flight, found, up, look, voice),
        *_down([fall for fall in found if fall.works], look, voice),
        *_free(assessment.flight, found, look, voice),
        Moment(max(fall.last for fall in found), voice.say("watch.over")),
    ]
    begun = (replace(m, should=m.should[0].upper() + m.should[1:]) for m in told)
    return sorted(begun, key=lambda moment: moment.second)


def _down(planned: Sequence[Fall], look: Look, voice: Voice) -> list[Moment]:
    """Tell when each piece of the plan comes down, by name where there are several."""
    told = []
    for fall in planned:
        name = f"{voice.known('piece', fall.piece)} – " if len(planned) > 1 else ""
        down = voice.say("watch.down", look=look(fall))
        told.append(Moment(fall.first, name + down))
        if fall.deadly:
            told.append(_look_up([fall], look, voice))
    return told


def _opening(
    flight: Flight, found: Sequence[Fall], up: Climb, look: Look, voice: Voice
) -> list[Moment]:
    """Tell of the opening, and of the fall when nothing opens."""
    fast, by = straight_down(found), opens_by(flight, up)
    devices = sorted(flight.recovery, key=by_opening)
    if fast is None or not devices:
        return []
    there, call = look(fast), voice.say("watch.free")
    told = [Moment(fast.first, voice.say("watch.hits", look=there))]
    if by is None or by > fast.first - _CALL:
        told.append(_look_up([fast], look, voice))
    if by is not None:
        device = voice.say(f"device.{devices[0].kind}")
        left = voice.seconds(fast.first - by) if by < fast.first else ""
        if left:
            call = voice.say("watch.not_open", look=there, time=left)
        told.append(Moment(by, voice.say("watch.open", device=device), call))
    return told


def _free(
    flight: Flight, found: Sequence[Fall], look: Look, voice: Voice
) -> list[Moment]:
    """Tell of every piece when it can strike soonest and hardest, and to look up before."""
    fast = straight_down(found) if flight.recovery else None
    there = fast and look(fast)
    rows: dict[tuple[int, str], list[Fall]] = {}
    for fall in arrivals(found):
        told_of = fall.unopened and look(fall) == there
        if fall.first > _CALL and not fall.works and not told_of:
            rows.setdefault((math.floor(fall.first), look(fall)), []).append(fall)
    told = []
    for (second, toward_it), falling in rows.items():
        told.append(_look_up(falling, look, voice))
        deadly = [fall for fall in falling if fall.deadly]
        if deadly:
            names = _names(deadly, voice)
            words = voice.say("watch.strikes", pieces=names, look=toward_it)
            told.append(Moment(second, words))
    return told


def _look_up(falling: list[Fall], look: Look, voice: Voice) -> Moment:
    """Tell the crowd to look up before something comes down, all of it at one place."""
    first = min(fall.first for fall in falling)
    key = "look_up" if any(fall.works for fall in falling) else "look_up_failed"
    should = voice.say(
        f"watch.{key}",
        look=look(falling[0]),
        pieces=_names(falling, voice),
        time=voice.seconds(first),
    )
    return Moment(max(0.0, math.floor(first) - _CALL), should, voice.say("watch.free"))


def _names(falling: list[Fall], voice: Voice) -> str:
    return ", ".join(_short(fall.piece, voice) for fall in falling)


def _short(piece: str, voice: Voice) -> str:
    """Name a piece in few letters: its second must stand on the page beside it."""
    cut = piece if len(piece) <= _LETTERS else f"{piece[: _LETTERS - 1]}…"
    return voice.known("piece", cut)
