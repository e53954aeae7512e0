"""How likely each failure is, where the flight file does not say."""

from __future__ import annotations

from collections.abc import Sequence
from types import MappingProxyType
from typing import Final

from driftmap.core.errors import FlightError, nearest
from driftmap.core.tables import shipped
from driftmap.rocket.bodies import Bench
from driftmap.rocket.case import Case
from driftmap.rocket.flight import Flight

WORKS: Final = "recovery works"

BARE: Final = "falls as planned"
"""What a flight without recovery is meant to do. It is judged as a failure is."""

CERTAIN: Final = "flutter"
"""Cause that needs no likelihood: whether a fin flutters follows from the flight. It has that
of all flights to which nothing happens before."""

_ROWS: Final = tuple(shipped(__package__, "likelihood.csv"))

LIKELIHOOD: Final = MappingProxyType({name: float(share) for name, share, *_ in _ROWS})
"""Likelihood of each failure where the flight file gives none; the table tells its source."""

TOO_RARE: Final = 1e-5
"""Share of all flights below which a case is counted but not judged by itself. Assumed: a
hundredth of the share of flights that may put a piece among people."""


_OF_EACH: Final = MappingProxyType({n: int(each) for n, _, each, _ in _ROWS if each})
"""Failures of one motor of several, and the motors that `LIKELIHOOD` is meant for."""

OF_OWN: Final = MappingProxyType({n: float(own) for n, *_, own in _ROWS if own})
"""Likelihood of a failure of a motor that is home-made or experimental."""


def default_likelihood(cause: str, flight: Flight) -> float:
    """Return the likelihood a cause has by default; 1 for one that has none.

    Each motor of a cluster has its own chance, none knowing of the others (assumed).
    """
    above = flight.upper is not None and cause == f"{flight.upper_name} bursts"
    motor = flight.upper.motor if above and flight.upper else flight.motor
    motors = 1 if motor is None else motor.count
    known = motor or flight.apogee
    own = known is not None and known.own
    usual = (LIKELIHOOD | OF_OWN if own else LIKELIHOOD).get(cause, 1.0)
    if cause not in _OF_EACH or motors <= _OF_EACH[cause]:
        return usual
    return float(1 - (1 - usual) ** (motors / _OF_EACH[cause]))


def likelihoods(bench: Bench, cases: Sequence[Case]) -> dict[str, float]:
    """Give each cause its likelihood; what is left goes as planned.

    Fins break of themselves in the flights to which nothing happened before.
    """
    flight = bench.flight
    own = {case.name: case.likelihood for case in flight.own_cases}
    spared = {WORKS, BARE, CERTAIN, *own}
    known = [c for c in dict.fromkeys(case.cause for case in cases) if c not in spared]
    for name in flight.cases:
        if name not in known:
            text = f"is no case here; {nearest(name, known)}"
            raise FlightError(flight.source, f"cases.{name}", text)
    likely = {
        name: flight.cases.get(name, default_likelihood(name, flight)) for name in known
    }
    for name in known:
        if name not in flight.cases:
            bench.note(f"{name}: {likely[name]:.1%} of flights (assumed)")
    likely.update(own)
    works = 1 - sum(likely.values())
    if works <= 0:
        problem = "with the defaults of all others these must add up to less than 100 %"
        raise FlightError(flight.source, "cases", problem)
    before = sum(likely[cause] for cause in {c.cause for c in cases if c.ahead})
    return {**likely, WORKS: works, BARE: works, CERTAIN: 1 - before}
