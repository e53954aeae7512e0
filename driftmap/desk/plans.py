"""Plans of the desk: the commands themselves, run over its folder, each with its own few fields.

What is worked out is what the command prints and writes; the line that did it is shown, so
that it can be typed. One is run at a time, in a process of its own, and the words go first.
"""

from __future__ import annotations

import contextlib
import os
import re
import shlex
import subprocess
import sys
import threading
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import tomlkit

from driftmap.core.errors import DriftmapError, InputError
from driftmap.desk.answers import answer_files
from driftmap.desk.day import WHYS, Day, read_day
from driftmap.desk.desk import Desk
from driftmap.desk.field import SITE
from driftmap.desk.outcomes import Logged, last_flown, seen_of
from driftmap.desk.winds import still_heard, told_aside
from driftmap.logbook.entry_bodies import flight_contents, put_back
from driftmap.verdict.assessment import STALE
from driftmap.winds.times import clock_time

_ROOM: Final = "plans"
_TOLD: Final = "told.txt"
_LINE: Final = "line.txt"  # written when it was begun
_NAME: Final = re.compile(r"[\w-]{1,80}")
_FILE: Final = re.compile(r"[\w-]{1,60}\.(html|json|jsonl|geojson|gpx|kml|csv|txt)")
_LONGEST: Final = 20_000  # letters of what is typed into one field
_RUN: Final = "from driftmap.cli import main; main()"


@cache
def works() -> dict[str, dict[str, Any]]:
    """Read what can be worked out, by the name of its command, in the order of the forms."""
    table = tomllib.loads(
        files(__package__).joinpath("page/plans.toml").read_text("utf-8")
    )
    more, none = table.pop("more"), {"kind": "text", "given": "", "choices": []}
    asked = {
        name: [
            *({**none, **ask, "more": False} for ask in work.get("asks", [])),
            *(
                {**none, **a, "more": True}
                for k in work.get("more", [])
                for a in more[k]
            ),
        ]
        for name, work in table.items()
    }
    return {
        name: {"note": "", "fixed": [], **work, "name": name, "asks": asked[name]}
        for name, work in table.items()
    }


