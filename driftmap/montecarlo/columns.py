"""The results of blocks of flights, joined as columns as each block comes in."""

from __future__ import annotations

import math
import mmap
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from driftmap.core.checks import FloatArray, IntArray, Kept
from driftmap.core.spread import even_weights, quantile
from driftmap.montecarlo.falls import LANDED
from driftmap.rocket.case import CaseTree

K = TypeVar("K")
A = TypeVar("A", bound=np.generic)


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """What came of some flights flown together, or of all blocks laid side by side.

    Parameters
    ----------
    count : int
        Flights in the block.
    ways : dict of str to ndarray, shape (..., count)
        ``"way"``, shape (p, 3, count) of float32: east, north and height at even steps in
        time from the pad to apogee [m]; ``"top"``, shape (13, count): `WAY_UP`; `BOOSTER`, where there is one: when it is highest [s].
    draws, margins : dict of str to ndarray, shape (count,)
        Inputs drawn, of single precision but for the leans that weigh flights; flutter
        margins.
    openings : dict of (str, str) to ndarray of float32, shape (7, count)
        What devices met on opening, by cause and device: `OPENED`.
    who : dict of str to ndarray of int, shape (flights,)
        Flights to which a case happened, by its name, numbered within the block.
    stands_for : dict of str to ndarray, shape (flights,)
        Flights of the block that each of them stands for, given the cause.
    landed : dict of (str, str) to ndarray of float32, shape (flights, copies, 6)
        Landings by case and body, `LANDED`, for those flights.
    falls : dict of (str, str) to ndarray of float32, shape (k + 1, 5, copies, flights)
        `driftmap.montecarlo.falls.KNOT_COLUMNS` at the start of each of the ``k`` stages of a fall and on landing; empty
        when not asked for.
    """

    count: int
    ways: dict[str, Kept] = field(default_factory=dict)
    draws: dict[str, Kept] = field(default_factory=dict)
    margins: dict[str, FloatArray] = field(default_factory=dict)
    openings: dict[tuple[str, str], Kept] = field(default_factory=dict)
    who: dict[str, IntArray] = field(default_factory=dict)
    stands_for: dict[str, FloatArray] = field(default_factory=dict)
    landed: dict[tuple[str, str], Kept] = field(default_factory=dict)
    falls: dict[tuple[str, str], Kept] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """Where one body of one case stands in the columns of a cloud.

    Parameters
    ----------
    case, body : str
        Names of the case and of the body.
    count : int
        How many of the body there are; flights run fastest, then copies.
    flights : int
        Flights to which the case happened.
    rows : slice
        Rows of the columns, ``count * flights`` of them.
    who : ndarray of int, shape (flights,)
        Which flights they are, no one twice.
    stands_for : ndarray, shape (flights,)
        How many flights each stands for, given the cause of the case: a case too rare to be
        left to the draws is flown more often than it happens.
    """

    case: str
    body: str
    count: int
    flights: int
    rows: slice
    who: IntArray
    stands_for: FloatArray

    @property
    def weights(self) -> FloatArray | None:
        """Flights that each row stands for, shape (rows,); None where all are alike."""
        if not self.flights or even_weights(self.stands_for):
            return None
        return np.tile(self.stands_for, self.count)

    def quantile(self, column: Kept, shares: ArrayLike) -> FloatArray:
        """Return quantiles of a column of the cloud over these rows, by what they stand for.

        ``column``, shape (m,): A column of the cloud; ``shares``, shape (...): shares
        in [0, 1].

        Result: values that these shares lie below, shape (...).
        """
        return quantile(column[self.rows], shares, weights=self.weights)


def side_by_side(blocks: Iterable[Block], count: int) -> Block:
    """Copy blocks in beside each other, with room for all flights from the start.

    A block is let go of as the next comes in, so that a million flights stand in memory
    once; room that nothing is written to takes none.
    """
    whole, at = Block(count), 0
    happened: Counter[str] = Counter()
    for block in blocks:
        _put(whole.ways, block.ways, at, count)
        _put(whole.draws, block.draws, at, count)
        _put(whole.margins, block.margins, at, count)
        _put(whole.openings, block.openings, at, count)
        for case, who in block.who.items():
            own = happened[case]
            _put(whole.who, {case: who + at}, own, count)
            _put(whole.stands_for, {case: block.stands_for[case]}, own, count)
        for key, knots in block.falls.items():
            _put(whole.falls, {key: knots}, happened[key[0]], count)
        for key, landed in block.landed.items():
            _put_first(whole.landed, key, landed, happened[key[0]], count)
        happened.update({case: who.size for case, who in block.who.items()})
        at += block.count
    _trim(whole, happened)
    if at < count:
        _cut(whole.ways, at)
        _cut(whole.draws, at)
        _cut(whole.margins, at)
        _cut(whole.openings, at)
    return replace(whole, count=at)


def _cut(columns: dict[K, NDArray[A]], count: int) -> None:
    """Leave out the room of flights that were drawn and not flown."""
    for key, column in columns.items():
        columns[key] = column[..., :count]


def _put(
    columns: dict[K, NDArray[A]], parts: dict[K, NDArray[A]], at: int, room: int
) -> None:
    for key, part in parts.items():
        if key not in columns:
            columns[key] = np.empty((*part.shape[:-1], room), part.dtype)
        columns[key][..., at : at + part.shape[-1]] = part


def _put_first(columns: dict[K, Kept], key: K, part: Kept, at: int, room: int) -> None:
    """Copy landings in by flights: of a rare case only so much room is ever touched."""
    if key not in columns:
        columns[key] = _room((room, *part.shape[1:]))
    columns[key][at : at + len(part)] = part


def _trim(whole: Block, happened: Mapping[str, int]) -> None:
    """Cut off room that no case needed; what is of all flights stands in memory once."""
    everyone = np.arange(whole.count), np.ones(whole.count)
    for case, flights in happened.items():
        who, stands_for = whole.who[case][:flights], whole.stands_for[case][:flights]
        if flights == whole.count and np.all(stands_for == 1):
            who, stands_for = everyone
        whole.who[case], whole.stands_for[case] = who, stands_for
    for key in whole.landed:
        whole.landed[key] = whole.landed[key][: happened[key[0]]]
    for key in whole.falls:
        whole.falls[key] = whole.falls[key][..., : happened[key[0]]]


def _room(shape: tuple[int, ...]) -> NDArray[np.float32]:
    """Allocate memory of its own: what is never touched costs nothing, and all of it is given back."""
    own = mmap.mmap(-1, math.prod(shape) * np.dtype(np.float32).itemsize)
    return np.frombuffer(own, np.float32).reshape(shape)


def parts_of(flown: Block, tree: CaseTree) -> Iterator[Part]:
    """Lay out the rows of each body of each case that happened, one after the other."""
    at = 0
    for case in tree.cases:
        who, own = flown.who[case.name], flown.stands_for[case.name]
        for body in case.bodies if who.size else ():
            rows = slice(at, at + body.count * who.size)
            at = rows.stop
            yield Part(case.name, body.name, body.count, who.size, rows, who, own)


def landings_by_part(flown: Block, parts: Sequence[Part]) -> NDArray[np.float32]:
    """Lay landings out by part: copies first, then flights; each let go of as it is copied."""
    size = parts[-1].rows.stop if parts else 0
    landed = np.empty((len(LANDED), size), np.float32)
    for part in parts:
        place = landed[:, part.rows].reshape(len(LANDED), part.count, part.flights)
        place[...] = flown.landed.pop((part.case, part.body)).transpose(2, 1, 0)
    return landed
