"""How far the wind may change before a verdict is worse: all winds about it, judged in spans."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

from driftmap.air.transformed import scaled
from driftmap.air.wind import MAST
from driftmap.core.errors import DriftmapError
from driftmap.montecarlo.cloud import Cloud
from driftmap.planning.envelope import everywhere, winds_of_span
from driftmap.planning.span_verdict import strictest_of_span
from driftmap.planning.trial import judged
from driftmap.verdict.assessment import Assessment
from driftmap.verdict.check import Check, decide_ahead
from driftmap.verdict.setup import Setup, flown, in_stronger

_STRONGER: Final = (1.25, 1.5)
_WEAKER: Final = (0.75, 0.5)
_TURNS: Final = (8.0, 15.0, 30.0)  # deg
_CALM: Final = 0.3
"""Speed at 10 m under which a wind has no direction to turn from [m s⁻¹]: less than meters show."""

_STEPS: Final = len(_STRONGER) + len(_WEAKER)
MOST_WINDS: Final = 1 + 2 * _STEPS + 2 * len(_TURNS) * (3 + 2)
"""Winds that are judged at the most: the wind as read, end and middle of each step of its speed,
and of each turn those at three speeds and in the middle of the two spans between them."""

_KEPT: Final = 24  # clouds, some ten megabytes each: those of all turns to one side


@dataclass(frozen=True, slots=True)
class WindMargin:
    """How far the wind may change, and a go still be sure in every wind between.

    Parameters
    ----------
    least, most : float
        Times the speed; 1 where the next weaker or stronger step is not all go.
    left, right : float
        Turn against and with the clock [rad]; 0 where already the least turn is not.
    judged : int
        Winds judged: ends and middle of each span on the way.
    """

    least: float
    most: float
    left: float
    right: float
    judged: int


def winds_around(
    assessment: Assessment, *, progress: Callable[[int], None] | None = None
) -> WindMargin | None:
    """Judge the winds about that of an assessment.

    ``assessment``: the verdict in the wind as it was read; ``progress``: called with 1
    after each wind.

    Result: none where there is no go that could stop, or where a calm has no direction to
    turn from: nothing is then known of other winds.

    Steps are gone from the wind as read outward, up to the first that is not go from end to
    end: a crowd may lie between what lands short of it and what lands beyond. The wind is
    scaled and turned at all heights alike; the rail stays as it was aimed.
    Questions of the rules are left out on both sides, as no wind answers them.
    """
    a, count = assessment, 0
    nowhere = math.hypot(*a.wind.at(MAST)) < _CALM or a.cloud.plan.leans_anywhere
    if a.verdict != "go" or nowhere:
        return None
    flight = a.flight.aimed(a.cloud.plan.azimuth)
    setup = replace(a.setup, flight=flight)

    def one_more() -> None:
        nonlocal count
        count += 1
        if progress is not None:
            progress(1)

    go_all_over = _spans(a, setup, one_more)

    def farthest(
        start: float, steps: Sequence[float], good: Callable[[float, float], bool]
    ) -> float:
        for step in steps:
            if not good(*sorted((start, step))):
                break
            start = step
        return start

    def of_speeds(low: float, high: float) -> bool:
        return go_all_over(low, high, 0.0, 0.0)

    most = farthest(1.0, _STRONGER, of_speeds)
    least = farthest(1.0, _WEAKER, of_speeds)
    speeds = sorted({least, 1.0, most})
    pairs = [*zip(speeds, speeds[1:], strict=False)] or [(1.0, 1.0)]

    def of_turns(left: float, right: float) -> bool:
        return all(go_all_over(*pair, left, right) for pair in pairs)

    right = farthest(0.0, _TURNS, of_turns)
    left = -farthest(0.0, [-turn for turn in _TURNS], of_turns)
    return WindMargin(least, most, math.radians(left), math.radians(right), count)


def _spans(
    a: Assessment, setup: Setup, one_more: Callable[[], None]
) -> Callable[[float, float, float, float], bool]:
    """Return what tells whether a wind so many times as strong and turned so far is go all over.

    ``one_more`` is called after each wind that was flown.
    """

    @lru_cache(_KEPT)
    def flown_at(factor: float, turn: float) -> tuple[Cloud, tuple[Check, ...]]:
        wind = scaled(a.wind, factor, math.radians(turn))
        cloud = flown(setup, wind)
        checks = judged(cloud, setup, wind).checks
        one_more()
        return cloud, (*checks, *in_stronger(setup, wind, checks))

    def go_all_over(low: float, high: float, left: float, right: float) -> bool:
        five = []
        try:
            for wind in winds_of_span(low, high, left, right):
                cloud, checks = flown_at(*wind)
                if decide_ahead(checks) != "go":
                    return False
                five.append((cloud, checks))
            clouds, found = zip(*five, strict=True)
            net = everywhere(clouds, [{}] * 5, math.radians(right - left) / 2)
            strongest = scaled(a.wind, high, math.radians((left + right) / 2))
            return decide_ahead(strictest_of_span(setup, net, strongest, found)) == "go"
        except (DriftmapError, ValueError):  # what cannot be flown is no go
            return False

    return go_all_over
