"""Messages: one line, an end, and nothing that steers a terminal."""

import io
import json
import subprocess
import sys
from pathlib import Path

import pytest
from shell import driftmap

from driftmap.cli.output import Plain, json_text
from driftmap.core.errors import InputError, one_line, quoted, visible
from driftmap.core.files import parse_json, parse_toml
from driftmap.core.units import parse
from driftmap.rocket.flightfile import read_flight

EXAMPLE = Path(__file__).parents[2] / "examples" / "dunlin.toml"
EVIL = "\x1b[2J\x1b[31mGO\x9b5m\u202e\r\x07"


def _steers(text):
    return any(visible(c, keep="\n\t") != c for c in text)


@pytest.mark.parametrize(
    "arguments",
    [
        ["winds", EVIL, "--site-elevation", "0 m"],
        ["winds", f"{EVIL}.csv", "--site-elevation", "0 m"],
        ["winds", "calm", "--site-elevation", EVIL],
        ["winds", "calm", "--site", EVIL],
        ["winds", "calm", "--site-elevation", "0 m", "--when", EVIL],
        [EVIL],
        ["assess", EVIL, "--site", EVIL, "--wind", EVIL],
        ["drop", "--from", EVIL, "--mass", "1", "--drag-area", "1", "--wind", "calm"],
        ["cases", f"{EVIL}.toml"],
    ],
)
def test_nothing_typed_steers_the_terminal(arguments, tmp_path):
    run = driftmap(*arguments, cwd=tmp_path)
    assert run.returncode == 2
    assert len(run.stderr.splitlines()) == 1
    assert not _steers(run.stderr + run.stdout)


def test_no_name_or_key_in_a_file_steers_the_terminal(tmp_path):
    name = "evil\x1b[2J\x1b[31mGO.csv"
    (tmp_path / name).write_text("height_m,from_deg,speed_mps\n2,240,4\n")
    run = driftmap("winds", name, "--site-elevation", "0 m", cwd=tmp_path)
    assert run.returncode == 0
    assert not _steers(run.stdout + run.stderr)
    assert "GO.csv" in run.stdout
    (tmp_path / "f.toml").write_text('name = "x"\n"\\u001b[2JGO" = 1\n')
    run = driftmap("cases", "f.toml", cwd=tmp_path)
    assert run.returncode == 2
    assert not _steers(run.stdout + run.stderr)


@pytest.mark.parametrize("length", [2_000, 100_000])
def test_no_message_is_without_end(length, tmp_path):
    long = "x" * length
    for arguments in (
        ["winds", long, "--site-elevation", "0 m"],
        ["winds", "calm", "--site-elevation", f"{long} ft"],
        ["winds", "calm", "--site-elevation", "0 m", "--when", long],
        ["cases", long],
        [long],
    ):
        run = driftmap(*arguments, cwd=tmp_path)
        assert run.returncode == 2
        assert len(run.stderr) < 600
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


@pytest.mark.parametrize(
    "text", ["0,250 km", "0,500 m", "1,852 km", "1,250 nmi", "1,5 m", "40.000 m"]
)
def test_what_may_be_a_decimal_comma_is_no_thousands(text):
    with pytest.raises(ValueError, match="decimal"):
        parse(text, "length")
    assert parse("1,500 ft", "length") == pytest.approx(457.2)


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("1.000 m", "write 1 m or 1000 m"),
        ("1,852 km", "write 1.852 km or 1852 km"),
        ("1,852.5 km", "write 1852.5 km"),
    ],
)
def test_what_may_be_either_is_told_as_both_would_be_written(text, written):
    with pytest.raises(ValueError, match=f"{written}$"):
        parse(text, "length")
    for other in written.removeprefix("write ").split(" or "):
        assert parse(other, "length") > 0


@pytest.mark.parametrize("text", ["-7 h", "-07:00", "5 %"])
def test_a_plain_number_says_what_it_takes_not(text):
    with pytest.raises(ValueError, match="behind its number; write a plain number"):
        parse(text, "number")


def test_what_stands_between_two_quotes_is_kept():
    text = f"feature 1 ('Pads'), role: must be one of {', '.join('abcdefgh' * 6)} (got 'x')"
    assert one_line(text) == text
    long = "y" * 300
    for told in (f"'{long}' is no wind", f"got '{long}'", f"('{long}')", f'"{long}" x'):
        assert len(one_line(told)) < 140


def test_what_is_quoted_is_cut():
    assert quoted("short") == "'short'"
    assert len(quoted("x" * 10_000)) <= 121
    assert quoted(12) == "12"


@pytest.mark.parametrize("number", ["nan", "inf", "-inf", "1e400", "1e16", "9" * 400])
def test_no_file_holds_a_number_beyond_any_use(number):
    with pytest.raises(InputError, match="f: piece 1, mass: must be a finite number"):
        parse_toml(f'[[piece]]\nname = "fin"\nmass = {number}\n', "f")
    plain = {"nan": "NaN", "inf": "Infinity", "-inf": "-Infinity"}.get(number, number)
    with pytest.raises(InputError, match="f: a 2, b: must be a finite number"):
        parse_json(f'{{"a": [1, {{"b": {plain}}}]}}', "f")


