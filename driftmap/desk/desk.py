"""The desk itself: a folder, its day, and the words of its flights in the wind that counts."""

from __future__ import annotations

import dataclasses
import hashlib
import shutil
import threading
from collections.abc import Callable, Collection, Iterable, Iterator
from concurrent.futures import Future
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from driftmap.core.errors import DriftmapError, InputError
from driftmap.core.units import whole
from driftmap.desk.answers import answer_files
from driftmap.desk.day import DAY, Day, Item, read_day
from driftmap.desk.field import SITE, FieldFile
from driftmap.desk.folder import ROOMS, Folder, stamp
from driftmap.desk.judging import FULL, Task, drawn
from driftmap.desk.queue import KeptWord, Queue
from driftmap.logbook.entry_bodies import curves_of
from driftmap.verdict.people_checks import USUAL_DAY
from driftmap.winds.times import present as now

_PAGES = 24  # drawn pages kept
_BACK = 60.0  # s; a clock that is set by the network jumps less


@dataclass(slots=True)
class Desk:
    """A folder being served."""

    folder: Folder
    field: FieldFile = dataclasses.field(init=False)
    queue: Queue = dataclasses.field(init=False)
    _latest: float = 0.0  # that this computer's clock has shown [s]
    _pages: dict[str, Future[str]] = dataclasses.field(default_factory=dict)
    _drawing: threading.Lock = dataclasses.field(default_factory=threading.Lock)

    def __post_init__(self) -> None:
        self.field, self.queue = FieldFile(self.folder), Queue(self.wanted)
        # A desk that starts anew knows by its files what the clock showed before.
        self._latest = self.changed({"winds", "answers"})

    def rocket(self, name: str) -> str:
        """Return the name of the rocket in a flight file; the file's own where it is broken."""
        return str(self._flight(name).get("name") or Path(name).stem)

    def _flight(self, name: str) -> dict[str, Any]:
        """Read a flight file as it stands; empty where it is broken."""

        def read() -> dict[str, Any]:
            try:
                return self.folder.tables(name)
            except DriftmapError:
                return {}

        return self.folder.once(name, "tables", read)

    def own(self, name: str) -> str:
        """Return the fingerprint of a flight file and of the curves that it names."""
        path = self.folder.path(name)
        files = [path, *(path.parent / one for _, one in curves_of(self._flight(name)))]
        return repr([(file.name, stamp(file)) for file in files])

    def wanted(self) -> list[tuple[Item, Task, str]]:
        """Name what is to be flown: each flight that waits, with the fingerprint of its files."""
        # Asked each second, also with no page open.
        self._latest = max(self._latest, now().timestamp())
        try:
            return list(self._waiting(read_day(self.folder)))
        except (DriftmapError, OSError):
            return []  # the list tells it; what is mended is flown again

    def _waiting(self, day: Day) -> Iterator[tuple[Item, Task, str]]:
        if not day.winds or not self.folder.revision(SITE):
            return
        prints, answers = self.prints(day), answer_files(self.folder)
        for item in day.items:
            if item.state == "waiting" and self.folder.revision(item.flight):
                yield item, self.task(day, item, answers), prints(item)

    def task(
        self, day: Day, item: Item, answers: tuple[str, ...] | None = None
    ) -> Task:
        """Say what judging a flight of the day takes; `answers` where they are known."""
        return Task(
            root=str(self.folder.root),
            flight=item.flight,
            own=self.own(item.flight),
            site=SITE,
            pad=item.pad or None,
            winds=day.winds,
            aside=day.aside,
            answers=answer_files(self.folder) if answers is None else answers,
            when=now(),
            samples=FULL,
            units=day.units,
            flights=self.busy(day),
        )

    def busy(self, day: Day) -> int:
        """Count the flights of the list where they are more than the field's file tells; else 0.

        Where it tells none, those of a usual day stand in for it.
        """
        listed = sum(item.state != "not today" for item in day.items)
        told = self.field.tree().get("flights_today", USUAL_DAY)
        try:
            return listed if whole(told, 1, listed) < listed else 0
        except ValueError:  # more are told, or it is told wrongly
            return 0

    def prints(self, day: Day) -> Callable[[Item], str]:
        """Look once at the files that all flights share, for the fingerprint of each.

        Result: gives the fingerprint of a flight in two parts, what is flown where and in
        which winds: a dial is of any wind.
        """
        known = (*self.folder.names("winds"), *day.winds)
        known = (*known, *(one.file for one in day.aside))
        winds = [*map(self.folder.path, dict.fromkeys(known))]
        files = (SITE, *answer_files(self.folder))
        paths = [*map(self.folder.path, files), *self.field.rule_files()]
        shared = (_stamps(paths), day.units, self.busy(day))
        blows = _digest((_stamps(winds), day.winds, day.aside))

        def of(item: Item) -> str:
            own = (item.flight, self.own(item.flight), item.pad)
            return f"{_digest((shared, own))}-{blows}"

        return of

    def changed(self, takes: Collection[str]) -> float:
        """Tell when anything of the folder that a plan takes was last changed [s]."""
        rooms = {"flight": "flights", "of": "flights", "finds": "outcomes"}
        kinds = {rooms.get(one, one) for one in takes} & {*ROOMS}
        names = [name for room in sorted(kinds) for name in self.folder.names(room)]
        names += [DAY] * ("winds" in kinds) + ["answers.toml"] * ("answers" in kinds)
        paths = [*map(self.folder.path, (SITE, *names)), *self.field.rule_files()]
        found = [stamp(path) for path in paths]
        return max((one[1] / 1e9 for one in found if one), default=0.0)

    def check_told(self) -> None:
        """Refuse to judge while something told is not read, or not written: it may say no."""
        for name, why in self.folder.refused.copy().items():
            text = f"could not be written ({why}): make room, and tell it again"
            raise InputError(name, "", text)
        if odd := self.folder.unread("answers"):
            text = "is not read, and may say no: give it a plain name in .toml, or take it out"
            raise InputError(odd[0][:60], "", text)

    def fingerprint(self, day: Day, item: Item) -> str:
        """Give a fingerprint of what a word was flown for: any change of a file changes it."""
        return self.prints(day)(item)

    def word(
        self, day: Day, item: Item, prints: Callable[[Item], str] | None = None
    ) -> KeptWord:
        """Return the word of a flight now; `prints` where they are known."""
        if not self.folder.revision(item.flight):
            return KeptWord("hold", True, f"{item.flight} is not in the folder")
        if not self.folder.revision(SITE):
            return KeptWord("hold", True, "No field is drawn yet")
        if not day.winds:
            return KeptWord("hold", True, "No wind is read yet")
        time = now()
        word = self.queue.word(item, (prints or self.prints(day))(item), time)
        try:
            self.check_told()
            self._check_clock(time)
        except InputError as problem:
            if word.verdict == "go":
                return replace(word, verdict="hold", reason=str(problem), until=None)
        return word

    def _check_clock(self, time: datetime) -> None:
        """Refuse a go where this computer's clock was set back: ages would be too small."""
        self._latest = max(self._latest, time.timestamp())
        back = self._latest - time.timestamp()
        if back > _BACK:
            text = (
                f"was set back by {back / 60:.0f} min, or a file here is from the future: no "
                "age is sure. Set it right and read the wind; if it is right, wait until it "
                "has caught up, or begin in a new folder"
            )
            raise InputError("this computer's clock", "", text)

    def page(self, name: str, what: str, language: str = "en") -> str | None:
        """Return the map, sheet, field or dial of a flight of the list; None while it is drawn."""
        day = read_day(self.folder)
        item = day.item(name)
        of = self.fingerprint(day, item)
        known = self.queue.standing(item, of)
        if not day.winds and what != "dial":
            raise InputError("wind", "", "none counts yet: type a reading")
        self.check_told()
        self._check_clock(now())
        task = self.task(day, item)
        if known is not None:
            task = replace(task, when=known.when)
        # A dial serves some hours about the one that it was made for.
        hour = task.when.replace(minute=0, second=0, microsecond=0)
        stamp = hour if what == "dial" or known is None else task.when
        key = f"{what} {language} {item.id} {of} {stamp}"
        with self._drawing:
            if key not in self._pages:
                for old in [k for k, v in self._pages.items() if v.done()][:-_PAGES]:
                    del self._pages[old]
                self._pages[key] = self.queue.submit(drawn, task, what, language)
            page = self._pages[key]
        if not page.done():
            return None
        if page.exception() is not None:
            with self._drawing:
                self._pages.pop(key, None)
        # The page about it compares this with the word of now: it tells what it was drawn of.
        mark = f'<head><meta name="drawn-of" content="{of}">'
        return page.result().replace("<head>", mark, 1)


def _stamps(paths: Iterable[Path]) -> list[tuple[str, object]]:
    return [(str(path), stamp(path)) for path in paths]


def _digest(what: object) -> str:
    return hashlib.sha256(repr(what).encode()).hexdigest()


def open_folder(path: Path) -> Folder:
    """Open a folder for the desk, and make its rooms."""
    if path.exists() and not path.is_dir():
        raise InputError(str(path), "", "is no folder")
    for room in ("flights", "winds", "answers"):
        (path / room).mkdir(parents=True, exist_ok=True)
    if shutil.disk_usage(path).free < 50_000_000:
        raise InputError(str(path), "", "has less than 50 MB left on its disk")
    return Folder(path.resolve())
