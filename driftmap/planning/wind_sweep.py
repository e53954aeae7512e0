"""The winds of a plan, each flown once for all parts of it, and sectors of them judged as one."""

from __future__ import annotations

import bisect
import math
import os
import pickle
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import BrokenExecutor, Executor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache, partial
from multiprocessing import parent_process
from threading import local
from typing import Final, TypeAlias

from driftmap.air.wind import WindProfile
from driftmap.core.errors import DriftmapError
from driftmap.core.pools import is_alone, processes
from driftmap.ground.areas import Site
from driftmap.hazard.exposure import Danger, danger_of
from driftmap.hazard.outlines import Lines
from driftmap.montecarlo.cloud import Cloud
from driftmap.planning.assumed_winds import Supposition, Wind, suppose
from driftmap.planning.dial_node import Landing, PieceKey, landings_of
from driftmap.planning.envelope import (
    Net,
    everywhere,
    turned_lines,
    winds_of_span,
)
from driftmap.planning.span_verdict import alike, strictest_of_span
from driftmap.planning.subdivision import most_cells, settled_spans
from driftmap.planning.sweep import Once
from driftmap.planning.trial import (
    FINDINGS,
    NOT_KNOWN,
    Trial,
    judged,
    pack,
    unknown_trial,
    unpack,
)
from driftmap.verdict.check import Check, Verdict, decide_ahead
from driftmap.verdict.consequence_checks import lines_of
from driftmap.verdict.setup import Setup, as_if_read, flown, if_read, in_others

Landings: TypeAlias = tuple[Mapping[str, float], Mapping[PieceKey, Landing]]
"""Likelihood of each case, and how each piece comes down."""

_KEPT: Final = 9  # clouds at the least: those of a span and of what is next to it
_MOST_KEPT: Final = 100_000  # flights; some 200 MB of them
_ON: Final = 1e-6  # of a sector: this near, it is one of a round
_SAME: Final = 9  # decimals of a degree to which two ways are one


@dataclass(frozen=True, slots=True, eq=False)
class FlownWind:
    """The flights in a wind, and what a verdict on them asks for anywhere."""

    cloud: Cloud
    lines: Lines
    danger: Danger

    def turned(self, angle: float) -> FlownWind:
        """Turn everything as a wind from north turns to another direction."""
        danger = replace(self.danger, angle=self.danger.angle + angle)
        lines = turned_lines(self.lines, angle)
        return FlownWind(self.cloud.turned(angle), lines, danger)


