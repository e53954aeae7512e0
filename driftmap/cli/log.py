"""``driftmap log``: what was assessed, decided and found, in a file that only grows."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from driftmap.cli.output import json_text

if TYPE_CHECKING:
    from driftmap.cli.assessing import Inputs
    from driftmap.logbook.entry import Entry
    from driftmap.logbook.store import Log
    from driftmap.verdict.assessment import Assessment

__all__ = ["log_assessment", "log_command"]

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


def log_assessment(assessment: Assessment, inputs: Inputs, path: str) -> str:
    """Write an assessment to the log at a path, or the user's own; say so."""
    from datetime import UTC, datetime

    from driftmap.cli.windoptions import flight_time
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
    from driftmap.logbook.written import outcome_body

    body = outcome_body(file, photographs)
    with _open(path, create=about is None) as log:
        other = None if about is None else log.find(about).id
        before = [e.id[:8] for e in log.current() if other and e.about == other]
        entry = new_entry("outcome", body, about=other)
        log.append([entry])
        click.echo(f"added {entry.id[:8]} to {log.path}")
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
    from driftmap.logbook.written import outcome_body

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
        entry = new_entry("outcome", body, about=old.about, corrects=old.id)
        log.append([entry])
        click.echo(f"added {entry.id[:8]}, which corrects {old.id[:8]}")


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
def export_command(out: Path, path: Path | None) -> None:
    """Write the whole log as lines of JSON."""
    from driftmap.cli.output import write_all
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
    from driftmap.logbook.exchange import import_text

    text = text_of(file, most=_LARGEST_EXPORT)
    with _open(path, create=True) as log:
        click.echo(f"{import_text(log, text, str(file))} new entries")


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
