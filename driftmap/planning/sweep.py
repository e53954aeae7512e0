"""Many parts through any executor: in order, counted as they end, and a loss kept small."""

from __future__ import annotations

import os
from collections import OrderedDict, deque
from collections.abc import Callable, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    Executor,
    Future,
    ThreadPoolExecutor,
    wait,
)
from dataclasses import dataclass, field
from functools import partial
from threading import Lock
from typing import Final, Generic, TypeVar

P = TypeVar("P")
R = TypeVar("R")

V = TypeVar("V")

_ATTEMPTS: Final = 3
_LOST: Final = "its worker was lost, mostly for want of memory; fewer workers take less"


class Once(Generic[V]):
    """Work done once for each of its arguments, whichever thread asks first.

    What it raises is raised to all who ask. Of the results those asked for last are
    `kept`, all where that is None.
    """

    def __init__(self, work: Callable[..., V], kept: int | None) -> None:
        self._work, self._kept, self._lock = work, kept, Lock()
        self._begun: OrderedDict[tuple[float, ...], Future[V]] = OrderedDict()

    def __call__(self, *key: float) -> V:
        """Do the work, or wait for the thread that does it already."""
        with self._lock:
            begun = self._begun.get(key)
            mine = begun is None
            if begun is None:
                begun = self._begun[key] = Future()
            self._begun.move_to_end(key)
            self._forget()
        if mine:
            try:
                begun.set_result(self._work(*key))
            except BaseException as problem:
                begun.set_exception(problem)
        return begun.result()

    def put(self, value: V, *key: float) -> None:
        """Take what was done elsewhere, as if it had been done here."""
        done: Future[V] = Future()
        done.set_result(value)
        with self._lock:
            self._begun.setdefault(key, done)
            self._forget()

    def _forget(self) -> None:
        while self._kept is not None and len(self._begun) > self._kept:
            self._begun.popitem(last=False)


@dataclass(frozen=True, slots=True)
class Workers:
    """The workers on the parts of a sweep.

    Parameters
    ----------
    executor : concurrent.futures.Executor, optional
        Threads, processes, or the client of a cluster, which is left open.
    renew : callable, optional
        Makes an executor where none is given, threads by default, and a new one when it
        has broken. Without it, parts still open when a process pool breaks are lost.
    progress : callable, optional
        Called with the number of parts done since the last call, and with the number
        still known to come.
    ahead : int
        Parts handed out at a time; twice the number of workers is enough.
    """

    executor: Executor | None = None
    renew: Callable[[], Executor] | None = None
    progress: Callable[[int, int], None] | None = None
    ahead: int = 16


@dataclass(frozen=True, slots=True)
class LostPart:
    """Stands where a part has no result because its worker died with it.

    Parameters
    ----------
    reason : str
        Why, in words for who reads the plan, or what the executor said.
    """

    reason: str


@dataclass(frozen=True, slots=True)
class _Raised:
    problem: Exception


def sweep(
    work: Callable[[P], R],
    parts: Sequence[P],
    workers: Workers | None = None,
    *,
    done: Callable[[int, R], None] | None = None,
) -> list[R | LostPart]:
    """Work through parts on any executor.

    ``work``: takes a part and gives its result; for processes both must pickle;
    ``parts``: what to work on; ``workers``: who works on them; threads by default;
    ``done``: called here, with number and result, as soon as a part ends.

    Result: results in the order of the parts, whichever ended first. Raises `Exception`
    what `work` raises; parts not begun are then cancelled.

    A pool of processes breaks as a whole when one worker dies. The parts in flight, up
    to `Workers.ahead`, are then tried again one by one, so that only the part that kills
    its worker is `LostPart`; all others keep or get their result.
    """
    workers = workers or Workers()
    make = workers.renew or partial(ThreadPoolExecutor, os.cpu_count())
    run = _Run(work, parts, workers.executor or make(), workers, done)
    try:
        return run.all()
    finally:
        if run.executor is not workers.executor:
            run.executor.shutdown(cancel_futures=True)


def _guarded(work: Callable[[P], R], part: P) -> R | _Raised:
    """Tell an error of the work from one of the executor."""
    try:
        return work(part)
    except Exception as problem:
        return _Raised(problem)


@dataclass(slots=True)
class _Run(Generic[P, R]):
    """The state of one sweep."""

    work: Callable[[P], R]
    parts: Sequence[P]
    executor: Executor
    workers: Workers
    done: Callable[[int, R], None] | None
    results: dict[int, R | LostPart] = field(default_factory=dict)

    def all(self) -> list[R | LostPart]:
        """Work until every part has a result or is lost."""
        waiting = deque(range(len(self.parts)))
        while waiting:
            for i in self._rush(waiting):
                self._alone(i)
        return [self.results[i] for i in range(len(self.parts))]

    def _rush(self, waiting: deque[int]) -> list[int]:
        """Keep `ahead` parts in flight; on a loss give those that were."""
        flying: dict[Future[R | _Raised], int] = {}
        suspects: list[int] = []
        try:
            while (waiting or flying) and not suspects:
                while (
                    waiting
                    and len(flying) < max(self.workers.ahead, 1)
                    and not suspects
                ):
                    i = waiting.popleft()
                    begun = self._submit(i)
                    if begun is None:
                        suspects.append(i)
                    else:
                        flying[begun] = i
                ended, _ = wait(flying, return_when=FIRST_COMPLETED)
                for future in ended:
                    i = flying.pop(future)
                    if not self._take(future, i):
                        suspects.append(i)
            # After a loss the others in flight may still end well.
            for future, i in flying.items():
                if not self._take(future, i):
                    suspects.append(i)
        except BaseException:
            for future in flying:
                future.cancel()
            raise
        return sorted(suspects)

    def _submit(self, i: int) -> Future[R | _Raised] | None:
        try:
            return self.executor.submit(partial(_guarded, self.work), self.parts[i])
        except BrokenExecutor:
            return None

    def _take(self, future: Future[R | _Raised], i: int) -> bool:
        """Keep a result; False if the executor has none."""
        try:
            result = future.result()
        except BrokenExecutor:
            self.results[i] = LostPart(_LOST)
            return False
        except Exception as problem:  # whatever another executor tells of a lost worker
            self.results[i] = LostPart(f"{type(problem).__name__}: {problem}")
            return False
        if isinstance(result, _Raised):
            raise result.problem
        self.results[i] = result
        if self.done is not None:
            self.done(i, result)
        self._tell()
        return True

    def _tell(self) -> None:
        if self.workers.progress is not None:
            self.workers.progress(1, len(self.parts) - len(self.results))

    def _alone(self, i: int) -> None:
        """Try a part with nothing beside it, so that its loss is its own."""
        for _ in range(_ATTEMPTS):
            future = self._submit(i)
            if future is None and self.workers.renew is not None:
                self.executor.shutdown(wait=False, cancel_futures=True)
                self.executor = self.workers.renew()
                future = self._submit(i)
            if future is None:
                self.results.setdefault(i, LostPart(_LOST))
                return
            if self._take(future, i):
                return