def test_an_integer_longer_than_python_reads_is_told_by_its_line():
    with pytest.raises(InputError, match=r"^f: line 2: holds a number of over 300"):
        parse_toml(f"a = 1\nb = {'9' * 5000}\n", "f")


@pytest.mark.parametrize("deep", ["[" * 100_000, '{"a":' * 100_000])
def test_what_is_nested_without_end_is_refused(deep):
    with pytest.raises(InputError, match=r"nested too deeply|is not"):
        parse_json(deep, "f")
    with pytest.raises(InputError, match=r"nested too deeply|is not"):
        parse_toml(f"a = {deep}", "f")


@pytest.mark.parametrize("mark", [0x202A, 0x202E, 0x2067])
def test_text_that_does_not_read_as_it_stands_is_refused(mark):
    for read, body in (
        (parse_json, f'{{"a": [{{"name": "calm \\u{mark:04x} og"}}]}}'),
        (parse_json, f'{{"na\\u{mark:04x}me": 1}}'),
        (parse_toml, f'name = "calm {chr(mark)} og"'),
    ):
        with pytest.raises(InputError, match="turns text about") as caught:
            read(body, "f")
        assert chr(mark) not in visible(str(caught.value))
    assert parse_toml('name = "\u05d0\u05d1 \u2068Dunlin\u2069 \u200f7"', "f")


def _mistakes(tmp_path, *changes):
    text = EXAMPLE.read_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    file = tmp_path / "f.toml"
    file.write_text(text)
    with pytest.raises(InputError) as caught:
        read_flight(file)
    return str(caught.value).removeprefix(f"{file}: ")


def test_every_mistake_of_a_flight_is_told_by_the_name_of_its_row(tmp_path):
    told = _mistakes(
        tmp_path,
        ("count = 3", "cuont = 3"),
        ('mass = "45 g"', 'mass = "45 furlongs"'),
        ('angle = "3 deg"', 'angle = "60 deg"'),
    )
    assert "piece 1 (fin), cuont: is not a key here; did you mean 'count'?" in told
    assert "piece 2 (motor case), mass: '45 furlongs' has no unit of mass" in told
    assert "rail.angle: must lie from 0 to 45 deg (got '60 deg')" in told
    assert "more]" not in told


def test_what_does_not_fit_a_line_is_counted(tmp_path):
    many = "".join(f'key_{i:02d}_that_no_one_knows = "x"\n' for i in range(30))
    told = _mistakes(tmp_path, ("[airframe]\n", f"[airframe]\n{many}"))
    assert len(told) < 500
    assert told.endswith("more]")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--square", "1e300 m"], "--square: '1e300 m' is out of bounds"),
        (["--square", "1 mm"], "accepted is 0.1 to 10,000 m"),
        (["--floor", "1e300"], "--floor: '1e300' is out of bounds"),
        (["--precision", "0"], "--precision: '0' is out of bounds"),
        (["--humidity", "nan"], "--humidity: 'nan' is no share"),
        (["--declination", "1e9"], "accepted is -180 to 180 deg"),
    ],
)
def test_an_option_is_refused_before_anything_is_read(arguments, told):
    run = driftmap("export", "none.toml", "--site", "none", "--as", "csv", *arguments)
    assert run.returncode == 2
    assert told in run.stderr


@pytest.mark.parametrize("mass", ["1e-300 kg", "1e300 kg", "nan", "9" * 400])
def test_nobody_drops_what_cannot_be(mass):
    drop = ("drop", "--from", "1000 m", "--drag-area", "0.1", "--wind", "calm")
    run = driftmap(*drop, "--mass", mass)
    assert run.returncode == 2
    assert not run.stdout


def test_json_on_the_terminal_keeps_what_it_says_and_steers_nothing():
    told = {"name": EVIL, "mass": 1.5, "umlaut": "ä"}
    text = json_text(told)
    assert json.loads(text) == told
    assert visible(text, keep="\n") == text
    assert "ä" in text


@pytest.mark.parametrize(
    ("end", "code"),
    [
        ("| head -c 1", 0),
        (">/dev/full", 2),
        *(
            pytest.param(end, 0, marks=pytest.mark.slow)
            for end in (">&-", "2>&-", "<&- >&- 2>&-")
        ),
    ],
)
def test_who_does_not_listen_changes_no_exit_code(end, code):
    drop = "drop --from 300m --mass 1kg --drag-area 1m2 --wind calm"
    command = (
        f"{sys.executable} -c 'from driftmap.cli import main; main()' {drop} {end}"
    )
    shell = ["bash", "-c", f"set -o pipefail; {command}"]
    run = subprocess.run(shell, capture_output=True, text=True, check=False)
    assert run.returncode == code
    assert "Traceback" not in run.stderr
    assert len(run.stderr.splitlines()) == (code != 0)


def test_a_screen_without_a_letter_still_shows_the_line():
    raw = io.BytesIO()
    below = io.TextIOWrapper(raw, encoding="latin-1")
    screen = Plain.of(below, keep="\n")
    screen.write("“1 °” → \x1b")
    assert raw.getvalue().decode("latin-1") == "?1 °? ? ?"
