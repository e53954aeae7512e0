"""Where to stand: who must move where, and where nobody stands, the same on every page."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.report.instructions import Watch, look
from driftmap.report.marks import people_numbers
from driftmap.report.moving import Move
from driftmap.report.sentences import some_of
from driftmap.report.sheetfacts import Spot
from driftmap.report.voice import Voice
from driftmap.report.words import circled, isolate

WORTH: Final = 0.2
"""Behind the pad a zone is told of from so much of its reach on. Assumed."""

_ROOM: Final = 160
"""Letters that names take in the orders, all together; each has twenty at least. Assumed."""


class Order(NamedTuple):
    """What is said of a zone, or to whoever must move: the sign it bears, and its words."""

    sign: str
    name: str
    told: str


def stand(seen: Watch) -> list[Order]:
    """Say where nobody stands, where people stand how, and who must move whither.

    Result: one verb for each state, whatever the verdict; who must move, then who may stay where;
    each place by its number on the map.
    """
    say, told, name = seen.voice.say, [], _names(seen)
    people = [spot for spot in seen.places if spot.stand]
    kinds = {zone.kind: zone.shape for zone in seen.drawn}
    # Of all who do not move, also those whom a check only doubts to be clear.
    mild = [s for s in people if s.seen == "warn"]
    calm = [s for s in people if s.seen == "pass"]
    if sent := seen.moves:
        words = _sent(sent, name, seen.voice)
        if seen.told.verdict == "go":  # they are in danger, and within every limit
            words = f"{words}\n{say('instruct.counted')}"
        told.append(Order("move", say("stand.unsafe"), words))
    if calm:
        places = some_of([name[spot.area.name] for spot in calm], seen.voice)
        words = say("instruct.stay_at", places=places)
        told.append(Order("clear", say("zone.clear"), words))
    caution = [_keep_out(kinds["caution"], seen.voice)] if "caution" in kinds else []
    if mild:
        places = some_of([name[spot.area.name] for spot in mild], seen.voice)
        caution.append(say("instruct.ready_at", places=places))
    if caution:
        told.append(Order("caution", say("zone.caution"), " ".join(caution)))
    if "danger" in kinds:
        ends = _ends_before(kinds["danger"], people, seen.voice)
        words = _keep_out(kinds["danger"], seen.voice, ends)
        told.append(Order("danger", say("zone.danger"), words))
    return [*told, *(Order("", "", line) for line in seen.stray)]


def _names(seen: Watch) -> dict[str, str]:
    """Return the name of each place of people, behind the number that it bears on the map.

    A long one is cut where many would hide what they are told: the list of places has it whole.
    """
    numbers = people_numbers(spot.area for spot in seen.places)
    most = max(20, _ROOM // max(len(numbers), 1))
    short = {n: n if len(n) <= most else f"{n[: most - 1]}…" for n in numbers}
    return {
        name: f"{circled(number)}\u00a0{isolate(short[name])}"
        for name, number in numbers.items()
    }


def _keep_out(zone: BaseGeometry, voice: Voice, ends: str = "") -> str:
    """Say how far a zone reaches from the pad, on its other side too; ``ends``: what is told behind."""
    first, *behind = (end.told(voice) for end in reach_of(zone))
    near = "".join(voice.say("instruct.also", **words) for words in behind) + ends
    return voice.say("instruct.keep_out", near=near, **first)


def _ends_before(zone: BaseGeometry, people: Sequence[Spot], voice: Voice) -> str:
    """Say how near a zone comes to the people nearest to it; nothing where it reaches any, or of those far off."""
    gaps = [(s.area.shape.distance(zone), s.distance, s.area.name) for s in people]
    gap, _, name = min(gaps, default=(math.inf, 0.0, ""))
    if not 0 < gap < reach_of(zone)[0].distance:
        return ""
    words = {"area": isolate(name), "distance": voice.away(gap)}
    return voice.say("instruct.ends_before", **words)


class ZoneEnd(NamedTuple):
    """A corner of a zone, from the pad: how far it reaches is told by it on every page."""

    east: float
    north: float

    @property
    def distance(self) -> float:
        """How far [m]."""
        return math.hypot(self.east, self.north)

    @property
    def azimuth(self) -> float:
        """Which way [rad]."""
        return math.atan2(self.east, self.north)

    def told(self, voice: Voice) -> dict[str, str]:
        """Write both."""
        return {
            "distance": voice.away(self.distance),
            "compass": voice.point(self.azimuth),
        }


def reach_of(zone: BaseGeometry) -> list[ZoneEnd]:
    """Return the corner of a zone farthest from the pad, and that behind it where it is worth a word."""
    corners = shapely.get_coordinates(zone)
    away = np.hypot(*corners.T)
    end = away.argmax()
    behind = np.where(corners @ corners[end] < 0, away, 0.0)
    found = [end]
    if behind.max() > WORTH * away[end]:
        found.append(behind.argmax())
    return [ZoneEnd(*corners[at].tolist()) for at in found]


def farthest(shape: BaseGeometry) -> shapely.Point:
    """Return the point of ground that lies farthest from the pad [m].

    How far a zone reaches, and which way, is told and pointed to by it alone.
    """
    corners = shapely.get_coordinates(shape)
    return shapely.Point(corners[np.hypot(*corners.T).argmax()])


class Way(NamedTuple):
    """Who is sent which way [rad], and along what line."""

    name: str
    azimuth: float
    line: shapely.LineString

    @property
    def pointed(self) -> int:
        """Which way an arrow points, as the words do: to one of eight points [deg]."""
        return 45 * round(math.degrees(self.azimuth) / 45)

    @property
    def end(self) -> shapely.Point:
        """Where they are sent to."""
        return shapely.Point(self.line.coords[-1])


def ways(seen: Watch) -> list[Way]:
    """List the ways to clear ground that are known, of those in danger first."""
    return [
        Way(move.spot.area.name, move.azimuth, move.line)
        for move in seen.moves
        if move.line is not None and move.azimuth is not None
    ]


def to_clear(seen: Watch) -> list[Way]:
    """Say where clear ground is marked as such.

    Result: the ways to it; where nobody must move, that from the pad to the nearest who may stay.
    """
    found = ways(seen)
    calm = [s for s in seen.places if s.stand and s.seen == "pass" and s.distance > 0]
    if found or not calm:
        return found
    spot = min(calm, key=lambda one: one.distance)
    middle = spot.area.shape.representative_point()
    line = shapely.LineString([(0.0, 0.0), (middle.x, middle.y)])
    return [Way(spot.area.name, spot.azimuth, line)]


def _sent(sent: Sequence[Move], names: Mapping[str, str], voice: Voice) -> str:
    told = [_whither(move, names[move.spot.area.name], voice) for move in sent]
    places = some_of(told, voice, "\n")
    turned = any(move.back not in ("", "away") for move in sent)
    key = "instruct.move_facing" if turned else "instruct.move"
    return voice.say(key, places=places)


def _whither(move: Move, name: str, voice: Voice) -> str:
    if move.spot.kind is None:
        return voice.say("instruct.ask", area=name)
    if move.line is None or move.azimuth is None:
        return voice.say("instruct.nowhere", area=name)
    compass = voice.letters(move.azimuth)
    words = {"area": name, "distance": voice.away(move.line.length), "compass": compass}
    if move.back:
        side = voice.say(f"way.{move.back}")
        return voice.say("instruct.to_side", side=side, **words)
    return voice.say("instruct.to", **words)


def as_plain_text(seen: Watch) -> tuple[str, str]:
    """Say both as plain text, a line each, where there is no page."""
    say = seen.voice.say
    places = (f"{o.name}: {o.told}" if o.name else o.told for o in stand(seen))
    return (
        "\n".join([say("instruct.stand"), *places]),
        "\n".join([say("instruct.eyes"), *look(seen)]),
    )
