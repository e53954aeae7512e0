"""Break every reader on purpose: run by hand for a campaign, in small by the tests.

    python tests/benchmarks/hostile.py [INPUTS] [--workers N] [--seed S]

Real files are damaged (bytes, lines, words, numbers, trees, other formats spliced in) and
given to the command line as a user gives them. What must hold each time: it ends within
30 s and 2 GiB, with exit code 0, 2, 3 or 4; a refusal is one line of bounded length that
steers no terminal and leaves no file behind. Prints counts by reader and outcome, and each
fault with the seed that makes it again.
"""

from __future__ import annotations

import argparse
import io
import json
import random
import re
import resource
import signal
import sys
import tempfile
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from types import FrameType

from driftmap import cli

ROOT = Path(__file__).parents[2]
SITE = "sites/saltgrass-flat.geojson"
WHEN = ("--when", "2026-06-13T08:30-07:00")
FLOWN = ("--samples", "40", "--seed", "1")
LONGEST, LARGEST = 30, 2 << 30

HOSTILE = (
    *("", " ", "-", "0", "-0", "-1", "1e400", "-1e400", "nan", "inf", "1e-400", "0x1F"),
    *("9" * 40, "9" * 5000, "1" + "0" * 400, "18446744073709551616", "1_000", "٣", "½"),
    *("null", "true", "[]", "{}", "[[[[[[]]]]]]", "[" * 3000, "{" * 3000, '"', "'''"),
    *(
        "\x1b[2J\x1b[31m GO",
        "\u202egnol",
        "\u2028",
        "\ud7ff",
        "\x00",
        "\x85",
        "é" * 300,
    ),
    *("<script>alert(1)</script>", "=cmd|'/C calc'!A0", "'); DROP TABLE entry; --"),
    *("../../../../etc/passwd", "/dev/zero", "con", "a" * 4000, "1979-05-27", "24:61"),
    *("2026-02-30T25:00Z", "9999-12-31T23:59:59Z", "0001-01-01T00:00+14:00", "now"),
    *("1e9 km", "5 furlongs", "-3 kg", "0 m", "1e-30 g", "12 mph from 720", "90 deg"),
)


