"""Read rule files (TOML): those of the package, a club's own, and those that a site picked."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from driftmap.core.errors import InputError, nearest
from driftmap.core.files import row_name
from driftmap.ground.site import Site
from driftmap.rules.kinds import FACTS, KINDS
from driftmap.rules.ruleset import Band, Condition, Question, RocketClass, Rule, RuleSet
from driftmap.rules.schema import (
    BandRow,
    ConditionRow,
    ConfirmRow,
    RuleFile,
    RuleRow,
    check_form,
    quantity,
)

__all__ = ["picked_rules", "read_rules", "rule_sets"]

_HOME: Final = Path(__file__).parent
_DEEPEST: Final = 8  # files that extend one another


@lru_cache
def rule_sets() -> tuple[str, ...]:
    """Name the rule sets that come with the package.

    Result: names that `read_rules` accepts beside paths.
    """
    return tuple(sorted(path.stem for path in _HOME.glob("*.toml")))


def read_rules(
    names: Sequence[str], *, base: str | Path = ".", source: str = "rules"
) -> tuple[RuleSet, ...]:
    """Read rule sets, and those that they extend.

    ``names``: names of sets that come with the package, or paths of a club's own files,
    which end in ``.toml``; ``base``: folder that paths start from; ``source``: where
    the names come from, for messages.

    Result: each file once, those extended before those that extend them. Raises
    `InputError` if a name is not known or a file cannot be used; names file and row.
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
    extends, rules = _of_package(path) if path.parent == _HOME else _read(path)
    for name in extends:
        parent = _locate(name, path.parent, f"{path}: extends")
        _gather(parent, found, (*above, place))
    found[place] = rules


def _read(path: Path) -> tuple[tuple[str, ...], RuleSet]:
    """Read one file; give what it extends, and its rules."""
    file = check_form(path)
    return tuple(file.extends), _rule_set(path, file)


# The package's own files stay as they are while it runs: a sweep asks them by the hundred.
_of_package = lru_cache(_read)


def _rule_set(path: Path, file: RuleFile) -> RuleSet:
    source = str(path)
    classes = tuple(
        RocketClass(
            row.name,
            _conditions(source, f"{row_name('class', i, row.name)}, when", row.when),
            tuple(Question(c.name, c.text, c.scope) for c in row.confirmed),
            row.source,
        )
        for i, row in enumerate(file.rocket_class)
    )
    names = [c.name for c in classes]
    rules = []
    for i, row in enumerate(file.rule):
        where = row_name("rule", i, row.name)
        for name in row.classes:
            if name not in names:
                hint = nearest(name, names)
                raise InputError(source, where, f"{name!r} is no class here; {hint}")
        rules.append(_rule(source, where, row, file))
    return RuleSet(
        path.stem,
        file.title,
        file.governs,
        _family(path, file),
        classes,
        tuple(rules),
        file.whole,
    )


def _family(path: Path, file: RuleFile) -> str:
    """Name the family; a file of one's own stands in for no set of the package."""
    if file.family is None:
        return str(path.resolve())
    return file.family if path.parent == _HOME else f"{path.resolve()}: {file.family}"


def _rule(source: str, where: str, row: RuleRow, file: RuleFile) -> Rule:
    common: dict[str, Any] = {
        "name": row.name,
        "when": _conditions(source, f"{where}, when", row.when),
        "unless": _conditions(source, f"{where}, unless", row.unless),
        "classes": row.classes,
        "scope": row.scope or "day",
        "excuse": _question(row.unless_confirmed),
        "stand_in": _question(row.if_not_known),
        "source": row.source or file.source or f"{file.title} ({source})",
        "edition": row.edition or file.edition or "",
        "from_memory": row.from_memory,
        "note": row.note or "",
        "yardstick": row.yardstick,
    }
    if row.question is not None:
        _refuse_limits(source, where, row)
        return Rule(text=row.question, question=True, **common)
    if row.name not in KINDS:
        hint = nearest(row.name, KINDS)
        raise InputError(
            source, where, f"is no rule; {hint}; a question needs the key 'question'"
        )
    if row.scope is not None:
        raise InputError(source, f"{where}, scope", "has no meaning for a limit")
    if row.text is None:
        raise InputError(source, where, "needs 'text': what is asked for, in words")
    return Rule(text=row.text, **_figures(source, where, row), **common)


def _question(row: ConfirmRow | None) -> Question | None:
    return None if row is None else Question(row.name, row.text, row.scope)


def _refuse_limits(source: str, where: str, row: RuleRow) -> None:
    """Keep a question from hiding a limit or taking the name of one."""
    extra = row.model_fields_set & {
        *("text", "limit", "share", "share_of", "unless_confirmed", "take"),
        *("if_not_known",),
        *("table", "table_by", "table_factor", "table_column"),
    }
    if extra:
        key = sorted(extra)[0]
        raise InputError(source, f"{where}, {key}", "has no meaning for a question")
    if row.name in KINDS or row.name in FACTS:
        raise InputError(source, where, "names a limit; a question needs another name")


def _figures(source: str, where: str, row: RuleRow) -> dict[str, Any]:
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
    """Refuse a multiple of a fact of another kind than the limit."""
    if fact not in FACTS:
        raise InputError(source, where, f"{fact!r} is no fact; {nearest(fact, FACTS)}")
    if FACTS[fact].dimension != dimension:
        text = (
            f"{fact!r} is measured as {FACTS[fact].dimension}, the limit as {dimension}"
        )
        raise InputError(source, where, text)


def _positive(source: str, where: str, value: object, dimension: str) -> float:
    try:
        number = quantity(value, dimension)
    except (ValueError, OverflowError) as problem:
        raise InputError(source, where, str(problem)) from None
    most = 1.0 if dimension == "share" else 1e9
    least_angle = dimension == "angle" and number == 0  # the horizon is one
    if not (0 < number <= most or least_angle):
        raise InputError(
            source, where, f"must lie above 0 and up to {most:g} (got {value!r})"
        )
    return number


def _bands(source: str, where: str, row: RuleRow, dimension: str) -> tuple[Band, ...]:
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
    source: str, where: str, line: BandRow, end: float, scale: tuple[float, str]
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
    source: str, where: str, rows: Iterable[ConditionRow]
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


def picked_rules(site: Site, names: Sequence[str] = ()) -> tuple[RuleSet, ...]:
    """Read the rule sets that were asked for, or else those that a site file names.

    ``site``: the site; its ``rules`` are names and paths with commas between them,
    paths starting from the folder of the site file; ``names``: sets asked for on the
    command line; their paths start from the present folder.

    Raises `InputError` if no set is named anywhere, or one cannot be read.
    """
    if names:
        return read_rules(names, source="--rules")
    wanted = [name.strip() for name in site.rules.split(",") if name.strip()]
    if not wanted:
        known = ", ".join(rule_sets())
        text = f"names no rule set; accepted are {known}, and files of your own"
        raise InputError(site.source, "rules", text)
    folder = Path(site.source).parent
    return read_rules(wanted, base=folder, source=f"{site.source}: rules")
