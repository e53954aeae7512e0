"""Work on all processors: in forks of this process where that is safe, else threads or new ones."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Any, TypeVar

T = TypeVar("T")


def processes(count: int) -> Executor:
    """Make processes to work in.

    Where nothing else runs in this one they are forks of it, made with the first task, and
    have all that it imported; where a fork would copy locks that a thread holds, fresh ones.
    """
    kind = multiprocessing.get_context("fork" if is_alone() else "spawn")
    return ProcessPoolExecutor(count, kind, _begin, (os.getpid(),))


def in_order(
    work: Callable[[int], T],
    tasks: Sequence[int],
    *,
    meanwhile: Callable[[], object] = int,
) -> Iterator[T]:
    """Do tasks on all processors, and give what comes of each in their order.

    ``meanwhile`` is called once they are under way.

    Threads hand the interpreter's lock on at each array of a block, and two of them fly
    hardly sooner than one. So forked processes fly, where nothing else runs in this one
    whose locks a fork would copy. The algebra library's own threads count too: programs
    set ``OPENBLAS_NUM_THREADS=1`` before numpy is imported, as the command line does.
    """
    worker = multiprocessing.parent_process() is not None  # one of as many as fit
    count = 1 if worker else min(os.cpu_count() or 1, len(tasks))
    if count <= 1:
        meanwhile()
        yield from map(work, tasks)
        return
    pool: Executor
    if forks := is_alone():
        fork, given = multiprocessing.get_context("fork"), (os.getpid(), work)
        pool = ProcessPoolExecutor(count, fork, _begin, given)
    else:
        pool = ThreadPoolExecutor(count)
    with pool as workers:
        try:
            done = workers.map(_do if forks else work, tasks)
            meanwhile()
            yield from done
        except BrokenProcessPool:  # mostly killed by a system that is short of memory
            raise MemoryError from None
        except BaseException:  # stopped by a key, say: the rest is not done first
            workers.shutdown(cancel_futures=True)
            raise


def is_alone() -> bool:
    """Return whether this process has one thread and can fork; a thread that ended may take a moment to go."""
    for _ in range(5):
        if sys.platform != "linux" or threading.active_count() > 1:
            return False
        if len([*Path("/proc/self/task").iterdir()]) == 1:
            return True
        time.sleep(0.005)
    return False


_WORK: list[Callable[[int], Any]] = []  # of a forked process: it is not handed over


def _begin(parent: int, *work: Callable[[int], Any]) -> None:
    """Leave Ctrl-C to the parent process, and end when it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _WORK.extend(work)
    end_with(parent)


def end_with(parent: int) -> None:
    """End this process when its parent is gone, whatever ended that."""

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(0.5)
        os._exit(0)

    threading.Thread(target=watch, daemon=True).start()


def _do(task: int) -> Any:
    return _WORK[-1](task)
