"""Break every reader on purpose: run by hand for a campaign, in small by the tests.

    python tests/benchmarks/hostile.py [INPUTS] [--workers N] [--seed S] [--counts FILE]

Real files are damaged (bytes, lines, words, numbers, trees, other formats spliced in) and
given to the command line as a user gives them. What must hold each time: it ends within
30 s and 2 GiB, with exit code 0, 2, 3 or 4; a refusal is one line of bounded length that
steers no terminal and leaves no file behind. Prints counts by reader and outcome, and each
fault with the seed that makes it again.
"""

import argparse
import json
import multiprocessing
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import uuid
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from types import FrameType, SimpleNamespace
from unittest import mock

import click
from damage import damaged, damaged_tree, damaged_words
from odd_rockets import odd_rocket
from shell import driftmap

from driftmap import cli
from driftmap.desk import day, plans
from driftmap.desk.app import make_app
from driftmap.desk.day import read_day
from driftmap.desk.desk import Desk, open_folder
from driftmap.desk.folder import Folder
from driftmap.verdict import rule_checks

ROOT = Path(__file__).parents[2]
SITE = "sites/saltgrass-flat.geojson"
WHEN = ("--when", "2026-06-13T08:30-07:00")
FLOWN = ("--samples", "40", "--seed", "1")
LONGEST, LARGEST = 30, 2 << 30


@dataclass(frozen=True, slots=True)
class Reader:
    """One kind of file, and the command that reads it."""

    seeds: tuple[str, ...]
    command: tuple[str, ...]  # FILE stands for the damaged file, OUT for a folder
    share: float = 1.0  # of a campaign; what is read in a moment takes more of it


def _winds() -> tuple[str, ...]:
    found = (ROOT / "tests/data/winds").iterdir()
    kept = [p for p in found if p.suffix in {".csv", ".txt", ".gpx"}]
    small = sorted(p for p in kept if p.stat().st_size < 60_000)
    return (
        "examples/morning.csv",
        "examples/noon.csv",
        *(str(p.relative_to(ROOT)) for p in small),
    )


_FLIGHTS = tuple(
    f"examples/{n}.toml" for n in ("willet", "whimbrel", "dunlin", "plover", "godwit")
)
READERS = {
    "flight file": Reader(_FLIGHTS, ("rules", "FILE", "--site", SITE)),
    "flight flown": Reader(_FLIGHTS, ("cases", "FILE", "--wind", "calm", *FLOWN)),
    "motor curve": Reader(
        ("examples/willet_motor.csv",), ("cases", "WITH", *FLOWN), share=4
    ),
    "site": Reader(
        (SITE, "sites/larkfold-farm.geojson"),
        ("rules", "examples/dunlin.toml", "--site", "FILE"),
        share=4,
    ),
    "wind": Reader(_winds(), ("winds", "FILE", "--site", SITE, "--decoded"), share=30),
    "answers": Reader(
        ("examples/answers.toml", "examples/answers-dunlin.toml"),
        ("rules", "examples/willet.toml", "--site", SITE, *WHEN, "--answers", "FILE"),
    ),
    "rule file": Reader(
        ("driftmap/rules/us-high-power.toml", "driftmap/rules/uk.toml"),
        ("rules", "examples/dunlin.toml", "--site", SITE, "--rules", "FILE"),
    ),
    "outcome": Reader(
        ("examples/outcome.toml",),
        ("log", "add", "FILE", "--log", "OUT/log.sqlite"),
        share=80,
    ),
    "log": Reader(("LOG",), ("log", "check", "--log", "FILE"), share=80),
    "log's export": Reader(
        ("EXPORT",), ("log", "import", "FILE", "--log", "OUT/log.sqlite"), share=80
    ),
    "found": Reader(
        ("examples/found.toml", "examples/seen.toml"),
        (
            *("explain", "examples/willet.toml", "--site", SITE, "--wind", "calm"),
            *("--found", "FILE", *FLOWN),
        ),
    ),
    "verdict": Reader(
        _FLIGHTS,
        (
            *("assess", "FILE", "--site", SITE, "--wind", "8 mph from 240", *FLOWN),
            *("--out", "OUT/made"),
        ),
    ),
    "odd rocket": Reader((), ("cases", "FILE", "--wind", "8 mph from 240", *FLOWN)),
    "odd verdict": Reader(
        (),
        (
            *("assess", "FILE", "--site", SITE, "--wind", "8 mph from 240", *FLOWN),
            *("--out", "OUT/made"),
        ),
    ),
    "options": Reader((), (), share=20),
    "desk": Reader((), (), share=100),
}
"""Every file a user can hand over, by what it is called."""


