"""The ground as every map draws it: the edges of the site and its areas, as plain data."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any, Final

import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.ground.areas import PAD, Area, Site
from driftmap.report import marks
from driftmap.report.shapes import ToScript, point_of, rings_of
from driftmap.report.voice import Voice
from driftmap.verdict.check import Outcome

_FIRST: Final = {"fail": 4, "warn": 2, "pass": 0}
"""How far failing places of people come before the rest, as their labels are set."""

_MARKED: Final = 40
"""How far the labels of all that does not pass come before others."""


def site_layer(
    site: Site,
    worst: Mapping[str, Outcome],
    place: ToScript,
    voice: Voice,
    *,
    astray: float,
) -> dict[str, Any]:
    """Return the edges and areas of a site, each with its label.

    ``worst``: what the checks say of each area, and of both edges; ``place``: how the
    page's script wants points; ``astray``: how far something may come down on any side
    [m], 0 where nothing does.

    Result: the areas in the order of the site file; the label of an edge at a corner of its
    own.
    """
    numbers = marks.people_numbers(site.areas)
    return {
        "edges": [
            {
                "kind": kind,
                "rings": rings_of(place, shape),
                "at": point_of(place, shapely.Point(shapely.get_coordinates(shape)[0])),
                "name": name,
                "outcome": worst.get(kind, "pass"),
                "rank": 62 - _MARKED * (worst.get(kind, "pass") != "pass"),
            }
            for kind, shape, name in _lines(site, astray, voice)
        ],
        "areas": [
            _area(area, numbers.get(area.name), worst[area.name], place)
            for area in site.areas
        ],
    }


def _lines(
    site: Site, astray: float, voice: Voice
) -> Iterator[tuple[str, BaseGeometry, str]]:
    """List boundary, waiver and how far something may stray, with their names."""
    top = voice.exact_distance(site.waiver.ceiling)
    yield "boundary", site.boundary, voice.say("map.edge")
    yield "waiver", site.waiver.shape, voice.say("map.ceiling", height=top)
    if astray:
        ring = PAD.buffer(astray, quad_segs=24)
        yield "astray", ring, voice.say("map.astray", distance=voice.away(astray))


def _area(
    area: Area, number: int | None, outcome: Outcome, place: ToScript
) -> dict[str, Any]:
    kind = "people" if area.occupied else marks.DRAWN_KINDS.get(area.role, "keep")
    beads = marks.middle_of(area.shape) if kind in ("railway", "power") else []
    middle = area.shape.representative_point()
    rank = (10 if area.occupied else 60) - min(area.people or 0, 999) / 1000
    rank -= _FIRST[outcome] if area.occupied else 0
    return {
        "kind": kind,
        "rings": rings_of(place, area.shape),
        "beads": [place(line).tolist() for line in beads],
        "at": point_of(place, middle),
        # One measure on every page: its nearest point, the way of its middle.
        "away": {
            "distance": round(area.distance, 1),
            "bearing": round(math.degrees(math.atan2(middle.x, middle.y)), 1),
        },
        "name": area.name,
        "people": area.people,
        "number": number,
        "outcome": outcome,
        "rank": rank - _MARKED * (outcome != "pass"),
    }
