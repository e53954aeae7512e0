"""What blocks of flights bring home, laid side by side as each comes in."""

from __future__ import annotations

import math
import mmap
import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from driftmap.core.checks import FloatArray, IntArray, Kept

__all__ = ["Block", "Columns", "in_order"]

K = TypeVar("K")
A = TypeVar("A", bound=np.generic)
T = TypeVar("T")


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """What came of a block of flights.

    Parameters
    ----------
    count : int
        Flights in the block.
    landed : dict of (str, str) to ndarray, shape (6, copies, flights)
        Landings by case and body, `LANDED`, for the flights the case happened to.
    who : dict of str to ndarray of int, shape (flights,)
        Those flights by case, numbered within the block.
    stands_for : dict of str to ndarray, shape (flights,)
        Flights of the block that each of them stands for, given the cause.
    way_up : ndarray, shape (13, count)
        Apogee, rail speed, rail wind, time and size of the greatest dynamic pressure.
    way : ndarray of float32, shape (p, 3, count)
        East, north and height at even steps in time from the pad to apogee [m].
    draws, margins : dict of str to ndarray, shape (count,)
        Inputs drawn; flutter margins.
    openings : dict of (str, str) to ndarray, shape (7, count)
        What devices met on opening, by cause and device: `OPENED`.
    falls : dict of (str, str) to ndarray of float32, shape (k + 1, 5, copies, flights)
        `KNOT` at the start of each of the ``k`` stages of a fall and on landing; empty
        when not asked for.
    """

    count: int
    landed: dict[tuple[str, str], Kept]
    who: dict[str, IntArray]
    stands_for: dict[str, FloatArray]
    way_up: FloatArray
    way: NDArray[np.float32]
    draws: dict[str, FloatArray]
    margins: dict[str, FloatArray]
    openings: dict[tuple[str, str], FloatArray]
    falls: dict[tuple[str, str], NDArray[np.float32]]


@dataclass(slots=True, eq=False)
class Columns:
    """The columns of a cloud, with room for all of its flights from the start.

    A block is copied in and let go of, so that a million flights stand in memory once;
    room that nothing is written to takes none. Names and shapes are those of a `Block`,
    the last axis as long as there are `flights`. Inputs and openings, which nothing is
    flown by any more, are kept in single precision, but for the leans that weigh flights.
    """

    flights: int
    draws: dict[str, NDArray[np.floating]] = field(default_factory=dict)
    margins: dict[str, FloatArray] = field(default_factory=dict)
    openings: dict[tuple[str, str], NDArray[np.float32]] = field(default_factory=dict)
    falls: dict[tuple[str, str], NDArray[np.float32]] = field(default_factory=dict)
    _who: dict[str, IntArray] = field(default_factory=dict)
    _stands_for: dict[str, FloatArray] = field(default_factory=dict)
    _landed: dict[tuple[str, str], Kept] = field(default_factory=dict)
    _way: dict[str, NDArray[np.float32]] = field(default_factory=dict)
    _way_up: dict[str, FloatArray] = field(default_factory=dict)
    _everyone: tuple[IntArray, FloatArray] = field(init=False)
    _taken: int = 0
    _count: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._everyone = np.arange(self.flights), np.ones(self.flights)

    def take(self, block: Block) -> None:
        """Copy a block in beside those before it."""
        at, before = self._taken, dict(self._count)
        for name, drawn in block.draws.items():
            kept = np.float64 if name.startswith("lean ") else np.float32
            self._put(self.draws, name, drawn.astype(kept, copy=False), at)
        for name, margin in block.margins.items():
            self._put(self.margins, name, margin, at)
        for device, opened in block.openings.items():
            self._put(self.openings, device, opened.astype(np.float32), at)
        self._put(self._way, "", block.way, at)
        self._put(self._way_up, "", block.way_up, at)
        for case, who in block.who.items():
            own = before.get(case, 0)
            self._put(self._who, case, who + at, own)
            self._put(self._stands_for, case, block.stands_for[case], own)
            self._count[case] = own + who.size
        for body, landed in block.landed.items():
            self._put_first(body, landed.transpose(2, 1, 0), before.get(body[0], 0))
        for body, knots in block.falls.items():
            self._put(self.falls, body, knots, before.get(body[0], 0))
        self._taken += block.count

    def _put(
        self, columns: dict[K, NDArray[A]], key: K, part: NDArray[Any], at: int
    ) -> None:
        if key not in columns:
            columns[key] = np.empty((*part.shape[:-1], self.flights), part.dtype)
        columns[key][..., at : at + part.shape[-1]] = part

    def _put_first(self, body: tuple[str, str], part: Kept, at: int) -> None:
        """Copy landings in by flights: of a rare case only so much room is ever touched."""
        if body not in self._landed:
            self._landed[body] = _room((self.flights, *part.shape[1:]))
        self._landed[body][at : at + len(part)] = part

    @property
    def way(self) -> NDArray[np.float32]:
        """Places at even steps in time up to apogee."""
        return self._way[""]

    @property
    def way_up(self) -> FloatArray:
        """State at apogee, and the greatest figures on the way there."""
        return self._way_up[""]

    def happened(self, case: str) -> tuple[IntArray, FloatArray]:
        """Give the flights a case happened to, and how many each of them stands for.

        Where those are all flights, one for one, they stand in memory once.
        """
        some = slice(self._count[case])
        who, stands_for = self._who[case][some], self._stands_for[case][some]
        if who.size == self.flights and np.all(stands_for == 1):
            del self._who[case], self._stands_for[case]
            who, stands_for = self._everyone
        return who, stands_for

    def hand_over(self, case: str, body: str) -> Kept:
        """Give the landings of a body, shape (6, copies, flights), and let go of them."""
        return self._landed.pop((case, body))[: self._count[case]].transpose(2, 1, 0)


