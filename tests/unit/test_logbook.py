"""The log: nothing is lost to a kill, to a second writer, to a full disk or to bad input."""

import hashlib
import json
import os
import random
import resource
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from shell import driftmap

from driftmap.cli.log import log_command
from driftmap.core.errors import InputError
from driftmap.logbook.entry import Content, Entry, canonical, new_entry
from driftmap.logbook.entry_bodies import unlike
from driftmap.logbook.exchange import export_text, read_export
from driftmap.logbook.store import _STEPS, VERSION, Log, default_path

ROOT = Path(__file__).parents[2]

WRITER = """
import sys
from driftmap.logbook.entry import new_entry
from driftmap.logbook.store import Log
with Log(sys.argv[1]) as log:
    for number in range(int(sys.argv[2])):
        entry = new_entry("outcome", {"notes": "x" * 3000, "number": number})
        log.append([entry])
        print(entry.id, flush=True)
"""


def exported(path):
    with Log(path) as log:
        return export_text(log)


def on_a_disk_of(size, *arguments):
    """Run the command in a process of its own that lets no file grow past a size."""

    def small_disk():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))

    code = "from driftmap.cli import main; main()"
    return subprocess.run(
        [sys.executable, "-B", "-c", code, *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=small_disk,
    )


OPEN = []


@pytest.fixture(autouse=True)
def closed():
    """Close what a test left open."""
    yield
    while OPEN:
        OPEN.pop().close()


def filled(path, count=3):
    """A log with an assessment, outcomes and a correction."""
    log = Log(path)
    OPEN.append(log)
    flight = Content("flight.toml", b"name = 'x'\n")
    picture = Content("odd.bin", b"\xff\xfe\x00")
    uses = {"flight": flight.digest, "wind": picture.digest}
    first = new_entry("assessment", {"verdict": "go", "ü": [1.5]}, contents=uses)
    log.append([first], [flight, picture])
    for number in range(count):
        log.append([new_entry("outcome", {"number": number}, about=first.id)])
    last = log.entries()[-1]
    fixed = new_entry("outcome", {"number": 99}, about=first.id, corrects=last.id)
    log.append([fixed])
    return log


def test_a_kill_at_any_moment_loses_nothing_that_was_told(tmp_path):
    path, luck, told = tmp_path / "log.sqlite", random.Random(1), []
    for _ in range(8):
        run = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path), "100000"], stdout=subprocess.PIPE
        )
        # Some are told, however slow the machine; how far the next is then, nobody knows.
        lines = [run.stdout.readline() for _ in range(luck.randint(3, 30))]
        time.sleep(luck.uniform(0.0, 0.01))
        os.kill(run.pid, signal.SIGKILL)
        lines += run.stdout.readlines()
        run.wait()
        run.stdout.close()
        told += [line.decode().strip() for line in lines if len(line) == 33]
    with Log(path) as log:
        assert log.faults() == []
        kept = {entry.id for entry in log.entries()}
    assert len(told) > 20
    assert set(told) <= kept


KILLED = """
import os, signal, sqlite3, sys
from pathlib import Path
from driftmap.logbook import store
from driftmap.logbook.exchange import read_export
path, number, text = sys.argv[1], int(sys.argv[2]), sys.argv[3]
plain, seen = sqlite3.connect, [0]
def traced(*arguments, **more):
    base = plain(*arguments, **more)
    def statement(sql):
        seen[0] += 1
        if seen[0] == number:
            os.kill(os.getpid(), signal.SIGKILL)
    base.set_trace_callback(statement)
    return base
store.sqlite3.connect = traced
with store.Log(path) as log:
    if text:
        log.append(*read_export(Path(text).read_text(), "x"))
"""


def killed(path, number, text=""):
    """Open a log, or import into it, and be killed as a statement begins; tell whether."""
    order = [sys.executable, "-c", KILLED, path, str(number), text]
    run = subprocess.run(order, check=False)
    assert run.returncode in {0, -signal.SIGKILL}
    return run.returncode != 0


def form_of(path):
    with closing(sqlite3.connect(path)) as base:
        return base.execute("PRAGMA user_version").fetchone()[0]