@dataclass(frozen=True, slots=True)
class Reader:
    """One kind of file, and the command that reads it."""

    seeds: tuple[str, ...]
    command: tuple[str, ...]  # FILE stands for the damaged file, OUT for a folder


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
    f"examples/{n}.toml" for n in ("willet", "whimbrel", "dunlin", "plover")
)
READERS = {
    "flight file": Reader(_FLIGHTS, ("rules", "FILE", "--site", SITE)),
    "flight flown": Reader(_FLIGHTS, ("cases", "FILE", "--wind", "calm", *FLOWN)),
    "motor curve": Reader(("examples/willet_motor.csv",), ("cases", "WITH", *FLOWN)),
    "site": Reader(
        (SITE, "sites/larkfold-farm.geojson"),
        ("rules", "examples/dunlin.toml", "--site", "FILE"),
    ),
    "wind": Reader(_winds(), ("winds", "FILE", "--site", SITE, "--decoded")),
    "answers": Reader(
        ("examples/answers.toml", "examples/answers-dunlin.toml"),
        ("rules", "examples/willet.toml", "--site", SITE, *WHEN, "--answers", "FILE"),
    ),
    "rule file": Reader(
        ("driftmap/rules/us-high-power.toml", "driftmap/rules/uk.toml"),
        ("rules", "examples/dunlin.toml", "--site", SITE, "--rules", "FILE"),
    ),
    "outcome": Reader(
        ("examples/outcome.toml",), ("log", "add", "FILE", "--log", "OUT/log.sqlite")
    ),
    "log": Reader(("LOG",), ("log", "check", "--log", "FILE")),
    "log's export": Reader(
        ("EXPORT",), ("log", "import", "FILE", "--log", "OUT/log.sqlite")
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
    "words": Reader(("WORDS",), ("drop", "TOLD")),
}
"""Every file a user can hand over, by what it is called."""

_WORDS = (
    ("--from", "300 m"),
    ("--mass", "1.2 kg"),
    ("--drag-area", "0.3 m2"),
    ("--wind", "12 mph from 240 gusting to 20 mph"),
    ("--when", "2026-06-13T08:30-07:00"),
    ("--declination", "11 deg"),
    ("--site-elevation", "4,100 ft"),
    ("--speed-east", "3 m/s"),
    ("--read-at", "10 min ago"),
    ("--station", "KXYZ"),
)


# --- damage -----------------------------------------------------------------------------


def damaged(rng: random.Random, data: bytes, other: bytes) -> bytes:
    """Damage a file in one to four ways."""
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        data = rng.choice(_WAYS)(rng, data, other)
    return data


def _bytes(rng: random.Random, data: bytes, other: bytes) -> bytes:
    del other
    found = bytearray(data)
    for _ in range(rng.choice((1, 3, 20))):
        if found:
            found[rng.randrange(len(found))] = rng.randrange(256)
    return bytes(found)


def _cut(rng: random.Random, data: bytes, other: bytes) -> bytes:
    del other
    a, b = sorted(rng.randrange(len(data) + 1) for _ in range(2))
    return rng.choice((data[:a], data[:a] + data[b:], data[:b] + data[a:]))


def _lines(rng: random.Random, data: bytes, other: bytes) -> bytes:
    del other
    lines = data.splitlines(keepends=True)
    if len(lines) < 2:
        return data
    i, j = rng.randrange(len(lines)), rng.randrange(len(lines))
    ways = (
        lambda: lines.pop(i),
        lambda: lines.insert(i, lines[j]),
        lambda: lines.__setitem__(i, lines[j]),
    )
    rng.choice(ways)()
    return b"".join(lines)


_TOKEN = re.compile(rb'"[^"\n]*"|[-+]?\d[\d.,:eE+-]*|[A-Za-z_]{2,}')


def _token(rng: random.Random, data: bytes, other: bytes) -> bytes:
    """Put something hostile, or a word from elsewhere, in the place of a word or number."""
    found = list(_TOKEN.finditer(data))
    if not found:
        return data
    spot = rng.choice(found)
    more = _TOKEN.findall(other) or [b""]
    new = rng.choice((rng.choice(HOSTILE).encode(), rng.choice(more)))
    if rng.random() < 0.5:
        new = b'"' + new.replace(b'"', b"") + b'"'
    return data[: spot.start()] + new + data[spot.end() :]


def _number(rng: random.Random, data: bytes, other: bytes) -> bytes:
    """Scale a number far away."""
    del other
    found = list(re.finditer(rb"(?<![\w.])-?\d+\.?\d*", data))
    if not found:
        return data
    spot = rng.choice(found)
    factor = rng.choice((-1, 0, 1e-9, 1e-3, 0.1, 10, 1e3, 1e6, 1e12, 1e300))
    new = repr(float(spot[0][:300]) * factor).encode()
    return data[: spot.start()] + new + data[spot.end() :]


def _tree(rng: random.Random, data: bytes, other: bytes) -> bytes:
    """Change one node of a JSON tree."""
    del other
    try:
        tree = json.loads(data)
    except ValueError:
        return data
    nodes = list(_nodes(tree))
    if not nodes:
        return data
    holder, key = rng.choice(nodes)
    odd = (*HOSTILE[:30], None, True, 10**400, -1e308, [], {}, [[0, 0]] * 50)
    change = rng.randrange(3)
    if change == 0:
        holder[key] = rng.choice(odd)
    elif change == 1 and isinstance(holder, list):
        holder.insert(key, holder[key])
    else:
        del holder[key]
    return json.dumps(tree).encode()


def _nodes(tree: object):
    pairs = (
        tree.items()
        if isinstance(tree, dict)
        else enumerate(tree)
        if isinstance(tree, list)
        else ()
    )
    for key, value in list(pairs):
        yield tree, key
        yield from _nodes(value)


def _splice(rng: random.Random, data: bytes, other: bytes) -> bytes:
    a, b = rng.randrange(len(data) + 1), rng.randrange(len(other) + 1)
    return rng.choice((other, data[:a] + other[b:], other[:b] + data[a:]))


def _recoded(rng: random.Random, data: bytes, other: bytes) -> bytes:
    del other
    text = data.decode("utf-8", "replace")
    form = rng.choice(("utf-16", "utf-32", "utf-8-sig", "latin-1", "cp037"))
    return text.encode(form, "replace")


_WAYS = (_bytes, _cut, _lines, _token, _token, _token, _number, _number, _tree, _tree)
_WAYS += (_splice, _recoded)


# --- running ----------------------------------------------------------------------------


class Late(BaseException):
    """The time is over; no `except Exception` may swallow it."""


def _late(signum: int, frame: FrameType | None) -> None:
    raise Late


class _Kept(io.BytesIO):
    """Bytes that stay readable when the stream before them is gone."""

    def close(self) -> None:
        """Stay open."""


def run(arguments: list[str]) -> tuple[int, str, str]:
    """Call the command line as a process would, in this one."""
    raw = _Kept(), _Kept()
    out, err = (io.TextIOWrapper(each, encoding="utf-8") for each in raw)
    before = sys.stdout, sys.stderr, sys.argv
    sys.stdout, sys.stderr, sys.argv = out, err, ["driftmap", *arguments]
    try:
        cli.main()
        code = 0
    except SystemExit as left:
        code = left.code if isinstance(left.code, int) else 0
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        sys.stdout, sys.stderr, sys.argv = before
    told, complaint = (each.getvalue().decode("utf-8") for each in raw)
    return code, told, complaint


def attempt(reader: str, seed: int) -> tuple[str, str]:
    """Damage one file of a kind, hand it over, and tell how that ended."""
    rng = random.Random(f"{reader} {seed}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        out = folder / "out"
        out.mkdir()
        arguments = prepared(rng, READERS[reader], folder)
        signal.signal(signal.SIGALRM, _late)
        signal.alarm(LONGEST)
        try:
            code, told, complaint = run(arguments)
        except Late:
            return "late", " ".join(arguments)
        finally:
            signal.alarm(0)
        left = sorted(p.name for p in out.rglob("*") if p.suffix != ".sqlite")
        return outcome(code, told, complaint, left)


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
    if re.search(r"Traceback|\bnan\b(?!')", told):
        return "fault", f"tells nan: {told[:300]!r}"
    return names[code], ""


def prepared(rng: random.Random, reader: Reader, folder: Path) -> list[str]:
    """Write the damaged file and give the command line that reads it."""
    seed = rng.choice(reader.seeds)
    if seed == "WORDS":
        return ["drop", *_words(rng)]
    data = _seed(seed)
    other = _seed(rng.choice(rng.choice(list(READERS.values())).seeds))
    path = folder / ("hostile" + (Path(seed).suffix or ".sqlite"))
    path.write_bytes(damaged(rng, data, other))
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


def _words(rng: random.Random) -> list[str]:
    told = []
    for option, value in _WORDS[: rng.randint(3, len(_WORDS))]:
        data = value.encode()
        if rng.random() < 0.5:
            data = rng.choice((_bytes, _cut, _token, _number))(rng, data, b"5 kt")
        text = data.decode("utf-8", "replace").replace("\x00", "")
        told += [f"{option}={rng.choice(HOSTILE) if rng.random() < 0.2 else text}"]
    return [word.replace("\x00", "") for word in told]


def _seed(name: str) -> bytes:
    """Give the bytes of a whole file; a log and its export are made once."""
    if name not in _MADE:
        if name in {"LOG", "EXPORT"}:
            _make_log()
        elif name == "WORDS":
            _MADE[name] = b" ".join(value.encode() for _, value in _WORDS)
        else:
            _MADE[name] = (ROOT / name).read_bytes()
    return _MADE[name]


_MADE: dict[str, bytes] = {}


def _make_log() -> None:
    with tempfile.TemporaryDirectory() as folder:
        log, export = f"{folder}/log.sqlite", f"{folder}/log.jsonl"
        for _ in range(3):
            run(["log", "add", str(ROOT / "examples/outcome.toml"), "--log", log])
        run(["log", "export", "--out", export, "--log", log])
        _MADE["LOG"] = Path(log).read_bytes()
        _MADE["EXPORT"] = Path(export).read_bytes()


def _bounded() -> None:
    resource.setrlimit(
        resource.RLIMIT_AS, (2 * LARGEST, 2 * LARGEST)
    )  # 2 GiB, and code


def _batch(job: tuple[str, int, int]) -> tuple[str, Counter[str], list[str]]:
    reader, first, count = job
    counts: Counter[str] = Counter()
    faults = []
    for seed in range(first, first + count):
        ended, why = attempt(reader, seed)
        counts[ended] += 1
        if ended in {"fault", "late"}:
            faults.append(f"{reader}, seed {seed}: {ended}: {why.strip()[:300]}")
    return reader, counts, faults


def main() -> int:
    """Run a campaign and print what it found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("inputs", nargs="?", type=int, default=2000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--reader", choices=READERS)
    given = parser.parse_args()
    readers = [given.reader] if given.reader else list(READERS)
    share = -(-given.inputs // len(readers))
    jobs = [
        (reader, given.seed + first, min(25, share - first))
        for first in range(0, share, 25)
        for reader in readers
    ]
    totals: dict[str, Counter[str]] = {reader: Counter() for reader in readers}
    with ProcessPoolExecutor(given.workers, initializer=_bounded) as pool:
        for reader, counts, faults in pool.map(_batch, jobs):
            totals[reader] += counts
            for fault in faults:
                print(fault, file=sys.stderr, flush=True)
    kinds = ("read", "refused", "hold", "no-go", "fault", "late")
    print("| reader | inputs | " + " | ".join(kinds) + " |")
    print("| --- " * (len(kinds) + 2) + "|")
    for reader, counts in totals.items():
        cells = " | ".join(f"{counts[kind]:,}" for kind in kinds)
        print(f"| {reader} | {counts.total():,} | {cells} |")
    return int(any(c["fault"] + c["late"] for c in totals.values()))


if __name__ == "__main__":
    raise SystemExit(main())