class Flights:
    """What a sweep flies and judges: each wind once, for all parts of one process.

    Parameters
    ----------
    packed : bytes
        What is flown, and where, from `driftmap.planning.trial.pack`.
    supposition : Supposition
        How the wind grows and turns with height.
    speeds : tuple of float
        Speeds, by size, that spans begin and end with [m s⁻¹].
    draws : bool
        Whether landings are drawn of every wind, beside the verdicts.
    read : bool
        Whether each wind is flown as if it had just been read, and no other beside it.
    """

    def __init__(
        self,
        packed: bytes,
        supposition: Supposition,
        speeds: tuple[float, ...],
        draws: bool = False,
        read: bool = False,
    ) -> None:
        self.supposition, self.speeds, self.read = supposition, speeds, read
        self._packed, self._own, self._draws = packed, local(), draws
        kept = max(_KEPT, _MOST_KEPT // self.setup.samples)
        self._cloud = Once(self._flown, kept)
        self._trial = Once(self._judged, None)
        self._net = Once(self._everywhere, 2)
        self._whole = Once(self._about, None)
        self._drawn: dict[Wind, Landings] = {}
        self.forks: Executor | None = None

    @property
    def setup(self) -> Setup:
        """A copy for each thread: geometries are prepared on first use."""
        if not hasattr(self._own, "setup"):
            self._own.setup = unpack(self._packed)
        setup: Setup = self._own.setup
        return setup

    def air(self, speed: float, way: float) -> WindProfile:
        """Suppose a wind, by its speed [m s⁻¹] and the direction it comes from [deg]."""
        wind = suppose(self.supposition, way, speed)
        return as_if_read(wind) if self.read else wind

    @cached_property
    def as_read(self) -> Flights:
        """A few flights of the same in the same winds as if they had just been read."""
        few = pack(self.setup.with_few())
        return Flights(few, self.supposition, self.speeds, read=True)

    def _turned_to(self, speed: float, way: float) -> tuple[Wind, float]:
        """Say which wind is flown in place of one, and how it is turned."""
        if self.setup.flight.rail.follows_wind:
            # From everywhere the same, but for a turn.
            return Wind(speed, 0.0), math.radians(way % 360)
        # In a calm nothing knows where the wind comes from.
        return Wind(speed, _same(way) if speed else 0.0), 0.0

    def flown(self, speed: float, way: float) -> FlownWind:
        """Fly a wind."""
        wind, angle = self._turned_to(speed, way)
        found = self._cloud(*wind)
        return found.turned(angle) if angle else found

    def trial(self, speed: float, way: float) -> Trial:
        """Judge a wind."""
        return self._trial(*self._judged_as(speed, way))

    def _judged_as(self, speed: float, way: float) -> Wind:
        """Say which wind is judged in place of one: of a calm that nothing turns, one for all."""
        wind, angle = self._turned_to(speed, way)
        return Wind(speed, _same(way)) if angle else wind

    def drawn(self, speed: float, way: float) -> Landings:
        """Return the landings drawn of a wind that was judged; none if it was not flown."""
        wind, angle = self._turned_to(speed, way)
        likely, landings = self._drawn.get(wind, ({}, {}))
        return likely, {key: one.turned(angle) for key, one in landings.items()}

    def _flown(self, speed: float, way: float) -> FlownWind:
        wind = Wind(speed, way)
        found: FlownWind
        if self.forks is None or parent_process() is not None:
            found, self._drawn[wind] = self.fly(wind)
            return found
        asked = self._packed, self.supposition, self._draws, wind
        try:
            done = self.forks.submit(_fly, *asked).result()
        except BrokenExecutor:  # killed by a system that is short of memory
            self.forks = None
            return self._flown(speed, way)
        found, self._drawn[wind] = unpack(done)
        return found

    def fly(self, wind: Wind) -> tuple[FlownWind, Landings]:
        """Fly a wind here and now, whoever may have flown it."""
        cloud = flown(self.setup, self.air(*wind))
        landings, lines = landings_of(cloud) if self._draws else ({}, lines_of(cloud))
        likely = {case.name: case.probability for case in cloud.tree.cases}
        return FlownWind(cloud, lines, danger_of(cloud)), (likely, landings)

    def _judged(self, speed: float, way: float) -> Trial:
        try:
            return self.judged_at(self.setup.site, speed, way)
        except (DriftmapError, ValueError) as problem:
            return unknown_trial(problem)

    def judged_at(self, site: Site, speed: float, way: float) -> Trial:
        """Judge a wind, flown once or as the turn of another, at any site."""
        done, wind = self.flown(speed, way), self.air(speed, way)
        here = replace(self.setup, site=site)
        found = judged(done.cloud, here, wind, lines=done.lines, danger=done.danger)
        checks = found.checks
        # A dial says to look aloft wherever more is told of it.
        if not (self._draws or self.read):
            checks = (*checks, *in_others(here, wind, checks))

        def as_read() -> tuple[Check, ...]:
            return self.as_read.judged_at(site, speed, way).checks

        checks = (*checks, *if_read(wind, checks, as_read))
        return replace(found, verdict=decide_ahead(checks), checks=checks)

    def ready(self, winds: Iterable[Wind]) -> bytes:
        """Fly and judge winds that share their flights, for `take` of another process."""
        trials = {wind: self.trial(*wind) for wind in winds}
        flown = {self._turned_to(*wind)[0] for wind in trials}
        # Where all is no-go nobody asks for the flights again.
        more = any(
            trial.verdict not in {"no-go", NOT_KNOWN} for trial in trials.values()
        )
        clouds = {wind: self._cloud(*wind) for wind in flown if more}
        drawn = {wind: self._drawn[wind] for wind in flown & self._drawn.keys()}
        return pack((trials, drawn, clouds))

    def take(self, ready: bytes) -> None:
        """Take over what was flown and judged elsewhere."""
        trials, drawn, clouds = unpack(ready)
        self._drawn |= drawn
        for wind, trial in trials.items():
            self._trial.put(trial, *self._judged_as(*wind))
        for wind, cloud in clouds.items():
            self._cloud.put(cloud, *wind)

    def rim(self, low: float, high: float, left: float, right: float) -> list[Trial]:
        """Judge the corners and the middle of a span."""
        return [self.trial(*wind) for wind in winds_of_span(low, high, left, right)]

    def strictest(
        self, low: float, high: float, left: float, right: float
    ) -> tuple[Check, ...]:
        """Judge all winds of a span at once, those of `rim` among them."""
        checks = [trial.checks for trial in self.rim(low, high, left, right)]
        way, half = (left + right) / 2, (right - left) / 2
        if self.setup.flight.rail.follows_wind:
            net = self._net(low, high, -half, half).turned(math.radians(way))
        else:
            net = self._net(low, high, left, right)
        strongest = self.air(high, way)
        found = strictest_of_span(self.setup, net, strongest, checks)
        span = low, high, left, right
        return (
            *found,
            *if_read(strongest, found, lambda: self.as_read.strictest(*span)),
        )

    def _everywhere(self, low: float, high: float, left: float, right: float) -> Net:
        five = [self.flown(*wind) for wind in winds_of_span(low, high, left, right)]
        half = math.radians(right - left) / 2
        return everywhere([f.cloud for f in five], [f.lines for f in five], half)

    def alike(
        self,
        span: tuple[float, float, float, float],
        verdict: Callable[[Iterable[Check]], Verdict],
        edges: Iterable[tuple[int, int]] = (),
    ) -> tuple[Check, ...] | None:
        """Return the checks of a span that has one verdict all over; None where not known."""
        every = self.rim(*span)
        whole = partial(self.strictest, *span)
        try:
            checks = alike([trial.checks for trial in every], whole, verdict, edges)
        except (DriftmapError, ValueError):
            return None
        return None if any(trial.problem for trial in every) else checks

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
        found = settled_spans([cell], size, most, lambda span: self._whole(*span, half))
        return found.get(cell)

    def _about(
        self, i: int, up: int, j: int, on: int, half: float
    ) -> Trial | tuple[str, ...]:
        low, high = self.speeds[i], self.speeds[up]
        left, right = ((2 * n - 1) * half for n in (j, on))
        *corners, _ = winds_of_span(low, high, left, right)
        words = tuple(self.trial(*wind).verdict for wind in corners)
        if set(words) not in ({"go"}, {"no-go"}):
            return words  # nothing is gained by a middle, or by a net of what holds
        found = self.alike((low, high, left, right), decide_ahead)
        return words if found is None else Trial(decide_ahead(found), found)


def _same(way: float) -> float:
    return round(way % 360, _SAME) % 360


def flights_of(
    packed: bytes,
    supposition: Supposition,
    speeds: tuple[float, ...],
    draws: bool = False,
) -> Flights:
    """Return the flights that all parts of a sweep share in one process.

    Result: the same for the same, until others are asked for.
    """
    return _shared(pickle.dumps((packed, supposition, speeds, draws)))


@lru_cache(5)  # those by several suns may be worked on at once
def _shared(key: bytes) -> Flights:
    return Flights(*pickle.loads(key))


def _fly(packed: bytes, supposition: Supposition, draws: bool, wind: Wind) -> bytes:
    return pack(flights_of(packed, supposition, (), draws).fly(wind))


@contextmanager
def in_forks(every: Sequence[Flights]) -> Iterator[None]:
    """Fly in forks of this process, which threads about to begin would not let fly as fast.

    Where other threads run already, these fly as well as judge.
    """
    if not is_alone():
        yield
        return
    with processes(os.cpu_count() or 1) as forks:
        forks.submit(int).result()  # made now: forks of threads would copy their locks
        for flights in every:
            flights.forks = forks
        try:
            yield
        finally:
            for flights in every:
                flights.forks = None


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
            checks = fly.strictest(*span)
        except (DriftmapError, ValueError) as problem:
            return unknown_trial(problem)
        return Trial(decide_ahead(checks), checks)


def worst(trials: Iterable[Trial]) -> Trial:
    """Pick the trial that speaks most against a go."""
    return max(trials, key=lambda trial: FINDINGS.index(trial.verdict))
