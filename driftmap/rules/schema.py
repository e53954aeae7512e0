"""The form of a rule file (TOML), and what to say where a file does not keep to it."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, StrictStr, ValidationError

from driftmap.errors import InputError
from driftmap.rules.kinds import Realm, Scope
from driftmap.units import parse

__all__ = [
    "BandRow",
    "ClassRow",
    "ConditionRow",
    "RuleFile",
    "RuleRow",
    "check_form",
    "nearest",
    "quantity",
    "row_name",
    "toml_of",
]

_LARGEST_FILE: Final = 1_000_000  # bytes

Text = Annotated[StrictStr, Field(min_length=1, max_length=500)]
Key = Annotated[StrictStr, Field(pattern=r"^[a-z][a-z0-9_]*$", max_length=60)]


class _Record(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class ConditionRow(_Record):
    """A condition as written."""

    fact: Key
    up_to: Any = None
    below: Any = None
    above: Any = None
    at_least: Any = None


class BandRow(_Record):
    """A row of a table as written."""

    up_to: Any = None
    value: Any = None
    single: Any = None
    complex: Any = None


class ConfirmRow(_Record):
    """A question that goes with a class or a limit, as written."""

    name: Key
    text: Text
    scope: Scope = "day"


class ClassRow(_Record):
    """A class of rocket as written."""

    name: Text
    when: tuple[ConditionRow, ...] = ()
    confirmed: tuple[ConfirmRow, ...] = ()
    source: Text


class RuleRow(_Record):
    """A rule as written; see `driftmap.rules.ruleset.Rule`."""

    name: Key
    text: Text | None = None
    question: Text | None = None
    limit: Any = None
    share: Any = None
    share_of: Key | None = None
    table: Annotated[tuple[BandRow, ...], Field(max_length=50)] = ()
    table_by: Key | None = None
    table_factor: Annotated[float, Field(gt=0, le=100)] = 1.0
    table_column: Literal["by motors", "complex"] = "by motors"
    take: Literal["strictest", "least"] = "strictest"
    when: tuple[ConditionRow, ...] = ()
    unless: tuple[ConditionRow, ...] = ()
    classes: tuple[Text, ...] = ()
    scope: Scope | None = None
    unless_confirmed: ConfirmRow | None = None
    if_not_known: ConfirmRow | None = None
    source: Text | None = None
    edition: Text | None = None
    from_memory: bool = False
    note: Text | None = None
    yardstick: Literal["", "fails", "holds"] = ""


class RuleFile(_Record):
    """A rule file."""

    title: Text
    governs: Text = "the current local text governs"
    source: Text | None = None
    edition: Text | None = None
    family: Text | None = None
    whole: tuple[Realm, ...] = ()
    extends: tuple[Text, ...] = ()
    rocket_class: Annotated[tuple[ClassRow, ...], Field(alias="class")] = ()
    rule: tuple[RuleRow, ...] = ()


def toml_of(path: Path) -> dict[str, Any]:
    """Read a small TOML file.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    dict
        Its content.

    Raises
    ------
    InputError
        If it cannot be read or is not TOML.
    """
    source = str(path)
    try:
        if path.stat().st_size > _LARGEST_FILE:
            raise InputError(source, "", f"is larger than {_LARGEST_FILE:,} bytes")
        return tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except OSError as problem:
        raise InputError(source, "", f"cannot be read: {problem.strerror}") from None
    except ValueError as problem:  # no text, no TOML, or integers without end
        raise InputError(source, "", f"is not TOML: {problem}") from None
    except RecursionError:
        raise InputError(source, "", "is nested too deeply") from None


def check_form(path: Path) -> RuleFile:
    """Read a rule file and check its form.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    RuleFile
        Its rows as written.

    Raises
    ------
    InputError
        If it cannot be read, or a key or value has no place in it.
    """
    content = toml_of(path)
    try:
        return RuleFile.model_validate(content)
    except ValidationError as problem:
        errors = problem.errors(include_url=False)
        # An unknown key explains a missing one, so it comes first.
        errors.sort(key=lambda e: e["type"] != "extra_forbidden")
        first = errors[0]
        where = _place(first["loc"], content)
        text = first["msg"][:1].lower() + first["msg"][1:]
        if first["type"] == "extra_forbidden":
            text = _unknown(first["loc"])
        elif not isinstance(first["input"], dict):
            text += f" (got {first['input']!r:.60})"
        raise InputError(str(path), where, text) from None


def _place(loc: tuple[int | str, ...], content: Mapping[str, Any]) -> str:
    """Name the row and the key that are meant."""
    if len(loc) < 2 or loc[0] not in {"rule", "class"} or not isinstance(loc[1], int):
        return ".".join(map(str, loc))
    row = content[str(loc[0])][loc[1]]
    name = row.get("name") if isinstance(row, dict) else None
    return ", ".join([row_name(str(loc[0]), loc[1], name), *map(str, loc[2:])])


def row_name(kind: str, number: int, name: object) -> str:
    """Name a row of a rule file in a message.

    Parameters
    ----------
    kind : {"rule", "class"}
        The list it stands in.
    number : int
        Its place in the list, from 0.
    name : object
        Its name, if it has one.

    Returns
    -------
    str
        Such as ``"rule 3 (surface_wind)"``.
    """
    return f"{kind} {number + 1}" + (f" ({name})" if isinstance(name, str) else "")


_KEYS: Final[dict[str, type[BaseModel]]] = {
    "rule": RuleRow,
    "class": ClassRow,
    "table": BandRow,
    "when": ConditionRow,
    "unless": ConditionRow,
    "confirmed": ConfirmRow,
    "unless_confirmed": ConfirmRow,
    "if_not_known": ConfirmRow,
}


def _unknown(loc: tuple[int | str, ...]) -> str:
    inside = [part for part in loc[:-1] if part in _KEYS]
    model = _KEYS[str(inside[-1])] if inside else RuleFile
    names = [field.alias or name for name, field in model.model_fields.items()]
    return f"is not a key here; {nearest(str(loc[-1]), names)}"


def nearest(name: str, known: Iterable[str]) -> str:
    """Say what may have been meant.

    Parameters
    ----------
    name : str
        What was written.
    known : iterable of str
        What is accepted.

    Returns
    -------
    str
        A question, or the whole list.
    """
    names = list(known)
    near = difflib.get_close_matches(name, names, n=1)
    return f"did you mean {near[0]!r}?" if near else f"known: {', '.join(names)}"


def quantity(value: object, dimension: str) -> float:
    """Read a quantity that must name its unit.

    Parameters
    ----------
    value : object
        What the file holds.
    dimension : str
        A key of `driftmap.units.DIMENSIONS`.

    Returns
    -------
    float
        The value in SI.

    Raises
    ------
    ValueError
        If it is no such quantity, or names no unit where there is one.

    Examples
    --------
    >>> quantity("1/4", "number"), quantity("100 ft", "length")
    (0.25, 30.48)
    """
    if dimension in {"number", "share"}:
        parts = re.fullmatch(r"\s*(\d+)\s*/\s*(\d+)\s*", str(value))
        if parts and int(parts[2]) > 0:
            return int(parts[1]) / int(parts[2])
    elif not isinstance(value, str) or not re.search(r"[A-Za-z]", value):
        raise ValueError(f"{value!r} must name its unit of {dimension}")
    return parse(value, dimension)
