"""Files that people give, read in one way: each fault is one line that names the file."""

from __future__ import annotations

import json
import math
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from driftmap.core.errors import InputError, nearest, quoted

if TYPE_CHECKING:
    from pydantic import ValidationError


_LARGEST_FILE: Final = 1_000_000
"""Largest file that people write by hand [byte]."""

_GREATEST: Final = 1e15
"""Greatest number that a file may hold: beyond any that is meant, in whatever unit."""

FORM: Final = 1
"""Newest form of the files that people write; a file that tells none is of the first."""

_LONGEST_NUMBER: Final = 300  # digits; Python reads 4,300, floats hold 308
_SAID: Final = 300  # characters of one remark that are told
_TOLD: Final = 350  # characters of mistakes in one line; the rest is counted

Fault = Callable[[str, str, str], InputError]
_Loc = Sequence[int | str]


def bytes_of(path: Path, fault: Fault = InputError, most: int = _LARGEST_FILE) -> bytes:
    """Read a file of sensible size, or raise `fault`."""
    source = str(path)
    try:
        if path.exists() and not path.is_file():
            raise fault(source, "", "cannot be read: it is no ordinary file")
        size = path.stat().st_size
        if size > most:
            raise fault(source, "", f"holds {size:,} bytes; accepted: {most:,} at most")
        return path.read_bytes()
    except OSError as problem:
        raise fault(source, "", f"cannot be read: {problem.strerror}") from None
    except ValueError:  # a NUL in the name
        raise fault(source, "", "is not a file name") from None


