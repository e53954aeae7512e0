"""Checks that the rules of the range ask for."""

from __future__ import annotations

import numpy as np

from driftmap.air.wind import WindProfile
from driftmap.ground.site import Site
from driftmap.montecarlo.cloud import Cloud
from driftmap.rules import (
    Answers,
    Facts,
    RuleResult,
    evaluate,
    expected_altitude,
    facts_of,
    picked_rules,
    with_answers,
)
from driftmap.verdict.check import Check, Kind

__all__ = ["rule_checks"]


def rule_checks(
    cloud: Cloud, site: Site, wind: WindProfile, answers: Answers | None
) -> list[Check]:
    """Ask the rules that the site names of this flight in this wind."""
    return [_rule(result) for result in _asked(cloud, site, wind, answers)]


def _rule(result: RuleResult) -> Check:
    """Turn a line of the rules into a check; what is not answered holds."""
    value = result.value
    governs = f"; {result.governs}" if result.governs else ""
    return Check(
        kind=Kind.RULE,
        name=result.what,
        area=result.area,
        value=value,
        interval=None if value is None else (value, value),
        limit=result.limit,
        unit=result.unit,
        outcome="warn" if result.outcome == "ask" else result.outcome,
        source=f"{result.rules}: {result.source}",
        sense="least" if result.sense == "at least" else "most",
        note=result.why + governs,
        question=result.outcome == "ask",
    )


def _asked(
    cloud: Cloud, site: Site, wind: WindProfile, answers: Answers | None
) -> tuple[RuleResult, ...]:
    """Ask the rules that the site names of this flight in this wind."""
    if not site.rules:
        return evaluate((), Facts(), Answers())  # which says that there are none
    said = answers or Answers()
    facts = facts_of(
        cloud.plan.flight,
        site,
        altitude=expected_altitude(cloud),
        surface_wind=float(np.hypot(*wind.at(10.0))),
    )
    return evaluate(picked_rules(site), with_answers(facts, said), said)
