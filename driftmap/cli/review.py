"""``driftmap review``: whether the forecasts were any good."""

from __future__ import annotations

import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from driftmap.cli.output import json_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from driftmap.logbook.entry import Entry
    from driftmap.logbook.store import Log
    from driftmap.review.findings import Figure, Review

__all__ = ["review_command"]

_NOTHING: Final = {
    True: "nothing: what was seen fits what was told",
    False: "nothing: no outcome stands beside an assessment yet (log add --about)",
}
_MOST_TURNED: Final = 5  # checks listed of each flight


@click.command("review")
@click.option(
    "--log",
    "path",
    type=click.Path(dir_okay=False, path_type=Path),
    help="The log; by default the one in your data folder.",
)
@click.option(
    "--verdicts",
    type=click.IntRange(0, 1000),
    is_flag=False,
    flag_value=10,
    default=0,
    metavar="[N]",
    help="Assess the last N logged flights (10) again, with all that is proposed.",
)
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def review_command(path: Path | None, verdicts: int, as_json: bool) -> None:
    """Hold the forecasts of a log against what was found; change nothing.

    \b
    Examples:
      driftmap review --log flights.sqlite
      driftmap review --log flights.sqlite --verdicts

    It reads assessments (assess --log) and what came of them (log add --about).
    """
    from driftmap.logbook.store import Log, default_path
    from driftmap.review.findings import review
    from driftmap.review.records import flights_of, records_of

    with Log(default_path() if path is None else path, create=False) as log:
        entries = log.current()
        result = review(records_of(entries), flights_of(entries))
        again = list(_again(log, entries, result, verdicts)) if verdicts else []
    if as_json:
        told = {**asdict(result), "verdicts": again}
        click.echo(json_text(_plain(told)))
        return
    click.echo(_text(result))
    if verdicts:
        click.echo("\n" + _verdicts(result, again))


def _again(
    log: Log, entries: Sequence[Entry], result: Review, most: int
) -> Iterator[dict[str, Any]]:
    """Assess the last logged flights again, one after the other."""
    from driftmap.errors import InputError
    from driftmap.logbook.inputs import inputs_of
    from driftmap.review.again import assessed_again, changes_of

    contents = {content.digest: content for content in log.contents()}
    logged = [entry for entry in entries if entry.kind == "assessment"][-most:]
    for number, entry in enumerate(logged, 1):
        if sys.stderr.isatty():
            click.echo(f"assessing {number} of {len(logged)} again …", err=True)
        head = {"entry": entry.id[:8], "flight": entry.body["flight"]}
        head["when"] = entry.body.get("when") or entry.at
        try:
            inputs = inputs_of(entry, contents, str(log.path))
        except InputError as problem:
            yield {**head, "problem": str(problem)}
            continue
        again = assessed_again(entry.body["verdict"], inputs, changes_of(result))
        yield {**head, **asdict(again)}


def _verdicts(result: Review, again: Sequence[dict[str, Any]]) -> str:
    from driftmap.review.again import changes_of

    changes = changes_of(result)
    told = [f"drag area times {changes.drag:.2f}"] * (changes.drag != 1)
    told += [f"wind's error times {changes.wind_error:.2f}"] * (changes.wind_error != 1)
    told += [f"{cause} {p:.1%}" for cause, p in changes.likelihoods.items()]
    lines = [
        f"Verdicts as they would have been with {', '.join(told) or 'nothing changed'}:"
    ]
    for one in again:
        head = f"  {one['entry']}  {one['when'][:10]}  {one['flight']}: "
        if "problem" in one:
            lines.append(f"{head}not assessed again: {one['problem']}")
            continue
        other = one["now"] != one["logged"]
        now = f" ({one['now']} by this version)" if other else ""
        lines.append(
            f"{head}was {one['logged']}{now}, would have been {one['proposed']}"
        )
        lines += [f"      {text}" for text in one["turned"][:_MOST_TURNED]]
        if len(one["turned"]) > _MOST_TURNED:
            lines.append(f"      and {len(one['turned']) - _MOST_TURNED} more")
    return "\n".join(lines)


def _plain(value: object) -> object:
    """Write what is not finite as null: JSON has no word for it."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float) and not abs(value) < float("inf"):
        return None
    return value


def _text(result: Review) -> str:
    lines = [
        f"Landings found: {result.landings}; flights of known case: {result.flights}."
    ]
    lines += [f"!! {text}" for text in result.cautions]
    if result.coverage:
        lines += ["", "Inside the lines:"]
        lines += [
            f"  {c.share:4.0%} line held {100 * c.seen.value:5.1f} % "
            f"({100 * c.seen.lower:.1f} to {100 * c.seen.upper:.1f} %)"
            + ("" if c.seen.holds(c.share) else "  <- not as told")
            for c in result.coverage
        ]
        low, high = result.band
        lines += [
            "",
            f"Finds by tenth of the cloud, from its middle out ({low} to {high} each would do):",
        ]
        lines += [
            f"  {10 * i:3d}-{10 * i + 10:3d} %  {count:5d}  {'#' * min(60, count)}"
            + ("" if low <= count <= high else "  <- outside")
            for i, count in enumerate(result.ranks)
        ]
    for name, figure, unit in (
        ("energy score", result.energy, " m"),
        ("log score", result.log, ""),
    ):
        if figure is not None:
            lines.append(
                f"Forecast less reference, {name}: {_figure(figure, unit)} (below 0 the forecast "
                "is better; the reference is one normal cloud of the log's other finds)"
            )
    if result.biases:
        lines += ["", "Finds less forecasts, downwind and to the right of it:"]
        lines += [
            f"  {b.group}, {b.downwind.flights}: {_figure(b.downwind, ' m')}; "
            f"{_figure(b.right, ' m')}"
            for b in result.biases
        ]
    if result.causes:
        lines += ["", "Failures (the assumed likelihood counts for 50 flights):"]
        lines += [
            f"  {c.cause}: {c.seen} of {c.updated.flights} ({c.alone.lower:.1%} to "
            f"{c.alone.upper:.1%} by these alone), assumed {c.assumed:.1%}, now "
            f"{c.updated.value:.1%} ({c.updated.lower:.1%} to {c.updated.upper:.1%})"
            for c in result.causes
        ]
    lines += ["", "Proposed (nothing was changed):"]
    lines += [
        f"  {text}"
        for text in result.proposals
        or (_NOTHING[bool(result.landings + result.flights)],)
    ]
    return "\n".join(lines)


def _figure(figure: Figure, unit: str) -> str:
    if not abs(figure.lower) < float("inf"):
        return f"{figure.value:.2f}{unit} (flights of one day: no interval)"
    return f"{figure.value:.2f}{unit} ({figure.lower:.2f} to {figure.upper:.2f})"