@dataclass(slots=True)
class Plans:
    """The plans of a desk: one that is being worked out, and those in its folder."""

    desk: Desk
    _running: subprocess.Popen[bytes] | None = None
    _name: str = ""
    _line: str = ""
    _ear: threading.Thread | None = None
    _said: list[str] = field(default_factory=list)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def begin(self, work: str, flight: str, pad: str, given: Mapping[str, Any]) -> None:
        """Run a command over the folder; what it cannot read it says itself."""
        if work not in works():
            raise InputError("plan", work[:40], "is none that the desk runs")
        with self._lock:
            if self._works():
                raise InputError("plan", "", f"{self._name} is being worked out: wait")
            stem = Path(flight).stem if "flight" in works()[work]["takes"] else ""
            self._name = "-".join(re.findall(r"[\w-]+", f"{work} {stem}"))[:80]
            words = [work, *self._words(work, flight, pad, given)]
            place = self._emptied()
            self._line, self._said = f"driftmap {shlex.join(words)}", []
            (place / _LINE).write_text(f"{self._line}\n", "utf-8")
            with (place / _TOLD).open("wb") as told:
                self._running = subprocess.Popen(
                    [sys.executable, "-c", _RUN, *words],
                    cwd=self.desk.folder.root,
                    stdin=subprocess.DEVNULL,
                    stdout=told,
                    stderr=subprocess.PIPE,
                )
            self._ear = threading.Thread(
                target=self._hear, args=[self._running], daemon=True
            )
            self._ear.start()
        if os.name == "posix":
            with contextlib.suppress(OSError):
                os.setpriority(os.PRIO_PROCESS, self._running.pid, 10)

    def _works(self) -> bool:
        """Tell whether a command runs: until all that it says is heard and its end is known."""
        return self._ear is not None and self._ear.is_alive()

    def _hear(self, run: subprocess.Popen[bytes]) -> None:
        assert run.stderr is not None
        with run.stderr as stream:
            for line in stream:
                told = line.decode("utf-8", "replace").strip()
                self._said = [*self._said[-8:], told]
        # Silent is not yet ended: told before, a plan that failed would pass as done.
        run.wait()

    def stop(self) -> None:
        """End what is being worked out."""
        with self._lock:
            if self._running is not None and self._works():
                self._running.terminate()
                self._running.wait(10)

    def told(self) -> dict[str, Any]:
        """Tell what is being worked out, and what was."""
        running = self._works()
        code = None if self._running is None or running else self._running.poll()
        return {
            "name": self._name,
            "line": self._line,
            "running": running,
            "said": self._said[-1:] if running else self._said,
            "failed": code not in {None, 0, 3, 4},
            "done": [*self._done(self._name if running else "")],
        }

    def file(self, name: str, file: str) -> bytes | None:
        """Give a file of a plan."""
        place = self._place(name)
        path = place / file
        good = _FILE.fullmatch(file) and not path.is_symlink() and path.is_file()
        return path.read_bytes() if good else None

    def _place(self, name: str) -> Path:
        place = self.desk.folder.root / _ROOM / name
        if not _NAME.fullmatch(name) or any(
            p.is_symlink() for p in (place, place.parent)
        ):
            raise InputError("plan", name[:80], "is none of the folder")
        return place

    def _emptied(self) -> Path:
        """Make the folder of a plan, without pages of an earlier run; a season goes on."""
        place = self._place(self._name)
        place.mkdir(parents=True, exist_ok=True)
        for old in place.iterdir():
            if _FILE.fullmatch(old.name) and old.suffix != ".jsonl":
                old.unlink()
        return place

    def _done(self, running: str) -> Iterator[dict[str, Any]]:
        """List the plans of the folder, the newest first, and whether each is still so.

        It is not where a file that it takes changed since it was begun, or where it was of a
        wind that is another by now.
        """
        room = self.desk.folder.root / _ROOM
        found = [] if room.is_symlink() or not room.is_dir() else [*room.iterdir()]
        known = [
            (line.stat().st_mtime, place)
            for place in found
            if place.name != running and (line := place / _LINE).is_file()
        ]
        now = datetime.now(UTC).timestamp()
        for time, place in sorted(known, reverse=True)[:40]:
            files = sorted(p.name for p in place.iterdir() if _FILE.fullmatch(p.name))
            takes = works().get(place.name.partition("-")[0], {}).get("takes", [])
            late = "winds" in takes and now - time > STALE
            yield {
                "name": place.name,
                "time": datetime.fromtimestamp(time, UTC).isoformat(),
                "old": late or self.desk.changed(takes) > time,
                "files": [name for name in files if name not in {_TOLD, _LINE}],
                "line": (place / _LINE).read_text("utf-8", "replace")[:_LONGEST],
                "told": (place / _TOLD).read_text("utf-8", "replace")[:_LONGEST],
            }

    def _words(
        self, work: str, flight: str, pad: str, given: Mapping[str, Any]
    ) -> Iterator[str]:
        """Write the command's line: its fixed words, what it takes, what was typed."""
        here, desk, day = works()[work], self.desk, read_day(self.desk.folder)
        takes = here["takes"]
        if {"flight", "of"} & {*takes} and not desk.folder.revision(flight):
            raise InputError("plan", "flight", "choose one")
        if "answers" in takes and (listed := desk.busy(day)):
            told = (
                f"the list holds {listed}, more than the field tells: change it there"
            )
            raise InputError(SITE, "flights_today", told)
        yield from here["fixed"]
        if "of" in takes:
            yield f"--flight={flight}"
        flew = self._flew(flight, given.get("--when")) if "finds" in takes else None
        if "flight" in takes:
            yield flight if flew is None else self._as_flown(flight, flew)
        if "site" in takes:
            desk.field.site(pad)
            yield SITE if work == "layout" else f"--site={SITE}"
            yield from [f"--pad={pad}"] if pad else []
        if "elevation" in takes:
            yield f"--site-elevation={desk.field.anywhere().elevation:g} m"
        if "winds" in takes:
            yield from self._winds(day, handed="word" in takes)
        if "answers" in takes:
            desk.check_answers()
            yield from (f"--answers={name}" for name in answer_files(desk.folder))
        if "words" in takes:
            language = str(given.get("language") or "en")
            yield f"--language={language if language.isalpha() else 'en'}"
        if {"words", "units"} & {*takes}:
            yield f"--units={day.units}"
        for ask in here["asks"]:
            value = given.get(ask["option"])
            yield from self._typed(ask, self._known(work, ask, value, flew))
        if "out" in takes:
            yield f"--out={_ROOM}/{self._name}"

    def _winds(self, day: Day, *, handed: bool) -> Iterator[str]:
        """Give the winds that the words hear; what is handed out must tell what was set aside."""
        desk = self.desk
        if handed and any(one.why == WHYS[0] for one in day.aside):
            told = f"{told_aside(day.aside)}: this would not tell so; Map and Sheet in Show do"
            raise InputError("plan", "", told)
        names = [*day.winds, *still_heard(desk.folder.root, day, desk.field.setting())]
        if not names:
            raise InputError("wind", "", "none counts yet: type a reading")
        yield from (f"--wind={name}" for name in names)

    def _flew(self, flight: str, when: Any) -> Logged | None:
        """Find in the log which flight of a rocket is looked for: that of a time, or the last."""
        text, time = str(when or "").strip(), None
        if text:
            with contextlib.suppress(ValueError, InputError):  # the command says it
                time = clock_time(text, datetime.now(UTC))
            if time is None:
                return None
        return last_flown(self.desk.folder, self.desk.rocket(flight), time)

    def _as_flown(self, flight: str, flew: Logged) -> str:
        """Name the flight's file, or where it is put as it flew if it was changed since."""
        root, place = self.desk.folder.root, self._place(self._name) / "flown"
        try:
            now = dict(flight_contents(root / flight))
        except DriftmapError:
            now = {}
        same = [now.get(what) == content for what, content in flew.own.items()]
        if all(same):
            return flight
        return str(put_back(place, flew.own).relative_to(root))

    def _known(
        self, work: str, ask: dict[str, Any], value: Any, flew: Logged | None
    ) -> Any:
        """Fill in what the log knows of a flight where nothing else was typed."""
        if ask["option"] == "--when" and flew is not None:
            return value or flew.time.isoformat()
        if ask["kind"] == "toml" and value == ask["given"]:
            return tomlkit.dumps(seen_of(flew, of_case=work == "search"))
        return value

    def _typed(self, ask: dict[str, Any], value: Any) -> Iterator[str]:
        """Give the words of one field: files by their names here, all else as typed."""
        texts = value if isinstance(value, list) else [value or ""]
        if not all(isinstance(text, str) and len(text) <= _LONGEST for text in texts):
            raise InputError("plan", ask["told"], f"must be text of at most {_LONGEST}")
        kind, option = ask["kind"], ask["option"]
        if kind == "rows":
            texts = texts[0].splitlines()
        if kind == "toml":
            path = self._place(self._name) / "seen.toml"
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(texts[0], "utf-8")
            texts = [f"{_ROOM}/{self._name}/{path.name}"]
        elif kind == "choice":
            texts = [text for text in texts if text in ask["choices"]]
        elif kind in {"flights", "wind", "winds"}:
            texts = [text for text in texts if text and self.desk.folder.revision(text)]
        for text in filter(None, map(str.strip, texts)):
            yield f"{option}={text}" if option else text
