"""What speaks against flying, in plain words."""

from __future__ import annotations

from collections.abc import Iterable
from types import MappingProxyType
from typing import Final

from driftmap.briefing.voice import Voice
from driftmap.report.words import isolate
from driftmap.verdict.check import Check

__all__ = ["reasons"]

_KEYS: Final = MappingProxyType(
    {
        "a piece lands outside the boundary": "reason.boundary",
        "a piece lands outside the waiver": "reason.waiver",
        "apogee above the waiver's ceiling": "reason.ceiling",
        "rail's tilt from the vertical": "reason.tilt",
        "speed leaving the rail": "reason.rail_speed",
        "rail speed over the wind's speed": "reason.rail_speed_over_wind",
        "wind at 10 m": "reason.surface_wind",
        "height flown above the highest wind known": "reason.wind_gap",
        "age of the wind": "reason.wind_age",
        "casualties expected in a flight": "reason.risk",
        "risk to one person at the worst spot": "reason.risk",
    }
)
"""Plain message for each check that concerns no area; others are told as they are."""


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
        place = check.area if check.name.startswith("a piece lands in") else ""
        key = ("area", place) if place else ("", _KEYS.get(check.name, check.name))
        told.setdefault(key, _reason(check, voice))
    if asked:
        told["", "questions"] = voice.say("reason.questions", count=voice.count(asked))
    return list(told.values())


def _reason(check: Check, voice: Voice) -> str:
    area = isolate(check.area)
    if check.name == "a piece lands in":
        key = "reason.area" if check.outcome == "fail" else "reason.area_unsure"
        return voice.say(key, area=area)
    if check.name == "a piece lands in, if":
        return voice.say("reason.area_failure", area=area)
    if check.name in _KEYS:
        return voice.say(_KEYS[check.name])
    return voice.say("reason.other", check=isolate(check.name))