def test_a_kill_at_any_statement_of_an_import_adds_all_or_nothing(tmp_path):
    text = export_text(filled(tmp_path / "whole.sqlite"))
    (tmp_path / "x.jsonl").write_text(text)
    path = tmp_path / "log.sqlite"
    Log(path).close()
    empty, number, states = exported(path), 1, []
    while killed(str(path), number, str(tmp_path / "x.jsonl")):
        with Log(path) as log:
            assert log.faults() == []
            states.append(export_text(log))
        assert states[-1] in (empty, text)
        number += 3
    # Killed before, within and after: nothing until the commit, then all.
    assert number > 20
    assert states[0] == empty
    assert exported(path) == text


def test_a_kill_at_any_statement_of_a_migration_leaves_a_log(tmp_path):
    whole = filled(tmp_path / "whole.sqlite")
    want, number = export_text(whole), 1
    while True:
        path = tmp_path / f"old{number}.sqlite"
        old_form(path, whole)
        more = killed(str(path), number)
        with Log(path) as log:
            assert form_of(path) == VERSION
            assert log.faults() == []
            assert export_text(log) == want
        if not more:
            break
        number += 2
    assert number > 10


def test_two_writers_at_once_both_write_all(tmp_path):
    path = tmp_path / "log.sqlite"
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path), "40"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(2)
    ]
    out = [run.communicate() for run in runs]
    assert [run.returncode for run in runs] == [0, 0], out
    told = {line for text, _ in out for line in text.split()}
    with Log(path) as log:
        assert {entry.id for entry in log.entries()} == told
        assert len(told) == 80
        assert log.faults() == []


def test_a_full_disk_is_one_line_and_the_log_is_as_it_was(tmp_path):
    path = tmp_path / "log.sqlite"
    filled(path).close()
    before = exported(path)
    limit = path.stat().st_size + 40_000

    big = tmp_path / "big.toml"
    big.write_text(
        "".join(
            f'[[found]]\nat = [41.6, -117.9]\nstate = "{"x" * 900}"\n'
            for _ in range(200)
        )
    )
    run = on_a_disk_of(limit, "log", "add", big, "--log", path)
    assert run.returncode == 2
    assert run.stderr.count("\n") == 1
    assert "nothing was written" in run.stderr
    with Log(path) as log:
        assert log.faults() == []
        assert export_text(log) == before


@pytest.mark.parametrize("what", ["import", "backup", "export"])
def test_a_full_disk_leaves_nothing_half_done(tmp_path, what):
    with filled(tmp_path / "log.sqlite") as log:
        big = [new_entry("outcome", {"notes": "x" * 60_000}) for _ in range(8)]
        log.append(big)
        before = export_text(log)
    (tmp_path / "x.jsonl").write_text(before)
    there = {p.name for p in tmp_path.iterdir()}

    log, export = tmp_path / "log.sqlite", tmp_path / "x.jsonl"
    new, copy, out = (tmp_path / name for name in ("n.sqlite", "c.sqlite", "y.jsonl"))
    orders = {
        "import": ["import", export, "--log", new],
        "backup": ["backup", copy, "--log", log],
        "export": ["export", "--out", out, "--log", log],
    }
    run = on_a_disk_of(100_000, "log", *orders[what])
    assert run.returncode == 2, run.stdout + run.stderr
    assert run.stderr.count("\n") == 1
    assert "Traceback" not in run.stderr
    assert not copy.exists()
    assert not out.exists()
    left = {p.name for p in tmp_path.iterdir()} - there - {"n.sqlite"}
    assert not [name for name in left if not name.endswith(("-wal", "-shm"))]
    assert exported(log) == before
    if what == "import":
        with Log(new) as made:
            assert made.entries() == []


