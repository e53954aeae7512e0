"""What a check found as one sentence a lay reader understands, in any language."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Final

from driftmap.air.wind import Disagreement, WindLevel
from driftmap.report.voice import Voice
from driftmap.report.words import isolate, rounded
from driftmap.rocket.breakup import BREAKS_OFF
from driftmap.rocket.flight import Flight
from driftmap.verdict.check import ALL_CASES, ALOFT, Check, Kind

_BEFORE_AREA: Final = {Kind.LANDS_IN, Kind.LANDS_IN_FAILURE, Kind.OVERFLIGHT}
"""Kinds whose name runs on into that of the area."""

_FALLING: Final = (Kind.DESCENT,)
"""Speeds told as those of a fall; all others are told as those of a wind."""

_RAREST: Final = 1e-12
"""Rarest share that is told as one flight in so many."""


MOST_NAMED: Final = 4
"""Places in one sentence."""


def one_of(p: float, voice: Voice, *, bound: bool = False, digits: int = 2) -> str:
    """Give so many flights of which one does something, as people round it.

    ``p``: share; zero, as of what never was seen, is told as `_RAREST`; ``bound``:
    whether `p` is an upper bound: the number is then rounded down, never up.
    """
    return voice.count(int(rounded(1 / max(p, _RAREST), digits, down=bound)))


def chance(check: Check, voice: Voice) -> str:
    """Say a share of flights as a natural frequency.

    ``check``: a check whose unit is a share of flights.

    Result: such as "1 flight in 240"; one never seen is told as its upper bound.
    """
    p = check.value or 0.0
    if p == 0:
        upper = 1.0 if check.interval is None else check.interval[1]
        return voice.say("chance.under", count=one_of(upper, voice, bound=True))
    if p > 1 / 2:
        return voice.say("chance.most")
    told = one_of(p, voice)
    if check.limit and told == one_of(check.limit, voice):
        told = one_of(p, voice, digits=4)  # rounded alike, they would seem to agree
    return voice.say("chance.one", count=told)


def allowed(limit: float, voice: Voice) -> str:
    """Say a limit on a share of flights."""
    if limit == 0:
        return voice.say("chance.none_allowed")
    return voice.say("chance.allowed", count=one_of(limit, voice))


def _amount(value: float, check: Check, voice: Voice) -> str:
    def speed() -> str:
        kind = "descent" if check.kind in _FALLING else "speed"
        return voice.shown(value, kind)

    forms: Mapping[str, Callable[[], str]] = {
        "m/s": speed,
        "m": lambda: voice.exact_distance(value),
        "deg": lambda: f"{value:.0f}°",
        "times": lambda: voice.number(f"{value:.2f}"),
        "times its weight": lambda: voice.number(f"{value:.1f}"),
        "h": lambda: (
            voice.number(f"{value:.1f}") + "\u00a0h"
            if value >= 1 or not value
            else f"{60 * value:.0f}\u00a0min"
        ),
        "share": lambda: voice.number(f"{value:.0%}").replace("%", "\u00a0%"),
        "share of falls": lambda: voice.percent(value),
        "share of the sky": lambda: f"{math.ceil(8 * value)}/8",
        "per flight": lambda: one_of(value, voice) if value else "∞",
    }
    form = forms.get(check.unit)
    return form() if form else f"{voice.number(f'{value:,.1f}')} {check.unit}".rstrip()


def sentence(check: Check, voice: Voice) -> str:
    """Say what a check found.

    ``check``: the check, one that does not pass.

    Result: one sentence without its full stop. A kind the catalogue has no words for is
    told in the check's own.
    """
    told = _told(check, voice)
    if not _in_doubt(check):
        return told
    worst = _worst(check, voice)
    if not worst or not _kept(check):
        return voice.say("chance.unsure", told=told)
    if worst in told:
        return told
    return voice.say("chance.unsure_worst", told=told, worst=worst)


def _winds_told(check: Check, winds: Disagreement, voice: Voice) -> str:
    """Say which winds disagree: of two reports, or of what was flown and what was answered."""

    def wind(level: WindLevel) -> str:
        if level.speed == 0:
            return voice.say("figure.calm")
        told = voice.speed(level.speed)
        if level.direction is None:
            return f"{told} {voice.say('figure.all_sides')}"
        return f"{told} {voice.bearing(level.direction)}"

    flown, other = winds.flown, winds.other
    words = {"height": voice.exact_distance(flown.height)}
    if check.answered:
        speeds = {"flown": flown.speed, "most": flown.peak, "other": other.speed}
        told = {name: voice.speed(speed) for name, speed in speeds.items()}
        return voice.say("winds.meter", **words, **told)
    told = {"flown": wind(flown), "source": flown.source}
    told |= {"other": wind(other), "against": other.source}
    return voice.say("winds.reports", **words, **told)


def _told(check: Check, voice: Voice) -> str:
    if check.winds is not None:
        return _winds_told(check, check.winds, voice)
    words = {
        "area": _area_told(check, voice),
        "when": case_when(check.case, voice),
    }
    words["check"] = isolate(check.name)
    if check.value is not None:
        words["chance"] = chance(check, voice) if check.unit == "share" else ""
        words["value"] = _figure(check, voice)
        words["worst"] = _worst(check, voice) or words["value"]
    if check.limit is not None:
        words["limit"] = _amount(check.limit, check, voice)
        share = check.unit == "share" and check.limit < 1
        words["allowed"] = allowed(check.limit, voice) if share else words["limit"]
    if check.kind is Kind.UNDER_THE_FALL and words.get("chance"):
        # A limit that is kept would read as if all were well.
        return voice.say(
            "reason.among" if _kept(check) else "reason.among_over", **words
        )
    if check.beside and check.kind in ALOFT:
        return voice.say("reason.aloft", **words)
    # A risk of which nothing was seen is told as its bound, and not as expected.
    unseen = check.unit == "per flight" and not check.value
    key = f"{'none_seen' if unseen else 'check'}.{check.kind.value}"
    if key in voice.catalogue.messages:
        try:
            return voice.say(key, **words)
        except KeyError:  # a figure that this check lacks
            pass
    return _plainly(check, words, voice)


def _area_told(check: Check, voice: Voice) -> str:
    """Name the ground of a check; people of all areas together have no name of a file."""
    if check.kind is Kind.OVERFLIGHT and check.area == "people":
        return voice.say("reason.everybody")
    return places_named(check.area.split(", "), voice)


def places_named(names: Sequence[str], voice: Voice) -> str:
    """Name ground; of a whole crowd of places the first, and count the rest."""
    return some_of([isolate(name) for name in names], voice)


def some_of(told: Sequence[str], voice: Voice, between: str = ", ") -> str:
    """Name one after another; of many the first, and count the rest."""
    if len(told) <= MOST_NAMED + 1:
        return between.join(told)
    rest = voice.count(len(told) - MOST_NAMED)
    first = between.join(told[:MOST_NAMED])
    return voice.say("reason.places", first=first, count=rest)


def _worst(check: Check, voice: Voice) -> str:
    """Write the end of the interval that does not keep the limit, where the figure does.

    A figure within its limit that holds all the same would read as a contradiction.
    """
    counted = check.unit in {"share", "per flight"}
    if check.interval is None or (counted and not check.value):  # told as its bound
        return ""
    end = check.interval[check.sense == "most"]
    if check.unit == "share":
        return chance(replace(check, value=end), voice)
    if check.unit == "per flight":
        return voice.say("chance.allowed", count=one_of(end, voice, bound=True))
    if check.unit == "times" and not _kept(replace(check, value=end)):
        # Never rounded to its limit, which it does not keep.
        side = math.floor if check.sense == "least" else math.ceil
        end = side(100 * end) / 100
    return _amount(end, check, voice)


def _kept(check: Check) -> bool:
    """Return whether the figure itself, whatever its interval, is within the limit."""
    assert check.value is not None
    assert check.limit is not None
    least = check.sense == "least"
    return check.value >= check.limit if least else check.value <= check.limit


def _figure(check: Check, voice: Voice) -> str:
    """Write the figure; of risk none of which was seen, its upper bound."""
    value = check.value or 0.0
    if check.unit == "per flight" and value == 0 and check.interval:
        return one_of(check.interval[1], voice, bound=True)
    return _amount(value, check, voice)


def _plainly(check: Check, words: Mapping[str, str], voice: Voice) -> str:
    """Tell a check in its own English words, with its figure where it has one."""
    if "value" not in words or "limit" not in words:
        where = (
            "" if not check.area or check.area in check.name else f" – {words['area']}"
        )
        denied = check.kind == Kind.RULE and check.answered and check.outcome != "pass"
        key = "reason.denied" if denied else "reason.other"
        return voice.say(key, check=words["check"] + where)
    key = "reason.other_least" if check.sense == "least" else "reason.other_most"
    return voice.say(
        key,
        check=words["check"],
        value=words["chance"] or words["value"],
        limit=words["allowed"],
    )


def case_when(case: str, voice: Voice) -> str:
    """Begin a sentence with the case it is about; nothing of all cases together."""
    if not case or case == ALL_CASES:
        return ""
    known = voice.catalogue.messages
    for name in (case, *_wider(case)):
        if told := known.get(f"when.{name}"):
            return told
    return voice.say("when.own", case=isolate(case))


def _in_doubt(check: Check) -> bool:
    """Say whether a figure is not surely on either side of its limit."""
    if check.interval is None or check.limit is None or check.outcome != "warn":
        return False
    low, high = check.interval
    if check.kind is Kind.DESCENT and check.value is not None:
        # Its interval is that of flights: where most are beyond, nothing is in doubt.
        return check.value <= check.limit <= high
    return low <= check.limit <= high and low < high and math.isfinite(high)


def case_name(flight: Flight, case: str, cause: str, voice: Voice) -> str:
    """Name a case in plain words; one that the flight file describes keeps its name.

    ``case`` and ``cause``: names of the case and of its cause.
    """
    if cause in {own.name for own in flight.own_cases}:
        return isolate(case)
    return case_words(case, voice, cause)


def case_words(case: str, voice: Voice, *wider: str) -> str:
    """Name a case of the package's own in plain words, or a wider one; else as it is."""
    return voice.known("case", case, *_wider(case), *wider)


