"""The form of a rule file (TOML), and what to say where a file does not keep to it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, StrictStr, ValidationError

from driftmap.core.files import mistaken, toml_of
from driftmap.core.units import parse
from driftmap.rules.kinds import Realm, Scope

__all__ = [
    "BandRow",
    "ClassRow",
    "ConditionRow",
    "RuleFile",
    "RuleRow",
    "check_form",
    "quantity",
]

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


def check_form(path: Path) -> RuleFile:
    """Read a rule file and check its form.

    Result: its rows as written. Raises `InputError` if it cannot be read, or a key or
    value has no place in it.
    """
    content = toml_of(path)
    try:
        return RuleFile.model_validate(content)
    except ValidationError as problem:
        raise mistaken(problem, content, str(path), _keys) from None


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


def _keys(loc: Sequence[int | str]) -> list[str]:
    """Name the keys that are known at a place."""
    inside = [part for part in loc[:-1] if part in _KEYS]
    model = _KEYS[str(inside[-1])] if inside else RuleFile
    return [field.alias or name for name, field in model.model_fields.items()]


def quantity(value: object, dimension: str) -> float:
    """Read a quantity that must name its unit.

    Parameters
    ----------
    value : object
        What the file holds.
    dimension : str
        A key of `driftmap.core.units.DIMENSIONS`.

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
