"""The desk: its folder keeps every change, its words are those of the commands, and nobody
without the key is answered.
"""

import json
import os
import pickle
import re
import shlex
import shutil
import signal
import subprocess
import sys
import threading
import time
import tomllib
from concurrent.futures import Future
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from click.testing import CliRunner

from driftmap.cli import cli
from driftmap.core.errors import FlightError, InputError, SiteError
from driftmap.desk import field as field_room
from driftmap.desk import judging
from driftmap.desk.app import make_app
from driftmap.desk.day import Aside, change_day, new_item, read_day
from driftmap.desk.desk import Desk, open_folder
from driftmap.desk.folder import KEPT, ConflictError, Folder
from driftmap.desk.judging import (
    FULL,
    QUICK,
    StaleError,
    TaskResult,
    _inputs,
    drawn,
    judge_task,
)
from driftmap.desk.outcomes import last_flown
from driftmap.desk.plan_words import words_of, works
from driftmap.desk.private import remember, remembered
from driftmap.desk.queue import GOOD_FOR, Queue, _Line, word_of
from driftmap.desk.serve import serve
from driftmap.desk.winds import counting, still_heard
from driftmap.ground.site import read_site
from driftmap.logbook.entry import holding
from driftmap.logbook.store import Log
from driftmap.planning.assumed_winds import suppose
from driftmap.rocket.cases import build_cases
from driftmap.rocket.flightfile import read_flight
from driftmap.rules.answers import answers_to
from driftmap.rules.occasion import Occasion
from driftmap.rules.reading import picked_rules
from driftmap.verdict.people_checks import USUAL_DAY
from driftmap.winds.formats import decode
from driftmap.winds.merge import merge
from driftmap.winds.saved import keep_readings, wind_document

ROOT = Path(__file__).parents[2]
KEY = "key-of-a-test"
HOST = "127.0.0.1:8000"
NOW = datetime(2026, 6, 13, 15, 30, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path):
    """A folder with the demo site and one demo flight."""
    open_folder(tmp_path)
    shutil.copy(ROOT / "sites" / "saltgrass-flat.geojson", tmp_path / "site.geojson")
    for name in ("willet.toml", "willet_motor.csv", "dunlin.toml"):
        shutil.copy(ROOT / "examples" / name, tmp_path / "flights" / name)
    return Folder(tmp_path)


@pytest.fixture
def desk(folder):
    return Desk(folder)


class Own:
    """Stands for what a test has of its own, in the app that serves all of them."""

    def __init__(self, own):
        self._own = own

    def __getattr__(self, name):
        return getattr(self._own(), name)


@cache
def app():
    """Give the one app: to make its addresses takes longer than most tests."""
    here = Own(lambda: Client.desk)
    here.folder = Own(lambda: Client.desk.folder)
    return make_app(here, KEY, {HOST})


class Client:
    """Asks as the page does."""

    def __init__(self, desk):
        Client.desk = desk
        self.client = app().test_client()

    def __call__(self, path, body=None, *, method=None, key=KEY, **headers):
        """Ask; what has a body is a change."""
        method = method or ("GET" if body is None else "POST")
        given = {"Host": HOST, "X-Desk": "1", **headers}
        return self.client.open(
            f"/{key}/{path}", method=method, json=body, headers=given
        )

    def good(self, *given, **more):
        """Ask what must be answered well."""
        answer = self(*given, **more)
        assert answer.status_code == 200, answer.get_json()
        return answer.get_json()


@pytest.fixture
def ask(desk):
    return Client(desk)


# --- who is answered


@pytest.mark.parametrize(
    ("key", "headers", "status"),
    [
        ("another", {}, 404),
        ("", {}, 404),
        (KEY, {"Host": "evil.example"}, 403),
        (KEY, {"Host": "evil.example:8000"}, 403),
        (KEY, {"Host": "127.0.0.1:8001"}, 403),
        (KEY, {"Origin": "http://evil.example"}, 403),
        (KEY, {"Origin": "null"}, 403),
        (KEY, {"Origin": f"http://{HOST}"}, 200),
    ],
)
def test_only_the_own_page_with_the_key_is_answered(ask, key, headers, status):
    assert ask("state", key=key, **headers).status_code == status


def test_a_form_of_another_site_changes_nothing(ask, desk):
    answer = ask("day/add", {"file": "flights/willet.toml"}, **{"X-Desk": ""})
    assert answer.status_code == 403
    assert read_day(desk.folder).items == ()


def test_no_two_things_of_the_page_have_one_name():
    page = ROOT / "driftmap" / "desk" / "page"
    names = re.findall(r'\bid="([\w-]+)"', (page / "desk.html").read_text("utf-8"))
    for part in (p for p in page.glob("*.js") if p.stem != "reader"):
        names += re.findall(r'\bid: "([\w-]+)"', part.read_text("utf-8"))
    assert sorted(names) == sorted(set(names))


def test_the_page_may_run_its_own_scripts_alone(ask):
    page = ask("")
    assert "own/desk.js" in page.get_data(as_text=True)
    policy = page.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self';" in policy
    assert "unsafe" not in policy
    assert ask("own/../desk.py").status_code == 404
    assert ask("own/desk.js").mimetype == "text/javascript"


@pytest.mark.parametrize(
    "name",
    [
        "../secret.toml",
        "flights/../../secret.toml",
        "/etc/passwd",
        "flights/.hidden.toml",
        "flights/a.sh",
        "flights/a/b.toml",
        "flights\\a.toml",
        "winds/x\0.json",
        "log.sqlite-wal",
        "",
    ],
)
def test_no_name_leads_out_of_the_folder(ask, folder, name):
    with pytest.raises(InputError, match="no file of the desk"):
        folder.path(name)
    assert ask("undo", {"file": name}).status_code == 400


@pytest.mark.parametrize("name", ["day.toml", "winds/a.json", "answers/a.toml"])
def test_no_step_takes_back_a_wind_or_an_answer(ask, name):
    """What was read or said is taken back with a reason and a name, or not at all."""
    ask.good("winds/take", {"text": "20 mph from 80"})
    before = ask.good("state")["winds"]
    assert ask("undo", {"file": name}).status_code == 400
    assert ask.good("state")["winds"] == before


def test_an_answer_that_is_not_read_for_its_name_holds(ask, desk, folder):
    put_on(ask, "willet")
    odd = ("_ada.toml", "ada.toml.txt")
    (folder.root / "answers").mkdir(exist_ok=True)
    (folder.root / "answers" / "desktop.ini").write_text("[.ShellClassInfo]")
    for name, word in (("Ada's answers.toml", "go"), *((one, "hold") for one in odd)):
        (folder.root / "answers" / name).write_text("date = 2026-06-13\n")
        day = read_day(folder)
        known = replace(told("go"), when=datetime.now(UTC))
        print_ = desk.fingerprint(day, day.items[0])
        desk.queue._lines[day.items[0].id] = _Line(print_, full=known)
        (item,) = ask.good("state")["items"]
        assert item["word"] == word
    assert "_ada.toml: is not read" in item["reason"]
    assert ask.good("state")["unread"] == [f"answers/{name}" for name in odd]
    answer = ask(f"page/map/{item['id']}?alone")
    assert answer.status_code == 400
    assert folder.names("answers") == ["answers/Ada's answers.toml"]


@pytest.mark.skipif(os.name != "posix", reason="links need rights elsewhere")
def test_a_link_out_of_the_folder_is_not_followed(folder, tmp_path_factory):
    secret = tmp_path_factory.mktemp("else") / "secret.toml"
    secret.write_text("name = 'secret'")
    (folder.root / "flights" / "link.toml").symlink_to(secret)
    assert "flights/link.toml" not in folder.names("flights")
    with pytest.raises(InputError, match="link"):
        folder.read("flights/link.toml")


def test_what_is_too_large_is_refused(ask, folder):
    answer = ask("winds/try", {"text": "x" * 13_000_000})
    assert answer.status_code == 413
    assert ask("winds/try", {"text": "x" * 2_500_000}).status_code == 400
    for half in ({"pad": "\ud83d"}, {"more": [{"of it": "\ud83d"}]}):
        answer = ask("day/add", half)
        assert (answer.status_code, "half a character" in answer.text) == (400, True)
    assert folder.names("winds") == []


@pytest.mark.parametrize("body", ["[]", "7", "not json", "null"])
def test_what_is_no_object_is_refused(ask, body):
    head = {"Host": HOST, "X-Desk": "1", "Content-Type": "application/json"}
    answer = ask.client.post(f"/{KEY}/day/add", data=body, headers=head)
    assert answer.status_code == 400


# --- the folder keeps every change


def test_the_last_ten_versions_come_back_after_a_restart(folder):
    name = "flights/own.toml"
    for i in range(KEPT + 4):
        folder.write(name, f"name = '{i}'".encode(), None)
    again = Folder(folder.root)
    seen = []
    while again._stack(name, "undo"):
        again.step(name, "undo")
        seen.append(tomllib.loads(again.text(name))["name"])
    assert seen == [str(i) for i in range(KEPT + 2, 2, -1)]
    again.step(name, "redo")
    assert tomllib.loads(again.text(name))["name"] == "4"
    again.step(name, "undo")
    with pytest.raises(InputError, match="nothing to undo"):
        again.step(name, "undo")


def test_undo_of_the_first_writing_takes_the_file_away_and_redo_brings_it_back(folder):
    name = "flights/own.toml"
    folder.write(name, b"name = 'a'", "")
    folder.step(name, "undo")
    assert folder.read(name) is None
    folder.step(name, "redo")
    assert folder.read(name) == b"name = 'a'"


def test_who_changed_an_older_version_is_told_and_writes_nothing(folder):
    name = "flights/willet.toml"
    base = folder.revision(name)
    text = folder.path(name).read_text()
    folder.path(name).write_text(text + "\n# by a command\n")
    with pytest.raises(ConflictError):
        folder.write(name, b"name = 'mine'", base)
    assert folder.path(name).read_text().endswith("# by a command\n")


