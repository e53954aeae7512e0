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
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from driftmap.core.errors import InputError
from driftmap.desk.desk import Desk
from driftmap.desk.plan_words import LONGEST, words_of, works
from driftmap.verdict.assessment import STALE

_ROOM: Final = "plans"
_TOLD: Final = "told.txt"
_LINE: Final = "line.txt"  # written when it was begun
_NAME: Final = re.compile(r"[\w-]{1,80}")
_FILE: Final = re.compile(r"[\w-]{1,60}\.(html|json|jsonl|geojson|gpx|kml|csv|txt)")
_RUN: Final = "from driftmap.cli import main; main()"


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
            place = self._place(self._name)
            words = [work, *words_of(self.desk, work, place, flight, pad, given)]
            self._empty(place)
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
        """Return whether a command runs: until all that it says is heard and its end is known."""
        return self._ear is not None and self._ear.is_alive()

    def _hear(self, run: subprocess.Popen[bytes]) -> None:
        assert run.stderr is not None
        with run.stderr as stream:
            for line in stream:
                text = line.decode("utf-8", "replace").strip()
                self._said = [*self._said[-8:], text]
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

    @staticmethod
    def _empty(place: Path) -> None:
        """Make the folder of a plan, without pages of an earlier run; a season goes on."""
        place.mkdir(parents=True, exist_ok=True)
        for old in place.iterdir():
            if _FILE.fullmatch(old.name) and old.suffix != ".jsonl":
                old.unlink()

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
                "line": (place / _LINE).read_text("utf-8", "replace")[:LONGEST],
                "told": (place / _TOLD).read_text("utf-8", "replace")[:LONGEST],
            }
