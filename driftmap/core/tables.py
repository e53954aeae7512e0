"""Tables that people give: a header and rows of cells, with remarks after ``#``."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Callable, Collection, Iterator, Sequence
from importlib.resources import files
from typing import Final

from driftmap.core.errors import InputError, PlacedError, at, nearest, quoted
from driftmap.core.files import Fault

_UNITS: Final = tuple(
    (re.compile(rf"(?<!\d)(?<!\d )\b(?:{told})\b", re.IGNORECASE), named)
    for told, named in (
        (r"pounds?(?:.force)?|lbf?", ("lb",)),
        (r"newtons?(?!.?s)", ("_n", "(n", "[n", " n")),
        (r"kilograms?(?:.force)?|kgf|kiloponds?", ("kg",)),
        (r"feet|ft", ("ft", "fps")),
        (r"met(?:re|er)s", ("_m", "(m", "[m", " m")),
        (r"milliseconds?", ("ms",)),
    )
)
"""Units that a remark of a table may be told in, and what of a header bears it out."""


def check_remarks(text: str, source: str, fault: Fault = InputError) -> None:
    """Refuse a table with a remark, after ``#``, of a unit in which no column is."""
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    header = next((line.lower() for line in lines if line[0] != "#"), "")
    for line in (line for line in lines if line[0] == "#"):
        for told, named in _UNITS:
            if told.search(line) and not any(name in header for name in named):
                said = (
                    f"a remark, {quoted(line)}, speaks of a unit that no column is in"
                )
                raise fault(source, "", f"{said}: correct the header or the remark")


def remarks(text: str) -> tuple[str, ...]:
    """List the lines of a table that begin with ``#``, without it."""
    lines = map(str.strip, text.splitlines())
    return tuple(line.lstrip("# ") for line in lines if line[:1] == "#")


def idle(line: str) -> bool:
    """Return whether a line of a table says nothing: blank, or a remark after ``#``."""
    return not line.strip() or line.lstrip().startswith("#")


def header_of(text: str) -> tuple[str, str]:
    """Return the first line that says something, and the mark that parts its columns.

    Spreadsheets also write semicolons and tabs.
    """
    line = next((line for line in text.splitlines() if not idle(line)), "")
    return line, next((mark for mark in ",;\t" if mark in line), ",")


def names_of(text: str) -> list[str]:
    """Return the names of the columns in the header of a table."""
    line, mark = header_of(text)
    return [name.lower() for name in _cells_of(line, mark)]


def _cells_of(line: str, mark: str) -> list[str]:
    """Part a line of a table into its cells, of which some may stand in quotes."""
    cells = line.split(mark)
    if '"' in line:
        try:
            (cells,) = csv.reader([line], delimiter=mark, skipinitialspace=True)
        except csv.Error as problem:
            raise ValueError(f"cannot be split into cells: {problem}") from None
    return [cell.replace('"', " ").strip() for cell in cells]


def rows_of(
    text: str,
    accepted: Collection[str] | None,
    check: Callable[[list[str]], None],
    least: int,
    most: int,
) -> Iterator[tuple[str, dict[str, str]]]:
    """Take a table apart: each line of cells by the names in the header, with its place.

    Names in `accepted` alone, or any, each once, that pass `check`.
    """
    lines = [(n, line) for n, line in enumerate(text.splitlines(), 1) if not idle(line)]
    if not lines:
        raise ValueError("is empty; give a header and rows")
    mark, names = header_of(text)[1], names_of(text)
    with at(f"line {lines[0][0]}"):
        for name in names:
            if accepted is not None and name not in accepted:
                raise ValueError(f"unknown column {nearest_name(name, accepted)}")
            if names.count(name) > 1:
                raise ValueError(f"column {name!r} stands twice")
        check(names)
    rows = [(n, _cells_of(line, mark)) for n, line in lines[1:]]
    rows = [(n, cells) for n, cells in rows if any(cells)]
    if not least <= len(rows) <= most:
        raise ValueError(
            f"{len(rows)} rows below the header; accepted are {least} to {most}"
        )
    for n, cells in rows:
        if len(cells) != len(names):
            raise PlacedError(
                f"line {n}", f"{len(cells)} cells; the header names {len(names)}"
            )
        yield f"line {n}", dict(zip(names, cells, strict=True))


def remarks_of(
    text: str, keys: Sequence[str], form: str = ".+?"
) -> dict[str, tuple[str, str]]:
    """Return what lines such as ``# ascent 2.5 m/s`` tell by their keys, with their places."""
    told: dict[str, tuple[str, str]] = {}
    line = re.compile(
        rf"\s*#[#\s]*({'|'.join(keys)})\s*:?\s+({form})\s*", re.IGNORECASE
    )
    for n, one in enumerate(text.splitlines(), 1):
        if found := line.fullmatch(one):
            key = found[1].lower()
            if key in told:
                raise PlacedError(f"line {n}", f"'# {key}' stands twice")
            told[key] = f"line {n}", found[2]
    return told


_COMMA: Final = re.compile(r"^\s*([-+]?\d+),(\d{1,2})\s*$")


def number_of(cell: str, name: str, low: float = -1e9, high: float = 1e9) -> float:
    """Read a number, with a decimal comma too where it cannot part thousands.

    Examples
    --------
    >>> number_of("3,5", "speed_mps"), number_of("4.2", "speed_mps")
    (3.5, 4.2)
    """
    try:
        value = float(_COMMA.sub(r"\1.\2", cell) if "," in cell else cell)
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        text = "a finite number" if high >= 1e9 else f"{low:g} to {high:g}"
        text += ", without a comma between thousands" * ("," in cell)
        raise ValueError(f"{name} {cell[:40]!r}; accepted is {text}")
    return value


_FROM: Final = "from_deg"
_WAY_OUT: Final = re.compile(
    r"(?i)(?:^|_)(?:to|towards?|into|heading|course|drift)(?:_|$)|blow"
)
"""Names of the way a wind goes, as trackers tell it: the nearest name that is known is its opposite."""


def nearest_name(name: str, accepted: Collection[str]) -> str:
    """Say that a name is not known, with the nearest that is."""
    if _WAY_OUT.search(name) and _FROM in accepted:
        return f"{quoted(name)}; accepted is {_FROM}, where a wind comes from: 180° from there"
    return f"{quoted(name)}; {nearest(name, accepted, cutoff=0.4)}"


def shipped(package: str, name: str, mark: str = ";") -> Iterator[list[str]]:
    """Read the rows of a table that comes with a package; remarks stand after ``#``."""
    text = files(package).joinpath(name).read_text("utf-8")
    return (line.split(mark) for line in text.splitlines() if line[0] != "#")
