"""What flies over whom: the ground under the way up and down, and the waiver's cylinder."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from driftmap.core.estimate import Estimate, binomial
from driftmap.failures.cases import WORKS
from driftmap.ground.areas import Waiver
from driftmap.hazard.probability import inside
from driftmap.montecarlo.cloud import Cloud

__all__ = ["Paths", "out_of_waiver", "passing_over", "ways_down", "ways_up"]

Paths: TypeAlias = NDArray[np.floating]
"""East and north of points that straight lines join, shape (p, 2, n) [m]."""


def ways_up(cloud: Cloud) -> Paths:
    """Draw the ways from the pad to apogee over the ground.

    Result: `Paths`, one for each flight, from the pad, shape (p, 2, n).
    """
    return cloud.way[:, :2]


def ways_down(cloud: Cloud) -> Paths:
    """Draw the straight ways from apogee to the landing when recovery works.

    Result: `Paths`, one for each flight in which recovery works; the drift itself bends
    with the wind aloft, shape (2, 2, k).
    """
    part = next(cloud.of(WORKS), None)
    if part is None:
        return np.empty((2, 2, 0), np.float32)
    top = cloud.way[-1, :2, part.who].T
    landed = np.stack([cloud.east[part.rows], cloud.north[part.rows]])
    return np.stack([top, landed])


def passing_over(paths: Paths, shape: BaseGeometry) -> Estimate:
    """Count the flights that pass over an area.

    ``paths``, shape (p, 2, n): from `ways_up` or `ways_down`; ``shape``: area in metres
    from the pad.

    Result: share of flights whose path over the ground touches the area; unknown, from
    0 to 1, without any.
    """
    if paths.shape[2] == 0:
        return Estimate(0.0, 0.0, 1.0, 0, 0)
    west, south, east, north = shape.bounds
    low, high = paths.min(axis=0), paths.max(axis=0)
    near = (low[0] <= east) & (high[0] >= west) & (low[1] <= north) & (high[1] >= south)
    hits = 0
    if near.any():  # lines are made of the few paths that may touch it
        lines = shapely.linestrings(np.moveaxis(paths[:, :, near], 2, 0))
        shapely.prepare(shape)
        hits = int(np.count_nonzero(shapely.intersects(shape, lines)))
    return binomial(hits, paths.shape[2])


def out_of_waiver(cloud: Cloud, waiver: Waiver) -> Estimate:
    """Count the flights that leave the waiver's cylinder between the pad and apogee.

    ``cloud``: the flights, with their way up; ``waiver``: its outline and its ceiling,
    held against every point of the way together.

    Result: share of flights above the ceiling or outside the outline at any point kept.
    """
    within, out = inside(waiver.shape), np.zeros(cloud.flights, bool)
    for east, north, height in cloud.way:
        out |= ~within(east, north) | (height > waiver.ceiling)
    return binomial(int(out.sum()), out.size)
