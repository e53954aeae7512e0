"""Shares of the hours of a season, with intervals that allow for hours that resemble the next."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np

from driftmap.core.estimate import CONFIDENCE, binomial
from driftmap.planning.season import SeasonHour
from driftmap.planning.trial import NOT_KNOWN

_RESAMPLES: Final = 2000


@dataclass(frozen=True, slots=True)
class GoShare:
    """How many hours were go.

    Parameters
    ----------
    hours, known, go, hold, no_go : int
        All hours, those with a verdict, and these by verdict.
    days : int
        Days with a known hour.
    share, lower, upper : float
        Share of go among the known hours, and its interval; not a number without any.
    """

    hours: int
    known: int
    go: int
    hold: int
    no_go: int
    days: int
    share: float
    lower: float
    upper: float

    @property
    def coverage(self) -> float:
        """Share of the hours that have a verdict."""
        return self.known / self.hours if self.hours else 0.0


def go_share(
    hours: Iterable[SeasonHour], *, offset: timedelta = timedelta(0)
) -> GoShare:
    """Count the hours that were go.

    ``offset``: local time less UTC; tells one day from the next.

    An hour is like the one before it, so days are drawn in place of hours: the interval
    is that of 2,000 resamplings of the days, or, where all hours or none were go, the
    exact one of as many trials as days. Spells of weather outlast a day, so even this
    interval is narrow; it knows no error of the winds or of the physics.
    """
    counts: Counter[str] = Counter()
    days: defaultdict[date, list[int]] = defaultdict(lambda: [0, 0])
    for hour in hours:
        counts[hour.finding] += 1
        if hour.finding != NOT_KNOWN:
            day = days[(hour.time + offset).date()]
            day[0] += hour.finding == "go"
            day[1] += 1
    go, known = counts["go"], sum(counts.values()) - counts[NOT_KNOWN]
    low, high = _interval(np.array(list(days.values())), go, known)
    return GoShare(
        hours=sum(counts.values()),
        known=known,
        go=go,
        hold=counts["hold"],
        no_go=counts["no-go"],
        days=len(days),
        share=go / known if known else np.nan,
        lower=low,
        upper=high,
    )


def _interval(days: np.ndarray, go: int, known: int) -> tuple[float, float]:
    if not known:
        return 0.0, 1.0
    if go in {0, known} or len(days) < 2:
        trials = len(days)
        p = binomial(trials if go == known else 0, trials)
        one = len(days) < 2 and go not in {0, known}
        return (0.0, 1.0) if one else (p.lower, p.upper)
    rng = np.random.default_rng(0)  # of the interval alone; no flight hangs on it
    weights = rng.multinomial(len(days), np.full(len(days), 1 / len(days)), _RESAMPLES)
    sums = weights @ days
    tail = (1 - CONFIDENCE) / 2
    low, high = np.quantile(sums[:, 0] / sums[:, 1], [tail, 1 - tail])
    return float(low), float(high)


def by_month_and_hour(
    hours: Sequence[SeasonHour], *, offset: timedelta = timedelta(0)
) -> dict[tuple[int, int], GoShare]:
    """Count by month and by hour of the day.

    Result: by month, 1 to 12, and hour, 0 to 23; months that the season never saw are
    left out.
    """
    groups: defaultdict[tuple[int, int], list[SeasonHour]] = defaultdict(list)
    for hour in hours:
        local = hour.time + offset
        groups[local.month, local.hour].append(hour)
    return {key: go_share(groups[key], offset=offset) for key in sorted(groups)}


def reasons(hours: Iterable[SeasonHour]) -> list[tuple[str, int]]:
    """Count what spoke against a go, the most frequent first.

    Result: what blocked, and in how many hours it was the worst.
    """
    return Counter(h.blocked_by for h in hours if h.finding != "go").most_common()
