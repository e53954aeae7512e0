"""The desk itself: a folder, its day, and the words of its flights in the wind that counts."""

from __future__ import annotations

import hashlib
import shutil
import threading
from collections.abc import Callable, Collection, Iterator
from concurrent.futures import Future
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from driftmap.core.errors import DriftmapError, InputError
from driftmap.core.files import parse_json
from driftmap.core.units import whole
from driftmap.desk.answers import answer_files, told_back
from driftmap.desk.day import DAY, Day, Item, read_day
from driftmap.desk.folder import ROOMS, Folder, stamp
from driftmap.desk.judging import FULL, Task, drawn
from driftmap.desk.queue import KeptWord, Queue, word_of
from driftmap.desk.winds import rows_of_winds, setting_at, told_aside
from driftmap.ground.areas import Site
from driftmap.ground.site import read_site
from driftmap.logbook.entry_bodies import curves_of
from driftmap.rules.reading import own_files
from driftmap.winds.reading import Setting
from driftmap.winds.reading import present as now

SITE = "site.geojson"
_PAGES = 24  # drawn pages kept
_ZONES = 3.5  # h; no land's clock is farther from its sun's, but for a corner of one
_DATE_LINE = 150.0  # deg; beyond it lands are a day from each other
_BACK = timedelta(minutes=1)  # a clock that is set by the network jumps less
_GREENWICH = 7.5  # deg: half an hour of the sun; farther off no field keeps UTC


