"""Read rule files (TOML): the ones that come with the package, and a club's own."""

from __future__ import annotations

import difflib
import math
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, StrictStr, ValidationError

from driftmap.errors import InputError
from driftmap.rules.kinds import FACTS, KINDS
from driftmap.rules.ruleset import Band, Condition, RocketClass, Rule, RuleSet
from driftmap.units import parse

__all__ = ["nearest", "quantity", "read_rules", "rule_sets", "toml_of"]

_HOME: Final = Path(__file__).parent
_LARGEST_FILE: Final = 1_000_000  # bytes
_DEEPEST: Final = 8  # files that extend one another

Text = Annotated[StrictStr, Field(min_length=1, max_length=500)]
Key = Annotated[StrictStr, Field(pattern=r"^[a-z][a-z0-9_]*$", max_length=60)]


class _Record(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class _Condition(_Record):
    fact: Key
    up_to: Any = None
    below: Any = None
    above: Any = None
    at_least: Any = None


class _Band(_Record):
    up_to: Any = None
    value: Any = None
    single: Any = None
    complex: Any = None


class _Confirm(_Record):
    name: Key
    text: Text


class _Class(_Record):
    name: Text
    when: tuple[_Condition, ...] = ()
    confirmed: tuple[_Confirm, ...] = ()
    source: Text


class _Rule(_Record):
    name: Key
    text: Text | None = None
    question: Text | None = None
    limit: Any = None
    share: Any = None
    share_of: Key | None = None
    table: Annotated[tuple[_Band, ...], Field(max_length=50)] = ()
    table_by: Key | None = None
    table_factor: Annotated[float, Field(gt=0, le=100)] = 1.0
    table_column: Literal["by motors", "complex"] = "by motors"
    take: Literal["strictest", "least"] = "strictest"
    when: tuple[_Condition, ...] = ()
    unless: tuple[_Condition, ...] = ()
    classes: tuple[Text, ...] = ()
    unless_confirmed: _Confirm | None = None
    source: Text | None = None
    edition: Text | None = None
    from_memory: bool = False
    note: Text | None = None


class _File(_Record):
    title: Text
    governs: Text = "the current local text governs"
    source: Text | None = None
    edition: Text | None = None
    family: Text | None = None
    extends: tuple[Text, ...] = ()
    rocket_class: Annotated[tuple[_Class, ...], Field(alias="class")] = ()
    rule: tuple[_Rule, ...] = ()


def rule_sets() -> tuple[str, ...]:
    """Name the rule sets that come with the package.

    Returns
    -------
    tuple of str
        Names that `read_rules` accepts beside paths.
    """
    return tuple(sorted(path.stem for path in _HOME.glob("*.toml")))


def read_rules(
    names: Sequence[str], *, base: str | Path = ".", source: str = "rules"
) -> tuple[RuleSet, ...]:
    """Read rule sets, and those that they extend.

    Parameters
    ----------
    names : sequence of str
        Names of sets that come with the package, or paths of a club's own files, which
        end in ``.toml``.
    base : str or Path
        Folder that paths start from.
    source : str
        Where the names come from, for messages.

    Returns
    -------
    tuple of RuleSet
        Each file once, those extended before those that extend them.

    Raises
    ------
    InputError
        If a name is not known or a file cannot be used; names file and row.
    """
    found: dict[Path, RuleSet] = {}
    for name in names:
        _gather(_locate(name.strip(), Path(base), source), found, ())
    return tuple(found.values())


def _locate(name: str, base: Path, source: str) -> Path:
    if name.endswith(".toml"):
        return base / name
    known = rule_sets()
    if name not in known:
        hint = f"{nearest(name, known)}, or the path of a .toml file"
        raise InputError(source, "", f"{name[:60]!r} is no rule set; {hint}")
    return _HOME / f"{name}.toml"


def _gather(path: Path, found: dict[Path, RuleSet], above: tuple[Path, ...]) -> None:
    """Read a file after those that it extends."""
    place = path.resolve()
    if place in found:
        return
    if place in above or len(above) > _DEEPEST:
        raise InputError(str(path), "extends", "leads back to the file itself")
    file = _checked(path)
    for name in file.extends:
        parent = _locate(name, path.parent, f"{path}: extends")
        _gather(parent, found, (*above, place))
    found[place] = _rule_set(path, file)


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
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as problem:
        raise InputError(source, "", f"is not TOML: {problem}") from None
    except RecursionError:
        raise InputError(source, "", "is nested too deeply") from None


def _checked(path: Path) -> _File:
    content = toml_of(path)
    try:
        return _File.model_validate(content)
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
    return ", ".join([_row(str(loc[0]), loc[1], name), *map(str, loc[2:])])


def _row(kind: str, number: int, name: object) -> str:
    return f"{kind} {number + 1}" + (f" ({name})" if isinstance(name, str) else "")


_KEYS: Final = {
    "": _File,
    "rule": _Rule,
    "class": _Class,
    "table": _Band,
    "when": _Condition,
    "unless": _Condition,
    "confirmed": _Confirm,
    "unless_confirmed": _Confirm,
}


def _unknown(loc: tuple[int | str, ...]) -> str:
    inside = [part for part in loc[:-1] if part in _KEYS]
    model = _KEYS[str(inside[-1])] if inside else _File
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


def _rule_set(path: Path, file: _File) -> RuleSet:
    source = str(path)
    classes = tuple(
        RocketClass(
            row.name,
            _conditions(source, f"{_row('class', i, row.name)}, when", row.when),
            tuple((c.name, c.text) for c in row.confirmed),
            row.source,
        )
        for i, row in enumerate(file.rocket_class)
    )
    names = [c.name for c in classes]
    rules = []
    for i, row in enumerate(file.rule):
        where = _row("rule", i, row.name)
        for name in row.classes:
            if name not in names:
                hint = nearest(name, names)
                raise InputError(source, where, f"{name!r} is no class here; {hint}")
        rules.append(_rule(source, where, row, file))
    return RuleSet(
        path.stem,
        file.title,
        file.governs,
        file.family or str(path.resolve()),
        classes,
        tuple(rules),
    )


def _rule(source: str, where: str, row: _Rule, file: _File) -> Rule:
    excuse = row.unless_confirmed
    common: dict[str, Any] = {
        "name": row.name,
        "when": _conditions(source, f"{where}, when", row.when),
        "unless": _conditions(source, f"{where}, unless", row.unless),
        "classes": row.classes,
        "excuse": excuse.name if excuse else "",
        "excuse_text": excuse.text if excuse else "",
        "source": row.source or file.source or f"{file.title} ({source})",
        "edition": row.edition or file.edition or "",
        "from_memory": row.from_memory,
        "note": row.note or "",
    }
    if row.question is not None:
        _refuse_limits(source, where, row)
        return Rule(text=row.question, question=True, **common)
    if row.name not in KINDS:
        hint = nearest(row.name, KINDS)
        raise InputError(
            source, where, f"is no rule; {hint}; a question needs the key 'question'"
        )
    if row.text is None:
        raise InputError(source, where, "needs 'text': what is asked for, in words")
    return Rule(text=row.text, **_figures(source, where, row), **common)


def _refuse_limits(source: str, where: str, row: _Rule) -> None:
    """A question cannot hide a limit, nor take the name of one."""
    extra = row.model_fields_set & {
        *("text", "limit", "share", "share_of", "unless_confirmed", "take"),
        *("table", "table_by", "table_factor", "table_column"),
    }
    if extra:
        key = sorted(extra)[0]
        raise InputError(source, f"{where}, {key}", "has no meaning for a question")
    if row.name in KINDS or row.name in FACTS:
        raise InputError(source, where, "names a limit; a question needs another name")


def _figures(source: str, where: str, row: _Rule) -> dict[str, Any]:
    dimension = KINDS[row.name].dimension
    if row.limit is None and row.share is None and not row.table:
        raise InputError(source, where, "needs one of limit, share, table")
    for key, partner in (("share", "share_of"), ("table", "table_by")):
        given = [k for k in (key, partner) if k in row.model_fields_set]
        if len(given) == 1:
            raise InputError(source, where, f"needs {key} and {partner} together")
    if row.share_of is not None:
        _same(source, f"{where}, share_of", row.share_of, dimension)
    limit = row.limit
    return {
        "limit": limit
        if limit is None
        else _positive(source, f"{where}, limit", limit, dimension),
        "share": 0.0
        if row.share is None
        else _positive(source, f"{where}, share", row.share, "number"),
        "share_of": row.share_of or "",
        "bands": _bands(source, where, row, dimension),
        "bands_by": row.table_by or "",
        "column": row.table_column,
        "take": row.take,
    }


def _same(source: str, where: str, fact: str, dimension: str) -> None:
    """A multiple of a fact must be the same kind of quantity as the limit."""
    if fact not in FACTS:
        raise InputError(source, where, f"{fact!r} is no fact; {nearest(fact, FACTS)}")
    if FACTS[fact].dimension != dimension:
        text = f"{fact!r} is a {FACTS[fact].dimension}; the limit is a {dimension}"
        raise InputError(source, where, text)


def _positive(source: str, where: str, value: object, dimension: str) -> float:
    try:
        number = quantity(value, dimension)
    except (ValueError, OverflowError) as problem:
        raise InputError(source, where, str(problem)) from None
    most = 1.0 if dimension == "share" else 1e9
    if not 0 < number <= most:
        raise InputError(
            source, where, f"must lie above 0 and up to {most:g} (got {value!r})"
        )
    return number


def _bands(source: str, where: str, row: _Rule, dimension: str) -> tuple[Band, ...]:
    if not row.table:
        return ()
    by = row.table_by or ""
    if by not in FACTS:
        text = f"{by!r} is no fact; {nearest(by, FACTS)}"
        raise InputError(source, f"{where}, table_by", text)
    bands: list[Band] = []
    for i, line in enumerate(row.table):
        place = f"{where}, table row {i + 1}"
        end = math.inf
        if line.up_to is not None:
            end = _positive(source, f"{place}, up_to", line.up_to, FACTS[by].dimension)
        if bands and not end > bands[-1].up_to:
            raise InputError(source, place, "must reach further than the row before")
        bands.append(_band(source, place, line, end, (row.table_factor, dimension)))
    return tuple(bands)


def _band(
    source: str, where: str, line: _Band, end: float, scale: tuple[float, str]
) -> Band:
    factor, dimension = scale
    both = line.value is not None
    if both == (line.single is not None or line.complex is not None):
        raise InputError(source, where, "needs 'value', or 'single' and 'complex'")

    def read(value: object, key: str) -> float | None:
        if value is None:
            return None
        return factor * _positive(source, f"{where}, {key}", value, dimension)

    if both:
        value = read(line.value, "value")
        return Band(end, value, value)
    return Band(end, read(line.single, "single"), read(line.complex, "complex"))


def _conditions(
    source: str, where: str, rows: Iterable[_Condition]
) -> tuple[Condition, ...]:
    found = []
    for row in rows:
        if row.fact not in FACTS:
            hint = nearest(row.fact, FACTS)
            raise InputError(source, where, f"{row.fact!r} is no fact; {hint}")
        signs = row.model_fields_set - {"fact"}
        if len(signs) != 1:
            raise InputError(
                source, where, "needs exactly one of up_to, below, above, at_least"
            )
        sign: Any = next(iter(signs))
        dimension = FACTS[row.fact].dimension
        bound = _positive(source, f"{where}, {sign}", getattr(row, sign), dimension)
        found.append(Condition(row.fact, sign, bound))
    return tuple(found)
