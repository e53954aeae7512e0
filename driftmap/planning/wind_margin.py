"""How far the wind may change before a verdict is worse: a few winds about it, each judged."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from driftmap.air.transformed import scaled
from driftmap.air.wind import MAST
from driftmap.planning.trial import FINDINGS, try_flight
from driftmap.verdict.assessment import Assessment
from driftmap.verdict.check import decide_ahead
from driftmap.verdict.judgement import flights_needed

_STRONGER: Final = (1.25, 1.5)
_WEAKER: Final = (0.75, 0.5)
_TURNS: Final = (8.0, 15.0, 30.0)  # deg
_FLIGHTS: Final = 6000  # or as many as a go needs
_CALM: Final = 0.3
"""Speed at 10 m under which a wind has no direction to turn from [m s⁻¹]: less than meters show."""

MOST_WINDS: Final = len(_STRONGER) + len(_WEAKER) + 6 * len(_TURNS)
"""Winds that are judged at the most."""


@dataclass(frozen=True, slots=True)
class Around:
    """The winds about one that were judged, and up to which its verdict is no worse.

    Parameters
    ----------
    least, most : float
        Times the speed; 1 where already the next weaker or stronger wind is worse.
    left, right : float
        Turn against and with the clock [rad]; 0 where already the least turn is worse.
    judged : int
        Winds judged: those of each step on the way, turned at the least speed, as read and
        at the most.
    """

    least: float
    most: float
    left: float
    right: float
    judged: int


def winds_around(
    assessment: Assessment, *, progress: Callable[[int], None] | None = None
) -> Around | None:
    """Judge a few winds about that of an assessment.

    ``assessment``: the verdict in the wind as it was read; ``progress``: called with 1
    after each wind.

    Result: none where there is no go that could stop, or where a calm has no direction to
    turn from: nothing is then known of other winds.

    Steps are gone from the wind as read outward, up to the first that is worse: a crowd may
    lie between what lands short of it and what lands beyond. The wind is scaled and turned at
    all heights alike; the rail stays as it was aimed.
    Questions of the rules are left out on both sides, as no wind answers them.
    """
    a, count = assessment, 0
    speed = math.hypot(*a.wind.at(MAST))
    now = FINDINGS.index(decide_ahead(a.checks))
    nowhere = speed < _CALM or a.cloud.plan.leans_anywhere
    if a.verdict != "go" or nowhere:
        return None
    flight = a.flight.aimed(a.cloud.plan.azimuth)
    enough = max(_FLIGHTS, flights_needed(a.cloud, a.site, a.answers).flights)
    setup = replace(a.setup, flight=flight, samples=min(a.cloud.flights, enough))

    def kept(factor: float, turn: float) -> bool:
        nonlocal count
        count += 1
        wind = scaled(a.wind, factor, math.radians(turn))
        found = try_flight(setup, wind).verdict
        if progress is not None:
            progress(1)
        return FINDINGS.index(found) <= now

    def farthest(
        steps: Sequence[float], good: Callable[[float], bool], start: float
    ) -> float:
        return [start, *itertools.takewhile(good, steps)][-1]

    most = farthest(_STRONGER, lambda factor: kept(factor, 0.0), 1.0)
    least = farthest(_WEAKER, lambda factor: kept(factor, 0.0), 1.0)
    speeds = sorted({least, 1.0, most}, reverse=True)

    def widest(side: int) -> float:
        def good(turn: float) -> bool:
            return all(kept(speed, side * turn) for speed in speeds)

        return math.radians(farthest(_TURNS, good, 0.0))

    left, right = widest(-1), widest(1)
    return Around(least, most, left, right, count)
