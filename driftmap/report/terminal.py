"""The verdict as a few lines in a terminal, and tables for it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from driftmap.core.errors import visible
from driftmap.core.units import show
from driftmap.montecarlo.columns import Part
from driftmap.montecarlo.margins import landed
from driftmap.report import words
from driftmap.report.reasons import verdict_reasons
from driftmap.report.tables import headline
from driftmap.report.voice import english
from driftmap.report.words import Units
from driftmap.verdict.assessment import CAUTIONS, Assessment
from driftmap.verdict.check import counted, flights_to_settle
from driftmap.verdict.what_if import Turning

_MOST_REASONS: Final = 8
_MOST_TURNS: Final = 6
_MOST_ASKED: Final = 3
_LONGEST_FIGURE: Final = 24  # letters of a cell, with its unit
_TIES: Final = {0xA0: " ", 0x202F: " ", 0x2011: "-", 0x2060: None}
"""What ties words on a page, as a terminal writes it."""


def plain(text: str) -> str:
    """Write a text with plain hyphens and blanks: a terminal is read by scripts too."""
    return text.translate(_TIES)


def summary(assessment: Assessment, *, units: Units) -> str:
    """Write the verdict, what speaks against it, and what comes down where."""
    a, head = assessment, headline(assessment, english(units))
    lines = (
        *_word(a, head),
        *_against(a, head, units),
        *_rests_on(a, head),
        "",
        *_convergence(a),
        "What comes down where, from the pad:",
        *_landings(a, units),
        "",
        f"{len(a.assumed)} things were assumed; the map lists them.",
        f"Seed {a.cloud.seed}, {a.cloud.flights:,} flights in each case.",
        *(f"* {text}" for text in CAUTIONS),
    )
    return "\n".join(lines)


def _word(a: Assessment, head: Mapping[str, Any]) -> Iterator[str]:
    """Say the verdict, and of which flight, in what wind, when and where."""
    what = f"{visible(a.flight.name)} at {visible(a.site.name)}"
    wind = f"{head['wind']} ({head['mast']}. {head['age']})"
    yield plain(f"{head['word']}: {what}, {wind}")
    time = head["time"]  # of the flight, or that nobody told it
    told = f"Flight of {time}" if time[0].isdigit() else time.capitalize()
    yield f"  {told}, {visible(head['pad'])} at {head['place']}"


def _against(a: Assessment, head: Mapping[str, Any], units: Units) -> Iterator[str]:
    """Say what speaks against a go, and what would settle it."""
    people = [x.name for x in a.site.areas if x.occupied]
    reasons = verdict_reasons(a.checks, people, english(units))
    yield from (f"  - {visible(reason)}" for reason in reasons[:_MOST_REASONS])
    if len(reasons) > _MOST_REASONS:
        yield f"  - and {len(reasons) - _MOST_REASONS} more; see the map"
    yield from _open(a)
    if head["settled"]:
        yield f"    {plain(head['settled'])}"
    if more := flights_to_settle(a.checks, a.cloud.flights):
        text = f"more flights may settle it: --samples {more}, perhaps more still"
        yield f"    what is not sure is within its limit as reckoned; {text}"


def _rests_on(a: Assessment, head: Mapping[str, Any]) -> Iterator[str]:
    """Say how many checks pass, read the files back, and name the reading that would help."""
    out, said = counted(a.checks)
    yield (
        f"  {out + said} of {len(a.checks)} checks are within limits: {out} worked out, "
        f"{said} answered by people. The range safety officer decides"
    )
    back = ", ".join(visible(plain(text)) for text in head["back"])
    yield f"  Read back, a wrong unit shows: {back}"
    # A key such as the hours of a waiver may be thought to count.
    for told in a.site.assumed:
        if told.startswith("keys not read"):
            yield f"  {visible(told)}"
    if head["more_wind"]:
        yield f"  {head['more_wind']}"


def _landings(a: Assessment, units: Units) -> Iterator[str]:
    for case in a.cloud.tree.cases:
        yield f"  {case.name}, {words.percent(case.probability)} of flights"
        yield from (f"    {_piece(a, part, units)}" for part in a.cloud.of(case.name))


def _open(assessment: Assessment) -> list[str]:
    """Name the first questions that nobody answered, and how to answer them."""
    names = dict.fromkeys(c.name for c in assessment.checks if c.question)
    if not names:
        return []
    lines = [f"    to be answered: {visible(name)}" for name in [*names][:_MOST_ASKED]]
    if len(names) > _MOST_ASKED:
        lines.append(f"    and {len(names) - _MOST_ASKED} more to be answered")
    how = "driftmap rules, with --write-answers FILE, writes the file to fill in"
    return [*lines, f"    {how}; give it with --answers"]


def proposals(found: Turning, *, units: Units) -> str:
    """Write which changes would turn a verdict, and what none of them does.

    ``units``: units the reader picked.

    Result: lines of text; what stands against every change comes first.
    """
    lines = []
    if found.stays:
        lines.append(
            "Nothing flown is go here, whatever the aim, the canopy or a weaker wind:"
        )
        lines += [
            f"  {visible(text)}"
            for check in found.stays[:_MOST_TURNS]
            for text in verdict_reasons([check], [], english(units))
        ]
    if found.wait_for is not None:
        wind = show(words.rounded_down(found.wait_for, units), "speed", units)
        lines.append(
            f"Wait for a wind of {wind} or less at 10 m from there, and as much less aloft; "
            "then judge that one."
        )
    if not found.better:
        return "\n".join([*lines, "No change that was flown comes out better."])
    lines.append("What comes out better, each really flown:")
    for turn in found.better[:_MOST_TURNS]:
        name = visible(turn.name)
        if turn.kind in {"wind", "both"}:
            wind = show(turn.wind, "speed", units)
            less = ", as much less aloft" * ("of the wind" in turn.name)
            name = f"{name} (wind of {wind} at 10 m{less})"
        left = f", {turn.failing} failing, {turn.warning} that hold" * (
            turn.verdict != "go"
        )
        if turn.speed is not None and turn.energy is not None:
            speed = show(turn.speed, "descent", units)
            left += f"; lands at {speed} with {show(turn.energy, 'energy', units)}"
        kind = "two changes" if turn.kind == "both" else turn.kind
        lines.append(f"  {turn.verdict.upper()}: {kind}, {name}{left}")
    lines.append("  (questions of the rules apart)")
    return "\n".join(lines)


def _convergence(a: Assessment) -> list[str]:
    """Show how the figures of the areas settled, where a precision was asked for."""
    lines = []
    for sharp in a.sharpened:
        looks = "; ".join(
            f"{look.flights:,}: {words.percent(look.estimate)}" for look in sharp.looks
        )
        reached = "well enough known" if sharp.reached else "NOT known well enough"
        lines.append(f"  {visible(sharp.area)}, by steered flights: {looks}; {reached}")
    return [*lines, ""] if lines else []


def _piece(a: Assessment, part: Part, units: Units) -> str:
    found = landed(a.cloud, part)
    voice = english(units)
    around = plain(voice.exact_away(found.radius))
    where = plain(voice.toward(found.east, found.north))
    speed, energy = found.speed.p50, found.energy.p50
    name = part.body if part.count == 1 else f"{part.count} × {part.body}"
    return (
        f"{visible(name)}: {where}, "
        f"90 % within {around} of there; {found.time.p50:.0f} s after lift-off, "
        f"{show(speed, 'descent', units)}, {show(energy, 'energy', units)}"
    )


def _is_figure(cell: str) -> bool:
    """Tell a figure from a sentence that begins with one."""
    return cell[:1].isdigit() and len(cell) <= _LONGEST_FIGURE


def aligned(rows: Sequence[Sequence[str]]) -> str:
    """Align columns of text under the first row, figures to the right."""
    cells = [[visible(plain(cell)) for cell in row] for row in rows]
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    lines = []
    for row in cells:
        parts = [
            cell.rjust(width) if _is_figure(cell) else cell.ljust(width)
            for cell, width in zip(row, widths, strict=True)
        ]
        lines.append("  ".join(parts).rstrip())
    lines.insert(1, "  ".join("-" * width for width in widths))
    return "\n".join(lines)
