"""End commands as machines do: killed at any moment, two at once, a full disk, an odd home.

    python tests/benchmarks/rough_ends.py [KILLS] [--seed S] [--kills-alone]

Each command, and a change that the desk saves, runs in a process of its own over the results
of an earlier run and is killed without warning at a random moment of its time, the quick ones
more often. What must hold: every file that stands under
its own name is whole, the earlier run's or the new one's; a log holds all that was in it;
the same command works the next time. Then, once each: two runs into one folder, a disk that
takes no more, an output that is closed or full, no home, odd languages and zones; these must
end with 0, 2, 3 or 4 and no traceback. Prints counts; exit code 1 after any fault.
"""

import argparse
import contextlib
import importlib
import json
import os
import pkgutil
import random
import resource
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
import xml.etree.ElementTree as ET
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import driftmap
from driftmap import cli
from driftmap.desk.app import make_app
from driftmap.desk.desk import Desk, open_folder
from driftmap.desk.folder import Folder

ROOT = Path(__file__).parents[2]
GOOD = {0, 2, 3, 4}
_HERE = (
    *("examples/dunlin.toml", "--site", "sites/saltgrass-flat.geojson"),
    *("--wind", "8 mph from 240", "--samples", "40", "--seed"),
)
COMMANDS: dict[str, tuple[int, Callable[[int], tuple[str, ...]]]] = {
    "assess": (1, lambda seed: ("assess", *_HERE, str(seed), "--out", "OUT")),
    "export": (1, lambda seed: ("export", *_HERE, str(seed), "--out", "OUT")),
    "brief": (1, lambda seed: ("brief", *_HERE, str(seed), "--out", "OUT")),
    "search": (1, lambda seed: ("search", *_HERE, str(seed), "--out", "OUT")),
    "winds": (
        4,
        lambda seed: ("winds", f"{3 + seed % 9} mph from 240", "--out", "OUT"),
    ),
    "log": (
        6,
        lambda seed: ("log", "add", f"IN/{seed}.toml", "--log", "OUT/log.sqlite"),
    ),
    "desk": (6, lambda seed: ("save", f"Field {seed}", "OUT")),
}
"""What is killed, and how often; a seed makes each run's results its own."""
TYPED = [name for name in COMMANDS if name != "desk"]


def save(name: str, place: str) -> None:
    """Save another name of the field, as the desk's page does."""
    folder = Path(place)
    if not (folder / "site.geojson").exists():
        open_folder(folder)
        site = ROOT / "sites" / "saltgrass-flat.geojson"
        (folder / "site.geojson").write_bytes(site.read_bytes())
    client = make_app(Desk(Folder(folder)), "key", {"127.0.0.1:1"}).test_client()
    given = {"headers": {"Host": "127.0.0.1:1", "X-Desk": "1"}}
    was = client.get("/key/site", **given).get_json()
    body = {"site": {**json.loads(was["text"]), "name": name}, "base": was["revision"]}
    assert client.put("/key/site", json=body, **given).status_code == 200


def child(arguments: tuple[str, ...], errors: Path) -> int:
    """Start a command in a process of its own, its imports done."""
    if pid := os.fork():
        return pid
    code = 1
    try:
        handle = os.open(errors, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        os.dup2(handle, 2)
        sys.argv = ["driftmap", *arguments]
        if arguments[0] == "save":
            save(*arguments[1:])
        else:
            cli.main()
        code = 0
    except SystemExit as left:
        code = left.code if isinstance(left.code, int) else 0
    finally:
        os._exit(code)


def ended(pid: int) -> int:
    """Wait for a process and give how it ended: its code, or minus the signal."""
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])


def told(name: str, seed: int, folder: Path) -> tuple[str, ...]:
    """Give the words of a command, its files in a folder."""
    if name == "log":
        outcome = (ROOT / "examples/outcome.toml").read_text(encoding="utf-8")
        text = outcome.replace("notes =", f"# {seed}\nnotes =", 1)
        (folder / f"{seed}.toml").write_text(text, encoding="utf-8")
    words = (w.replace("OUT", str(folder / "out")) for w in COMMANDS[name][1](seed))
    return tuple(w.replace("IN/", f"{folder}/") for w in words)


def faults(folder: Path) -> list[str]:
    """Name every file that is not whole."""
    found = []
    shown = (p for p in folder.rglob("[!.]*") if p.is_file() and "/." not in str(p))
    for path in sorted(shown):
        try:
            _whole(path)
        except (ValueError, ET.ParseError, sqlite3.Error, AssertionError) as problem:
            found.append(f"{path.name}: {problem!r}")
    return found


def _whole(path: Path) -> None:
    if path.name.endswith(("-wal", "-shm")):
        return
    if path.suffix == ".sqlite":
        with contextlib.closing(sqlite3.connect(path)) as log:
            (answer,) = log.execute("PRAGMA integrity_check").fetchone()
            assert answer == "ok", answer
        return
    text = path.read_text(encoding="utf-8")
    if path.suffix in {".json", ".geojson"}:
        json.loads(text)
    elif path.suffix in {".gpx", ".kml"}:
        ET.fromstring(text)
    elif path.suffix == ".html":
        assert text.rstrip().endswith("</html>"), "cut short"
    else:
        assert text.endswith("\n"), "cut short"


