"""What a log of flights says of the forecasts, how surely, and what to change."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import ceil
from typing import Final

import numpy as np

from driftmap.core.checks import FloatArray
from driftmap.core.points import SHARES
from driftmap.logbook.factors import (
    LITTLE,
    Cause,
    WithInterval,
    causes_of,
    days_of,
    drift_factor,
    mean_by_days,
    most_found,
    share_of,
    width_factor,
)
from driftmap.logbook.verification import (
    FindRecord,
    Flew,
    depth_rank,
    energy_score,
    log_score,
    normal_energy,
)

_ALL: Final = "all flights"
_BINS: Final = 10
_FEWEST: Final = 3  # flights of one device or one wind that are told by themselves
_KNOWN: Final = 0.1  # half-width at which a factor is known
_HALF: Final = 0.5  # of a likelihood, likewise


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
    drift_off, width_off : bool
        Whether these factors are shown to be off.
    causes : tuple of Cause
        Failures of each rocket seen beside those assumed.
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
    drift_off: bool = False
    width_off: bool = False


def review(
    records: Sequence[FindRecord], flights: Sequence[Flew], lost: Sequence[str] = ()
) -> Review:
    """Review forecasts by what came of them.

    ``lost``: names of flights that flew and that nobody found.

    Result: what they say; with few flights, that they say little.
    """
    depths = np.array([depth_rank(r.found, r.forecast) for r in records])
    counts = np.histogram(depths, _BINS, (0.0, 1.0))[0]
    own, told = most_found(records), [r for r in records if r.told]
    drift, width = drift_factor(own), width_factor(told)
    drift_of = (own[-1].flight, own[-1].device) if own else ("", "")
    own_lost = [name for name in lost if name == drift_of[0]]
    rockets = sorted({f.flight for f in flights})
    causes = tuple(c for name in rockets for c in causes_of(name, flights))
    energy, log = _scores(records)
    found = Review(
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
        proposals=(),
        cautions=tuple(_cautions(records, flights, drift, width, causes, lost)),
        drift_of=drift_of,
        drift_off=_is_off(drift, own_lost),
        width_off=_is_off(width, lost),
    )
    return replace(found, proposals=tuple(_proposals(found)))


_LOST: Final = 0.1
"""Flights never found for each one found, from which on nothing smaller is believed: what is not
found went farthest; assumed."""


def _is_off(factor: WithInterval | None, lost: Sequence[str]) -> bool:
    """Return whether a factor is shown to be off; a smaller one only where few were lost."""
    if factor is None or not factor.rules_out(1.0) or factor.lower <= 0:
        return False
    return factor.value > 1 or len(lost) <= _LOST * factor.flights


def _coverage(depths: FloatArray) -> list[Coverage]:
    return [
        Coverage(share, share_of(int(np.sum(depths <= share)), depths.size))
        for share in (SHARES if depths.size else ())
    ]


def _band(count: int) -> tuple[int, int]:
    """Return what a tenth of so many flights holds, 95 % of the time."""
    # scipy.stats takes 0.4 s to import.
    from scipy.stats import binom  # noqa: PLC0415

    ends = np.asarray(binom.ppf([0.025, 0.975], count, 1 / _BINS))
    return int(ends[0]), int(ends[1])


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
    days = days_of(records)
    return mean_by_days(np.array(energy), days), mean_by_days(np.array(log), days)


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
            off, days = np.array([r.found - r.mean for r in own]), days_of(own)
            found.append(
                Bias(
                    group, mean_by_days(off[:, 0], days), mean_by_days(off[:, 1], days)
                )
            )
    return found


def _proposals(found: Review) -> Iterator[str]:
    drift, width = found.drift, found.width
    of = " under ".join(filter(None, found.drift_of))
    if drift is not None and found.drift_off:
        yield (
            f"{of}{': ' * bool(of)}the drift was {drift.value:.2f} of that foretold ("
            f"{drift.lower:.2f} to {drift.upper:.2f}): a drag area times "
            f"{drift.value**2:.2f} ({drift.lower**2:.2f} to {drift.upper**2:.2f}) would have met it, if the wind "
            "was read right"
        )
    if width is not None and found.width_off:
        yield (
            f"across the wind the finds lay {width.value:.2f} times as far off as foretold "
            f"({width.lower:.2f} to {width.upper:.2f}): multiply the wind's error by that"
        )
    for cause in found.causes:
        if cause.is_off:
            yield (
                f"{_of(cause)}: seen {cause.seen} times in {cause.updated.flights}, assumed "
                f"{cause.assumed:.1%}; {cause.updated.value:.1%} fits better "
                f"({cause.updated.lower:.1%} to {cause.updated.upper:.1%})"
            )


def _of(cause: Cause) -> str:
    return ", ".join(filter(None, (cause.flight, cause.cause)))


def _cautions(
    records: Sequence[FindRecord],
    flights: Sequence[Flew],
    drift: WithInterval | None,
    width: WithInterval | None,
    causes: Sequence[Cause],
    lost: Sequence[str] = (),
) -> list[str]:
    told = []
    for have, what in ((records, "landings"), (flights, "flights of known case")):
        if len(have) < LITTLE:
            little = "which tell little: nothing here is settled by them"
            told.append(f"{what}: {len(have)}, {little}")
    if lost:
        told.append(
            f"{len(lost):,} flights flew and were never found, which went farthest: with more "
            f"than one for {1 / _LOST:.0f} found no smaller drift or spread is proposed"
        )
    if untold := sum(not record.told for record in records):
        told.append(
            f"{untold:,} finds say nothing of what happened: drift and spread are of the others; "
            "write the case, also where all went well"
        )
    told += _more_flights(drift, width, causes)
    days = int(days_of(records).max()) + 1 if records else 0
    if days < len(records) / 1.5:
        told.append(
            f"{len(records):,} landings fell on {days} {'day' if days == 1 else 'days'}, and flights of one day share their "
            "wind's error: intervals allow for that, but those of the lines do not"
        )
    told.append(
        "flights that were called off are not in here, nor what was never found and not logged: "
        "both lean the figures to the milder side"
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
                f"{_of(cause)}, the likeliest failure, is known to half of its likelihood "
                f"from about {wanted:,} flights on; the rarer, the more it takes"
            )
