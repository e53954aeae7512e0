"""The site in local metres about its pad: areas of ground and air."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from types import MappingProxyType
from typing import Final, TypeVar, cast

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import FloatArray
from driftmap.core.errors import quoted
from driftmap.core.points import turn
from driftmap.ground.georeference import Picture
from driftmap.ground.projection import to_local, to_lonlat
from driftmap.ground.roles import OCCUPIED, PASSED

T = TypeVar("T", bound=BaseGeometry)

_SMALLEST: Final = 1.0  # m²

PAD: Final = shapely.Point(0.0, 0.0)
"""The pad, from which all ground is measured."""


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

    @property
    def peopled(self) -> bool:
        """Whether a piece that comes down there counts as among people.

        So it does on roads, too, that nobody said to be empty: who passes is not counted.
        """
        return self.occupied or (self.role in PASSED and self.people is None)

    @property
    def distance(self) -> float:
        """Distance of its nearest ground from the pad [m]."""
        return float(self.shape.distance(PAD))


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
        for what, shape in (("boundary", self.boundary), ("waiver", self.waiver.shape)):
            if not shape.covers(PAD):
                raise ValueError(
                    f"pad must lie inside the {what} "
                    f"(got {shape.distance(PAD):,.0f} m outside it)"
                )

    @property
    def to_boundary(self) -> float:
        """Distance of the pad from the nearest edge of the land [m]."""
        return float(self.boundary.boundary.distance(PAD))

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
        """Return the positions of local points; the inverse of `to_local`.

        ``east`` and ``north``, shape (...): position from the pad [m].

        Result: positions, WGS 84 [deg], shape (...).
        """
        return to_lonlat((self.longitude, self.latitude), east, north)


def turned_shape(shape: T, angle: float) -> T:
    """Turn a shape about the pad, clockwise [rad]."""

    def about_pad(corners: FloatArray) -> FloatArray:
        return np.stack(turn(corners[:, 0], corners[:, 1], angle), axis=1)

    return shapely.transform(shape, about_pad)


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


def least_width(shape: BaseGeometry) -> float:
    """Return the least dimension of the part of a site that holds the pad.

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
    one; the largest circle is both. Arms, bays and fields apart add nothing, nor does one
    that a lane leads to.

    Examples
    --------
    >>> least_width(shapely.box(-100, -100, 800, 300))
    400.0
    """
    parts = [part for part in shapely.get_parts(shape) if part.covers(PAD)]
    return round(max(map(_width_about_pad, parts), default=0.0), 3)


_NECK: Final = 0.1
"""Ground narrower than this share of the largest circle in a site joins no two fields: a lane
leads from one to the other; assumed."""

_CORNER: Final = 0.25
"""So many necks from what is wider a pad still lies in it, as in the corner of a field; assumed."""


@lru_cache(maxsize=64)  # a sweep asks it of one site again
def _width_about_pad(part: BaseGeometry) -> float:
    """Give the diameter of the largest circle in the ground that no neck separates from the pad."""
    width = 2 * _inscribed_radius(part)
    neck = _NECK * width
    wide = part.buffer(-neck / 2).buffer(neck / 2).intersection(part)
    fields = shapely.get_parts(wide)
    left = shapely.get_parts(part.difference(wide))
    near = min(fields, key=PAD.distance)
    if PAD.distance(near) > _CORNER * neck:
        near = min(left, key=PAD.distance)
    elif len(fields) == 1:
        return width
    return _width_about_pad(near)


def _inscribed_radius(part: BaseGeometry) -> float:
    return float(
        shapely.maximum_inscribed_circle(cast("shapely.Polygon", part), 0.01).length
    )
