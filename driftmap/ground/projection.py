"""Positions on WGS 84 to metres about a pad, and back."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import FloatArray

if TYPE_CHECKING:
    from pyproj import Proj


_HALF_TURN: Final = 180.0  # deg; no site is as wide, so its parts lie on both sides
_SEAM: Final = 1e-3  # m; to which both sides of a cut are taken as one line

_LONGEST_EDGE: Final = 0.005
"""Longest piece of an edge that is projected as one [deg].

GeoJSON edges are straight in longitude and latitude (RFC 7946, 3.1.1). A piece of a
parallel, L long, bends L² tan(latitude) / 8R away from its chord: 3 mm at the most, at
45°.
"""


@lru_cache(maxsize=16)
def _projection(longitude: float, latitude: float) -> Proj:
    # Imported and built once a site, on first use: 60 ms that `--help` need not pay.
    from pyproj import Proj  # noqa: PLC0415

    # Proj takes longitude first, always; the whole-CRS route costs 25 ms more a site.
    return Proj(proj="aeqd", lon_0=longitude, lat_0=latitude, ellps="WGS84")


def to_local(
    origin: tuple[float, float], longitude: ArrayLike, latitude: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Project positions to metres about an origin.

    The projection is azimuthal equidistant on the WGS 84 ellipsoid: distance and
    bearing from the origin are those of the geodesic.

    Parameters
    ----------
    origin : (float, float)
        Longitude and latitude of the origin [deg].
    longitude, latitude : array_like, shape (...)
        Positions, WGS 84 [deg].

    Returns
    -------
    east, north : ndarray, shape (...)
        Position from the origin [m].

    Raises
    ------
    ValueError
        If a position is not finite or no place on Earth.

    Notes
    -----
    Distances between two points away from the origin are stretched across the bearing
    by r² / 6R²: 2 parts in a million at 20 km.

    References
    ----------
    .. [1] C. F. F. Karney, "Algorithms for geodesics", J. Geodesy 87, 43-55, 2013.
       :doi:`10.1007/s00190-012-0578-z`; what PROJ uses for this projection (from memory).

    Examples
    --------
    >>> east, north = to_local((-119.0, 40.0), -119.0, 40.009006192)
    >>> float(east.round(3)), float(north.round(3))
    (0.0, 1000.0)
    """
    lon, lat = np.asarray(longitude, float), np.asarray(latitude, float)
    if not np.all((np.abs(lon) <= 180) & (np.abs(lat) <= 90)):
        raise ValueError(
            "'longitude' must lie in [-180, 180] and 'latitude' in [-90, 90] deg"
        )
    return _both(_projection(*origin)(lon, lat))


def to_lonlat(
    origin: tuple[float, float], east: ArrayLike, north: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Return the positions of local points; the inverse of `to_local`.

    ``origin``: longitude and latitude of the origin [deg]; ``east`` and ``north``,
    shape (...): position from the origin [m].

    Result: positions, WGS 84 [deg], shape (...). Raises `ValueError` if a point is not
    finite or farther away than the Earth is wide.
    """
    e, n = np.asarray(east, float), np.asarray(north, float)
    # Half a meridian is the shortest way to the far side (PROJ would go on past it).
    if not np.all(np.hypot(e, n) <= 20_003_931.0):
        raise ValueError("'east' and 'north' must be finite and within 20,003,931 m")
    return _both(_projection(*origin)(e, n, inverse=True))


def _both(pair: tuple[FloatArray, FloatArray]) -> tuple[FloatArray, FloatArray]:
    return np.asarray(pair[0], dtype=float), np.asarray(pair[1], dtype=float)


def flatten(origin: tuple[float, float], shape: BaseGeometry) -> BaseGeometry:
    """Project a shape, its long edges cut so that straight lines stay where they are.

    ``origin``: longitude and latitude of the origin [deg]; ``shape``: shape in
    longitude and latitude [deg].

    Result: the same shape in metres from the origin.
    """
    flat = shapely.transform(
        shapely.segmentize(shape, _LONGEST_EDGE),
        lambda lonlat: np.column_stack(to_local(origin, lonlat[:, 0], lonlat[:, 1])),
    )
    west, _, east, _ = shape.bounds
    if east - west <= _HALF_TURN:
        return flat
    # A shape cut at 180° (RFC 7946, 3.1.9) is whole again here, where its parts meet.
    return shapely.union_all(shapely.get_parts(flat), grid_size=_SEAM)
