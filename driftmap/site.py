"""A launch site: the pad, the ground about it, and who stands where."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Final

import shapely
from numpy.typing import ArrayLike

from driftmap import frame, units
from driftmap.atmosphere import FloatArray
from driftmap.errors import SiteError
from driftmap.geojson import Collection, naming, read_collection, shown
from driftmap.roles import (
    OCCUPIED,
    ROLES,
    Mark,
    clean_text,
    near_misses,
    read_length,
    read_mark,
)

__all__ = ["OCCUPIED", "ROLES", "Area", "Site", "Waiver", "read_site"]

_REQUIRED: Final = ("pad", "spectators", "boundary", "waiver")
_MEMBERS: Final = ("name", "elevation", "limits", "rules", "declination")
_ELEVATIONS: Final = (-500.0, 6000.0)
"""Elevations of dry land that people launch from [m]: a -9999 is no elevation."""

_FARTHEST: Final = 100_000.0
"""Farthest a feature may lie from the pad [m]: beyond it, something is swapped."""

_POLEMOST: Final = 84.0  # deg; map backgrounds end at 85, and east turns about itself
_SMALLEST: Final = 1.0  # m²
_SEGMENTS: Final = 64  # of a quarter circle: the polygon is 0.015 % of the radius off


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
    shape: shapely.Geometry
    people: int | None = None
    shelter: str = "open"

    def __post_init__(self) -> None:
        _check_shape(self.name, self.shape)


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

    shape: shapely.Geometry
    ceiling: float
    centre: tuple[float, float] = (0.0, 0.0)
    radius: float | None = None

    def __post_init__(self) -> None:
        _check_shape("waiver", self.shape)
        if not 0 < self.ceiling < math.inf:
            raise ValueError(f"'ceiling' must be above the ground (got {self.ceiling})")


def _check_shape(name: str, shape: shapely.Geometry) -> None:
    if shape.geom_type not in {"Polygon", "MultiPolygon"} or not shape.is_valid:
        raise ValueError(f"shape of {shown(name)} must be a valid polygon")
    if not shape.area >= _SMALLEST:
        raise ValueError(
            f"shape of {shown(name)} must cover {_SMALLEST:g} m² or more "
            f"(got {shape.area:.3g})"
        )


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
    pad : str
        Name of the pad.
    assumed : tuple of str
        What was assumed in reading the site, a sentence each.
    source, digest : str
        Name of the file and SHA-256 of its bytes.

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
    boundary: shapely.Geometry
    waiver: Waiver
    limits: Mapping[str, object] = field(default_factory=dict)
    rules: str = ""
    declination: float | None = None
    pad: str = "pad"
    assumed: tuple[str, ...] = ()
    source: str = ""
    digest: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "limits", MappingProxyType(dict(self.limits)))
        _check_shape("boundary", self.boundary)
        for what, shape in (
            ("boundary", self.boundary),
            ("waiver", self.waiver.shape),
        ):
            if not shape.covers(shapely.Point(0.0, 0.0)):
                raise ValueError(
                    f"pad {shown(self.pad)} must lie inside the {what}: it is "
                    f"{shape.distance(shapely.Point(0.0, 0.0)):,.0f} m outside"
                )

    def to_local(
        self, longitude: ArrayLike, latitude: ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        """Project positions to metres about the pad; see `driftmap.frame.to_local`.

        Parameters
        ----------
        longitude, latitude : array_like, shape (...)
            Positions, WGS 84 [deg].

        Returns
        -------
        east, north : ndarray, shape (...)
            Position from the pad [m].
        """
        return frame.to_local((self.longitude, self.latitude), longitude, latitude)

    def to_lonlat(
        self, east: ArrayLike, north: ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        """Give the positions of local points; the inverse of `to_local`.

        Parameters
        ----------
        east, north : array_like, shape (...)
            Position from the pad [m].

        Returns
        -------
        longitude, latitude : ndarray, shape (...)
            Positions, WGS 84 [deg].
        """
        return frame.to_lonlat((self.longitude, self.latitude), east, north)


def read_site(path: Path | str, *, pad: str | None = None) -> Site:
    """Read a site from GeoJSON.

    Parameters
    ----------
    path : pathlib.Path or str
        A FeatureCollection (RFC 7946) with the members ``name``, ``elevation`` and, if
        wanted, ``limits``, ``rules`` and ``declination``. Each feature has a ``role``.
    pad : str, optional
        Name of the pad to fly from; by default the first.

    Returns
    -------
    Site
        The site in metres about that pad.

    Raises
    ------
    SiteError
        If anything in the file is missing, broken or not understood.
    """
    collection = read_collection(Path(path))
    source = collection.source
    members = _members(collection)
    marks = [read_mark(source, feature) for feature in collection.features]
    _require(source, marks)
    assumed = list(members.pop("assumed"))
    origin = _pad(source, marks, pad, assumed)
    place = (origin.shape.x, origin.shape.y)
