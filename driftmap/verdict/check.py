"""One line of a verdict: what was checked, its figure, its limit, and how they compare."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from math import inf
from types import MappingProxyType
from typing import Any, Final, Literal, Self, TypeAlias

import numpy as np

from driftmap.air.wind import Disagreement
from driftmap.core.estimate import Estimate
from driftmap.verdict.limits import LIMITS, SIGNED, Limit, show_limit

Outcome: TypeAlias = Literal["pass", "warn", "fail"]

OUTCOMES: Final[tuple[Outcome, ...]] = ("pass", "warn", "fail")
"""Outcomes, the mildest first."""

Verdict: TypeAlias = Literal["go", "hold", "no-go"]

RANK: Final[tuple[Verdict, ...]] = ("go", "hold", "no-go")
"""Verdicts, the mildest first."""

ALL_CASES: Final = "all cases"


class Kind(StrEnum):
    """What a check looks at: its identity, whatever words tell it.

    Beside it stand its name in English words, but where each check brings its own, and the
    limit that an officer's word may loosen so far that it passes.
    """

    told: str
    loosened_by: str

    def __new__(cls, value: str, told: str = "", loosened_by: str = "") -> Self:
        """Take what stands beside the identity."""
        kind = str.__new__(cls, value)
        kind._value_, kind.told, kind.loosened_by = value, told, loosened_by
        return kind

    LANDS_IN = "lands in", "a piece lands in", "area_hit"
    LANDS_IN_FAILURE = (
        "lands in, in failure",
        "a piece lands in, if",
        "area_hit_in_failure",
    )
    AMONG_PEOPLE = "among people", "a piece lands among people", "area_hit"
    AMONG_PEOPLE_IN_FAILURE = (
        "among people, in failure",
        "a piece lands among people, if",
        "area_hit_in_failure",
    )
    ON_CLEAR_GROUND = (
        "on ground kept clear",
        "a piece lands on ground kept clear",
        "area_hit",
    )
    ON_CLEAR_GROUND_IN_FAILURE = (
        "on ground kept clear, in failure",
        "a piece lands on ground kept clear, if",
        "area_hit_in_failure",
    )
    UNDER_THE_FALL = "people under the fall", "people stand under the fall, if"
    ON_POWER_LINE = "on a power line", "a piece lands on a power line"
    IN_WATER = "in water", "a piece lands in water", "water_hit"
    CASUALTIES = "casualties", "casualties expected", "expected_casualties"
    CASUALTIES_IF = "casualties, if it happens", "casualties expected, if"
    CASUALTIES_IN_A_DAY = (
        "casualties in a day",
        "casualties expected in the day's flights",
        "casualties_in_a_day",
    )
    INDIVIDUAL_RISK = (
        "individual risk",
        "risk to one person at the worst spot",
        "individual_risk",
    )
    HEAD_COUNT = "head count", "head count not known, so no casualties were counted"
    NOBODY_NEAR = "nobody near", "nobody is counted near the pad, yet somebody launches"
    OUTSIDE_BOUNDARY = (
        "outside boundary",
        "a piece lands outside the boundary",
        "outside_boundary",
    )
    HURTFUL_OUTSIDE = (
        "hurtful outside boundary",
        "a piece that can hurt lands outside the boundary",
        "hurtful_outside_boundary",
    )
    OUTSIDE_WAIVER = "outside waiver", "a piece lands outside the waiver"
    ABOVE_CEILING = "above ceiling", "apogee above the waiver's ceiling"
    WAY_UP_OUT = "way up out", "the way up leaves the waiver's cylinder"
    OVERFLIGHT = "overflight", "the way up passes over", "overflight"
    RECOVERY_FAILS = "recovery fails", "recovery does not work", "recovery_fails"
    FLUTTER = "flutter", "fins flutter off", "fins_flutter_off"
    DESCENT = "descent", "descent at landing when recovery works"
    NO_RECOVERY = "no recovery"
    OPENING_SPEED = "opening speed"
    OPENING_LOAD = "opening load"
    OPENING_THRUST = "opening under thrust"
    RAIL_TILT = "rail tilt", "rail's tilt from the vertical"
    RAIL_SPEED = "rail speed", "speed leaving the rail", "rail_speed"
    RAIL_OVER_WIND = "rail over wind", "rail speed over the wind's speed"
    STATIC_MARGIN = "static margin", "static margin", "static_margin"
    SURFACE_WIND = "surface wind", "wind at 10 m"
    WIND_GAP = "wind gap", "height flown above the highest wind known", "wind_gap"
    WIND_NEAR_GROUND = "wind near ground", "no wind read near the ground"
    WIND_AGE = "wind age", "age of the wind", "wind_age"
    WIND_UNDATED = "wind undated", "age of the wind not known"
    WIND_LAYER = (
        "wind layer",
        "depth flown through without a wind read in it",
        "wind_layer",
    )
    WIND_SHEAR = "wind shear", "change of the wind over 30 m of height"
    WIND_WARNED = "wind warned"
    INTO_CLOUD = "into cloud", "height flown, against the cloud reported"
    POSITION = "position", "the pad lies where the rules are made for"
    LIKELIHOOD = "likelihood", "likelihood lowered by a file"
    IMPLAUSIBLE = "implausible"
    MISSING = "missing"
    PRECISION = "precision", "not known as well as was asked"
    RULE = "rule"


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One line of the verdict.

    Parameters
    ----------
    kind : Kind
        What was checked; tell checks apart by this.
    name : str
        The same in English words; those of its kind unless the check brings its own.
    case, area : str
        Which case and which area; empty where there is none.
    value : float or None
        The figure; None for a question, and for what is not known.
    interval : (float, float) or None
        Its interval.
    limit : float or None
        What it is compared with; None for a question.
    unit : str
        Unit of the three.
    outcome : {"pass", "warn", "fail"}
        Within the limit, not surely so, or beyond it.
    source : str
        Where the limit comes from.
    sense : {"most", "least"}
        Whether the limit is a greatest or a least value.
    note : str
        What else there is to say; for a question, how to answer it.
    question : bool
        Whether people must answer it on the day.
    beside : bool
        Whether it stands beside the word though it may pass: a consequence that no
        likelihood takes away, or a figure that somebody changed.
    answered : bool
        Whether it came out on a person's own word.
    winds : Disagreement or None
        The two winds of which it says that they disagree.
    """

    kind: Kind
    name: str = ""
    case: str = ""
    area: str = ""
    value: float | None = None
    interval: tuple[float, float] | None = None
    limit: float | None = None
    unit: str = ""
    outcome: Outcome
    source: str
    sense: Literal["most", "least"] = "most"
    note: str = ""
    question: bool = False
    beside: bool = False
    answered: bool = False
    winds: Disagreement | None = None

    def __post_init__(self) -> None:
        if not (name := self.name or self.kind.told):
            raise ValueError(f"'name' must be given for a check of kind {self.kind}")
        object.__setattr__(self, "name", name)

    def about(self, name: str) -> bool:
        """Tell whether it speaks of an area, alone or among others."""
        return f", {name}," in f", {self.area},"


