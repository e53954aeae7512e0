"""Where a pad lies: in which of the lands whose rules are known, near which border, how high.

Outlines are from memory and far out to sea, so that only land borders are near anything.
They err by some kilometres, and more where a border is no surveyed line; what lies nearer
to one than `_DOUBT` is for people to say.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Final, Literal, TypeAlias

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import FloatArray
from driftmap.core.tables import shipped
from driftmap.core.units import FOOT

_Standing: TypeAlias = Literal["inside", "near its border", "outside"]

_DOUBT: Final = 0.25  # deg, some 28 km of latitude; assumed


@cache
def _grounds() -> dict[str, BaseGeometry]:
    """Read the outline of each land [deg]; corners that two share stand in a line of their own."""
    shared: dict[str, list[list[float]]] = {}
    parts: dict[str, list[BaseGeometry]] = {}
    for name, row in shipped(__package__, "outlines.csv", ":"):
        corners = [
            one
            for told in map(str.strip, row.split(","))
            for one in shared.get(told) or [[float(value) for value in told.split()]]
        ]
        shared[name] = corners
        parts.setdefault(name, []).append(shapely.Polygon(corners))
    lands = (name for name in parts if name[0] != "_")
    grounds = {land: shapely.union_all(parts[land]) for land in lands}
    shapely.prepare(list(grounds.values()))
    return grounds


def lands() -> tuple[str, ...]:
    """Name the lands whose outlines are known, by the start of the name of a rule set.

    A part of a land with rules of its own comes before it.
    """
    return tuple(_grounds())


def standing(land: str, longitude: float, latitude: float) -> _Standing:
    """Return whether a place (WGS 84) lies in a land, as far as its outline tells.

    Examples
    --------
    >>> standing("us", -117.952, 41.604), standing("us", -79.4, 43.85)
    ('inside', 'outside')
    """
    place, ground = shapely.Point(longitude, latitude), _grounds()[land]
    if ground.boundary.distance(place) < _DOUBT:
        return "near its border"
    return "inside" if ground.covers(place) else "outside"


def near_a_border(longitude: float, latitude: float) -> bool:
    """Return whether a place is so near a border that only people can say its land."""
    return any(
        standing(land, longitude, latitude) == "near its border" for land in lands()
    )


_AROUND, _NEAREST = 1.0, 3
"""So many aerodromes are near a pad, within so many degrees; assumed."""

_NONE_NEAR: Final = 10_000.0
"""What `beside_aerodromes` gives where no aerodrome is near [m]: nothing bears it out."""

_OUT, _AMONG = 50.0, 30.0
"""So far outside them all a slip is thought of, where it would bring it so near [m]; assumed."""

_SLIPS: Final = (10.0, 0.1, 1 / FOOT, FOOT)
"""What a digit too few or too many, or the other unit, makes of a height."""


@cache
def _aerodromes() -> FloatArray:
    """Read latitude and longitude [deg] and elevation [m] of aerodromes, shape (3, n)."""
    with files("driftmap.rules").joinpath("elevations.csv").open("r") as table:
        told = np.loadtxt(table, delimiter=",", unpack=True)
    return np.asarray(told * [[0.1], [0.1], [1.0]])


def beside_aerodromes(longitude: float, latitude: float, elevation: float) -> float:
    """Return how far an elevation lies below or above those of the aerodromes nearest to it [m].

    Of 2,500 aerodromes held against the others so, one in eleven lies more than 200 m beside
    them or looks like a slip; of those above 300 m with a digit too few 95 in a hundred, with
    one too many all, with feet written for metres 89, with metres for feet 99.

    ``elevation``: what the file of the place (WGS 84) says [m].

    Result: 0 among them; `_NONE_NEAR` where there is none, or where it lies outside them and
    with another digit or unit among them.

    Examples
    --------
    >>> round(beside_aerodromes(-117.952, 41.604, 1234.0))
    54
    >>> round(beside_aerodromes(-117.952, 41.604, 3050.0))
    1685
    >>> beside_aerodromes(7.5, 46.9, 55.0) == _NONE_NEAR
    True
    """
    north, east, heights = _aerodromes()
    turned = (east - longitude + 180) % 360 - 180
    away = np.hypot(north - latitude, turned * np.cos(np.radians(latitude)))
    nearest = np.argpartition(away, _NEAREST)[:_NEAREST]
    near = heights[nearest[away[nearest] <= _AROUND]]
    if not near.size:
        return _NONE_NEAR

    def beside(height: float) -> float:
        return float(max(near.min() - height, height - near.max(), 0.0))

    slipped = any(beside(elevation * slip) <= _AMONG for slip in _SLIPS)
    return _NONE_NEAR if beside(elevation) > _OUT and slipped else beside(elevation)