def test_a_disk_that_is_really_full(tmp_path):
    """A file system of 256 kB, where one can be mounted."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(disk)]
    if subprocess.run(mount, capture_output=True, check=False).returncode != 0:
        pytest.skip("no file system can be mounted here")
    try:
        path = disk / "log.sqlite"
        with filled(path) as log:
            before = export_text(log)
        big = tmp_path / "big.toml"
        find = f'[[found]]\nat = [41.6, -117.9]\nstate = "{"x" * 900}"\n'
        big.write_text(find * 300)
        run = driftmap("log", "add", big, "--log", path)
        assert run.returncode == 2
        assert "full" in run.stderr
        assert "nothing was written" in run.stderr
        with Log(path) as log:
            assert log.faults() == []
            assert export_text(log) == before
        there = set(disk.iterdir())
        with filled(tmp_path / "large.sqlite") as log:
            log.append([new_entry("outcome", {"notes": "x" * 400_000})])
        for order in (["backup", disk / "b"], ["export", "--out", disk / "e"]):
            run = driftmap("log", *order, "--log", tmp_path / "large.sqlite")
            assert (run.returncode, run.stderr.count("\n")) == (2, 1)
            assert str(order[-1]) in run.stderr
            assert set(disk.iterdir()) == there
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def test_sqlite_itself_says_full(tmp_path):
    log = filled(tmp_path / "log.sqlite")
    pages = log._base.execute("PRAGMA page_count").fetchone()[0]
    log._base.execute(f"PRAGMA max_page_count = {pages + 1}")
    before = [entry.id for entry in log.entries()]
    with pytest.raises(InputError, match="disk is full; nothing was written"):
        log.append([new_entry("outcome", {"notes": "x" * 100_000})])
    assert [entry.id for entry in log.entries()] == before


def test_a_locked_log_is_told(tmp_path):
    path = tmp_path / "log.sqlite"
    filled(path).close()
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with (
        Log(path, wait=0.05) as log,
        pytest.raises(InputError, match="in use by another"),
    ):
        log.append([new_entry("outcome", {})])
    other.execute("ROLLBACK")
    other.close()


def test_a_log_that_another_program_holds_for_itself_is_told(tmp_path):
    path = tmp_path / "log.sqlite"
    filled(path).close()
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("PRAGMA locking_mode = EXCLUSIVE")
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(InputError, match="in use by another"):
        Log(path, wait=0.05)
    other.close()


@pytest.mark.parametrize("size", [0, 10, 100, 5000, -1000])
def test_a_log_cut_short_is_told_and_left(tmp_path, size):
    path = tmp_path / "log.sqlite"
    filled(path, 40).close()
    data = path.read_bytes()[:size]
    path.write_bytes(data)
    run = driftmap("log", "list", "--log", path)
    assert run.returncode == 2
    assert run.stderr.count("\n") == 1
    assert "Traceback" not in run.stderr
    assert {0: "is empty", 10: "cut short"}.get(size, "damaged") in run.stderr
    assert path.read_bytes() == data


@pytest.mark.parametrize("body", ['{"num":1e999}', '{"numbe":NaN}'])
def test_a_number_beyond_all_numbers_is_told_as_damage(tmp_path, body):
    path = tmp_path / "log.sqlite"
    filled(path).close()
    assert path.read_bytes().count(b'{"number":99}') == 1
    path.write_bytes(path.read_bytes().replace(b'{"number":99}', body.encode()))
    for words in (("list",), ("export", "--out", tmp_path / "log.jsonl")):
        run = driftmap("log", *words, "--log", path)
        assert (run.returncode, run.stderr.count("\n")) == (2, 1), run.stderr
        assert "is damaged" in run.stderr
    assert not (tmp_path / "log.jsonl").exists()


def test_an_index_damaged_on_the_disk_is_told(tmp_path):
    path = tmp_path / "log.sqlite"
    filled(path, 40).close()
    base = sqlite3.connect(path)
    base.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    (page,) = base.execute(
        "SELECT rootpage FROM sqlite_master WHERE name = 'sqlite_autoindex_entry_1'"
    ).fetchone()
    (size,) = base.execute("PRAGMA page_size").fetchone()
    base.close()
    data = bytearray(path.read_bytes())
    data[page * size - 20 : page * size] = bytes(20)  # the first cells of the page
    path.write_bytes(data)
    with pytest.raises(InputError, match=r"is damaged .*missing from index"):
        Log(path)


def test_a_log_that_is_not_there_is_told_and_not_made(tmp_path):
    with pytest.raises(InputError, match="is not there; nothing was logged yet"):
        Log(tmp_path / "log.sqlite", create=False)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("kind", ["text", "sqlite", "newer", "folder"])
def test_what_is_no_log_of_ours_is_left_as_it_is(tmp_path, kind):
    path = tmp_path / "log.sqlite"
    if kind == "text":
        path.write_text("a letter to my aunt, longer than a head")
    elif kind == "folder":
        path.mkdir()
    elif kind == "sqlite":
        other = sqlite3.connect(path)
        other.execute("CREATE TABLE aunt (letter TEXT)")
        other.close()
    else:
        filled(path).close()
        other = sqlite3.connect(path, isolation_level=None)
        other.execute(f"PRAGMA user_version = {VERSION + 1}")
        other.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        other.close()
    before = path.read_bytes() if path.is_file() else b""
    run = driftmap("log", "add", ROOT / "examples" / "outcome.toml", "--log", path)
    assert run.returncode == 2
    assert run.stderr.count("\n") == 1
    assert {
        "text": "no driftmap log",
        "sqlite": "no driftmap log",
        "newer": "newer driftmap",
        "folder": "a directory",
    }[kind] in run.stderr.replace("is a directory.", "a directory")
    assert (path.read_bytes() if path.is_file() else b"") == before


def old_form(path, whole):
    """Write a log in its first form."""
    old = sqlite3.connect(path)
    for statement in _STEPS[0]:
        old.execute(statement)
    old.execute("PRAGMA application_id = 0x64724C67")
    old.execute("PRAGMA user_version = 1")
    for table in ("content", "entry", "uses"):
        rows = whole._base.execute(f"SELECT * FROM {table}").fetchall()
        old.executemany(
            f"INSERT INTO {table} VALUES ({','.join('?' * len(rows[0]))})", rows
        )
    old.commit()
    old.close()


def test_an_older_log_is_brought_up_to_date_and_keeps_all(tmp_path):
    path = tmp_path / "log.sqlite"
    whole = filled(tmp_path / "whole.sqlite")
    old_form(path, whole)
    with Log(path) as log:
        assert form_of(path) == VERSION
        assert export_text(log) == export_text(whole)
        assert log.faults() == []


def test_rows_can_be_neither_changed_nor_taken_out(tmp_path):
    log = filled(tmp_path / "log.sqlite")
    for order in (
        "UPDATE entry SET body = '{}'",
        "DELETE FROM entry",
        "DELETE FROM content",
    ):
        with pytest.raises(sqlite3.IntegrityError, match="only grows"):
            log._base.execute(order)


def test_a_row_changed_behind_our_back_is_found(tmp_path):
    path = tmp_path / "log.sqlite"
    filled(path).close()
    other = sqlite3.connect(path)
    other.execute("DROP TRIGGER entry_update")
    other.execute('UPDATE entry SET body = \'{"verdict":"no-go"}\' WHERE number = 1')
    other.commit()
    other.close()
    run = driftmap("log", "check", "--log", path)
    assert run.returncode == 2
    assert "was changed after it was written" in run.stderr


def test_a_correction_takes_the_place_and_the_old_one_stays(tmp_path):
    log = filled(tmp_path / "log.sqlite")
    assert [e.body.get("number") for e in log.entries()] == [None, 0, 1, 2, 99]
    assert [e.body.get("number") for e in log.current()] == [None, 0, 1, 99]


def test_a_round_trip_gives_the_same_bytes(tmp_path):
    log = filled(tmp_path / "log.sqlite")
    text = export_text(log)
    with Log(tmp_path / "other.sqlite") as other:
        assert other.append(*read_export(text, "x")) == 5
        assert export_text(other) == text
        assert other.append(*read_export(text, "x")) == 0
        assert export_text(other) == text


HARM = {
    "cut": (lambda lines: lines[:-2], "is cut short"),
    "an entry changed": ((3, '"go"', '"no-go"'), "entry was changed after"),
    "an entry with more": (
        (3, '"kind":', '"more":1,"kind":'),
        "an entry has about, at",
    ),
    "a content changed": ((1, "name = 'x'", "name = 'y'"), "content was changed after"),
    "no base64": ((2, '"base64":"', '"base64":"!'), "line 3: cannot be read"),
    "foreign": (lambda _: ['{"type":"FeatureCollection"}'], "is no export of a"),
    "a row of another form": (
        lambda lines: [lines[0], "[]", *lines[1:]],
        "line 2: must be an object",
    ),
    "newer": (
        (0, f'"version":{VERSION}', f'"version":{VERSION + 1}'),
        "by a newer driftmap",
    ),
    # The assessment that the outcomes speak of is missing.
    "loose": (
        lambda lines: [*lines[:3], *lines[4:-1], json.dumps({"lines": len(lines) - 2})],
        "not there",
    ),
}


@pytest.mark.parametrize(("harm", "told"), HARM.values(), ids=HARM)
def test_a_harmed_export_adds_nothing(tmp_path, harm, told):
    lines = export_text(filled(tmp_path / "log.sqlite")).splitlines()
    if callable(harm):
        lines = harm(lines)
    else:
        row, old, new = harm
        assert sum(old in line for line in lines[row : row + 1]) == 1
        lines[row] = lines[row].replace(old, new)
    with Log(tmp_path / "other.sqlite") as other:
        with pytest.raises(InputError, match=told):
            other.append(*read_export("\n".join(lines), "export.jsonl"))
        assert other.entries() == []
        assert other.contents() == []


@pytest.mark.parametrize(
    ("kind", "more", "told"),
    [
        ("outcome", {"body": {"found": [{"piece": "rocket"}]}}, "KeyError: 'at'"),
        ("outcome", {"body": {"found": 3}}, "not iterable"),
        ("outcome", {"body": {"found": [{"at": [1, 2], "piece": 3}]}}, "piece must be"),
        (
            "assessment",
            {"body": {"forecast": [{"case": 3, "cause": "x", "probability": 1}]}},
            "a name and a cause",
        ),
        ("outcome", {"body": {}, "id": 7}, "'id' must be text"),
        ("assessment", {"body": {"forecast": [{"case": "x"}]}}, "probability"),
        ("assessment", {"body": {"when": "yesterday"}}, "yesterday"),
        *(
            ("assessment", {"body": {"when": when}}, "year of when must lie from 1970")
            for when in ("0001-01-01T00:00", "9999-12-31T23:59-12:00")
        ),
        ("assessment", {"body": {"wind_10_m": {"from_rad": 1.0}}}, "'speed_mps'"),
        *(
            (
                "assessment",
                {"body": {"wind_10_m": {"speed_mps": speed}}},
                "speed_mps must",
            )
            for speed in (-5, 1e300, "nan", True, None)
        ),
        *(
            ("assessment", {"body": {"checks": checks}}, "")
            for checks in (
                [{}],
                "x",
                None,
                [{"kind": "wind warned", "outcome": "warn"}],
            )
        ),
        ("assessment", {"body": {"wind_kinds": "words"}}, "wind_kinds must be a list"),
        (
            "outcome",
            {"body": {"found": [{"at": [-91, 0], "piece": "rocket"}]}},
            "latitude of found",
        ),
        ("assessment", {"body": {"likelihoods": {"x": "nan"}}}, "likelihood must"),
        *(
            (
                "assessment",
                {
                    "body": {
                        "forecast": [
                            {
                                "case": "x",
                                "cause": "x",
                                "probability": 1,
                                "pieces": {"rocket": none},
                            }
                        ]
                    }
                },
                "a list of landings",
            )
            for none in ({}, [], 3)
        ),
        (
            "outcome",
            {"body": {"found": [{"at": [1, 2], "piece": "rocket", "error_m": "5"}]}},
            "error_m must",
        ),
        ("outcome", {"body": {"case": ["x"]}}, "case must be text"),
        ("guess", {"body": {}}, "is no kind"),
        ("outcome", {"body": {}, "at": "noon"}, "noon"),
        ("outcome", {"body": {}, "corrects": "a" * 32, "id": "a" * 32}, "itself"),
        ("outcome", {"body": {}, "corrects": "b" * 32}, "not there"),
    ],
)
def test_an_export_by_another_hand_is_one_line(tmp_path, kind, more, told):
    """Its digests fit, yet what it says could not be read later."""
    plain = {**new_entry(kind, {}).plain, **more}
    entry = Entry(**plain)
    with Log(tmp_path / "log.sqlite") as log:
        lines = export_text(log).splitlines()[:1]
        lines.append(canonical({"entry": entry.plain, "digest": entry.digest}))
        lines.append(canonical({"lines": 2}))
        with pytest.raises(InputError) as problem:
            log.append(*read_export("\n".join(lines) + "\n", "x.jsonl"))
        assert told in str(problem.value)
        assert "\n" not in str(problem.value)
        assert log.entries() == []


def test_a_backup_while_another_writes_is_whole(tmp_path):
    path = tmp_path / "log.sqlite"
    filled(path).close()
    run = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path), "60"], stdout=subprocess.PIPE
    )
    run.stdout.readline()
    with Log(path) as log:
        for number in range(5):
            log.backup(tmp_path / f"copy{number}.sqlite")
    run.communicate()
    for number in range(5):
        with Log(tmp_path / f"copy{number}.sqlite", create=False) as copy:
            assert copy.faults() == []
            assert len(copy.entries()) >= 5
    with Log(path) as log, pytest.raises(InputError, match="there already"):
        log.backup(tmp_path / "copy0.sqlite")


@pytest.mark.usefixtures("no_map")
def test_assess_and_outcome_from_the_shell(tmp_path):
    path = tmp_path / "log.sqlite"
    run = driftmap(
        *("assess", ROOT / "examples" / "willet.toml", "--samples", 500),
        *("--site", ROOT / "sites" / "saltgrass-flat.geojson", "--log", path),
        *("--wind", "6 mph from 230", "--wind", "8 mph from 240"),
        *("--out", tmp_path / "out"),
    )
    assert run.returncode in (0, 3, 4), run.stderr
    with Log(path) as log:
        (first,) = log.entries()
        contents = {c.digest: c.data for c in log.contents()}
    flight = (ROOT / "examples" / "willet.toml").read_bytes()
    assert first.contents["flight"] == hashlib.sha256(flight).hexdigest()
    assert contents[first.contents["flight"]] == flight
    assert contents[first.contents["wind 2"]] == b"8 mph from 240"
    outcome = ROOT / "examples" / "outcome.toml"
    run = driftmap(
        "log",
        "add",
        outcome,
        "--about",
        first.id[:6],
        "--log",
        path,
        "--photo",
        outcome,
    )
    assert run.returncode == 0, run.stderr
    new = run.stdout.split()[1]
    run = driftmap("log", "correct", new, outcome, "--log", path)
    assert run.returncode == 0, run.stderr
    run = driftmap("log", "list", "--log", path)
    assert run.stdout.count("\n") == 2
    assert "corrects" in run.stdout
    assert driftmap("log", "correct", first.id, outcome, "--log", path).returncode == 2
    run = driftmap("log", "add", outcome, "--about", "0000", "--log", path)
    assert run.returncode == 2
    assert "no entry" in run.stderr


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("flown = true", "accepted: decided_by"),
        ("flew = 1", "true or false"),
        ("notes = 3", "must be text"),
        ("found = 3", "written [[found]]"),
        ("[[found]]\nat = [141.0, 3.0]", "[latitude, longitude]"),
        ('[[found]]\nat = [41.0, 3.0]\nerror = "5 s"', "no unit of length"),
        ('[[found]]\nat = [41.0, 3.0]\nerror = "-5 m"', "accepted is 0.1 to 5,000 m"),
        ('time = "25:99"', "a date and time with its zone"),
        ('time = "2026-06-13T12:15"', "a date and time with its zone"),
        ("[[found]]\nat = [41.0, 3.0]\nstate = 3", "piece and state must be text"),
        ("[[found]]\nat = [41.0, 3.0]\npeice = 'fin'", "must have only piece"),
    ],
)
def test_a_bad_outcome_is_one_line_and_makes_no_log(tmp_path, text, told):
    file = tmp_path / "o.toml"
    file.write_text(text)
    run = driftmap("log", "add", file, "--log", tmp_path / "log.sqlite")
    assert run.returncode == 2
    assert told in run.stderr
    assert not (tmp_path / "log.sqlite").exists()


def test_an_export_takes_the_place_of_an_export_alone(tmp_path):
    """A whole season's log was gone where somebody took --out for the log."""
    log, other = tmp_path / "log.sqlite", tmp_path / "other.sqlite"
    for path in (log, other):
        filled(path).close()
    mine = ["export", "--log", str(log), "--out"]
    for there in (log, other):
        before = there.read_bytes()
        run = CliRunner().invoke(log_command, [*mine, str(there)])
        assert isinstance(run.exception, InputError)
        assert "is no export of a log" in str(run.exception)
        assert there.read_bytes() == before
    for _ in range(2):
        run = CliRunner().invoke(log_command, [*mine, str(tmp_path / "log.jsonl")])
        assert run.exit_code == 0, run.output


