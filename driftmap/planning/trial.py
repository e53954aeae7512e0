"""One verdict among many: what a sweep flies, in a form that travels between workers."""

from __future__ import annotations

import pickle
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from typing import Any, Final, Literal, TypeAlias

import numpy as np

from driftmap.cases import WORKS
from driftmap.cloud import Cloud, fly
from driftmap.day import Day
from driftmap.errors import DriftmapError
from driftmap.flight import Flight
from driftmap.hazard import binomial, outside, per_case
from driftmap.limits import read_limits
from driftmap.site import Site
from driftmap.verdict import Check, Verdict, decide, judge
from driftmap.wind import WindProfile

__all__ = [
    "AT_LEAST",
    "NOT_KNOWN",
    "Finding",
    "Setup",
    "Trial",
    "flown",
    "judged",
    "nearness",
    "pack",
    "told",
    "too_few",
    "try_flight",
    "unpack",
]

NOT_KNOWN: Final = "not known"
"""Finding where there is no verdict: a flight that could not be flown, a lost worker."""

Finding: TypeAlias = Verdict | Literal["not known"]

AT_LEAST: Final = ("speed leaving the rail", "that speed over the wind's")
"""Checks whose limit is a least value."""

_WORST_FIRST: Final = ("fail", "warn")


@dataclass(frozen=True, slots=True)
class Setup:
    """What all verdicts of a sweep share.

    Parameters
    ----------
    flight, site : Flight, Site
        What is flown, and where.
    samples, seed : int
        Flights in each case, and the seed: one for all, so that alternatives are compared
        on the same luck.
    day : Day, optional
        Surface readings; the standard atmosphere when left out.
    """

    flight: Flight
    site: Site
    samples: int
    seed: int
    day: Day | None = None


@dataclass(frozen=True, slots=True)
class Trial:
    """One verdict with what it rests on.

    Parameters
    ----------
    verdict : {"go", "hold", "no-go", "not known"}
        The verdict; "not known" where the flight could not be flown.
    checks : tuple of Check
        Every check, as an assessment makes them.
    stray : (float, float, float)
        Share of flights that land a piece outside the boundary though recovery works,
        and its interval.
    track : (float, float)
        East and north of the middle apogee [m].
    problem : str
        Why the flight could not be flown.
    """

    verdict: Finding
    checks: tuple[Check, ...] = ()
    stray: tuple[float, float, float] = (1.0, 0.0, 1.0)
    track: tuple[float, float] = (0.0, 0.0)
    problem: str = ""

    @property
    def blocks(self) -> tuple[Check, ...]:
        """Checks that do not pass, the worst first."""
        return tuple(
            check
            for outcome in _WORST_FIRST
            for check in sorted(self.checks, key=nearness, reverse=True)
            if check.outcome == outcome
        )

    @property
    def blocked_by(self) -> str:
        """What speaks most against a go, in words; empty for a go."""
        if self.problem:
            return self.problem
        return next((told(check) for check in self.blocks), "")


def nearness(check: Check) -> float:
    """Say how near a check is to its limit.

    Parameters
    ----------
    check : Check
        A check of a verdict.

    Returns
    -------
    float
        Its worse end over its limit; 1 is at the limit, more is beyond it.
    """
    low, high = check.interval
    if check.limit == 0:
        return np.inf if high > 0 else 0.0
    if check.name in AT_LEAST:
        return check.limit / max(low, 1e-9)
    return high / check.limit


def told(check: Check) -> str:
    """Name a check in words.

    Parameters
    ----------
    check : Check
        The check.

    Returns
    -------
    str
        What, where and in which case.
    """
    name = check.name.removesuffix(", if")
    what = f"{name} {check.area}" if name.endswith(" in") else name
    return f"if {check.case}: {what}" if check.name.endswith(", if") else what


def flown(setup: Setup, wind: WindProfile) -> Cloud:
    """Fly a setup in a wind.

    Parameters
    ----------
    setup : Setup
        What is flown.
    wind : WindProfile
        The wind.

    Returns
    -------
    Cloud
        Landing points; they do not depend on where the pad stands on the site.
    """
    return fly(
        setup.flight,
        wind,
        setup.site.elevation,
        samples=setup.samples,
        seed=setup.seed,
        day=setup.day,
    )


def judged(cloud: Cloud, setup: Setup, wind: WindProfile) -> Trial:
    """Judge a cloud at a site, as an assessment does.

    Parameters
    ----------
    cloud : Cloud
        Landing points.
    setup : Setup
        Whose site and limits count.
    wind : WindProfile
        The wind the cloud was flown in.

    Returns
    -------
    Trial
        The verdict.
    """
    site = setup.site
    checks, _ = judge(cloud, site, wind, read_limits(setup.flight, site))
    stray = per_case(cloud, outside(site.boundary))[WORKS]
    top = cloud.apogee
    return Trial(
        decide(checks),
        checks,
        (stray.estimate, stray.lower, stray.upper),
        (float(np.median(top.east)), float(np.median(top.north))),
    )


def try_flight(setup: Setup, wind: WindProfile) -> Trial:
    """Give the verdict on a flight in a wind.

    Parameters
    ----------
    setup : Setup
        What is flown, and where.
    wind : WindProfile
        The wind.

    Returns
    -------
    Trial
        The verdict; "not known" where the flight cannot be flown, never "go".
    """
    try:
        return judged(flown(setup, wind), setup, wind)
    except (DriftmapError, ValueError) as problem:
        return Trial(NOT_KNOWN, problem=" ".join(str(problem).split()))


def too_few(setup: Setup) -> str:
    """Say so where so few flights are flown that no verdict can be go.

    Parameters
    ----------
    setup : Setup
        The flight, its limits and the number of samples.

    Returns
    -------
    str
        One sentence; empty where there are enough.
    """
    limits = read_limits(setup.flight, setup.site)
    least = min(limit.value for limit in limits.values() if limit.dimension == "share")
    upper = binomial(0, setup.samples).upper
    if upper <= least:
        return ""
    return (
        f"{setup.samples:,} samples cannot show that a share stays under {least:g}: "
        f"{int(np.ceil(3.69 / least)):,} or more can; no verdict here can be go"
    )


def pack(setup: Setup) -> bytes:
    """Write a setup as bytes that any worker reads back.

    Every worker reads a copy of its own: a site is not shared between threads, because
    geometries are prepared on first use.

    Parameters
    ----------
    setup : Setup
        The setup.

    Returns
    -------
    bytes
        For `unpack`, on the same version of the package.
    """
    site = _values(setup.site) | {"limits": dict(setup.site.limits)}
    return pickle.dumps({**_values(setup), "site": site})


def unpack(packed: bytes) -> Setup:
    """Read a setup back.

    Parameters
    ----------
    packed : bytes
        From `pack`.

    Returns
    -------
    Setup
        A copy.
    """
    values: dict[str, Any] = pickle.loads(packed)
    return Setup(**{**values, "site": Site(**values["site"])})


def _values(record: Any) -> Mapping[str, Any]:
    return dict(_pairs(record))


def _pairs(record: Any) -> Iterator[tuple[str, Any]]:
    for field in fields(record):
        yield field.name, getattr(record, field.name)
