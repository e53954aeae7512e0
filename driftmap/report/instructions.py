"""Which way to look, and when: what people on the ground see of a flight, the same on every page."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from shapely.geometry.base import BaseGeometry

from driftmap.ground.areas import Area
from driftmap.hazard.zones import Anywhere, Line, Zone, anywhere, outer_line, zones
from driftmap.report.marks import opening, shown
from driftmap.report.moving import OVER, Move, moves
from driftmap.report.sentences import case_when
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
from driftmap.rocket.opening_order import by_opening
from driftmap.rocket.stages import Device
from driftmap.verdict.assessment import Assessment

_OPENING: Final = 2.0
"""From a trigger to an open device, at the most [s]: 0.5 to 1.5 s are assumed when flying."""

CALL: Final = 5.0
"""From the call to the ground, at the least [s]: to hear it, stand up and find what falls.
Assumed."""

_LETTERS: Final = 24

AT_PAD: Final = 0.25
"""So near to the pad, of its distance from people, what falls is told as near the pad. Assumed."""

AHEAD, FAR, BEHIND = 8.0, 60.0, 120.0
"""Turns from the pad [deg] from which a side is told, is far, and is behind. Assumed."""

ASIDE: Final = 15.0
"""So far off the way from people over the pad [deg] a direction is to their left or right. Assumed."""


@dataclass(frozen=True, slots=True)
class Sight:
    """Where people look from: left and right help people without a compass.

    Parameters
    ----------
    name : str
        Of the crowd that stands there, once it has moved where it must.
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
        turn = self._turn(math.atan2(east, north))
        if away < OVER:
            return "over"
        if distance < AT_PAD * math.hypot(self.east, self.north):
            return "at_pad"
        if abs(turn) < AHEAD:
            return "beyond" if away > math.hypot(self.east, self.north) else "before"
        if abs(turn) > BEHIND:
            return "behind"
        return ("far_" if abs(turn) > FAR else "") + ("right" if turn > 0 else "left")

    def hand(self, azimuth: float) -> str:
        """Say which way from the pad a direction [rad] lies for them, as a key of the catalogue."""
        turn = self._turn(azimuth)
        if abs(turn) < ASIDE:
            return "past"
        if abs(turn) > 180.0 - ASIDE:
            return "toward"
        return "right" if turn > 0 else "left"

    @property
    def pad(self) -> float:
        """Which way they look to see the pad [rad]."""
        return math.atan2(-self.east, -self.north)

    def _turn(self, azimuth: float) -> float:
        """Return how far a direction [rad] is turned from that of the pad, to the right [deg]."""
        return math.degrees(math.remainder(azimuth - self.pad, math.tau))


def sights(areas: Sequence[Area]) -> list[Sight]:
    """List the crowds that have a left and a right, spectators first; none at the pad."""
    people = sorted(
        (area for area in areas if area.occupied), key=lambda a: a.role != "spectators"
    )
    middles = [(area.name, area.shape.representative_point()) for area in people]
    found = [Sight(name, at.x, at.y) for name, at in middles]
    return [one for one in found if math.hypot(one.east, one.north) > OVER]


def as_moved(found: Sequence[Move], places: Sequence[Spot], voice: Voice) -> list[Area]:
    """Return the places of people as they stand during a flight, moved where they must move."""
    grounds = {move.spot.area.name: move.ground for move in found if move.line}
    told = []
    for spot in places:
        area = spot.area
        if ground := grounds.get(area.name):
            name = voice.say("side.moved", area=area.name)
            area = replace(area, name=name, shape=ground)
        told.append(area)
    return told


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
    def moves(self) -> list[Move]:
        """Whose people must move whither."""
        return moves(self.told.site, self.zones, self.places)

    @property
    def astray(self) -> float:
        """How far something may come down on any side [m]; 0 where nothing does."""
        return self.any_way.within if self.any_way and self.any_way.likelihood else 0.0

    @property
    def opening(self) -> BaseGeometry:
        """The ground that is seen first."""
        people = (spot for spot in self.places if spot.stand)
        must = ((s.area.shape, bool(s.kind) or s.seen != "pass") for s in people)
        return opening(self.drawn, must)

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
    def planned(self) -> Fall | None:
        """Where the rocket comes down if all is well."""
        return next((fall for fall in self.falls if fall.works), None)

    def one_side(self) -> bool:
        """Return whether all crowds are told of what comes down in the same words."""
        told = [fall for fall in (self.planned, self.fast, other_side(self)) if fall]
        crowds = sights(as_moved(self.moves, self.places, self.voice))
        each = [replace(self, sight=crowd) for crowd in crowds]
        return all(len({seen.eyes(fall) for seen in each}) < 2 for fall in told)

    def look(self, fall: Fall | Climb) -> str:
        """Say where to look, to be called aloud."""
        say = self.voice.say
        if fall.around:
            return say("instruct.around")
        compass = self.voice.compass(fall.azimuth)
        # Who follows the rocket up has it in sight: its side is not that of where it lands.
        if self.sight is None or isinstance(fall, Climb):
            return say("instruct.look", compass=compass)
        side = say(f"side.{self.sight.side(fall.distance, fall.azimuth)}")
        return say("side.look", compass=compass, side=side)

    def eyes(self, fall: Fall) -> str:
        """Say where to look under the word that says to."""
        say, sight = self.voice.say, self.sight
        compass = self.voice.letters(fall.azimuth)
        if fall.around and fall.distance <= fall.radius / 8:
            return say("instruct.about")
        if sight is None and fall.around:
            return say("instruct.mostly", compass=compass)
        if sight is None:
            return say("instruct.where", compass=compass)
        hand = say(f"side.{sight.hand(fall.azimuth)}")
        if fall.around:
            return say("instruct.mostly_side", compass=compass, side=hand)
        side = sight.side(fall.distance, fall.azimuth).removeprefix("far_")
        if side == "at_pad":
            return say("instruct.near_side", compass=compass, side=hand)
        return say("side.next", compass=compass, side=say(f"side.{side}"))


