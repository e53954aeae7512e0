"""Every flight of the day judged in the present wind, in the background, the next first."""

from __future__ import annotations

import multiprocessing
import os
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from multiprocessing.sharedctypes import Synchronized
from typing import Final

from driftmap.core.pools import end_with
from driftmap.desk.day import Item
from driftmap.desk.judging import (
    FULL,
    QUICK,
    StaleError,
    Task,
    TaskResult,
    judge_task,
    warm,
)
from driftmap.winds.times import present as now

_FRESH: Final = timedelta(minutes=4)
"""Age from which a word is flown anew: the wind's error grows as it ages; assumed."""

GOOD_FOR: Final = timedelta(minutes=10)
"""Age from which a word that was not flown anew holds; assumed."""

_WORKERS: Final = 2
_TICK: Final = 0.2  # s
_TURNS: Final = 4

# Fresh processes: forked ones would inherit the threads of the server.
_CONTEXT: Final = multiprocessing.get_context("spawn")
_present: Synchronized[int] | None = None  # of a worker: the round that counts


@dataclass(frozen=True, slots=True)
class KeptWord:
    """What stands beside a flight of the list now."""

    verdict: str
    sure: bool  # flown in full for the files as they are
    reason: str  # the one that governs
    more: tuple[str, ...] = ()
    was: str = ""  # the word before, where it was another
    told: TaskResult | None = None
    until: datetime | None = None  # when a go turns to hold by itself


def word_of(told: TaskResult | None, time: datetime, was: str = "") -> KeptWord:
    """Say the word of a flight at a time: never milder than what was flown.

    ``told``: what was flown for the files as they are.

    Result: hold where nothing was flown yet, too little, too long ago, or in a wind
    that has grown too old since.
    """
    if told is None:
        return KeptWord("hold", False, "Being worked out", was=was)
    until = told.when + GOOD_FOR
    late = "Worked out too long ago; it is being worked out again"
    if told.expires is not None and told.expires < until:
        until, late = told.expires, "The wind is too old, or it gets dark: look again"
    if time < told.when:
        late = "This computer's clock was set back: wait until it has caught up"
    reasons = told.reasons or (told.counts,)
    verdict, sure = told.verdict, told.sure or told.problem
    if verdict == "go" and not sure:
        verdict, reasons = (
            "hold",
            ("First flights are clear; more are being worked out",),
        )
    if verdict == "go" and not told.when <= time < until:
        verdict, reasons = "hold", (late, *reasons)
    changed = was if was and was != verdict else ""
    return KeptWord(verdict, sure, reasons[0], reasons[1:], changed, told, until)


@dataclass(slots=True)
class _Line:
    """What is known of one flight of the list."""

    print: str = ""
    quick: TaskResult | None = None
    full: TaskResult | None = None
    before: str = ""

    def told(self) -> TaskResult | None:
        return self.full or self.quick


