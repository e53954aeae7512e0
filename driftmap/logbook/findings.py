"""What a log of flights says of the forecasts, how surely, and what to change."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import ceil, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from driftmap.core.checks import FloatArray
from driftmap.core.estimate import binomial
from driftmap.core.points import SHARES
from driftmap.logbook.verification import (
    FindRecord,
    Flew,
    depth_rank,
    energy_score,
    log_score,
    normal_energy,
)
from driftmap.rocket.likelihood import BARE, CERTAIN, WORKS

PRIOR_WEIGHT: Final = 50.0
"""Flights that the assumed likelihood of a failure counts for beside those seen. Assumed."""

_ALL: Final = "all flights"
_BINS: Final = 10
_FEWEST: Final = 3  # flights of one device or one wind that are told by themselves
LITTLE: Final = 10
"""Flights that tell little."""
_KNOWN: Final = 0.1  # half-width at which a factor is known
_HALF: Final = 0.5  # of a likelihood, likewise


@dataclass(frozen=True, slots=True)
class WithInterval:
    """A number with its 95 % interval, and the flights it rests on."""

    value: float
    lower: float
    upper: float
    flights: int

    def holds(self, value: float) -> bool:
        """Tell whether a value lies in the interval."""
        return self.lower <= value <= self.upper

    def rules_out(self, assumed: float) -> bool:
        """Tell whether it shows what was assumed to be off.

        All that is proposed is worse where it is larger: of something milder, a few flights
        show nothing.
        """
        enough = self.value > assumed or self.flights >= LITTLE
        return enough and not self.holds(assumed)


@dataclass(frozen=True, slots=True)
class Coverage:
    """How often the rocket lay inside the line of a share: exact binomial interval."""

    share: float
    seen: WithInterval


@dataclass(frozen=True, slots=True)
class Bias:
    """How much farther downwind, and right of it, a group's finds lay than foretold [m]."""

    group: str
    downwind: WithInterval
    right: WithInterval


@dataclass(frozen=True, slots=True)
class Cause:
    """A failure seen beside its assumed likelihood, averaged over the flights.

    `alone` is the share of the flights seen, with the exact binomial interval, `updated` the
    likelihood after: Beta prior of the weight `PRIOR_WEIGHT`.
    """

    cause: str
    assumed: float
    seen: int
    alone: WithInterval
    updated: WithInterval

    @property
    def is_off(self) -> bool:
        """Whether what was seen rules out what was assumed."""
        return self.updated.rules_out(self.assumed)


@dataclass(frozen=True, slots=True, eq=False)
class Review:
    """What a log says of the forecasts; nothing is changed.

    Parameters
    ----------
    landings, flights : int
        Outcomes with a place, and outcomes with a case.
    coverage : tuple of Coverage
        How often the 50, 90 and 99 % lines held the rocket.
    ranks : tuple of int
        Finds by tenth of the depth rank.
    band : (int, int)
        Where 95 % of such counts would lie if the forecasts were right.
    energy, log : WithInterval or None
        Mean scores of the forecasts less those of the reference: below 0 the forecasts are
        better.
    biases : tuple of Bias
        All together, by device, and by kind and age of the wind.
    drift, width : WithInterval or None
        Factors on the drift foretold, and on the spread across the wind.
    drift_of : (str, str)
        Flight and device of most finds, of which the drift is.
    causes : tuple of Cause
        Failures seen beside those assumed.
    proposals : tuple of str
        What could be changed, and how surely.
    cautions : tuple of str
        How little all this may show.
    """

    landings: int
    flights: int
    coverage: tuple[Coverage, ...]
    ranks: tuple[int, ...]
    band: tuple[int, int]
    energy: WithInterval | None
    log: WithInterval | None
    biases: tuple[Bias, ...]
    drift: WithInterval | None
    width: WithInterval | None
    causes: tuple[Cause, ...]
    proposals: tuple[str, ...]
    cautions: tuple[str, ...]
    drift_of: tuple[str, str] = ("", "")


def review(records: Sequence[FindRecord], flights: Sequence[Flew]) -> Review:
    """Review forecasts by what came of them.

    Result: what they say; with few flights, that they say little.
    """
    depths = np.array([depth_rank(r.found, r.forecast) for r in records])
    counts = np.histogram(depths, _BINS, (0.0, 1.0))[0]
    drift_of = _most_found(records)
    own = [r for r in records if (r.flight, r.device) == drift_of]
    drift, width = _drift(own), _width(records)
    causes = _causes(flights)
    energy, log = _scores(records)
    return Review(
        landings=len(records),
        flights=len(flights),
        coverage=tuple(_coverage(depths)),
        ranks=tuple(counts.tolist()),
        band=_band(len(records)),
        energy=energy,
        log=log,
        biases=tuple(_biases(records)),
        drift=drift,
        width=width,
        causes=causes,
        proposals=tuple(_proposals(drift, width, causes, drift_of)),
        cautions=tuple(_cautions(records, flights, drift, width, causes)),
        drift_of=drift_of,
    )


