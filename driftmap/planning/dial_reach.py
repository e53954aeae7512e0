"""The winds that a dial is worked out for: speeds and directions, and the cells between."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Final

from driftmap.planning.assumed_winds import Wind

_MOST: Final = 40.0  # m/s; no one flies, and the law of the surface layer is no guide


@dataclass(frozen=True, slots=True)
class Reach:
    """The winds that a dial is worked out for: calm, and every step up to the top.

    Parameters
    ----------
    top : float
        Strongest wind at the meter [m s⁻¹].
    speeds : int
        Steps from calm to the top.
    directions : int
        Directions, evenly about the compass from north.
    gust : float
        Strongest gusts for each of the speed; 1 for a steady wind.

    Raises
    ------
    ValueError
        If there is nothing to step through.
    """

    top: float
    speeds: int = 10
    directions: int = 36
    gust: float = 1.0

    def __post_init__(self) -> None:
        if not 0.5 <= self.top <= _MOST:
            raise ValueError(f"'top' must lie in 0.5 to {_MOST:g} m/s (got {self.top})")
        if not 1.0 <= self.gust <= 5.0:
            raise ValueError(f"'gust' must lie in 1 to 5 times (got {self.gust:g})")
        if self.speeds < 1 or self.directions < 4:
            raise ValueError("a dial needs one speed and four directions or more")

    @property
    def step(self) -> float:
        """From one speed to the next [m s⁻¹]."""
        return self.top / self.speeds

    @property
    def turn(self) -> float:
        """From one direction to the next [deg]."""
        return 360.0 / self.directions

    def winds(self) -> list[Wind]:
        """Return the winds in their order: calm, then speed by speed all directions."""
        around = [j * self.turn for j in range(self.directions)]
        speeds = [i * self.step for i in range(1, self.speeds + 1)]
        return [
            Wind(0.0, 0.0),
            *itertools.starmap(Wind, itertools.product(speeds, around)),
        ]

    def cells(self) -> list[tuple[int, int]]:
        """List the cells between four winds, speed by speed.

        Result: number of the speed below and of the direction to the left.
        """
        return list(itertools.product(range(self.speeds), range(self.directions)))

    def place(self, i: int, j: int) -> int:
        """Find a wind of the dial in `winds`.

        ``i`` and ``j``: number of the speed, 0 for a calm, and of the direction.
        """
        return 0 if i == 0 else 1 + (i - 1) * self.directions + j % self.directions

    def wind(self, i: float, j: float) -> Wind:
        """Return the wind at a place of the dial; halves lie between its winds.

        ``i`` and ``j``: number of the speed, 0 for a calm, and of the direction.
        """
        return Wind(i * self.step, (j * self.turn) % 360)
