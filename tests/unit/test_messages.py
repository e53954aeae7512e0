"""Messages: one line, an end, and nothing that steers a terminal."""

import subprocess
import sys

import pytest

from driftmap.errors import InputError, one_line, quoted, visible
from driftmap.units import parse

EVIL = "\x1b[2J\x1b[31mGO\x9b5m\u202e\r\x07"


def _run(*arguments, cwd=None):
    code = "from driftmap.cli import main; main()"
    return subprocess.run(
        [sys.executable, "-c", code, *arguments],
        capture_output=True,
        check=False,
        cwd=cwd,
    )


def _steers(raw):
    text = raw.decode("utf-8")
    return any(visible(c, keep="\n\t") != c for c in text)


@pytest.mark.parametrize(
    "arguments",
    [
        ["winds", EVIL, "--site-elevation", "0"],
        ["winds", f"{EVIL}.csv", "--site-elevation", "0"],
        ["winds", "calm", "--site-elevation", EVIL],
        ["winds", "calm", "--site", EVIL],
        ["winds", "calm", "--site-elevation", "0", "--when", EVIL],
        [EVIL],
        ["assess", EVIL, "--site", EVIL, "--wind", EVIL],
        ["drop", "--from", EVIL, "--mass", "1", "--drag-area", "1", "--wind", "calm"],
        ["cases", f"{EVIL}.toml"],
    ],
)
def test_nothing_typed_steers_the_terminal(arguments, tmp_path):
    run = _run(*arguments, cwd=tmp_path)
    assert run.returncode == 2
    assert len(run.stderr.decode().splitlines()) == 1
    assert not _steers(run.stderr + run.stdout)


def test_no_name_or_key_in_a_file_steers_the_terminal(tmp_path):
    name = "evil\x1b[2J\x1b[31mGO.csv"
    (tmp_path / name).write_text("height_m,from_deg,speed_mps\n2,240,4\n")
    run = _run("winds", name, "--site-elevation", "0", cwd=tmp_path)
    assert run.returncode == 0
    assert not _steers(run.stdout + run.stderr)
    assert b"GO.csv" in run.stdout
    (tmp_path / "f.toml").write_text('name = "x"\n"\\u001b[2JGO" = 1\n')
    run = _run("cases", "f.toml", cwd=tmp_path)
    assert run.returncode == 2
    assert not _steers(run.stdout + run.stderr)


@pytest.mark.parametrize("length", [2_000, 100_000])
def test_no_message_is_without_end(length, tmp_path):
    long = "x" * length
    for arguments in (
        ["winds", long, "--site-elevation", "0"],
        ["winds", "calm", "--site-elevation", f"{long} ft"],
        ["winds", "calm", "--site-elevation", "0", "--when", long],
        ["cases", long],
        [long],
    ):
        run = _run(*arguments, cwd=tmp_path)
        assert run.returncode == 2
        assert len(run.stderr.decode()) < 600
    for source, where, problem in (
        (long, long, long),
        ("a", "b", f"'{long}' is no wind; accepted is calm"),
    ):
        assert len(str(InputError(source, where, problem))) <= 510
    assert str(InputError("a", "b", f"'{long}' is no wind; accepted is calm")).endswith(
        "is no wind; accepted is calm"
    )


def test_a_short_message_is_left_as_it_is():
    text = "wind.csv: line 3: speed_mps 'x'; accepted is a finite number"
    assert one_line(text) == text
    assert one_line("two\nlines") == "two lines"


@pytest.mark.parametrize(
    "value", [10**400, -(10**400), 10**5000, "9" * 400, "1e999"], ids=range(5)
)
def test_huge_numbers_are_no_quantities(value):
    with pytest.raises(ValueError, match="must be a finite length") as caught:
        parse(value, "length")
    assert len(str(caught.value)) < 200


def test_what_is_quoted_is_cut():
    assert quoted("short") == "'short'"
    assert len(quoted("x" * 10_000)) <= 121
    assert quoted(12) == "12"
