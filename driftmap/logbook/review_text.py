"""A review in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

from driftmap.logbook.factors import LITTLE, PRIOR_WEIGHT, WithInterval
from driftmap.logbook.findings import Review
from driftmap.logbook.reassessment import changes_of

_MOST_TURNED: Final = 5  # checks listed of each flight


def format_review(result: Review) -> str:
    """Write what a log says of the forecasts, for a terminal."""
    head = (
        f"Landings found: {result.landings}; flights of known case: {result.flights}."
    )
    lines = [head, *(f"!! {text}" for text in result.cautions)]
    for part in (_coverage, _scores, _biases, _failures):
        lines += part(result)
    lines += ["", "Proposed (nothing was changed):"]
    lines += [f"  {text}" for text in result.proposals or (_nothing(result),)]
    return "\n".join(lines)


def _coverage(result: Review) -> Iterator[str]:
    if not result.coverage:
        return
    yield from ("", "Inside the lines:")
    for line in result.coverage:
        seen = line.seen
        yield (
            f"  {line.share:4.0%} line held {100 * seen.value:5.1f} % "
            f"({100 * seen.lower:.1f} to {100 * seen.upper:.1f} %)"
            + ("" if seen.holds(line.share) else "  <- not as told")
        )
    low, high = result.band
    yield ""
    yield f"Finds by tenth of the cloud, from its middle out ({low} to {high} each would do):"
    for i, count in enumerate(result.ranks):
        yield (
            f"  {10 * i:3d}-{10 * i + 10:3d} %  {count:5d}  {'#' * min(60, count)}"
            + ("" if low <= count <= high else "  <- outside")
        )


def _scores(result: Review) -> Iterator[str]:
    scores = (("energy score", result.energy, " m"), ("log score", result.log, ""))
    for name, figure, unit in scores:
        if figure is not None:
            yield (
                f"Forecast less reference, {name}: {_figure(figure, unit)} (below 0 the forecast "
                "is better; the reference is one normal cloud of the log's other finds)"
            )


def _biases(result: Review) -> Iterator[str]:
    if result.biases:
        yield from ("", "Finds less forecasts, downwind and to the right of it:")
    for bias in result.biases:
        ways = (_figure(way, " m") for way in (bias.downwind, bias.right))
        yield f"  {bias.group}, {bias.downwind.flights}: {'; '.join(ways)}"


def _failures(result: Review) -> Iterator[str]:
    counts, rocket = (
        f"the assumed likelihood counts for {PRIOR_WEIGHT:.0f} flights",
        None,
    )
    for c in result.causes:
        if c.flight != rocket:
            rocket = c.flight
            yield from ("", f"Failures of {rocket or 'the flight'} ({counts}):")
        yield (
            f"  {c.cause}: {c.seen} of {c.updated.flights} ({c.alone.lower:.1%} to "
            f"{c.alone.upper:.1%} by these alone), assumed {c.assumed:.1%}, now "
            f"{c.updated.value:.1%} ({c.updated.lower:.1%} to {c.updated.upper:.1%})"
        )


def _nothing(result: Review) -> str:
    most = max(result.landings, result.flights)
    if not most:
        return "nothing: no outcome beside an assessment tells a landing or a case yet (log add --about)"
    if most < LITTLE:
        return "nothing: so few flights can neither show nor rule out that something is off"
    return "nothing: what was seen fits what was told"


def _figure(figure: WithInterval, unit: str) -> str:
    value, *ends = (
        f"{v:,.0f}" if unit else f"{v:.2f}"
        for v in (figure.value, figure.lower, figure.upper)
    )
    if not abs(figure.lower) < float("inf"):
        return f"{value}{unit} (flights of one day: no interval)"
    return f"{value}{unit} ({ends[0]} to {ends[1]})"


def format_verdicts(result: Review, again: Sequence[dict[str, Any]]) -> str:
    """Write verdicts as they would have been with all that is proposed."""
    changes = changes_of(result)
    told = [f"drag area times {changes.drag:.2f}"] * (changes.drag != 1)
    told += [f"wind's error times {changes.wind_error:.2f}"] * (changes.wind_error != 1)
    likely = changes.likelihoods.items()
    told += [
        f"{' of '.join(filter(None, (cause, of)))} {p:.1%}" for (of, cause), p in likely
    ]
    changed = ", ".join(told) or "nothing changed"
    lines = [f"Verdicts as they would have been with {changed}:"]
    for one in again:
        head = f"  {one['entry']}  {one['when'][:10]}  {one['flight']}: "
        if "problem" in one:
            lines.append(f"{head}not assessed again: {one['problem']}")
            continue
        other = one["now"] != one["logged"]
        now = f" ({one['now']} by this version)" if other else ""
        would = f"would have been {one['proposed']}"
        lines.append(f"{head}was {one['logged']}{now}, {would}")
        lines += [f"      {text}" for text in one["turned"][:_MOST_TURNED]]
        if len(one["turned"]) > _MOST_TURNED:
            lines.append(f"      and {len(one['turned']) - _MOST_TURNED} more")
    return "\n".join(lines)


def finite(value: object) -> object:
    """Write what is not finite as null: JSON has no word for it."""
    if isinstance(value, dict):
        return {key: finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [finite(item) for item in value]
    if isinstance(value, float) and not abs(value) < float("inf"):
        return None
    return value
