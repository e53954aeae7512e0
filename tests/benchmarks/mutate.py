"""Which faults would the tests not notice? Plants them one at a time and lists those that pass.

    mutate.py driftmap/verdict/check.py tests/unit/test_each_check.py [--every 3]

A fault is a comparison, sign, number, word (and, or, not) or check (raise) of the module changed in
memory alone; nothing is written. Each is tried in a process forked from one that has every library
loaded, by those tests alone that run its line, the quickest first. Tests that start a program of their
own see no fault. Other options go to pytest.
"""

import argparse
import ast
import copy
import importlib
import importlib.machinery
import json
import os
import pkgutil
import signal
import sys
import threading
import time
from pathlib import Path

import pytest

COMPARED = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
REPLACED = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.And: ast.Or,
    ast.Or: ast.And,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
QUIET = [
    "-x",
    "-q",
    "--no-header",
    "-p",
    "no:cacheprovider",
    "--tb=no",
    "-m",
    "not slow and not long and not browser",
]


def faults_of(node):
    """What may be planted at a node, each as a function that changes it and words."""
    if isinstance(node, ast.Compare):
        for i, op in enumerate(node.ops):
            for new in COMPARED[type(op)]:
                yield (
                    f"{_sign(op)} -> {_sign(new())}",
                    lambda n, i=i, new=new: n.ops.__setitem__(i, new()),
                )
    elif isinstance(node, ast.BinOp | ast.BoolOp) and type(node.op) in REPLACED:
        new = REPLACED[type(node.op)]
        yield f"{_sign(node.op)} -> {_sign(new())}", lambda n: setattr(n, "op", new())
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield "not left out", lambda n: setattr(n, "op", ast.UAdd())
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool | int | float):
        was = node.value
        new = (
            not was
            if isinstance(was, bool)
            else was + 1
            if was in (0, 1)
            else was * 1.1
        )
        yield f"{was} -> {new}", lambda n: setattr(n, "value", new)
    elif isinstance(node, ast.Raise):
        yield "raise left out", None


def _sign(op):
    return type(op).__name__


def places(tree):
    """Nodes where a fault makes sense: no annotations, decorators, messages or faces."""
    waiting = [tree]
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.AnnAssign):
            waiting += [node.value] if node.value else []
        elif isinstance(node, ast.FunctionDef | ast.ClassDef):
            waiting += node.body
            if isinstance(node, ast.FunctionDef):
                waiting += [d for d in node.args.defaults + node.args.kw_defaults if d]
        elif isinstance(node, ast.Raise):
            yield node
        elif not isinstance(node, ast.JoinedStr):
            yield node
            waiting += ast.iter_child_nodes(node)


def planted(source):
    """Every fault of a module: its statement, whether that is in a function, words, the tree."""
    tree = ast.parse(source)
    nodes = list(places(tree))
    functions = [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)]
    body = {id(n) for f in functions for part in f.body for n in ast.walk(part)}
    for i, node in enumerate(nodes):
        for words, change in faults_of(node):
            twin = copy.deepcopy(tree)
            there = list(places(twin))[i]
            if change is None:
                _replace(twin, there, ast.copy_location(ast.Pass(), there))
            else:
                change(there)
            yield node, id(node) in body, words, twin


def _replace(tree, old, new):
    for node in ast.walk(tree):
        for _, value in ast.iter_fields(node):
            if isinstance(value, list) and old in value:
                value[value.index(old)] = new


class _Planted(importlib.machinery.SourceFileLoader):
    tree = None

    def get_code(self, fullname):
        return compile(self.tree, self.path, "exec")


class _Finder:
    def __init__(self, name, path, tree):
        self.name, self.loader = name, _Planted(name, str(path))
        self.loader.tree = tree

    def find_spec(self, name, path=None, target=None):
        if name != self.name:
            return None
        return importlib.machinery.ModuleSpec(
            name, self.loader, origin=self.loader.path
        )


def tried(name, path, tree, tests, seconds):
    """Whether the tests pass with this tree as the module, in a process of its own."""
    child = os.fork()
    if not child:
        signal.alarm(seconds)
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        os.dup2(1, 2)
        sys.meta_path.insert(0, _Finder(name, path, tree))
        try:
            os._exit(int(pytest.main([*QUIET, *tests])))
        finally:
            os._exit(1)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0


class _Watched:
    """Tells pytest to note which lines of a module each test runs, and for how long."""

    def __init__(self, path):
        self.path, self.ran = str(path.resolve()), {}

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item):
        lines, began = set(), time.process_time()

        def line(frame, event, _):
            lines.add(frame.f_lineno)
            return line

        def call(frame, *_):
            return line if frame.f_code.co_filename == self.path else None

        threading.settrace(call)
        sys.settrace(call)
        try:
            return (yield)
        finally:
            sys.settrace(None)
            threading.settrace(None)
            self.ran[item.nodeid] = time.process_time() - began, sorted(lines)


def watched(path, tests):
    """Lines that each test runs of a module, in a process of its own; empty if one fails."""
    reader, writer = os.pipe()
    child = os.fork()
    if not child:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        os.dup2(1, 2)
        seen = _Watched(path)
        good = pytest.main([*QUIET, *tests], plugins=[seen]) == 0
        with os.fdopen(writer, "w") as out:
            json.dump(seen.ran if good else {}, out)
        os._exit(0)
    os.close(writer)
    with os.fdopen(reader) as told:
        ran = json.load(told)
    os.waitpid(child, 0)
    return ran


def running(ran, node, inside):
    """Tests that run a node, the quickest first; all for what is worked out on import."""
    lines = {*range(node.lineno, node.end_lineno + 1)}
    found = [name for name, (_, own) in ran.items() if not inside or lines & {*own}]
    return sorted(found, key=lambda name: ran[name][0])


def load_libraries():
    """Import all that the package imports, and forget the package itself."""
    import driftmap

    for module in pkgutil.walk_packages(driftmap.__path__, "driftmap."):
        importlib.import_module(module.name)
    for name in [n for n in sys.modules if n.split(".")[0] == "driftmap"]:
        del sys.modules[name]


def main():
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("module", type=Path)
    asked.add_argument("tests", nargs="+")
    asked.add_argument("--every", type=int, default=1, help="one fault in so many")
    given, more = asked.parse_known_args()
    tests = [*given.tests, *more]
    name = ".".join(given.module.with_suffix("").parts)
    source = given.module.read_text(encoding="utf-8")
    load_libraries()
    ran = watched(given.module, tests)
    if not ran:
        sys.exit("the tests fail without any fault")
    all_faults = list(planted(source))[:: given.every]
    survive = unrun = 0
    for node, inside, words, tree in all_faults:
        own = running(ran, node, inside)
        seconds = int(3 * sum(ran[name][0] for name in own)) + 60
        if own and not tried(name, given.module, tree, own, seconds):
            continue
        survive, unrun = survive + bool(own), unrun + (not own)
        told = source.splitlines()[node.lineno - 1].strip()
        never = "" if own else " (no test runs it)"
        print(f"{given.module}:{node.lineno}: {words}{never} | {told}", flush=True)
    count = f"{len(all_faults)} faults, {survive} pass, {unrun} on lines not run"
    print(f"{given.module}: {count}", flush=True)


if __name__ == "__main__":
    main()
