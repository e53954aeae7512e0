"""``driftmap log`` and ``review``: what was told, what happened, and how they compare."""

from __future__ import annotations

import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from driftmap.cli.options import json_option
from driftmap.cli.output import json_text, write_all

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from driftmap.cli.inputs import RunInputs
    from driftmap.logbook.entry import Entry
    from driftmap.logbook.store import Log
    from driftmap.review.findings import Figure, Review
    from driftmap.verdict.assessment import Assessment

__all__ = ["log_assessment", "log_command", "review_command"]

_LARGEST_EXPORT: Final = 500_000_000  # bytes; a club's log of years

_log = click.option(
    "--log",
    "path",
    type=click.Path(dir_okay=False, path_type=Path),
    help="The log; by default the one in your data folder.",
)


@click.group("log")
def log_command() -> None:
    """Keep what was assessed, what was decided and what happened.

    driftmap assess --log writes the assessment; add writes what came of it. Nothing is ever
    changed: a correction is a new entry, the old one stays.

    \b
    Examples:
      driftmap assess FLIGHT --site SITE --wind WIND --log
      driftmap log list
      driftmap log add outcome.toml --about 3f2a
    """


def _open(path: Path | None, *, create: bool = False) -> Log:
    from driftmap.logbook.store import Log, default_path

    return Log(default_path() if path is None else path, create=create)


def log_assessment(assessment: Assessment, inputs: RunInputs, path: str) -> str:
    """Write an assessment to the log at a path, or the user's own; say so."""
    from datetime import UTC, datetime

    from driftmap.cli.inputs import flight_time
    from driftmap.logbook.written import assessment_entry
    from driftmap.winds import kind_of

    asked = inputs["asked"]
    files = {
        "flight": [inputs["flight"]],
        "site": [inputs["site"]],
        "wind": asked.winds,
        "answers": inputs["answers"],
    }
    when = flight_time(asked.when) if asked.when else datetime.now(UTC)
    fetched = [] if asked.at is None else ["forecast asked for"]
    entry, contents = assessment_entry(
        assessment,
        files,
        when=when.isoformat(timespec="minutes"),
        kinds=[*map(kind_of, asked.winds), *fetched],
    )
    with _open(Path(path) if path else None, create=True) as log:
        log.append([entry], contents)
        return f"Log: {entry.id[:8]} in {log.path}"


_photo = click.option(
    "--photo",
    "photographs",
    multiple=True,
    type=click.Path(path_type=Path),
    help="A photograph, kept by name and digest.",
)


@log_command.command("add")
@click.argument("file", metavar="OUTCOME", type=click.Path(path_type=Path))
@click.option("--about", metavar="ID", help="The assessment it belongs to.")
@_photo
@_log
def add_command(
    file: Path, about: str | None, photographs: tuple[Path, ...], path: Path | None
) -> None:
    """Add what came of a flight, from a TOML file."""
    from driftmap.logbook.entry import new_entry
    from driftmap.logbook.written import outcome_body, unlike

    body = outcome_body(file, photographs)
    with _open(path, create=about is None) as log:
        assessed = None if about is None else log.find(about)
        doubts = [] if assessed is None else unlike(body, assessed, str(file))
        other = None if assessed is None else assessed.id
        before = [e.id[:8] for e in log.current() if other and e.about == other]
        entry = new_entry("outcome", body, about=other)
        log.append([entry])
        click.echo(f"added {entry.id[:8]} to {log.path}")
        for doubt in doubts:
            click.echo(doubt)
        if before:
            click.echo(
                f"that assessment has an outcome already, {', '.join(before)}: both count; "
                f"if they are one flight, driftmap log correct {before[-1]} and not add"
            )


@log_command.command("correct")
@click.argument("entry_id", metavar="ID")
@click.argument("file", metavar="OUTCOME", type=click.Path(path_type=Path))
@_photo
@_log
def correct_command(
    entry_id: str, file: Path, photographs: tuple[Path, ...], path: Path | None
) -> None:
    """Add an outcome in the place of another, which stays in the log.

    Photographs of the other are kept.
    """
    from driftmap.errors import InputError
    from driftmap.logbook.entry import new_entry
    from driftmap.logbook.written import outcome_body, unlike

    body = outcome_body(file, photographs)
    with _open(path) as log:
        old = log.find(entry_id)
        if old.kind != "outcome":
            raise InputError(
                str(log.path),
                f"entry {old.id[:8]}",
                "is an assessment: it stays as given",
            )
        body["photographs"] = [*old.body.get("photographs", []), *body["photographs"]]
        doubts = unlike(body, log.find(old.about), str(file)) if old.about else []
        entry = new_entry("outcome", body, about=old.about, corrects=old.id)
        log.append([entry])
        click.echo(f"added {entry.id[:8]}, which corrects {old.id[:8]}")
        for doubt in doubts:
            click.echo(doubt)