def _most_found(records: Sequence[FindRecord]) -> tuple[str, str]:
    """Name the flight and device of most finds; of as many the last."""
    every = [(r.flight, r.device) for r in reversed(records)]
    return max(every, key=every.count, default=("", ""))


def _coverage(depths: FloatArray) -> list[Coverage]:
    return [
        Coverage(share, _share(int(np.sum(depths <= share)), depths.size))
        for share in (SHARES if depths.size else ())
    ]


def _share(seen: int, of: int) -> WithInterval:
    p = binomial(seen, of)
    return WithInterval(p.estimate, p.lower, p.upper, of)


def _band(count: int) -> tuple[int, int]:
    """Give what a tenth of so many flights holds, 95 % of the time."""
    # scipy.stats takes 0.4 s to import.
    from scipy.stats import binom  # noqa: PLC0415

    ends = np.asarray(binom.ppf([0.025, 0.975], count, 1 / _BINS))
    return int(ends[0]), int(ends[1])


_Days = NDArray[np.int64]


def _days(records: Sequence[FindRecord]) -> _Days:
    """Give each record the number of its day; one without a day is a day of its own."""
    names = [r.day or f"record {i}" for i, r in enumerate(records)]
    return np.asarray(np.unique(names, return_inverse=True)[1])


def _half(pull: FloatArray, days: _Days) -> float:
    """Give the half-width of the interval of a sum whose parts are alike within a day.

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


def _mean(values: FloatArray, days: _Days) -> WithInterval:
    """Give a mean with its interval."""
    mean = float(values.mean())
    half = _half((values - mean) / values.size, days)
    return WithInterval(mean, mean - half, mean + half, values.size)


def _scores(
    records: Sequence[FindRecord],
) -> tuple[WithInterval | None, WithInterval | None]:
    """Score against one normal cloud made of all the other finds of the log."""
    if len(records) < 6:
        return None, None
    finds = np.array([r.found for r in records])
    energy, log = [], []
    for number, record in enumerate(records):
        rest = np.delete(finds, number, axis=0)
        mean, cov = rest.mean(axis=0), np.cov(rest.T) + np.eye(2)
        off = record.found - mean
        plain = float(off @ np.linalg.solve(cov, off)) / 2
        plain += float(np.log(2 * np.pi) + np.log(np.linalg.det(cov)) / 2)
        log.append(log_score(record.found, record.forecast) - plain)
        own = energy_score(record.found, record.forecast)
        energy.append(own - normal_energy(record.found, mean, cov))
    days = _days(records)
    return _mean(np.array(energy), days), _mean(np.array(log), days)


def _biases(records: Sequence[FindRecord]) -> list[Bias]:
    keys: list[Callable[[FindRecord], str]] = [
        lambda r: _ALL,
        lambda r: f"under {r.device}",
        lambda r: f"wind from {r.source}",
        lambda r: f"wind read {r.age} before",
    ]
    found = []
    for key in keys:
        for group in sorted({key(r) for r in records}):
            own = [r for r in records if key(r) == group]
            few = len(own) < _FEWEST or "not told" in group
            if few and group != _ALL:
                continue
            off, days = np.array([r.found - r.mean for r in own]), _days(own)
            found.append(Bias(group, _mean(off[:, 0], days), _mean(off[:, 1], days)))
    return found


def _drift(records: Sequence[FindRecord]) -> WithInterval | None:
    """Fit the factor on the downwind drift foretold, each flight by its own spread."""
    if len(records) < 3:
        return None
    y, x = np.array([(r.found[0], r.mean[0]) for r in records]).T
    weight = 1 / np.array([r.spread[0] for r in records]) ** 2
    size = float((weight * x**2).sum())
    if not size > 0:
        return None
    slope = float((weight * x * y).sum()) / size
    half = _half(weight * x * (y - slope * x) / size, _days(records))
    return WithInterval(slope, slope - half, slope + half, y.size)


def _width(records: Sequence[FindRecord]) -> WithInterval | None:
    """Fit the factor on the spread across the wind, which no drag changes.

    About what was foretold: finds that lie close together, and all off it, were foretold badly.
    """
    if len(records) < 3:
        return None
    from scipy.special import chdtri  # noqa: PLC0415

    off = np.array([(r.found[1] - r.mean[1]) / r.spread[1] for r in records])
    n, total = off.size, float((off**2).sum())
    value = total / n
    half = _half((off**2 - value) / n, _days(records))
    low, high = (total / float(chdtri(n, q)) for q in (0.025, 0.975))
    low, high = min(low, max(value - half, 0.0)), max(high, value + half)
    return WithInterval(sqrt(value), sqrt(low), sqrt(high), n)


def _causes(flights: Sequence[Flew]) -> tuple[Cause, ...]:
    """Update each likelihood by what was seen (Beta prior, binomial count)."""
    from scipy.special import betaincinv  # noqa: PLC0415

    found = []
    causes = {c for f in flights for c in f.likelihoods} - {WORKS, BARE, CERTAIN}
    for cause in sorted(causes):
        about = [f for f in flights if cause in f.likelihoods]
        assumed = float(np.mean([f.likelihoods[cause] for f in about]))
        seen = sum(f.cause == cause for f in about)
        if (assumed <= 0 and not seen) or (assumed >= 1 and seen == len(about)):
            continue
        a = PRIOR_WEIGHT * assumed + seen
        b = PRIOR_WEIGHT * (1 - assumed) + len(about) - seen
        low, high = (float(betaincinv(a, b, q)) for q in (0.025, 0.975))
        updated = WithInterval(a / (a + b), low, high, len(about))
        found.append(Cause(cause, assumed, seen, _share(seen, len(about)), updated))
    return tuple(found)


def _proposals(
    drift: WithInterval | None,
    width: WithInterval | None,
    causes: Sequence[Cause],
    drift_of: tuple[str, str] = ("", ""),
) -> list[str]:
    told, of = [], " under ".join(filter(None, drift_of))
    if drift is not None and drift.rules_out(1.0) and drift.lower > 0:
        told.append(
            f"{of}{': ' * bool(of)}the drift was {drift.value:.2f} of that foretold ("
            f"{drift.lower:.2f} to {drift.upper:.2f}): a drag area times "
            f"{drift.value**2:.2f} ({drift.lower**2:.2f} to {drift.upper**2:.2f}) would have met it, if the wind "
            "was read right"
        )
    if width is not None and width.rules_out(1.0):
        told.append(
            f"across the wind the finds lay {width.value:.2f} times as far off as foretold "
            f"({width.lower:.2f} to {width.upper:.2f}): multiply the wind's error by that"
        )
    for cause in causes:
        if cause.is_off:
            told.append(
                f"{cause.cause}: seen {cause.seen} times in {cause.updated.flights}, assumed "
                f"{cause.assumed:.1%}; {cause.updated.value:.1%} fits better "
                f"({cause.updated.lower:.1%} to {cause.updated.upper:.1%})"
            )
    return told


def _cautions(
    records: Sequence[FindRecord],
    flights: Sequence[Flew],
    drift: WithInterval | None,
    width: WithInterval | None,
    causes: Sequence[Cause],
) -> list[str]:
    told = []
    for have, what in ((records, "landings"), (flights, "flights of known case")):
        if len(have) < LITTLE:
            little = "which tell little: nothing here is settled by them"
            told.append(f"{what}: {len(have)}, {little}")
    told += _more_flights(drift, width, causes)
    days = int(_days(records).max()) + 1 if records else 0
    if days < len(records) / 1.5:
        told.append(
            f"{len(records):,} landings fell on {days} {'day' if days == 1 else 'days'}, and flights of one day share their "
            "wind's error: intervals allow for that, but those of the lines do not"
        )
    told.append(
        "flights that were called off are not in here, nor what was never found: both lean "
        "the figures to the milder side"
    )
    return told


def _more_flights(
    drift: WithInterval | None, width: WithInterval | None, causes: Sequence[Cause]
) -> Iterator[str]:
    """Say how many more flights would make each factor, and the likeliest failure, known."""
    for name, figure in (("drift", drift), ("spread", width)):
        half = 0.0 if figure is None else (figure.upper - figure.lower) / 2
        if figure is not None and np.isfinite(half) and half > _KNOWN:
            more = ceil(figure.flights * (half / _KNOWN) ** 2) - figure.flights
            yield (
                f"the {name} is known to ± {half:.2f}; about {more:,} more flights would "
                f"bring that to ± {_KNOWN:g}"
            )
    for cause in sorted(causes, key=lambda cause: -cause.updated.value)[:1]:
        p = cause.updated.value
        wanted = ceil((1 - p) / p * (1.96 / _HALF) ** 2)  # a normal interval of a share
        if wanted > cause.updated.flights:
            yield (
                f"{cause.cause}, the likeliest failure, is known to half of its likelihood "
                f"from about {wanted:,} flights on; the rarer, the more it takes"
            )
