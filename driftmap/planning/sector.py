"""A sector of the compass: the verdict that holds in every wind of it up to a speed."""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import lru_cache

from driftmap.errors import DriftmapError
from driftmap.montecarlo.cloud import Cloud
from driftmap.planning.span import everywhere, strictest
from driftmap.planning.supposed import Supposition, suppose
from driftmap.planning.trial import FINDINGS, NOT_KNOWN, Trial, flown, judged
from driftmap.verdict.assessment import Setup
from driftmap.verdict.check import decide

__all__ = ["Sector", "worst"]

_KEPT = 12  # clouds; those of neighbouring speeds serve twice


class Sector:
    """Winds from about a direction, flown as they are asked for.

    Parameters
    ----------
    setup : Setup
        What is flown, and where.
    supposition : Supposition
        How the wind grows and turns with height.
    from_deg : float
        Direction its middle comes from, clockwise from true north [deg].
    half : float
        From there to its sides [deg]; 0 for the one direction.
    """

    def __init__(
        self, setup: Setup, supposition: Supposition, from_deg: float, half: float
    ) -> None:
        self.setup, self.supposition = setup, supposition
        self.from_deg, self.half = from_deg, half
        self._north = lru_cache(_KEPT)(
            lambda speed: flown(setup, suppose(supposition, 0.0, speed))
        )
        self._fly = lru_cache(_KEPT)(self._flown)
        self._trial = lru_cache(None)(self._judged)

    def at(self, speed: float) -> Trial:
        """Judge a speed.

        Parameters
        ----------
        speed : float
            Speed at 10 m [m s⁻¹].

        Returns
        -------
        Trial
            That of the worse side of the sector.
        """
        return worst(self._trial(speed, side) for side in self._sides())

    def between(self, low: float, high: float) -> Trial:
        """Judge all winds of the sector from one speed to another at once.

        Parameters
        ----------
        low, high : float
            Speeds at 10 m [m s⁻¹].

        Returns
        -------
        Trial
            No milder than that of any wind among them; "not known" where a flight cannot
            be flown.
        """
        middle = (low + high) / 2
        rim = [self._trial(v, side) for v in (low, high) for side in self._sides()]
        every = [*rim, self._trial(middle, 0.0)]
        lost = next((t for t in every if t.verdict == NOT_KNOWN), None)
        if lost is not None:
            return lost
        try:
            left, right = self._sides()[0], self._sides()[-1]
            slow, fast = (
                (self._fly(v, left), self._fly(v, right)) for v in (low, high)
            )
            net = everywhere((slow, fast), self._fly(middle, 0.0))
            wind = suppose(self.supposition, self.from_deg, high)
            checks = strictest(self.setup, net, wind, [t.checks for t in every])
        except (DriftmapError, ValueError) as problem:
            return Trial(NOT_KNOWN, problem=" ".join(str(problem).split()))
        return Trial(decide(c for c in checks if not c.question), checks)

    def _sides(self) -> tuple[float, ...]:
        return (-self.half, self.half) if self.half else (0.0,)

    def _flown(self, speed: float, side: float) -> Cloud:
        way = self.from_deg + side
        if not self.setup.flight.rail.follows_wind:
            return flown(self.setup, suppose(self.supposition, way, speed))
        # From everywhere the same, but for a turn.
        return self._north(speed).turned(math.radians(way))

    def _judged(self, speed: float, side: float) -> Trial:
        wind = suppose(self.supposition, self.from_deg + side, speed)
        try:
            return judged(self._fly(speed, side), self.setup, wind)
        except (DriftmapError, ValueError) as problem:
            return Trial(NOT_KNOWN, problem=" ".join(str(problem).split()))


def worst(trials: Iterable[Trial]) -> Trial:
    """Pick the trial that speaks most against a go.

    Parameters
    ----------
    trials : iterable of Trial
        One or more.

    Returns
    -------
    Trial
        One of them.
    """
    return max(trials, key=lambda trial: FINDINGS.index(trial.verdict))