def kills(name: str, count: int, rng: random.Random) -> tuple[Counter[str], list[str]]:
    """Kill a command at random moments; tell how each ended and what was broken."""
    counts: Counter[str] = Counter()
    broken = []
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / "out").mkdir()
        for seed in (-1, 0):  # the first is slower
            began = time.monotonic()
            assert ended(child(told(name, seed, folder), folder / "errors")) in GOOD
            takes = time.monotonic() - began
        for seed in range(1, count + 1):
            before = _entries(folder)
            pid = child(told(name, seed, folder), folder / "errors")
            time.sleep(rng.uniform(0.0, 1.1 * takes))
            os.kill(pid, signal.SIGKILL)
            counts["killed" if ended(pid) < 0 else "ended before"] += 1
            now = faults(folder / "out")
            if not before <= _entries(folder) <= before + 1:
                now.append(f"{before} entries, then {_entries(folder)}")
            broken += [f"{name}, kill {seed}: {what}" for what in now]
        if ended(child(told(name, count + 1, folder), folder / "errors")) not in GOOD:
            broken.append(f"{name} does not work after the kills")
        broken += [f"{name}: {what}" for what in faults(folder / "out")]
        counts["left behind"] = sum(
            p.name.startswith(".") and p.is_file() for p in (folder / "out").iterdir()
        )
    return counts, broken


def _entries(folder: Path) -> int:
    path = folder / "out" / "log.sqlite"
    if not path.exists():
        return 0
    with contextlib.closing(sqlite3.connect(path)) as log:
        return int(log.execute("SELECT count(*) FROM entry").fetchone()[0])


def at_once(name: str) -> list[str]:
    """Let two runs write into one folder."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / "out").mkdir()
        pids = [
            child(told(name, seed, folder), folder / "errors") for seed in (1, 2, 3)
        ]
        codes = [ended(pid) for pid in pids]
        bad = [f"exit codes {codes}"] if set(codes) - GOOD else []
        return [f"{name} three at once: {why}" for why in bad + faults(folder / "out")]


def _full_disk() -> None:
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))


_PLAIN = dict(os.environ)
STARVED: dict[str, dict[str, object]] = {
    "a full disk": {"preexec_fn": _full_disk},
    "no home": {"env": {k: v for k, v in _PLAIN.items() if k != "HOME"}},
    "a home that is not there": {"env": {**_PLAIN, "HOME": "/nowhere/at/all"}},
    "plain ASCII": {"env": {**_PLAIN, "LC_ALL": "C", "PYTHONIOENCODING": "ascii"}},
    "latin-1": {"env": {**_PLAIN, "PYTHONIOENCODING": "latin-1"}},
    "a zone of 14 h": {"env": {**_PLAIN, "TZ": "Pacific/Kiritimati"}},
    "a zone nobody knows": {"env": {**_PLAIN, "TZ": "Nowhere/City"}},
    "no environment": {"env": {"PATH": _PLAIN.get("PATH", "")}},
}
"""Where a command has to run, by what is wrong there."""


def starved(name: str, where: str) -> list[str]:
    """Run a command where something is missing."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / "out").mkdir()
        run = [sys.executable, "-c", "from driftmap.cli import main; main()"]
        given = {"capture_output": True, "timeout": 120, "cwd": ROOT}
        done = subprocess.run(
            [*run, *told(name, 1, folder)], check=False, **given, **STARVED[where]
        )
        bad = faults(folder / "out")
        if done.returncode not in GOOD:
            bad.append(f"exit code {done.returncode}: {done.stderr[-300:]!r}")
        if b"Traceback" in done.stderr:
            bad.append("a traceback")
        return [f"{name} with {where}: {what}" for what in bad]


def silenced(name: str) -> list[str]:
    """Run a command whose output nobody reads, and one whose output is full."""
    run = f"{sys.executable} -c 'from driftmap.cli import main; main()'"
    bad = []
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / "out").mkdir()
        words = " ".join(f"'{w}'" for w in told(name, 1, folder))
        for end in (
            "| head -c 1 >/dev/null",
            ">/dev/full",
            ">&-",
            "2>&-",
            "<&- >&- 2>&-",
        ):
            shell = f"set -o pipefail; {run} {words} {end}"
            done = subprocess.run(
                ["bash", "-c", shell], capture_output=True, cwd=ROOT, check=False
            )
            if b"Traceback" in done.stderr or done.returncode not in GOOD:
                bad.append(f"{name} {end}: {done.returncode} {done.stderr[-300:]!r}")
            bad += [f"{name} {end}: {what}" for what in faults(folder / "out")]
    return bad


def main() -> int:
    """Run all of it and print what was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kills", nargs="?", type=int, default=120)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--kills-alone", action="store_true")
    given = parser.parse_args()
    rng = random.Random(given.seed)
    os.chdir(ROOT)
    # What is killed is at its work, and not at its imports.
    for module in pkgutil.walk_packages(driftmap.__path__, "driftmap."):
        importlib.import_module(module.name)
    found: list[str] = []
    print(
        "| command | killed | ended before | left behind |\n| --- | --- | --- | --- |"
    )
    whole = sum(share for share, _ in COMMANDS.values())
    for name, (share, _) in COMMANDS.items():
        counts, broken = kills(name, -(-given.kills * share // whole), rng)
        row = (counts[k] for k in ("killed", "ended before", "left behind"))
        print(f"| {name} | " + " | ".join(map(str, row)) + " |", flush=True)
        found += broken
    tries = 0
    for name in [] if given.kills_alone else TYPED:
        found += at_once(name) + silenced(name)
        tries += 6
        for where in STARVED:
            found += starved(name, where)
            tries += 1
    print(f"\n{tries} runs at once, silenced or starved; {len(found)} faults")
    print(*found, sep="\n", file=sys.stderr)
    return int(bool(found))


if __name__ == "__main__":
    raise SystemExit(main())
