"""What is flown and where, and all its checks in one wind."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Final

import numpy as np

from driftmap.air.day import AirDay, day_from_readings
from driftmap.air.transformed import farthest_members, strengthened
from driftmap.air.wind import WindProfile
from driftmap.core.errors import InputError
from driftmap.core.points import over_ground
from driftmap.ground.areas import Site
from driftmap.montecarlo.cloud import Cloud, fly
from driftmap.rocket.flight import Flight
from driftmap.rules.answers import Answers
from driftmap.rules.occasion import Occasion
from driftmap.verdict.check import (
    BY_FLIGHTS,
    FAILS,
    NO_SOURCE,
    OUTCOMES,
    RANK,
    Check,
    Kind,
    Outcome,
    Verdict,
    at_most,
    decide_ahead,
)
from driftmap.verdict.judgement import judge_all

CLOCKS: Final = timedelta(minutes=2)
"""How far two clocks may be apart; assumed."""

_ELSEWHERE: Final = (2000.0, 30.0)
"""How far off, and how much higher or lower, a wind may have been read for [m]: for any pad of one
field; assumed."""

_READ: Final = 1.0
"""Error of a component of the wind where a pilot balloon reads it [m s⁻¹], or somewhat more:
that of one in `driftmap.winds` is 0.5 to 0.9 in winds up to 10 m/s."""

_FEW: Final = 4000  # flights; what they fail is no matter of sampling


@dataclass(frozen=True, slots=True)
class Setup:
    """What is flown and where: all that verdicts share but for the wind.

    Assessments, dials, limits, layouts, seasons, aims and proposals take the same one.

    Parameters
    ----------
    flight, site : Flight, Site
        From `read_flight` and `read_site`.
    samples : int
        Flights in each case.
    seed : int
        Seed of the draws; the same seed gives the same result, so that alternatives are
        compared with the same draws.
    day : AirDay, optional
        Surface readings of temperature, pressure and humidity; those of the wind's own
        report when left out, and the standard atmosphere where it has none.
    answers : Answers, optional
        What people confirmed of the rules that the site names; what is not answered
        makes the verdict hold.
    """

    flight: Flight
    site: Site
    samples: int = 20_000
    seed: int = 1
    day: AirDay | None = None
    answers: Answers | None = None

    def with_few(self) -> Setup:
        """Return the same with few flights, enough to see what fails for sure."""
        return replace(self, samples=min(self.samples, _FEW))


def as_if_read(wind: WindProfile) -> WindProfile:
    """Return the same wind as if a pilot balloon had just read it at the field."""
    return replace(wind, error=np.minimum(wind.error, _READ), modes=None)


def flown(
    setup: Setup, wind: WindProfile, *, progress: Callable[[int], None] | None = None
) -> Cloud:
    """Fly a setup in a wind.

    Result: landing points; they do not depend on where the pad stands on the site. Raises
    `InputError` for a wind that was read for another site.
    """
    _check_place(setup.site, wind)
    altitude = setup.site.elevation
    return fly(
        setup.flight,
        wind,
        altitude,
        samples=setup.samples,
        seed=setup.seed,
        day=setup.day or day_from_readings(altitude, wind.temperature, wind.altimeter),
        progress=progress,
    )


def _check_place(site: Site, wind: WindProfile) -> None:
    """Refuse a wind that was read for another site, whose heights, sun or sources are others."""
    here, told = (site.latitude, site.longitude), []
    far, apart = _ELSEWHERE
    if wind.place is not None and over_ground(wind.place, here) > far:
        told.append(f"{over_ground(wind.place, here) / 1000:,.0f} km off")
    if wind.altitude is not None and abs(wind.altitude - site.elevation) > apart:
        heights = f"{wind.altitude:.0f} m above the sea, and the site lies at"
        told.append(f"{heights} {site.elevation:.0f} m")
    if told:
        where = " and ".join(told)
        accepted = "accepted is one that was read with this site's place and altitude"
        raise InputError("wind", "", f"read for a site {where}; {accepted}")


def check_read_for(setup: Setup, wind: WindProfile) -> None:
    """Refuse answers and a wind that were read for another flight, site or time.

    Answers count for what they were given for, and a wind has the age it had at one time: a
    program that goes on with either beside another flight reads them again.
    """
    said = setup.answers
    if said is None or said.occasion is None:
        return
    now = Occasion.of(setup.flight, setup.site, said.when)
    if said.occasion != now:
        then = said.occasion
        raise InputError(
            "answers",
            "",
            f"read for {then.flight} at {then.site}, and flight file, pad or drawing are "
            f"others now ({now.flight} at {now.site}); accepted is read_answers of this "
            "flight, this site and this time",
        )
    if said.when is None or wind.when is None:
        return
    if abs(said.when - wind.when) > CLOCKS:
        raise InputError(
            "wind",
            "",
            f"read for {wind.when:%Y-%m-%d %H:%M %z}, the answers for "
            f"{said.when:%Y-%m-%d %H:%M %z}; accepted is one time, `when`, for both",
        )


def checks_of(setup: Setup, wind: WindProfile) -> tuple[Check, ...]:
    """Judge as an assessment does, without what it draws and tells beside its verdict."""
    cloud = flown(setup, wind)
    checks = judge_all(cloud, setup.site, wind, answers=setup.answers).checks
    return (*checks, *in_stronger(setup, wind, checks))


def in_stronger(
    setup: Setup, wind: WindProfile, checks: Iterable[Check]
) -> Iterator[Check]:
    """Tell of winds beside the one flown, and hold where the verdict depends on one.

    They are those of `in_others`, and the same wind as if it had just been read: what is old, or
    of far off, is no milder for that, though what it spreads wider comes down more rarely on any
    one small crowd.

    ``checks``: those of the wind flown; open questions are the same in both winds.
    """
    checks = tuple(checks)
    yield from in_others(setup, wind, checks)
    yield from if_read(
        wind,
        checks,
        lambda: checks_of(setup.with_few(), as_if_read(wind)),
        lambda: checks_of(setup, as_if_read(wind)),
    )


def if_read(
    wind: WindProfile,
    checks: Iterable[Check],
    as_read: Callable[[], Iterable[Check]],
    of_all: Callable[[], Iterable[Check]] | None = None,
) -> Iterator[Check]:
    """Hold a go that is surely none in the same wind as if it had just been read.

    ``wind``: the wind flown, or one of a span; ``checks``: of it, or of all the span; ``as_read``:
    gives those in what `as_if_read` makes of the same, of few flights; ``of_all``: of as many as
    were flown, for what few leave open.
    """
    if decide_ahead(checks) != "go" or float(wind.error.max()) <= _READ:
        return
    found = [*as_read()]
    there = _surely(found)
    if there == "go" and of_all is not None and any(map(_open, found)):
        there = _surely(of_all())
    if there != "go":
        text = (
            "The wind as it was read is judged as if that were just now, at the field"
        )
        yield _beside(text, there, "warn")


def _surely(checks: Iterable[Check]) -> Verdict:
    """Decide by what no more flights would turn: what fails, or is beyond with all of its interval."""
    told = [c.outcome for c in checks if not c.question and _beyond(c)]
    return RANK[max(map(OUTCOMES.index, told), default=0)]


_COUNTED: Final = FAILS.keys() & BY_FLIGHTS
"""Kinds counted out of flights that only fail far beyond their limit."""


def _beyond(check: Check) -> bool:
    if check.kind in _COUNTED and check.interval and check.limit:
        return at_most(check.interval, check.limit) == "fail"
    held = check.kind is Kind.UNDER_THE_FALL and check.outcome == "warn"
    return held or check.outcome == "fail"


def _open(check: Check) -> bool:
    """Return whether a figure lies beyond its limit, though not with all of its interval."""
    value, limit = check.value or 0.0, check.limit or np.inf
    return check.kind in _COUNTED and value > limit and not _beyond(check)


def in_others(
    setup: Setup, wind: WindProfile, checks: Iterable[Check]
) -> Iterator[Check]:
    """Tell of winds that were passed over, and hold where the verdict depends on one.

    That is each report that is stronger, and each member of an ensemble that carries far. With
    all that was set aside by hand the verdict is none milder than it was before, nor where a wind
    is told by what it is less than milder than in that.

    ``checks``: as for `in_stronger`.
    """
    now: Verdict = decide_ahead(checks)
    for passed_over in wind.stronger:
        there: Verdict = "go"
        if now == "go":
            there = _in_wind(setup, strengthened(wind, passed_over))
        outcome: Outcome = "pass" if there == "go" else "warn"
        yield _beside(f"{passed_over.told}: within their errors", there, outcome)
    each = farthest_members(wind) if now == "go" else ()
    if each:
        worst = max((_in_wind(setup, one) for one in each), key=RANK.index)
        text = f"{len(each)} members of the ensemble, those that carry farthest, are judged as well"
        yield _beside(text, worst, "pass" if worst == "go" else "warn")
    for what, other in (
        ("The wind as strong as it may be by what was told", wind.with_most),
        ("What was read, and does not count by itself,", wind.with_aside),
    ):
        if other is not None and now != "no-go":
            there = _in_wind(setup, other)
            outcome = OUTCOMES[RANK.index(there)]
            yield _beside(f"{what} is judged as well", there, outcome)


def _in_wind(setup: Setup, wind: WindProfile) -> Verdict:
    return decide_ahead(checks_of(setup, wind))


def _beside(told: str, there: Verdict, outcome: Outcome) -> Check:
    """Tell what the verdict would be in another wind, where it is not go."""
    word = "" if there == "go" else f"; in that wind it is {there}"
    return Check(
        kind=Kind.WIND_WARNED,
        name=f"{told}{word}",
        outcome=outcome,
        source=NO_SOURCE,
        beside=True,
    )