# --- running ----------------------------------------------------------------------------


class Late(BaseException):
    """The time is over; no `except Exception` may swallow it."""


def late(signum: int, frame: FrameType | None) -> None:
    raise Late


def attempt(reader: str, seed: int) -> tuple[list[str], str]:
    """Damage an input of a kind (to a desk, many), hand it over, and tell how that ended."""
    rng = random.Random(f"{reader} {seed}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "out").mkdir()
        for timer in (signal.SIGPROF, signal.SIGALRM):
            signal.signal(timer, late)
        # Of its own work, whatever else the machine does; and ten times that, asleep or not.
        signal.setitimer(signal.ITIMER_PROF, LONGEST)
        signal.alarm(10 * LONGEST)
        try:
            if reader == "desk":
                return asked_of_desk(rng, folder)
            if reader == "options":
                arguments = options_damaged(rng, folder)
            else:
                arguments = prepared(rng, READERS[reader], folder)
            # Whatever a damaged word makes of a path stays here.
            done = driftmap(*arguments, cwd=folder)
        except Late:
            return ["late"], f"more than {LONGEST} s"
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
            signal.alarm(0)
        left = sorted(p.name for p in folder.glob("out/**/*") if p.suffix != ".sqlite")
        # What was called so is told so: a folder may be called anything.
        told = done.stdout
        if any("nan" in word for word in arguments):
            told = re.sub(r"\bnan\b", "", told)
        ended, why = outcome(done.returncode, told, done.stderr, left)
        return [ended], why and f"{why} {arguments}"


def outcome(code: int, told: str, complaint: str, left: list[str]) -> tuple[str, str]:
    """Judge how a command ended."""
    names = {0: "read", 2: "refused", 3: "hold", 4: "no-go"}
    if code not in names:
        return "fault", complaint or f"exit code {code}"
    last = complaint.strip().splitlines()[-1:] or [""]
    if code == 2 and (left or len(last[0]) > 700 or not last[0].strip()):
        return "fault", f"refused with {left} left, {len(last[0])} characters"
    if re.search(
        r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e]", told + complaint
    ):
        return "fault", f"steers the terminal: {told[:200]!r} {complaint[:200]!r}"
    if "Warning:" in complaint:
        return "fault", f"warns: {complaint[:300]!r}"
    if re.search(r"Traceback|\bnan\b(?!')", told):
        return "fault", f"tells nan: {told[:300]!r}"
    return names[code], ""


def prepared(rng: random.Random, reader: Reader, folder: Path) -> list[str]:
    """Write the damaged file and give the command line that reads it."""
    if reader.seeds:
        seed = rng.choice(reader.seeds)
        others = rng.choice([r for r in READERS.values() if r.seeds]).seeds
        data = damaged(rng, seed_of(seed), seed_of(rng.choice(others)))
        path = folder / ("hostile" + (Path(seed).suffix or ".sqlite"))
    else:  # whole, but as nobody builds
        data, path = odd_rocket(rng).encode(), folder / "odd.toml"
    path.write_bytes(data)
    replaced = {"FILE": str(path), "WITH": str(folder / "with.toml")}
    if "WITH" in reader.command:  # a flight that names the damaged curve
        flight = (ROOT / "examples/willet.toml").read_text(encoding="utf-8")
        text = flight.replace("willet_motor.csv", path.name)
        (folder / "with.toml").write_text(text, encoding="utf-8")
    elif path.suffix == ".toml":
        for curve in (ROOT / "examples").glob("*.csv"):
            (folder / curve.name).write_bytes(curve.read_bytes())
    words = [replaced.get(word, word) for word in reader.command]
    words = [word.replace("OUT/", f"{folder}/out/") for word in words]
    return [str(ROOT / w) if (ROOT / w).is_file() else w for w in words]


