"""A layout as a picture: the ground, who stands where, and a dot for each candidate."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.ground.site import Site
from driftmap.planning.layout import Place
from driftmap.report.planpage import printable
from driftmap.report.squares import ring_step
from driftmap.report.voice import Voice

__all__ = ["layout_svg"]

_WIDTH: Final = 900.0
_STEPS: Final = ("#f4f4f4", "#d5f0e3", "#93d3b3", "#3f9c74", "#04643f")
"""Fill of a dot by the share of winds that are go, in fifths."""


def layout_svg(site: Site, places: Sequence[Place], best: int, voice: Voice) -> str:
    """Draw candidates over the ground, north up.

    Parameters
    ----------
    site : Site
        The site as drawn.
    places : sequence of Place
        Candidates, the best first.
    best : int
        How many of the best to number.
    voice : Voice
        Writes words and figures.

    Returns
    -------
    str
        An ``svg`` element that needs nothing from outside; every text is escaped.
    """
    west, south, east, north = site.boundary.bounds
    scale = _WIDTH / max(east - west, north - south)
    size = ((east - west) * scale + 40, (north - south) * scale + 40)
    view = _View(west, north, scale)
    parts = [
        view.shape(site.boundary, "field", "boundary"),
        *(
            view.shape(a.shape, "people" if a.occupied else "area", a.name)
            for a in site.areas
        ),
        *(_dot(view, place, voice) for place in places),
        *_numbers(view, [p for p in places if not p.broken][:best]),
        *(view.name(a.shape, a.name) for a in site.areas if a.occupied),
        _scale(view, size[1] - 36, voice),
    ]
    name = printable(voice.say("plan.layout_name"))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="layout" role="group" '
        f'viewBox="-20 -20 {size[0]:.0f} {size[1]:.0f}"><title>{name}</title>'
        f"{''.join(parts)}</svg>"
    )


class _View:
    """Metres about the pad to the picture's points."""

    def __init__(self, west: float, north: float, scale: float) -> None:
        self.west, self.north, self.scale = west, north, scale

    def at(self, east: float, north: float) -> tuple[float, float]:
        """Place one point."""
        return (east - self.west) * self.scale, (self.north - north) * self.scale

    def name(self, shape: BaseGeometry, name: str) -> str:
        """Write a name below a shape."""
        middle = shape.centroid
        x, y = self.at(middle.x, shape.bounds[1])
        return f'<text x="{x:.0f}" y="{y + 15:.0f}" text-anchor="middle">{printable(name)}</text>'

    def shape(self, shape: BaseGeometry, kind: str, name: str) -> str:
        """Draw a shape with its holes."""
        path = "".join(
            "M" + "L".join("{:.1f} {:.1f}".format(*self.at(*xy)) for xy in ring) + "Z"
            for part in shapely.get_parts(shape)
            for ring in _outlines(part)
        )
        return (
            f'<path class="{kind}" fill-rule="evenodd" d="{path}">'
            f"<title>{printable(name)}</title></path>"
        )


def _scale(view: _View, y: float, voice: Voice) -> str:
    """Draw a bar of a round length."""
    metres = ring_step(_WIDTH / view.scale, voice.units)
    long = metres * view.scale
    return (
        f'<path class="scale" d="M0 {y - 6:.0f}V{y:.0f}H{long:.0f}V{y - 6:.0f}"/>'
        f'<text x="{long + 8:.0f}" y="{y:.0f}">{printable(voice.exact_distance(metres))}</text>'
    )


def _outlines(part: shapely.Polygon) -> Iterable[np.ndarray]:
    for ring in (part.exterior, *part.interiors):
        yield shapely.get_coordinates(ring)


def _dot(view: _View, place: Place, voice: Voice) -> str:
    x, y = view.at(place.east, place.north)
    spot = f'cx="{x:.1f}" cy="{y:.1f}"'
    if place.broken:
        told = printable(place.broken[0])
        return f'<circle class="barred" {spot} r="3"><title>{told}</title></circle>'
    fill = _STEPS[min(int(place.go * len(_STEPS)), len(_STEPS) - 1)]
    told = voice.say(
        "plan.dot",
        share=voice.percent(place.go),
        distance=voice.exact_distance(place.to_people),
    )
    if place.blocked_by:
        told = voice.say("plan.dot_held", told=told, what=place.blocked_by)
    return (
        f'<circle class="dot" {spot} r="5" fill="{fill}"><title>{printable(told)}</title>'
        "</circle>"
    )


def _numbers(view: _View, places: Sequence[Place]) -> Iterable[str]:
    for rank, place in enumerate(places, 1):
        x, y = view.at(place.east, place.north)
        yield (
            f'<circle class="best" cx="{x:.1f}" cy="{y:.1f}" r="8"/>'
            f'<text x="{x + 11:.1f}" y="{y + 5:.1f}">{rank}</text>'
        )
