"""Checks of numbers, times with a zone, and names: one each, for all that read them."""

from __future__ import annotations

import re
import unicodedata
from datetime import datetime, timedelta
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from driftmap.core.errors import quoted
from driftmap.core.tables import shipped

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
    """Give numbers back as an array, all of them finite and within bounds.

    ``name``: of the argument, for the message of the `ValueError`.

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
    good = np.isfinite(numbers)
    if above is not None:
        good = good & (numbers > above)
    if least is not None:
        good = good & (numbers >= least)
    if most is not None:
        good = good & (numbers <= most)
    if not np.logical_and.reduce(good, axis=None):  # quicker than `np.all` of a number
        bounds = ("above", above), ("at least", least), ("at most", most)
        rules = ["finite", *(f"{w} {v:g}" for w, v in bounds if v is not None)]
        bad = numbers[~good].flat[0]
        raise ValueError(f"'{name}' must be {' and '.join(rules)} (got {bad})")
    return numbers


_OFFSETS: Final = timedelta(hours=-12), timedelta(hours=14)
"""How far clocks on Earth are set off UTC (from memory: Baker Island, Line Islands)."""


def zoned(time: datetime) -> datetime:
    """Give a time back; refuse a zone that no place on Earth has: a digit has slipped.

    Examples
    --------
    >>> zoned(datetime.fromisoformat("2026-06-13T08:30-16:00"))
    Traceback (most recent call last):
    ValueError: zone -16:00; accepted is -12:00 to +14:00
    """
    offset = time.utcoffset()
    if offset is not None and not _OFFSETS[0] <= offset <= _OFFSETS[1]:
        text = f"{time:%z}"
        raise ValueError(f"zone {text[:3]}:{text[3:5]}; accepted is -12:00 to +14:00")
    return time


_LONGEST_NAME: Final = 80
_JOINERS: Final = "\u200c\u200d"  # spelling of some scripts needs these two


def clean_text(value: object, *, most: int = _LONGEST_NAME) -> str:
    """Check a name from a file and keep it as it is.

    Result: the same text without blanks at its ends. Raises `ValueError` if it is not
    text, empty, longer than `most`, or holds control or formatting characters (a line
    break, a change of writing direction).
    """
    if not isinstance(value, str) or not value.strip():
        raise ValueError(f"must be text (got {quoted(value)})")
    text = value.strip()
    if len(text) > most:
        raise ValueError(f"must have at most {most} characters (got {len(text)})")
    for char in text:
        kind = unicodedata.category(char)
        if kind in {"Cc", "Cf", "Cs", "Zl", "Zp"} and char not in _JOINERS:
            raise ValueError(
                f"must hold no control characters (got U+{ord(char):04X} in "
                f"{quoted(text)})"
            )
    return text


_NOBODY: Final = frozenset(
    word for row in shipped(__package__, "nobody.txt", " ") for word in row
)
"""Words that name nobody, nor do several of them."""


def names_somebody(text: str) -> bool:
    """Return whether a text may be the name of somebody who answers for something.

    A mark, "TBD", "to be determined", "me" and "the range safety officer" name nobody.
    """
    words = re.findall(r"[^\W\d_]+", text.casefold())
    joined = "".join(words)
    if len({*joined}) < 2 or joined in _NOBODY:
        return False
    return any(len(word) > 1 and word not in _NOBODY for word in words) or (
        max(map(len, words)) == 1  # initials
    )
