"""A few winds, each with how often it blows: of a season, of words, or all alike."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from typing import Final

from driftmap.errors import InputError, quoted
from driftmap.planning.hours import Hours
from driftmap.planning.layout import Rose
from driftmap.planning.supposed import REFERENCE
from driftmap.winds.reading import Setting
from driftmap.winds.spoken import read_words

__all__ = ["even_rose", "rose_of", "spoken_rose"]

_TURN: Final = 22.5  # deg
_STEP: Final = 2.0  # m/s
_MOST: Final = 48


def rose_of(hours: Hours, most: int = _MOST) -> tuple[Rose, list[str]]:
    """Gather hourly winds into a rose.

    Parameters
    ----------
    hours : Hours
        The winds.
    most : int
        Winds to keep, the most frequent.

    Returns
    -------
    rose : tuple of (float, float, float)
        Direction [deg], speed [m s⁻¹] and number of readings of each.
    notes : list of str
        What was rounded and left out.

    Raises
    ------
    ValueError
        If no reading has a direction.
    """
    counts: Counter[tuple[float, float]] = Counter()
    dropped = 0
    for way, speed in (reading for each in hours.readings for reading in each):
        rounded = round(speed / _STEP) * _STEP
        if way is None and rounded:
            dropped += 1
        else:
            at = round((way or 0.0) / _TURN) * _TURN % 360 if rounded else 0.0
            counts[at, rounded] += 1
    if not counts:
        raise ValueError(f"{hours.source} holds no reading with a direction")
    kept = sorted(counts.items(), key=lambda item: (-item[1], item[0]))[:most]
    share = sum(n for _, n in kept) / (sum(counts.values()) + dropped)
    rose = tuple((*wind, float(n)) for wind, n in sorted(kept))
    return rose, [
        f"winds of {hours.source} rounded to {_TURN:g}° and {_STEP:g} m/s: the "
        f"{len(kept)} most frequent, {share:.1%} of all readings; {dropped} variable "
        "winds left out"
    ]


def even_rose() -> tuple[Rose, list[str]]:
    """Give winds where nobody tells any, and say so."""
    even = [(45.0 * i, speed, 1.0) for speed in (3.0, 6.0) for i in range(8)]
    return tuple(even), [
        "no winds given: eight directions at 3 and at 6 m/s, at 10 m, weigh the same"
    ]


def spoken_rose(texts: Iterable[str]) -> Rose:
    """Read winds in words at 10 m, each of the same weight."""
    return tuple(map(_spoken, texts))


def _spoken(text: str) -> tuple[float, float, float]:
    whole = text if " at " in text else f"{text} at {REFERENCE:g} m"
    level = read_words(whole, Setting(0.0)).levels[0]
    if level.direction is None or level.height != REFERENCE:
        told = f"{quoted(whole)}; accepted: one direction, at {REFERENCE:g} m"
        raise InputError("--wind", "", told)
    return math.degrees(level.direction), level.speed, 1.0