@dataclass(slots=True)
class Queue:
    """The worker pool that judges flights; it asks what is wanted and never blocks a page.

    ``wanted`` names each flight with its task and the fingerprint of its files.
    """

    wanted: Callable[[], list[tuple[Item, Task, str]]]
    _lines: dict[str, _Line] = field(default_factory=dict)
    _running: dict[Future[TaskResult], tuple[str, str, int, int]] = field(
        default_factory=dict
    )
    _round: int = 0
    _lock: threading.RLock = field(default_factory=threading.RLock)
    _wake: threading.Event = field(default_factory=threading.Event)
    _stop: threading.Event = field(default_factory=threading.Event)
    _pool: Executor | None = None
    _press: Executor | None = None
    _now: Synchronized[int] = field(default_factory=lambda: _CONTEXT.Value("i", 0))

    def start(self) -> None:
        """Start the workers and the thread that feeds them."""
        self._pool = _new_pool(self._now)
        threading.Thread(target=self._run, name="queue", daemon=True).start()

    def stop(self) -> None:
        """Stop it; what is being flown is dropped."""
        self._stop.set()
        self._wake.set()
        for worker in multiprocessing.active_children():
            worker.terminate()
        for pool in (self._pool, self._press):
            if pool is not None:
                pool.shutdown(wait=True, cancel_futures=True)

    def hurry(self) -> None:
        """Look again at once: something was changed."""
        self._wake.set()

    def submit(self, what: Callable[..., str], *given: object) -> Future[str]:
        """Have a page drawn, by a worker of its own: no word waits for it."""
        if self._press is None:
            self._press = ProcessPoolExecutor(
                1, mp_context=_CONTEXT, initializer=_begin, initargs=(None,)
            )
        try:
            return self._press.submit(what, *given)
        except BrokenProcessPool:
            self._press = None
            return self.submit(what, *given)

    def word(self, item: Item, fingerprint: str, time: datetime) -> KeptWord:
        """Return the word of a flight for the files as they are."""
        with self._lock:
            line = self._lines.get(item.id) or _Line()
            known = line.told() if line.print == fingerprint else None
            return word_of(known, time, line.before)

    def standing(self, item: Item, fingerprint: str) -> TaskResult | None:
        """Return what the word rests on that counts: all flights, or the few of a no-go."""
        with self._lock:
            line = self._lines.get(item.id)
            told = line.told() if line and line.print == fingerprint else None
            return told if told is not None and told.sure else None

    def _run(self) -> None:
        while not self._stop.is_set():
            self._wake.wait(_TICK if self._running else 1.0)
            self._wake.clear()
            try:
                self._collect()
                self._feed()
            except BrokenProcessPool:
                self._running.clear()
                self._pool = _new_pool(self._now)

    def _collect(self) -> None:
        for future in [f for f in self._running if f.done()]:
            name, fingerprint, samples, _ = self._running.pop(future)
            try:
                told = future.result()
            except StaleError:
                continue
            with self._lock:
                line = self._lines.setdefault(name, _Line())
                if line.print == fingerprint:
                    _take(line, told, samples)

    def _feed(self) -> None:
        assert self._pool is not None
        for name, task, fingerprint in self._next():
            if len(self._running) >= _WORKERS:
                return
            key = (name, fingerprint, task.samples, self._round)
            if key in self._running.values():
                continue
            future = self._pool.submit(_judged, task, self._round)
            future.add_done_callback(lambda _: self._wake.set())
            self._running[future] = key

    def _next(self) -> Iterator[tuple[str, Task, str]]:
        """Name what is to be flown now, each at its turn."""
        lines = self.wanted()
        with self._lock:
            for item, _, fingerprint in lines:
                line = self._lines.setdefault(item.id, _Line())
                if line.print != fingerprint:
                    # The last sure word stays, to tell what a new wind changed.
                    last = line.told()
                    before = last.verdict if last and last.sure else line.before
                    self._lines[item.id] = _Line(fingerprint, before=before)
            alive = {item.id for item, _, _ in lines}
            for name in [n for n in self._lines if n not in alive]:
                del self._lines[name]
            known = {name: self._lines[name] for name in alive}
        self._drop_stale({item.id: fingerprint for item, _, fingerprint in lines})
        turns = [
            (_turn(known[item.id], task.when), item, task, p) for item, task, p in lines
        ]
        for turn in range(_TURNS):
            for own, item, task, fingerprint in turns:
                if own == turn:
                    flights = FULL if turn else QUICK
                    yield (
                        item.id,
                        replace(task, samples=flights, when=now()),
                        fingerprint,
                    )

    def _drop_stale(self, prints: dict[str, str]) -> None:
        """End what is being flown for files that have changed since."""
        if any(
            prints.get(name) != fingerprint
            for name, fingerprint, _, round_ in self._running.values()
            if round_ == self._round
        ):
            self._round += 1
            self._now.value = self._round


def _take(line: _Line, told: TaskResult, samples: int) -> None:
    if samples == QUICK and not told.problem:
        line.quick = told
        return
    if line.full and line.full.verdict != told.verdict:
        line.before = line.full.verdict
    line.full = told


def _turn(line: _Line, time: datetime) -> int | None:
    """Say when a flight's turn is: 0 for a first look, then as many flights as count."""
    told = line.told()
    if told is None:
        return 0
    if line.full is not None and abs(time - line.full.when) < _FRESH:
        return None
    # A no-go of few stands, so it comes last: in full it is for the map and the log.
    if told.verdict == "no-go":
        return 3
    # What was never flown in full goes before what grows old, or a slow machine never ends.
    return 1 if line.full is None else 2


def _new_pool(present: Synchronized[int]) -> Executor:
    pool = ProcessPoolExecutor(
        _WORKERS, mp_context=_CONTEXT, initializer=_begin, initargs=(present,)
    )
    for _ in range(_WORKERS):
        pool.submit(warm)
    return pool


def _begin(present: Synchronized[int] | None) -> None:
    """Let a worker go when the desk is gone, whatever ended it."""
    global _present  # noqa: PLW0603 - a process has one desk
    _present = present
    end_with(os.getppid())


def _judged(task: Task, round_: int) -> TaskResult:
    """Judge a task in a worker, until its round is over."""

    def look(_: int) -> None:
        if _present is not None and _present.value != round_:
            raise StaleError

    return judge_task(task, look)