def of_an_assessment(**more):
    body = {
        "place": [41.6, -117.95],
        "forecast": [
            {
                "case": "early opening, torn",
                "cause": "early opening",
                "probability": 0.005,
                "pieces": {},
            }
        ],
        "likelihoods": {"early opening": 0.005, "canopy tangles": 0.015},
        "devices": ["drogue", "main"],
        "flight": "Willet 54",
        "when": "2026-06-13T08:30-07:00",
    }
    return new_entry("assessment", body | more)


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ({"case": "canopy tangels"}, "did you mean 'canopy tangles'?"),
        ({"device": "mian"}, "did you mean 'main'?"),
        ({"case": "early opening, torn", "device": "drogue"}, None),
        ({"case": "early opening"}, None),
        ({}, None),
        ({"flight": "Whimbrel 98"}, "it is of 'Whimbrel 98'"),
        ({"flight": "Willet 54", "time": "2026-06-13T12:15-07:00"}, None),
        ({"time": "2026-09-01T12:15-07:00"}, "it flew at 2026-09-01"),
    ],
)
def test_what_no_review_can_use_of_an_outcome_is_told(body, told):
    said = unlike({"found": [], **body}, of_an_assessment(), "o.toml")
    assert [told in text for text in said] == [True] * (told is not None)


