"""A gridded forecast: the point nearest to the site."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

from driftmap.errors import WindError
from driftmap.winds.documents import as_list, as_number, as_object
from driftmap.winds.reading import Setting

__all__ = ["FARTHEST", "distance", "nearest_point"]

FARTHEST: Final = 50_000.0
"""How far a forecast's point may lie from the site [m]; assumed."""


def nearest_point(
    document: dict[str, Any], source: str, setting: Setting
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Take the point of a grid that is nearest to the site.

    Parameters
    ----------
    document : dict
        A forecast; without ``points`` it is returned as it is.
    source : str
        For the message.
    setting : Setting
        Where the site lies.

    Returns
    -------
    document : dict
        With what the point says in place of ``points``.
    assumed : tuple of str
        How far the point is.

    Raises
    ------
    WindError
        If the site's place is not known, or no point is near.
    """
    if "points" not in document:
        return document, ()
    points = []
    for i, one in enumerate(as_list(document["points"], source, "points"), 1):
        point = as_object(one, source, f"point {i}")
        points.append(point)
    if setting.place is None:
        raise WindError(
            source,
            "points",
            "are a grid, and where the site lies is not known; give it",
        )
    away = [
        distance(point, setting.place, source, f"point {i}")
        for i, point in enumerate(points, 1)
    ]
    near = away.index(min(away))
    told = f"the nearest of {len(points)} points is {away[near] / 1000:.0f} km away"
    if away[near] > FARTHEST:
        raise WindError(
            source, "points", f"{told}; accepted is {FARTHEST / 1000:.0f} km"
        )
    shared = {key: value for key, value in document.items() if key != "points"}
    return shared | points[near], (f"{source}: {told}, and its wind is taken",)


def distance(
    point: Mapping[str, Any], place: tuple[float, float], source: str, where: str
) -> float:
    """Give the distance over a sphere (haversine), enough to tell what is near.

    Parameters
    ----------
    point : mapping
        With ``latitude`` and ``longitude`` [deg].
    place : tuple of float
        Latitude and longitude [deg].
    source, where : str
        For the message.

    Returns
    -------
    float
        Distance [m].

    Raises
    ------
    WindError
        If the point has no such place.
    """
    given = []
    for key, most in (("latitude", 90.0), ("longitude", 180.0)):
        value = as_number(point.get(key), key, source, where)
        if abs(value) > most:
            raise WindError(
                source, where, f"{key} {value:g}; accepted is -{most:g} to {most:g}"
            )
        given.append(math.radians(value))
    there, here = given, [math.radians(value) for value in place]
    half = math.sin((there[0] - here[0]) / 2) ** 2 + math.cos(there[0]) * math.cos(
        here[0]
    ) * (math.sin((there[1] - here[1]) / 2) ** 2)
    return 2 * 6_371_000.0 * math.asin(min(1.0, math.sqrt(half)))
