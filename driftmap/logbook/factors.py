"""What a log shows of drag, of the wind's error and of likelihoods: figures with their intervals."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from driftmap.core.checks import FloatArray
from driftmap.core.estimate import binomial
from driftmap.logbook.verification import FindRecord, Flew
from driftmap.rocket.likelihood import BARE, CERTAIN, WORKS

PRIOR_WEIGHT: Final = 50.0
"""Flights that the assumed likelihood of a failure counts for beside those seen. Assumed."""

LITTLE: Final = 10
"""Flights that tell little."""

_EXPECTED: Final = 3.0
"""How often a failure must have been expected before not to see it makes it rarer; assumed."""


@dataclass(frozen=True, slots=True)
class WithInterval:
    """A number with its 95 % interval, and the flights it rests on."""

    value: float
    lower: float
    upper: float
    flights: int

    def holds(self, value: float) -> bool:
        """Return whether a value lies in the interval."""
        return self.lower <= value <= self.upper

    def rules_out(self, assumed: float) -> bool:
        """Return whether it shows what was assumed to be off: a few flights show nothing.

        A larger drag, or error of the wind, is worse for some checks and milder for others.
        """
        return self.flights >= LITTLE and not self.holds(assumed)


@dataclass(frozen=True, slots=True)
class Cause:
    """A failure of one rocket seen beside the likelihood that its last file assumes.

    `flight` names the rocket; `alone` is the share of the flights seen, with the exact binomial interval, `updated` the
    likelihood after: Beta prior of the weight `PRIOR_WEIGHT`.
    """

    cause: str
    assumed: float
    seen: int
    alone: WithInterval
    updated: WithInterval
    flight: str = ""

    @property
    def is_off(self) -> bool:
        """Whether what was seen rules out what was assumed; more of a failure needs few flights."""
        count = self.updated.flights
        enough = count >= LITTLE and count * self.assumed >= _EXPECTED
        off = not self.updated.holds(self.assumed)
        return off and (self.updated.value > self.assumed or enough)


def most_found(records: Sequence[FindRecord]) -> list[FindRecord]:
    """Return the finds of one device that tell of its drag, of that found most often.

    They tell of the drag that its last file has: what was adopted since is not proposed again.
    Of as many finds the last device; those whose case nobody told are left out.
    """
    told = [r for r in records if r.told]
    every = [(r.flight, r.device) for r in reversed(told)]
    most = max(every, key=every.count, default=None)
    own = [r for r in told if (r.flight, r.device) == most]
    return [r for r in own if r.drag == own[-1].drag]


def share_of(seen: int, of: int) -> WithInterval:
    """Give a share with its interval."""
    p = binomial(seen, of)
    return WithInterval(p.estimate, p.lower, p.upper, of)


_Days = NDArray[np.int64]


def days_of(records: Sequence[FindRecord]) -> _Days:
    """Give each record the number of its day; one without a day is a day of its own."""
    names = [r.day or f"record {i}" for i, r in enumerate(records)]
    return np.asarray(np.unique(names, return_inverse=True)[1])


def _half(pull: FloatArray, days: _Days) -> float:
    """Return the half-width of the interval of a sum whose parts are alike within a day.

    The sums of each day are taken as independent (cluster-robust variance, Liang and Zeger,
    Biometrika 73, 1986, from memory); parts all of their own days give Student's interval.
    """
    from scipy.special import stdtrit  # noqa: PLC0415

    count = int(days.max()) + 1
    if count < 2:
        return float(np.inf)
    sums = np.bincount(days, pull, minlength=count)
    error = sqrt(count / (count - 1) * float(sums @ sums))
    return float(stdtrit(count - 1, 0.975)) * error


def mean_by_days(values: FloatArray, days: _Days) -> WithInterval:
    """Give a mean with its interval."""
    mean = float(values.mean())
    half = _half((values - mean) / values.size, days)
    return WithInterval(mean, mean - half, mean + half, values.size)


def drift_factor(records: Sequence[FindRecord]) -> WithInterval | None:
    """Fit the factor on the downwind drift foretold, each flight by its own spread."""
    if len(records) < 3:
        return None
    y, x = np.array([(r.found[0], r.mean[0]) for r in records]).T
    weight = 1 / np.array([r.spread[0] for r in records]) ** 2
    size = float((weight * x**2).sum())
    if not size > 0:
        return None
    slope = float((weight * x * y).sum()) / size
    half = _half(weight * x * (y - slope * x) / size, days_of(records))
    return WithInterval(slope, slope - half, slope + half, y.size)


def width_factor(records: Sequence[FindRecord]) -> WithInterval | None:
    """Fit the factor on the spread across the wind, which no drag changes.

    About what was foretold: finds that lie close together, and all off it, were foretold badly.
    """
    if len(records) < 3:
        return None
    from scipy.special import chdtri  # noqa: PLC0415

    off = np.array([(r.found[1] - r.mean[1]) / r.spread[1] for r in records])
    n, total = off.size, float((off**2).sum())
    value = total / n
    half = _half((off**2 - value) / n, days_of(records))
    low, high = (total / float(chdtri(n, q)) for q in (0.025, 0.975))
    low, high = min(low, max(value - half, 0.0)), max(high, value + half)
    return WithInterval(sqrt(value), sqrt(low), sqrt(high), n)


def causes_of(rocket: str, flights: Sequence[Flew]) -> Iterator[Cause]:
    """Update each likelihood of a rocket by what was seen (Beta prior, binomial count)."""
    from scipy.special import betaincinv  # noqa: PLC0415

    flights = [f for f in flights if f.flight == rocket]
    causes = {c for f in flights for c in f.likelihoods} - {WORKS, BARE, CERTAIN}
    for cause in sorted(causes):
        about = [f for f in flights if cause in f.likelihoods]
        assumed = about[-1].likelihoods[cause]
        # That of the first file: what was adopted since rests on these flights.
        before = about[0].likelihoods[cause]
        seen = sum(f.cause == cause for f in about)
        if (assumed <= 0 and not seen) or (assumed >= 1 and seen == len(about)):
            continue
        a = PRIOR_WEIGHT * before + seen
        b = PRIOR_WEIGHT * (1 - before) + len(about) - seen
        low, high = (float(betaincinv(a, b, q)) for q in (0.025, 0.975))
        updated = WithInterval(a / (a + b), low, high, len(about))
        alone = share_of(seen, len(about))
        yield Cause(cause, assumed, seen, alone, updated, rocket)