MISSING_INPUT: Final = "missing input"
"""Source of what holds because nobody told it."""


def held(kind: Kind, source: str, name: str = "", **more: Any) -> Check:
    """Hold on what is not known, or not for this tool to judge."""
    return Check(kind=kind, name=name, outcome="warn", source=source, **more)


def beside(told: str, source: str, kind: Kind = Kind.RULE) -> Check:
    """Put beside the word what somebody said, and answers for."""
    line: dict[str, Any] = {"outcome": "pass", "beside": True, "answered": True}
    return Check(kind=kind, name=told, source=source, **line)


def counted(checks: Iterable[Check]) -> tuple[int, int]:
    """Count what a verdict rests on.

    Result: how many pass on what files, winds and flights tell, and how many on a
    person's own word.
    """
    passed = [check.answered for check in checks if check.outcome == "pass"]
    return len(passed) - sum(passed), sum(passed)


def at_most(interval: tuple[float, float], limit: float) -> Outcome:
    """Compare a figure that must not exceed its limit.

    ``interval``: ends of its interval.

    Result: pass if all of the interval is within the limit, fail if all of it is
    beyond, warn if the limit lies inside it or an end is not finite.
    """
    lower, upper = interval
    if not (np.isfinite(lower) and np.isfinite(upper)):
        return "warn"
    if upper <= limit:
        return "pass"
    return "fail" if lower > limit else "warn"


def outcome_of(
    kind: Kind, value: float, interval: tuple[float, float], limit: float
) -> Outcome:
    """Compare a figure that must not exceed its limit, by what breaking that means.

    Result: as of `at_most`; of kinds in `FAILS` a fail only where the figure itself is so
    many times its limit.
    """
    outcome = at_most(interval, limit)
    if kind not in FAILS:
        return outcome
    mild: Outcome = "pass" if outcome == "pass" else "warn"
    return "fail" if value > FAILS[kind] * limit else mild


def decide(checks: Iterable[Check]) -> Verdict:
    """Turn checks into a verdict.

    Result: no-go if one fails, hold if one warns or there is none, else go.
    """
    outcomes = {check.outcome for check in checks}
    if "fail" in outcomes:
        return "no-go"
    return "go" if outcomes == {"pass"} else "hold"


