"""One line of a verdict: what was checked, its figure, its limit, and how they compare."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from types import MappingProxyType
from typing import Any, Final, Literal, TypeAlias

import numpy as np

from driftmap.air.wind import Disagreement
from driftmap.core.estimate import Estimate
from driftmap.core.tables import shipped
from driftmap.verdict.limits import LIMITS, SIGNED, Limit, show_limit

Outcome: TypeAlias = Literal["pass", "warn", "fail"]

OUTCOMES: Final[tuple[Outcome, ...]] = ("pass", "warn", "fail")
"""Outcomes, the mildest first."""

Verdict: TypeAlias = Literal["go", "hold", "no-go"]

RANK: Final[tuple[Verdict, ...]] = ("go", "hold", "no-go")
"""Verdicts, the mildest first."""

ALL_CASES: Final = "all cases"


_ROWS: Final = {kind: rest for kind, *rest in shipped(__package__, "kinds.csv", "|")}


class Kind(StrEnum):
    """What a check looks at: its identity, whatever words tell it."""

    LANDS_IN = "lands in"
    LANDS_IN_FAILURE = "lands in, in failure"
    AMONG_PEOPLE = "among people"
    AMONG_PEOPLE_IN_FAILURE = "among people, in failure"
    ON_CLEAR_GROUND = "on ground kept clear"
    UNDER_THE_FALL = "people under the fall"
    ON_POWER_LINE = "on a power line"
    IN_WATER = "in water"
    CASUALTIES = "casualties"
    CASUALTIES_IF = "casualties, if it happens"
    CASUALTIES_IN_A_DAY = "casualties in a day"
    INDIVIDUAL_RISK = "individual risk"
    HEAD_COUNT = "head count"
    NOBODY_NEAR = "nobody near"
    OUTSIDE_BOUNDARY = "outside boundary"
    HURTFUL_OUTSIDE = "hurtful outside boundary"
    OUTSIDE_WAIVER = "outside waiver"
    ABOVE_CEILING = "above ceiling"
    WAY_UP_OUT = "way up out"
    OVERFLIGHT = "overflight"
    RECOVERY_FAILS = "recovery fails"
    FLUTTER = "flutter"
    DESCENT = "descent"
    NO_RECOVERY = "no recovery"
    OPENING_SPEED = "opening speed"
    OPENING_LOAD = "opening load"
    OPENING_THRUST = "opening under thrust"
    RAIL_TILT = "rail tilt"
    RAIL_SPEED = "rail speed"
    RAIL_OVER_WIND = "rail over wind"
    STATIC_MARGIN = "static margin"
    SURFACE_WIND = "surface wind"
    WIND_GAP = "wind gap"
    WIND_NEAR_GROUND = "wind near ground"
    WIND_AGE = "wind age"
    WIND_UNDATED = "wind undated"
    WIND_LAYER = "wind layer"
    WIND_SHEAR = "wind shear"
    WIND_WARNED = "wind warned"
    INTO_CLOUD = "into cloud"
    POSITION = "position"
    LIKELIHOOD = "likelihood"
    IMPLAUSIBLE = "implausible"
    MISSING = "missing"
    PRECISION = "precision"
    RULE = "rule"

    @property
    def told(self) -> str:
        """Its name in English words; empty where each check brings its own."""
        return _ROWS[self.value][0]

    @property
    def loosened_by(self) -> str:
        """The limit that an officer's word may loosen so far that it passes."""
        return _ROWS[self.value][1]


def kinds_marked(mark: str) -> frozenset[Kind]:
    """Return the kinds that bear a mark in the table, which tells what each mark means."""
    marked = frozenset(k for k in Kind if mark in _ROWS[k.value][3].split())
    assert marked, mark
    return marked


BY_FLIGHTS: Final = kinds_marked("flights")
"""What is counted out of flights, so that more of them tell it better."""

ALOFT: Final = kinds_marked("aloft")
"""What holds because nobody read the wind high up."""

FAILS: Final = MappingProxyType(
    {Kind(kind): float(times) for kind, (_, _, times, _) in _ROWS.items() if times}
)
"""Kinds that only hold beyond their limit, and so many times it until they fail."""


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
        Whether it stands beside the verdict though it may pass: a consequence that no
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
        """Return whether it speaks of an area, alone or among others."""
        return f", {name}," in f", {self.area},"


NO_SOURCE: Final = "default of this tool, no source"
"""Source of a limit that nobody published."""

MISSING_INPUT: Final = "missing input"
"""Source of what holds because nobody told it."""


def held(kind: Kind, source: str, name: str = "", **more: Any) -> Check:
    """Hold on what is not known, or not for this tool to judge."""
    return Check(kind=kind, name=name, outcome="warn", source=source, **more)


def beside(told: str, source: str, kind: Kind = Kind.RULE) -> Check:
    """Put beside the verdict what somebody said, and answers for."""
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


def decide_ahead(checks: Iterable[Check]) -> Verdict:
    """Decide without open questions, which no wind and no plan answers."""
    return decide(check for check in checks if not check.question)


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


def least_to_settle(held: Iterable[Iterable[Check]], flights: int) -> int:
    """Reckon how many flights in each case may settle one of several holds.

    ``held``: the checks of each; ``flights``: those that were flown.

    Result: of the hold that takes least; 0 where none depends on flights alone.
    """
    found = (flights_to_settle(checks, flights) for checks in held)
    return min(filter(None, found), default=0)


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
