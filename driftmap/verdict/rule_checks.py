"""Checks that the rules of the range ask for, and whether the pad lies where they are made for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from math import inf
from typing import Final

import numpy as np

from driftmap.air.wind import (
    MAST,
    STILL_AIR,
    Disagreement,
    WindLevel,
    WindProfile,
    surface_wind,
)
from driftmap.core.units import MILE_PER_HOUR
from driftmap.ground.areas import Site
from driftmap.montecarlo.cloud import Cloud, fly
from driftmap.montecarlo.lean import Steered
from driftmap.montecarlo.margins import expected_altitude
from driftmap.rocket.flight import Flight
from driftmap.rules.answers import Answers
from driftmap.rules.evaluate import evaluate
from driftmap.rules.facts import Facts, facts_of, with_answers
from driftmap.rules.jurisdiction import lands, standing
from driftmap.rules.reading import picked_rules, read_rules, rule_sets
from driftmap.rules.result import LineOutcome, RuleResult
from driftmap.rules.ruleset import RuleSet
from driftmap.verdict.check import NO_SOURCE, Check, Kind, Outcome, beside, held

_SCOUTS: Final = 2000  # flights for the greatest height expected: its 99 % line
_KINDS: Final = {"surface_wind": Kind.SURFACE_WIND, "rail_tilt": Kind.RAIL_TILT}
_OUTCOME: Final[dict[str, Outcome]] = {
    "pass": "pass",
    "fail": "fail",
    "ask": "warn",
    "hold": "warn",
}


def rule_checks(
    cloud: Cloud, site: Site, wind: WindProfile, answers: Answers | None
) -> list[Check]:
    """Ask the rules that the site names of this flight in this wind."""
    found = [_rule(result) for result in _asked(cloud, site, wind, answers)]
    said = answers or Answers()
    taken_back = (beside(told, "the answers") for told in said.taken_back)
    return [*found, *_metered(wind, said), *taken_back]


def _metered(wind: WindProfile, said: Answers) -> Iterator[Check]:
    """Hold where the officer's meter shows more than the wind flown allows for.

    A meter that shows less takes nothing back: it may stand in a lull, or in the lee.
    """
    shown = said.numbers.get("surface_wind")
    speed, (_, most) = surface_wind(wind)
    if shown is not None and shown > most:
        told, flown, high = (_both(v) for v in (shown, speed, most))
        words = (
            f"winds disagree at 10 m: {flown} was flown, with its gusts and error up to "
            f"{high}, {told} was answered"
        )
        source = f"two standard errors: {NO_SOURCE}"
        two = Disagreement(
            words,
            WindLevel(MAST, None, speed, most, wind.source),
            WindLevel(MAST, None, shown, None, "the answers"),
        )
        yield held(Kind.WIND_WARNED, source, words, answered=True, winds=two)


def _both(speed: float) -> str:
    return f"{speed:.1f} m/s ({speed / MILE_PER_HOUR:.0f} mph)"


def _rule(result: RuleResult) -> Check:
    """Turn a line of the rules into a check; what is not answered or sure holds."""
    value = result.value
    kind = _KINDS.get(result.name, Kind.RULE)
    governs = f"; {result.governs}" if result.governs else ""
    return Check(
        kind=kind,
        name=result.what if kind == Kind.RULE else "",
        area=result.area,
        value=value,
        interval=result.interval or (None if value is None else (value, value)),
        limit=result.limit,
        unit="share of the sky" if result.unit == "share" else result.unit,
        outcome=_OUTCOME[result.outcome],
        source=f"{result.rules}: {result.source}",
        sense="least" if result.sense == "at least" else "most",
        note=result.why + governs,
        question=result.outcome == "ask",
        answered=result.answered,
    )


def _asked(
    cloud: Cloud, site: Site, wind: WindProfile, answers: Answers | None
) -> tuple[RuleResult, ...]:
    """Ask the rules that the site names of this flight in this wind."""
    said = answers or Answers()
    facts = _facts(cloud, site, wind, said.when)
    return evaluate(_picked(site), with_answers(facts, said), said)


def _facts(
    cloud: Cloud, site: Site, wind: WindProfile | None, when: datetime | None
) -> Facts:
    return facts_of(
        cloud.plan.flight,
        site,
        altitude=expected_altitude(cloud),
        wind=wind,
        impulse=float(np.exp(cloud.plan.log_motor[0])),
        when=when,
    )


def facts_flown(
    flight: Flight,
    site: Site,
    wind: WindProfile | None = None,
    *,
    when: datetime | None = None,
) -> Facts:
    """Collect the facts of a flight before it is assessed, its height from some flights.

    ``wind``: calm where it is left out, and then no fact; ``when``: time of the flight.
    """
    up = Steered(only=())  # no case tells how high it rises: nothing is brought down
    air = wind or STILL_AIR
    cloud = fly(flight, air, site.elevation, samples=_SCOUTS, seed=1, steered=up)
    return _facts(cloud, site, wind, when)


def _picked(site: Site) -> tuple[RuleSet, ...]:
    return picked_rules(site) if site.rules.strip() else ()


def rule_limit(flight: Flight, site: Site, kind: Kind) -> float:
    """Return the strictest limit that the rules set for a flight, whoever answers what.

    ``flight`` and ``site``: the flight and the site; ``kind``: `Kind.SURFACE_WIND` [m
    s⁻¹] or `Kind.RAIL_TILT` [deg].

    Result: the limit; infinite where no rule sets one.
    """
    lines = evaluate(_picked(site), facts_of(flight, site), Answers())
    limits = (r.limit for r in lines if _KINDS.get(r.name) == kind)
    return min((limit for limit in limits if limit is not None), default=inf)


def show_position(longitude: float, latitude: float) -> str:
    """Write a position for people to hold against what they know."""
    north, east = "N" if latitude >= 0 else "S", "E" if longitude >= 0 else "W"
    return f"{abs(latitude):.5f}° {north}, {abs(longitude):.5f}° {east}"


def position_lines(site: Site, picked: Sequence[RuleSet]) -> Iterator[RuleResult]:
    """Say what is wrong with rule sets for where the pad lies, as lines of the rules."""
    for check in position_checks(site, picked):
        if check.outcome != "pass":
            came: LineOutcome = "fail" if check.outcome == "fail" else "hold"
            yield RuleResult(
                "position",
                check.name,
                check.area,
                outcome=came,
                source=check.source,
                why=check.note,
            )


def position_checks(
    site: Site, picked: Sequence[RuleSet] | None = None
) -> Iterator[Check]:
    """Fail where the pad lies in none of the lands that its rules are made for.

    Hold where the rules of a land it lies in are known, and not all among those picked.
    Near a border the rules ask people on which side it is.

    ``picked``: the rule sets; those that the site names when left out.
    """
    longitude, latitude = site.longitude, site.latitude
    # A club's own file speaks for the lands of the sets that it extends.
    picked = _picked(site) if picked is None else picked
    names = [rules.name for rules in picked]
    meant = (next((key for key in lands() if _of(name, key)), "") for name in names)
    for land in filter(None, dict.fromkeys(meant)):
        where = standing(land, longitude, latitude)
        hint = ""
        if where == "outside" and standing(land, latitude, longitude) == "inside":
            hint = "; latitude and longitude are swapped: GeoJSON has longitude first"
        yield Check(
            kind=Kind.POSITION,
            area=land,
            outcome="fail" if where == "outside" else "pass",
            source=f"outline of {land}, from memory",
            note=f"the pad is at {show_position(longitude, latitude)}{hint}",
        )
    law = {name for name in names if _published(name, picked)}
    missing = [
        land
        for land in lands()
        if standing(land, longitude, latitude) == "inside"
        and not law >= {part.name for part in read_rules((land,)) if part.rules}
    ]
    if picked and missing:
        yield held(
            Kind.RULE,
            "outlines of lands, from memory",
            f"the rules of the land the pad lies in ({' and '.join(missing)}) are not all "
            "among those that the site names",
            note=f"the pad is at {show_position(longitude, latitude)}; name them in "
            "'rules' of the site file, beside a club's own",
        )


def _published(name: str, picked: Iterable[RuleSet]) -> bool:
    """Return whether a set is one of the package, not a file of its name."""
    return name in rule_sets() and any(r in picked for r in read_rules((name,)))


def _of(name: str, land: str) -> bool:
    return name == land or name.startswith(f"{land}-")
