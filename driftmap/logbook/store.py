"""The log on disk: SQLite that only grows, safe against a kill and against two writers."""

from __future__ import annotations

import json
import os
import sqlite3
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path
from typing import Any, Final, Self

from driftmap.core.errors import InputError, located
from driftmap.logbook.entry import (
    ENTRY_KINDS,
    Content,
    Entry,
    canonical,
    check_entry,
    holding,
)

_APPLICATION: Final = 0x64724C67  # marks the file as a log of this program
_MAGIC: Final = b"SQLite format 3\x00"
_WAIT: Final = 10.0  # s, for another writer to finish

_STEPS: Final = (
    files(__package__).joinpath("store.sql").read_text("utf-8").split(";\n")[:-1],
    # Version 2: the file itself refuses what is not an addition.
    [
        f"CREATE TRIGGER {table}_{verb.lower()} BEFORE {verb} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, 'the log only grows'); END"
        for table in ("content", "entry", "uses")
        for verb in ("UPDATE", "DELETE")
    ],
)
_BUSY: Final = "is in use by another program; nothing was written, try again"
_PROBLEMS: Final = {
    "locked": _BUSY,
    "busy": _BUSY,
    "full": "the disk is full; nothing was written, the log is as it was",
    "readonly": "may not be written to; nothing was written",
    "unable to open": "cannot be opened",
    "I/O": "the disk refuses it; nothing was written, the log is as it was",
}
VERSION: Final = len(_STEPS)
"""Version of the log's form; each step of `_STEPS` leads to the next."""


def default_path() -> Path:
    """Return where the log of this user lies.

    Result: ``log.sqlite`` in the folder that the system keeps for data of programs.
    """
    home = Path.home()
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA", home / "AppData" / "Local"))
    elif sys.platform == "darwin":
        base = home / "Library" / "Application Support"
    else:
        # Base directory specification of freedesktop.org.
        base = Path(os.environ.get("XDG_DATA_HOME") or home / ".local" / "share")
    return base / "driftmap" / "log.sqlite"


def _log_problems(path: Path, problem: Exception) -> InputError:
    """Say in one line why a log cannot be read or written, from what SQLite says."""
    damaged = (
        f"is damaged ({problem}); put back a backup or import an export, and keep this "
        "file beside it"
    )
    told = (text for part, text in _PROBLEMS.items() if part in str(problem))
    return InputError(str(path), "", next(told, damaged))


@contextmanager
def _told(path: Path) -> Iterator[None]:
    try:
        yield
    except (sqlite3.Error, ValueError) as problem:  # or text that is none
        raise _log_problems(path, problem) from None


def _look(path: Path, create: bool) -> bool:
    """Return whether there is a file that may be a log; refuse others before opening."""
    source = str(path)
    if not path.exists():
        if not create:
            raise InputError(source, "", "is not there; nothing was logged yet")
        path.parent.mkdir(parents=True, exist_ok=True)
        return False
    if not path.is_file():
        raise InputError(source, "", "is no ordinary file")
    with path.open("rb") as file:
        head = file.read(len(_MAGIC))
    if not (head or create):  # made a moment ago by another writer, or lost
        text = "is empty: put back a backup, or take it away to begin anew"
        raise InputError(source, "", text)
    if head and not head.startswith(_MAGIC[: len(head)]):
        raise InputError(source, "", "is no driftmap log: it is left as it is")
    if head and len(head) < len(_MAGIC):
        raise InputError(source, "", "is cut short: put back a backup")
    return bool(head)


def _bring_up(base: sqlite3.Connection, path: Path, *, there: bool) -> None:
    """Refuse a file that is no log of ours, and set up one that is."""
    if there:
        _check_form(base, str(path))
    # A writer waits for the other; what is committed is on the disk.
    base.execute("PRAGMA journal_mode = WAL")
    base.execute("PRAGMA synchronous = FULL")
    base.execute("PRAGMA foreign_keys = ON")
    if _version(base) < VERSION:
        _migrate(base)


def _check_form(base: sqlite3.Connection, source: str) -> None:
    mark = base.execute("PRAGMA application_id").fetchone()[0]
    tables = base.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if mark != _APPLICATION and (mark or tables):
        raise InputError(source, "", "is no driftmap log: it is left as it is")
    if _version(base) > VERSION:
        text = (
            f"was written by a newer driftmap (log version {_version(base)}, this one "
            f"knows up to {VERSION}): it is left as it is"
        )
        raise InputError(source, "", text)
    problems = [row[0] for row in base.execute("PRAGMA integrity_check(3)")]
    if problems != ["ok"]:
        raise sqlite3.DatabaseError("; ".join(problems))


def _version(base: sqlite3.Connection) -> int:
    return int(base.execute("PRAGMA user_version").fetchone()[0])


def _migrate(base: sqlite3.Connection) -> None:
    """Bring the form up to date, wholly or not at all."""
    with _writing(base):
        for step in _STEPS[_version(base) :]:
            for statement in step:  # `executescript` would commit behind our back
                base.execute(statement)
        base.execute(f"PRAGMA application_id = {_APPLICATION}")
        base.execute(f"PRAGMA user_version = {VERSION}")


@contextmanager
def _writing(base: sqlite3.Connection) -> Iterator[None]:
    """Write all or nothing."""
    base.execute("BEGIN IMMEDIATE")
    try:
        yield
        base.execute("COMMIT")
    except BaseException:
        if base.in_transaction:
            base.execute("ROLLBACK")
        raise


