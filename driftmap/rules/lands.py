"""Where a pad lies: in which of the lands whose rules are known, near which border, how high.

Outlines are from memory and far out to sea, so that only land borders are near anything.
They err by some kilometres, and more where a border is no surveyed line; what lies nearer
to one than `_DOUBT` is for people to say.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from math import floor
from types import MappingProxyType
from typing import Final, Literal, TypeAlias

import shapely
from shapely.geometry.base import BaseGeometry

__all__ = [
    "LANDS",
    "NONE_NEAR",
    "Standing",
    "beside_aerodromes",
    "near_a_border",
    "standing",
]

_Points: TypeAlias = tuple[tuple[float, float], ...]

Standing: TypeAlias = Literal["inside", "near its border", "outside"]

_DOUBT: Final = 0.25  # deg, some 28 km of latitude; assumed


def _box(west: float, south: float, east: float, north: float) -> _Points:
    return ((west, south), (east, south), (east, north), (west, north))


_EAST_OF_THE_LAKES: Final[_Points] = (
    *((-79.05, 43.27), (-79.2, 43.45), (-78.7, 43.63), (-76.8, 43.63), (-76.3, 44.2)),
    *((-75.9, 44.35), (-75.5, 44.7), (-74.73, 45.0), (-71.5, 45.01), (-71.1, 45.3)),
    *((-70.85, 45.24), (-70.4, 45.75), (-70.3, 46.2), (-70.05, 46.42), (-70.0, 46.7)),
    *((-69.23, 47.46), (-69.05, 47.3), (-68.33, 47.36), (-67.79, 47.07)),
    *((-67.8, 45.69), (-67.45, 45.3), (-67.1, 44.9), (-66.5, 44.2)),
)
_NORTH: Final[_Points] = (
    *((-126.5, 48.5), (-124.73, 48.49), (-123.67, 48.25), (-123.25, 48.28)),
    *((-123.22, 48.55), (-123.01, 48.77), (-123.32, 49.0), (-95.15, 49.0)),
    *((-95.15, 49.38), (-94.64, 48.74), (-93.4, 48.6), (-92.0, 48.3), (-90.75, 48.09)),
    *((-89.6, 48.0), (-88.4, 48.3), (-86.5, 47.6), (-84.86, 46.9), (-84.35, 46.51)),
    *((-84.1, 46.25), (-83.6, 46.1), (-82.5, 45.34), (-82.12, 43.6), (-82.42, 42.98)),
    *((-82.5, 42.6), (-83.05, 42.32), (-83.15, 42.05), (-82.7, 41.68), (-81.3, 42.2)),
    *((-79.76, 42.5), (-78.91, 42.87), *_EAST_OF_THE_LAKES),
)
"""The border of the United States and Canada, from the west."""

_ALASKA: Final[_Points] = (
    *((-141.0, 71.5), (-141.0, 60.3), (-139.1, 60.3), (-137.5, 58.9), (-136.5, 59.45)),
    *((-135.0, 59.6), (-133.8, 58.7), (-131.8, 56.6), (-130.0, 55.9), (-130.2, 54.7)),
    (-134.5, 54.5),
)
_SOUTH: Final[_Points] = (
    *((-97.14, 25.95), (-99.1, 26.4), (-99.5, 27.5), (-100.3, 28.28), (-101.4, 29.77)),
    *((-102.3, 29.88), (-103.15, 28.97), (-104.5, 29.64), (-106.2, 31.47)),
    *((-106.53, 31.78), (-108.21, 31.78), (-108.21, 31.33), (-111.07, 31.33)),
    *((-114.81, 32.49), (-114.72, 32.72), (-117.13, 32.53)),
)
"""The border of the United States and Mexico, from the east."""

_MAIN: Final[_Points] = (
    *_NORTH,
    *((-65.5, 42.0), (-78.0, 24.0), (-83.0, 23.9), (-90.0, 26.0), (-95.5, 25.95)),
    *_SOUTH,
    *((-119.5, 32.3), (-126.5, 40.0)),
)
_ULSTER: Final[_Points] = (
    *((-6.9, 55.6), (-7.25, 55.05), (-7.4, 54.95), (-7.55, 54.75), (-7.85, 54.6)),
    *((-8.15, 54.45), (-7.85, 54.25), (-7.35, 54.12), (-7.05, 54.4), (-6.75, 54.2)),
    *((-6.6, 54.05), (-6.27, 54.1), (-5.7, 53.8)),
)

LANDS: Final = MappingProxyType(
    {
        "us-california": (
            (
                *((-126.5, 42.0), (-120.0, 42.0), (-120.0, 39.0), (-114.63, 35.0)),
                *((-114.13, 34.3), (-114.72, 32.72), (-117.13, 32.53), (-119.5, 32.3)),
                (-126.5, 40.0),
            ),
        ),
        "us": (
            _MAIN,
            (*_ALASKA, (-180.0, 50.0), (-180.0, 73.0), (-141.0, 73.0)),
            _box(171.8, 50.0, 180.0, 54.0),
            _box(-161.5, 18.0, -153.5, 23.5),
            _box(-68.3, 17.0, -64.5, 19.2),
            _box(143.5, 12.0, 147.2, 21.7),
        ),
        "uk": (
            (
                *((-9.0, 61.5), (-9.2, 56.5), *_ULSTER, (-5.4, 53.0), (-5.7, 52.2)),
                *((-6.5, 51.5), (-7.5, 49.3), (-2.5, 50.05), (0.9, 50.5), (1.6, 50.98)),
                *((2.4, 51.5), (3.0, 53.0), (0.0, 61.5)),
            ),
        ),
        "canada": (
            (
                *((-141.0, 85.0), (-141.0, 73.0), *_ALASKA[:-1], (-134.5, 54.2)),
                *(*_NORTH, (-65.5, 42.0), (-50.0, 42.5), (-50.0, 60.0), (-60.0, 75.0)),
                (-60.0, 85.0),
            ),
        ),
        "australia": (
            (
                *((112.0, -20.0), (122.0, -13.0), (129.0, -10.3), (137.0, -10.3)),
                *((141.5, -9.9), (143.5, -9.9), (155.0, -24.0), (155.0, -45.0)),
                (112.0, -45.0),
            ),
        ),
        "germany": (
            (
                *((6.7, 53.45), (6.0, 54.5), (7.5, 55.3), (8.6, 54.91), (9.45, 54.82)),
                *((10.2, 54.75), (11.3, 54.57), (12.2, 54.7), (13.0, 55.0)),
                *((14.4, 54.6), (14.25, 53.92), (14.45, 53.25), (14.1, 52.85)),
                *((14.6, 52.5), (14.75, 51.6), (15.03, 51.25), (14.82, 50.87)),
                *((14.3, 51.05), (13.5, 50.65), (12.5, 50.38), (12.1, 50.25)),
                *((12.5, 49.9), (12.65, 49.43), (13.8, 48.77), (13.45, 48.57)),
                *((12.75, 48.12), (13.0, 47.85), (13.0, 47.5), (12.2, 47.65)),
                *((11.1, 47.42), (10.45, 47.55), (10.2, 47.27), (9.95, 47.53)),
                *((9.55, 47.54), (8.9, 47.65), (8.6, 47.8), (8.4, 47.57), (7.6, 47.58)),
                *((7.55, 48.0), (7.8, 48.5), (8.2, 48.97), (7.0, 49.15), (6.73, 49.17)),
                *((6.37, 49.47), (6.5, 49.8), (6.13, 50.13), (6.35, 50.33)),
                *((6.02, 50.76), (6.05, 51.2), (6.2, 51.5), (5.97, 51.8), (6.8, 51.95)),
                *((7.05, 52.25), (7.05, 52.65), (6.75, 52.65), (7.2, 53.2)),
            ),
        ),
        "switzerland": (
            (
                *((5.97, 46.13), (6.12, 46.55), (6.45, 46.93), (7.0, 47.35)),
                *((7.2, 47.48), (7.6, 47.58), (8.4, 47.57), (8.6, 47.8), (8.9, 47.65)),
                *((9.55, 47.54), (9.53, 47.27), (9.48, 47.06), (9.87, 46.95)),
                *((10.47, 46.9), (10.45, 46.55), (10.1, 46.25), (9.6, 46.3)),
                *((9.25, 46.45), (9.03, 45.83), (8.45, 46.4), (8.15, 46.15)),
                *(
                    (7.85, 45.92),
                    (7.05, 45.9),
                    (6.8, 46.13),
                    (6.8, 46.4),
                    (6.25, 46.25),
                ),
            ),
        ),
        "new-zealand": (_box(165.5, -48.5, 180.0, -33.0),),
    }
)
"""Outlines of the lands whose rules are known [deg], by the start of the name of a rule set."""


@cache
def _ground(land: str) -> BaseGeometry:
    ground = shapely.union_all([shapely.Polygon(points) for points in LANDS[land]])
    shapely.prepare(ground)
    return ground


def standing(land: str, longitude: float, latitude: float) -> Standing:
    """Tell whether a place (WGS 84) lies in a land, as far as its outline in `LANDS` tells.

    Examples
    --------
    >>> standing("us", -117.952, 41.604), standing("us", -79.4, 43.85)
    ('inside', 'outside')
    """
    place, ground = shapely.Point(longitude, latitude), _ground(land)
    if ground.boundary.distance(place) < _DOUBT:
        return "near its border"
    return "inside" if ground.covers(place) else "outside"


def near_a_border(longitude: float, latitude: float) -> bool:
    """Tell whether a place is so near a border that only people can say its land."""
    return any(
        standing(land, longitude, latitude) == "near its border" for land in LANDS
    )


_AROUND: Final = 0.5  # deg; assumed
NONE_NEAR: Final = 10_000.0
"""What `beside_aerodromes` gives where no aerodrome is near [m]: nothing bears it out."""


@cache
def _aerodromes() -> dict[tuple[int, int], tuple[float, float]]:
    """Read the lowest and highest aerodrome of each degree [m]."""
    text = files("driftmap.rules").joinpath("elevations.csv").read_text("utf-8")
    rows = (line.split(",") for line in text.splitlines() if line[0] != "#")
    return {(int(n), int(e)): (float(low), float(high)) for n, e, low, high in rows}


def beside_aerodromes(longitude: float, latitude: float, elevation: float) -> float:
    """Give how far an elevation lies below or above those of all aerodromes near by [m].

    Of 6,000 aerodromes held against the others so, one in fifty lies more than 200 m
    beside them; of those above 300 m with metres written for feet, nine in ten, and with
    feet for metres, four in ten.

    ``elevation``: what the file of the place (WGS 84) says [m].

    Result: 0 among them; `NONE_NEAR` where none is within half a degree or so.

    Examples
    --------
    >>> round(beside_aerodromes(-117.952, 41.604, 1234.0))
    0
    >>> round(beside_aerodromes(-117.952, 41.604, 4050.0))
    2655
    """
    rows, columns = (
        range(floor(at - _AROUND), floor(at + _AROUND) + 1)
        for at in (latitude, longitude)
    )
    around = [(n, (e + 180) % 360 - 180) for n in rows for e in columns]
    ends = [_aerodromes()[cell] for cell in around if cell in _aerodromes()]
    if not ends:
        return NONE_NEAR
    lowest, highest = min(low for low, _ in ends), max(high for _, high in ends)
    return max(lowest - elevation, elevation - highest, 0.0)