def in_order(work: Callable[[int], T], tasks: Sequence[int]) -> Iterator[T]:
    """Do tasks on all processors, and give what comes of each in their order.

    Threads hand the interpreter's lock on at each array of a block, and two of them fly
    hardly sooner than one. So forked processes fly, where nothing else runs in this one
    whose locks a fork would copy.
    """
    worker = multiprocessing.parent_process() is not None  # one of as many as fit
    count = 1 if worker else min(os.cpu_count() or 1, len(tasks))
    pool: Executor
    if forks := count > 1 and _is_alone():
        fork, given = multiprocessing.get_context("fork"), (work, os.getpid())
        pool = ProcessPoolExecutor(count, fork, _begin, given)
    else:
        pool = ThreadPoolExecutor(count)
    with pool as workers:
        try:
            yield from workers.map(_do if forks else work, tasks)
        except BrokenProcessPool:  # killed by a system that is short of memory
            raise MemoryError from None
        except BaseException:  # stopped by a key, say: the rest is not done first
            workers.shutdown(cancel_futures=True)
            raise


def _is_alone() -> bool:
    """Tell whether no other thread runs here; one that has ended may still take its leave."""
    for _ in range(5):
        if sys.platform != "linux" or threading.active_count() > 1:
            return False
        if len([*Path("/proc/self/task").iterdir()]) == 1:
            return True
        time.sleep(0.005)
    return False


_WORK: list[Callable[[int], Any]] = []  # of a forked process: it is not handed over


def _begin(work: Callable[[int], Any], parent: int) -> None:
    """Leave Ctrl-C to the one that waits, and end with it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _WORK.append(work)

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(0.5)
        os._exit(0)

    threading.Thread(target=watch, daemon=True).start()


def _do(task: int) -> Any:
    return _WORK[-1](task)


def _room(shape: tuple[int, ...]) -> NDArray[np.float32]:
    """Give room of its own, of which what is never touched costs nothing, and all is given back."""
    own = mmap.mmap(-1, math.prod(shape) * np.dtype(np.float32).itemsize)
    return np.frombuffer(own, np.float32).reshape(shape)
