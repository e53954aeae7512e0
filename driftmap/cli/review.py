"""``driftmap review``: whether the forecasts were any good."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from driftmap.review.findings import Figure, Review

__all__ = ["review_command"]


@click.command("review")
@click.option(
    "--log",
    "path",
    type=click.Path(dir_okay=False, path_type=Path),
    help="The log; by default the one in your data folder.",
)
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def review_command(path: Path | None, as_json: bool) -> None:
    """Hold the forecasts of a log against what was found; change nothing.

    \b
    Example:
      driftmap review --log flights.sqlite

    It reads assessments (assess --log) and what came of them (log add --about).
    """
    from driftmap.logbook.store import Log, default_path
    from driftmap.review.findings import review
    from driftmap.review.records import flights_of, records_of

    with Log(default_path() if path is None else path, create=False) as log:
        entries = log.current()
    result = review(records_of(entries), flights_of(entries))
    if as_json:
        click.echo(json.dumps(_plain(asdict(result)), indent=1, ensure_ascii=False))
    else:
        click.echo(_text(result))


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
        f"{result.landings} landings found, {result.flights} flights of known case."
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
            f"  {c.cause}: {c.seen} of {c.updated.flights}, assumed {c.assumed:.1%}, now "
            f"{c.updated.value:.1%} ({c.updated.lower:.1%} to {c.updated.upper:.1%})"
            for c in result.causes
        ]
    lines += ["", "Proposed (nothing was changed):"]
    lines += [
        f"  {text}"
        for text in result.proposals or ("nothing: what was seen fits what was told",)
    ]
    return "\n".join(lines)


def _figure(figure: Figure, unit: str) -> str:
    if not abs(figure.lower) < float("inf"):
        return f"{figure.value:.2f}{unit} (one flight: no interval)"
    return f"{figure.value:.2f}{unit} ({figure.lower:.2f} to {figure.upper:.2f})"