@log_command.command("list")
@_log
def list_command(path: Path | None) -> None:
    """List the entries that hold now."""
    with _open(path) as log:
        for entry in log.current():
            click.echo(_line(entry))


def _line(entry: Entry) -> str:
    body = entry.body
    head = f"{entry.id[:8]}  {entry.at[:16].replace('T', ' ')}  "
    if entry.kind == "assessment":
        when = (
            f", for {body['when'][:16].replace('T', ' ')}" if body.get("when") else ""
        )
        what = f"{body.get('flight', '')}, {body.get('site', '')}{when}"
        return f"{head}{body.get('verdict', '?'):6}  {what}"
    about = f" of {entry.about[:8]}" if entry.about else ""
    fixed = f", corrects {entry.corrects[:8]}" if entry.corrects else ""
    finds = ", ".join(find["piece"] for find in body.get("found", []))
    told = [body.get("case", ""), f"found {finds}" if finds else ""]
    return f"{head}outcome{about}{fixed}: {'; '.join(t for t in told if t)}"


@log_command.command("show")
@click.argument("entry_id", metavar="ID")
@_log
def show_command(entry_id: str, path: Path | None) -> None:
    """Print one entry with all it says."""
    with _open(path) as log:
        plain = log.find(entry_id).plain
        click.echo(json_text(dict(sorted(plain.items()))))


@log_command.command("export")
@click.option("--out", required=True, type=click.Path(dir_okay=False, path_type=Path))
@_log
def export_log_command(out: Path, path: Path | None) -> None:
    """Write the whole log as lines of JSON."""
    from driftmap.logbook.exchange import export_text

    with _open(path) as log:
        write_all(out.parent, {out.name: export_text(log)})
        click.echo(f"{len(log.entries())} entries written to {out}")


@log_command.command("import")
@click.argument("file", type=click.Path(path_type=Path))
@_log
def import_command(file: Path, path: Path | None) -> None:
    """Add all of an export; what is there already is passed over."""
    from driftmap.files import text_of
    from driftmap.logbook.exchange import read_export

    # Before a log is made for it.
    read = read_export(text_of(file, most=_LARGEST_EXPORT), str(file))
    with _open(path, create=True) as log:
        click.echo(f"{log.append(*read)} new entries")


@log_command.command("backup")
@click.argument("target", type=click.Path(dir_okay=False, path_type=Path))
@_log
def backup_command(target: Path, path: Path | None) -> None:
    """Copy the log into one file, also while others write."""
    with _open(path) as log:
        log.backup(target)
        click.echo(f"copied to {target}")


@log_command.command("check")
@_log
@click.pass_context
def check_command(ctx: click.Context, path: Path | None) -> None:
    """Check every row against its digest; exit code 2 when something is wrong."""
    with _open(path) as log:
        faults = log.faults()
        for fault in faults:
            click.echo(f"driftmap: {log.path}: {fault}", err=True)
        if faults:
            ctx.exit(2)
        click.echo(f"{len(log.entries())} entries, all as they were written")


_NO_OUTCOME: Final = (
    "nothing: no outcome stands beside an assessment yet (log add --about)"
)
_MOST_TURNED: Final = 5  # checks listed of each flight


@click.command("review")
@_log
@click.option(
    "--verdicts",
    type=click.IntRange(0, 1000),
    is_flag=False,
    flag_value=10,
    default=0,
    metavar="[N]",
    help="Assess the last N logged flights (10) again, with all that is proposed.",
)
@json_option("Print as JSON.")
def review_command(path: Path | None, verdicts: int, as_json: bool) -> None:
    """Hold the forecasts of a log against what was found; change nothing.

    \b
    Examples:
      driftmap review --log flights.sqlite
      driftmap review --log flights.sqlite --verdicts

    It reads assessments (assess --log) and what came of them (log add --about).
    """
    from driftmap.review.findings import review
    from driftmap.review.records import flew_of, records_of

    with _open(path) as log:
        entries = log.current()
        result = review(records_of(entries), flew_of(entries))
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
    from driftmap.logbook.written import inputs_of
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
    lines += [f"  {text}" for text in result.proposals or (_nothing(result),)]
    return "\n".join(lines)


def _nothing(result: Review) -> str:
    from driftmap.review.findings import LITTLE

    most = max(result.landings, result.flights)
    if not most:
        return _NO_OUTCOME
    if most < LITTLE:
        return "nothing: so few flights can neither show nor rule out that something is off"
    return "nothing: what was seen fits what was told"


def _figure(figure: Figure, unit: str) -> str:
    if not abs(figure.lower) < float("inf"):
        return f"{figure.value:.2f}{unit} (flights of one day: no interval)"
    return f"{figure.value:.2f}{unit} ({figure.lower:.2f} to {figure.upper:.2f})"