def watch(assessment: Assessment, voice: Voice) -> Watch:
    """Work out what people see of a flight."""
    found = falls(assessment)
    line = outer_line(assessment.cloud, assessment.contours)
    zoned = zones(assessment.cloud, line)
    places = spots(assessment, zoned)
    sent = moves(assessment.site, zoned, places)
    return Watch(
        assessment,
        line,
        zoned,
        shown(zoned),
        places,
        found,
        straight_down(found),
        climb(assessment),
        next(iter(sights(as_moved(sent, places, voice))), None),
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
        words = {"piece": short_name(piece, voice), "time": voice.seconds(own[0].first)}
        hard = voice.seconds(max(own, key=lambda fall: fall.energy).first)
        if hard == words["time"]:
            told.append(voice.say("heads_up.piece", **words))
        else:
            told.append(voice.say("heads_up.piece_hard", hard=hard, **words))
    return [voice.say("heads_up.free", pieces="; ".join(told))] if told else []


def short_name(piece: str, voice: Voice) -> str:
    """Name a piece in few letters: its second must stand on the page beside it."""
    cut = piece if len(piece) <= _LETTERS else f"{piece[: _LETTERS - 1]}…"
    return voice.known("piece", cut)


def look(seen: Watch) -> list[str]:
    """Say which way to look: at the pad, and from when where, as planned and if recovery fails.

    Left and right are those of who has moved where all must, and of one crowd by name where they
    are not the same for all.
    """
    say, fast = seen.voice.say, seen.fast
    told = [say("instruct.pad")]
    if seen.told.verdict == "no-go":  # else it would read as if it flew
        told = [say("instruct.pad_later")]
    else:
        told += falls_free(_sooner(seen), seen.voice)
    ahead: list[tuple[Fall, float, str]] = []  # what to look for, from when, and why
    if works := seen.planned:
        ahead.append((works, works.first, say("instruct.well")))
    if fast:
        by = seen.opens_by
        early = by is not None and by < fast.first
        from_ = by if early and by is not None else fast.first - CALL
        ahead.append((fast, from_, case_when(fast.case, seen.voice)))
    if other := other_side(seen):
        from_ = other.first - CALL
        ahead.append((other, from_, case_when(other.case, seen.voice)))
    if seen.sight:
        way = seen.voice.letters(seen.sight.pad)
        whose = say("instruct.from", area=isolate(seen.sight.name), compass=way)
        told[0] += " " + (say("instruct.facing") if seen.one_side() else whose)
    for fall, second, when in sorted(ahead, key=lambda one: one[1]):
        why, time = when[:1].lower() + when[1:], seen.voice.clock(max(0.0, second))
        told.append(say("instruct.if", when=why, look=seen.eyes(fall), time=time))
    return told


def _sooner(seen: Watch) -> list[Fall]:
    """Pick what kills before the rocket's own fall can."""
    fast = seen.fast
    deadly = (fall for fall in arrivals(seen.falls) if fall.deadly)
    return [fall for fall in deadly if fast is None or fall.first < fast.first]


def other_side(seen: Watch) -> Fall | None:
    """Find what can kill on another side of the pad than the worst: of what zones hold, the likeliest."""
    fast = seen.fast
    if fast is None or fast.around:
        return None
    cases = {case.name: case for case in seen.told.cloud.tree.cases}

    def beside(fall: Fall) -> bool:
        turn = math.degrees(math.remainder(fall.azimuth - fast.azimuth, math.tau))
        held = not (cases[fall.case].any_way or cases[fall.case].rare)
        far = fall.distance > OVER and not fall.around
        return fall.deadly and held and far and abs(turn) > FAR

    found = [fall for fall in seen.falls if beside(fall)]
    return max(
        found, key=lambda f: (cases[f.case].probability, f.distance), default=None
    )
