"""What would turn a verdict: other recovery, another aim, less wind, each really flown."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import pi, radians
from typing import Final

import numpy as np

from driftmap.air.wind import WindProfile
from driftmap.failures.alternatives import PLANNED, alternatives
from driftmap.rocket.fields import Uncertain
from driftmap.rocket.flight import Flight
from driftmap.rules import Answers
from driftmap.verdict.assessment import Assessment, assess
from driftmap.verdict.check import RANK, Check, Verdict, decide

__all__ = ["Turn", "turns"]

_DIRECTIONS: Final = 8
_WEAKER: Final = (0.75, 0.5, 0.25)


@dataclass(frozen=True, slots=True)
class Turn:
    """A change to the plan, and what it comes to.

    Parameters
    ----------
    kind : {"recovery", "rail", "wind"}
        What is changed.
    name : str
        How, in words; for the wind, its share of the present speed.
    wind : float
        Speed of the wind at 10 m [m s⁻¹].
    verdict : {"go", "hold", "no-go"}
        The verdict without the questions of the rules, which no change answers.
    failing, warning : int
        Lines that fail and that warn.
    """

    kind: str
    name: str
    wind: float
    verdict: Verdict
    failing: int
    warning: int


def turns(
    assessment: Assessment, *, answers: Answers | None = None
) -> tuple[Turn, ...]:
    """Fly changes to a plan and list those that come out better.

    Parameters
    ----------
    assessment : Assessment
        The plan as it stands.
    answers : Answers, optional
        As for `assess`.

    Returns
    -------
    tuple of Turn
        Changes with a better verdict, or as good a one with fewer lines against it; the
        best first. Each is one change alone, on the same flights and luck as the plan.
    """
    a = assessment
    now = _weigh("", "", a.wind, a.checks)
    found = []
    for kind, name, flight, wind in _changes(a.flight, a.wind, a.cloud.plan.azimuth):
        tried = assess(
            flight,
            a.site,
            wind,
            samples=a.cloud.flights,
            seed=a.cloud.seed,
            day=a.cloud.plan.sky.day,
            answers=answers,
        )
        turn = _weigh(kind, name, wind, tried.checks)
        if _order(turn) < _order(now):
            found.append(turn)
    return tuple(sorted(found, key=_order))


def _changes(
    flight: Flight, wind: WindProfile, azimuth: float
) -> Iterator[tuple[str, str, Flight, WindProfile]]:
    for name, other in alternatives(flight).items():
        if name != PLANNED:
            yield "recovery", name, other, wind
    tilt = flight.rail.angle
    upright = Uncertain(radians(1.0), tilt.spread)
    yield "rail", "1° from the vertical", _aimed(flight, upright, azimuth), wind
    for i in range(_DIRECTIONS):
        toward = 2 * pi * i / _DIRECTIONS
        name = f"{np.degrees(tilt.value):.0f}° toward {np.degrees(toward):03.0f}°"
        yield "rail", name, _aimed(flight, tilt, toward), wind
    for share in _WEAKER:
        weaker = replace(
            wind,
            east=wind.east * share,
            north=wind.north * share,
            members=None if wind.members is None else wind.members * share,
            gust=wind.gust * share,
            strongest=None if wind.strongest is None else wind.strongest * share,
        )
        yield "wind", f"{share:.0%} of it", flight, weaker


def _aimed(flight: Flight, tilt: Uncertain, azimuth: float) -> Flight:
    rail = flight.rail.model_copy(update={"angle": tilt, "azimuth": azimuth})
    return flight.model_copy(update={"rail": rail})


def _weigh(kind: str, name: str, wind: WindProfile, checks: tuple[Check, ...]) -> Turn:
    lines = [check for check in checks if not check.question]
    return Turn(
        kind=kind,
        name=name,
        wind=float(np.hypot(*wind.at(10.0))),
        verdict=decide(lines),
        failing=sum(check.outcome == "fail" for check in lines),
        warning=sum(check.outcome == "warn" for check in lines),
    )


def _order(turn: Turn) -> tuple[int, int, int]:
    return RANK.index(turn.verdict), turn.failing, turn.warning
