"""What a drawn feature stands for: its role, and the properties that go with it."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from shapely.geometry.base import BaseGeometry

from driftmap.core import units
from driftmap.core.checks import clean_text
from driftmap.core.errors import PlacedError, at, quoted
from driftmap.ground.geojson import Feature

OCCUPIED: Final = ("spectators", "flight line", "parking", "camp")
"""Roles where people stand, whether or not a head count is given."""

PASSED: Final = ("building", "road", "railway", "airport")
"""Ground where people may be though no head count is given."""

SHELTERS: Final = ("open", "car", "roof")
"""What may stand between people and a falling rocket."""

_AREA: Final = ("Polygon", "MultiPolygon", "Point")
_STRIP: Final = ("LineString", "MultiLineString", "Polygon", "MultiPolygon")

ROLES: Final = MappingProxyType(
    {
        "pad": ("Point",),
        "boundary": ("Polygon", "MultiPolygon"),
        "waiver": ("Point", "Polygon", "MultiPolygon"),
        **dict.fromkeys((*OCCUPIED, "building", "airport", "closed ground"), _AREA),
        **dict.fromkeys(("road", "railway", "power line", "water"), _STRIP),
    }
)
"""Each role with the geometry it may have."""

_WIDTHS: Final = MappingProxyType(
    {"road": 10.0, "railway": 10.0, "power line": 20.0, "water": 5.0}
)
"""Full width of a drawn line that gives none [m]; common practice, no source."""

_NARROWEST: Final = 1.5
"""No road or railway is narrower: a digit or a unit has slipped [m]; assumed."""

KEYS: Final = (
    *("role", "name", "people", "shelter", "radius", "width"),
    *("ceiling", "ceiling_altitude"),
)
"""Properties of a feature that are read."""

_CEILINGS: Final = ("ceiling", "ceiling_altitude")
MOST_PEOPLE: Final = 1_000_000
"""Greatest head count of one area; assumed."""


@dataclass(frozen=True, slots=True, eq=False)
class Mark:
    """A feature whose role and properties have been read.

    Parameters
    ----------
    where : str
        How messages name the feature.
    role : str
        A key of `ROLES`.
    name : str
        Its name; empty when it has none.
    shape : BaseGeometry
        Longitude and latitude, WGS 84 [deg].
    people : int or None
        Head count, if given.
    shelter : str
        One of `SHELTERS`.
    radius : float or None
        Radius about a point [m].
    width : float or None
        Full width of a line [m].
    ceiling, ceiling_altitude : float or None
        Top of a waiver above the ground, or above mean sea level [m].
    assumed : tuple of str
        What was assumed in reading it.
    said : tuple of object
        What stands under keys that are not read.
    ignored : tuple of str
        Properties that were not read.
    """

    where: str
    role: str
    name: str
    shape: BaseGeometry
    people: int | None
    shelter: str
    radius: float | None
    width: float | None
    ceiling: float | None
    ceiling_altitude: float | None
    assumed: tuple[str, ...]
    said: tuple[object, ...]
    ignored: tuple[str, ...]


def near_misses(keys: Iterable[str], known: Iterable[str]) -> dict[str, str]:
    """Find keys that look like misspelt ones of ours.

    Drawing tools add keys of their own (``stroke``, ``fill``), so a strange key alone
    is no error; one that is nearly ours would be lost in silence.

    Examples
    --------
    >>> near_misses(["stroke-width", "radius_m", "Name"], ["name", "radius", "width"])
    {'radius_m': 'radius', 'Name': 'name'}
    """
    ours = tuple(known)
    found = {}
    for key in keys:
        close = difflib.get_close_matches(key.strip().lower(), ours, n=1, cutoff=0.75)
        if key not in ours and close:
            found[key] = close[0]
    return found


def read_mark(feature: Feature) -> Mark:
    """Read the role and the properties of a feature.

    Raises
    ------
    PlacedError
        If a property is missing, misspelt, out of place or out of range.
    """
    where, properties = feature.where, feature.properties
    for key, ours in near_misses(properties, KEYS).items():
        raise PlacedError(where, f"unknown key {quoted(key)}; accepted: '{ours}'")
    for key in feature.beside:
        if key in KEYS or near_misses([key], KEYS):
            text = f"{quoted(key)} stands outside 'properties'; accepted: inside them"
            raise PlacedError(where, text)
    with at(f"{where}, role"):
        role = _role(properties.get("role"), feature.shape.geom_type)
    _refuse_misplaced(feature, role)
    lengths, notes = _lengths(feature, role)
    people = _people(feature)
    if people is None and role in OCCUPIED:
        notes.append(f"{where}: gives no people; its head count is not known")
    with at(f"{where}, shelter"):
        shelter = _shelter(properties.get("shelter", "open"))
    with at(f"{where}, name"):
        name = clean_text(properties["name"]) if "name" in properties else ""
    unread = {key: v for key, v in properties.items() if key not in KEYS}
    unread = {**feature.beside, **unread}
    return Mark(
        where=where,
        role=role,
        name=name,
        shape=feature.shape,
        people=people,
        shelter=shelter,
        **lengths,
        assumed=tuple(notes),
        said=tuple(unread.values()),
        ignored=tuple(unread),
    )


def _role(value: object, geometry: str) -> str:
    if not isinstance(value, str) or value not in ROLES:
        close = difflib.get_close_matches(
            value.strip().lower().replace("_", " ") if isinstance(value, str) else "",
            ROLES,
            n=1,
        )
        hint = f"did you mean '{close[0]}'? " if close else ""
        raise ValueError(f"{hint}must be one of {', '.join(ROLES)} ({_got(value)})")
    if geometry not in ROLES[value]:
        raise ValueError(
            f"'{value}' must be drawn as {' or '.join(ROLES[value])} (got {geometry})"
        )
    return value


def _got(value: object) -> str:
    return "none given" if value is None else f"got {quoted(value)}"


def meant_for(role: str, geometry: str) -> set[str]:
    """Return the keys that have a meaning for a role drawn in some way."""
    meant = {"role", "name"}
    if role not in {"pad", "boundary", "waiver"}:
        meant |= {"people", "shelter"}
    if role == "waiver":
        meant |= {*_CEILINGS}
    if geometry == "Point" and role != "pad":
        meant |= {"radius"}
    if geometry.endswith("LineString"):
        meant |= {"width"}
    return meant


def _refuse_misplaced(feature: Feature, role: str) -> None:
    """Refuse keys without a meaning here, and ask for the radius of a point."""
    kind, where = feature.shape.geom_type, feature.where
    meant = meant_for(role, kind)
    for key in feature.properties:
        if key in KEYS and key not in meant:
            raise PlacedError(
                f"{where}, {key}",
                f"has no meaning for a {role} drawn as {kind}; "
                f"accepted: {', '.join(sorted(meant))}",
            )
    if "radius" in meant and "radius" not in feature.properties:
        raise PlacedError(
            f"{where}, radius", "missing: a point needs one, such as '300 ft'"
        )
    if role == "waiver" and sum(key in feature.properties for key in _CEILINGS) != 1:
        raise PlacedError(
            where,
            "must give either ceiling (above the ground) or ceiling_altitude (above "
            "mean sea level), such as '8000 ft'",
        )


def _lengths(feature: Feature, role: str) -> tuple[dict[str, float | None], list[str]]:
    """Read the lengths of a feature, and say what was assumed."""
    lengths: dict[str, float | None] = {}
    notes: list[str] = []
    for key in ("radius", "width", *_CEILINGS):
        with at(f"{feature.where}, {key}"):
            lengths[key] = _positive(feature.properties, key)
    if role in {"road", "railway"} and 0 < (lengths["width"] or 0) < _NARROWEST:
        with at(f"{feature.where}, width"):
            raise ValueError(
                f"{lengths['width']:g} m is no {role}; at least {_NARROWEST:g} m"
            )
    if "LineString" in feature.shape.geom_type and lengths["width"] is None:
        lengths["width"] = _WIDTHS[role]
        notes.append(f"{feature.where}: gives no width; {_WIDTHS[role]:g} m assumed")
    return lengths, notes


def _positive(properties: Mapping[str, object], key: str) -> float | None:
    if key not in properties:
        return None
    try:
        length = units.quantity(properties[key], "length")
    except ValueError as error:
        if key not in _CEILINGS:
            raise
        raise ValueError(
            f"{error}; ceiling is above the ground, ceiling_altitude above sea level"
        ) from error
    if length <= 0:
        raise ValueError(f"must be more than 0 m (got {quoted(properties[key])})")
    return length


def _people(feature: Feature) -> int | None:
    if "people" not in feature.properties:
        return None
    with at(f"{feature.where}, people"):
        return units.whole(feature.properties["people"], 0, MOST_PEOPLE)


def _shelter(value: object) -> str:
    if not isinstance(value, str) or value not in SHELTERS:
        raise ValueError(f"must be one of {', '.join(SHELTERS)} (got {quoted(value)})")
    return value
