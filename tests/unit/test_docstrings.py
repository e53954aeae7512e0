"""Documentation is checked, not trusted: parameter lists match the signatures.

Parameters are listed where a reader calls from outside: the package's own names,
formulas, air and trajectory. Elsewhere a line that says why is enough.
"""

import dataclasses
import importlib
import inspect
import pkgutil
import re
from pathlib import Path

import driftmap

ROOT = Path(__file__).parents[2]
TOLD_IN_FULL = ("driftmap.formulas", "driftmap.air", "driftmap.trajectory")


def modules():
    """Every module of the package but the command line, whose options document it."""
    for found in pkgutil.walk_packages(driftmap.__path__, "driftmap."):
        if not found.name.startswith("driftmap.cli"):
            yield found.name


def documented(text):
    """Names under the heading Parameters of a numpydoc docstring."""
    lines = inspect.cleandoc(text).splitlines()
    if "Parameters" not in lines:
        return []
    names, inside = [], False
    for number, line in enumerate(lines):
        if line == "Parameters":
            inside = True
        elif inside and re.fullmatch(r"-{3,}", lines[min(number + 1, len(lines) - 1)]):
            break
        elif inside and (match := re.match(r"([*\w][*\w, ]*?)( : |$)", line)):
            names += match[1].replace("*", "").split(", ")
    return names


def public(name):
    module = importlib.import_module(name)
    for item, thing in vars(module).items():
        own = inspect.isfunction(thing) and thing.__module__ == name
        if own and not item.startswith("_"):
            yield item, thing


def test_parameters_are_those_of_the_signature():
    for name in modules():
        for item, function in public(name):
            assert function.__doc__, f"{name}.{item} has no docstring"
            listed = documented(function.__doc__)
            if not listed and not name.startswith(TOLD_IN_FULL):
                continue
            wanted = [p for p in inspect.signature(function).parameters if p != "self"]
            assert sorted(listed) == sorted(wanted), f"{name}.{item}"


def test_types_in_docstrings_are_names_of_the_package():
    found = [importlib.import_module(name) for name in modules()]
    known = {"None"}.union(*(vars(module) for module in found))
    types = [
        re.sub(r'"[^"]*"', "", listed[1])
        for module in found
        for thing in vars(module).values()
        if getattr(thing, "__module__", "") == module.__name__
        for listed in re.finditer(r"^ *[\w, ]+ : (.+)$", thing.__doc__ or "", re.M)
    ]
    assert len(types) > 500
    named = {word for text in types for word in re.findall(r"(?<![\w.])[A-Z]\w+", text)}
    assert named <= known, named - known


def test_a_list_of_names_stands_where_those_of_others_are_handed_on():
    """Elsewhere a name without underscore says as much by itself."""
    for name in modules():
        module = importlib.import_module(name)
        listed = getattr(module, "__all__", ())
        things = [getattr(module, item) for item in listed]
        homes = {getattr(thing, "__module__", "") for thing in things}
        assert not listed or homes - {name, ""}, name


def test_the_public_names_are_few():
    assert len(driftmap.__all__) <= 16
    for name in driftmap.__all__:
        thing = getattr(driftmap, name)
        assert thing.__doc__
        if inspect.isfunction(thing):
            wanted = list(inspect.signature(thing).parameters)
            assert sorted(documented(thing.__doc__)) == sorted(wanted), name


def test_every_module_of_outside_checks_stands_in_their_table():
    table = (ROOT / "tests" / "reference" / "CHECKS.md").read_text(encoding="utf-8")
    modules = {path.stem for path in (ROOT / "tests" / "reference").glob("test_*.py")}
    told = {line[3:] for line in table.splitlines() if line.startswith("## ")}
    assert told == modules
    assert sum(line.startswith("| test_") for line in table.splitlines()) >= 500


REFERENCE = re.compile(r"\.\. \[\d+\] (.*?)(?=\n\s*\n|\n\s*\.\. \[|\"{3})", re.DOTALL)


def test_every_reference_says_how_it_is_known():
    silent = [
        f"{path.name}: {' '.join(told.split())[:80]}"
        for path in sorted((ROOT / "driftmap").rglob("*.py"))
        for told in REFERENCE.findall(path.read_text(encoding="utf-8"))
        if not re.search(r"[Ff]rom\s+memory|\bread\b|abstract|Checked in", told)
    ]
    assert not silent


def test_fields_listed_are_those_of_the_record():
    """Where a record lists its fields, it lists all that it is made of and no other."""
    listed = 0
    for name in modules():
        for item, thing in vars(importlib.import_module(name)).items():
            if not dataclasses.is_dataclass(thing) or thing.__module__ != name:
                continue
            told = {*documented(thing.__doc__ or "")}
            made = {field.name: field.init for field in dataclasses.fields(thing)}
            needed = {field for field, given in made.items() if given}
            assert not told or needed <= told <= {*made}, f"{name}.{item}"
            listed += bool(told)
    assert listed > 100
