"""A sector of the compass: the verdict that holds in every wind of it up to a speed.

Where one verdict holds over a wider span, that is judged as one and no wind in it is flown.
"""

from __future__ import annotations

import bisect
import math
import pickle
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache, partial
from threading import local
from typing import Final, TypeAlias, TypeVar

from driftmap.core.errors import DriftmapError
from driftmap.montecarlo.cloud import Cloud
from driftmap.planning.net import everywhere
from driftmap.planning.span import alike, strictest
from driftmap.planning.supposed import Supposition, suppose
from driftmap.planning.sweep import Once
from driftmap.planning.trial import (
    FINDINGS,
    NOT_KNOWN,
    Trial,
    judged,
    not_known,
    unpack,
)
from driftmap.verdict.assessment import Setup, flown
from driftmap.verdict.check import Check, Verdict, decide

__all__ = [
    "Flights",
    "Sector",
    "Span",
    "flights_of",
    "forget_flights",
    "most_cells",
    "settled",
    "worst",
]

T = TypeVar("T")

Span: TypeAlias = tuple[int, int, int, int]
"""Cells of a grid of winds: from one speed to another, and from one direction to another."""

_KEPT: Final = 12  # clouds at the least; those of neighbouring speeds serve twice
_MOST_KEPT: Final = 100_000  # flights; some 200 MB of them
_ON: Final = 1e-6  # of a sector: this near, it is one of a round
_SAME: Final = 9  # decimals of a degree to which two ways are one
_WIDE: Final = 45.0  # deg; widest span that is judged as one
_HIGH: Final = 5.0  # m/s; from its slow end to its fast one


def most_cells(size: tuple[int, int], step: float, turn: float) -> tuple[int, int]:
    """Say how many speeds and directions the widest span holds; one cell where cells are wide.

    ``size``: of the grid; ``step`` and ``turn``: of a cell [m s⁻¹] [deg].
    """
    if turn > _WIDE or step > _HIGH:
        return 1, 1
    rows = math.ceil(size[0] / math.ceil(size[0] * step / _HIGH))
    return rows, int(_WIDE / turn + 1e-9)


