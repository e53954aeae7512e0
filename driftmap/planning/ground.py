"""The ground of a site seen from another pad, and where pads and people could stand."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.checks import FloatArray
from driftmap.errors import SiteError
from driftmap.ground.areas import Area, Site, to_local

__all__ = ["allowed_ground", "lattice", "moved", "stand_at"]

MOST: Final = 2000
"""Most candidates of one kind."""

_ABOUT: Final = 120  # candidates aimed at where no spacing is given
_ROUND: Final = (10.0, 15.0, 20.0, 30.0, 50.0, 75.0, 100.0, 150.0, 200.0, 300.0, 500.0)


def moved(site: Site, east: float, north: float) -> Site:
    """See a site from a pad elsewhere on it.

    Parameters
    ----------
    site : Site
        The site about its own pad.
    east, north : float
        The other pad from that one [m].

    Returns
    -------
    Site
        The same ground in metres about the other pad, projected anew; elevation and
        everything else stay.

    Raises
    ------
    ValueError
        If the pad lies outside boundary or waiver.
    """
    if east == north == 0.0:
        return site
    longitude, latitude = (float(v) for v in site.to_lonlat(east, north))

    def again(shape: BaseGeometry) -> BaseGeometry:
        return shapely.transform(
            shape,
            lambda xy: np.column_stack(
                to_local((longitude, latitude), *site.to_lonlat(*xy.T))
            ),
        )

    centre = shapely.get_coordinates(again(shapely.Point(site.waiver.centre)))
    return replace(
        site,
        longitude=longitude,
        latitude=latitude,
        areas=tuple(replace(area, shape=again(area.shape)) for area in site.areas),
        boundary=again(site.boundary),
        waiver=replace(
            site.waiver,
            shape=again(site.waiver.shape),
            centre=(centre[0, 0], centre[0, 1]),
        ),
    )


def allowed_ground(site: Site) -> BaseGeometry:
    """Give the ground a pad or people could stand on.

    Parameters
    ----------
    site : Site
        The site.

    Returns
    -------
    BaseGeometry
        Inside boundary and waiver, outside every area that is drawn [m].

    Raises
    ------
    SiteError
        If there is none.
    """
    ground = shapely.intersection(site.boundary, site.waiver.shape)
    free = shapely.difference(ground, shapely.union_all([a.shape for a in site.areas]))
    if free.is_empty:
        raise SiteError(
            site.source, "", "has no free ground inside boundary and waiver"
        )
    return free


def lattice(ground: BaseGeometry, spacing: float | None) -> FloatArray:
    """Lay points over ground, one of them at the pad.

    Parameters
    ----------
    ground : BaseGeometry
        Where they may lie [m].
    spacing : float or None
        Distance between neighbours [m]; a round one that gives about 120 points if None.

    Returns
    -------
    ndarray, shape (n, 2)
        East and north of each [m].

    Raises
    ------
    ValueError
        If there would be more than `MOST`.
    """
    step = spacing or _spacing(ground)
    west, south, east, north = ground.bounds
    count = (east - west) * (north - south) / step**2
    if count > 20 * MOST:
        raise ValueError(_many(count, step))
    x = step * np.arange(math.ceil(west / step), math.floor(east / step) + 1)
    y = step * np.arange(math.ceil(south / step), math.floor(north / step) + 1)
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    kept = points[shapely.intersects_xy(ground, points[:, 0], points[:, 1])]
    if len(kept) > MOST:
        raise ValueError(_many(len(kept), step))
    return np.asarray(kept)


def _spacing(ground: BaseGeometry) -> float:
    wanted = math.sqrt(ground.area / _ABOUT)
    return min(_ROUND, key=lambda size: abs(math.log(size / wanted)))


def _many(count: float, step: float) -> str:
    return (
        f"{step:g} m apart gives {count:,.0f} candidates; accepted are {MOST:,} at most"
    )


def stand_at(site: Site, name: str, east: float, north: float) -> Site:
    """Move an area of a site as it is, with its middle to another place.

    Parameters
    ----------
    site : Site
        The site.
    name : str
        Name of the area.
    east, north : float
        Where its middle goes [m].

    Returns
    -------
    Site
        The site with that area elsewhere.
    """

    def put(area: Area) -> Area:
        if area.name != name:
            return area
        middle = area.shape.centroid
        shift = np.array([east - middle.x, north - middle.y])
        return replace(area, shape=shapely.transform(area.shape, lambda xy: xy + shift))

    return replace(site, areas=tuple(map(put, site.areas)))
