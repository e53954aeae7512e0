"""How many flights a go needs at the least, told before they are flown."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from driftmap.failures.cases import WORKS
from driftmap.ground.site import Site
from driftmap.hazard.exposure import harm_of
from driftmap.hazard.probability import binomial
from driftmap.hazard.sampling import weighted_mean
from driftmap.montecarlo.cloud import Cloud
from driftmap.verdict.limits import read_limits

__all__ = ["SCOUTS", "Need", "flights_needed"]

SCOUTS: Final = 500
"""Flights that find out what the rest rests on."""

_FAR: Final = 1e6  # m; where nobody of a site stands
_MANY: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class Need:
    """The least number of flights with which a go can be.

    Parameters
    ----------
    flights : int
        Flights in each case.
    why : str
        The limit that asks for them.
    """

    flights: int
    why: str

    def warning(self, samples: int) -> str:
        """Say so where fewer are flown.

        ``samples``: flights that are to be flown in each case.

        Result: one sentence; empty where there are enough.
        """
        if samples >= self.flights:
            return ""
        return (
            f"needs {self.flights:,} flights or more (--samples {self.flights}): "
            f"{samples:,} cannot show, though nothing is hit, that {self.why} is kept; "
            "no verdict here can be go"
        )


def flights_needed(scout: Cloud, site: Site) -> Need:
    """Say how many flights a go needs, though nothing that is counted is ever seen.

    ``scout``: a few flights; their casualty areas and how often each case happens
    count, not where they land; ``site``: whose limits and people count.

    Result: the greatest of the numbers that each limit asks for by itself.

    The bound for nothing seen is that of the checks: ``3.69 m / n`` with the most `m`
    that one flight can add, and for one case by itself the exact one of as many flights
    as it happens to. What is seen asks for more.
    """
    return max(_needs(scout, site), key=lambda need: need.flights)


def _needs(scout: Cloud, site: Site) -> Iterator[Need]:
    limits = read_limits(scout.plan.flight, site)
    unseen = weighted_mean([], _MANY, 1.0).upper * _MANY
    least = min(
        (key for key, limit in limits.items() if limit.dimension == "share"),
        key=lambda key: limits[key].value,
    )
    share = limits[least].value
    yield Need(math.ceil(unseen / share), f"a share of {share:.3g} ({least})")
    people = any(area.occupied for area in site.areas)
    if not people:
        return
    bound = limits["area_hit_in_failure"].value
    alone = _alone(bound)
    for part in scout.parts:
        if part.case != WORKS:
            count = math.ceil(alone * scout.flights / part.flights)
            yield Need(count, f"{bound:.3g} in {part.case!r} alone")
    harm = harm_of(replace(scout, east=scout.east + _FAR), site)
    figures = [("expected_casualties", harm.casualties.total.upper)]
    figures += [("individual_risk", spot.risk.upper) for spot in harm.spots]
    for key, upper in figures:
        limit = limits[key].value
        yield Need(math.ceil(scout.flights * upper / limit), f"{limit:.3g} ({key})")


def _alone(limit: float) -> int:
    """Count the flights of one case of which none may hit to show a limit kept."""
    count = 1
    while binomial(0, count).upper > limit:
        count += 1 + count // 50
    return count