def test_many_windows_at_once_lose_no_change(desk, ask):
    def add():
        for _ in range(5):
            ask.good("day/add", {"file": "flights/willet.toml"})

    threads = [threading.Thread(target=add) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(read_day(desk.folder).items) == 30


_WRITER = """
import sys
from pathlib import Path
from types import SimpleNamespace
from driftmap.desk.folder import Folder
folder = Folder(Path(sys.argv[1]))
for i in range(10_000):
    folder.write("flights/own.toml", f"name = '{i}'\\n".encode() * 400, None)
    print(i, flush=True)
"""


@pytest.mark.skipif(os.name != "posix", reason="kill -9 is of posix")
def test_a_kill_at_any_moment_loses_nothing_that_was_confirmed(folder):
    for wait in (0.0, 0.013, 0.029):
        with subprocess.Popen(
            [sys.executable, "-c", _WRITER, str(folder.root)], stdout=subprocess.PIPE
        ) as writer:
            first = writer.stdout.readline()
            time.sleep(wait)
            writer.send_signal(signal.SIGKILL)
            confirmed = int(([first, *writer.stdout.readlines()])[-1])
        lines = set(folder.text("flights/own.toml").splitlines())
        assert len(lines) == 1  # whole, never half of one and half of another
        stands = int(tomllib.loads(lines.pop())["name"])
        assert stands in {confirmed, confirmed + 1}
        folder.step("flights/own.toml", "undo")  # and the one before is there as well


# --- its words are those of the commands


def line_of(desk, work, flight, given):
    """Words that are typed for the command of a plan."""
    place = desk.folder.root / "plans" / f"{work}-{Path(flight).stem}"
    return [*words_of(desk, work, place, flight, "", given)]


def put_on(ask, *names, wind="5 mph from 80"):
    for name in names:
        ask.good("day/add", {"file": f"flights/{name}.toml"})
    return ask.good("winds/take", {"text": wind})


def test_a_word_is_that_of_the_command_in_the_same_wind(desk, ask, tmp_path):
    put_on(ask, "willet")
    day = read_day(desk.folder)
    task = replace(desk.task(day, day.items[0]), samples=QUICK)
    result, folder = judge_task(task), desk.folder
    given = ["assess", str(folder.path("flights/willet.toml")), "--json"]
    given += ["--site", str(folder.path("site.geojson")), "--samples", str(QUICK)]
    given += ["--wind", str(folder.path(day.winds[0]))]
    given += ["--when", task.when.isoformat(), "--out", str(tmp_path / "out")]
    out = CliRunner().invoke(cli, given)
    data = json.loads(out.stdout)
    assert data["verdict"] == result.verdict
    kept = sum(c["outcome"] == "pass" for c in data["checks"])
    begun = f"{kept} of {len(data['checks'])} checks within limits"
    assert result.counts.startswith(begun)
    assert result.entry is not None
    assert result.entry.body["samples"] == QUICK  # the log says how few they were


def told(verdict="go", samples=FULL, expires=None, **more):
    return TaskResult(
        verdict, ("a reason",), "9 checks", "wind", NOW, expires, samples, **more
    )


@pytest.mark.parametrize(
    ("known", "later", "word"),
    [
        (None, 0, "hold"),
        (told(), 0, "go"),
        (told(samples=QUICK), 0, "hold"),
        (told("no-go", samples=QUICK), 0, "no-go"),
        (told(), GOOD_FOR.total_seconds() - 1, "go"),
        (told(), GOOD_FOR.total_seconds(), "hold"),
        (told(expires=NOW + timedelta(seconds=60)), 59, "go"),
        (told(expires=NOW + timedelta(seconds=60)), 60, "hold"),
        (told(expires=NOW), 0, "hold"),
        (told("no-go", expires=NOW), 9999, "no-go"),
        (told(), -200, "hold"),
        (told("hold", problem=True, samples=QUICK), 0, "hold"),
    ],
)
def test_no_word_is_milder_than_what_was_flown_and_none_outlives_its_wind(
    known, later, word
):
    found = word_of(known, NOW + timedelta(seconds=later))
    assert found.verdict == word
    assert ("clock was set back" in found.reason) is (later < 0)


def test_a_broken_day_stops_no_judging_of_the_mended_one(desk, ask):
    put_on(ask, "willet")
    good = desk.folder.text("day.toml")
    for broken in ("winds/wind.exe", "../wind.json", "winds/."):
        told = re.sub(r'"winds/[^"]+"', f'"{broken}"', good)
        desk.folder.write("day.toml", told.encode(), None)
        assert desk.wanted() == []
    desk.folder.write("day.toml", good.encode(), None)
    assert len(desk.wanted()) == 1


def test_a_change_of_word_is_told():
    assert word_of(told("no-go"), NOW, was="go").was == "go"
    assert word_of(told("go"), NOW, was="go").was == ""


def test_a_no_go_of_few_flights_counts_and_a_go_or_hold_does_not():
    words = [word_of(told(w, samples=QUICK), NOW) for w in ("no-go", "hold", "go")]
    assert [(w.verdict, w.sure) for w in words] == [
        ("no-go", True),
        ("hold", False),
        ("hold", False),
    ]


def test_a_first_look_at_all_comes_first_and_what_cannot_go_last(desk, ask):
    for name in ("willet", "dunlin", "willet"):
        put_on(ask, name)
    queue = Queue(desk.wanted)
    items = read_day(desk.folder).items

    def order():
        places = {item.id: place for place, item in enumerate(items)}
        return [(places[name], task.samples) for name, task, _ in queue._next()]

    assert order() == [(i, QUICK) for i in range(3)]
    first = told("no-go", samples=QUICK)
    queue._lines[items[0].id].quick = replace(first, when=datetime.now(UTC))
    assert order() == [(1, QUICK), (2, QUICK), (0, FULL)]
    # What was never flown in full goes before what has grown old.
    old = replace(told("hold"), when=datetime.now(UTC) - timedelta(minutes=5))
    queue._lines[items[1].id].full = old
    assert order() == [(2, QUICK), (1, FULL), (0, FULL)]
    queue._lines[items[2].id].quick = told("hold", samples=QUICK)
    assert order() == [(2, FULL), (1, FULL), (0, FULL)]
    # A new wind: the word before is remembered, and everything is looked at again.
    ask.good("winds/take", {"text": "7 mph from 80"})
    assert order() == [(i, QUICK) for i in range(3)]
    assert queue._lines[items[0].id] == _Line(
        queue._lines[items[0].id].print, before="no-go"
    )


def test_the_crowd_is_told_why_and_where_to_stand_in_each_language(
    desk, ask, monkeypatch
):
    put_on(ask, "dunlin", "willet")
    day = read_day(desk.folder)
    task = replace(desk.task(day, day.items[0]), samples=200)
    full = replace(judge_task(task), samples=FULL)
    assert full.crowd == {}  # few flights instruct nobody
    monkeypatch.setattr("driftmap.desk.judging.FULL", 200)
    assert set(judge_task(task).crowd) == {"en", "de", "es", "fr"}
    crowd = {"en": ("why", "stand there"), "de": ("warum", "dort stehen")}
    for item in day.items:
        known = replace(full, crowd=crowd)
        line = _Line(desk.fingerprint(day, item), full=known)
        desk.queue._lines[item.id] = line
    first, second = ask.good("state")["items"]
    assert first["crowd"] == {key: list(told) for key, told in crowd.items()}
    assert second["crowd"] == {}


@pytest.mark.parametrize("kind", [InputError, FlightError, SiteError])
def test_what_is_wrong_comes_home_whole_from_a_worker(kind):
    one = kind("a.toml", "piece 1, count", "must be less")
    one.each = (("piece 1, count", "must be less"), ("name", "is missing"))
    again = pickle.loads(pickle.dumps(one))
    assert (type(again), str(again), again.each) == (kind, str(one), one.each)


def test_a_page_tells_what_it_was_drawn_of_and_the_list_what_is_wanted(
    desk, ask, monkeypatch
):
    """A map of an older wind is no go beside a go of a newer one."""
    put_on(ask, "willet")
    done = Future()
    done.set_result("<html><head></head></html>")
    monkeypatch.setattr(Queue, "submit", lambda *given: done)
    (item,) = ask.good("state")["items"]
    page = ask(f"page/map/{item['id']}?alone").get_data(as_text=True)
    assert f'<meta name="drawn-of" content="{item["of"]}">' in page
    before = item["of"].split("-")
    ask.good("winds/take", {"text": "6 mph from 80"})
    now = ask.good("state")["items"][0]["of"].split("-")
    # A dial is of any wind: its part stays, and goes with the flight.
    assert (now[0], now[1] != before[1]) == (before[0], True)
    flight = desk.folder.path(item["file"])
    flight.write_text(flight.read_text("utf-8") + "# heavier\n", "utf-8")
    assert ask.good("state")["items"][0]["of"].split("-")[0] != before[0]


def test_a_word_ends_with_its_wind_or_at_once_where_that_has_no_date(monkeypatch):
    task, later = SimpleNamespace(when=NOW), NOW + timedelta(hours=1)
    for found, ends in (((NOW - timedelta(hours=2), later), later), (None, NOW)):
        monkeypatch.setattr(judging, "good_between", lambda result, found=found: found)
        assert judging._expires(task, None) == ends


def test_a_day_with_more_flights_than_the_field_tells_counts_its_list(desk, ask):
    put_on(ask, "willet", "dunlin", "willet")
    site = json.loads(desk.folder.text("site.geojson"))
    for told, counted in ((None, 0), (2, 3), (3, 0), (9, 0), ("2", 3), ("x", 0)):
        tree = site if told is None else {**site, "flights_today": told}
        desk.folder.write("site.geojson", json.dumps(tree).encode(), None)
        day = read_day(desk.folder)
        task = desk.task(day, day.items[0])
        assert task.flights == counted
        if counted:
            assert _inputs(task)[1].flights_today == counted
            with pytest.raises(InputError, match="flights_today: the list holds 3"):
                line_of(desk, "brief", "flights/dunlin.toml", {})
        if told == 9:
            assert line_of(desk, "brief", "flights/dunlin.toml", {})


def test_no_list_is_written_that_would_not_be_read_again(desk, ask):
    put_on(ask, "willet")
    (item,) = read_day(desk.folder).items
    full = [new_item(item.flight) for _ in range(200)]
    change_day(desk.folder, lambda day: replace(day, items=tuple(full)))
    aside = [Aside(f"w{i}", "12 mph", "mistyped", "Anna Reed") for i in range(201)]
    for more in ({"items": (*full, item)}, {"aside": tuple(aside)}):
        with pytest.raises(InputError, match="200 at most: begin a new day"):
            change_day(desk.folder, lambda day, more=more: replace(day, **more))
    assert len(ask.good("state")["items"]) == 200


def test_a_list_longer_than_a_usual_day_counts_where_the_field_tells_none(desk, ask):
    put_on(ask, "willet", "dunlin")
    day = read_day(desk.folder)
    for number, counted in ((USUAL_DAY, 0), (USUAL_DAY + 1, USUAL_DAY + 1)):
        assert desk.busy(replace(day, items=day.items[:1] * number)) == counted


def test_a_map_that_cannot_be_drawn_says_why_to_people(desk, ask, monkeypatch):
    put_on(ask, "willet")
    (item,) = read_day(desk.folder).items
    text = desk.folder.text(item.flight).replace('kind = "fin"', "kind = '<b>'", 1)
    desk.folder.write(item.flight, text.encode(), None)
    failed = Future()
    try:
        drawn(desk.task(read_day(desk.folder), item), "map")
    except InputError as problem:
        failed.set_exception(pickle.loads(pickle.dumps(problem)))
    # An image that is not there yet asks again; no browser complains of it meanwhile.
    monkeypatch.setattr(Queue, "submit", lambda *given: Future())
    assert ask(f"page/field/{item.id}").status_code == 202
    desk._pages.clear()
    monkeypatch.setattr(Queue, "submit", lambda *given: failed)
    answer = ask(f"page/map/{item.id}?alone")
    assert answer.status_code == 400
    told = answer.get_data(as_text=True)
    assert "Not drawn" in told
    assert "piece 1 (fin), kind" in told
    assert "&lt;b&gt;" in told
    assert "<b>" not in told
    assert str(desk.folder.root) not in told


def test_what_is_flown_for_files_that_changed_is_dropped(desk, ask):
    put_on(ask, "willet")
    day = read_day(desk.folder)
    asked = []

    def changed(count):
        asked.append(count)
        if count:
            raise StaleError

    with pytest.raises(StaleError):
        judge_task(replace(desk.task(day, day.items[0]), samples=3 * 4096), changed)
    assert asked == [0, 4096]  # the rest is not flown first


def test_a_flight_is_read_again_when_it_or_its_curve_changed(desk, ask):
    put_on(ask, "willet")
    day = read_day(desk.folder)
    task = replace(desk.task(day, day.items[0]), samples=QUICK)
    assert not judge_task(task).problem
    path = desk.folder.path("flights/willet_motor.csv")
    path.write_text("time_s,thrust_n\n0,1\n")
    assert judge_task(desk.task(day, day.items[0])).problem


def test_a_word_belongs_to_the_files_as_they_are(desk, ask):
    put_on(ask, "willet")
    day = read_day(desk.folder)
    item, prints = day.items[0], set()
    for name in ("flights/willet.toml", "flights/willet_motor.csv", "site.geojson"):
        prints.add(desk.fingerprint(day, item))
        path = desk.folder.path(name)
        path.write_text(path.read_text() + "\n")
    prints.add(desk.fingerprint(day, item))
    ask.good("winds/take", {"text": "6 mph from 80"})
    prints.add(desk.fingerprint(read_day(desk.folder), item))
    (desk.folder.root / "answers" / "own.toml").write_text("date = 2026-06-13\n")
    prints.add(desk.fingerprint(read_day(desk.folder), item))
    assert len(prints) == 6


RULES = {
    "club.toml": b'title = "Ours"\nextends = ["us", "rules/base.toml"]\n',
    "base.toml": b'title = "Our base"\nextends = ["../club.toml", 3]\n',  # not yet in order
}


def test_a_file_that_bears_on_a_word_makes_it_another_wherever_it_lies(desk, ask):
    """A curve and a club's rules outside their rooms, and one put back as it was."""
    put_on(ask, "willet")
    folder, day = desk.folder, read_day(desk.folder)
    item, seen = day.items[0], set()
    flight, site = folder.path(item.flight), folder.path("site.geojson")
    curve, club = folder.root / "own_curve.csv", folder.root / "club.toml"
    shutil.copy(folder.path("flights/willet_motor.csv"), curve)
    text = flight.read_text().replace('"willet_motor.csv"', '"../own_curve.csv"')
    flight.write_text(text)
    tree = json.loads(site.read_text())
    site.write_text(json.dumps({**tree, "rules": f"{tree['rules']}, club.toml"}))
    base = folder.root / "rules" / "base.toml"
    base.parent.mkdir()
    for path in (curve, club, base, curve, flight):
        seen.add(desk.fingerprint(day, item))
        before = path.stat() if path.exists() else None
        path.write_bytes(path.read_bytes() if before else RULES[path.name])
        if before:  # its own time set back, as if nothing had been
            os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    seen.add(desk.fingerprint(day, item))
    assert len(seen) == 6


def test_a_clock_that_is_set_back_leaves_no_go(desk, ask, monkeypatch):
    put_on(ask, "willet")
    day = read_day(desk.folder)
    item = day.items[0]
    real = replace(told(), when=datetime.now(UTC))
    line = _Line(desk.fingerprint(day, item), full=real)
    desk.queue._lines[item.id] = line
    assert desk.word(day, item).verdict == "go"
    early = datetime.now(UTC) - timedelta(minutes=7)
    monkeypatch.setattr("driftmap.desk.desk.now", lambda: early)
    line.full = replace(real, when=early)
    word = desk.word(day, item)
    assert word.verdict == "hold"
    assert "set back by 7 min" in word.reason
    with pytest.raises(InputError, match="clock"):
        desk.page(item.id, "map")


def test_a_restart_does_not_forget_what_the_clock_showed(desk, ask, folder):
    put_on(ask, "willet")
    day = read_day(folder)
    for name in ("day.toml", *day.winds):
        ahead = time.time() + 1200
        before = folder.path(name).stat()
        os.utime(folder.path(name), (ahead, ahead))
        with pytest.raises(InputError, match="set back by 20 min"):
            Desk(folder).page(day.items[0].id, "map")
        os.utime(folder.path(name), ns=(before.st_atime_ns, before.st_mtime_ns))


@pytest.mark.parametrize("told_of", ["answer", "wind", "count"])
def test_what_the_disk_refused_holds_until_it_is_written(
    desk, ask, folder, monkeypatch, told_of
):
    put_on(ask, "willet", wind="4 mph from 80")
    (item,) = read_day(folder).items
    no = {"name": "no_fire_ban", "scope": "day", "value": "no", "by": "Ben Reed"}
    (wind,) = read_day(folder).winds
    path, body = {
        "answer": (f"answers/{item.id}", no),
        "wind": ("winds/take", {"text": "12 mph gusting 20 from 80"}),
        "count": (
            "winds/count",
            {"file": wind, "counts": False, "why": "no longer so", "by": "Ben Reed"},
        ),
    }[told_of]

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    def word():
        day = read_day(folder)
        known = replace(told("go"), when=datetime.now(UTC))
        line = _Line(desk.fingerprint(day, item), full=known)
        desk.queue._lines[item.id] = line
        return desk.word(day, item)

    with monkeypatch.context() as patch:
        patch.setattr("driftmap.desk.folder.write_whole", full)
        assert ask(path, body).status_code == 500
    assert word().verdict == "hold"
    assert "could not be written (No space left" in word().reason
    assert ask(f"page/map/{item.id}?alone").status_code == 400
    ask.good(path, body)
    assert not folder.refused


def test_everything_holds_until_there_is_something_to_fly_in(desk, ask, folder):
    ask.good("day/add", {"file": "flights/willet.toml"})
    (item,) = ask.good("state")["items"]
    assert (item["word"], item["reason"]) == ("hold", "No wind is read yet")
    ask.good("winds/take", {"text": "5 mph from 80"})
    (item,) = ask.good("state")["items"]
    assert (item["word"], item["sure"]) == ("hold", False)
    folder.path("flights/willet.toml").unlink()
    (item,) = ask.good("state")["items"]
    assert (item["word"], item["sure"]) == ("hold", True)


def test_what_cannot_be_judged_holds_and_says_why(desk, ask, folder):
    put_on(ask, "willet")
    folder.path("flights/willet.toml").write_text("name = 'x'\nfoo = 1\n")
    day = read_day(folder)
    result = judge_task(desk.task(day, day.items[0]))
    assert (result.verdict, result.problem) == ("hold", True)
    assert result.reasons[0].startswith("flights/willet.toml: foo")


def test_of_several_pads_each_flight_is_given_one_and_holds_until_then(desk, ask):
    site = json.loads(desk.folder.text("site.geojson"))
    pad = next(f for f in site["features"] if f["properties"]["role"] == "pad")
    lon, lat = pad["geometry"]["coordinates"]
    other = {**pad, "properties": {"role": "pad", "name": "Far pad"}}
    other["geometry"] = {"type": "Point", "coordinates": [lon, lat + 0.001]}
    site["features"].append(other)
    desk.folder.path("site.geojson").write_text(json.dumps(site))
    assert ask.good("state")["site"]["problem"] == ""
    pads = ask.good("state")["site"]["pads"]
    assert pads[1:] == ["Far pad"]
    put_on(ask, "willet")
    day = read_day(desk.folder)
    told = judge_task(replace(desk.task(day, day.items[0]), samples=QUICK))
    assert (told.verdict, told.problem) == ("hold", True)
    assert "which one is flown from" in told.reasons[0]
    ask.good("day/pad", {"id": day.items[0].id, "pad": "Far pad"})
    day = read_day(desk.folder)
    assert not judge_task(replace(desk.task(day, day.items[0]), samples=QUICK)).problem


# --- the wind


def test_a_reading_is_kept_with_its_time_and_is_a_wind_of_the_commands(ask, folder):
    name = ask.good("winds/take", {"text": "9 mph from SW, gusting to 14 mph"})["file"]
    assert read_day(folder).winds == (name,)
    out = CliRunner().invoke(
        cli,
        ["winds", str(folder.path(name)), "--site", str(folder.path("site.geojson"))],
    )
    assert out.exit_code == 0
    assert "9 mph" in out.output
    kept = json.loads(folder.text(name))["readings"][0]
    assert kept["valid"]


def test_a_lull_does_not_take_back_the_gust_before_it(ask, folder):
    first = ask.good("winds/take", {"text": "15 mph from 80"})["file"]
    second = ask.good("winds/take", {"text": "4 mph from 80"})["file"]
    assert read_day(folder).winds == (first, second)
    third = ask.good("winds/take", {"text": "15 mph from 80, 50 min ago"})["file"]
    fourth = ask.good("winds/take", {"text": "5 mph from 80"})["file"]
    assert third not in read_day(folder).winds
    assert fourth in read_day(folder).winds


@pytest.mark.parametrize(
    ("text", "at", "named"),
    [
        ("", "", "empty"),
        ("hello", "", "no wind"),
        ("9 furlongs from 240", "", "no unit of speed"),
        ("900 mph from 240", "", "mph"),
        ("9 mph from 400", "", "400"),
        ("site.geojson", "", "no wind"),
        ("height_ft,from_deg,speed_mph\n6,75,4\n", "", "tell its time"),
        ("height_ft,from_deg,speed_mph\n6,75,4\n", "25:99", "no time"),
        ("height_ft,from_deg,speed_mph\n6,75,x\n", "", "speed"),
    ],
)
def test_what_is_no_wind_is_said_in_a_line_and_nothing_is_written(
    ask, folder, text, at, named
):
    answer = ask("winds/take", {"text": text, "read_at": at})
    assert answer.status_code == 400
    problem = answer.get_json()["problem"]
    assert named in problem
    assert "\n" not in problem
    assert str(folder.root) not in problem
    assert folder.names("winds") == []
    assert read_day(folder).winds == ()


def test_a_clock_that_is_fast_makes_no_gust_old(ask, folder):
    """A report some minutes ahead of the desk, as clocks differ, takes back no reading."""
    gust = ask.good("winds/take", {"text": "20 mph from 80, 14 min ago"})["file"]
    light = ask.good("winds/take", {"text": "3 mph from 80"})["file"]
    ahead = json.loads(folder.text(light))
    for reading in ahead["readings"]:
        reading["valid"] = (datetime.now(UTC) + timedelta(minutes=9)).isoformat()
    ask.good("winds/take", {"text": json.dumps(ahead)})
    assert gust in read_day(folder).winds


def test_no_reading_is_told_as_of_later(ask):
    later = (datetime.now().astimezone() + timedelta(minutes=8)).isoformat()
    answer = ask("winds/take", {"text": "3 mph from 80", "read_at": later})
    assert answer.status_code == 400
    assert "still to come" in answer.get_json()["problem"]


def test_a_reading_without_a_field_asks_for_the_field(tmp_path):
    ask = Client(Desk(open_folder(tmp_path)))
    answer = ask("winds/take", {"text": "5 mph from 80"})
    assert "draw the field first" in answer.get_json()["problem"]


def test_a_wind_that_was_put_there_by_a_command_is_seen_and_counts_when_told(
    ask, folder
):
    name = "winds/morning.csv"
    text = (ROOT / "examples" / "morning.csv").read_text()
    folder.path(name).write_text(text)
    (row,) = ask.good("state")["winds"]["rows"]
    assert (row["file"], row["counts"]) == (name, False)
    ask.good("winds/count", {"file": name, "counts": True})
    assert read_day(folder).winds == (name,)


def aside(ask, name, why="no longer so", by="Ada Range"):
    return ask("winds/count", {"file": name, "counts": False, "why": why, "by": by})


@pytest.mark.parametrize(
    ("why", "by", "named"),
    [("", "Ada", "why"), ("mistyped", "T.B.D.", "name"), ("luck", "Ada", "why")],
)
def test_no_wind_is_set_aside_without_why_and_who(ask, folder, why, by, named):
    name = ask.good("winds/take", {"text": "15 mph from 80"})["file"]
    for counts in ("false", "", None, 0):
        told = ask("winds/count", {"file": name, "counts": counts})
        assert told.status_code == 400
    answer = aside(ask, name, why, by)
    assert answer.status_code == 400
    assert named in answer.get_json()["problem"]
    assert read_day(folder).winds == (name,)


@pytest.mark.parametrize(
    ("why", "holds"), [("no longer so", True), ("mistyped", False)]
)
def test_a_stronger_wind_set_aside_is_told_and_heard(ask, desk, folder, why, holds):
    strong = ask.good("winds/take", {"text": "16 mph from 80, gusting to 22 mph"})
    ask.good("winds/take", {"text": "4 mph from 80"})
    assert aside(ask, strong["file"], why).status_code == 200
    told = ask.good("state")["aside"]
    assert told.startswith("1 wind set aside by hand (")
    assert "16 mph from 080°" in told
    assert why in told
    wind = counting(folder, read_day(folder), desk.field.setting())
    assert any("winds disagree" in said for said in wind.warned) == holds
    assert (wind.gust > 2) == holds == (wind.with_aside is not None)
    assert told == wind.aside
    # The file may go; that it was set aside stays until another day is begun.
    folder.path(strong["file"]).unlink()
    ask.good("day/begin", {})
    assert ask.good("state")["aside"] == told
    assert read_day(folder).winds == ()
    change_day(folder, lambda day: replace(day, date="2026-01-01"))
    ask.good("day/begin", {})
    assert ask.good("state")["aside"] == ""


@pytest.mark.parametrize(
    ("why", "minutes"), [("no longer so", 5), ("mistyped", 5), ("mistyped", 170)]
)
def test_a_storm_that_a_station_reports_is_heard_whatever_it_is_set_aside_as(
    ask, desk, folder, why, minutes
):
    """Until the station's next report must be there."""
    zulu = datetime.now(UTC) - timedelta(minutes=minutes)
    report = f"METAR KXYZ {zulu:%d%H%M}Z 08004KT 9999 TSRA SCT100 20/10 A2992"
    storm = ask.good("winds/take", {"text": report})["file"]
    ask.good("winds/take", {"text": "4 mph from 80"})
    assert aside(ask, storm, why).status_code == 200
    wind = counting(folder, read_day(folder), desk.field.setting())
    assert any("thunderstorm" in said for said in wind.warned)
    assert "thunderstorm" in ask.good("state")["aside"]


def test_a_file_put_there_by_hand_is_heard_by_its_own_time(ask, desk, folder):
    text = json.dumps(_wind_of(desk, "5 mph from 75, gusting to 40 mph, 25 min ago"))
    folder.path("winds/gusty.json").write_text(text)
    ask.good("winds/count", {"file": "winds/gusty.json", "counts": True})
    ask.good("winds/take", {"text": "5 mph from 75"})
    assert "winds/gusty.json" not in read_day(folder).winds
    assert counting(folder, read_day(folder), desk.field.setting()).gust > 15


def _wind_of(desk, text):
    setting = desk.field.setting()
    return {
        **wind_document(merge(decode(text, setting), setting)),
        **keep_readings(decode(text, setting), setting),
    }


def test_a_gust_set_aside_is_no_older_for_an_old_sounding(ask, desk, folder):
    then = f"{datetime.now(UTC) - timedelta(minutes=170):%Y-%m-%d %H:%MZ}"
    layers = "height_ft,from_deg,speed_mph\n800,75,9\n2000,80,11\n"
    ask.good("winds/take", {"text": f"# read {then}\n{layers}"})
    gusty = ask.good(
        "winds/take", {"text": "5 mph from 75, gusting to 40 mph, 5 min ago"}
    )
    ask.good("winds/take", {"text": "5 mph from 75"})
    assert aside(ask, gusty["file"]).status_code == 200
    assert counting(folder, read_day(folder), desk.field.setting()).gust > 15


@pytest.mark.parametrize(("after", "storm"), [(8, True), (31, False)])
def test_gusts_of_a_report_that_the_next_one_took_the_place_of_are_heard(
    ask, desk, folder, after, storm
):
    """As where both are handed to a command; its storm is over half an hour after the next."""
    now = datetime.now(UTC)
    for minutes, told in (
        (65, "08006G26KT 9999 TSRA SCT100"),
        (after, "08005KT CAVOK"),
    ):
        time = f"{now - timedelta(minutes=minutes):%d%H%M}Z"
        report = {"text": f"METAR KXYZ {time} {told} 20/10 A2992"}
        ask.good("winds/take", report)
    ask.good("winds/take", {"text": "5 mph from 75"})
    day = read_day(folder)
    assert len(day.winds) == 2
    wind = counting(folder, day, desk.field.setting())
    assert wind.gust > 8
    assert any("thunderstorm" in said for said in wind.warned) == storm


def test_a_report_of_another_side_set_aside_is_flown_as_well(ask, desk, folder):
    """Within the errors of both it is no doubt; its crowd and its cloud are others."""
    zulu = datetime.now(UTC) - timedelta(minutes=5)
    report = f"METAR KXYZ {zulu:%d%H%M}Z 27008KT 4SM BKN005 20/08 A3012"
    station = ask.good("winds/take", {"text": report})["file"]
    ask.good("winds/take", {"text": "1 mph from 90"})
    both = counting(folder, read_day(folder), desk.field.setting())
    aside(ask, station)
    whole = counting(folder, read_day(folder), desk.field.setting()).with_aside
    assert [s.level.speed for s in whole.stronger] == [
        s.level.speed for s in both.stronger
    ]
    assert whole.cloud_base == both.cloud_base is not None


def test_two_winds_that_disagree_are_told_once_whatever_is_heard_beside(
    ask, desk, folder
):
    for text in ("1 mph from 90", "2 mph from 95 at 2 m", "18 mph from 270 at 10 m"):
        ask.good("winds/take", {"text": text})
    one = counting(folder, read_day(folder), desk.field.setting())
    gust = ask.good("winds/take", {"text": "2 mph from 90 gusting to 9 mph"})["file"]
    aside(ask, gust)
    wind = counting(folder, read_day(folder), desk.field.setting())
    assert wind.gust > one.gust
    told = [two.told for two in wind.disagree]
    assert len(told) == len({two.other for two in wind.disagree}) == 3
    assert [said for said in wind.warned if "disagree" in said] == told


def test_what_is_nested_too_deeply_is_a_line_and_stops_nothing(ask, desk, folder):
    deep = "[" * 3000 + "]" * 3000
    ask.good("winds/take", {"text": "4 mph from 80"})
    item = new_item("flights/deep.toml")
    change_day(folder, lambda day: replace(day, items=(item,)))
    for name in ("flights/deep.toml", "answers/deep.toml"):
        folder.path(name).write_text(f"x = {deep}")
    assert [one.id for one, _, _ in desk.wanted()] == [item.id]  # its word says so
    assert "nested too deeply" in ask.good("flights/deep")["problem"]
    raw = ask.client.post(
        f"/{KEY}/plans",
        data=deep,
        headers={"Host": HOST, "X-Desk": "1", "Content-Type": "application/json"},
    )
    for answer in (
        raw,
        ask(f"answers/{item.id}"),
        ask("flights/deep", {"text": f"x = {deep}", "base": ""}, method="PUT"),
    ):
        assert answer.status_code == 400
        assert "nested too deeply" in answer.get_json()["problem"]
    folder.path("day.toml").write_text(f"x = {deep}")
    assert desk.wanted() == []
    assert "nested too deeply" in ask("state").get_json()["problem"]


def _begun_anew(ask, folder, strong):
    ask.good("day/begin", {})
    ask.good("winds/take", {"text": "4 mph from 80"})
    assert strong not in read_day(folder).winds


def _struck_out(ask, folder, strong):
    change_day(folder, lambda day: replace(day, winds=(day.winds[0],)))


@pytest.mark.parametrize(
    ("newer", "counts"),
    [
        ("5 m/s from 80 at 70 m", True),  # a kite says nothing of what blew at 500 m
        (
            "height_m,from_deg,speed_mps\n450,75,5\n500,75,5\n",
            True,
        ),  # nor the other way
        ("height_m,from_deg,speed_mps\n100,75,5\n700,75,5\n", True),  # a hole
        ("height_m,from_deg,speed_mps\n170,75,5\n320,77,5\n450,80,6\n", False),
    ],
)
def test_a_reading_goes_on_until_a_newer_one_speaks_near_each_of_its_heights(
    ask, desk, folder, newer, counts
):
    now = desk.field.setting().when.astimezone(UTC)
    old = f"# read {now - timedelta(minutes=40):%Y-%m-%d %H:%MZ}\n"
    old += "height_m,from_deg,speed_mps\n150,75,16\n300,77,18\n500,80,20\n"
    balloon = ask.good("winds/take", {"text": old})["file"]
    stamp = f"# read {now - timedelta(minutes=1):%Y-%m-%d %H:%MZ}\n"
    ask.good("winds/take", {"text": stamp + newer if "\n" in newer else newer})
    assert (balloon in read_day(folder).winds) == counts


def test_a_dial_flies_the_air_of_the_report_that_counts(ask, desk, folder, monkeypatch):
    """Hot air is thin: what comes down in it comes down faster than in the standard's."""
    flown = []
    monkeypatch.setattr(judging, "compute_dial", lambda setup, *_: flown.append(setup))
    monkeypatch.setattr(judging, "dial_html", lambda *_, **__: "")
    day = change_day(
        folder, lambda d: replace(d, items=(new_item("flights/dunlin.toml"),))
    )
    drawn(desk.task(day, day.items[0]), "dial")
    zulu = datetime.now(UTC) - timedelta(minutes=5)
    report = f"METAR KXYZ {zulu:%d%H%M}Z 08004KT 9999 CLR 38/10 A2992"
    ask.good("winds/take", {"text": report})
    drawn(desk.task(read_day(folder), day.items[0]), "dial")
    assert flown[0].day is None
    assert flown[1].day.temperature == pytest.approx(311.15)


def test_a_dial_holds_for_what_the_winds_that_count_warn_of(
    ask, desk, folder, monkeypatch
):
    """A storm, a low cloud, poor sight are there whatever the meter reads."""
    asked = []
    monkeypatch.setattr(
        judging, "compute_dial", lambda _, told, *__: asked.append(told)
    )
    monkeypatch.setattr(judging, "dial_html", lambda *_, **__: "")
    day = change_day(
        folder, lambda d: replace(d, items=(new_item("flights/dunlin.toml"),))
    )
    zulu = datetime.now(UTC) - timedelta(minutes=5)
    report = f"METAR KXYZ {zulu:%d%H%M}Z 08004KT 1SM VCTS OVC004CB 18/10 A2992"
    ask.good("winds/take", {"text": report})
    drawn(desk.task(read_day(folder), day.items[0]), "dial")
    (supposition,) = asked
    for speed, way in ((0.1, 0.0), (4.0, 200.0)):
        wind = suppose(supposition.on_the_meter(), way, speed)
        assert any("VCTS" in told for told in wind.warned)
        assert wind.lowest_cloud < 200
        assert wind.visibility < 2000
        assert float(np.hypot(*wind.at(2.0))) == pytest.approx(speed)


def test_a_report_of_the_hour_before_is_no_wind_higher_up(ask):
    late = datetime.now(UTC) - timedelta(minutes=12)
    times = [f"{late - timedelta(minutes=m):%d%H%M}Z" for m in (60, 0)]
    text = "\n".join(f"METAR KXYZ {time} 08004KT 9999 CLR" for time in times)
    ask.good("winds/take", {"text": text})
    (row,) = ask.good("state")["winds"]["rows"]
    assert "higher" not in row["told"]
    table = f"# read {late:%Y-%m-%d %H:%MZ}\nheight_m,from_deg,speed_mps\n"
    ask.good("winds/take", {"text": f"{table}2,80,3\n300,80,4\n900,80,5\n"})
    told = [row["told"] for row in ask.good("state")["winds"]["rows"]]
    assert any(one.endswith("and 2 higher") for one in told)


def test_a_reading_that_newer_ones_took_the_place_of_is_heard_for_an_hour(
    ask, desk, folder
):
    """A wind that stood on its head may do so again; a gust is heard for three hours."""
    texts = (
        "14 mph from 290, 31 min ago",
        "8 mph from 110, gusting to 20 mph, 150 min ago",
        "12 mph from 290, 100 min ago",
        "6 mph from 110, gusting to 24 mph, 40 min ago",
    )
    old = [ask.good("winds/take", {"text": text})["file"] for text in texts]
    now = ask.good("winds/take", {"text": "5 mph from 110"})["file"]
    assert read_day(folder).winds == (now,)
    wind = counting(folder, read_day(folder), desk.field.setting())
    assert wind.with_aside is None
    told = " ".join(wind.warned)
    assert "winds disagree" in told
    assert "31 min ago" in told
    assert "100 min ago" not in told
    assert wind.gust > 7  # of the last hour's, which blow still
    # So does every other command of the desk, by the files that it is handed.
    heard = still_heard(folder.root, read_day(folder), desk.field.setting())
    assert {*heard} == {old[0], old[1], old[3]}
    files = [str(folder.path(name)) for name in (now, *heard)]
    read = [one for file in files for one in decode(file, desk.field.setting())]
    merged = merge(read, desk.field.setting())
    assert {*wind.warned} <= {*merged.warned}
    assert wind.gust == merged.gust
    # Nor is one forgotten earlier because somebody set it aside by hand.
    for why, as_before in (("no longer so", True), ("mistyped", False)):
        mark = Aside(old[3], "gusts", why, "Ada Range")
        day = replace(read_day(folder), aside=(mark,))
        later = counting(folder, day, desk.field.setting())
        assert ((later.gust, later.warned) == (wind.gust, wind.warned)) == as_before


def test_a_reading_written_over_by_hand_holds(ask, desk, folder):
    mild = ask.good("winds/take", {"text": "4 mph from 80"})["file"]
    strong = ask.good("winds/take", {"text": "16 mph from 80"})["file"]
    folder.path(strong).write_bytes(folder.path(mild).read_bytes())
    wind = counting(folder, read_day(folder), desk.field.setting())
    assert any("was changed by hand" in said for said in wind.warned)
    # So it does for a command, and where a file is no wind that was kept at all.
    folder.path(strong).write_text("height_ft,from_deg,speed_mph\n6,75,4\n")
    (told,) = decode(str(folder.path(strong)), desk.field.setting())
    assert any("was changed by hand" in said for said in told.warned)


def test_a_reading_taken_out_of_the_folder_holds(ask, desk, folder):
    strong = ask.good("winds/take", {"text": "16 mph from 80"})["file"]
    folder.path(strong).unlink()
    _begun_anew(ask, folder, strong)
    day = read_day(folder)
    wind = counting(folder, day, desk.field.setting())
    assert any(f"{strong}: taken lately, and gone" in said for said in wind.warned)
    assert strong in still_heard(folder.root, day, desk.field.setting())


@pytest.mark.parametrize("forgotten", [_begun_anew, _struck_out])
def test_a_reading_that_stops_counting_in_any_way_is_heard(
    ask, desk, folder, forgotten
):
    ask.good("winds/take", {"text": "4 mph from 80"})
    text = {"text": "16 mph from 80, gusting to 22 mph"}
    strong = ask.good("winds/take", text)["file"]
    before = desk.prints(read_day(folder))
    forgotten(ask, folder, strong)
    wind = counting(folder, read_day(folder), desk.field.setting())
    assert any("winds disagree" in said for said in wind.warned)
    assert wind.gust > 2
    assert desk.prints(read_day(folder)) != before


@pytest.mark.parametrize(
    ("hours", "longitude", "doubted"),
    [
        (0, 118, True),
        (0, 3, False),
        (-8, 118, True),
        (8, 118, False),
        (14, -118, True),
        (13, -175, False),
    ],
)
def test_a_clock_far_from_the_fields_time_is_doubted(
    desk, monkeypatch, hours, longitude, doubted
):
    zone = timezone(timedelta(hours=hours))

    class Now(datetime):
        def astimezone(self, tz=None):
            return datetime.astimezone(self, tz or zone)

    monkeypatch.setattr(field_room, "now", lambda: Now.now(UTC))
    site = SimpleNamespace(longitude=longitude)
    monkeypatch.setattr(field_room.FieldFile, "anywhere", lambda _: site)
    assert bool(desk.field.doubt()) == doubted


def test_what_was_read_or_answered_is_not_undone(ask, folder):
    strong = ask.good("winds/take", {"text": "16 mph from 80"})["file"]
    for name in (strong, "day.toml", "answers/day-ann.toml"):
        answer = ask("undo", {"file": name, "way": "undo"})
        assert answer.status_code == 400
        assert "is not undone" in answer.get_json()["problem"]
    assert folder.text(strong)
    assert read_day(folder).winds == (strong,)


def test_a_reading_never_takes_the_name_of_one_that_is_gone(ask, folder):
    strong = ask.good("winds/take", {"text": "16 mph from 80"})["file"]
    folder.path(strong).unlink()
    assert ask.good("winds/take", {"text": "4 mph from 80"})["file"] != strong
    assert strong in read_day(folder).winds


def test_a_wind_that_counts_again_is_no_longer_aside(ask, desk, folder):
    name = ask.good("winds/take", {"text": "16 mph from 80"})["file"]
    ask.good("winds/take", {"text": "15 mph from 80"})
    before = counting(folder, read_day(folder), desk.field.setting()).strongest
    aside(ask, name)
    assert counting(folder, read_day(folder), desk.field.setting()).strongest == before
    ask.good("winds/count", {"file": name, "counts": True})
    assert ask.good("state")["aside"] == ""


def test_a_meter_does_not_take_back_what_a_station_warns_of(ask, folder):
    zulu = datetime.now(UTC) - timedelta(minutes=40)
    metar = f"METAR KXYZ {zulu:%d%H%M}Z 08014G25KT 10SM TS BKN030CB 25/15 A3001"
    station = ask.good("winds/take", {"text": metar})["file"]
    mine = ask.good("winds/take", {"text": "5 mph from 80"})["file"]
    assert read_day(folder).winds == (station, mine)
    newer = metar.replace(f"{zulu:%d%H%M}", f"{zulu + timedelta(minutes=30):%d%H%M}")
    ask.good("winds/take", {"text": newer.replace("TS BKN030CB", "CLR")})
    assert station not in read_day(folder).winds


METER = {"name": "club meter", "unit": "kt", "north": "magnetic", "height": "2 m"}


def test_a_meter_is_remembered_in_the_folder_and_the_one_in_use_is_first(ask, folder):
    assert ask.good("state")["meters"] == []  # nothing is supposed of it
    other = {"name": "Ada's", "unit": "m/s", "north": "true", "height": "6 ft"}
    for one in (METER, other, METER):
        ask.good("meter", one)
    again = Client(Desk(Folder(folder.root)))
    assert again.good("state")["meters"] == [METER, other]


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("name", " "),
        ("unit", ""),
        ("unit", "furlongs"),
        ("north", ""),
        ("north", "grid"),
        ("height", ""),
        ("height", "2"),
        ("height", "90 m"),
    ],
)
def test_no_meter_is_taken_of_which_anything_is_not_told(ask, key, value):
    answer = ask("meter", {**METER, key: value})
    assert answer.status_code == 400
    assert answer.get_json()["problem"].startswith(f"meter: {key}")
    assert ask.good("state")["meters"] == []


