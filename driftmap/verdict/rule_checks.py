"""Checks that the rules of the range ask for, and whether the pad lies where they are made for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import inf
from types import MappingProxyType
from typing import Final, TypeAlias

import numpy as np

from driftmap.air.wind import WindProfile
from driftmap.ground.site import Site
from driftmap.montecarlo.cloud import Cloud
from driftmap.rocket.flight import Flight
from driftmap.rules import (
    Answers,
    RuleResult,
    RuleSet,
    evaluate,
    expected_altitude,
    facts_of,
    picked_rules,
    read_rules,
    rule_sets,
    with_answers,
)
from driftmap.verdict.check import Check, Kind, Outcome

__all__ = ["BOXES", "position_checks", "rule_checks", "rule_limit", "show_position"]

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
    return [_rule(result) for result in _asked(cloud, site, wind, answers)]


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
        unit=result.unit,
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
    facts = facts_of(
        cloud.plan.flight,
        site,
        altitude=expected_altitude(cloud),
        wind=wind,
        impulse=float(np.exp(cloud.plan.log_motor[0])),
        when=said.when,
    )
    return evaluate(_picked(site), with_answers(facts, said), said)


def _picked(site: Site) -> tuple[RuleSet, ...]:
    return picked_rules(site) if site.rules.strip() else ()


def rule_limit(flight: Flight, site: Site, kind: Kind) -> float:
    """Give the strictest limit that the rules set for a flight, whoever answers what.

    Parameters
    ----------
    flight, site : Flight, Site
        The flight and the site.
    kind : Kind
        `Kind.SURFACE_WIND` [m s⁻¹] or `Kind.RAIL_TILT` [deg].

    Returns
    -------
    float
        The limit; infinite where no rule sets one.
    """
    lines = evaluate(_picked(site), facts_of(flight, site), Answers())
    limits = (r.limit for r in lines if _KINDS.get(r.name) == kind)
    return min((limit for limit in limits if limit is not None), default=inf)


_Box: TypeAlias = tuple[float, float, float, float]

BOXES: Final = MappingProxyType(
    {
        "us-california": ((-124.6, 32.4, -114.0, 42.1),),
        "us": (
            (-125.0, 24.3, -66.8, 49.5),
            (-180.0, 51.0, -129.9, 71.6),  # Alaska; its last isles lie past 180°
            (172.3, 51.0, 180.0, 53.2),
            (-160.4, 18.8, -154.7, 22.4),
            (-67.4, 17.6, -64.5, 18.6),
            (144.5, 13.1, 146.2, 20.7),
        ),
        "uk": ((-8.7, 49.8, 2.0, 60.9),),
        "canada": (
            (-141.1, 48.2, -88.3, 83.2),
            (-88.4, 46.2, -83.4, 83.2),
            (-83.5, 41.6, -79.0, 83.2),
            (-79.1, 42.7, -76.0, 83.2),
            (-76.1, 43.9, -74.5, 83.2),
            (-74.6, 44.9, -70.9, 83.2),
            (-71.0, 45.2, -67.7, 83.2),
            (-67.8, 43.3, -52.5, 83.2),
        ),
        "australia": ((112.9, -43.8, 153.7, -9.1),),
        "germany": ((5.8, 47.2, 15.1, 55.1),),
        "switzerland": ((5.9, 45.8, 10.6, 47.9),),
        "new-zealand": ((166.3, -47.4, 178.7, -34.3),),
    }
)
"""West, south, east and north ends of the lands whose rules are known [deg], by the start
of the name of a rule set; from memory, rounded outward."""


def show_position(longitude: float, latitude: float) -> str:
    """Write a position for people to hold against what they know."""
    north, east = "N" if latitude >= 0 else "S", "E" if longitude >= 0 else "W"
    return f"{abs(latitude):.5f}° {north}, {abs(longitude):.5f}° {east}"


def position_checks(site: Site) -> Iterator[Check]:
    """Fail where the pad lies in none of the lands that its rules are made for.

    Hold where the rules of the land it lies in are known, and not among those picked.
    """
    longitude, latitude = site.longitude, site.latitude
    # A club's own file speaks for the lands of the sets that it extends.
    picked = _picked(site)
    names = [rules.name for rules in picked]
    lands = (next((key for key in BOXES if _of(name, key)), "") for name in names)
    for land in dict.fromkeys(land for land in lands if land):
        inside = _within(land, longitude, latitude)
        hint = ""
        if not inside and _within(land, latitude, longitude):
            hint = "; latitude and longitude are swapped: GeoJSON has longitude first"
        yield Check(
            kind=Kind.POSITION,
            area=land,
            outcome="pass" if inside else "fail",
            source=f"bounds of {land}, from memory",
            note=f"the pad is at {show_position(longitude, latitude)}{hint}",
        )
    here = [land for land in BOXES if _within(land, longitude, latitude)]
    law = [name for name in names if _published(name, picked)]
    if picked and here and not any(_of(name, land) for name in law for land in here):
        yield Check(
            kind=Kind.RULE,
            name=f"the rules of the land the pad lies in ({' or '.join(here)}) are not "
            "among those that the site names",
            outcome="warn",
            source="bounds of lands, from memory",
            note=f"the pad is at {show_position(longitude, latitude)}; name them in "
            "'rules' of the site file, beside a club's own",
        )


def _published(name: str, picked: Iterable[RuleSet]) -> bool:
    """Tell whether a set is one of the package, not a file of its name."""
    return name in rule_sets() and any(r in picked for r in read_rules((name,)))


def _of(name: str, land: str) -> bool:
    return name == land or name.startswith(f"{land}-")


def _within(land: str, longitude: float, latitude: float) -> bool:
    return any(
        west <= longitude <= east and south <= latitude <= north
        for west, south, east, north in BOXES[land]
    )
