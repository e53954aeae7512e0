"""The one instruction for everybody, and what should be seen at which second."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from driftmap.hazard.zones import (
    Anywhere,
    Line,
    Zone,
    ZoneKind,
    anywhere,
    outer_line,
    zones,
)
from driftmap.report.marks import shown
from driftmap.report.sheetfacts import (
    Climb,
    Fall,
    Spot,
    arrivals,
    climb,
    falls,
    spots,
    straight_down,
)
from driftmap.report.voice import Voice
from driftmap.report.words import isolate, rounded
from driftmap.rocket.bodies import by_opening
from driftmap.rocket.flight import Device
from driftmap.verdict.assessment import Assessment

__all__ = [
    "Watch",
    "astray",
    "before",
    "falls_free",
    "instruction",
    "moments",
    "stand_outside",
    "watch",
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


def sights_of(assessment: Assessment) -> list[Sight]:
    """List the crowds that have a left and a right, spectators first; none at the pad."""
    people = [area for area in assessment.site.areas if area.occupied]
    people.sort(key=lambda area: area.role != "spectators")
    middles = [(area.name, area.shape.representative_point()) for area in people]
    sights = [Sight(name, at.x, at.y) for name, at in middles]
    return [one for one in sights if math.hypot(one.east, one.north) > _OVER]


@dataclass(frozen=True, slots=True)
class Watch:
    """What people on the ground see of a flight, worked out once for all that is told of it.

    Parameters
    ----------
    told : Assessment
        The assessment that tells it.
    line : callable
        Draws the widest outline of a piece.
    zones, drawn : tuple of Zone
        Danger and caution, and those that a picture shows.
    places : list of Spot
        Every area of the site.
    falls : list of Fall
        Every piece of every case.
    fast : Fall or None
        The fall that follows when nothing opens.
    up : Climb
        The way up.
    sight : Sight or None
        From where they look.
    any_way : Anywhere or None
        How often, and how far, something may come down on any side.
    voice : Voice
        What tells it.
    """

    told: Assessment
    line: Line
    zones: tuple[Zone, ...]
    drawn: tuple[Zone, ...]
    places: list[Spot]
    falls: list[Fall]
    fast: Fall | None
    up: Climb
    sight: Sight | None
    any_way: Anywhere | None
    voice: Voice

    @property
    def astray(self) -> float:
        """How far something may come down on any side [m]; 0 where nothing does."""
        return self.any_way.within if self.any_way and self.any_way.likelihood else 0.0

    @property
    def stray(self) -> list[str]:
        """What may come down on any side, in a line; none of what never does."""
        found = self.any_way
        return astray(found.likelihood, found.within, self.voice) if found else []

    @property
    def first_device(self) -> Device | None:
        """The device that opens first."""
        return next(iter(by_opening(self.told.flight)), None)

    @property
    def opens_by(self) -> float | None:
        """By when it should be seen [s]; None where it opens at a height: nobody counts that."""
        if self.first_device is None:
            return None
        trigger = self.first_device.opens_at
        if trigger.at == "apogee":
            return self.up.last + _OPENING
        return trigger.value + _OPENING if trigger.at == "time" else None

    @property
    def stand(self) -> str:
        """Where to stand."""
        return stand_outside((zone.kind for zone in self.drawn), self.voice)

    def one_side(self) -> bool:
        """Tell whether what falls when nothing opens is on the same side of all crowds."""
        fast = self.fast
        if fast is None:
            return True
        sights = sights_of(self.told)
        return len({one.side(fast.distance, fast.azimuth) for one in sights}) < 2

    def look(self, fall: Fall | Climb, *, named: bool = False) -> str:
        """Say where to look; ``named``: with the crowd whose left and right it is."""
        say = self.voice.say
        if fall.around:
            return say("instruct.around")
        told = say("instruct.look", compass=self.voice.compass(fall.azimuth))
        if self.sight is None:
            return told
        side = say(f"side.{self.sight.side(fall.distance, fall.azimuth)}")
        if named:
            side = say("side.seen", side=side, area=isolate(self.sight.name))
        return say("side.look", look=told, side=side)


def watch(assessment: Assessment, voice: Voice) -> Watch:
    """Work out what people see of a flight."""
    found = falls(assessment)
    line = outer_line(assessment.cloud, assessment.contours)
    zoned = zones(assessment.cloud, line)
    return Watch(
        assessment,
        line,
        zoned,
        shown(zoned),
        spots(assessment, zoned),
        found,
        straight_down(found),
        climb(assessment),
        next(iter(sights_of(assessment)), None),
        anywhere(assessment.cloud),
        voice,
    )


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


def stand_outside(kinds: Iterable[ZoneKind], voice: Voice) -> str:
    """Say where to stand: outside each zone that is drawn, by the word it bears."""
    words = [voice.say(f"zone.{kind}") for kind in kinds]
    if len(words) > 1:
        words = [voice.say("plan.and", one=words[0], other=words[1])]
    return voice.say("instruct.stand", zones="".join(words))


def instruction(seen: Watch, *, named: bool = True) -> list[str]:
    """Say where to stand, what may go astray or fall free, and what to do when nothing opens.

    ``named``: with the crowd whose left and right it tells.
    """
    voice, fast, device = seen.voice, seen.fast, seen.first_device
    # A crowd reads few words: of what falls beside the rocket, what kills before it does.
    deadly = [
        fall
        for fall in arrivals(seen.falls)
        if fall.deadly and (fast is None or fall.first < fast.first)
    ]
    told = [seen.stand, *seen.stray, *falls_free(deadly, voice)]
    if fast is None or device is None:
        return told
    words = {
        "device": voice.say(f"device.{device.kind}"),
        "look": seen.look(fast, named=named),
    }
    if seen.opens_by is None:
        return [*told, voice.say("instruct.past", **words)]
    time = voice.seconds(seen.opens_by)
    return [*told, voice.say("instruct.count", time=time, **words)]


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


def before(seen: Watch) -> list[str]:
    """Say what the caller says before lift-off: what is down sooner than it can be called.

    Result: with the crowd whose left and right the moments tell.
    """
    voice, early = seen.voice, dict[str, str]()
    for fall in arrivals(seen.falls):
        if fall.first <= _CALL:
            early.setdefault(fall.piece, voice.seconds(fall.first))
    pieces = "; ".join(
        voice.say("heads_up.piece", piece=_short(piece, voice), time=time)
        for piece, time in early.items()
    )
    told = [voice.say("watch.early", pieces=pieces)] if early else []
    if seen.sight:
        told.append(voice.say("side.note", area=isolate(seen.sight.name)))
    return told


def moments(seen: Watch) -> list[Moment]:
    """List the moments of a flight.

    Result: in the order of time, from lift-off until everything of nine in ten flights
    of every case is down.
    """
    say, up = seen.voice.say, seen.up
    above = say("watch.overhead") if up.around else seen.look(up)
    height = seen.voice.distance(up.height)
    told = [
        Moment(0.0, say("watch.up", look=above), say("watch.turns")),
        Moment(up.first, say("watch.top", look=above, height=height)),
        *_opening(seen),
        *_down(seen),
        *_free(seen),
        Moment(max(fall.last for fall in seen.falls), say("watch.over")),
    ]
    begun = (replace(m, should=m.should[0].upper() + m.should[1:]) for m in told)
    return sorted(begun, key=lambda moment: moment.second)


def _down(seen: Watch) -> Iterator[Moment]:
    """Tell when each piece of the plan comes down, by name where there are several."""
    planned = [fall for fall in seen.falls if fall.works]
    for fall in planned:
        name = f"{seen.voice.known('piece', fall.piece)} – " * (len(planned) > 1)
        down = seen.voice.say("watch.down", look=seen.look(fall))
        yield Moment(fall.first, name + down)
        if fall.deadly:
            yield _look_up([fall], seen)


def _opening(seen: Watch) -> Iterator[Moment]:
    """Tell of the opening, and of the fall when nothing opens."""
    fast, by, device = seen.fast, seen.opens_by, seen.first_device
    if fast is None or device is None:
        return
    say, there = seen.voice.say, seen.look(fast)
    yield Moment(fast.first, say("watch.hits", look=there))
    if by is None or by > fast.first - _CALL:
        yield _look_up([fast], seen)
    if by is not None:
        call = say("watch.free")
        if by < fast.first:
            # By the second that runs beside it: what is left would be true at its first alone.
            call = say(
                "watch.not_open", look=there, time=seen.voice.seconds(fast.first)
            )
        opens = say("watch.open", device=say(f"device.{device.kind}"))
        yield Moment(by, opens, call)


def _free(seen: Watch) -> Iterator[Moment]:
    """Tell of every piece when it can strike soonest and hardest, and to look up before."""
    there = seen.look(seen.fast) if seen.fast and seen.first_device else None
    rows: dict[tuple[int, str], list[Fall]] = {}
    for fall in arrivals(seen.falls):
        look = seen.look(fall)
        told_of = fall.unopened and look == there
        if fall.first > _CALL and not fall.works and not told_of:
            rows.setdefault((math.floor(fall.first), look), []).append(fall)
    for (second, look), falling in rows.items():
        yield _look_up(falling, seen)
        deadly = [fall for fall in falling if fall.deadly]
        if deadly:
            names = _names(deadly, seen.voice)
            words = seen.voice.say("watch.strikes", pieces=names, look=look)
            yield Moment(second, words)


def _look_up(falling: list[Fall], seen: Watch) -> Moment:
    """Tell the crowd to look up before something comes down, all of it at one place."""
    first = min(fall.first for fall in falling)
    works = any(fall.works for fall in falling)
    should = seen.voice.say(
        "watch.look_up" if works else "watch.look_up_failed",
        look=seen.look(falling[0]),
        pieces=_names(falling, seen.voice),
        time=seen.voice.seconds(first),
    )
    call = seen.voice.say("watch.free")
    return Moment(max(0.0, math.floor(first) - _CALL), should, call)


def _names(falling: list[Fall], voice: Voice) -> str:
    return ", ".join(_short(fall.piece, voice) for fall in falling)


def _short(piece: str, voice: Voice) -> str:
    """Name a piece in few letters: its second must stand on the page beside it."""
    cut = piece if len(piece) <= _LETTERS else f"{piece[: _LETTERS - 1]}…"
    return voice.known("piece", cut)