# --- answers and the log


def test_an_answer_is_dated_named_and_read_by_the_commands(ask, folder):
    put_on(ask, "willet")
    (item,) = read_day(folder).items
    rows = ask.good(f"answers/{item.id}")
    by_name = {row["name"]: row for row in rows}
    assert by_name["no_fire_ban"]["scope"] == "day"
    assert not by_name["no_fire_ban"]["given"]
    for name in ("no_fire_ban", "motor_allowed", "remote_ignition"):
        told = {"name": name, "scope": by_name[name]["scope"], "value": "yes"}
        file = ask.good(f"answers/{item.id}", {**told, "by": "Ada Range"})["file"]
        assert tomllib.loads(folder.text(file))["by"] == "Ada Range"
    told = {"name": "no_fire_ban", "scope": "day", "value": "no", "by": "Ben"}
    ask.good(f"answers/{item.id}", told)
    rows = ask.good(f"answers/{item.id}")
    given = {row["name"]: row["given"] for row in rows}
    by = {row["name"]: row["by"] for row in rows}
    assert by["no_fire_ban"].startswith("Ben, 20")
    assert by["motor_allowed"].startswith("Ada Range, 20")
    assert given["no_fire_ban"] == "no"
    assert given["motor_allowed"] == given["remote_ignition"] == "yes"
    files = [str(folder.path(name)) for name in folder.names("answers")]
    given = ["rules", str(folder.path("flights/willet.toml"))]
    given += ["--site", str(folder.path("site.geojson"))]
    out = CliRunner().invoke(
        cli, [*given, *(x for f in files for x in ("--answers", f))]
    )
    assert out.exit_code == 0, out.output