def decoded(data: bytes, source: str, fault: Fault = InputError) -> str:
    """Take bytes for text that says something, without a byte order mark."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        message = f"is not text in UTF-8 (byte {problem.start + 1})"
        raise fault(source, "", message) from None
    if "\0" in text:
        raise fault(source, "", "is not text (it holds NUL bytes)")
    if not text.strip():
        raise fault(source, "", "is empty")
    return text


def read_text(path: Path, fault: Fault = InputError, most: int = _LARGEST_FILE) -> str:
    """Read a text file."""
    return decoded(bytes_of(path, fault, most), str(path), fault)


def quotes_in(source: str, texts: Iterable[object]) -> tuple[str, ...]:
    """Quote what people wrote into a file for people to read, some words at least."""
    words = (" ".join(t.split()) for t in texts if isinstance(t, str))
    return tuple(
        dict.fromkeys(
            f'{Path(source).name} says, and nothing reads it: "{told[:_SAID]}"'
            for told in words
            if " " in told
        )
    )


def toml_of(path: Path, fault: Fault = InputError) -> dict[str, Any]:
    """Read a TOML file."""
    return parse_toml(read_text(path, fault), str(path), fault)


def parse_toml(text: str, source: str, fault: Fault = InputError) -> dict[str, Any]:
    """Read TOML, every number in it finite and of sensible size."""
    try:
        tree = tomllib.loads(text)
        _check_values(tree, source, (), fault)
        of_known_form(tree, source, fault)
    except tomllib.TOMLDecodeError as problem:
        raise fault(source, "", f"is not TOML: {problem}") from None
    except ValueError:  # an integer longer than Python reads
        raise fault(source, _endless(text), _TOO_LONG) from None
    except RecursionError:
        raise fault(source, "", "is nested too deeply") from None
    return tree


def of_known_form(tree: dict[str, Any], source: str, fault: Fault = InputError) -> None:
    """Take the form off a file, or refuse one that this program is too old to read."""
    form = tree.pop("form", FORM)
    if isinstance(form, bool) or not isinstance(form, int) or form < 1:
        text = f"must be a whole number from 1 to {FORM} (got {quoted(form)})"
        raise fault(source, "form", text)
    if form > FORM:
        text = f"is {form}: written for a newer driftmap; this one reads up to {FORM}"
        raise fault(source, "form", text)


_TOO_LONG: Final = f"holds a number of over {_LONGEST_NUMBER} digits"


def _endless(text: str) -> str:
    """Find the line of a number too long for anybody to mean it."""
    long = re.compile(rf"[\d_]{{{_LONGEST_NUMBER},}}")
    lines = enumerate(text.splitlines(), 1)
    return next((f"line {n}" for n, line in lines if long.search(line)), "")


def parse_json(text: str, source: str, fault: Fault = InputError) -> object:
    """Read JSON: no key twice, every number finite and of sensible size."""

    def once(pairs: list[tuple[str, object]]) -> dict[str, object]:
        held = dict(pairs)
        if len(held) < len(pairs):  # readers keep the last of two, and say nothing
            keys = [key for key, _ in pairs]
            twice = next(key for key in held if keys.count(key) > 1)
            raise fault(source, "", f"key {quoted(twice)} stands twice in one object")
        return held

    def whole(digits: str) -> float:
        return int(digits) if len(digits) <= _LONGEST_NUMBER else math.inf

    try:
        tree: object = json.loads(text, object_pairs_hook=once, parse_int=whole)
        _check_values(tree, source, (), fault)
    except json.JSONDecodeError as problem:
        where = f"line {problem.lineno}, column {problem.colno}"
        raise fault(source, where, f"is not JSON: {problem.msg}") from None
    except RecursionError:
        raise fault(source, "", "is nested too deeply") from None
    return tree


_TURNING: Final = re.compile("[\u202a-\u202e\u2067]")
"""Characters that turn about what stands after them, so that it reads as something else."""


def _check_values(
    value: object, source: str, loc: tuple[int | str, ...], fault: Fault
) -> None:
    """Refuse numbers beyond any use, and text that does not read as it stands, by their place."""
    if isinstance(value, dict):
        for key, part in value.items():
            _check_values(key, source, loc, fault)
            _check_values(part, source, (*loc, key), fault)
    elif isinstance(value, list):
        for i, part in enumerate(value):
            _check_values(part, source, (*loc, i), fault)
    elif isinstance(value, str):
        if _TURNING.search(value):
            text = f"holds a mark that turns text about ({quoted(value)}); take it out"
            raise fault(source, _place_in_file(loc), text)
    elif isinstance(value, int | float) and not abs(value) <= _GREATEST:
        text = f"must be a finite number of at most {_GREATEST:g} (got {quoted(value)})"
        raise fault(source, _place_in_file(loc), text)


def row_name(kind: str, number: int, name: object) -> str:
    """Name a row of a file in a message.

    Examples
    --------
    >>> row_name("rule", 2, "surface_wind"), row_name("piece", 0, None)
    ('rule 3 (surface_wind)', 'piece 1')
    """
    named = f" ({name[:60]})" if isinstance(name, str) and name else ""
    return f"{kind} {number + 1}{named}"


def _place_in_file(loc: _Loc, data: object = None) -> str:
    """Name a place in a file by its keys, rows by their number and name.

    Examples
    --------
    >>> _place_in_file(("airframe", "mass"))
    'airframe.mass'
    >>> _place_in_file(("piece", 0, "count"), {"piece": [{"name": "fin", "count": 99}]})
    'piece 1 (fin), count'
    """
    text, here = "", data
    for i, part in enumerate(loc):
        here = _inside(here, part)
        if isinstance(part, int):
            name = here.get("name") if isinstance(here, Mapping) else None
            text = row_name(text, part, name)
        else:
            after_row = i > 0 and isinstance(loc[i - 1], int)
            text += f"{', ' if after_row else '.' if text else ''}{part}"
    return text


def _inside(here: object, part: int | str) -> object:
    if isinstance(here, Mapping):
        return here.get(part)
    if isinstance(here, list | tuple) and isinstance(part, int) and part < len(here):
        return here[part]
    return None


def mistaken(
    problem: ValidationError,
    data: object,
    source: str,
    known: Callable[[_Loc], Iterable[str]],
    *,
    within: _Loc = (),
    fault: Fault = InputError,
) -> InputError:
    """Tell every mistake of a file in one line, up to a bound, the rest by their number.

    ``data``: the whole file as written, for the names of its rows; ``known``: keys that
    are accepted beside a place; ``within``: place of what was checked.
    """
    errors = problem.errors(include_url=False)
    # An unknown key explains a missing one, so it comes first.
    errors.sort(key=lambda e: e["type"] != "extra_forbidden")
    told = []
    for error in errors:
        loc = (*within, *error["loc"])
        told.append((_place_in_file(loc, data), _mistake(error, loc, known)))
    (where, text), *rest = told
    for i, (place, more) in enumerate(rest):
        if len(text) + len(place) + len(more) > _TOLD:
            text += f" [and {len(rest) - i} more]"
            break
        text += f"; {place}: {more}"
    made = fault(source, where, text)
    made.each = tuple(told)
    return made


def _mistake(error: Any, loc: _Loc, known: Callable[[_Loc], Iterable[str]]) -> str:
    if error["type"] == "extra_forbidden":
        return f"is not a key here; {nearest(str(loc[-1]), known(loc))}"
    if error["type"] == "missing":
        return "is missing"
    text = re.sub(r"^\w+ should ", "must ", error["msg"].removeprefix("Value error, "))
    if error["type"] in {"tuple_type", "list_type"}:
        rows = isinstance(error["input"], dict)
        text = f"must be a list{f': write [[{loc[-1]}]]' if rows else ''}"
    got = quoted(error["input"])
    return (
        text
        if isinstance(error["input"], dict) or got in text
        else f"{text} (got {got})"
    )
