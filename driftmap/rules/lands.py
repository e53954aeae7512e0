"""Where a pad lies: in which of the lands whose rules are known, near which border, how high.

Outlines are from memory and far out to sea, so that only land borders are near anything.
They err by some kilometres, and more where a border is no surveyed line; what lies nearer
to one than `_DOUBT` is for people to say.
"""

from __future__ import annotations

from functools import cache
from math import floor
from typing import Final, Literal, TypeAlias

import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.core.units import FOOT
from driftmap.rules.kinds import rows

__all__ = [
    "NONE_NEAR",
    "Standing",
    "beside_aerodromes",
    "lands",
    "near_a_border",
    "standing",
]

Standing: TypeAlias = Literal["inside", "near its border", "outside"]

_DOUBT: Final = 0.25  # deg, some 28 km of latitude; assumed


@cache
def _grounds() -> dict[str, BaseGeometry]:
    """Read the outline of each land [deg]; corners that two share stand in a line of their own."""
    shared: dict[str, list[list[float]]] = {}
    parts: dict[str, list[BaseGeometry]] = {}
    for name, row in rows("outlines.csv", ":"):
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


def standing(land: str, longitude: float, latitude: float) -> Standing:
    """Tell whether a place (WGS 84) lies in a land, as far as its outline tells.

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
    """Tell whether a place is so near a border that only people can say its land."""
    return any(
        standing(land, longitude, latitude) == "near its border" for land in lands()
    )


_AROUND: Final = 0.5  # deg; assumed
NONE_NEAR: Final = 10_000.0
"""What `beside_aerodromes` gives where no aerodrome is near [m]: nothing bears it out."""


@cache
def _aerodromes() -> dict[tuple[int, int], tuple[float, float]]:
    """Read the lowest and highest aerodrome of each degree [m]."""
    return {
        (int(n), int(e)): (float(low), float(high))
        for n, e, low, high in rows("elevations.csv", ",")
    }


_OUT: Final = 50.0  # m outside them all, from which a slip is thought of; assumed
_SLIPS: Final = (10.0, 0.1, 1 / FOOT, FOOT)
"""What a digit too few or too many, or the other unit, makes of a height."""


def beside_aerodromes(longitude: float, latitude: float, elevation: float) -> float:
    """Give how far an elevation lies below or above those of all aerodromes near by [m].

    Those of its own degree of latitude and longitude, or, where there are none, of half a
    degree around. Of 6,000 aerodromes held against the others so, one in ten lies more than
    200 m beside them or looks like a slip; of those above 300 m with a digit too few 94 in a
    hundred, with one too many all, with feet written for metres 86, with metres for feet 99.

    ``elevation``: what the file of the place (WGS 84) says [m].

    Result: 0 among them; `NONE_NEAR` where there is none, or where it lies outside them and
    with another digit or unit among them.

    Examples
    --------
    >>> round(beside_aerodromes(-117.952, 41.604, 1234.0))
    54
    >>> round(beside_aerodromes(-117.952, 41.604, 3050.0))
    1692
    >>> beside_aerodromes(7.5, 46.9, 55.0) == NONE_NEAR
    True
    """
    own = floor(latitude), floor(longitude)
    norths, easts = (
        range(floor(at - _AROUND), floor(at + _AROUND) + 1)
        for at in (latitude, longitude)
    )
    around = [(n, (e + 180) % 360 - 180) for n in norths for e in easts]
    cells = [own] if own in _aerodromes() else around
    ends = [_aerodromes()[cell] for cell in cells if cell in _aerodromes()]
    if not ends:
        return NONE_NEAR

    def beside(height: float) -> float:
        lowest, highest = min(low for low, _ in ends), max(high for _, high in ends)
        return max(lowest - height, height - highest, 0.0)

    slipped = any(beside(elevation * slip) == 0 for slip in _SLIPS)
    return NONE_NEAR if beside(elevation) > _OUT and slipped else beside(elevation)
