"""Checks that the rules of the range ask for."""

from __future__ import annotations

from math import inf
from typing import Final

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
    with_answers,
)
from driftmap.verdict.check import Check, Kind, Outcome

__all__ = ["rule_checks", "rule_limit"]

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
