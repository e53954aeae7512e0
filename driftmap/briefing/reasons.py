"""What speaks against flying, in plain words."""

from __future__ import annotations

from collections.abc import Iterable
from types import MappingProxyType
from typing import Final

from driftmap.briefing.voice import Voice
from driftmap.report.words import isolate
from driftmap.verdict.check import Check, Kind

__all__ = ["reasons"]

_KEYS: Final = MappingProxyType(
    {
        Kind.OUTSIDE_BOUNDARY: "reason.boundary",
        Kind.OUTSIDE_WAIVER: "reason.waiver",
        Kind.ABOVE_CEILING: "reason.ceiling",
        Kind.RAIL_TILT: "reason.tilt",
        Kind.RAIL_SPEED: "reason.rail_speed",
        Kind.RAIL_OVER_WIND: "reason.rail_speed_over_wind",
        Kind.SURFACE_WIND: "reason.surface_wind",
        Kind.WIND_GAP: "reason.wind_gap",
        Kind.WIND_AGE: "reason.wind_age",
        Kind.CASUALTIES: "reason.risk",
        Kind.INDIVIDUAL_RISK: "reason.risk",
    }
)
"""Plain message for each check that concerns no area; others are told as they are."""

_LANDINGS: Final = (Kind.LANDS_IN, Kind.LANDS_IN_FAILURE)


def reasons(checks: Iterable[Check], people: Iterable[str], voice: Voice) -> list[str]:
    """Say in a few words each what speaks against flying.

    Parameters
    ----------
    checks : iterable of Check
        All checks.
    people : iterable of str
        Names of the areas where people are; these come before others.
    voice : Voice
        Writes the messages.

    Returns
    -------
    list of str
        What fails before what is unsure, the count of open questions last.
    """
    first = set(people)
    against = sorted(
        (check for check in checks if check.outcome != "pass"),
        key=lambda c: (c.outcome != "fail", c.area not in first),
    )
    told: dict[tuple[str, str], str] = {}
    asked = sum(check.question for check in against)
    for check in against:
        if check.question:
            continue
        place = check.area if check.kind in _LANDINGS else ""
        key = ("area", place) if place else ("", _KEYS.get(check.kind, check.name))
        told.setdefault(key, _reason(check, voice))
    if asked:
        told["", "questions"] = voice.say("reason.questions", count=voice.count(asked))
    return list(told.values())


def _reason(check: Check, voice: Voice) -> str:
    area = isolate(check.area)
    if check.kind is Kind.LANDS_IN:
        key = "reason.area" if check.outcome == "fail" else "reason.area_unsure"
        return voice.say(key, area=area)
    if check.kind is Kind.LANDS_IN_FAILURE:
        return voice.say("reason.area_failure", area=area)
    if check.kind in _KEYS:
        return voice.say(_KEYS[check.kind])
    return voice.say("reason.other", check=isolate(check.name))