BY_FLIGHTS: Final = frozenset(
    {
        *(Kind.LANDS_IN, Kind.LANDS_IN_FAILURE, Kind.AMONG_PEOPLE),
        *(Kind.AMONG_PEOPLE_IN_FAILURE, Kind.ON_CLEAR_GROUND, Kind.ON_POWER_LINE),
        *(Kind.ON_CLEAR_GROUND_IN_FAILURE, Kind.IN_WATER, Kind.CASUALTIES),
        *(Kind.CASUALTIES_IF, Kind.CASUALTIES_IN_A_DAY, Kind.INDIVIDUAL_RISK),
        *(Kind.OUTSIDE_BOUNDARY, Kind.HURTFUL_OUTSIDE, Kind.OUTSIDE_WAIVER),
        Kind.ABOVE_CEILING,
    }
)
"""What is counted out of flights, so that more of them tell it better."""

FAILS: Final = MappingProxyType(
    {
        **dict.fromkeys((Kind.INDIVIDUAL_RISK, Kind.CASUALTIES_IF), 10.0),
        **dict.fromkeys((Kind.WIND_GAP, Kind.WIND_LAYER, Kind.WIND_NEAR_GROUND), inf),
        **dict.fromkeys((Kind.WIND_AGE, Kind.INTO_CLOUD, Kind.IN_WATER), inf),
        Kind.WIND_SHEAR: inf,
    }
)
"""Kinds that only hold beyond their limit, and so many times it until they fail. What is not
known, or reported above a station some way off, is for people to see: it never fails."""

ALOFT: Final = frozenset({Kind.WIND_GAP, Kind.WIND_LAYER})
"""What holds because nobody read the wind high up."""

_MOST_FLIGHTS: Final = 5_000_000  # that may be asked for


def settled_by_word(checks: Iterable[Check]) -> dict[str, str]:
    """List the limits that an officer's word may loosen so far that a check passes.

    Result: how far each may be loosened, by its key in the ``limits`` of a site file;
    none of a check that nobody's word settles, or more flights may.
    """
    found = {}
    for check in checks:
        key = check.kind.loosened_by
        if check.outcome == "pass" or key not in SIGNED or check.interval is None:
            continue
        counted_out = check.unit in {"share", "per flight"}
        if counted_out and (check.value or 0.0) <= (check.limit or 0.0):
            continue
        size = 3600.0 if key == "wind_age" else 1.0  # told in hours
        low, high = (size * end for end in check.interval)
        most = SIGNED[key]
        if low >= most if LIMITS[key].strict == "high" else high <= most:
            found[key] = show_limit(replace(LIMITS[key], value=most))
    return found


def flights_to_settle(checks: Iterable[Check], flights: int) -> int:
    """Reckon how many flights in each case may settle a hold.

    ``flights``: those that were flown.

    Result: rounded up; 0 where something else holds, or a figure lies at its limit.

    What a figure may be beyond its estimate shrinks as the root of the flights.
    """
    most = 0.0
    for check in checks:
        if check.outcome == "pass":
            continue
        if check.kind not in BY_FLIGHTS or check.interval is None:
            return 0
        left = (check.limit or 0.0) - (check.value or 0.0)
        if check.outcome == "fail" or left <= 0:
            return 0
        most = max(most, (check.interval[1] - (check.value or 0.0)) / left)
    wanted = 1.2 * flights * most**2
    step = 10 ** max(len(f"{wanted:.0f}") - 2, 0)
    return int(-(-wanted // step) * step) if wanted <= _MOST_FLIGHTS else 0


def compared(
    kind: Kind,
    value: float,
    unit: str,
    limit: Limit,
    *,
    interval: tuple[float, float] | None = None,
    **more: Any,
) -> Check:
    """Compare a figure with a limit: known, unless its interval is given.

    ``more``: other fields of the check, such as an outcome that is not that of `outcome_of`.
    """
    ends, low, high = (value, value), value, value
    if interval is not None:
        ends = low, high = interval
    if limit.strict == "high":
        sense, outcome = "least", at_most((-high, -low), -limit.value)
    else:
        sense, outcome = "most", outcome_of(kind, value, ends, limit.value)
    told = {"outcome": outcome, "source": limit.source, "sense": sense, **more}
    line = {"kind": kind, "value": value, "unit": unit, "interval": ends, **told}
    return Check(limit=limit.value, **line)


def estimated(kind: Kind, p: Estimate, limit: Limit, **more: Any) -> Check:
    """Compare a figure counted out of flights with the most it may be.

    ``more``: other fields of the check: its unit where it is no share, case and area where
    it is not of all.
    """
    told = {"unit": "share", "case": ALL_CASES, **more}
    return compared(kind, p.estimate, limit=limit, interval=(p.lower, p.upper), **told)