def test_a_no_outlives_an_answer_that_cannot_be_written(ask, folder, monkeypatch):
    """The new answer is written first: a full disk leaves the old one, never none."""
    put_on(ask, "willet")
    (item,) = read_day(folder).items
    told = {"name": "no_fire_ban", "scope": "day"}
    ask.good(f"answers/{item.id}", {**told, "value": "no", "by": "Bob"})
    (file,) = folder.names("answers")

    def full(*_, **__):
        raise InputError(file, "", "cannot be written")

    with monkeypatch.context() as patch:
        patch.setattr(Folder, "write", full)
        response = ask(f"answers/{item.id}", {**told, "value": "yes", "by": "Ann"})
    assert response.status_code == 400
    assert tomllib.loads(folder.text(file))["no_fire_ban"] == "no"


def test_a_flight_and_a_person_of_long_names_have_a_file(ask, folder):
    flight = folder.text("flights/willet.toml").replace(
        "Willet 54", "Willet with redundant electronics and a camera"
    )
    folder.write("flights/willet.toml", flight.encode(), None)
    put_on(ask, "willet")
    (item,) = read_day(folder).items
    told = {"name": "motor_allowed", "scope": "flight", "value": "yes"}
    by = "Bartholomew Featherstonehaugh"
    assert ask.good(f"answers/{item.id}", {**told, "by": by})["file"] in folder.names(
        "answers"
    )