def test_a_find_that_cannot_belong_to_the_flight_is_refused():
    """Latitude and longitude turned about are a place of their own in much of the world."""
    near, far = (
        {"piece": "rocket", "at": at} for at in ([48.11, 11.52], [11.52, 48.11])
    )
    assessed = of_an_assessment(place=[48.1, 11.5])
    assert unlike({"found": [near]}, assessed, "o.toml") == []
    with pytest.raises(
        InputError, match=r"o\.toml: found 2, at: lies .* km from the pad"
    ):
        unlike({"found": [near, far]}, assessed, "o.toml")


def test_a_find_beyond_all_that_was_foretold_or_of_no_flight_is_told():
    landings = [{"case": "c", "pieces": {"rocket": [[300.0, 400.0]]}}]
    assessed = of_an_assessment(place=[48.1, 11.5], forecast=landings)
    near, far = (
        {"piece": "rocket", "at": at} for at in ([48.105, 11.5], [48.11, 11.52])
    )
    assert unlike({"found": [near]}, assessed, "o.toml") == []
    (said,) = unlike({"found": [far]}, assessed, "o.toml")
    assert "found 1 lies 1.9 km from the pad" in said
    (said,) = unlike({"found": [{**near, "piece": "wing"}]}, assessed, "o.toml")
    assert "no piece of that flight is 'wing'" in said
    (said,) = unlike({"found": [near], "flew": False}, assessed, "o.toml")
    assert "counts for no landing" in said