_OPENING_GAVE: Final = re.compile(r"(planned opening), .* (torn|ripped off)")


def _wider(case: str) -> tuple[str, ...]:
    """Return the names under which the catalogue may know a case, the nearest first."""
    if found := _OPENING_GAVE.fullmatch(case):  # whichever device's it is
        return (", ".join(found.groups()),)
    if case.endswith(BREAKS_OFF):
        return ("nose cone lost",)
    if case.endswith(("flutters off", "snaps")):
        return ("flutters off", "fins come off")[case.endswith("snaps") :]
    return (case.rpartition(", ")[0],)


def subject(check: Check | str, voice: Voice) -> str:
    """Name what a check looked at, where and in which case.

    Result: in the reader's language as far as the catalogue knows the kind of check; a
    rule keeps the words of its file, and why there is no verdict its own.
    """
    if isinstance(check, str):
        return check
    key = f"kind.{check.kind.value}"
    what = isolate(check.name.removesuffix(", if"))
    if key in voice.catalogue.messages:
        what = voice.say(key)
    if check.kind in _BEFORE_AREA:
        what = f"{what} {_area_told(check, voice)}"
    elif check.area and check.area not in what and check.unit != "share":
        what = f"{what}, {isolate(check.area)}"
    if when := case_when(check.case, voice):
        return f"{when}: {what[0].lower() + what[1:]}"
    return what[0].upper() + what[1:]