_FLIGHT, _WIND = "examples/dunlin.toml", ("--wind", "8 mph from 240")
_HERE = ("--site", SITE, *_WIND)
COMMANDS: dict[str, tuple[str, ...]] = {
    "assess": (_FLIGHT, *_HERE, *FLOWN, "--out", "OUT/made"),
    "cases": (_FLIGHT, *_WIND, *FLOWN),
    "compare": (_FLIGHT, *_HERE, *FLOWN),
    "brief": (_FLIGHT, *_HERE, *FLOWN, "--out", "OUT/made"),
    "export": (_FLIGHT, *_HERE, *FLOWN, "--out", "OUT/made"),
    "explain": (_FLIGHT, *_HERE, *FLOWN, "--found", "examples/found.toml"),
    "search": (_FLIGHT, *_HERE, *FLOWN, "--out", "OUT/made"),
    "rules": (_FLIGHT, "--site", SITE),
    "winds": ("8 mph from 240", "--site", SITE),
    "balloon": (),
    "survey": ("--out", "OUT/made"),
    "log": ("list", "--log", "OUT/log.sqlite"),
    "review": ("--log", "OUT/log.sqlite"),
    "help": ("flight",),
    "drop": (
        *("--from", "300 m", "--mass", "1.2 kg", "--drag-area", "0.3 m2"),
        *_WIND,
    ),
}
"""Each command that ends in a second, called well."""
_SLOW = {"explain", "search", "compare", "brief"}
_VALUES = (
    *("300 m", "1.2 kg", "0.3 m2", "12 mph from 240 gusting to 20 mph", "11 deg"),
    *("2026-06-13T08:30-07:00", "4,100 ft", "3 m/s", "10 min ago", "KXYZ", "5", "de"),
    *(
        "examples/morning.csv",
        "examples/answers.toml",
        SITE,
        "us",
        "38.5,-113.2",
        "2 %",
    ),
)


def options_damaged(rng: random.Random, folder: Path) -> list[str]:
    """Call a command that would work with one to three more options, damaged."""
    name = rng.choice([n for n in COMMANDS for _ in range(1 if n in _SLOW else 4)])
    command = cli.cli.get_command(click.Context(cli.cli), name)
    told = [word.replace("OUT/", f"{folder}/out/") for word in COMMANDS[name]]
    told = [str(ROOT / w) if (ROOT / w).is_file() else w for w in told]
    options = [p for p in command.params if p.param_type_name == "option"]
    for option in rng.sample(options, min(len(options), rng.choice((0, 1, 1, 2, 3)))):
        word = rng.choice(option.opts)
        if option.name in {"help", "service", "at"}:
            continue  # nothing is asked of the network
        value = rng.choice(_VALUES)
        value = str(ROOT / value) if (ROOT / value).is_file() else value
        if rng.random() < 0.7:
            value = damaged_words(rng, value)
        told += [word] if option.is_flag else [f"{word}={value}".replace("\x00", "")]
    if told and rng.random() < 0.3:
        told[rng.randrange(len(told))] = rng.choice(_VALUES)
    return [name, *told]


_HAPPENED = {"piece": "rocket", "latitude": "38.5", "longitude": "-113", "error": "5 m"}
_CURVE = "time_s,thrust_n\n0,0\n1,20\n2,0\n"
_TRUE = {"scope": "day", "value": "yes", "by": "Ada Range", "until": "18:00"}
_PLAN = {"flight": "flights/dunlin.toml", "pad": "", "given": {"--samples": "40"}}
ASKED: tuple[tuple[str, str, object], ...] = (
    ("POST", "day/add", {"file": "flights/dunlin.toml", "pad": ""}),
    *(
        ("POST", f"day/{what}", {"id": "ID", "pad": "", "by": -1, "units": "us"})
        for what in ("drop", "move", "units", "pad", "begin")
    ),
    ("POST", "day/flown", {"id": "ID", "decided_by": "Ada Range"}),
    ("POST", "day/happened", {"id": "ID", "case": "x", "found": _HAPPENED}),
    ("POST", "winds/try", {"text": "9 mph from SW, gusting to 14 mph", "read_at": ""}),
    ("POST", "winds/take", {"text": "9 mph from SW", "read_at": "00:05"}),
    ("POST", "winds/count", {"file": "WIND", "counts": True}),
    (
        "POST",
        "winds/count",
        {"file": "WIND", "counts": 0, "why": "mistyped", "by": "A"},
    ),
    ("POST", "meter", {"name": "cups", "unit": "kt", "north": "true", "height": "2 m"}),
    ("POST", "answers/ID", {"name": "waiver_active", **_TRUE}),
    ("PUT", "site", {"site": {}, "base": "site"}),
    ("PUT", "flights/willet", {"text": "WILLET", "base": "flights/willet"}),
    *(
        ("PUT", "flights/willet", {"path": path, "value": v, "base": "flights/willet"})
        for path, v in (
            (["airframe", "mass"], "3 kg"),
            (["recovery", 0, "opens_at"], "300 m"),
            (["piece", 1], None),
        )
    ),
    ("POST", "flights", {"name": "Own Rocket", "copy": "flights/willet.toml"}),
    ("POST", "curves", {"name": "x.csv", "text": _CURVE}),
    ("POST", "pictures", {"name": "field.png", "data": "iVBORw0KGgo="}),
    ("POST", "undo", {"file": "site.geojson"}),
    *(
        ("POST", "plans", {"work": work, **_PLAN})
        for work in ("compare", "brief", "dial", "season", "drop", "search")
    ),
    ("POST", "plans/stop", {}),
    *(
        ("GET", path, None)
        for path in (
            *(
                "state",
                "site",
                "files",
                "winds/now",
                "rule-sets",
                "plans",
                "plan-forms",
            ),
            *("answers/ID", "day/names/ID", "flights/willet", "flight-tables"),
            *("page/map/ID", "page/sheet/ID", "plans/compare-dunlin/told.txt"),
        )
    ),
)
"""What the desk's page asks, and what it sends; ID and WIND are those of the day then."""
QUESTIONS = 24  # to one desk: what was damaged before is still there for the next


