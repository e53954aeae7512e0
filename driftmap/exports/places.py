"""Local shapes and points as longitude and latitude, ready for any format."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from driftmap.checks import FloatArray
from driftmap.ground.site import Site

__all__ = ["DECIMALS", "Place", "place", "polygons", "positions"]

DECIMALS: Final = 7
"""Decimal places of longitude and latitude: 1 cm, so that slim areas keep their shape;
RFC 7946, 11.2, asks for no more than is of use."""

Place = tuple[float, float]
"""Longitude and latitude, WGS 84 [deg]."""

_STEP: Final = 10.0**-DECIMALS


def positions(site: Site, east: ArrayLike, north: ArrayLike) -> list[Place]:
    """Give the positions of local points.

    Parameters
    ----------
    site : Site
        The site.
    east, north : array_like, shape (n,)
        Points from the pad [m].

    Returns
    -------
    list of (float, float), length n
        Longitude and latitude, rounded to `DECIMALS` [deg].
    """
    longitude, latitude = site.to_lonlat(east, north)
    return [
        (round(x, DECIMALS), round(y, DECIMALS))
        for x, y in zip(
            np.ravel(longitude).tolist(), np.ravel(latitude).tolist(), strict=True
        )
    ]


def place(site: Site, shape: BaseGeometry) -> shapely.MultiPolygon:
    """Place a shape on the Earth.

    Parameters
    ----------
    site : Site
        The site.
    shape : shapely.Polygon or shapely.MultiPolygon
        Shape in metres from the pad [m].

    Returns
    -------
    shapely.MultiPolygon
        Longitude and latitude [deg], valid after rounding to `DECIMALS`, outer rings
        counterclockwise and holes clockwise (RFC 7946, 3.1.6), cut where it crosses the
        antimeridian (3.1.9). Parts thinner than the rounding vanish.
    """

    def project(points: FloatArray) -> FloatArray:
        longitude, latitude = site.to_lonlat(points[:, 0], points[:, 1])
        # Unrolled about the pad, so that no edge jumps from 180 to -180.
        away = (longitude - site.longitude + 180) % 360 - 180
        return np.column_stack([site.longitude + away, latitude])

    whole = shapely.transform(shape, project)
    rounded = shapely.set_precision(_within_180(whole), _STEP)
    return shapely.MultiPolygon([orient(part) for part in _parts(rounded)])


def _within_180(shape: BaseGeometry) -> BaseGeometry:
    west, _, east, _ = shape.bounds
    if west >= -180 and east <= 180:
        return shape
    pieces = []
    for turn in (-360.0, 0.0, 360.0):
        world = shapely.box(-180 - turn, -90, 180 - turn, 90)
        piece = shapely.intersection(shape, world)
        pieces += [translate(part, xoff=turn) for part in _parts(piece)]
    # Not joined: the two sides touch only on the globe.
    return shapely.MultiPolygon(pieces)


def _parts(shape: BaseGeometry) -> list[shapely.Polygon]:
    return [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"]


def polygons(shape: shapely.MultiPolygon) -> list[list[list[Place]]]:
    """List the rings of a placed shape.

    Parameters
    ----------
    shape : shapely.MultiPolygon
        From `place`.

    Returns
    -------
    list of list of list of (float, float)
        Polygons; in each the outer ring and then its holes; in each the closed row of
        positions [deg].
    """
    return [
        [_ring(ring) for ring in (part.exterior, *part.interiors)]
        for part in shape.geoms
    ]


def _ring(ring: shapely.LinearRing) -> list[Place]:
    return [(round(x, DECIMALS), round(y, DECIMALS)) for x, y in ring.coords]
