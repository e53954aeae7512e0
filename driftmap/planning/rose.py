"""A season's winds as a rose: a few winds, each with how often it blows."""

from __future__ import annotations

from collections import Counter
from typing import Final

from driftmap.planning.hours import Hours
from driftmap.planning.layout import Rose

__all__ = ["rose_of"]

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
