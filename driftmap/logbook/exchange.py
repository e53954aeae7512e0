"""The whole log as lines of JSON, and back: the round trip gives the same bytes."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any, Final

from driftmap.core.errors import InputError, PlacedError, located
from driftmap.logbook.entry import Content, Entry, canonical, check_entry
from driftmap.logbook.store import VERSION, Log

_HEAD: Final = "driftmap log"
_FIELDS: Final = {each.name for each in fields(Entry)}


def export_text(log: Log) -> str:
    """Write a log as JSON Lines.

    Result: one object a line: the head, each content (as text, or base64 where it is
    none), each entry in the order of writing with its digest, and how many lines came
    before.
    """
    lines = [canonical({"form": _HEAD, "version": VERSION})]
    lines += [canonical({"content": _packed(content)}) for content in log.contents()]
    lines += [
        canonical({"entry": entry.plain, "digest": entry.digest})
        for entry in log.entries()
    ]
    lines.append(canonical({"lines": len(lines)}))
    return "\n".join(lines) + "\n"


def looks_exported(path: Path) -> bool:
    """Return whether a file begins as an export does: another may take its place."""
    head = canonical({"form": _HEAD})[1:-1].encode()
    with path.open("rb") as file:
        return head in file.readline(200)


def _packed(content: Content) -> dict[str, str]:
    told = {"digest": content.digest, "name": content.name}
    try:
        return {**told, "text": content.data.decode("utf-8")}
    except UnicodeDecodeError:
        return {**told, "base64": base64.b64encode(content.data).decode()}


def read_export(text: str, source: str) -> tuple[list[Entry], list[Content]]:
    """Read an export; one that is cut short, changed, foreign or newer is refused."""
    with located(source, ""):
        return _read(text.split("\n"))


def _read(lines: Sequence[str]) -> tuple[list[Entry], list[Content]]:
    rows = [_row(number, line) for number, line in enumerate(lines, 1) if line]
    head = rows[0] if rows else {}
    if head.get("form") != _HEAD:
        raise ValueError("is no export of a driftmap log")
    if not isinstance(head.get("version"), int) or head["version"] > VERSION:
        raise ValueError(
            f"was written by a newer driftmap (log version {head.get('version')})"
        )
    if rows[-1] != {"lines": len(rows) - 1}:
        raise ValueError("is cut short: its last line does not tell its length")
    contents, entries = [], []
    for number, row in enumerate(rows[1:-1], 2):
        try:
            if "content" in row:
                contents.append(_content(row["content"]))
            else:
                entries.append(_entry(row))
        except (KeyError, TypeError, ValueError, AttributeError) as problem:
            text = f"cannot be read: {problem}"
            raise PlacedError(f"line {number}", text) from None
    return entries, contents


def stands_alone(
    entries: Sequence[Entry], contents: Iterable[Content], source: str
) -> None:
    """Refuse what a new log would refuse, before one is made: tried in memory."""
    with Log(":memory:") as trial:
        try:
            trial.append(entries, contents)
        except InputError as problem:
            raise InputError(source, problem.where, problem.problem) from None


def _row(number: int, line: str) -> dict[str, Any]:
    try:
        row = json.loads(line)
    except (ValueError, RecursionError):
        raise PlacedError(f"line {number}", "is no line of JSON") from None
    if not isinstance(row, dict):
        raise PlacedError(f"line {number}", "must be an object")
    return row


def _content(row: Mapping[str, str]) -> Content:
    data = (
        row["text"].encode()
        if "text" in row
        else base64.b64decode(row["base64"], validate=True)
    )
    content = Content(str(row["name"]), data)
    if content.digest != row["digest"]:
        raise ValueError("content was changed after it was written")
    return content


def _entry(row: Mapping[str, Any]) -> Entry:
    plain = row["entry"]
    if set(plain) != _FIELDS:
        raise ValueError(f"an entry has {', '.join(sorted(_FIELDS))}")
    entry = Entry(**plain)
    if entry.digest != row["digest"]:
        raise ValueError("entry was changed after it was written")
    check_entry(entry)
    return entry