def figure(check: Check, flights: int, voice: Voice) -> tuple[str, str]:
    """Write the figure of a check and its interval.

    ``flights``: flights in each case.

    Result: both as text; the interval is empty where it says nothing more.
    """
    if check.value is None or check.interval is None:
        return voice.say("figure.to_answer") if check.question else "", ""
    if check.unit == "share" and check.case:
        value = voice.share(check.value, check.interval, flights)
        ends = (voice.percent(v) for v in check.interval)
        return value, "" if check.value == 0 else voice.span(*ends)
    low, high = (_told_amount(v, check, voice) for v in check.interval)
    if check.unit == "per flight" and check.value == 0:
        return voice.say("chance.under", count=one_of(check.interval[1], voice)), ""
    value = _told_amount(check.value, check, voice)
    return value, "" if low == high == value else voice.span(low, high)


def limit(check: Check, voice: Voice) -> str:
    """Write the limit of a check."""
    if check.limit is None:
        return ""
    amount = _told_amount(check.limit, check, voice)
    least = check.sense == "least"
    return voice.say("figure.least", value=amount) if least else amount


def _told_amount(value: float, check: Check, voice: Voice) -> str:
    """Write an amount in the unit of a check, as a table has room for it."""
    if check.unit == "share":
        return voice.percent(value)
    if check.unit == "per flight":
        told = one_of(value, voice) if value else ""
        return voice.say("chance.allowed", count=told) if told else "0"
    return _amount(value, check, voice)
