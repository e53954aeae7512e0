"""Consequence beside likelihood: who stands under a fall that can kill or maim, however rare.

And the aim that avoids it, and likelihoods that a file sets beside those by default.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from math import degrees, pi
from typing import Final

import numpy as np
import shapely

from driftmap.air.wind import WindProfile
from driftmap.core.errors import DriftmapError
from driftmap.ground.areas import Site
from driftmap.hazard.harm import KILLS
from driftmap.hazard.outlines import Lines, Outlines
from driftmap.hazard.probability import passing_over, ways_up
from driftmap.hazard.zones import grade, strength
from driftmap.montecarlo.cloud import Cloud, fly
from driftmap.montecarlo.columns import Part
from driftmap.montecarlo.lean import Steered
from driftmap.rocket.likelihood import (
    BARE,
    CERTAIN,
    LIKELIHOOD,
    WORKS,
    default_likelihood,
)
from driftmap.verdict.check import Check, Kind

_SHARE_TOLD: Final = 0.9
"""Share whose line is told of where people stand inside it."""

_INSIDE: Final = 0.5
"""Share whose line must not hold people: within it, it is the likely place."""


def under_the_fall(
    cloud: Cloud, site: Site, lines: Lines | None = None
) -> Iterator[Check]:
    """Tell for each failure which people stand inside the line of a fall that can maim.

    Inside the 50 % line the check holds; inside the 90 % line it passes, and stands
    beside the verdict all the same. A case that may go any way, or is too rare to be judged
    by itself, is left to its risk.
    """
    crowd = [area for area in site.areas if area.perhaps_occupied]
    tree = shapely.STRtree([area.shape for area in crowd])
    found: dict[str, list[tuple[float, Part, list[str]]]] = {}
    drawn = lines or Outlines(cloud)
    for key, part in maiming(cloud).items() if crowd else ():
        for line in drawn[key]:
            hit = sorted(tree.query(line.shape, predicate="intersects"))
            if hit and line.share <= _SHARE_TOLD:
                names = [crowd[i].name for i in hit]
                found.setdefault(part.case, []).append((line.share, part, names))
    for rows in found.values():
        yield _check(cloud, *min(rows, key=lambda row: row[0]))


def lines_of(cloud: Cloud) -> Lines:
    """Draw the lines that `under_the_fall` asks for, wherever people stand."""
    drawn = Outlines(cloud)
    return {key: drawn[key] for key in maiming(cloud)}


def maiming(cloud: Cloud) -> dict[tuple[str, str], Part]:
    """Find the falls that can maim, of failures that are judged by themselves."""
    return {
        (part.case, part.body): part
        for case in cloud.tree.cases
        if not (case.name == WORKS or case.any_way or case.rare)
        for part in cloud.of(case.name)
        if grade(strength(cloud, part)) == "danger"
    }


def _check(cloud: Cloud, share: float, part: Part, names: list[str]) -> Check:
    energy = strength(cloud, part)
    return Check(
        kind=Kind.UNDER_THE_FALL,
        case=part.case,
        area=", ".join(names),
        value=share,
        interval=(share, share),
        limit=_INSIDE,
        unit="share of falls",
        outcome="warn" if share <= _INSIDE else "pass",
        source=f"{KILLS.source}: {KILLS.value:.0f} J; which line must be clear of "
        "people is a default of this tool, no source",
        sense="least",
        note=f"the line that holds {share:.0%} of these falls of the {part.body} "
        f"({energy:,.0f} J) reaches {', '.join(names)}",
        beside=True,
    )


_FLIGHTS: Final = 300
_TURNS: Final = 8
_TILTS: Final = (10.0,)  # deg, beside the tilt as planned
_OVERHEAD: Final = 0.01  # of flights; the default limit on passing over people


def with_clear_aim(
    checks: Iterable[Check], cloud: Cloud, site: Site, wind: WindProfile
) -> tuple[Check, ...]:
    """Tell, beside who stands under a fall, the aim that would keep it off them.

    Every aim told has been flown, with few flights and for one failure, the worst and
    commonest of those that stand there: it is a hint where to look, and a verdict of its
    own is still owed.
    """
    checks = tuple(checks)
    under = [check for check in checks if check.kind is Kind.UNDER_THE_FALL]
    if not under:
        return checks
    chance = {case.name: case.probability for case in cloud.tree.cases}
    worst = min(under, key=lambda c: (c.outcome == "pass", -chance[c.case]))
    told = _told(worst.case, cloud, site, wind)
    note = f"{worst.note}; {told}"
    return tuple(replace(c, note=note) if c is worst else c for c in checks)


def _told(case: str, cloud: Cloud, site: Site, wind: WindProfile) -> str:
    for tilt, azimuth in _aims(cloud):
        if _clear(case, tilt, azimuth, cloud, site, wind):
            return (
                f"a rail {degrees(tilt):.3g}° from the vertical toward "
                f"{degrees(azimuth):03.0f}° would keep its 90 % line off people; "
                "judge that by itself"
            )
    return "no other aim that was tried keeps its 90 % line off people"


def _aims(cloud: Cloud) -> Iterator[tuple[float, float]]:
    """Yield tilts, the least first, each about the compass."""
    planned = cloud.plan.flight.rail.angle.value
    for tilt in sorted({planned, *(np.radians(t) for t in _TILTS)}):
        for turn in range(_TURNS):
            yield float(tilt), 2 * pi * turn / _TURNS


def _clear(
    case: str, tilt: float, azimuth: float, cloud: Cloud, site: Site, wind: WindProfile
) -> bool:
    plan = cloud.plan
    lean = np.random.default_rng(cloud.seed).standard_normal((2, _FLIGHTS))
    try:
        tried = fly(
            plan.flight.aimed(azimuth, tilt),
            wind,
            site.elevation,
            samples=_FLIGHTS,
            seed=cloud.seed,
            day=plan.sky.day,
            steered=Steered(lean, (case,)),
        )
    except DriftmapError:
        return False
    if any(True for _ in under_the_fall(tried, site)):
        return False
    people = [area.shape for area in site.areas if area.perhaps_occupied]
    return passing_over(ways_up(tried), shapely.union_all(people)).estimate <= _OVERHEAD


def lowered_likelihoods(cloud: Cloud) -> Iterator[Check]:
    """Put beside the verdict each likelihood that a file sets below the default."""
    flight = cloud.plan.flight
    for name, given in flight.cases.items():
        default = default_likelihood(name, flight)
        if name in LIKELIHOOD and given < default:
            yield Check(
                kind=Kind.LIKELIHOOD,
                case=name,
                value=given,
                interval=(given, given),
                limit=default,
                unit="share",
                outcome="pass",
                source=f"set in {flight.source}; assumed otherwise",
                sense="least",
                note="what happens if it does happen is judged all the same",
                beside=True,
            )


def by_default(cloud: Cloud) -> Cloud | None:
    """Weigh no case lighter than by default, nor what works; None where no file does.

    A likelihood that somebody set is a claim: lowered, it hides a failure, and raised, or that
    of a case of one's own, what it leaves fewer flights to. A go that rests on it is none.
    That all of it adds up to more than all flights errs toward hold.
    """
    cases, flight = cloud.tree.cases, cloud.plan.flight
    given = {case.cause: case.likelihood for case in cases}
    usual = {cause: default_likelihood(cause, flight) for cause in given}
    said = flight.cases.keys() & given.keys()
    likely = given | {cause: max(given[cause], usual[cause]) for cause in said}
    more = {cause: flight.cases[cause] - usual[cause] for cause in said}
    more |= {own.name: own.likelihood for own in flight.own_cases}
    before = {case.cause for case in cases if case.ahead}
    for cause in given.keys() & {WORKS, BARE, CERTAIN}:
        takes = more if cause != CERTAIN else more.keys() & before
        left = given[cause] + sum(more[each] for each in takes)
        likely[cause] = max(given[cause], min(left, 1.0))
    if likely == given:
        return None
    weighed = []
    for case in cases:
        share = float(next(cloud.of(case.name)).stands_for.sum()) / cloud.flights
        odds = likely[case.cause]
        weighed.append(replace(case, likelihood=odds, probability=odds * share))
    return replace(cloud, tree=replace(cloud.tree, cases=tuple(weighed)))
