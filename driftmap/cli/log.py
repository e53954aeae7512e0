"""``driftmap log`` and ``review``: what was decided, what happened, and how they compare."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from driftmap.cli.options import json_option
from driftmap.cli.output import BAD_INPUT, Progress, json_text, write_all
from driftmap.core.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from driftmap.cli.inputs import Run
    from driftmap.logbook.entry import Content, Entry
    from driftmap.logbook.store import Log
    from driftmap.verdict.assessment import Assessment


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
      driftmap log add outcome.toml --about last
    """


def _open(path: Path | None, *, create: bool = False) -> Log:
    from driftmap.logbook.store import Log, default_path

    return Log(default_path() if path is None else path, create=create)


def check_log(path: str) -> None:
    """Refuse a log that cannot be written to, before anything is flown."""
    from driftmap.logbook.store import default_path

    if (place := Path(path) if path else default_path()).exists():
        _open(place).close()


def inputs_to_log(run: Run) -> dict[str, Content]:
    """Keep the inputs of a run for the log, as they are before it."""
    from driftmap.logbook.entry_bodies import kept_inputs

    files = {"flight": [run.flight], "site": [run.site]}
    return kept_inputs(files | {"wind": [*run.asked.winds], "answers": [*run.answers]})


def log_assessment(
    assessment: Assessment, run: Run, inputs: Mapping[str, Content], path: str
) -> str:
    """Write an assessment to the log at a path, or the user's own; say so.

    ``inputs``: those of `inputs_to_log`.
    """
    from driftmap.cli.times import flight_time
    from driftmap.logbook.entry_bodies import assessment_entry
    from driftmap.winds.formats import kind_of
    from driftmap.winds.times import present

    asked = run.asked
    when = present() if asked.when is None else flight_time(asked.when)
    fetched = [] if asked.at is None else ["forecast asked for"]
    entry, contents = assessment_entry(
        assessment,
        inputs,
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


_about = click.option(
    "--about", metavar="ID|last", help="The assessment it belongs to, or the last one."
)
_UNTIED: Final = 3  # assessments that an outcome tied to none is offered


@log_command.command("add")
@click.argument("file", metavar="OUTCOME", type=click.Path(path_type=Path))
@_about
@_photo
@_log
def add_command(
    file: Path, about: str | None, photographs: tuple[Path, ...], path: Path | None
) -> None:
    """Add what came of a flight, from a TOML file."""
    from driftmap.logbook.entry_bodies import outcome_body

    body = outcome_body(file, photographs)
    with _open(path, create=about is None) as log:
        added, doubts = _add(log, body, file, about)
        click.echo("\n".join([f"added {added} to {log.path}", *doubts]))


def _add(
    log: Log,
    body: dict[str, Any],
    file: Path,
    about: str | None,
    corrects: str | None = None,
) -> tuple[str, list[str]]:
    """Add an outcome; give the beginning of its id, and what may be wrong with it."""
    from driftmap.logbook.entry import new_entry
    from driftmap.logbook.entry_bodies import unlike

    assessed = None if about is None else _assessed(log, about)
    doubts = [] if assessed is None else unlike(body, assessed, str(file))
    tied = None if assessed is None else assessed.id
    entry = new_entry("outcome", body, about=tied, corrects=corrects)
    log.append([entry])
    return entry.id[:8], [*doubts, *_tied(entry, log.current(), file)]


def _assessed(log: Log, about: str) -> Entry:
    """Find an assessment by the beginning of its id, or the one written last."""
    if about != "last":
        return log.find(about)
    entries = [entry for entry in log.entries() if entry.kind == "assessment"]
    if not entries:
        raise InputError(str(log.path), "", "holds no assessment yet")
    return entries[-1]


def _tied(outcome: Entry, held: Sequence[Entry], file: Path) -> Iterator[str]:
    """Say which other outcome its assessment has, or that it belongs to none."""
    if outcome.about is not None:
        others = [e.id[:8] for e in held if e.about == outcome.about and e != outcome]
        if others:
            yield (
                f"that assessment has an outcome already, {', '.join(others)}: each "
                f"counts; if they are one flight, driftmap log correct {others[-1]} and "
                "not add"
            )
        return
    yield "it is tied to no assessment, so review holds it beside no forecast"
    assessed = [entry for entry in held if entry.kind == "assessment"][-_UNTIED:]
    for entry in reversed(assessed):
        yield f"  {_line(entry)}"
    if assessed:
        log = f"driftmap log correct {outcome.id[:8]} {file} --about"
        yield f"to tie it: {log} {assessed[-1].id[:8]}"


@log_command.command("correct")
@click.argument("entry_id", metavar="ID")
@click.argument("file", metavar="OUTCOME", type=click.Path(path_type=Path))
@_about
@_photo
@_log
def correct_command(
    entry_id: str,
    file: Path,
    about: str | None,
    photographs: tuple[Path, ...],
    path: Path | None,
) -> None:
    """Add an outcome in the place of another, which stays in the log.

    Photographs of the other are kept, and the assessment it belongs to unless --about
    names one.
    """
    from driftmap.logbook.entry_bodies import outcome_body

    body = outcome_body(file, photographs)
    with _open(path) as log:
        old = log.find(entry_id)
        if old.kind != "outcome":
            text = "is an assessment: it stays as given"
            raise InputError(str(log.path), f"entry {old.id[:8]}", text)
        body["photographs"] = [*old.body.get("photographs", []), *body["photographs"]]
        added, doubts = _add(log, body, file, about or old.about, old.id)
        text = f"added {added}, which corrects {old.id[:8]}"
        click.echo("\n".join([text, *doubts]))


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
        what = f"{body.get('flight', '')}, {body.get('site', '')}"
        if when := body.get("when"):
            what += f", for {when[:16].replace('T', ' ')}"
        return f"{head}{body.get('verdict', '?'):6}  {what}"
    about = f" of {entry.about[:8]}" if entry.about else ""
    fixed = f", corrects {entry.corrects[:8]}" if entry.corrects else ""
    finds = ", ".join(find["piece"] for find in body.get("found", []))
    told = [body.get("case", ""), f"found {finds}" if finds else ""]
    told += [] if body.get("flew", True) else ["it did not fly"]
    return f"{head}outcome{about}{fixed}: {'; '.join(t for t in told if t)}"


@log_command.command("show")
@click.argument("entry_id", metavar="ID")
@_log
def show_command(entry_id: str, path: Path | None) -> None:
    """Print one entry with all it says."""
    with _open(path) as log:
        click.echo(json_text(dict(sorted(log.find(entry_id).plain.items()))))


@log_command.command("export")
@click.option(
    "--out",
    required=True,
    type=click.Path(dir_okay=False, path_type=Path),
    help="File for it.",
)
@_log
def export_log_command(out: Path, path: Path | None) -> None:
    """Write the whole log as lines of JSON."""
    from driftmap.logbook.exchange import export_text, looks_exported

    if out.exists() and not looks_exported(out):
        text = f"{out} is there and is no export of a log: it is left as it is"
        raise InputError("--out", "", text)
    with _open(path) as log:
        write_all(out.parent, {out.name: export_text(log)})
        click.echo(f"{len(log.entries())} entries written to {out}")


@log_command.command("import")
@click.argument("file", type=click.Path(path_type=Path))
@_log
def import_command(file: Path, path: Path | None) -> None:
    """Add all of an export; what is there already is passed over."""
    from driftmap.core.files import read_text
    from driftmap.logbook.exchange import read_export, stands_alone
    from driftmap.logbook.store import default_path

    read = read_export(read_text(file, most=_LARGEST_EXPORT), str(file))
    place = default_path() if path is None else path
    if not place.exists():  # what is refused leaves no empty log behind
        stands_alone(*read, str(file))
    with _open(place, create=True) as log:
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
            ctx.exit(BAD_INPUT)
        click.echo(f"{len(log.entries())} entries, all as they were written")


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
@json_option()
def review_command(path: Path | None, verdicts: int, as_json: bool) -> None:
    """Hold the forecasts of a log against what was found; change nothing.

    \b
    Examples:
      driftmap review --log flights.sqlite
      driftmap review --log flights.sqlite --verdicts

    It reads assessments (assess --log) and what came of them (log add --about).
    """
    from driftmap.logbook.findings import review
    from driftmap.logbook.reassessment import reassess_last
    from driftmap.logbook.review_text import finite, format_review, format_verdicts
    from driftmap.logbook.verification import flew_of, lost_of, records_of

    with _open(path) as log:
        entries = log.current()
        result = review(records_of(entries), flew_of(entries), lost_of(entries))
        with Progress("flights") as progress:
            again = list(reassess_last(log, result, verdicts, progress))
    if as_json:
        click.echo(json_text(finite({**asdict(result), "verdicts": again})))
        return
    click.echo(format_review(result))
    if verdicts:
        click.echo("\n" + format_verdicts(result, again))