@dataclass(slots=True)
class Desk:
    """A folder being served."""

    folder: Folder
    queue: Queue = field(init=False)
    _latest: datetime = field(default_factory=now)
    _pages: dict[str, Future[str]] = field(default_factory=dict)
    _drawing: threading.Lock = field(default_factory=threading.Lock)

    def __post_init__(self) -> None:
        self.queue = Queue(self.wanted)

    def site(self, pad: str = "") -> Site:
        """Read the site about a pad; the first, where it has several and none is named."""
        if not self.folder.revision(SITE):
            raise InputError(SITE, "", "is not there yet: draw the field first")
        path = self.folder.path(SITE)
        return self.folder.once(SITE, pad, lambda: read_site(path, pad=pad or None))

    def setting(self, read_at: datetime | None = None) -> Setting:
        """Say what readers of winds must know here and now."""
        return setting_at(self.anywhere(), now(), read_at)

    def anywhere(self) -> Site:
        """Read the site about any of its pads: they share elevation and declination."""
        pads = self.pads()
        return self.site(pads[0] if len(pads) > 1 else "")

    def pads(self) -> list[str]:
        """Name the pads of the field; of several each flight must be given one."""
        try:
            told = [feature["properties"] for feature in self._tree()["features"]]
            return [str(p.get("name", "")) for p in told if p.get("role") == "pad"]
        except (KeyError, TypeError, AttributeError):
            return []  # what is wrong in it is told by its reader

    def _tree(self) -> dict[str, Any]:
        """Read the site file as it stands; empty where it is broken."""
        try:
            tree = parse_json(self.folder.text(SITE) or "{}", SITE)
        except DriftmapError:
            return {}
        return tree if isinstance(tree, dict) else {}

    def doubt(self) -> str:
        """Say why a time of day without a zone may mean another; empty where none does.

        A clock that shows UTC far from Greenwich is not the one on the wrist, nor is one
        that is hours from the sun's time there.
        """
        try:
            longitude = self.anywhere().longitude
        except DriftmapError:
            return ""
        ahead = now().astimezone().utcoffset() or timedelta(0)
        if not ahead and abs(longitude) > _GREENWICH:
            return "this computer's clock shows UTC, not the field's time"
        off = ahead / timedelta(hours=1) - longitude / 15
        if abs(longitude) > _DATE_LINE:
            off = (off + 12) % 24 - 12
        if abs(off) > _ZONES:
            return "this computer's clock is hours from the field's time"
        return ""

    def rocket(self, name: str) -> str:
        """Give the name of the rocket in a flight file; the file's own where it is broken."""
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
        """Give the print of a flight file and of the curves that it names."""
        path = self.folder.path(name)
        files = [path, *(path.parent / one for _, one in curves_of(self._flight(name)))]
        return repr([(file.name, stamp(file)) for file in files])

    def wanted(self) -> list[tuple[Item, Task, str]]:
        """Name what is to be flown: each flight that waits, with the print of its files."""
        # Asked each second, also with no page open.
        self._latest = max(self._latest, now())
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
            str(self.folder.root),
            item.flight,
            self.own(item.flight),
            SITE,
            item.pad or None,
            day.winds,
            day.aside,
            answer_files(self.folder) if answers is None else answers,
            now(),
            FULL,
            day.units,
            self._busy(day),
        )

    def _busy(self, day: Day) -> int:
        """Count the flights of the list where they are more than the field's file tells; else 0."""
        listed = sum(item.state != "not today" for item in day.items)
        try:
            told = whole(self._tree().get("flights_today", listed), 1, listed)
        except ValueError:  # none is told, more are, or it is told wrongly
            return 0
        return listed if told < listed else 0

    def prints(self, day: Day) -> Callable[[Item], str]:
        """Look at the files that all flights share once, for the print of each."""
        winds = (*self.folder.names("winds"), *day.winds)
        winds = (*winds, *(one.file for one in day.aside))
        files = (SITE, *dict.fromkeys(winds), *answer_files(self.folder))
        paths = [*map(self.folder.path, files), *self._rule_files()]
        parts = [(str(path), stamp(path)) for path in paths]
        shared = repr((parts, day.units, day.winds, day.aside, self._busy(day)))

        def of(item: Item) -> str:
            own = (item.flight, self.own(item.flight), item.pad)
            return hashlib.sha256(repr((shared, own)).encode()).hexdigest()

        return of

    def _rule_files(self) -> list[Path]:
        """Name the club's own rules that the site names, and those that they extend."""
        told = str(self._tree().get("rules", "")).split(",")
        return own_files(told, self.folder.root)

    def changed(self, takes: Collection[str]) -> float:
        """Tell when anything of the folder that a plan takes was last changed [s]."""
        rooms = {"flight": "flights", "of": "flights", "finds": "outcomes"}
        kinds = {rooms.get(one, one) for one in takes} & {*ROOMS}
        names = [name for room in sorted(kinds) for name in self.folder.names(room)]
        names += [DAY] * ("winds" in kinds) + ["answers.toml"] * ("answers" in kinds)
        paths = [*map(self.folder.path, (SITE, *names)), *self._rule_files()]
        found = [stamp(path) for path in paths]
        return max((one[1] / 1e9 for one in found if one), default=0.0)

    def unread(self) -> list[str]:
        """Name the files of the folder that are not read for their names."""
        return [name for room in ROOMS for name in self.folder.unread(room)]

    def check_answers(self) -> None:
        """Refuse to judge where an answer may say no that is not read for its name."""
        if odd := self.folder.unread("answers"):
            told = "is not read, and may say no: give it a plain name in .toml, or take it out"
            raise InputError(odd[0][:60], "", told)

    def fingerprint(self, day: Day, item: Item) -> str:
        """Tell apart what a word was flown for: any file changed is another print."""
        return self.prints(day)(item)

    def word(
        self, day: Day, item: Item, prints: Callable[[Item], str] | None = None
    ) -> KeptWord:
        """Give the word of a flight now; `prints` where they are known."""
        if not self.folder.revision(item.flight):
            return KeptWord("hold", True, f"{item.flight} is not in the folder")
        if not self.folder.revision(SITE):
            return KeptWord("hold", True, "No field is drawn yet")
        if not day.winds:
            return KeptWord("hold", True, "No wind is read yet")
        time = now()
        word = self.queue.word(item, (prints or self.prints(day))(item), time)
        try:
            self.check_answers()
            self._check_clock(time)
        except InputError as problem:
            if word.verdict == "go":
                return replace(word, verdict="hold", reason=str(problem), until=None)
        return word

    def _check_clock(self, time: datetime) -> None:
        """Refuse a go where this computer's clock was set back: ages would be too small."""
        self._latest = max(self._latest, time)
        back = self._latest - time
        if back > _BACK:
            told = (
                f"was set back by {back.total_seconds() / 60:.0f} min: no age is sure. "
                "Read the wind, and start the desk anew"
            )
            raise InputError("this computer's clock", "", told)

    def page(self, name: str, what: str, language: str = "en") -> str | None:
        """Give the map, sheet, field or dial of a flight of the list; None while it is drawn."""
        day = read_day(self.folder)
        item = day.item(name)
        of = self.fingerprint(day, item)
        known = self.queue.standing(item, of)
        if not day.winds and what != "dial":
            raise InputError("wind", "", "none counts yet: type a reading")
        self.check_answers()
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
        # Who shows it about the word of now knows by this what it was drawn of.
        mark = f'<head><meta name="drawn-of" content="{of}">'
        return page.result().replace("<head>", mark, 1)

    def state(self) -> dict[str, Any]:
        """Tell all that the list shows, as it stands now."""
        day, time = read_day(self.folder), now()
        prints = self.prints(day)
        items = [self._item_told(day, item, time, prints) for item in day.items]
        for later in [item for item in items if item["state"] == "waiting"][1:]:
            later["crowd"] = {}  # the crowd is shown the next flight alone
        return {
            "now": time.isoformat(),
            "date": day.date,
            "today": time.astimezone().date().isoformat(),
            "units": day.units,
            "site": self._site_told(),
            "items": items,
            "winds": self.winds_told(day),
            "aside": ". ".join(filter(None, self._unsaid(day))),
            "clock": self.doubt(),
            "meters": [asdict(meter) for meter in day.meters],
            "unread": self.unread(),
        }

    def _unsaid(self, day: Day) -> tuple[str, ...]:
        """Tell what was taken back by hand today, winds and answers."""
        told = told_aside(day.aside)
        try:
            return told, told_back(self.folder, self.anywhere().longitude, now())
        except DriftmapError:  # each word says of what cannot be read
            return (told,)

    def _site_told(self) -> dict[str, Any]:
        told: dict[str, Any] = {"name": "", "revision": self.folder.revision(SITE)}
        told |= {"problem": "", "pads": self.pads(), "people": []}
        try:
            site = self.anywhere()
            told["name"] = site.name
            told["people"] = [area.name for area in site.areas if area.occupied]
        except DriftmapError as problem:
            told["problem"] = self.folder.plain(problem)
        return {**told, "missing": not told["revision"]}

    def _item_told(
        self, day: Day, item: Item, time: datetime, prints: Callable[[Item], str]
    ) -> dict[str, Any]:
        waits = item.state == "waiting"
        word = self.word(day, item, prints) if waits else word_of(None, time)
        told, left = word.told, None
        if word.until is not None and word.verdict == "go":
            left = max(0.0, (word.until - time).total_seconds())
        return {
            "id": item.id,
            "file": item.flight,
            "name": self.rocket(item.flight),
            "pad": item.pad,
            "state": item.state,
            "of": prints(item) if waits else "",
            "word": word.verdict,
            "sure": word.sure,
            "reason": word.reason,
            "more": list(word.more),
            "was": word.was,
            "counts": "" if told is None else told.counts,
            "back": [] if told is None else list(told.back),
            "flown_at": None if told is None else told.when.isoformat(),
            "good_for": left,
            "crowd": {} if told is None else dict(told.crowd),
            "logged": item.logged,
            "outcome": item.outcome,
        }

    def winds_told(self, day: Day) -> dict[str, Any]:
        """Tell every wind of the folder in a line."""
        try:
            rows = rows_of_winds(self.folder, day, self.setting())
        except DriftmapError as problem:
            return {"rows": [], "problem": self.folder.plain(problem)}
        return {"rows": rows, "problem": "" if day.winds else "none counts yet"}


def made(path: Path) -> Folder:
    """Open a folder for the desk, and make its rooms."""
    if path.exists() and not path.is_dir():
        raise InputError(str(path), "", "is no folder")
    for room in ("flights", "winds", "answers"):
        (path / room).mkdir(parents=True, exist_ok=True)
    if shutil.disk_usage(path).free < 50_000_000:
        raise InputError(str(path), "", "has less than 50 MB left on its disk")
    return Folder(path.resolve())
