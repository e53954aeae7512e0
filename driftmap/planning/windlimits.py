"""Wind limits: for every sector of the compass the winds in which the verdict is go."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np

from driftmap.planning.assumed_winds import Supposition
from driftmap.planning.sweep import LostPart, Workers, sweep
from driftmap.planning.trial import NOT_KNOWN, Finding, Held, Trial, pack
from driftmap.planning.wind_sweep import (
    Sector,
    flights_of,
    forget_flights,
    in_forks,
    worst,
)
from driftmap.verdict.check import Kind
from driftmap.verdict.limits import read_limits
from driftmap.verdict.rule_checks import rule_limit
from driftmap.verdict.setup import Setup

HIGHEST: Final = 25.0
"""Strongest wind at 10 m that is tried, whatever limit is set [m s⁻¹]."""

TOLERANCE: Final = 0.1
"""Width to which a limit is narrowed down [m s⁻¹]."""

_WIDEST: Final = 30.0
"""Most that a sector reaches to either side [deg]."""

LIGHTEST: Final = 0.1
"""Speed the scan begins with [m s⁻¹]: as good as a calm, yet a rail that is aimed into the
wind leans to where it comes from."""


@dataclass(frozen=True, slots=True)
class DirectionLimit:
    """The winds of a sector in which the verdict is go.

    Parameters
    ----------
    from_deg : float
        Direction its middle comes from, clockwise from true north [deg].
    go : tuple of (float, float)
        Spans of speed at 10 m that are go in every wind of the sector, lowest first
        [m s⁻¹].
    held_by : Check or str
        What speaks most against a go just above `go_below`.
    tried : tuple of (float, str)
        Every speed flown [m s⁻¹] with its finding, by speed.
    problem : str
        Why nothing is known of this direction.
    """

    from_deg: float
    go: tuple[tuple[float, float], ...]
    held_by: Held
    tried: tuple[tuple[float, Finding], ...]
    problem: str = ""

    @property
    def go_below(self) -> float | None:
        """Strongest wind up to which every wind, from the lightest, is go [m s⁻¹].

        0 where the lightest air is not go; None where nothing is known.
        """
        if self.problem:
            return None
        return self.go[0][1] if self.go and self.from_lightest(self.go[0]) else 0.0

    def from_lightest(self, span: tuple[float, float]) -> bool:
        """Return whether a span of `go` begins at the lightest air tried.

        Result: whether no lighter wind is known not to be go.
        """
        return span[0] == self.tried[0][0]


def scan_speeds(setup: Setup, steps: int) -> tuple[float, ...]:
    """Choose the speeds that every direction is first tried at.

    ``setup``: its limit on the surface wind is the last speed but one; the last is
    beyond it; ``steps``: number of steps from the lightest air to that limit.

    Result: speeds at 10 m, `LIGHTEST` first [m s⁻¹].
    """
    limit = wind_allowed(setup)
    # A hair below the limit, which a wind made from components might pass by rounding.
    top = max(min(limit, HIGHEST) - 1e-4, 2 * LIGHTEST)
    return (*(float(v) for v in np.linspace(LIGHTEST, top, steps + 1)), top + TOLERANCE)


def wind_allowed(setup: Setup) -> float:
    """Return the wind at 10 m that the rules, or a limit of a file's own, allow [m s⁻¹]."""
    own = read_limits(setup.flight, setup.site)["surface_wind"].value
    return min(own, rule_limit(setup.flight, setup.site, Kind.SURFACE_WIND))