def test_an_outcome_belongs_to_an_assessment_alone():
    with pytest.raises(InputError, match="is no assessment"):
        unlike({"found": []}, new_entry("outcome", {"found": []}), "o.toml")


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("outcome", {"found": True}),
        ("outcome", {"found": [{"at": [41.0, 3.0]}]}),
        ("assessment", {"place": 3.0}),
        ("assessment", {"likelihoods": [0.1]}),
        ("assessment", {"when": 3}),
    ],
)
def test_an_entry_that_nobody_could_read_is_not_written(tmp_path, kind, body):
    entry = new_entry(kind, body)
    with Log(tmp_path / "log.sqlite") as log:
        with pytest.raises(InputError, match=f"entry {entry.id[:8]}: is no {kind} as"):
            log.append([new_entry("outcome", {}), entry])
        assert log.entries() == []


@pytest.mark.parametrize("harm", ["cut", "loose", "kind"])
def test_a_harmed_export_makes_no_log(tmp_path, harm):
    text = export_text(filled(tmp_path / "log.sqlite"))
    if harm == "cut":
        text = text[:900]
    else:
        said = {"corrects": "b" * 32} if harm == "loose" else {"kind": "guess"}
        entry = replace(new_entry("outcome", {}), **said)
        lines = [*text.splitlines()[:-1]]
        lines.append(canonical({"entry": entry.plain, "digest": entry.digest}))
        lines.append(canonical({"lines": len(lines)}))
        text = "\n".join(lines) + "\n"
    (tmp_path / "cut.jsonl").write_text(text)
    more = [
        "import",
        str(tmp_path / "cut.jsonl"),
        "--log",
        str(tmp_path / "new.sqlite"),
    ]
    run = CliRunner().invoke(log_command, more)
    assert isinstance(run.exception, InputError)
    assert "cut.jsonl" in str(run.exception)
    assert not (tmp_path / "new.sqlite").exists()