@pytest.mark.parametrize("between", [(), ("",)])
def test_a_no_that_is_taken_back_stands_beside_every_word(ask, folder, between):
    put_on(ask, "willet")
    (item,) = read_day(folder).items
    told = {"name": "no_fire_ban", "scope": "day"}
    ask.good(f"answers/{item.id}", {**told, "value": "no", "by": "Bob"})
    assert ask.good("state")["aside"] == ""
    for value in (*between, "yes"):
        ask.good(f"answers/{item.id}", {**told, "value": value, "by": "Ann"})
    back = 'the "no" of Bob on no_fire_ban, taken back by Ann'
    assert ask.good("state")["aside"] == back
    files = [folder.path(name) for name in folder.names("answers")]
    site = read_site(folder.path("site.geojson"))
    occasion = Occasion(site.name, "Willet 54", datetime.now(UTC), site.longitude)
    said = answers_to(files, picked_rules(site), occasion)
    assert said.taken_back == (back,)
    tomorrow = replace(occasion, when=occasion.when + timedelta(days=1))
    assert answers_to(files, picked_rules(site), tomorrow).taken_back == ()


@pytest.mark.parametrize(
    ("name", "scope", "value"),
    [
        ("no_airport_near", "ground", "yes"),
        ("cleared_diameter", "pad", "80 ft"),
        ("motor_allowed", "flight", "yes"),
    ],
)
def test_an_answer_at_one_pad_leaves_that_of_another(ask, folder, name, scope, value):
    put_on(ask, "willet")
    (item,) = read_day(folder).items
    told = {"name": name, "scope": scope, "value": value, "by": "Ann"}
    here = ask.good(f"answers/{item.id}", told)["file"]
    drawn = json.loads(folder.text("site.geojson"))
    (pad,) = [f for f in drawn["features"] if f["properties"]["role"] == "pad"]
    pad["geometry"]["coordinates"][0] += 0.005
    drawn["elevation"] = "4200 ft"
    folder.path("site.geojson").write_text(json.dumps(drawn))
    rows = {row["name"]: row for row in ask.good(f"answers/{item.id}")}
    assert rows[name]["needed"]
    assert "km off" in rows[name]["stale"]
    there = ask.good(f"answers/{item.id}", told)["file"]
    assert there != here
    for file in (here, there):
        assert name in tomllib.loads(folder.text(file))
    rows = {row["name"]: row for row in ask.good(f"answers/{item.id}")}
    assert rows[name]["given"] == value


def test_an_answer_for_the_day_bears_its_end(ask, folder):
    put_on(ask, "willet")
    (item,) = read_day(folder).items
    end = (datetime.now(UTC) + timedelta(minutes=2)).isoformat(timespec="minutes")
    told = {"name": "no_fire_ban", "scope": "day", "value": "yes", "by": "Ann"}
    ask.good(f"answers/{item.id}", {**told, "name": "waiver_active"})
    file = ask.good(f"answers/{item.id}", {**told, "until": end})["file"]
    assert "waiver_active" not in tomllib.loads(folder.text(file))
    rows = {row["name"]: row for row in ask.good(f"answers/{item.id}")}
    assert f"until {end[:10]}" in rows["no_fire_ban"]["by"]
    assert tomllib.loads(folder.text(file))["until"] == datetime.fromisoformat(end)


