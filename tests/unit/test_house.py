"""The structure of the house: rooms one above the other, as the guide draws them."""

import ast
import graphlib
import importlib
import re
from collections import defaultdict
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
CODE = {".py", ".js", ".css", ".html"}
FILES = sorted((ROOT / "driftmap").rglob("*.py"))


def _room(module):
    return module.split(".")[1] if "." in module else module


def _module(path):
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {_module(path) for path in FILES}


def _imported(tree):
    """Modules of the package that a file imports, wherever in it."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith(
            "driftmap"
        ):
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                yield whole if whole in MODULES else node.module
        elif isinstance(node, ast.Import):
            yield from (a.name for a in node.names if a.name.startswith("driftmap."))


@pytest.fixture(scope="module")
def trees():
    return {_module(p): ast.parse(p.read_text(encoding="utf-8")) for p in FILES}


@pytest.fixture(scope="module")
def imports(trees):
    return {name: {*_imported(tree)} - {name} for name, tree in trees.items()}


@pytest.fixture(scope="module")
def arrows(imports):
    found = defaultdict(set)
    for name, others in imports.items():
        found[_room(name)] |= {_room(other) for other in others} - {_room(name)}
    return found


@pytest.fixture(scope="module")
def floors():
    """Rooms of each floor as the guide draws them, the ground first."""
    drawn = re.search(r"<!-- rooms -->\n```\n(.*?)```", GUIDE, re.DOTALL)
    lines = [line.split("  ")[0].split() for line in drawn[1].splitlines()]
    return list(reversed(lines))


def test_every_room_stands_in_the_picture(arrows, floors):
    drawn = [room for floor in floors for room in floor]
    assert len(drawn) == len(set(drawn))
    assert set(drawn) == set(arrows) - {"driftmap"}


def test_a_room_imports_only_from_the_floors_below_it(arrows, floors):
    height = {room: i for i, floor in enumerate(floors) for room in floor}
    wrong = [
        f"{room} imports {other}"
        for room, others in arrows.items()
        for other in others
        if room != "driftmap" and not height[other] < height[room]
    ]
    assert not wrong


MOST_LINES = 400  # of a module, a script, a style or a template


def test_a_module_is_read_in_one_go():
    code = [p for p in (ROOT / "driftmap").rglob("*.*") if p.suffix in CODE]
    lines = {path: len(path.read_text("utf-8").splitlines()) for path in code}
    assert {path.suffix for path in code} == CODE
    assert not {path.name: n for path, n in lines.items() if n > MOST_LINES}


MOST_ARROWS = 90  # between rooms, those of the package's face among them


def test_rooms_ask_few_others(arrows):
    assert sum(map(len, arrows.values())) <= MOST_ARROWS


def test_no_two_modules_import_each_other(imports):
    tops = {"driftmap"}  # it gives names of many rooms, each when it is asked for
    below = {
        name: others - tops for name, others in imports.items() if name not in tops
    }
    assert sum(map(len, below.values())) > 500
    graphlib.TopologicalSorter(below).prepare()  # raises where there is a circle


# What only tests and measurements call, each for its reason.
MEASURED = {
    "main": "the command itself",
    "saturation_pressure": "checks what the day uses, against published values",
}


def _names_read(module, tree):
    """Pairs of module and name that a file reads: its own, and what it imports."""
    modules = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                modules[alias.asname or alias.name] = whole
                yield node.module, alias.name
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
            yield module, node.id
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            yield modules.get(node.value.id), node.attr


def _written(tree):
    """Names that a module gives functions, classes and constants."""
    for node in tree.body:
        if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            yield node.target.id
        elif isinstance(node, ast.FunctionDef | ast.ClassDef):
            told = " ".join(map(ast.unparse, node.decorator_list))
            # Commands and routes are called by what they are registered with.
            if not re.search(r"command|group|_routes\.", told):
                yield node.name


def test_nothing_is_written_that_nobody_calls(trees):
    used = {pair for name, tree in trees.items() for pair in _names_read(name, tree)}
    alone = {
        f"{module}.{name}"
        for module, tree in trees.items()
        for name in _written(tree)
        if (module, name) not in used and not name.startswith("__")
    }
    assert {name.rpartition(".")[2] for name in alone} <= set(MEASURED), sorted(alone)


def test_measurements_import_what_there_is():
    """They are run by hand alone: a name that is gone would be missed only then."""
    gone = [
        f"{path.name}: {home}.{name}"
        for path in (ROOT / "tests" / "benchmarks").glob("*.py")
        for home, name in _names_read("", ast.parse(path.read_text(encoding="utf-8")))
        if home in MODULES and f"{home}.{name}" not in MODULES
        if not hasattr(importlib.import_module(home), name)
    ]
    assert not gone


def test_a_public_name_means_one_thing(trees):
    homes = defaultdict(set)
    for module, tree in trees.items():
        for name in _written(tree):
            if not name.startswith("_"):
                homes[name].add(module)
    assert not {name: found for name, found in homes.items() if len(found) > 1}


def test_git_passes_over_what_the_commands_of_the_readme_write():
    readme = "".join(
        (ROOT / name).read_text(encoding="utf-8")
        for name in ("README.md", "driftmap/guide.md")
    )
    written = set(re.findall(r"--(?:out|log|write-answers) ([a-z.]+)", readme))
    written |= set(re.findall(r'Path\("([a-z.]+)"\)\.write', readme))
    written |= set(re.findall(r"driftmap desk ([a-z]+)$", readme, re.MULTILINE))
    lines = (ROOT / ".gitignore").read_text(encoding="utf-8").split()
    passed = {line.strip("/*") for line in lines}
    assert written
    assert not written - passed


def test_the_guide_names_what_there_is(trees):
    """Modules in the list of rooms, and the functions of a first reading."""
    written = {
        module: {node.name for node in tree.body if hasattr(node, "name")}
        for module, tree in trees.items()
    }
    rows = re.findall(r"^- \*\*`(\w+)/`\*\*(.+?)\n(?=- |\n)", GUIDE, re.M | re.S)
    heads = re.findall(r"`([\w/]+)\.py`, `(\w+)`", GUIDE)
    assert {room for room, _ in rows} == {*map(_room, MODULES)} - {"driftmap"}
    assert len(heads) > 10
    for room, told in rows:
        own = [module for module in MODULES if _room(module) == room]
        known = {m.rpartition(".")[2] for m in own}.union(*(written[m] for m in own))
        assert set(re.findall(r"`([a-z_]+)`", told)) <= known, room
    for path, name in heads:
        module = f"driftmap.{path.replace('/', '.')}"
        assert name in written[module], (path, name)


def test_every_change_passes_whatever_is_not_long():
    """What the plain call leaves out is slow, and `.ci/run` calls for that too."""
    told = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    plain = re.search(r"^addopts = .* -m '(.+?)'", told, re.MULTILINE)[1]
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    calls = re.findall(r'bin/pytest -n 3 --durations=20(?: -m "(.+?)")? \|', ci)
    for slow in (False, True):
        names = {"slow": slow, "long": False}
        assert [eval(words or plain, names) for words in calls].count(True) == 1
    for path in (ROOT / "tests" / "reference").glob("*.py"):  # its table is of all
        assert "mark.slow" not in path.read_text(encoding="utf-8")
