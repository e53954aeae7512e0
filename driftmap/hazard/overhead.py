"""What flies over whom: the ground under the way up and down, and the waiver's cylinder."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from driftmap.failures.cases import WORKS
from driftmap.ground.areas import Waiver
from driftmap.hazard.probability import Probability, binomial, inside
from driftmap.montecarlo.cloud import Cloud

__all__ = ["out_of_waiver", "over_on_the_way_down", "over_on_the_way_up"]


def over_on_the_way_up(cloud: Cloud, shape: shapely.Geometry) -> Probability:
    """Count the flights that pass over an area between the pad and apogee.

    Parameters
    ----------
    cloud : Cloud
        The flights, with their way up.
    shape : shapely.Geometry
        Area in metres from the pad.

    Returns
    -------
    Probability
        Share of flights whose path over the ground touches the area.
    """
    return _touching(cloud.way[:, :2], shape)


def over_on_the_way_down(cloud: Cloud, shape: shapely.Geometry) -> Probability:
    """Count the flights that pass over an area between apogee and landing.

    Parameters
    ----------
    cloud : Cloud
        The flights, when recovery works.
    shape : shapely.Geometry
        Area in metres from the pad.

    Returns
    -------
    Probability
        Share of flights of which the straight line over the ground from apogee to the
        landing touches the area; the drift itself bends with the wind aloft.
    """
    part = next(cloud.of(WORKS))
    top = cloud.way[-1, :2, part.who].T
    landed = np.stack([cloud.east[part.rows], cloud.north[part.rows]])
    return _touching(np.stack([top, landed]), shape)


def _touching(points: NDArray[np.floating], shape: shapely.Geometry) -> Probability:
    """Count the paths, shape (p, 2, n), that touch a shape."""
    shapely.prepare(shape)
    lines = shapely.linestrings(np.moveaxis(points, 2, 0))
    hits = int(np.count_nonzero(shapely.intersects(shape, lines)))
    return binomial(hits, points.shape[2])


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