@pytest.mark.parametrize(
    ("told", "named"),
    [
        ({"value": "yes", "by": "Ada", "until": "2020-01-01T14:00Z"}, "later than now"),
        ({"value": "yes", "by": "Ada", "until": "noon"}, "is no time"),
        ({"value": "yes", "by": ""}, "name"),
        ({"value": "perhaps", "by": "Ada"}, "yes"),
        ({"name": "nonsense", "value": "yes", "by": "Ada"}, "not asked"),
        ({"value": "yes", "by": "Ada", "scope": "always"}, "season"),
    ],
)
def test_no_answer_is_written_that_is_none(ask, folder, told, named):
    put_on(ask, "willet")
    (item,) = read_day(folder).items
    body = {"name": "no_fire_ban", "scope": "day", **told}
    answer = ask(f"answers/{item.id}", body)
    assert answer.status_code == 400
    assert named in answer.get_json()["problem"]
    assert folder.names("answers") == []


def test_flown_stands_in_the_log_once_and_what_happened_corrects_it(ask, folder):
    put_on(ask, "willet")
    (item,) = read_day(folder).items
    assert ask("day/flown", {"id": item.id, "decided_by": " "}).status_code == 400
    for _ in range(2):
        ask.good("day/flown", {"id": item.id, "decided_by": "Ada Range"})
    found = {"piece": "rocket", "latitude": "41.6071", "longitude": "-117.9422"}
    ask.good("day/happened", {"id": item.id, "notes": "late"})
    ask.good("day/happened", {"id": item.id, "found": {**found, "error": "5 m"}})
    for place in (10**400, "x"):
        bad = {"id": item.id, "found": {**found, "latitude": place}}
        assert ask("day/happened", bad).status_code == 400
    for odd in (
        {"longitude": "117.9422"},  # west is negative
        {"latitude": "0", "longitude": "0"},
        {"piece": "ro\n0123abcd  2026-06-13 08:30  go"},
    ):
        bad = {"id": item.id, "found": {**found, **odd}}
        assert ask("day/happened", bad).status_code == 400
    with Log(folder.path("log.sqlite"), create=False) as log:
        (entry,) = log.current()
        assert len(log.entries()) == 3
    assert entry.body["decided_by"] == "Ada Range"
    assert entry.body["notes"] == "late"
    assert [find["at"] for find in entry.body["found"]] == [[41.6071, -117.9422]]
    out = CliRunner().invoke(
        cli, ["log", "list", "--log", str(folder.path("log.sqlite"))]
    )
    assert "found rocket" in out.output
    assert ask("day/drop", {"id": item.id}).status_code == 400  # it stays in the list


def test_what_did_not_fly_after_all_waits_again_and_the_log_tells_both(ask, folder):
    put_on(ask, "dunlin")
    (item,) = read_day(folder).items
    ask.good("day/flown", {"id": item.id, "decided_by": "Ada Range"})
    ask.good("day/happened", {"id": item.id, "flew": False, "notes": "misfire"})
    (again,) = read_day(folder).items
    assert (again.state, again.flight, again.outcome) == ("waiting", item.flight, "")
    assert last_flown(folder, "Dunlin 38", None) is None
    ask.good("day/flown", {"id": again.id, "decided_by": "Ada Range"})
    with Log(folder.path("log.sqlite"), create=False) as log:
        told = [entry.body["flew"] for entry in holding(log.entries())]
    assert told == [False, True]


def test_the_next_flight_of_a_rocket_is_asked_about_anew(ask, desk, folder):
    """Its motor and loading are others: what was answered for the flight flown is spent."""
    put_on(ask, "willet")
    put_on(ask, "willet")
    first, second = read_day(folder).items
    body = {"name": "stability_checked", "scope": "flight", "value": "yes", "by": "Ada"}
    day = {"name": "no_fire_ban", "scope": "day", "value": "yes", "by": "Ada"}

    def given(item, name="stability_checked"):
        rows = ask.good(f"answers/{item.id}")
        return next((row["given"], row["stale"]) for row in rows if row["name"] == name)

    one = ask.good(f"answers/{first.id}", body)["file"]
    ask.good(f"answers/{first.id}", day)
    assert given(second) == ("yes", "")
    ask.good("day/flown", {"id": first.id, "decided_by": "Ada Range"})
    answer, stale = given(second)
    assert answer == ""
    assert "which is over" in stale
    assert given(second, "no_fire_ban") == ("yes", "")
    two = ask.good(f"answers/{second.id}", body)["file"]
    assert two != one
    assert given(second) == ("yes", "")
    assert "flown" in folder.text(one)
    answer = ask(f"answers/{first.id}", body)  # a page left open
    assert answer.status_code == 400
    assert "has flown" in answer.get_json()["problem"]
    ask.good("day/happened", {"id": first.id, "flew": False, "notes": "misfire"})
    for item in read_day(folder).items:
        assert given(item)[0] == ""
        assert given(item, "no_fire_ban") == ("yes", "")


@pytest.mark.parametrize("what", ["map", "sheet", "poster", "caller"])
def test_what_is_opened_has_the_word_of_now_about_it(ask, what):
    page = ask(f"page/{what}/x")
    assert "own/watch.js" in page.text
    assert "frame-src 'self'" in page.headers["Content-Security-Policy"]


def test_a_fault_of_the_desk_itself_is_one_line(ask, monkeypatch):
    def broken(*_, **__):
        raise ImportError("upgraded while it ran")

    monkeypatch.setattr("driftmap.desk.app.state_of", broken)
    monkeypatch.setitem(app().config, "PROPAGATE_EXCEPTIONS", False)
    answer = ask("state")
    assert answer.status_code == 500
    assert answer.get_json()["problem"].startswith("a fault in driftmap itself")


def test_what_can_have_happened_is_named(ask):
    put_on(ask, "willet")
    (item,) = ask.good("state")["items"]
    told = ask.good(f"day/names/{item['id']}")
    assert {"recovery works", "canopy tangles"} <= set(told["cases"])
    assert told["pieces"][0] == "rocket"
    assert "stuck in the ground" in told["states"]


def test_flown_again_after_a_kill_between_log_and_list_is_one_entry(ask, folder):
    put_on(ask, "willet")
    (item,) = read_day(folder).items
    before = folder.read("day.toml")
    ask.good("day/flown", {"id": item.id, "decided_by": "Ada Range"})
    folder.path("day.toml").write_bytes(before)  # as if the list was never written
    ask.good("day/flown", {"id": item.id, "decided_by": "Ada Range"})
    with Log(folder.path("log.sqlite"), create=False) as log:
        assert len(log.entries()) == 1


LINE = '[[flight]]\nfile = "flights/dunlin.toml"\n'


def logged(folder):
    with Log(folder.path("log.sqlite"), create=False) as log:
        return [entry.body["decided_by"] for entry in log.current()]


def flown_by(ask, folder, who, at=0):
    item = read_day(folder).items[at]
    ask.good("day/flown", {"id": item.id, "decided_by": who})


@pytest.mark.parametrize("again", ["its only line", "a copy", "tomorrow"])
def test_a_list_written_by_hand_logs_each_flight_of_its_own(ask, folder, again):
    """A line without a name, two of one name, or a list copied for another day."""
    put_on(ask, "dunlin")  # brings the file
    day = folder.path("day.toml")
    named = 'id = "ab12cd34"\n' if again != "its only line" else ""
    day.write_text(f'date = "2026-11-27"\n{LINE}{named}')
    flown_by(ask, folder, "Anna Reed")
    kept = day.read_text()
    if again == "a copy":
        block = kept[kept.index("[[flight]]") :]
        day.write_text(f"{kept}\n{block}")
        assert [item.state for item in read_day(folder).items] == ["flown", "waiting"]
        flown_by(ask, folder, "Ben Hale", at=1)
    else:
        date = "2026-11-28" if again == "tomorrow" else "2026-11-27"
        day.write_text(f'date = "{date}"\n{LINE}{named}')
        flown_by(ask, folder, "Ben Hale")
    assert sorted(logged(folder)) == ["Anna Reed", "Ben Hale"]
    assert len({item.id for item in read_day(folder).items} - {""}) == len(
        read_day(folder).items
    )
    assert read_day(folder) == read_day(folder)


def test_a_line_that_waits_and_has_flown_is_said_so(ask, folder):
    put_on(ask, "dunlin")
    flown_by(ask, folder, "Anna Reed")
    day = folder.path("day.toml")
    day.write_text(day.read_text().replace('"flown"', '"waiting"'))
    answer = ask("state")
    assert answer.status_code == 400
    assert (
        "flight 1: waits, yet the log has its outcome" in answer.get_json()["problem"]
    )


def test_the_list_is_ordered_by_hand(ask, folder):
    put_on(ask, "willet", "dunlin")
    one, two = read_day(folder).items
    ask.good("day/move", {"id": two.id, "by": -1})
    assert [item.id for item in read_day(folder).items] == [two.id, one.id]
    ask.good("day/drop", {"id": two.id})
    assert [item.id for item in read_day(folder).items] == [one.id]
    assert ask("day/move", {"id": two.id, "by": 1}).status_code == 400


@pytest.mark.parametrize(
    "text",
    ["winds = 7", "units = 'x'", "units = ['us']", "[[flight]]\n", "=", "flight = 3"],
)
def test_a_list_that_is_broken_is_said_so(ask, folder, text):
    folder.path("day.toml").write_text(text)
    answer = ask("state")
    assert answer.status_code == 400
    assert answer.get_json()["problem"].startswith("day.toml")


def test_a_port_that_is_taken_is_said_so(tmp_path):
    import socket

    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(InputError, match="--port"):
            serve(tmp_path, port=port, show=False, echo=lambda text: None)


