"""The site in local metres about its pad, to and from WGS 84: areas of ground and air."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, cast

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import FloatArray
from driftmap.core.errors import quoted
from driftmap.ground.georeference import Picture
from driftmap.ground.roles import OCCUPIED

if TYPE_CHECKING:
    from pyproj import Proj


_SMALLEST: Final = 1.0  # m²


@dataclass(frozen=True, slots=True, eq=False)
class Area:
    """Ground that matters to the verdict.

    Parameters
    ----------
    name : str
        Its name, as in the file: escape it before showing it in a page.
    role : str
        A key of `ROLES`.
    shape : shapely.Polygon or shapely.MultiPolygon
        Its outline in metres from the pad [m].
    people : int or None
        Head count; None if not known.
    shelter : str
        ``"open"``, ``"car"`` or ``"roof"``.

    Raises
    ------
    ValueError
        If the shape is empty, broken, or no area.
    """

    name: str
    role: str
    shape: BaseGeometry
    people: int | None = None
    shelter: str = "open"

    def __post_init__(self) -> None:
        _check_shape(self.name, self.shape)

    @property
    def occupied(self) -> bool:
        """Whether people are there: by its role, or by a head count of one or more."""
        return self.role in OCCUPIED or bool(self.people)

    @property
    def perhaps_occupied(self) -> bool:
        """Whether people may be there; a building is empty only if the file says so."""
        return self.occupied or (self.role == "building" and self.people is None)


@dataclass(frozen=True, slots=True, eq=False)
class Waiver:
    """Airspace we may fly in.

    Parameters
    ----------
    shape : shapely.Polygon or shapely.MultiPolygon
        Its outline in metres from the pad [m].
    ceiling : float
        Its top above the site [m].
    centre : (float, float)
        East and north of its middle [m].
    radius : float or None
        Radius if it was given as a circle [m]. `shape` lies just inside the circle.

    Raises
    ------
    ValueError
        If the shape is no area or the ceiling is not above the ground.
    """

    shape: BaseGeometry
    ceiling: float
    centre: tuple[float, float] = (0.0, 0.0)
    radius: float | None = None

    def __post_init__(self) -> None:
        _check_shape("waiver", self.shape)
        if not 0 < self.ceiling < math.inf:
            raise ValueError(f"'ceiling' must be above the ground (got {self.ceiling})")


@dataclass(frozen=True, slots=True, eq=False)
class Site:
    """A launch site in metres about its pad.

    Parameters
    ----------
    name : str
        Its name, as in the file: escape it before showing it in a page.
    elevation : float
        Of the pad above mean sea level [m].
    longitude, latitude : float
        Of the pad, WGS 84 [deg].
    areas : tuple of Area
        Every area but boundary and waiver, in the order of the file.
    boundary : shapely.Polygon or shapely.MultiPolygon
        Land we may land on, in metres from the pad [m].
    waiver : Waiver
        Airspace we may fly in.
    limits : mapping
        The site's own limits, key to value as in the file; the verdict reads them.
    rules : str
        Name of the rule set; empty if the file names none.
    declination : float or None
        Of the magnetic needle, positive east [rad].
    flights_today : int or None
        Flights of the day that share its budget of risk; None if not told.
    pad : str
        Name of the pad.
    assumed, said : tuple of str
        What was assumed in reading the site, and what its file says that nothing reads, a
        sentence each.
    picture : Picture or None
        The club's own picture of the ground, for the map.
    source, digest : str
        Path of the file as given and SHA-256 of its bytes.

    Raises
    ------
    ValueError
        If the boundary is no area or the pad lies outside boundary or waiver.
    """

    name: str
    elevation: float
    longitude: float
    latitude: float
    areas: tuple[Area, ...]
    boundary: BaseGeometry
    waiver: Waiver
    limits: Mapping[str, object] = field(default_factory=dict)
    rules: str = ""
    declination: float | None = None
    flights_today: int | None = None
    pad: str = "pad"
    assumed: tuple[str, ...] = ()
    said: tuple[str, ...] = ()
    picture: Picture | None = None
    source: str = ""
    digest: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "limits", MappingProxyType(dict(self.limits)))
        _check_shape("boundary", self.boundary)
        pad = shapely.Point(0.0, 0.0)
        for what, shape in (("boundary", self.boundary), ("waiver", self.waiver.shape)):
            if not shape.covers(pad):
                raise ValueError(
                    f"pad must lie inside the {what} "
                    f"(got {shape.distance(pad):,.0f} m outside it)"
                )

    def to_local(
        self, longitude: ArrayLike, latitude: ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        """Project positions to metres about the pad; see the function of that name.

        ``longitude`` and ``latitude``, shape (...): positions, WGS 84 [deg].

        Result: position from the pad [m], shape (...).
        """
        return to_local((self.longitude, self.latitude), longitude, latitude)

    def to_lonlat(
        self, east: ArrayLike, north: ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        """Give the positions of local points; the inverse of `to_local`.

        ``east`` and ``north``, shape (...): position from the pad [m].

        Result: positions, WGS 84 [deg], shape (...).
        """
        return to_lonlat((self.longitude, self.latitude), east, north)


def _check_shape(name: str, shape: BaseGeometry) -> None:
    """Refuse a shape that is no area.

    ``name``: whose shape it is, for the message.

    Raises `ValueError` if it is not a valid polygon of 1 m² or more.
    """
    if shape.geom_type not in {"Polygon", "MultiPolygon"} or not shape.is_valid:
        raise ValueError(f"shape of {quoted(name)} must be a valid polygon")
    if not shape.area >= _SMALLEST:
        raise ValueError(
            f"shape of {quoted(name)} must cover {_SMALLEST:g} m² or more "
            f"(got {shape.area:.3g})"
        )


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
    """Give the positions of local points; the inverse of `to_local`.

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


def least_width(shape: BaseGeometry) -> float:
    """Give the least dimension of the part of a site that holds the pad.

    Parameters
    ----------
    shape : shapely.Polygon or shapely.MultiPolygon
        The ground, in metres about the pad.

    Returns
    -------
    float
        Diameter of the largest circle inside that part [m]; 0 where none holds the pad.

    Notes
    -----
    A code speaks of the shorter side of a rectangular site or the diameter of a round
    one; the largest circle is both. Arms, bays and fields apart add nothing.

    Examples
    --------
    >>> least_width(shapely.box(-100, -100, 800, 300))
    400.0
    """
    pad = shapely.Point(0.0, 0.0)
    parts = [part for part in shapely.get_parts(shape) if part.covers(pad)]
    if not parts:
        return 0.0
    return round(2.0 * max(map(_inscribed_radius, parts)), 3)


@lru_cache(maxsize=64)
def _inscribed_radius(part: BaseGeometry) -> float:
    """Give the radius of the largest circle inside; a sweep asks it of one site again."""
    return float(
        shapely.maximum_inscribed_circle(cast("shapely.Polygon", part), 0.01).length
    )
