"""Wind limits: for every direction the winds in which the verdict is still go."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np

from driftmap.planning.supposed import Supposition, suppose
from driftmap.planning.sweep import Hands, Lost, sweep
from driftmap.planning.trial import (
    NOT_KNOWN,
    Finding,
    Setup,
    Trial,
    pack,
    try_flight,
    unpack,
)
from driftmap.verdict.check import Kind
from driftmap.verdict.limits import read_limits
from driftmap.verdict.rule_checks import rule_limit

__all__ = ["HIGHEST", "DirectionLimit", "scan_speeds", "wind_limits"]

HIGHEST: Final = 25.0
"""Strongest wind at 10 m that is tried, whatever limit is set [m s⁻¹]."""

TOLERANCE: Final = 0.1
"""Width to which a limit is narrowed down [m s⁻¹]."""

LIGHTEST: Final = 0.1
"""Speed the scan begins with [m s⁻¹]: as good as a calm, yet a rail that is aimed into the
wind leans to where it comes from."""


@dataclass(frozen=True, slots=True)
class DirectionLimit:
    """The winds from one direction in which the verdict is go.

    Parameters
    ----------
    from_deg : float
        Direction the wind comes from, clockwise from true north [deg].
    go : tuple of (float, float)
        Spans of speed at 10 m found to be go, lowest first: both ends were flown
        [m s⁻¹].
    blocked_by : str
        What speaks most against a go just above `go_below`.
    tried : tuple of (float, str)
        Every speed flown [m s⁻¹] with its finding, by speed.
    problem : str
        Why nothing is known of this direction.
    """

    from_deg: float
    go: tuple[tuple[float, float], ...]
    blocked_by: str
    tried: tuple[tuple[float, Finding], ...]
    problem: str = ""

    @property
    def go_below(self) -> float | None:
        """Strongest wind up to which every wind tried, from the lightest, is go [m s⁻¹].

        0 where the lightest air is not go; None where nothing is known.
        """
        if self.problem:
            return None
        return self.go[0][1] if self.go and self.from_lightest(self.go[0]) else 0.0

    def from_lightest(self, span: tuple[float, float]) -> bool:
        """Tell whether a span of `go` begins at the lightest air tried.

        Parameters
        ----------
        span : (float, float)
            One of `go`.

        Returns
        -------
        bool
            Whether no lighter wind is known not to be go.
        """
        return span[0] == self.tried[0][0]

    @property
    def strongest_go(self) -> float | None:
        """Strongest wind found to be go, though a lighter one may not be [m s⁻¹]."""
        return self.go[-1][1] if self.go else None


def scan_speeds(setup: Setup, steps: int) -> tuple[float, ...]:
    """Choose the speeds that every direction is first tried at.

    Parameters
    ----------
    setup : Setup
        Its limit on the surface wind is the last speed but one; the last is beyond it.
    steps : int
        Number of steps from the lightest air to that limit.

    Returns
    -------
    tuple of float
        Speeds at 10 m, `LIGHTEST` first [m s⁻¹].
    """
    limit = wind_allowed(setup)
    # A hair below the limit, which a wind made from components might pass by rounding.
    top = max(min(limit, HIGHEST) - 1e-4, 2 * LIGHTEST)
    return (*(float(v) for v in np.linspace(LIGHTEST, top, steps + 1)), top + TOLERANCE)


def wind_allowed(setup: Setup) -> float:
    """Give the wind at 10 m that the rules, or a limit of a file's own, allow [m s⁻¹]."""
    own = read_limits(setup.flight, setup.site)["surface_wind"].value
    return min(own, rule_limit(setup.flight, setup.site, Kind.SURFACE_WIND))


def wind_limits(
    setup: Setup,
    supposition: Supposition,
    directions: Sequence[float],
    *,
    steps: int = 6,
    hands: Hands | None = None,
) -> tuple[DirectionLimit, ...]:
    """Find, for every direction, the winds in which the verdict is go.

    A coarse scan from light air to the limit of the surface wind shows where the finding
    changes; each change is then narrowed down to `TOLERANCE` by bisection. Every step is
    a verdict in full, all on the same seed.

    Parameters
    ----------
    setup : Setup
        What is flown, and where.
    supposition : Supposition
        How the wind grows and turns with height.
    directions : sequence of float
        Directions the wind comes from, clockwise from true north [deg].
    steps : int
        Steps of the scan.
    hands : Hands, optional
        Who works on it; a part is a direction.

    Returns
    -------
    tuple of DirectionLimit
        One for each direction, in their order.

    Notes
    -----
    A span that is not go and narrower than a step of the scan can be missed.
    """
    speeds = scan_speeds(setup, steps)
    found = sweep(
        partial(_one_direction, pack(setup), supposition, speeds),
        directions,
        hands,
    )
    return tuple(
        DirectionLimit(at, (), "", (), result.reason)
        if isinstance(result, Lost)
        else result
        for at, result in zip(directions, found, strict=True)
    )


def _one_direction(
    packed: bytes,
    supposition: Supposition,
    speeds: Sequence[float],
    from_deg: float,
) -> DirectionLimit:
    setup = unpack(packed)

    def verdict(speed: float) -> Trial:
        return try_flight(setup, suppose(supposition, from_deg, speed))

    trials = {speed: verdict(speed) for speed in speeds}
    for low, high in zip(speeds, speeds[1:], strict=False):
        _narrow(trials, low, high, verdict)
    tried = sorted(trials.items())
    spans = _spans(tried)
    top = spans[0][1] if spans and spans[0][0] == speeds[0] else -1.0
    above = next((t for v, t in tried if v > top and t.verdict != "go"), None)
    return DirectionLimit(
        from_deg,
        spans,
        "" if above is None else above.blocked_by,
        tuple((v, t.verdict) for v, t in tried),
        _unknown(tried),
    )


def _narrow(
    trials: dict[float, Trial],
    low: float,
    high: float,
    verdict: Callable[[float], Trial],
) -> None:
    """Bisect between two speeds of which one is go, leaving every trial in `trials`."""
    while _goes(trials[low]) != _goes(trials[high]) and high - low > TOLERANCE * 1.001:
        middle = (low + high) / 2
        trials[middle] = verdict(middle)
        if _goes(trials[middle]) == _goes(trials[low]):
            low = middle
        else:
            high = middle


def _goes(trial: Trial) -> bool:
    return trial.verdict == "go"


def _spans(tried: Sequence[tuple[float, Trial]]) -> tuple[tuple[float, float], ...]:
    spans: list[tuple[float, float]] = []
    before = False
    for speed, trial in tried:
        if _goes(trial):
            spans.append((spans.pop()[0] if before else speed, speed))
        before = _goes(trial)
    return tuple(spans)


def _unknown(tried: Sequence[tuple[float, Trial]]) -> str:
    """Say why nothing is known, where no trial has a verdict."""
    if any(trial.verdict != NOT_KNOWN for _, trial in tried):
        return ""
    return tried[0][1].problem