def asked_of_desk(rng: random.Random, folder: Path) -> tuple[list[str], str]:
    """Send questions, most damaged, to one desk; it must go on answering, its files whole."""

    # The same seed gives the same names; a plan is begun, and its process ends at once.
    def named() -> uuid.UUID:
        return uuid.UUID(int=rng.getrandbits(128))

    names = mock.patch.object(day, "uuid4", named)
    works = mock.patch.multiple(
        plans, _RUN="pass", subprocess=SimpleNamespace(**_AT_ONCE)
    )
    with names, works, mock.patch.object(rule_checks, "_SCOUTS", 40):
        return _session(rng, _desk(folder / "own"), folder / "own")


def _session(rng: random.Random, ask, folder: Path) -> tuple[list[str], str]:
    endings: list[str] = []
    for number in range(QUESTIONS):
        method, path, body = question(rng, ask, folder)
        if number == QUESTIONS - 1:
            method, path, body = "GET", "state", None
        answer = ask(method, path, body)
        told = answer.get_data(as_text=True)
        wrong = answer.status_code >= 500 or "Traceback" in told
        silent = answer.status_code == 400 and '"problem":""' in told
        if wrong or silent or (path == "state" and answer.status_code != 200):
            why = f"{answer.status_code} for {method} {path} {body}: {told}"
            return [*endings, "fault"], why
        endings.append("read" if answer.status_code < 400 else "refused")
    json.loads((folder / "site.geojson").read_text(encoding="utf-8"))
    return endings, ""


def question(rng: random.Random, ask, folder: Path) -> tuple[str, str, object]:
    """Make a question as the page would ask it now, and damage it two times in three."""
    method, path, body = rng.choice(ASKED)
    today = read_day(Folder(folder))
    told = json.dumps(body)
    for word, names in (
        ("ID", [item.id for item in today.items]),
        ("WIND", [*today.winds, "winds/x.txt"]),
    ):
        name = rng.choice(names or ["1"])
        told, path = told.replace(f'"{word}"', f'"{name}"'), path.replace(word, name)
    body = json.loads(told)
    if method == "PUT":
        now = ask("GET", body["base"], None).get_json()
        body["base"] = now.get("revision", "")
        if path == "site":
            body["site"] = json.loads(now["text"])
        elif "text" in body:
            body["text"] = (folder / f"{path}.toml").read_text("utf-8")
    if rng.random() < 0.1:
        path = damaged_words(rng, path).replace("\x00", "")
    if body and rng.random() < 0.65:
        body = damaged_tree(rng, body)
    return method, path, body


def _ended(*given, **rest) -> subprocess.Popen[bytes]:
    process = subprocess.Popen(*given, **rest)
    process.wait()
    return process


_AT_ONCE = {
    "Popen": _ended,
    "PIPE": subprocess.PIPE,
    "DEVNULL": subprocess.DEVNULL,
}


def _desk(folder: Path):
    folder.mkdir()
    open_folder(folder)
    shutil.copy(ROOT / SITE, folder / "site.geojson")
    for name in ("willet.toml", "willet_motor.csv", "dunlin.toml"):
        shutil.copy(ROOT / "examples" / name, folder / "flights" / name)
    client = make_app(Desk(Folder(folder)), "key", {"127.0.0.1:1"}).test_client()
    headers = {"Host": "127.0.0.1:1", "X-Desk": "1"}

    def ask(method, path, body):
        return client.open(f"/key/{path}", method=method, json=body, headers=headers)

    for name in ("willet", "dunlin"):
        ask("POST", "day/add", {"file": f"flights/{name}.toml", "pad": ""})
    ask("POST", "meter", {"name": "m", "unit": "mph", "north": "true", "height": "2 m"})
    ask("POST", "winds/take", {"text": "9 mph from SW", "read_at": ""})
    return ask


