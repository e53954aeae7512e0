"""How far the wind may change before a verdict is worse: a few winds about it, each judged."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

from driftmap.air.altered import scaled
from driftmap.planning.trial import FINDINGS, try_flight
from driftmap.verdict.assessment import Assessment
from driftmap.verdict.check import decide

__all__ = ["MOST_WINDS", "Around", "winds_around"]

_STRONGER: Final = (1.5, 1.25)
_WEAKER: Final = (0.5, 0.75)
_TURNS: Final = (30.0, 15.0, 8.0)  # deg
_MOST_FLIGHTS: Final = 20_000
_CALM: Final = 0.3
"""Speed at 10 m under which a wind has no direction to turn from [m s⁻¹]: less than meters show."""

MOST_WINDS: Final = len(_STRONGER) + len(_WEAKER) + 4 * len(_TURNS)
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
        Winds judged: the corners of that range and its middle, none between them.
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

    Result: none where nothing can become worse, or where a calm has no direction to
    turn from: nothing is then known of other winds.

    The wind is scaled and turned at all heights alike; the rail stays as it was aimed.
    Questions of the rules are left out on both sides, as no wind answers them.
    """
    a, count = assessment, 0
    speed = math.hypot(*a.wind.at(10.0))
    now = FINDINGS.index(decide(c for c in a.checks if not c.question))
    nowhere = speed < _CALM or a.cloud.plan.leans_anywhere
    if now >= FINDINGS.index("no-go") or nowhere:
        return None
    flight = a.flight.aimed(a.cloud.plan.azimuth)
    samples = min(a.cloud.flights, _MOST_FLIGHTS)
    setup = replace(a.setup, flight=flight, samples=samples)

    def kept(factor: float, turn: float) -> bool:
        nonlocal count
        if factor == 1.0 and turn == 0.0:
            return True
        count += 1
        wind = scaled(a.wind, factor, math.radians(turn))
        found = try_flight(setup, wind).verdict
        if progress is not None:
            progress(1)
        return FINDINGS.index(found) <= now

    most = next((f for f in _STRONGER if kept(f, 0.0)), 1.0)
    least = next((f for f in _WEAKER if kept(f, 0.0)), 1.0)

    def widest(side: int) -> float:
        ends = sorted({least, most}, reverse=True)
        fits = (t for t in _TURNS if all(kept(f, side * t) for f in ends))
        return math.radians(next(fits, 0.0))

    left, right = widest(-1), widest(1)
    return Around(least, most, left, right, count)