def serving(path):
    """Serve a folder in a process of its own; give it and the address it told."""
    code = "from driftmap.cli import main; main()"
    command = [sys.executable, "-c", code, "desk", str(path), "--no-browser"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    return process, process.stdout.readline().strip()


@pytest.mark.slow  # starts whole desks
def test_a_desk_that_comes_again_has_its_address_and_a_second_says_where(tmp_path):
    open_folder(tmp_path)
    first, told = serving(tmp_path)
    try:
        address = told.split()[-1]
        second, said = serving(tmp_path)
        assert second.wait(60) == 0
        assert said == f"The desk of {tmp_path} is open already: {address}"
        second.stdout.close()
    finally:
        first.kill()  # nothing that was to be done at its end is done
        first.wait(60)
        first.stdout.close()
    again, told = serving(tmp_path)
    again.kill()
    again.wait(60)
    again.stdout.close()
    assert told.split()[-1] == address


def test_a_key_that_others_may_read_is_no_key(folder):
    remember(folder.root, "address", {"port": 7, "key": "k" * 20})
    assert remembered(folder.root, "address")["port"] == 7
    if os.name == "posix":
        (folder.root / ".desk" / "address.json").chmod(0o644)
        assert remembered(folder.root, "address") == {}


# --- the flight


def test_the_forms_know_every_key_of_the_file():
    from driftmap.desk.forms import tables
    from driftmap.rocket.pieces import Piece
    from driftmap.rocket.stages import Device

    known = {table["name"]: table["fields"] for table in tables()}
    keys = {field["key"].partition(".")[0] for field in known["recovery"]}
    assert keys == set(Device.model_fields)
    assert {field["key"] for field in known["piece"]} == set(Piece.model_fields)
    mass = next(field for field in known["airframe"] if field["key"] == "mass")
    assert mass["needed"]
    assert mass["first"]
    assert "kg" in mass["units"]
    assert mass["range"] == "from 1 g to 1000 kg"
    drag = next(f for f in known["airframe"] if f["key"] == "drag_coefficient")
    assert "0.55" in drag["told"]
    assert "assumed" in drag["told"]
    untold = [
        (table["name"], field["key"])
        for table in tables()
        for field in table["fields"]
        if not field["told"] or "`" in field["told"]
    ]
    assert untold == []


def set_(ask, stem, path, value, **more):
    base = ask.good(f"flights/{stem}")["revision"]
    body = {"base": base, "path": path, "value": value, **more}
    return ask(f"flights/{stem}", body, method="PUT")


def test_a_change_of_one_key_leaves_the_fliers_comments_alone(ask, folder):
    before = folder.text("flights/willet.toml")
    assert set_(ask, "willet", ["airframe", "mass"], "1.9 kg").status_code == 200
    after = folder.text("flights/willet.toml")
    changed = [
        (a, b)
        for a, b in zip(before.splitlines(), after.splitlines(), strict=True)
        if a != b
    ]
    assert len(changed) == 1
    assert changed[0][1].startswith('mass = "1.9 kg"')
    assert "# at lift-off, with motor and propellant" in changed[0][1]


def test_six_answers_make_a_flight_that_the_commands_read(ask, folder):
    file = ask.good("flights", {"name": "Own Rocket"})["file"]
    stem = file.removeprefix("flights/").removesuffix(".toml")
    assert "is missing" in ask.good(f"flights/{stem}")["problem"]
    for path, value in (
        (["airframe", "mass"], "1.2 kg"),
        (["airframe", "diameter"], "54 mm"),
        (["airframe", "length"], "1.1 m"),
        (["motor", "total_impulse"], "120 N s"),
        (["motor", "burn_time"], "1.6 s"),
        (["motor", "propellant_mass"], "60 g"),
        (["recovery", 0, "name"], "main"),
        (["recovery", 0, "kind"], "canopy"),
        (["recovery", 0, "diameter"], "0.9 m"),
        (["recovery", 0, "opens_at"], "apogee"),
        (["rail", "length"], "1.5 m"),
        (["rail", "angle"], "3 deg"),
    ):
        told = set_(ask, stem, path, value).get_json()
    assert told["problem"] == ""
    drawn = ask.good(f"flights/{stem}/pictures")
    assert drawn["side"].startswith("<svg")
    assert "top" in drawn["facts"][0]
    given = ["cases", str(folder.path(file)), "--wind", "5 mph from 80"]
    assert CliRunner().invoke(cli, given).exit_code == 0


def test_no_recovery_printed_fins_and_a_home_made_canopy_are_no_dead_end(ask):
    assert set_(ask, "willet", ["recovery"], None).status_code == 200
    told = set_(ask, "willet", ["descent", "planned"], "nose first").get_json()
    assert told["problem"] == ""
    plastic = ("material", "solid plastic")
    for key, value in (plastic, ("printed", True), ("infill", "20 %")):
        told = set_(ask, "willet", ["piece", 0, key], value).get_json()
    shape = {"root": "12 cm", "tip": "6 cm", "span": "6 cm", "thickness": "4 mm"}
    for key, value in {**shape, "area": "54 cm2"}.items():
        told = set_(ask, "willet", ["piece", 0, key], value).get_json()
    assert "area" in told["problem"]
    told = set_(ask, "willet", ["piece", 0, "area"], None).get_json()
    assert told["problem"] == ""
    assert set_(ask, "willet", ["descent"], None).status_code == 200
    for key, value in (
        ("name", "bin bag"),
        ("kind", "canopy"),
        ("type", "flat hexagon"),
        ("area", "0.5 m2"),
        ("opens_at", "apogee"),
        ("cloth", "plastic film"),
    ):
        told = set_(ask, "willet", ["recovery", 0, key], value).get_json()
    assert told["problem"] == ""
    told = set_(ask, "willet", ["recovery", 0, "strength", "lines"], "60 N").get_json()
    assert told["values"]["recovery"][0]["strength"] == {"lines": "60 N"}
    assert told["problem"] == ""


@pytest.mark.slow  # as a flight of six answers
def test_stages_and_other_ways_down_are_typed_and_nothing_of_them_is_lost(ask, folder):
    shutil.copy(ROOT / "examples" / "godwit.toml", folder.root / "flights")
    before = folder.text("flights/godwit.toml")
    assert ask.good("flights/godwit")["problem"] == ""
    drawn = ask.good("flights/godwit/pictures")
    assert drawn["thrust"].count("<polyline") == 2
    for path, value in (
        (["sustainer", "ignition"], "1.1 s"),
        (["sustainer", "motor", "burn_time"], "1.6 s"),
        (["booster", "recovery", 0, "diameter"], "1 m"),
        (["alternative", 0, "name"], "smaller"),
        (["alternative", 0, "recovery", 0, "name"], "main"),
        (["alternative", 0, "recovery", 0, "kind"], "canopy"),
        (["alternative", 0, "recovery", 0, "diameter"], "0.8 m"),
        (["alternative", 0, "recovery", 0, "opens_at"], "apogee"),
        (["alternative", 0, "recovery", 0, "strength", "lines"], "60 N"),
    ):
        told = set_(ask, "godwit", path, value).get_json()
    assert told["problem"] == ""
    flight = read_flight(folder.path("flights/godwit.toml"))
    assert flight.sustainer.ignition.value == 1.1
    assert flight.booster.recovery[0].diameter == 1.0
    assert flight.alternatives[0].recovery[0].strength == {"lines": 60.0}
    kept = folder.text("flights/godwit.toml").splitlines()
    lost = [line for line in before.splitlines() if line not in kept]
    assert [line.split(" =")[0] for line in lost] == [
        *("ignition", "burn_time", "diameter")
    ]
    told = set_(ask, "godwit", ["booster", "recovery", 0], None).get_json()
    assert told["problem"] == ""
    assert "sustainer" in told["values"]
    set_(ask, "godwit", ["booster"], None)
    assert set_(ask, "godwit", ["sustainer"], None).get_json()["problem"] == ""
    air = (["ignition"], "1 s"), (["motor", "total_impulse"], "40 N s")
    for path, value in (
        *air,
        (["motor", "burn_time"], "1 s"),
        (["motor", "propellant_mass"], "20 g"),
    ):
        told = set_(ask, "godwit", ["air_start", *path], value).get_json()
    assert told["problem"] == ""


@pytest.mark.parametrize(
    ("path", "value", "more", "status"),
    [
        (["airframe", "mass"], "heavy", {}, 200),  # written, and said to be wrong
        (["airframe", "Mass"], "1 kg", {}, 400),
        (["..", "x"], "1 kg", {}, 400),
        ([], "1 kg", {}, 400),
        (["recovery", 99, "name"], "x", {}, 400),
        (["recovery", 5, "name"], "x", {}, 400),
        (["name", "x"], "1", {}, 400),
        (["airframe", "mass"], {"a": 1}, {}, 400),
        (["airframe", "drag_by_mach"], "[[0, 0.4]", {"literal": True}, 400),
    ],
)
def test_what_is_no_value_is_said_where_it_stands(
    ask, folder, path, value, more, status
):
    before = folder.text("flights/willet.toml")
    answer = set_(ask, "willet", path, value, **more)
    assert answer.status_code == status, answer.get_json()
    assert answer.get_json()["problem"]
    if status == 400:
        assert folder.text("flights/willet.toml") == before


def test_every_fault_is_told_by_its_place_however_many(ask, folder):
    """The line of a command tells the first; each field of the form its own."""
    text = folder.text("flights/dunlin.toml").replace('kind = "fin"', 'kind = "fan"')
    text += "".join(f'[[piece]]\nname = "p{i} (b)"\nwings = {i}\n' for i in range(9))
    folder.write("flights/dunlin.toml", text.encode(), None)
    shown = ask.good("flights/dunlin")
    assert "more]" in shown["problem"]
    told = dict(map(tuple, shown["faults"]))
    assert "'fan'" in told["piece 1 (fin), kind"]
    assert all(f"piece {i + 3} (p{i} (b)), wings" in told for i in range(9))


def test_likelihoods_and_limits_are_set_by_name(ask, folder):
    shown = ask.good("flights/willet")
    assert "area_hit" in shown["names"]["limits"]
    flight = read_flight(folder.path("flights/willet.toml"))
    for name in shown["names"]["cases"]:  # each is taken as it is named
        build_cases(flight.model_copy(update={"cases": {name: 0.001}}))
    for path, value in (
        (["cases", "canopy tangles"], "4 %"),
        (["limits", "area_hit"], "0.05 %"),
    ):
        sent = {"base": shown["revision"], "path": path, "value": value}
        shown = ask.good("flights/willet", sent, method="PUT")
        assert shown["problem"] == ""
    flight = read_flight(folder.path("flights/willet.toml"))
    assert flight.cases["canopy tangles"] == 0.04
    assert flight.limits["area_hit"] == "0.05 %"
    sent = {"base": shown["revision"], "path": ["limits", "area_hit"], "value": "5 %"}
    assert "area_hit" in ask.good("flights/willet", sent, method="PUT")["problem"]


def test_two_windows_on_one_flight_do_not_overwrite_each_other(ask, folder):
    base = ask.good("flights/willet")["revision"]
    mine = {"base": base, "path": ["rail", "length"], "value": "2 m"}
    assert ask("flights/willet", mine, method="PUT").status_code == 200
    other = {"base": base, "path": ["rail", "length"], "value": "9 m"}
    answer = ask("flights/willet", other, method="PUT")
    assert answer.status_code == 409
    assert answer.get_json()["conflict"]
    assert tomllib.loads(folder.text("flights/willet.toml"))["rail"]["length"] == "2 m"


def test_a_copy_is_another_flight_and_a_curve_lies_beside_them(ask, folder):
    file = ask.good(
        "flights", {"name": "Willet, larger", "like": "flights/willet.toml"}
    )
    assert ask.good(f"flights/{Path(file['file']).stem}")["problem"] == ""
    curve = ask.good(
        "curves",
        {
            "name": "../../my motor.csv",
            "text": "time_s,thrust_n\n0,0\n0.1,90\n1,70\n1.2,0\n",
        },
    )
    assert folder.read(f"flights/{curve['curve']}")
    answer = ask("curves", {"name": "x.csv", "text": "a,b\n1,2\n"})
    assert answer.status_code == 400
    assert "x.csv" in answer.get_json()["problem"]


# --- the field and the survey


def test_a_field_is_saved_half_drawn_and_says_what_it_lacks(tmp_path):
    ask = Client(Desk(open_folder(tmp_path)))
    pad = {"type": "Feature", "properties": {"role": "pad"}}
    pad["geometry"] = {"type": "Point", "coordinates": [-117.952, 41.604]}
    site = {"type": "FeatureCollection", "name": "Own", "features": [pad]}
    told = ask.good("site", {"site": site, "base": ""}, method="PUT")
    assert "elevation" in told["problem"]
    site["elevation"] = "4050 ft"
    told = ask.good("site", {"site": site, "base": told["revision"]}, method="PUT")
    assert "boundary" in told["problem"]
    answer = ask("site", {"site": site, "base": "old"}, method="PUT")
    assert answer.status_code == 409
    for base in ({}, {"base": "old"}):  # nor is taken back what was not seen
        answer = ask("undo", {"file": "site.geojson", **base})
        assert answer.status_code == 409
    lain = {"site": {**site, "name": "Theirs"}, "base": "old", "aside": True}
    revision = ask.good("site", lain, method="PUT")["revision"]
    assert revision == told["revision"]  # what stands goes on standing
    for way, name in (("redo", "Theirs"), ("undo", "Own")):
        step = {"file": "site.geojson", "way": way, "base": revision}
        revision = ask.good("undo", step)["revision"]
        assert json.loads(ask.good("site")["text"])["name"] == name
    ask.good("undo", {"file": "site.geojson", "base": revision})
    assert "elevation" not in ask.good("site")["text"]
    assert ask("site", {"site": [], "base": ""}, method="PUT").status_code == 400


def test_the_survey_page_is_whole_in_itself(tmp_path):
    out = CliRunner().invoke(cli, ["survey", "--out", str(tmp_path)])
    assert out.exit_code == 0
    page = (tmp_path / "survey.html").read_text("utf-8")
    assert "import {" not in page
    assert "\nexport " not in page
    assert "http://" not in page.replace("http://www.w3.org", "")


# --- phones that read


def test_phones_read_the_list_and_change_nothing(desk):
    from driftmap.desk.readers import Readers, readers_app

    Client(desk).good("day/add", {"file": "flights/willet.toml"})
    readers = Readers(desk)
    client = readers_app(desk, "other-key", readers).test_client()
    head = {"Host": "192.168.7.7:9000", "X-Desk": "1"}
    told = client.get("/other-key/state?reader=a", headers=head).get_json()
    assert [item["name"] for item in told["items"]] == ["Willet 54"]
    assert "file" not in told["items"][0]
    client.get("/other-key/state?reader=b", headers=head)
    assert readers.count() == 2
    assert client.get(f"/{KEY}/state", headers=head).status_code == 404
    evil = {**head, "Host": "evil.example"}
    assert client.get("/other-key/state", headers=evil).status_code == 403
    for path in ("day/add", "winds/take", "undo", "site", "flights"):
        answer = client.post(f"/other-key/{path}", json={}, headers=head)
        assert answer.status_code == 404
    for path in ("site", "flights/willet", "own/desk.js", "answers/x", "page/sheet/x"):
        assert client.get(f"/other-key/{path}", headers=head).status_code == 404


def test_readers_are_let_in_by_a_key_shown_as_a_code_and_out_again(desk):
    from driftmap.desk.readers import Readers

    readers = Readers(desk)
    with pytest.raises(InputError):
        readers.code()
    readers.start()
    first = readers.address
    assert readers.code().lstrip().startswith("<?xml")
    readers.stop(void=False)  # the desk ends: phones know the way when it comes again
    assert readers.address == ""
    readers.start()
    assert readers.address.split("/")[3] == first.split("/")[3]
    readers.stop()
    readers.start()
    assert readers.address.split("/")[3] != first.split("/")[3]
    readers.stop()


def test_a_picture_is_laid_under_the_map_and_none_from_elsewhere(ask, folder):
    import base64
    import io

    from PIL import Image

    drawn = io.BytesIO()
    Image.new("RGB", (400, 300), "green").save(drawn, "PNG")
    data = base64.b64encode(drawn.getvalue()).decode()
    name = ask.good("pictures", {"name": "../../field.png", "data": data})["file"]
    assert name == "pictures/field.png"
    assert ask(name).mimetype == "image/png"
    assert ask("pictures/other.png").status_code == 404
    site = json.loads(folder.text("site.geojson"))
    points = [([0, 0], [-117.957, 41.61]), ([400, 0], [-117.947, 41.61])]
    points.append(([0, 300], [-117.957, 41.6044]))
    tied = [{"pixel": pixel, "at": at} for pixel, at in points]
    base = ask.good("site")["revision"]
    body = {"site": {**site, "picture": {"file": name, "points": tied}}, "base": base}
    told = ask.good("site", body, method="PUT")
    assert told["problem"] == ""
    assert told["picture"]["error"] < 20
    assert (
        told["picture"]["north"][1] < 0
    )  # rows run down the picture, south on the ground
    for file in ("../secret.png", "/etc/passwd", "pictures/none.png", 7):
        body = {"site": {**site, "picture": {"file": file, "points": tied}}}
        answer = ask("site", {**body, "base": told["revision"]}, method="PUT")
        assert answer.status_code == 400
    for bad in ("no base64 §", base64.b64encode(b"no picture").decode()):
        answer = ask("pictures", {"name": "x.png", "data": bad})
        assert answer.status_code == 400
    assert ask("pictures", {"name": "x.exe", "data": data}).status_code == 400
    assert folder.names("pictures") == ["pictures/field.png"]


# --- plans


@pytest.fixture(autouse=True)
def at_once(monkeypatch):
    """Work plans out at the tests' own priority: beside busy workers they would wait."""
    monkeypatch.setattr(os, "setpriority", lambda *_: None)


def worked_out(ask, work, **given):
    """Have a plan worked out, and wait until it is."""
    flight = given.pop("flight", "flights/dunlin.toml")
    ask.good("plans", {"work": work, "flight": flight, "pad": "", "given": given})
    while (now := ask.good("plans"))["running"]:
        time.sleep(0.1)
    return now


def test_every_command_has_its_form_at_the_desk():
    """What a command can do and no form does stands here, with the room that does it."""
    elsewhere = {
        "rules": "answers",
        "winds": "wind",
        "survey": "field",
        "desk": "itself",
    }
    assert set(works()) | set(elsewhere) == set(cli.list_commands(None))
    for name, work in works().items():
        command = cli.get_command(None, name)
        known = {option for one in command.params for option in one.opts}
        typed = {ask["option"] for ask in work["asks"] if ask["option"]}
        fixed = {w.partition("=")[0] for w in work["fixed"] if w.startswith("--")}
        if name != "log":
            assert typed | fixed <= known, name


def test_a_plan_is_the_line_that_is_shown(ask, folder):
    given = {"--from": "900 m", "--mass": "1.5 kg", "--drag-area": "0.75 m2"}
    put_on(ask)
    told = worked_out(ask, "drop", **given)
    line = shlex.split(told["line"])
    assert line[:2] == ["driftmap", "drop"]
    (done,) = told["done"]
    again = CliRunner().invoke(cli, _from(folder.root, line[1:]))
    assert done["told"] == again.stdout
    assert not done["old"]
    assert done["line"].strip() == told["line"]
    # What it does not take may change; a change of what it takes makes it old.
    folder.write("outcomes/own.toml", b"flew = true", None)
    assert not ask.good("plans")["done"][0]["old"]
    folder.write("site.geojson", folder.read("site.geojson") + b"\n", None)
    assert ask.good("plans")["done"][0]["old"]


def _from(root, words):
    """Name the winds of a line from here."""
    return [w.replace("=winds/", f"={root}/winds/") for w in words]


def test_a_plan_that_cannot_be_is_said_in_a_line_and_leaves_no_page(ask, folder):
    put_on(ask)
    page = folder.root / "plans" / "aim-dunlin" / "aim.html"
    page.parent.mkdir(parents=True)
    page.write_text("of an earlier wind")
    (folder.root / "flights" / "dunlin.toml").write_text("name = 7")
    told = worked_out(ask, "aim")
    assert told["failed"]
    assert "flights/dunlin.toml: name" in " ".join(told["said"])
    assert not page.exists()
    assert ask(f"plans/aim-dunlin/{page.name}").status_code == 404


def test_a_plan_that_has_fallen_silent_is_not_done_before_it_ends(ask, monkeypatch):
    put_on(ask)
    slow = "import os, sys, time; os.close(2); time.sleep(0.4); sys.exit(2)"
    monkeypatch.setattr("driftmap.desk.plans._RUN", slow)
    assert worked_out(ask, "aim")["failed"]


@pytest.mark.parametrize(
    ("body", "named"),
    [
        ({"work": "rm"}, "none that the desk runs"),
        ({"work": "aim", "flight": "flights/none.toml"}, "choose one"),
        ({"work": "aim", "flight": "../x.toml"}, "no file of the desk"),
        ({"work": "aim"}, "none counts yet"),
        ({"work": "limits", "given": {"--directions": 7}}, "must be text"),
        ({"work": "limits", "given": []}, "is no object"),
    ],
)
def test_no_plan_is_begun_of_what_is_none(ask, folder, body, named):
    whole = {"flight": "flights/dunlin.toml", "pad": "", "given": {}, **body}
    answer = ask("plans", whole)
    assert answer.status_code == 400
    assert named in answer.get_json()["problem"]
    assert not ask.good("plans")["running"]


def test_what_is_typed_for_a_plan_is_a_value_and_no_other_option(desk, ask):
    put_on(ask)
    assert line_of(desk, "help", "", {"": "--schema"}) == []
    given = {"--directions": "--out=/"}
    words = line_of(desk, "limits", "flights/dunlin.toml", given)
    assert "--directions=--out=/" in words
    assert [w for w in words if w.startswith("--out")] == ["--out=plans/limits-dunlin"]
    others = {"": ["--seed=2", "../x.toml", "flights/willet.toml"]}
    with pytest.raises(InputError, match="no file of the desk"):
        line_of(desk, "compare", "flights/dunlin.toml", others)


def test_a_plan_hears_a_wind_that_was_set_aside_as_no_longer_so(ask, desk):
    strong = ask.good("winds/take", {"text": "20 mph from 80"})["file"]
    ask.good("winds/take", {"text": "3 mph from 80"})
    aside(ask, strong)
    words = line_of(desk, "aim", "flights/dunlin.toml", {})
    assert f"--wind={strong}" in words
    ask.good("winds/count", {"file": strong, "counts": True})
    aside(ask, strong, why="mistyped")
    assert f"--wind={strong}" not in line_of(desk, "aim", "flights/dunlin.toml", {})
    # What is handed out bears a word, and would not tell what was set aside.
    for work in ("assess", "brief", "export"):
        with pytest.raises(InputError, match="mistyped, says Ada Range"):
            line_of(desk, work, "flights/dunlin.toml", {})


def test_what_was_found_at_the_desk_is_what_is_explained(desk, ask, folder):
    put_on(ask, "dunlin")
    (item,) = read_day(folder).items
    ask.good("day/flown", {"id": item.id, "decided_by": "Ada Range"})
    found = {"piece": "fin", "latitude": "41.6", "longitude": "-117.95", "error": "5 m"}
    ask.good("day/happened", {"id": item.id, "found": found})
    (asked,) = [a for a in works()["explain"]["asks"] if a["kind"] == "toml"]
    given = {asked["option"]: asked["given"]}
    words = line_of(desk, "explain", "flights/dunlin.toml", given)
    assert "--found=plans/explain-dunlin/seen.toml" in words
    text = (folder.root / "plans" / "explain-dunlin" / "seen.toml").read_text()
    assert tomllib.loads(text)["found"][0]["piece"] == "fin"


def flown_and_found(ask, folder):
    """Fly the Dunlin before any word counts, and find what happened to it."""
    put_on(ask, "dunlin")
    (item,) = read_day(folder).items
    ask.good("day/flown", {"id": item.id, "decided_by": "Ada Range"})
    found = {"piece": "rocket", "latitude": "41.6", "longitude": "-117.95"}
    told = {"id": item.id, "case": "streamer fails", "found": {**found, "error": "5 m"}}
    ask.good("day/happened", told)


@pytest.mark.parametrize("work", ["search", "explain"])
def test_what_is_looked_for_is_the_rocket_that_flew(desk, ask, folder, work):
    flown_and_found(ask, folder)
    name = "flights/dunlin.toml"
    text = folder.text(name)
    assert name in line_of(desk, work, name, {})
    folder.write(name, text.replace('mass = "', 'mass = "1').encode(), None)
    ask.good("day/begin", {})  # also on the day after
    words = line_of(desk, work, name, {})
    (flown,) = [word for word in words if word.startswith("plans/")]
    assert name not in words
    assert (folder.root / flown).read_text() == text
    assert any(word.startswith("--when=") for word in words)
    assert name in line_of(desk, work, name, {"--when": "2026-01-02 10:00"})


def test_what_happened_is_known_to_a_search_and_asked_of_an_explanation(
    desk, ask, folder
):
    flown_and_found(ask, folder)
    for work, known in (("search", {"is": "streamer fails"}), ("explain", None)):
        (asked,) = [a for a in works()[work]["asks"] if a["kind"] == "toml"]
        given = {asked["option"]: asked["given"]}
        line_of(desk, work, "flights/dunlin.toml", given)
        seen = tomllib.loads(
            (folder.root / f"plans/{work}-dunlin/seen.toml").read_text()
        )
        assert seen.get("case") == known
        assert seen["found"][0]["piece"] == "rocket"


def test_two_people_whose_names_begin_alike_answer_in_files_of_their_own(ask, folder):
    put_on(ask, "willet")
    (item,) = read_day(folder).items
    told = {"scope": "day", "value": "yes", "name": "no_fire_ban"}
    one, two = (f"Bartholomew Featherstone-{end}" for end in ("Ann", "Bea"))
    first = ask.good(f"answers/{item.id}", {**told, "by": one})["file"]
    other = {**told, "name": "waiver_active", "by": two}
    assert ask.good(f"answers/{item.id}", other)["file"] != first
    assert ask.good(f"answers/{item.id}", {**told, "by": one})["file"] == first
    by = {row["name"]: row["by"] for row in ask.good(f"answers/{item.id}")}
    assert one in by["no_fire_ban"]
    assert two in by["waiver_active"]
