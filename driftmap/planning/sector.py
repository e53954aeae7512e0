"""A sector of the compass: the verdict that holds in every wind of it up to a speed."""

from __future__ import annotations

import math
import pickle
from collections.abc import Iterable
from functools import lru_cache
from threading import local
from typing import Final

from driftmap.errors import DriftmapError
from driftmap.montecarlo.cloud import Cloud
from driftmap.planning.span import everywhere, strictest
from driftmap.planning.supposed import Supposition, suppose
from driftmap.planning.sweep import Once
from driftmap.planning.trial import FINDINGS, NOT_KNOWN, Trial, flown, judged, unpack
from driftmap.verdict.assessment import Setup
from driftmap.verdict.check import decide

__all__ = ["Flights", "Sector", "flights_of", "forget_flights", "worst"]

_KEPT: Final = 12  # clouds at the least; those of neighbouring speeds serve twice
_MOST_KEPT: Final = 100_000  # flights; some 200 MB of them
_SAME: Final = 9  # decimals of a degree to which two ways are one


class Flights:
    """What a sweep flies and judges: each wind once, for all parts of one process.

    Parameters
    ----------
    packed : bytes
        What is flown, and where, from `driftmap.planning.trial.pack`.
    supposition : Supposition
        How the wind grows and turns with height.
    """

    def __init__(self, packed: bytes, supposition: Supposition) -> None:
        self.supposition = supposition
        self._packed, self._own = packed, local()
        kept = max(_KEPT, _MOST_KEPT // self.setup.samples)
        self._cloud = Once(self._flown, kept)
        self._trial = Once(self._judged, None)

    @property
    def setup(self) -> Setup:
        """A copy for each thread: geometries are prepared on first use."""
        if not hasattr(self._own, "setup"):
            self._own.setup = unpack(self._packed)
        setup: Setup = self._own.setup
        return setup

    def cloud(self, speed: float, way: float) -> Cloud:
        """Fly a wind.

        ``speed``: speed at 10 m [m s⁻¹]; ``way``: direction it comes from [deg].
        """
        if self.setup.flight.rail.follows_wind:
            # From everywhere the same, but for a turn.
            return self._cloud(speed, 0.0).turned(math.radians(way % 360))
        return self._cloud(speed, _same(way))

    def trial(self, speed: float, way: float) -> Trial:
        """Judge a wind."""
        return self._trial(speed, _same(way))

    def _flown(self, speed: float, way: float) -> Cloud:
        return flown(self.setup, suppose(self.supposition, way, speed))

    def _judged(self, speed: float, way: float) -> Trial:
        wind = suppose(self.supposition, way, speed)
        try:
            return judged(self.cloud(speed, way), self.setup, wind)
        except (DriftmapError, ValueError) as problem:
            return Trial(NOT_KNOWN, problem=" ".join(str(problem).split()))


def _same(way: float) -> float:
    return round(way % 360, _SAME) % 360


def flights_of(packed: bytes, supposition: Supposition) -> Flights:
    """Give the flights that all parts of a sweep share in one process.

    Result: the same for the same, until others are asked for.
    """
    return _shared(pickle.dumps((packed, supposition)))


@lru_cache(1)
def _shared(key: bytes) -> Flights:
    return Flights(*pickle.loads(key))


def forget_flights() -> None:
    """Let go of the flights shared last, at the end of a sweep."""
    _shared.cache_clear()


class Sector:
    """Winds from about a direction, flown as they are asked for.

    Parameters
    ----------
    flights : Flights
        What is flown; sectors that share it share the winds on their sides.
    from_deg : float
        Direction its middle comes from, clockwise from true north [deg].
    half : float
        From there to its sides [deg]; 0 for the one direction.
    """

    def __init__(self, flights: Flights, from_deg: float, half: float) -> None:
        self.flights, self.from_deg, self.half = flights, from_deg, half

    def at(self, speed: float) -> Trial:
        """Judge a speed.

        ``speed``: speed at 10 m [m s⁻¹].

        Result: that of the worse side of the sector.
        """
        return worst(self.flights.trial(speed, way) for way in self._sides())

    def between(self, low: float, high: float) -> Trial:
        """Judge all winds of the sector from one speed to another at once.

        ``low`` and ``high``: speeds at 10 m [m s⁻¹].

        Result: no milder than that of any wind among them; "not known" where a flight
        cannot be flown.
        """
        fly, middle, ways = self.flights, (low + high) / 2, self._sides()
        rim = [fly.trial(v, way) for v in (low, high) for way in ways]
        every = [*rim, fly.trial(middle, self.from_deg)]
        if (most := worst(every)).verdict in {"no-go", NOT_KNOWN}:
            return most  # nothing can be worse
        try:
            left, right = ways[0], ways[-1]
            slow, fast = (
                (fly.cloud(v, left), fly.cloud(v, right)) for v in (low, high)
            )
            net = everywhere((slow, fast), fly.cloud(middle, self.from_deg))
            wind = suppose(fly.supposition, self.from_deg, high)
            checks = strictest(fly.setup, net, wind, [t.checks for t in every])
        except (DriftmapError, ValueError) as problem:
            return Trial(NOT_KNOWN, problem=" ".join(str(problem).split()))
        return Trial(decide(c for c in checks if not c.question), checks)

    def _sides(self) -> tuple[float, ...]:
        at, half = self.from_deg, self.half
        return (at - half, at + half) if half else (at,)


def worst(trials: Iterable[Trial]) -> Trial:
    """Pick the trial that speaks most against a go."""
    return max(trials, key=lambda trial: FINDINGS.index(trial.verdict))
