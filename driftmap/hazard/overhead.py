"""What flies over whom: the ground under the way up and down, and the waiver's cylinder."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray

from driftmap.failures.cases import WORKS
from driftmap.ground.areas import Waiver
from driftmap.hazard.probability import Probability, binomial, inside
from driftmap.montecarlo.cloud import Cloud

__all__ = ["Paths", "out_of_waiver", "passing_over", "ways_down", "ways_up"]

Paths: TypeAlias = NDArray[np.object_]


def ways_up(cloud: Cloud) -> Paths:
    """Draw the ways from the pad to apogee over the ground.

    Parameters
    ----------
    cloud : Cloud
        The flights, with their way up.

    Returns
    -------
    ndarray of shapely.LineString, shape (n,)
        One for each flight, in metres from the pad.
    """
    return _lines(cloud.way[:, :2])


def ways_down(cloud: Cloud) -> Paths:
    """Draw the straight ways from apogee to the landing when recovery works.

    Parameters
    ----------
    cloud : Cloud
        The flights.

    Returns
    -------
    ndarray of shapely.LineString, shape (k,)
        One for each flight in which recovery works; the drift itself bends with the
        wind aloft.
    """
    part = next(cloud.of(WORKS), None)
    if part is None:
        return _lines(np.empty((2, 2, 0)))
    top = cloud.way[-1, :2, part.who].T
    landed = np.stack([cloud.east[part.rows], cloud.north[part.rows]])
    return _lines(np.stack([top, landed]))


def passing_over(paths: Paths, shape: shapely.Geometry) -> Probability:
    """Count the flights that pass over an area.

    Parameters
    ----------
    paths : ndarray of shapely.LineString, shape (n,)
        From `ways_up` or `ways_down`.
    shape : shapely.Geometry
        Area in metres from the pad.

    Returns
    -------
    Probability
        Share of flights whose path over the ground touches the area; unknown, from 0 to
        1, without any.
    """
    if paths.size == 0:
        return Probability(0.0, 0.0, 1.0, 0, 0)
    shapely.prepare(shape)
    hits = int(np.count_nonzero(shapely.intersects(shape, paths)))
    return binomial(hits, paths.size)


def _lines(points: NDArray[np.floating]) -> Paths:
    """Join points, shape (p, 2, n), to one line each."""
    return np.asarray(shapely.linestrings(np.moveaxis(points, 2, 0)))


def out_of_waiver(cloud: Cloud, waiver: Waiver) -> Probability:
    """Count the flights that leave the waiver's cylinder between the pad and apogee.

    Parameters
    ----------
    cloud : Cloud
        The flights, with their way up.
    waiver : Waiver
        Its outline and its ceiling, held against every point of the way together.

    Returns
    -------
    Probability
        Share of flights above the ceiling or outside the outline at any point kept.
    """
    east, north, height = np.moveaxis(cloud.way, 1, 0).astype(float)
    within = inside(waiver.shape)(east.ravel(), north.ravel()).reshape(east.shape)
    out = (~within | (height > waiver.ceiling)).any(axis=0)
    return binomial(int(out.sum()), out.size)