def wind_limits(
    setup: Setup,
    supposition: Supposition,
    directions: Sequence[float],
    *,
    half: float = 0.0,
    steps: int = 6,
    workers: Workers | None = None,
) -> tuple[DirectionLimit, ...]:
    """Find, for every sector, the winds in which the verdict is go.

    A scan from light air to the limit of the surface wind; where it is not go all the
    way, it is halved down to `TOLERANCE`. Every speed is a verdict in full on both sides
    of the sector, and every span that is told as go is judged as a whole, all on the same
    seed (`driftmap.planning.span_verdict`); sectors and speeds with one verdict all over are
    judged together. Where no hour is told, each has its worst word by any sun of the year.

    ``setup``: what is flown, and where; ``supposition``: how the wind grows and turns
    with height; ``directions``: directions the middles of the sectors come from,
    clockwise from true north [deg]; ``half``: from there to their sides, up to `_WIDEST`
    [deg]; 0 for the directions themselves; ``steps``: steps of the scan; ``workers``: who
    works on it; a part is a sector.

    Result: one for each direction, in their order. Raises `ValueError` if the sectors
    are too wide for one verdict.
    """
    if not 0 <= half <= _WIDEST:
        raise ValueError(f"'half' must lie in 0 to {_WIDEST:g} deg (got {half})")
    speeds = scan_speeds(setup, steps)
    packed = pack(setup)
    suns = supposition.by_any_sun()
    # One for all threads, before any begins.
    every = [flights_of(packed, sun, speeds) for sun in suns]
    work = partial(_one_direction, packed, suns, speeds, half)
    try:
        with in_forks(every):
            found = sweep(work, directions, workers)
    finally:
        forget_flights()
    return tuple(
        DirectionLimit(at, (), "", (), result.reason)
        if isinstance(result, LostPart)
        else result
        for at, result in zip(directions, found, strict=True)
    )


def _one_direction(
    packed: bytes,
    suns: Sequence[Supposition],
    speeds: tuple[float, ...],
    half: float,
    from_deg: float,
) -> DirectionLimit:
    every = [Sector(flights_of(packed, s, speeds), from_deg, half) for s in suns]

    def at(speed: float) -> Trial:
        return _worst_of(sector.at(speed) for sector in every)

    def between(low: float, high: float) -> Trial:
        return _worst_of(sector.between(low, high) for sector in every)

    return search(from_deg, speeds, at, between)


def _worst_of(trials: Iterator[Trial]) -> Trial:
    """Return the worst by some suns; after a no-go no more is asked."""
    found = next(trials)
    while found.verdict != "no-go" and (other := next(trials, None)) is not None:
        found = worst((found, other))
    return found


def search(
    from_deg: float,
    speeds: Sequence[float],
    at: Callable[[float], Trial],
    between: Callable[[float, float], Trial],
) -> DirectionLimit:
    """Find the spans of speed that are go as a whole.

    ``from_deg``: direction the winds come from [deg]; ``speeds``: speeds to begin with,
    by size; ``at`` and ``between``: the verdict at a speed, and on all from one speed
    to another.

    Result: what was found. Speeds that are not told as go are not known to be go.
    """
    trials = {speed: at(speed) for speed in speeds}
    spans: list[tuple[float, float]] = []
    failed: list[tuple[float, Trial]] = []

    def look(low: float, high: float) -> None:
        ends = _goes(trials[low]), _goes(trials[high])
        if not any(ends):
            return
        if all(ends):
            whole = between(low, high)
            if _goes(whole):
                spans.append((low, high))
                return
            failed.append((low, whole))
        if high - low > TOLERANCE * 1.001:
            middle = (low + high) / 2
            trials[middle] = at(middle)
            look(low, middle)
            look(middle, high)

    for low, high in itertools.pairwise(speeds):
        look(low, high)
    tried = sorted(trials.items())
    go = _joined(spans)
    top = go[0][1] if go and go[0][0] == speeds[0] else -1.0
    worse = [*failed, *((v, t) for v, t in tried if not _goes(t))]
    above = min(((v, t) for v, t in worse if v >= top), key=_first, default=None)
    return DirectionLimit(
        from_deg,
        go,
        "" if above is None else above[1].held_by,
        tuple((v, t.verdict) for v, t in tried),
        _unknown(tried),
    )


def _first(pair: tuple[float, Trial]) -> float:
    return pair[0]


def _goes(trial: Trial) -> bool:
    return trial.verdict == "go"


def _joined(spans: Iterable[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Join spans that meet."""
    found: list[tuple[float, float]] = []
    for low, high in spans:
        meets = found and found[-1][1] == low
        found.append((found.pop()[0] if meets else low, high))
    return tuple(found)


def _unknown(tried: Sequence[tuple[float, Trial]]) -> str:
    """Say why nothing is known, where no trial has a verdict."""
    if any(trial.verdict != NOT_KNOWN for _, trial in tried):
        return ""
    return tried[0][1].problem
