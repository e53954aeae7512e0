"""Every check of a landing cloud at a site in a wind, in one call; how many flights a go needs."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final, TypeAlias

import numpy as np

from driftmap.air.wind import WindProfile
from driftmap.core.estimate import CONFIDENCE, Estimate, weighted_mean
from driftmap.ground.areas import Site
from driftmap.hazard.exposure import Danger, Harm, harm_of
from driftmap.hazard.outlines import Lines, Outlines
from driftmap.hazard.precise import Sharpened, sharpen
from driftmap.hazard.probability import beyond_reach
from driftmap.montecarlo.cloud import Cloud, fly_again
from driftmap.rocket.likelihood import WORKS
from driftmap.rules.answers import Answers
from driftmap.verdict.check import (
    OUTCOMES,
    Check,
    Kind,
    Outcome,
    held,
    kinds_marked,
    outcome_of,
)
from driftmap.verdict.claim_checks import file_remarks, implausible, label_claims
from driftmap.verdict.consequence_checks import (
    by_default,
    lowered_likelihoods,
    under_the_fall,
)
from driftmap.verdict.launch_checks import air_checks, rail_checks, wind_checks
from driftmap.verdict.limits import LOOSER, Limit, read_limits, tightened
from driftmap.verdict.people_checks import (
    AreaHit,
    area_hits,
    details,
    ground_checks,
    harm_checks,
    people_checks,
)
from driftmap.verdict.recovery_checks import missing_checks, recovery_checks
from driftmap.verdict.rule_checks import position_checks, rule_checks

_Known: TypeAlias = Mapping[str, Estimate]


def judge(
    cloud: Cloud,
    site: Site,
    wind: WindProfile,
    *,
    limits: Mapping[str, Limit],
    harm: Harm | None = None,
    known: _Known = MappingProxyType({}),
    lines: Lines | None = None,
    rules: Iterable[Check] = (),
) -> tuple[tuple[Check, ...], tuple[AreaHit, ...]]:
    """Check a cloud against a site.

    ``site``: areas, boundary and waiver; ``wind``: the wind the cloud was flown in;
    ``harm``: harm to people, from `driftmap.hazard.exposure.harm_of`; ``known``: better
    figures for some areas, by name, from `driftmap.hazard.precise.sharpen`; ``lines``:
    contours that are drawn already; ``rules``: what the rules of the range say, from
    `driftmap.verdict.rule_checks`, and what else depends on no landing.

    Result: probabilities for every area, checked or not.
    """
    areas = area_hits(cloud, site, known)
    checks = (
        *under_the_fall(cloud, site, lines),
        *lowered_likelihoods(cloud),
        *people_checks(cloud, site, areas, limits),
        *([] if harm is None else harm_checks(cloud, site, harm, limits)),
        *ground_checks(cloud, site, limits),
        *recovery_checks(cloud, limits),
        *rail_checks(cloud, wind, limits),
        *wind_checks(cloud, wind, limits),
        *missing_checks(cloud),
        *rules,
    )
    return checks, areas


@dataclass(frozen=True, slots=True, eq=False)
class Judgement:
    """What was asked and what was found.

    Parameters
    ----------
    checks : tuple of Check
        Every line.
    areas : tuple of AreaHit
        Probabilities for every area.
    harm : Harm
        Collective and individual risk.
    sharpened : tuple of Sharpened
        Areas whose figure was flown to a wanted precision.
    """

    checks: tuple[Check, ...]
    areas: tuple[AreaHit, ...]
    harm: Harm
    sharpened: tuple[Sharpened, ...]


def judge_all(
    cloud: Cloud,
    site: Site,
    wind: WindProfile,
    *,
    answers: Answers | None = None,
    precision: float | None = None,
    lines: Lines | None = None,
    danger: Danger | None = None,
) -> Judgement:
    """Judge a cloud by the limits of its flight and site, its people and the rules.

    ``wind``: the wind the cloud was flown in; ``answers``: what people confirmed of the
    rules that the site names; ``lines``: contours of
    `driftmap.core.points.SHARES` where they are drawn already;
    ``danger``: from `driftmap.hazard.exposure.danger_of`, where it is known already.

    Result: every check, and what it rests on. Raises `DriftmapError` if a limit or a
    rule set cannot be used.
    """
    limits, lines = _limits(cloud, site, answers), lines or Outlines(cloud)
    out_of_reach = beyond_reach(cloud)
    near = replace(
        site, areas=tuple(a for a in site.areas if not out_of_reach(a.shape))
    )
    harm = harm_of(cloud, near, danger)
    sharpened = _sharpened(cloud, near, wind, limits, precision)
    when = wind.when if answers is None else answers.when
    asked = [
        *implausible(cloud, answers),
        *air_checks(cloud.plan.sky.day, site, wind, when),
        *rule_checks(cloud, site, wind, answers),
        *label_claims(cloud, answers),
    ]
    known = {s.area: s.estimate for s in sharpened}

    def judged(
        cloud: Cloud, limits: Mapping[str, Limit], harm: Harm, known: _Known
    ) -> tuple[tuple[Check, ...], tuple[AreaHit, ...]]:
        checks, areas = judge(
            cloud,
            site,
            wind,
            limits=limits,
            harm=harm,
            known=known,
            lines=lines,
            rules=asked,
        )
        return tuple(together(check, answers) for check in checks), areas

    checks, areas = judged(cloud, limits, harm, known)
    if any(limit.loosened is not None for limit in limits.values()):
        strict, _ = judged(cloud, tightened(limits), harm, known)
        checks = _capped(checks, strict, "a loosened limit", most="warn")
    if (plain := by_default(cloud)) is not None:
        # Two claims together may pass what neither would: here nothing is eased at all.
        strict, _ = judged(plain, tightened(limits), harm_of(plain, near), {})
        checks = _capped(checks, strict, "likelihoods that the file sets")
    checks = tuple(_told(check) for check in checks)
    told = file_remarks(cloud.plan.flight, site)
    checks = (*checks, *_unreached(sharpened), *position_checks(site), *told)
    return Judgement(checks, areas, harm, sharpened)


def _sharpened(
    cloud: Cloud,
    site: Site,
    wind: WindProfile,
    limits: Mapping[str, Limit],
    precision: float | None,
) -> tuple[Sharpened, ...]:
    """Fly steered flights until how often each area with people is hit is known so well."""
    if precision is None:
        return ()
    far = beyond_reach(cloud)
    people = [a for a in site.areas if a.peopled and not far(a.shape)]
    bound = limits["area_hit"].value
    return sharpen(
        cloud, fly_again(cloud, wind), people, relative=precision, limit=bound
    )


def _limits(cloud: Cloud, site: Site, answers: Answers | None) -> dict[str, Limit]:
    when = None if answers is None else answers.when
    return read_limits(cloud.plan.flight, site, when=when)


def glance(cloud: Cloud, site: Site, answers: Answers | None) -> tuple[Check, ...]:
    """Look only at boundary, waiver and the way up, and how often each area is hit.

    Result: some of the checks of `judge_all`; what does not pass here does not there.
    """
    limits = _limits(cloud, site, answers)
    hits = area_hits(cloud, site, {}, by_case=False)
    seen = (
        *ground_checks(cloud, site, limits),
        *(check for hit in hits for check in details(hit, limits)),
    )
    return tuple(together(check, answers) for check in seen)


def _capped(
    checks: Iterable[Check], strict: Iterable[Check], by: str, most: Outcome = "fail"
) -> tuple[Check, ...]:
    """Let nothing that somebody eased, and nobody answers for, make a go.

    A check that is milder only so is as without, up to `most`, and tells the figure and the
    limit by which it is; the same checks stand in both in one order.
    """
    at_most = OUTCOMES.index(most)
    return tuple(
        check
        if OUTCOMES.index(check.outcome) >= min(OUTCOMES.index(other.outcome), at_most)
        else replace(
            other,
            outcome=min(other.outcome, most, key=OUTCOMES.index),
            source=check.source,
            beside=check.beside,
            note=f"kept only by {by}. {check.note}".strip(),
        )
        for check, other in zip(checks, strict, strict=True)
    )


_OF_A_LAUNCH: Final = kinds_marked("launch")
"""What counts for a launch, however many rockets go up in it."""


def together(check: Check, answers: Answers | None) -> Check:
    """Let what rockets launched together do count for all of them, taken as alike."""
    rockets = _launched(answers)
    if rockets <= 1 or check.kind not in _OF_A_LAUNCH or check.interval is None:
        return check
    assert check.limit is not None
    value, low, high = (
        min(rockets * (v or 0.0), 1.0 if check.unit == "share" else np.inf)
        for v in (check.value, *check.interval)
    )
    beyond = outcome_of(check.kind, value, (low, high), check.limit)
    outcome = max(check.outcome, beyond, key=OUTCOMES.index)
    note = f"of {rockets:g} rockets launched together. {check.note}".strip()
    return replace(check, value=value, interval=(low, high), outcome=outcome, note=note)


def _told(check: Check) -> Check:
    """Put a loosened limit beside the verdict, once and not for every area."""
    detail = check.kind in {Kind.LANDS_IN, Kind.LANDS_IN_FAILURE}
    return (
        check if detail or LOOSER not in check.source else replace(check, beside=True)
    )


def _unreached(sharpened: Iterable[Sharpened]) -> Iterator[Check]:
    """Hold where a figure could not be known as well as was asked."""
    for sharp in sharpened:
        if not sharp.reached:
            yield held(Kind.PRECISION, "--precision", area=sharp.area)


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


def flights_needed(scout: Cloud, site: Site, answers: Answers | None = None) -> Need:
    """Say how many flights a go needs, though nothing that is counted is ever seen.

    ``scout``: a few flights; their casualty areas and how often each case happens
    count, not where they land; ``site``: whose limits and people count; ``answers``: how
    many rockets are launched together.

    Result: the greatest of the numbers that each limit asks for by itself.

    The bound for nothing seen is that of the checks: ``3.69 m / n`` with the most `m`
    that one flight can add, and for one case by itself the exact one of as many flights
    as it happens to. What is seen asks for more.
    """
    return max(_needs(scout, site, answers), key=lambda need: need.flights)


def _launched(answers: Answers | None) -> float:
    return 1.0 if answers is None else answers.numbers.get("rockets_together", 1.0)


def _needs(scout: Cloud, site: Site, answers: Answers | None = None) -> Iterator[Need]:
    limits = tightened(_limits(scout, site, answers))
    many = math.ceil(_launched(answers))
    unseen = weighted_mean([], _MANY, 1.0).upper * _MANY
    least = min(
        (key for key, limit in limits.items() if limit.dimension == "share"),
        key=lambda key: limits[key].value,
    )
    share = limits[least].value
    yield Need(math.ceil(many * unseen / share), f"a share of {share:.3g} ({least})")
    people = any(area.perhaps_occupied for area in site.areas)
    if not people:
        return
    bound = limits["area_hit_in_failure"].value
    alone = _alone(bound)
    judged = {c.name for c in scout.tree.cases if not (c.any_way or c.rare)}
    for part in scout.parts:
        if part.case in judged - {WORKS}:
            count = math.ceil(alone * scout.flights / part.flights)
            yield Need(count, f"{bound:.3g} in {part.case!r} alone")
    harm = harm_of(replace(scout, east=scout.east + _FAR), site)
    figures = [("expected_casualties", many * harm.casualties.total.upper)]
    figures += [("individual_risk", many * spot.risk.upper) for spot in harm.spots]
    worst = max((harm.if_it_happens[name].upper for name in judged), default=0.0)
    figures.append(("casualties_if_it_happens", worst))
    for key, upper in figures:
        limit = limits[key].value
        yield Need(math.ceil(scout.flights * upper / limit), f"{limit:.3g} ({key})")


def _alone(limit: float) -> int:
    """Count the flights of one case of which none may hit to show a limit kept."""
    return math.ceil(math.log((1 - CONFIDENCE) / 2) / math.log1p(-limit))
