"""The rules that apply to a flight as lines of the terminal."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Final, Literal

from driftmap.core.errors import visible
from driftmap.core.units import show
from driftmap.rules.result import RuleResult

CAUTION: Final = (
    "A help to remember the rules, not the rules. The text that governs, the range safety "
    "officer and the landowner decide."
)
_KINDS: Final = {"m": "length", "m/s": "speed", "kg": "mass"}
_WIDTH: Final = 88


def rule_lines(
    flight: str, site: str, results: Sequence[RuleResult], system: str
) -> Iterator[str]:
    """Say which rules a flight keeps, what is still to be answered, and which text governs."""
    yield f"Rules for {visible(flight)} at {visible(site)}"
    yield ""
    order = ("fail", "hold", "ask", "pass")
    for result in sorted(results, key=lambda r: order.index(r.outcome)):
        yield from _entry(result, system)
    counts = Counter(r.outcome for r in results)
    yield (
        f"{counts['pass']} kept, {counts['fail']} broken, {counts['hold']} not surely kept, "
        f"{counts['ask']} to be answered."
    )
    wanted = dict.fromkeys(
        name for r in results if r.outcome == "ask" for name in r.answer
    )
    if wanted:
        told = "To be answered (--write-answers FILE writes the file to fill in): "
        yield from _wrapped(told + ", ".join(wanted), "  ")
    for text in dict.fromkeys(r.governs for r in results if r.governs):
        yield from _wrapped(f"{text[0].upper()}{visible(text[1:])}.", "  ")
    yield from _wrapped(CAUTION, "")


def _entry(result: RuleResult, system: str) -> Iterator[str]:
    area = f", {visible(result.area)}" if result.area else ""
    text = f"{result.outcome.upper():5}{visible(result.what)}{area}"
    yield from _wrapped(text, " " * 5)
    if result.limit is not None:
        value = (
            "not known" if result.value is None else _amount(result, "value", system)
        )
        yield f"     {value}; {result.sense} {_amount(result, 'limit', system)}"
    if result.why:
        yield from _wrapped(f"     why: {visible(result.why)}", " " * 7)
    if result.source:
        yield from _wrapped(f"     source: {visible(result.source)}", " " * 7)
    yield ""


def _amount(result: RuleResult, key: Literal["value", "limit"], system: str) -> str:
    number = float(getattr(result, key))
    if result.unit in _KINDS:
        return show(number, _KINDS[result.unit], system)
    if result.unit == "share":
        return f"{number:.0%}"
    return f"{number:,.6g} {result.unit}".rstrip()


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, subsequent_indent=indent) or [""]