class Log:
    """An open log.

    Parameters
    ----------
    path : Path
        The file; made if it is not there and `create` is set.
    create : bool
        Whether to make it.
    wait : float
        How long to wait for another writer [s].

    Raises
    ------
    InputError
        If the file is no log, damaged, locked, or written by a newer driftmap.
    """

    def __init__(
        self, path: Path | str, *, create: bool = True, wait: float = _WAIT
    ) -> None:
        self.path = Path(path)
        with _told(self.path):
            there = _look(self.path, create)
            self._base = sqlite3.connect(self.path, timeout=wait, isolation_level=None)
        try:
            with _told(self.path):
                _bring_up(self._base, self.path, there=there)
        except BaseException:
            self._base.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *problem: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the log."""
        self._base.close()

    def append(self, entries: Sequence[Entry], contents: Iterable[Content] = ()) -> int:
        """Add entries with their contents; those that are there already are passed over.

        Result: how many were new; once told, they are on the disk. Raises `InputError`
        if an entry of the same id says something else, speaks of one that is not there, or
        cannot be read by readers of the log; nothing is written then: a log only grows.
        """
        for entry in entries:
            with located(str(self.path), f"entry {entry.id[:8]}"):
                check_entry(entry)
        with _told(self.path), _writing(self._base):
            rows = ((each.digest, each.name, each.data) for each in contents)
            insert = "INSERT OR IGNORE INTO content VALUES (?, ?, ?)"
            self._base.executemany(insert, rows)
            return sum(map(self._append, entries))

    def _append(self, entry: Entry) -> int:
        base, refused = self._base, (str(self.path), f"entry {entry.id[:8]}")
        row = base.execute("SELECT digest FROM entry WHERE id = ?", (entry.id,))
        if (there := row.fetchone()) is not None:
            if there[0] != entry.digest:
                text = "is there with other words; nothing was written"
                raise InputError(*refused, text)
            return 0
        if entry.kind not in ENTRY_KINDS:
            raise InputError(*refused, f"{entry.kind!r} is no kind")
        try:
            base.execute(
                "INSERT INTO entry (id, at, kind, about, corrects, body, digest) "
                "VALUES (?, ?, ?, ?, ?, ?, ?)",
                (
                    *(entry.id, entry.at, entry.kind, entry.about, entry.corrects),
                    *(canonical(entry.body), entry.digest),
                ),
            )
            uses = [(entry.id, *use) for use in sorted(entry.contents.items())]
            base.executemany("INSERT INTO uses VALUES (?, ?, ?)", uses)
        except sqlite3.IntegrityError:
            text = (
                "speaks of an entry or a content that is not there; nothing was written"
            )
            raise InputError(*refused, text) from None
        return 1

    def entries(self) -> list[Entry]:
        """Read every entry in the order of writing, those corrected too."""
        with _told(self.path):
            used: dict[str, dict[str, str]] = {}
            for entry, what, content in self._base.execute("SELECT * FROM uses"):
                used.setdefault(entry, {})[what] = content
            rows = self._base.execute(
                "SELECT id, at, kind, about, corrects, body FROM entry ORDER BY number"
            ).fetchall()
            return [
                Entry(one, at, kind, about, corrects, _body(body), used.get(one, {}))
                for one, at, kind, about, corrects, body in rows
            ]

    def current(self) -> list[Entry]:
        """Read the entries that hold now, in the order in which the originals were written."""
        return holding(self.entries())

    def find(self, start: str) -> Entry:
        """Find the one entry whose id begins so; refuse none, several, and under 4 digits."""
        wanted = [
            e for e in self.entries() if len(start) >= 4 and e.id.startswith(start)
        ]
        if len(wanted) != 1:
            text = "no entry" if not wanted else f"{len(wanted)} entries"
            text += f" with an id from {start!r}; give 4 or more of its digits"
            raise InputError(str(self.path), "", text)
        return wanted[0]

    def contents(self) -> list[Content]:
        """Read every content, in the order of their digests."""
        with _told(self.path):
            rows = self._base.execute("SELECT name, data FROM content ORDER BY digest")
            return [Content(name, bytes(data)) for name, data in rows]

    def faults(self) -> list[str]:
        """Check every row against its digest and what it speaks of; a line for each fault."""
        ask = self._base.execute
        with _told(self.path):
            checked = [str(row[0]) for row in ask("PRAGMA integrity_check")]
            found = [problem for problem in checked if problem != "ok"]
            for table, *_ in ask("PRAGMA foreign_key_check"):
                found.append(f"a row of {table} speaks of what is not there")
            told = dict(ask("SELECT id, digest FROM entry").fetchall())
            kept = ask("SELECT digest, name, data FROM content").fetchall()
        changed = [
            f"entry {entry.id[:8]}"
            for entry in self.entries()
            if entry.digest != told[entry.id]
        ]
        changed += [
            f"content {name}"
            for digest, name, data in kept
            if Content(name, bytes(data)).digest != digest
        ]
        return found + [f"{what} was changed after it was written" for what in changed]

    def backup(self, target: Path) -> None:
        """Copy the whole log into one file that is not there yet, also while others write."""
        if target.exists():
            raise InputError(str(target), "", "is there already; it is left as it is")
        half = target.with_name(f".{target.name}.half")
        half.unlink(missing_ok=True)
        try:
            with _told(target):
                copy = sqlite3.connect(half)
                try:
                    self._base.backup(copy)
                    # One file: the copy needs no write-ahead log beside it.
                    copy.execute("PRAGMA journal_mode = DELETE")
                finally:
                    copy.close()
            half.replace(target)
        finally:
            for end in ("", "-journal"):
                half.with_name(half.name + end).unlink(missing_ok=True)


def _body(text: str) -> Any:
    """Read what an entry says; a number beyond all numbers is damage, told as such."""
    try:
        canonical(body := json.loads(text))
    except RecursionError:
        raise ValueError("is nested too deeply") from None
    return body
