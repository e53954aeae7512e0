"""Arrays of numbers and times with a zone, and one check of each for all that read them."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["BoolArray", "FloatArray", "IntArray", "Kept", "checked", "zoned"]

FloatArray: TypeAlias = NDArray[np.float64]
"""Numbers as all formulas take and give them."""

IntArray: TypeAlias = NDArray[np.intp]
"""Places in arrays."""

BoolArray: TypeAlias = NDArray[np.bool_]

Kept: TypeAlias = NDArray[np.floating]
"""Numbers of many flights as they are kept: single precision is half a millimetre in 10 km."""


def checked(
    name: str,
    value: ArrayLike,
    *,
    above: float | None = None,
    least: float | None = None,
    most: float | None = None,
) -> FloatArray:
    """Give numbers back as an array, or say what is wrong with them.

    Parameters
    ----------
    name : str
        Name of the argument, for the message.
    value : array_like, shape (...)
        The numbers; each must be finite.
    above, least, most : float, optional
        Bounds: above this, at least this, at most this.

    Returns
    -------
    ndarray, shape (...)
        The numbers.

    Raises
    ------
    ValueError
        If a number is not finite or out of bounds.

    Examples
    --------
    >>> checked("mass", [1.0, -2.0], above=0)
    Traceback (most recent call last):
    ValueError: 'mass' must be finite and above 0 (got -2.0)
    """
    try:
        numbers = np.asarray(value, dtype=float)
    except OverflowError:
        raise ValueError(f"'{name}' must be a number below 1e308") from None
    good, rules = np.isfinite(numbers), ["finite"]
    if above is not None:
        good, rules = good & (numbers > above), [*rules, f"above {above:g}"]
    if least is not None:
        good, rules = good & (numbers >= least), [*rules, f"at least {least:g}"]
    if most is not None:
        good, rules = good & (numbers <= most), [*rules, f"at most {most:g}"]
    if not np.all(good):
        bad = numbers[~good].flat[0]
        raise ValueError(f"'{name}' must be {' and '.join(rules)} (got {bad})")
    return numbers


_OFFSETS: Final = timedelta(hours=-12), timedelta(hours=14)
"""How far clocks on Earth are set off UTC (from memory: Baker Island, Line Islands)."""


def zoned(time: datetime) -> datetime:
    """Give back a time; refuse one of a zone that no place has, in which a digit has slipped.

    Examples
    --------
    >>> zoned(datetime.fromisoformat("2026-06-13T08:30-16:00"))
    Traceback (most recent call last):
    ValueError: zone -16:00; accepted is -12:00 to +14:00
    """
    offset = time.utcoffset()
    if offset is not None and not _OFFSETS[0] <= offset <= _OFFSETS[1]:
        told = f"{time:%z}"
        raise ValueError(f"zone {told[:3]}:{told[3:5]}; accepted is -12:00 to +14:00")
    return time
