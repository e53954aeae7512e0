"""What a check found as one sentence a lay reader understands, in any language."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Final

from driftmap.report.voice import Voice
from driftmap.report.words import isolate, rounded
from driftmap.units import show
from driftmap.verdict.check import ALL_CASES, Check, Kind

__all__ = ["allowed", "chance", "one_of", "sentence"]

_FALLING: Final = (Kind.DESCENT,)
"""Speeds told as those of a fall; all others are told as those of a wind."""


def one_of(p: float, voice: Voice, *, bound: bool = False, digits: int = 2) -> str:
    """Give so many flights of which one does something, as people round it.

    Parameters
    ----------
    p : float
        Share above 0.
    voice : Voice
        Writes the number.
    bound : bool
        Whether `p` is an upper bound: the number is then rounded down, never up.
    digits : int
        Significant digits.

    Returns
    -------
    str
        The number alone.
    """
    return voice.count(int(rounded(1 / p, digits, down=bound)))


def chance(check: Check, voice: Voice) -> str:
    """Say a share of flights as a natural frequency.

    Parameters
    ----------
    check : Check
        A check whose unit is a share of flights.
    voice : Voice
        Writes the message.

    Returns
    -------
    str
        Such as "1 flight in 240"; one never seen is told as its upper bound.
    """
    p = check.value or 0.0
    if p == 0:
        upper = 1.0 if check.interval is None else check.interval[1]
        return voice.say(
            "chance.under", count=one_of(max(upper, 1e-12), voice, bound=True)
        )
    if p > 1 / 2:
        return voice.say("chance.most")
    told = one_of(p, voice)
    if check.limit and told == one_of(check.limit, voice):
        told = one_of(p, voice, digits=4)  # rounded alike, they would seem to agree
    return voice.say("chance.one", count=told)


def allowed(limit: float, voice: Voice) -> str:
    """Say a limit on a share of flights.

    Parameters
    ----------
    limit : float
        Share.
    voice : Voice
        Writes the message.

    Returns
    -------
    str
        Such as "1 in 1,000".
    """
    if limit == 0:
        return voice.say("chance.none_allowed")
    return voice.say("chance.allowed", count=one_of(limit, voice))


def _amount(value: float, check: Check, voice: Voice) -> str:
    def speed() -> str:
        kind = "descent" if check.kind in _FALLING else "speed"
        return voice.number(show(value, kind, voice.units))

    forms: Mapping[str, Callable[[], str]] = {
        "m/s": speed,
        "m": lambda: voice.exact_distance(value),
        "deg": lambda: f"{value:.0f}°",
        "times": lambda: voice.number(f"{value:.2f}"),
        "times its weight": lambda: voice.number(f"{value:.1f}"),
        "h": lambda: voice.number(f"{value:.1f}") + "\u00a0h",
        "share": lambda: voice.number(f"{value:.0%}").replace("%", "\u00a0%"),
        "per flight": lambda: one_of(value, voice) if value else "∞",
    }
    form = forms.get(check.unit)
    return form() if form else f"{voice.number(f'{value:,.1f}')} {check.unit}".rstrip()


def sentence(check: Check, voice: Voice) -> str:
    """Say what a check found.

    Parameters
    ----------
    check : Check
        The check, one that does not pass.
    voice : Voice
        Writes the messages.

    Returns
    -------
    str
        One sentence without its full stop. A kind the catalogue has no words for is told
        in the check's own.
    """
    told = _told(check, voice)
    return voice.say("chance.unsure", told=told) if _in_doubt(check) else told


def _told(check: Check, voice: Voice) -> str:
    words = {"area": isolate(check.area), "when": _when(check, voice)}
    words["check"] = isolate(check.name)
    if check.value is not None:
        words["chance"] = chance(check, voice) if check.unit == "share" else ""
        words["value"] = _figure(check, voice)
    if check.limit is not None:
        words["limit"] = _amount(check.limit, check, voice)
        share = check.unit == "share" and check.limit < 1
        words["allowed"] = allowed(check.limit, voice) if share else words["limit"]
    key = f"check.{check.kind.value}"
    if key in voice.catalogue.messages:
        try:
            return voice.say(key, **words)
        except KeyError:  # a figure that this check lacks
            pass
    return _plainly(check, words, voice)


def _figure(check: Check, voice: Voice) -> str:
    """Write the figure; of risk none of which was seen, its upper bound."""
    value = check.value or 0.0
    if check.unit == "per flight" and value == 0 and check.interval:
        return _amount(check.interval[1], check, voice)
    return _amount(value, check, voice)


def _plainly(check: Check, words: Mapping[str, str], voice: Voice) -> str:
    """Tell a check in its own English words, with its figure where it has one."""
    if "value" not in words or "limit" not in words:
        where = (
            "" if not check.area or check.area in check.name else f" – {words['area']}"
        )
        return voice.say("reason.other", check=words["check"] + where)
    key = "reason.other_least" if check.sense == "least" else "reason.other_most"
    return voice.say(
        key,
        check=words["check"],
        value=words["chance"] or words["value"],
        limit=words["allowed"],
    )


def _when(check: Check, voice: Voice) -> str:
    """Begin a sentence with the case it is about."""
    if not check.case or check.case == ALL_CASES:
        return ""
    told = voice.catalogue.messages.get(f"when.{check.case}")
    return told or voice.say("when.own", case=isolate(check.case))


def _in_doubt(check: Check) -> bool:
    """Say whether a figure is not surely on either side of its limit."""
    if check.interval is None or check.limit is None or check.outcome != "warn":
        return False
    low, high = check.interval
    return low <= check.limit <= high and low < high and math.isfinite(high)