def test_an_outcome_can_be_tied_to_what_was_assessed_last(tmp_path):
    path, outcome = tmp_path / "log.sqlite", ROOT / "examples" / "outcome.toml"
    order = ["add", str(outcome), "--about", "last", "--log", str(path)]
    with Log(path) as log:
        told = CliRunner().invoke(log_command, order).exception
        assert "holds no assessment yet" in str(told)
        assessed = [of_an_assessment(), of_an_assessment()]
        log.append(assessed)
        told = CliRunner().invoke(log_command, order)
        assert told.exception is None
        assert "tied to no" not in told.output
        assert log.entries()[-1].about == assessed[-1].id


def test_a_log_that_cannot_be_written_to_is_told_before_anything_is_flown(tmp_path):
    letter = tmp_path / "log.sqlite"
    letter.write_text("a letter to my aunt")
    order = ["assess", str(ROOT / "examples" / "willet.toml"), "--log", str(letter)]
    order += ["--site", str(ROOT / "sites" / "saltgrass-flat.geojson")]
    run = driftmap(*order, "--wind", "6 mph from 230", "--out", tmp_path / "out")
    assert run.returncode == 2
    assert "is no driftmap log" in run.stderr
    assert run.stderr.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_an_outcome_tied_to_no_assessment_says_so_and_can_be_tied(tmp_path):
    path = tmp_path / "log.sqlite"
    (tmp_path / "outcome.toml").write_text('case = "recovery works"')

    def run(*args):
        told = CliRunner().invoke(log_command, [*map(str, args), "--log", str(path)])
        assert told.exception is None
        return told.output

    told = run("add", tmp_path / "outcome.toml")
    assert "tied to no assessment" in told
    assert "--about" not in told  # nothing was assessed yet
    with Log(path) as log:
        assessed = new_entry("assessment", {"flight": "Willet", "verdict": "go"})
        log.append([assessed])
    told = run("add", tmp_path / "outcome.toml")
    new = told.split()[1]
    assert f"{assessed.id[:8]}" in told
    assert f"log correct {new} " in told
    assert told.strip().endswith(f"--about {assessed.id[:8]}")
    told = run("correct", new, tmp_path / "outcome.toml", "--about", assessed.id[:8])
    assert "tied" not in told
    told = run("correct", told.split()[1].strip(","), tmp_path / "outcome.toml")
    assert "tied" not in told
    with Log(path) as log:
        assert [e.about for e in log.current()] == [None, None, assessed.id]
        first = log.current()[0].id[:8]
    told = run("correct", first, tmp_path / "outcome.toml", "--about", assessed.id[:8])
    assert (
        "has an outcome already" in told
    )  # a correction that ties is no other than that


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="asks of Linux")
def test_the_log_lies_in_the_users_data(monkeypatch, tmp_path):
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.delenv("XDG_DATA_HOME", raising=False)
    here = tmp_path / ".local" / "share" / "driftmap" / "log.sqlite"
    assert default_path() == here
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    assert default_path() == tmp_path / "data" / "driftmap" / "log.sqlite"