def settled(
    cell: Span,
    size: tuple[int, int],
    most: tuple[int, int],
    judge: Callable[[Span], T | Sequence[str]],
) -> T | None:
    """Find the widest span about some cells of which one thing can be told.

    ``cell``: what it must hold; ``size``: of the grid; ``most``: from `most_cells`;
    ``judge``: what can be told of a span, or the words in its four corners.

    Result: that; None where only the cell itself can be judged. Spans are cut in two the
    way that words change.
    """
    wanted = cell[:2], cell[2:]
    (i, up), (j, on) = (
        (at // wide * wide, min(at // wide * wide + wide, end))
        for (at, _), end, wide in zip(wanted, size, most, strict=True)
    )
    while (i, up, j, on) != cell and up >= cell[1] and on >= cell[3]:
        found = judge((i, up, j, on))
        if not isinstance(found, Sequence):
            return found
        a, b, c, d = found
        rows = not (a == c and b == d and on - j > 1)
        columns = not (a == b and c == d and up - i > 1)
        if rows or not columns:  # all four alike: the speed is what most hangs on
            i, up = _half(i, up, cell[0])
        if columns:
            j, on = _half(j, on, cell[2])
    return None


def _half(low: int, high: int, at: int) -> tuple[int, int]:
    # In powers of two, so that a span's middle lies on the ends of the next.
    middle = low + 2 ** ((high - low - 1).bit_length() - 1) if high - low > 1 else high
    return (low, middle) if at < middle else (middle, high)


class Flights:
    """What a sweep flies and judges: each wind once, for all parts of one process.

    Parameters
    ----------
    packed : bytes
        What is flown, and where, from `driftmap.planning.trial.pack`.
    supposition : Supposition
        How the wind grows and turns with height.
    speeds : tuple of float
        Speeds at 10 m, by size, that spans begin and end with [m s⁻¹].
    """

    def __init__(
        self, packed: bytes, supposition: Supposition, speeds: tuple[float, ...]
    ) -> None:
        self.supposition, self.speeds = supposition, speeds
        self._packed, self._own = packed, local()
        kept = max(_KEPT, _MOST_KEPT // self.setup.samples)
        self._cloud = Once(self._flown, kept)
        self._trial = Once(self._judged, None)
        self._whole = Once(self._alike, None)

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
            return not_known(problem)

    def about(self, low: float, high: float, way: float, half: float) -> Trial | None:
        """Judge the widest span about a sector and speeds that has one verdict all over.

        Result: no milder than that of any wind of the span; None where only the sector
        itself can be judged.
        """
        columns, column = 180 / half if half else 0.0, way % 360 / (2 * half or 1.0)
        rows, at = len(self.speeds) - 1, round(column)
        odd = max(abs(n - round(n)) for n in (columns, column))
        if odd > _ON or not (columns and rows > 0):
            return None
        row = min(max(bisect.bisect_right(self.speeds, low) - 1, 0), rows - 1)
        top = max(bisect.bisect_left(self.speeds, high), row + 1)
        size = rows, round(columns)
        step = (self.speeds[-1] - self.speeds[0]) / rows
        most, at = most_cells(size, step, 2 * half), at % size[1]
        cell = row, top, at, at + 1
        return settled(cell, size, most, lambda span: self._whole(*span, half))

    def _alike(
        self, i: int, up: int, j: int, on: int, half: float
    ) -> Trial | tuple[str, ...]:
        low, high = self.speeds[i], self.speeds[up]
        left, right = ((2 * n - 1) * half for n in (j, on))
        corners = [self.trial(v, way) for v in (low, high) for way in (left, right)]
        words = tuple(trial.verdict for trial in corners)
        if set(words) not in ({"go"}, {"no-go"}):
            return words  # nothing is gained by a middle, or by a net of what holds
        every = self.rim(low, high, left, right)
        checks = [trial.checks for trial in every]
        whole = partial(self.strictest, low, high, left, right, checks)
        try:
            found = alike(checks, whole, _verdict)
        except (DriftmapError, ValueError):
            found = None
        return words if found is None else Trial(_verdict(found), found)

    def rim(self, low: float, high: float, left: float, right: float) -> list[Trial]:
        """Judge the corners and the middle of a span."""
        ways = dict.fromkeys((left, right))
        corners = [self.trial(v, way) for v in (low, high) for way in ways]
        return [*corners, self.trial((low + high) / 2, (left + right) / 2)]

    def strictest(
        self,
        low: float,
        high: float,
        left: float,
        right: float,
        flown_there: list[tuple[Check, ...]],
    ) -> tuple[Check, ...]:
        """Judge all winds of a span at once, those of `rim` among them."""
        way = (left + right) / 2
        slow, fast = ((self.cloud(v, left), self.cloud(v, right)) for v in (low, high))
        middle = self.cloud((low + high) / 2, way)
        net = everywhere((slow, fast), middle, math.radians(right - left) / 2)
        wind = suppose(self.supposition, way, high)
        return strictest(self.setup, net, wind, flown_there)


def _verdict(checks: Iterable[Check]) -> Verdict:
    """Decide but for open questions."""
    return decide(c for c in checks if not c.question)


def _same(way: float) -> float:
    return round(way % 360, _SAME) % 360


def flights_of(
    packed: bytes, supposition: Supposition, speeds: tuple[float, ...]
) -> Flights:
    """Give the flights that all parts of a sweep share in one process.

    Result: the same for the same, until others are asked for.
    """
    return _shared(pickle.dumps((packed, supposition, speeds)))


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

        Result: that of the worse side of the sector, or of a wider span with one verdict.
        """
        wide = self.flights.about(speed, speed, self.from_deg, self.half)
        return wide or worst(
            self.flights.trial(speed, self.from_deg + side)
            for side in dict.fromkeys((-self.half, self.half))
        )

    def between(self, low: float, high: float) -> Trial:
        """Judge all winds of the sector from one speed to another at once.

        ``low`` and ``high``: speeds at 10 m [m s⁻¹].

        Result: no milder than that of any wind among them; "not known" where a flight
        cannot be flown.
        """
        fly, at, half = self.flights, self.from_deg, self.half
        if (wide := fly.about(low, high, at, half)) is not None:
            return wide
        span = low, high, at - half, at + half
        every = fly.rim(*span)
        if (most := worst(every)).verdict in {"no-go", NOT_KNOWN}:
            return most  # nothing can be worse
        try:
            checks = fly.strictest(*span, [t.checks for t in every])
        except (DriftmapError, ValueError) as problem:
            return not_known(problem)
        return Trial(_verdict(checks), checks)


def worst(trials: Iterable[Trial]) -> Trial:
    """Pick the trial that speaks most against a go."""
    return max(trials, key=lambda trial: FINDINGS.index(trial.verdict))
