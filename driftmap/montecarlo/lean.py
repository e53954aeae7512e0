"""The part of the wind's error that carries a fall farthest: noted, or given a value."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.air.column import column_heights
from driftmap.air.wind import WindProfile
from driftmap.air.winderror import error_modes
from driftmap.core.checks import FloatArray, Kept
from driftmap.montecarlo.launch import Plan


@dataclass(frozen=True, slots=True, eq=False)
class Steered:
    """Flights whose wind is leaned in place of drawn, or of which only some are flown.

    Parameters
    ----------
    lean : ndarray, shape (2, n), or None
        What each flight has, in place of standard normal numbers, of the part of the
        wind's error east and north that carries a fall farthest: its inputs ``"lean
        east"`` and ``"lean north"``; None for plain draws.
    only : collection of str, optional
        Cases to fly, none for the way up alone; all when left out. Their flights are the
        same either way.
    worth : callable, optional
        Gives the chance that each flight is flown at all by its inputs drawn, wind and
        glide among them. One that is flown must be weighed by one over it.
    """

    lean: FloatArray | None = None
    only: Collection[str] | None = None
    worth: Callable[[Mapping[str, Kept]], FloatArray] | None = None

    def flies(self, case: str) -> bool:
        """Return whether a case is to be flown."""
        return self.only is None or case in self.only

    def of(self, flights: slice) -> Steered:
        """Return what some of the flights have."""
        lean = None if self.lean is None else self.lean[:, flights]
        return replace(self, lean=lean)


PLAIN: Final = Steered()
"""Nothing is leaned, and everything flown."""


class Lean:
    """The part of the wind's error that carries a fall farthest, noted or steered.

    Parameters
    ----------
    wind : WindProfile
        The wind as known, with its error.
    plan : Plan
        Gives the heights that a column of air has, and apogee.
    wanted : ndarray, shape (2, n), or None
        What each flight is to have of it, east and north; None notes what was drawn.

    Attributes
    ----------
    along : ndarray, shape (2, n)
        What each flight has of it, once called.
    size : ndarray, shape (n,)
        How large the wind's error of each flight is for what it has of it.
    """

    def __init__(
        self, wind: WindProfile, plan: Plan, wanted: FloatArray | None
    ) -> None:
        heights = column_heights(wind, plan.top)
        modes = error_modes(wind, heights)
        self._direction = drift_direction(heights, modes, plan.apogee)
        self._wanted = wanted
        self.along, self.size = np.zeros((2, 0)), np.zeros(0)

    def __call__(self, noise: FloatArray, size: FloatArray) -> FloatArray:
        """Note or change the numbers that make the wind's error.

        ``noise``, shape (2, r, n): standard normal numbers, and ``size``, shape (n,), what
        they are multiplied by, as in `driftmap.air.winderror.draw_wind`.

        Result: the numbers to use, shape (2, r, n).
        """
        self.size = size
        if self._wanted is None or not np.any(self._direction):
            self.along = np.einsum("k,ckn->cn", self._direction, noise)
            return noise
        self.along = self._wanted
        steered = [
            steer(part, self._direction, wanted)
            for part, wanted in zip(noise, self.along, strict=True)
        ]
        return np.stack(steered)


def drift_direction(heights: ArrayLike, modes: ArrayLike, top: float) -> FloatArray:
    """Return the pattern of wind errors by height that carries a falling body farthest.

    ``heights``, shape (k,): heights at which the wind's error is drawn, increasing [m];
    ``modes``, shape (k, r): patterns of that error, from
    `driftmap.air.winderror.error_modes` [m s⁻¹]; ``top``: height the body falls from [m].

    Result: unit vector in the standard normal numbers that make the errors; zeros where
    the wind has no error, shape (r,).
    """
    z = np.asarray(heights, float)
    below = np.minimum(z, top)
    depth = np.zeros_like(z)  # each level stands for half the layers beside it
    depth[:-1] += np.diff(below) / 2
    depth[1:] += np.diff(below) / 2
    pull = depth @ np.asarray(modes, float)
    size = np.linalg.norm(pull)
    return np.asarray(pull / size if size > 0 else pull)


def steer(noise: ArrayLike, direction: ArrayLike, along: ArrayLike) -> FloatArray:
    """Give standard normal numbers a wanted component along a direction.

    ``noise``, shape (k, n): standard normal numbers of ``n`` flights; ``direction``,
    shape (k,): unit vector; ``along``, shape (n,): wanted component of each flight,
    such as one column of what `Mixture.draw` gives.

    Result: the numbers, unchanged across the direction, shape (k, n).
    """
    x, a = np.asarray(noise, float), np.asarray(direction, float)
    return np.asarray(x + np.outer(a, np.asarray(along, float) - a @ x))
