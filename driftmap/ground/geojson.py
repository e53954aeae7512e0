"""GeoJSON (RFC 7946) read with care: the file, its features, their shapes."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Final

import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.core.errors import PlacedError, SiteError, at, quoted
from driftmap.core.files import bytes_of, decoded, of_known_form, parse_json

MAX_BYTES: Final = 20_000_000
"""Largest file that is read [byte]; a drawn site takes a few thousand."""

_WGS84: Final = ("urn:ogc:def:crs:OGC:1.3:CRS84", "urn:ogc:def:crs:OGC::CRS84")
_MEMBERS: Final = ("type", "properties", "geometry", "id", "bbox")  # of a feature
_ORDER: Final = "GeoJSON writes [longitude, latitude]: are they swapped?"


@dataclass(frozen=True, slots=True, eq=False)
class Feature:
    """One thing drawn on the map.

    Parameters
    ----------
    where : str
        How messages name it, ``"feature 3 ('North crowd')"``, counted from 1.
    properties : mapping
        Its properties as read.
    beside : mapping
        What it holds outside of them that GeoJSON gives no meaning.
    shape : BaseGeometry
        Valid and not empty, in longitude and latitude, WGS 84 [deg].
    """

    where: str
    properties: Mapping[str, object]
    beside: Mapping[str, object]
    shape: BaseGeometry


@dataclass(frozen=True, slots=True, eq=False)
class Collection:
    """A FeatureCollection.

    Parameters
    ----------
    source : str
        The file as the user named it.
    members : mapping
        Members of the collection but ``type`` and ``features``.
    features : tuple of Feature
        In the order of the file.
    digest : str
        SHA-256 of the file's bytes, in hexadecimal.
    """

    source: str
    members: Mapping[str, object]
    features: tuple[Feature, ...]
    digest: str


def read_collection(path: Path) -> Collection:
    """Read a FeatureCollection.

    ``path``: A file of at most `MAX_BYTES`.

    Result: its features, each with a valid shape. Raises `SiteError` if the file cannot
    be read. Raises `PlacedError` if it is no such collection, or a shape in it is
    broken.
    """
    source = str(path)
    data = bytes_of(path, SiteError, MAX_BYTES)
    text = decoded(data, source, SiteError)
    if text.lstrip().startswith("<"):
        message = (
            "is XML, such as GPX or KML; accepted is GeoJSON: see 'driftmap help site'"
        )
        raise SiteError(source, "", message)
    plain = parse_json(text, source, SiteError)
    tree = _collection(plain)
    of_known_form(tree, source, SiteError)
    features = tree.pop("features")
    del tree["type"]
    if not isinstance(features, list) or not features:
        raise PlacedError(
            "features", f"must be a list of features (got {quoted(features)})"
        )
    return Collection(
        source,
        MappingProxyType(tree),
        tuple(_feature(i, item) for i, item in enumerate(features, 1)),
        hashlib.sha256(data).hexdigest(),
    )


def _collection(tree: object) -> dict[str, object]:
    kind = tree.get("type") if isinstance(tree, dict) else tree
    if not isinstance(tree, dict) or kind != "FeatureCollection":
        raise ValueError(
            f"is JSON but no site: 'type' must be 'FeatureCollection' "
            f"(got {quoted(kind)})"
        )
    if "features" not in tree:
        raise ValueError("has no 'features'; accepted: a list of features")
    crs = tree.pop("crs", None)  # of GeoJSON before RFC 7946; drawing tools still do
    properties = crs.get("properties") if isinstance(crs, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else crs
    if crs is not None and name not in _WGS84:
        raise ValueError(
            f"crs must be WGS 84 longitude and latitude, CRS84 (got {quoted(name)})"
        )
    return tree


def _feature(number: int, item: object) -> Feature:
    where = f"feature {number}"
    if not isinstance(item, dict) or item.get("type") != "Feature":
        raise PlacedError(
            where, f"must be an object of type 'Feature' (got {quoted(item)})"
        )
    properties = item.get("properties")
    if properties is None:  # RFC 7946, 3.2 allows null
        properties = {}
    if not isinstance(properties, dict):
        raise PlacedError(
            where, f"properties must be an object (got {quoted(properties)})"
        )
    if isinstance(properties.get("name"), str):
        where = f"{where} ({quoted(properties['name'])})"
    with at(f"{where}, geometry"):
        shape = _shape(item.get("geometry"))
    beside = {key: item[key] for key in item if key not in _MEMBERS}
    return Feature(where, MappingProxyType(properties), MappingProxyType(beside), shape)


def _shape(geometry: object) -> BaseGeometry:
    kind = geometry.get("type") if isinstance(geometry, dict) else geometry
    if not isinstance(geometry, dict) or not isinstance(kind, str):
        raise ValueError(f"must be a geometry with a 'type' (got {quoted(kind)})")
    if kind not in _SHAPES:
        raise ValueError(f"must be one of {', '.join(_SHAPES)} (got {quoted(kind)})")
    return _SHAPES[kind](geometry.get("coordinates"))


def _point(coordinates: object) -> BaseGeometry:
    return shapely.Point(_position(coordinates, "position"))


def _line(coordinates: object) -> BaseGeometry:
    line = shapely.LineString(_positions(coordinates, "line", 2))
    if line.length == 0:
        raise ValueError("line has no length; accepted: two positions or more apart")
    return line


def _lines(coordinates: object) -> BaseGeometry:
    return shapely.union_all([_line(item) for item in _items(coordinates, "lines")])


def _polygon(coordinates: object) -> BaseGeometry:
    rings = [
        _ring(ring, f"ring {number}")
        for number, ring in enumerate(_items(coordinates, "rings"), 1)
    ]
    polygon = shapely.Polygon(rings[0], rings[1:])
    if not polygon.is_valid:
        raise ValueError(
            "polygon must not cross or touch itself "
            f"(got {shapely.is_valid_reason(polygon)}, longitude latitude)"
        )
    return polygon


def _polygons(coordinates: object) -> BaseGeometry:
    # Parts may overlap or share an edge (a shape cut at 180° does): their union counts.
    return shapely.union_all(
        [_polygon(item) for item in _items(coordinates, "polygons")]
    )


_SHAPES: Final = MappingProxyType(
    {
        "Point": _point,
        "LineString": _line,
        "MultiLineString": _lines,
        "Polygon": _polygon,
        "MultiPolygon": _polygons,
    }
)
"""Accepted GeoJSON geometry types."""


def _items(value: object, what: str) -> list[object]:
    if not isinstance(value, list) or not value:
        raise ValueError(f"coordinates must be a list of {what} (got {quoted(value)})")
    return value


def _ring(value: object, where: str) -> list[tuple[float, float]]:
    ring = _positions(value, where, 4)
    if ring[0] != ring[-1]:
        raise ValueError(
            f"{where} is not closed: its last position must equal its first "
            f"(got {quoted(list(ring[-1]))} and {quoted(list(ring[0]))})"
        )
    return ring


def _positions(value: object, where: str, least: int) -> list[tuple[float, float]]:
    items = _items(value, "positions")
    if len(items) < least:
        raise ValueError(f"{where} must have {least} or more positions ({len(items)})")
    points = [_position(p, f"{where}, position {i}") for i, p in enumerate(items, 1)]
    for number, (one, two) in enumerate(zip(points, points[1:], strict=False), 1):
        if abs(one[0] - two[0]) > 180:
            raise ValueError(
                f"{where} crosses the 180° meridian after position {number}; accepted: "
                "a shape cut there into the parts of a multi-part one (RFC 7946, 3.1.9)"
            )
    return points


def _position(value: object, where: str) -> tuple[float, float]:
    # A third number is an altitude, which a map does not need (RFC 7946, 3.1.1).
    pair = value[:2] if isinstance(value, list) else []
    if len(pair) < 2 or not all(
        isinstance(x, int | float) and not isinstance(x, bool) for x in pair
    ):
        raise ValueError(
            f"{where} must be [longitude, latitude], two numbers (got {quoted(value)})"
        )
    for name, number, limit in zip(
        ("longitude", "latitude"), pair, (180, 90), strict=True
    ):
        if not abs(number) <= limit:
            hint = f"; {_ORDER}" if limit == 90 and abs(number) <= 180 else ""
            raise ValueError(
                f"{where}: {name} must lie in -{limit} to {limit} (got "
                f"{quoted(number)}){hint}"
            )
    return float(pair[0]), float(pair[1])
