"""Where a body is between lift-off and landing, from what its flight kept of the way."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from driftmap.air.wind import WindProfile
from driftmap.core.checks import FloatArray, Kept
from driftmap.rocket.case import Stage

_LAYERS: Final = 65  # heights at which the mean wind's way is summed


def drift_of(wind: WindProfile, top: float) -> FloatArray:
    """Give heights up to a top [m], and how far the wind carries what sinks 1 m in 1 s.

    Result: heights, and the way east and north from the ground up to each, shape (3, h) [m].
    """
    heights = np.linspace(0.0, top, _LAYERS)
    steps = np.diff(heights)
    sums = [
        np.append(0.0, np.cumsum(steps * (v[1:] + v[:-1]) / 2))
        for v in wind.at(heights)
    ]
    return np.stack([heights, *sums])


def on_the_way(
    path: tuple[Kept, Kept],
    knots: FloatArray,
    stages: Sequence[Stage],
    drift: FloatArray,
    when: FloatArray,
) -> FloatArray:
    """Return where a body is at times since lift-off [s], shape (3, copies, k) [m].

    ``path``: points kept of the way up, (p, 3, k), and the time of apogee, (k,); ``knots``: of
    its stages, (stages + 1, 5, copies, k); ``drift``: from `drift_of`.
    """
    place = _rising(*path, when)
    for number, stage in enumerate(stages):
        first, last = knots[number], knots[number + 1]
        falling = when >= first[0]
        if falling.any():
            there = _falling(when, first, last, drift, nose_first=stage.nose_first)
            place = np.where(falling, there, place)
    return place


def _rising(way: Kept, top: Kept, when: FloatArray) -> FloatArray:
    way = way.astype(float)
    share = np.clip(when / top, 0, 1) * (len(way) - 1)
    low = np.minimum(share.astype(int), len(way) - 2)
    one = np.arange(top.size)
    below, above = way[low, :, one], way[low + 1, :, one]
    return np.asarray(
        np.moveaxis(below + (share - low)[..., None] * (above - below), -1, 0)
    )


def _falling(
    when: FloatArray,
    first: FloatArray,
    last: FloatArray,
    drift: FloatArray,
    *,
    nose_first: bool,
) -> FloatArray:
    """Follow one stage; shape (3, copies, k)."""
    lasts = np.maximum(last[0] - first[0], 1e-9)
    s = np.clip((when - first[0]) / lasts, 0, 1)
    height = first[3] + s * (last[3] - first[3])
    if nose_first:
        height = _cubic(s, first[3], last[3], first[4] * lasts, last[4] * lasts)
    sunk = first[3] - last[3]
    slow = np.divide(lasts, sunk, out=np.zeros_like(lasts), where=sunk > 1.0)
    place = []
    for start, end, way in zip(first[1:3], last[1:3], drift[1:], strict=True):
        by = np.interp([first[3], height, last[3]], drift[0], way)
        drifted, whole = slow * (by[0] - by[1]), slow * (by[0] - by[2])
        place.append(start + drifted + s * (end - start - whole))
    return np.stack([*place, height])


def _cubic(
    s: FloatArray, a: FloatArray, b: FloatArray, da: FloatArray, db: FloatArray
) -> FloatArray:
    """Join two values with their slopes (Hermite)."""
    return np.asarray(
        (1 + 2 * s) * (1 - s) ** 2 * a
        + s * (1 - s) ** 2 * da
        + s**2 * (3 - 2 * s) * b
        + s**2 * (s - 1) * db
    )
