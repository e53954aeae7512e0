"""A launch site read from its file: the pad, the ground about it, and who stands where."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final, TypedDict

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.core import units
from driftmap.core.checks import clean_text
from driftmap.core.errors import PlacedError, SiteError, at, located, quoted
from driftmap.core.files import quotes_in
from driftmap.ground.areas import Area, Site, Waiver
from driftmap.ground.geojson import Collection, read_collection
from driftmap.ground.georeference import Picture, read_picture
from driftmap.ground.projection import flatten, to_local
from driftmap.ground.roles import OCCUPIED, Mark, near_misses, read_mark

_LONGEST_RULES: Final = 2000  # several sets, or paths of files
_REQUIRED: Final = ("pad", "spectators", "boundary", "waiver")
_MEMBERS: Final = (
    *("name", "elevation", "limits", "rules", "declination"),
    *("flights_today", "picture"),
)
_FAMILIAR: Final = ("description", "bbox", "id", "generator")  # of no meaning here
_ELEVATIONS: Final = (-500.0, 6000.0)
"""Elevations of dry land that people launch from [m]: a -9999 is no elevation."""

MOST_FLIGHTS: Final = 10_000
"""Most flights of one day; assumed."""

FARTHEST_PLACE: Final = 100_000.0
"""Farthest a feature may lie from the pad [m]: beyond it, something is swapped."""

_POLEMOST: Final = 84.0  # deg; map backgrounds end at 85, and east turns about itself
_SEGMENTS: Final = 64  # of a quarter circle: the polygon is 0.015 % of the radius off


def read_site(path: Path | str, *, pad: str | None = None) -> Site:
    """Read a site from GeoJSON.

    Parameters
    ----------
    path : pathlib.Path or str
        A FeatureCollection (RFC 7946) with the members ``name``, ``elevation`` and, if
        wanted, ``limits``, ``rules``, ``declination``, ``flights_today`` and ``picture``. Each feature has a ``role``.
    pad : str, optional
        Name of the pad to fly from; needed where there are several.

    Returns
    -------
    Site
        The site in metres about that pad.

    Raises
    ------
    SiteError
        If anything in the file is missing, broken or not understood.
    """
    with located(str(path), "", SiteError):
        return _site(read_collection(Path(path)), pad)


def _site(collection: Collection, pad: str | None) -> Site:
    source = collection.source
    header = _header(collection)
    marks = [read_mark(feature) for feature in collection.features]
    _require(marks)
    names = _names(marks)
    origin = _pad(marks, names, pad)
    place = longitude, latitude = (
        float(shapely.get_x(origin.shape)),
        float(shapely.get_y(origin.shape)),
    )
    shapes = [_placed(mark, place) for mark in marks]
    areas = tuple(_areas(marks, names, shapes))
    boundary = shapely.union_all(
        [s for mark, s in zip(marks, shapes, strict=True) if mark.role == "boundary"]
    )
    with at(origin.where):
        return Site(
            **header,
            longitude=longitude,
            latitude=latitude,
            areas=areas,
            boundary=boundary,
            waiver=_waiver(marks, shapes, place, header["elevation"]),
            pad=names[marks.index(origin)],
            assumed=(*_notes(collection, marks), *_strays(areas, boundary)),
            said=quotes_in(source, _said(collection, marks)),
            picture=_picture(collection.members, Path(source).parent, place),
            source=source,
            digest=collection.digest,
        )


def _picture(
    members: Mapping[str, object], folder: Path, place: tuple[float, float]
) -> Picture | None:
    if "picture" not in members:
        return None
    with at("picture"):
        return read_picture(
            members["picture"], folder, lambda *at: to_local(place, *at)
        )


class _Header(TypedDict):
    name: str
    elevation: float
    limits: Mapping[str, object]
    rules: str
    declination: float | None
    flights_today: int | None


def _header(collection: Collection) -> _Header:
    """Read the members that speak of the whole site."""
    members = collection.members
    for key, ours in near_misses(members, _MEMBERS).items():
        raise PlacedError("", f"unknown key {quoted(key)}; accepted: '{ours}'")
    with at("name"):
        name = clean_text(members.get("name", Path(collection.source).stem))
    with at("rules"):
        rules = (
            clean_text(members["rules"], most=_LONGEST_RULES)
            if "rules" in members
            else ""
        )
    limits = members.get("limits", {})
    if not isinstance(limits, dict):
        raise PlacedError(
            "limits", f"must be an object of key and value (got {quoted(limits)})"
        )
    return _Header(
        name=name,
        elevation=_elevation(members),
        limits=limits,
        rules=rules,
        declination=_declination(members),
        flights_today=_flights_today(members),
    )


def _elevation(members: Mapping[str, object]) -> float:
    with at("elevation"):
        low, high = _ELEVATIONS
        if "elevation" not in members:
            raise ValueError(
                "missing: height of the pad above mean sea level, such as '3986 ft', "
                "beside 'type' and 'features'"
            )
        elevation = units.quantity(members["elevation"], "length")
        if not low <= elevation <= high:
            raise ValueError(
                f"must lie in {low:g} to {high:g} m (got {quoted(members['elevation'])})"
            )
    return elevation


_DECLINED: Final = math.radians(60.0)
"""A needle points farther off only near the magnetic poles (from memory)."""


def _declination(members: Mapping[str, object]) -> float | None:
    if "declination" not in members:
        return None
    with at("declination"):
        angle = units.parse(members["declination"], "angle")
        if not abs(angle) <= _DECLINED:
            raise ValueError(
                "must lie in -60 to 60 deg, positive east "
                f"(got {quoted(members['declination'])})"
            )
    return angle


def _flights_today(members: Mapping[str, object]) -> int | None:
    if "flights_today" not in members:
        return None
    with at("flights_today"):
        return units.whole(members["flights_today"], 1, MOST_FLIGHTS)


def _require(marks: Iterable[Mark]) -> None:
    roles = [mark.role for mark in marks]
    missing = [role for role in _REQUIRED if role not in roles]
    if missing:
        raise PlacedError(
            "",
            f"no feature with role {' or '.join(missing)}; "
            f"every site needs {', '.join(_REQUIRED)}",
        )
    if roles.count("waiver") > 1:
        raise PlacedError("", f"must have one waiver (got {roles.count('waiver')})")


def _pad(marks: Iterable[Mark], names: Iterable[str], wanted: str | None) -> Mark:
    """Choose the pad by the name that pages call it by, given or not."""
    pads = {n: m for n, m in zip(names, marks, strict=True) if m.role == "pad"}
    chosen = [mark for name, mark in pads.items() if wanted in {None, name}]
    known = ", ".join(map(quoted, pads))
    if len(chosen) > 1:  # each pad has its own distances to people
        text = f"holds {len(chosen)} pads; say which one is flown from: {known}"
        raise PlacedError("pad", text)
    if not chosen:
        message = f"no pad is named {quoted(wanted)}; accepted: {known}"
        raise PlacedError("pad", message)
    north = float(shapely.get_y(chosen[0].shape))
    if abs(north) > _POLEMOST:
        raise PlacedError(
            chosen[0].where,
            f"latitude of a pad must lie in -{_POLEMOST:g} to {_POLEMOST:g} "
            f"(got {north:g})",
        )
    return chosen[0]


def _names(marks: Sequence[Mark]) -> list[str]:
    """Name the nameless after their role; no two features share a name."""
    taken: set[str] = set()
    for mark in marks:
        if mark.name in taken:
            raise PlacedError(
                f"{mark.where}, name", "stands twice; accepted: a name of its own"
            )
        taken |= {mark.name} - {""}
    names = []
    for mark in marks:
        tries = itertools.chain(
            [mark.role], (f"{mark.role} {i}" for i in itertools.count(2))
        )
        names.append(mark.name or next(name for name in tries if name not in taken))
        taken.add(names[-1])
    return names


def _placed(mark: Mark, place: tuple[float, float]) -> BaseGeometry:
    """Project a feature, and give points their circle and lines their width."""
    with at(f"{mark.where}, geometry"):
        corners = shapely.get_coordinates(mark.shape)
        distance = np.hypot(*to_local(place, corners[:, 0], corners[:, 1]))
        reach = float(distance.max()) + (mark.radius or 0.0) + (mark.width or 0.0) / 2
        if reach > FARTHEST_PLACE:
            raise ValueError(
                f"must lie within {FARTHEST_PLACE / 1000:g} km of the pad (got "
                f"{reach / 1000:,.0f} km): are longitude and latitude swapped, or a "
                "unit wrong?"
            )
        shape = flatten(place, mark.shape)
        if mark.width is not None:
            shape = shape.buffer(mark.width / 2)
        if mark.radius is not None:
            # Toward the safe side: what must hold all inside its circle, others around it.
            within = mark.role in {"waiver", "boundary"}
            grow = 1.0 if within else 1 / math.cos(math.pi / 4 / _SEGMENTS)
            shape = shape.buffer(mark.radius * grow, quad_segs=_SEGMENTS)
    return shape


def _areas(
    marks: Sequence[Mark], names: Sequence[str], shapes: Sequence[BaseGeometry]
) -> Iterator[Area]:
    for mark, name, shape in zip(marks, names, shapes, strict=True):
        if mark.role not in {"pad", "boundary", "waiver"}:
            with at(f"{mark.where}, geometry"):
                area = Area(name, mark.role, shape, mark.people, mark.shelter)
            yield area


def _waiver(
    marks: Sequence[Mark],
    shapes: Sequence[BaseGeometry],
    place: tuple[float, float],
    elevation: float,
) -> Waiver:
    mark, shape = next(
        pair for pair in zip(marks, shapes, strict=True) if pair[0].role == "waiver"
    )
    ceiling = mark.ceiling
    if mark.ceiling_altitude is not None:
        ceiling = mark.ceiling_altitude - elevation
    with at(mark.where):
        if ceiling is None or ceiling <= 0:
            raise ValueError(
                f"ceiling_altitude must lie above the site's elevation, {elevation:.0f} m "
                f"(got {mark.ceiling_altitude} m)"
            )
        centre = flatten(place, mark.shape).centroid
        return Waiver(shape, ceiling, (centre.x, centre.y), mark.radius)


def _said(collection: Collection, marks: Sequence[Mark]) -> Iterator[object]:
    members = collection.members.items()
    yield from (value for key, value in members if key not in _MEMBERS)
    for mark in marks:
        yield from mark.said


def _notes(collection: Collection, marks: Sequence[Mark]) -> Iterator[str]:
    for mark in marks:
        yield from mark.assumed
    ignored = {key for mark in marks for key in mark.ignored}
    ignored |= set(collection.members) - {*_MEMBERS, *_FAMILIAR}
    if ignored:
        yield f"keys not read: {', '.join(map(quoted, sorted(ignored)))}"


def _strays(areas: Iterable[Area], boundary: BaseGeometry) -> Iterator[str]:
    for area in areas:
        if area.role in OCCUPIED and not area.shape.intersects(boundary):
            yield f"{area.role} {quoted(area.name)} lies wholly outside the boundary"
