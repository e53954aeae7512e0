"""How an uncertain number is spread, and how it is drawn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal
from zlib import crc32

import numpy as np
from numpy.typing import ArrayLike

from driftmap.core.checks import FloatArray, IntArray

_WIDE: Final = 0.15  # of a size; a wider normal spread would reach below zero


@dataclass(frozen=True, slots=True)
class Spread:
    """A distribution of one input.

    Parameters
    ----------
    kind : {"normal", "lognormal", "uniform", "loguniform"}
        Its form.
    first, second : float
        Mean and standard deviation (normal); median and standard deviation of the
        logarithm (lognormal); least and greatest value (uniform, loguniform).
    assumed : str
        What to tell the reader when this spread is a default; empty when it was given.
    """

    kind: Literal["normal", "lognormal", "uniform", "loguniform"]
    first: float
    second: float
    assumed: str = ""

    def draw(self, count: int, rng: np.random.Generator) -> FloatArray:
        """Draw values.

        Result: values in the unit of the input, shape (count,).
        """
        a, b = self.first, self.second
        if self.kind == "normal":
            return a + b * rng.standard_normal(count)
        if self.kind == "lognormal":
            return np.asarray(a * np.exp(b * rng.standard_normal(count)))
        if self.kind == "uniform":
            return rng.uniform(a, b, count)
        return np.exp(rng.uniform(np.log(a), np.log(b), count))

    def above_zero(self) -> Spread:
        """Keep a size that is hardly known above zero in every draw."""
        if self.kind != "normal" or self.second <= _WIDE * self.first:
            return self
        return replace(self, kind="lognormal", second=self.second / self.first)

    @property
    def middle(self) -> float:
        """The median."""
        if self.kind == "uniform":
            return (self.first + self.second) / 2
        if self.kind == "loguniform":
            return float(np.sqrt(self.first * self.second))
        return self.first


def even_points(count: int) -> FloatArray:
    """Spread points evenly over a square, always the same ones.

    Result: both coordinates in 0 to 1. Their steps are powers of the root of x³ = x +
    1, which no pattern of equal neighbours can meet (M. Roberts' R2 sequence, from
    memory), shape (2, count).
    """
    steps = np.arange(1, count + 1)
    return np.stack([steps * 0.7548776662466927 % 1, steps * 0.5698402909980532 % 1])


def quantile(
    values: ArrayLike, shares: ArrayLike, *, weights: ArrayLike | None = None
) -> FloatArray:
    """Return the values that shares [0 to 1] of all lie below, of the shape of `shares`.

    Without weights between two values by a line, with them the first value up to which the
    share lies.

    Examples
    --------
    >>> quantile([1.0, 2.0, 3.0], 0.5), quantile([1.0, 2.0, 3.0], 0.5, weights=[8, 1, 1])
    (array(2.), array(1.))
    """
    row, wanted = np.ravel(np.asarray(values, float)), np.asarray(shares, dtype=float)
    if weights is None:
        # As `np.quantile` has it, in a third of the time.
        ordered = np.sort(row)
        if np.isnan(ordered[-1]):  # sorted last, it would pass for the largest
            return np.full(wanted.shape, np.nan)
        places = wanted * (row.size - 1)
        return np.asarray(np.interp(places, np.arange(row.size), ordered))
    weight, order = np.ravel(np.asarray(weights, dtype=float)), np.argsort(row)
    place = weighted_place(weight[order] / weight.sum(), wanted)
    return np.asarray(row[order][place])


def even_weights(weights: FloatArray) -> bool:
    """Return whether weights are the same but for their last digits, so that none counts more."""
    return bool(np.ptp(weights) <= 1e-9 * np.max(np.abs(weights)))


def weighted_place(ordered_share: FloatArray, wanted: FloatArray) -> IntArray:
    """Find where in a row of points wanted shares are reached.

    ``ordered_share``, shape (n,): weights that sum to 1, in the order of the row;
    ``wanted``, shape (k,): shares in (0, 1).

    Result: index of the first point up to which each share lies, shape (k,).
    """
    # The last digits of a sum of a million shares must not push past an exact step.
    place = np.searchsorted(np.cumsum(ordered_share), wanted - 1e-9)
    return np.minimum(place, ordered_share.size - 1)


def stream(seed: int, block: int, name: str) -> np.random.Generator:
    """Return the random stream of one input in one block of flights.

    A stream of its own for each input keeps all other draws as they were when an input
    or a case is added, so that alternatives are compared with the same draws.
    """
    key = (block, crc32(name.encode()))
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=key))


def draw_all(
    spreads: Mapping[str, Spread], count: int, seed: int, block: int
) -> dict[str, FloatArray]:
    """Draw every input of a block of flights.

    ``spreads``: the inputs by name; ``count`` and ``seed`` and ``block``: flights in
    the block, seed of the run, number of the block.

    Result: values by name, shape (count,).
    """
    return {
        name: spread.draw(count, stream(seed, block, name))
        for name, spread in spreads.items()
    }
