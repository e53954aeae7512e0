"""Read a text file, and refuse at once what cannot be one."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

from driftmap.errors import WindError

__all__ = [
    "LONGEST_FILE",
    "MOST_LINES",
    "cells_of",
    "check_text",
    "idle",
    "load_text",
    "mark_of",
    "number_of",
]

LONGEST_FILE: Final = 20_000_000
"""Largest file read [bytes]: a year of soundings from one station."""

MOST_LINES: Final = 200_000
"""Most lines read."""

LONGEST_LINE: Final = 1000
"""Longest line of a report [characters]; a JSON or XML document may stand in one."""

_COMMA: Final = re.compile(r"^([-+]?\d+),(\d{1,2})$")


def load_text(path: Path) -> str:
    """Read a text file.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    str
        Its text, without a byte order mark.

    Raises
    ------
    WindError
        If the file is missing, empty, too long, or not text.
    """
    try:
        if path.is_dir():
            raise WindError(str(path), "", "is a folder; give a wind file")
        if path.stat().st_size > LONGEST_FILE:
            raise WindError(
                str(path),
                "",
                f"{path.stat().st_size} bytes; accepted are {LONGEST_FILE} at most",
            )
        raw = path.read_bytes()
    except OSError as problem:
        raise WindError(str(path), "", f"cannot be read ({problem.strerror})") from None
    return check_text(_decode(raw, str(path)), str(path))


def _decode(raw: bytes, source: str) -> str:
    if b"\0" in raw:
        raise WindError(source, "", "is a binary file; accepted are text files")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        # Older station lists carry a degree sign or an accent in Latin-1.
        return raw.decode("latin-1")


def check_text(text: str, source: str) -> str:
    """Accept text of a sensible size.

    Parameters
    ----------
    text : str
        Text of a report.
    source : str
        For the message.

    Returns
    -------
    str
        The text, unchanged.

    Raises
    ------
    WindError
        If it is empty, too long or not text.
    """
    if not text.strip():
        raise WindError(source, "", "is empty")
    lines = text.count("\n")
    if lines > MOST_LINES:
        raise WindError(source, "", f"{lines} lines; accepted are {MOST_LINES} at most")
    if text.lstrip()[:1] not in {"{", "[", "<"}:
        long = next(
            (
                n
                for n, line in enumerate(text.splitlines(), 1)
                if len(line) > LONGEST_LINE
            ),
            None,
        )
        if long is not None:
            raise WindError(
                source, f"line {long}", f"is over {LONGEST_LINE} characters long"
            )
    odd = sum(1 for c in text[:4096] if ord(c) < 32 and c not in "\t\r\n\f\x01\x03\x1e")
    if odd > 0:
        raise WindError(source, "", "is a binary file; accepted are text files")
    return text


def idle(line: str) -> bool:
    """Tell whether a line of a table says nothing: blank, or a remark after ``#``."""
    return not line.strip() or line.lstrip().startswith("#")


def mark_of(header: str) -> str:
    """Find what parts the columns: spreadsheets also write semicolons and tabs."""
    return next((mark for mark in ",;\t" if mark in header), ",")


def cells_of(line: str, mark: str) -> list[str]:
    """Part a line of a table into its cells."""
    return [cell.strip().strip('"').strip() for cell in line.split(mark)]


def number_of(cell: str) -> float:
    """Read a number, with a decimal comma too where it cannot part thousands.

    Examples
    --------
    >>> number_of("3,5"), number_of("4.2")
    (3.5, 4.2)
    """
    return float(_COMMA.sub(r"\1.\2", cell.strip()))
