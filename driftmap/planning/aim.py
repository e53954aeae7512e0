"""Rail aim: the tilt and the azimuth that keep the flight inside and people clear."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import floor, radians
from typing import Final

import numpy as np

from driftmap.air.wind import WindProfile
from driftmap.montecarlo.launch import RAIL_ERROR
from driftmap.planning.sweep import LostPart, Workers, sweep
from driftmap.planning.trial import (
    FINDINGS,
    Trial,
    nearness,
    pack,
    try_flight,
    unknown_trial,
    unpack,
)
from driftmap.rocket.likelihood import WORKS
from driftmap.verdict.check import Check, Kind
from driftmap.verdict.limits import read_limits
from driftmap.verdict.rule_checks import rule_limit
from driftmap.verdict.setup import Setup

_SHARES_OF_LIMIT: Final = (0.125, 0.25, 0.375, 0.5, 0.75, 1.0)
_TURN: Final = 30.0  # deg between azimuths of the first grid
_REFINED: Final = 3  # aims about which a finer grid is tried
_MOVED: Final = ("share", "times")  # units of the checks that an aim changes


@dataclass(frozen=True, slots=True)
class Aim:
    """A way to set the rail, with what it brings.

    Parameters
    ----------
    tilt_deg, azimuth_deg : float
        Tilt from the vertical, and where it leans to, clockwise from true north [deg];
        the azimuth is None for a rail as planned "into the wind".
    trial : Trial
        Its verdict.
    """

    tilt_deg: float
    azimuth_deg: float | None
    trial: Trial

    @property
    def over(self) -> tuple[tuple[str, float], ...]:
        """Areas with people that ways up pass over, and the share that do, most first.

        These are the verdict's own figures; an area that no way up was seen to pass over
        is left out.
        """
        seen = [
            (check.area, check.value)
            for check in self.trial.checks
            if check.kind is Kind.OVERFLIGHT and check.value and check.area != "people"
        ]
        return tuple(sorted(seen, key=lambda pair: -pair[1]))

    @property
    def worst_failure(self) -> Check | None:
        """The failing case that most often puts a piece among people."""
        return _most(
            check
            for check in self.trial.checks
            if check.kind is Kind.LANDS_IN_FAILURE and check.case != WORKS
        )

    @property
    def rail_margin(self) -> Check | None:
        """Speed off the rail over the wind's."""
        return next(
            (c for c in self.trial.checks if c.kind is Kind.RAIL_OVER_WIND), None
        )

    @property
    def nearness(self) -> float:
        """How near the check that an aim can move and that is nearest its limit is to it."""
        moved = (c for c in self.trial.checks if c.unit in _MOVED and not c.question)
        return max(map(nearness, moved), default=np.inf)

    def order(self) -> tuple[float, ...]:
        """Return the key by which aims are ranked, the best first.

        Go before hold before no-go; then fewer ways up over people; then the larger room
        to the nearest limit; then the rarer hit among people; then the lesser tilt.
        """
        hit = self.worst_failure
        return (
            FINDINGS.index(self.trial.verdict),
            round(max((share for _, share in self.over), default=0.0), 3),
            round(self.nearness, 3),
            0.0 if hit is None or hit.value is None else hit.value,
            self.trial.stray.estimate,
            self.tilt_deg,
            -1.0 if self.azimuth_deg is None else self.azimuth_deg,
        )


def grid_of_aims(most_deg: float) -> tuple[tuple[float, float], ...]:
    """List the aims that are tried first.

    ``most_deg``: greatest tilt [deg].

    Result: tilt and azimuth [deg], in tenths as they are told: upright, then six tilts in
    twelve directions.
    """
    turns = np.arange(0.0, 360.0, _TURN)
    return (
        (0.0, 0.0),
        *((_tenths(most_deg * s), float(a)) for s in _SHARES_OF_LIMIT for a in turns),
    )


def _tenths(degrees: float) -> float:
    return floor(10 * degrees + 1e-9) / 10


def best_aims(
    setup: Setup, wind: WindProfile, workers: Workers | None = None
) -> tuple[Aim, tuple[Aim, ...]]:
    """Rank the ways to set the rail within the code's limit, by as much as a rail is set amiss.

    A grid over tilt and azimuth, then a finer one about the best of it; each aim is a
    verdict in full, all on the same seed.

    ``setup``: what is flown, and where; ``workers``: who works on it; a part is an aim.

    Result: the rail as the flight file has it, and all others that were tried, the
    best first; one whose worker was lost is not known, and last.
    """
    own = read_limits(setup.flight, setup.site)["rail_tilt"].value
    limit = min(own, rule_limit(setup.flight, setup.site, Kind.RAIL_TILT))
    error = setup.flight.rail.angle.spread
    amiss = float(np.degrees(RAIL_ERROR if error is None else error))
    limit = max(limit - amiss, 0.0)
    packed = pack(setup)

    def tried(grid: Sequence[tuple[float, float]]) -> list[Aim]:
        found = sweep(partial(_try_aim, packed, wind), grid, workers)
        pairs = zip(grid, found, strict=True)
        return [_aim(*aim, trial) for aim, trial in pairs]

    rail = setup.flight.rail
    leans = None if rail.azimuth == "into the wind" else float(np.degrees(rail.azimuth))
    tilt = float(np.degrees(rail.angle.value))
    planned = _aim(tilt, leans, try_flight(setup, wind))
    aims = tried(grid_of_aims(limit))
    aims.sort(key=Aim.order)
    known = {(a.tilt_deg, a.azimuth_deg) for a in aims}
    finer = [a for a in _finer(aims[:_REFINED], limit) if a not in known]
    return planned, tuple(sorted([*aims, *tried(finer)], key=Aim.order))


def _finer(best: Iterable[Aim], most: float) -> list[tuple[float, float]]:
    """List the aims half a step around some."""
    step = most * _SHARES_OF_LIMIT[0] / 2
    found: dict[tuple[float, float], None] = {}
    for aim in best:
        for up in (-step, 0.0, step):
            for turn in (-_TURN / 2, 0.0, _TURN / 2):
                tilt = _tenths(min(max(aim.tilt_deg + up, 0.0), most))
                azimuth = ((aim.azimuth_deg or 0.0) + turn) % 360 if tilt else 0.0
                found[tilt, azimuth] = None
    return list(found)


def _try_aim(packed: bytes, wind: WindProfile, aim: tuple[float, float]) -> Trial:
    setup = unpack(packed)
    tilt, azimuth = map(radians, aim)
    flight = setup.flight.aimed(azimuth, tilt)
    return try_flight(replace(setup, flight=flight), wind)


def _aim(tilt: float, azimuth: float | None, trial: Trial | LostPart) -> Aim:
    if isinstance(trial, LostPart):
        return Aim(tilt, azimuth, unknown_trial(trial.reason))
    return Aim(tilt, azimuth, trial)


def _most(checks: Iterable[Check]) -> Check | None:
    return max(checks, key=lambda c: (c.value or 0.0, c.interval or ()), default=None)
