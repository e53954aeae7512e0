"""Read rule files (TOML): the package's own, a club's, and those that a site names."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Final

from pydantic import BaseModel, ValidationError

from driftmap.core.errors import (
    DriftmapError,
    InputError,
    PlacedError,
    located,
    nearest,
)
from driftmap.core.files import mistaken, row_name, toml_of
from driftmap.ground.areas import Site
from driftmap.rules.answer_validity import HEAD
from driftmap.rules.ruleset import (
    Band,
    Condition,
    Question,
    RocketClass,
    Rule,
    RuleFile,
    RuleSet,
)
from driftmap.rules.vocabulary import FLOOR, GROUPS, LARGER_JUDGED, NOT_COVERED

_HOME: Final = Path(__file__).parent
_DEEPEST: Final = 8  # files that extend one another


@lru_cache
def rule_sets() -> tuple[str, ...]:
    """Name the rule sets that come with the package."""
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
    asked = tuple(name.strip() for name in names)
    if set(asked) <= set(rule_sets()):
        return _all_of_package(asked)
    return _all(asked, Path(base), source)


def _all(names: Sequence[str], base: Path, source: str) -> tuple[RuleSet, ...]:
    found: dict[Path, RuleSet] = {}
    for name in names:
        _gather(_locate(name, base, source), found, ())
    _check_names(found)
    return tuple(found.values())


def own_files(names: Iterable[str], base: Path) -> list[Path]:
    """Name the club's own files that rule sets are read from, and those that these extend.

    What cannot be read extends nothing yet: `read_rules` says what is wrong with it.
    """
    found: list[Path] = []
    waiting = [(base, name) for name in names]
    while waiting:
        folder, name = waiting.pop()
        path = (folder / name.strip()).resolve()
        if path.suffix != ".toml" or path in found:
            continue
        found.append(path)
        with contextlib.suppress(DriftmapError, TypeError):
            extends = toml_of(path).get("extends", ())
            waiting += [(path.parent, str(one)) for one in extends]
    return found


# The package's own files stay as they are while it runs: a sweep asks them by the hundred.
@lru_cache
def _all_of_package(names: tuple[str, ...]) -> tuple[RuleSet, ...]:
    return _all(names, _HOME, "rules")


def _check_names(found: dict[Path, RuleSet]) -> None:
    """Refuse two questions of one name: a yes to the one would answer the other."""
    every: dict[Path, RuleSet] = {}
    for name in FLOOR:
        _gather(_HOME / f"{name}.toml", every, ())
    fixed = (NOT_COVERED, LARGER_JUDGED, *(group.absent for group in GROUPS.values()))
    fixed += HEAD  # of the file that holds the answers
    asked = dict.fromkeys(fixed, ("", Path("driftmap itself")))
    for path, rules in (every | found).items():
        for question in rules.asked:
            text, where = asked.setdefault(question.name, (question.text, path))
            # Classes of one file of the package may word one question each their way.
            if text != question.text and not path == where == _HOME / path.name:
                message = f"is asked differently in {where.name}; accepted is a name of its own"
                raise InputError(str(path), question.name, message)


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
    content = toml_of(path)
    try:
        file = RuleFile.model_validate(content)
    except ValidationError as problem:
        raise mistaken(problem, content, str(path), _keys) from None
    with located(str(path), "", InputError):
        return file.extends, _rule_set(path, file)


_of_package = lru_cache(_read)

_KEYS: Final[dict[str, type[BaseModel]]] = {
    "rule": Rule,
    "class": RocketClass,
    "table": Band,
    **dict.fromkeys(("when", "unless"), Condition),
    **dict.fromkeys(("confirmed", "unless_confirmed", "if_not_known"), Question),
}


def _keys(loc: Sequence[int | str]) -> list[str]:
    """Name the keys that are known at a place."""
    inside = [part for part in loc[:-1] if part in _KEYS]
    model = _KEYS[str(inside[-1])] if inside else RuleFile
    return [field.alias or name for name, field in model.model_fields.items()]


def _rule_set(path: Path, file: RuleFile) -> RuleSet:
    """Take the rules of a file, its own source for those that name none."""
    names = [kind.name for kind in file.rocket_class]
    source = file.source or f"{file.title} ({path})"
    rules = []
    for i, rule in enumerate(file.rule):
        for name in set(rule.classes).difference(names):
            where = f"{row_name('rule', i, rule.name)}, classes"
            raise PlacedError(
                where, f"{name!r} is no class here; {nearest(name, names)}"
            )
        own = {"source": rule.source or source, "edition": rule.edition or file.edition}
        rules.append(rule.model_copy(update=own))
    # A file of one's own stands in for no set of the package.
    home = "" if path.parent == _HOME else str(path.resolve())
    family = ": ".join(filter(None, (home, file.family))) or str(path.resolve())
    return RuleSet(
        name=path.stem,
        title=file.title,
        governs=file.governs,
        family=family,
        classes=file.rocket_class,
        rules=tuple(rules),
        whole=file.whole,
    )


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