def seed_of(name: str) -> bytes:
    """Give the bytes of a whole file; a log and its export are made once."""
    if name not in _MADE:
        if name in {"LOG", "EXPORT"}:
            _make_log()
        else:
            _MADE[name] = (ROOT / name).read_bytes()
    return _MADE[name]


_MADE: dict[str, bytes] = {}


def _make_log() -> None:
    with tempfile.TemporaryDirectory() as folder:
        log, export = f"{folder}/log.sqlite", f"{folder}/log.jsonl"
        for _ in range(3):
            driftmap("log", "add", ROOT / "examples/outcome.toml", "--log", log)
        driftmap("log", "export", "--out", export, "--log", log)
        _MADE["LOG"] = Path(log).read_bytes()
        _MADE["EXPORT"] = Path(export).read_bytes()


@dataclass
class Counts:
    """What a campaign counted by reader and outcome, kept in a file for the next to go on."""

    readers: list[str]
    path: Path | None
    first: int

    def __post_init__(self) -> None:
        self.by = {reader: Counter[str]() for reader in self.readers}
        if self.path and self.path.exists():
            kept = json.loads(self.path.read_text(encoding="utf-8"))
            self.first = kept["next"]
            self.by |= {name: Counter(each) for name, each in kept["counts"].items()}

    def keep(self, following: int) -> None:
        """Write down what was counted, and with which number the next begins."""
        if self.path:
            new = self.path.with_suffix(".new")
            new.write_text(json.dumps({"next": following, "counts": self.by}), "utf-8")
            new.replace(self.path)

    def told(self, *kinds: str) -> int:
        """Print the table; give the exit code."""
        print("| reader | inputs | " + " | ".join(kinds) + " |")
        print("| --- " * (len(kinds) + 2) + "|")
        whole = sum(self.by.values(), Counter())
        for reader, each in [*self.by.items(), ("all", whole)]:
            cells = " | ".join(f"{each[kind]:,}" for kind in kinds)
            print(f"| {reader} | {each.total():,} | {cells} |")
        return int(bool(whole["fault"] + whole["late"]))


def bounded() -> None:
    """Give this process 2 GiB, and as much for its code."""
    resource.setrlimit(resource.RLIMIT_AS, (2 * LARGEST, 2 * LARGEST))


def _batch(job: tuple[str, int, int]) -> tuple[str, Counter[str], list[str]]:
    reader, first, count = job
    counts: Counter[str] = Counter()
    faults = []
    for seed in range(first, first + count):
        ended, why = attempt(reader, seed)
        counts.update(ended)
        if why:
            faults.append(f"{reader}, seed {seed}: {ended[-1]}: {why.strip()[:600]}")
    return reader, counts, faults


def main() -> int:
    """Run a campaign, or go on with one, and print what it counted."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("inputs", nargs="?", type=int, default=2000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--reader", choices=READERS)
    parser.add_argument("--counts", type=Path, help="goes on from what stands there")
    given = parser.parse_args()
    readers = [given.reader] if given.reader else list(READERS)
    counts = Counts(readers, given.counts, given.seed)
    each = {r: READERS[r].share / (QUESTIONS if r == "desk" else 1) for r in readers}
    parts = given.inputs / sum(READERS[reader].share for reader in readers)
    asked = {reader: max(1, round(parts * share)) for reader, share in each.items()}
    jobs = [
        (reader, counts.first + begun, min(25, count - begun))
        for reader, count in asked.items()
        for begun in range(0, count, 25)
    ]
    # Shuffled, what is stopped early has tried a bit of all.
    random.Random(given.seed).shuffle(jobs)
    with ProcessPoolExecutor(given.workers, initializer=bounded) as pool:
        try:
            for reader, found, faults in pool.map(_batch, jobs):
                counts.by[reader] += found
                for fault in faults:
                    print(fault, file=sys.stderr, flush=True)
                counts.keep(counts.first + max(asked.values()))
        except KeyboardInterrupt:
            for worker in multiprocessing.active_children():
                worker.kill()  # it may be in the midst of what never ends
            pool.shutdown(wait=False)
    return counts.told("read", "refused", "hold", "no-go", "fault", "late")


if __name__ == "__main__":
    raise SystemExit(main())
