"""Read rule files (TOML): those of the package, a club's own, and those that a site picked."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from driftmap.core.errors import InputError, PlacedError, at, located, nearest
from driftmap.core.files import row_name
from driftmap.ground.site import Site
from driftmap.rules.kinds import FACTS, KINDS, Fact
from driftmap.rules.ruleset import Band, Condition, Question, RocketClass, Rule, RuleSet
from driftmap.rules.schema import (
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
    with located(str(path), "", InputError):
        return tuple(file.extends), _rule_set(path, file)


# The package's own files stay as they are while it runs: a sweep asks them by the hundred.
_of_package = lru_cache(_read)


def _rule_set(path: Path, file: RuleFile) -> RuleSet:
    classes = tuple(
        RocketClass(
            row.name,
            _conditions(f"{row_name('class', i, row.name)}, when", row.when),
            tuple(Question(c.name, c.text, c.scope) for c in row.confirmed),
            row.source,
        )
        for i, row in enumerate(file.rocket_class)
    )
    names = [c.name for c in classes]
    rules = []
    for i, row in enumerate(file.rule):
        where = row_name("rule", i, row.name)
        with at(where):
            for name in row.classes:
                if name not in names:
                    raise ValueError(
                        f"{name!r} is no class here; {nearest(name, names)}"
                    )
            rules.append(_rule(str(path), where, row, file))
    # A file of one's own stands in for no set of the package.
    own = "" if path.parent == _HOME else str(path.resolve())
    family = ": ".join(part for part in (own, file.family) if part) or str(
        path.resolve()
    )
    return RuleSet(
        path.stem, file.title, file.governs, family, classes, tuple(rules), file.whole
    )


def _rule(source: str, where: str, row: RuleRow, file: RuleFile) -> Rule:
    common: dict[str, Any] = {
        "name": row.name,
        "when": _conditions(f"{where}, when", row.when),
        "unless": _conditions(f"{where}, unless", row.unless),
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
        _refuse_limits(where, row)
        return Rule(text=row.question, question=True, **common)
    if row.name not in KINDS:
        hint = nearest(row.name, KINDS)
        raise ValueError(f"is no rule; {hint}; a question needs the key 'question'")
    if row.scope is not None:
        raise PlacedError(f"{where}, scope", "has no meaning for a limit")
    if row.text is None:
        raise ValueError("needs 'text': what is asked for, in words")
    return Rule(text=row.text, **_figures(where, row), **common)


def _question(row: ConfirmRow | None) -> Question | None:
    return None if row is None else Question(row.name, row.text, row.scope)


_OF_A_LIMIT: Final = {
    *("text", "limit", "share", "share_of", "unless_confirmed", "take", "if_not_known"),
    *("table", "table_by", "table_factor", "table_column"),
}


def _refuse_limits(where: str, row: RuleRow) -> None:
    """Keep a question from hiding a limit or taking the name of one."""
    for key in sorted(row.model_fields_set & _OF_A_LIMIT):
        raise PlacedError(f"{where}, {key}", "has no meaning for a question")
    if row.name in KINDS or row.name in FACTS:
        raise ValueError("names a limit; a question needs another name")


def _figures(where: str, row: RuleRow) -> dict[str, Any]:
    dimension = KINDS[row.name].dimension
    if row.limit is None and row.share is None and not row.table:
        raise ValueError("needs one of limit, share, table")
    for key, partner in (("share", "share_of"), ("table", "table_by")):
        if len({key, partner} & row.model_fields_set) == 1:
            raise ValueError(f"needs {key} and {partner} together")
    if row.share_of is not None:
        with at(f"{where}, share_of"):
            if (of := _fact(row.share_of).dimension) != dimension:
                told = f"{row.share_of!r} is measured as {of}, the limit as {dimension}"
                raise ValueError(told)
    return {
        "limit": _positive(f"{where}, limit", row.limit, dimension),
        "share": _positive(f"{where}, share", row.share, "number") or 0.0,
        "share_of": row.share_of or "",
        "bands": _bands(where, row, dimension),
        "bands_by": row.table_by or "",
        "column": row.table_column,
        "take": row.take,
    }


def _fact(name: str) -> Fact:
    if name not in FACTS:
        raise ValueError(f"{name!r} is no fact; {nearest(name, FACTS)}")
    return FACTS[name]


def _positive(where: str, value: object, dimension: str) -> float | None:
    """Read a figure of the file; None where it gives none."""
    if value is None:
        return None
    with at(where):
        number = quantity(value, dimension)
        most = 1.0 if dimension == "share" else 1e9
        least_angle = dimension == "angle" and number == 0  # the horizon is one
        if not (0 < number <= most or least_angle):
            raise ValueError(f"must lie above 0 and up to {most:g} (got {value!r})")
    return number


def _bands(where: str, row: RuleRow, dimension: str) -> tuple[Band, ...]:
    bands: list[Band] = []
    if row.table:
        with at(f"{where}, table_by"):
            by = _fact(row.table_by or "").dimension
    for i, line in enumerate(row.table):
        place = f"{where}, table row {i + 1}"
        with at(place):
            end = _positive(f"{place}, up_to", line.up_to, by)
            end = math.inf if end is None else end
            if bands and not end > bands[-1].up_to:
                raise ValueError("must reach further than the row before")
            if (line.value is None) == (line.single is None and line.complex is None):
                raise ValueError("needs 'value', or 'single' and 'complex'")
            each = {"single": line.single, "complex": line.complex}
            if line.value is not None:
                each = {"value": line.value}
            read = [_positive(f"{place}, {k}", v, dimension) for k, v in each.items()]
            scaled = [None if v is None else row.table_factor * v for v in read]
            bands.append(Band(end, scaled[0], scaled[-1]))
    return tuple(bands)


def _conditions(where: str, rows: Iterable[ConditionRow]) -> tuple[Condition, ...]:
    found = []
    for row in rows:
        with at(where):
            dimension, signs = (
                _fact(row.fact).dimension,
                row.model_fields_set - {"fact"},
            )
            if len(signs) != 1:
                raise ValueError("needs exactly one of up_to, below, above, at_least")
            sign: Any = next(iter(signs))
            bound = _positive(f"{where}, {sign}", getattr(row, sign), dimension)
            assert bound is not None  # the row gives it
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
