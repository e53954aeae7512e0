"""The field from above as one plain picture: pad, people, wind, and what lands where."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

import numpy as np
import shapely

from driftmap.briefing.facts import Fall, Spot
from driftmap.briefing.voice import Voice
from driftmap.report.pad import surface_wind
from driftmap.report.squares import ring_step
from driftmap.verdict.assessment import Assessment

__all__ = ["field_picture"]

_WIDTH: Final = 600.0
_HEIGHT: Final = 520.0
_MARGIN: Final = 46.0
_BADGE: Final = 15.0  # radius
_FARTHEST: Final = 4.0
"""Outlines may stretch the picture to so many times the ground that people need."""


@dataclass(frozen=True, slots=True)
class _Frame:
    """From metres about the pad to the picture."""

    west: float
    top: float
    scale: float

    def spot(self, east: float, north: float) -> tuple[float, float]:
        return (east - self.west) * self.scale, (self.top - north) * self.scale

    def path(self, shape: shapely.Geometry) -> str:
        rings = []
        for part in shapely.get_parts(shape):
            for ring in (part.exterior, *part.interiors):
                x, y = self.spot(*np.transpose(ring.coords))
                corners = np.column_stack([x, y])[:-1].round(1).tolist()
                rings.append("M" + "L".join(f"{a:g} {b:g}" for a, b in corners) + "Z")
        return "".join(rings)


def field_picture(
    assessment: Assessment,
    places: Sequence[Spot],
    well: Fall,
    worst: Fall | None,
    voice: Voice,
) -> str:
    """Draw the plan.

    Parameters
    ----------
    assessment : Assessment
        The assessment.
    places : sequence of Spot
        Every area; those with people bear their number in this order.
    well : Fall
        The rocket when recovery works; badge A.
    worst : Fall or None
        The hardest failure; badge B.
    voice : Voice
        Writes the few words in the picture.

    Returns
    -------
    str
        An ``svg`` element. Names from files are not in it: people's places bear the
        numbers of the list beside it.
    """
    a = assessment
    drawn = [("well", "A", _outline(a, well))]
    if worst is not None:
        drawn.append(("worst", "B", _outline(a, worst)))
    people = [spot.area.shape for spot in places if spot.stand]
    frame = _frame(people, [shape for _, _, shape in drawn])
    parts = [_HATCH, f'<rect class="ground" width="{_WIDTH:g}" height="{_HEIGHT:g}"/>']
    parts.append(_shape("edge", frame, a.site.boundary))
    parts += [_shape("closed", frame, s.area.shape) for s in places if not s.stand]
    parts += [_shape(kind, frame, shape) for kind, _, shape in drawn]
    parts += [_shape("people", frame, shape) for shape in people]
    parts += _marks(frame, people, drawn)
    parts += [_pad(frame), _north(voice), _scale(frame, voice)]
    parts.append(_wind(a, voice))
    name = escape(voice.say("picture.name"))
    return (
        f'<svg class="plan" viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}" role="img" '
        f'aria-label="{name}">{"".join(parts)}</svg>'
    )


_HATCH: Final = (
    '<defs><pattern id="no-entry" width="10" height="10" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate(45)"><path class="line" d="M0 0V10"/></pattern></defs>'
)


def _outline(a: Assessment, fall: Fall) -> shapely.Geometry:
    lines = a.contours[fall.case, fall.piece]
    return min(lines, key=lambda line: abs(line.share - 0.9)).shape


def _frame(
    people: Iterable[shapely.Geometry], outlines: Iterable[shapely.Geometry]
) -> _Frame:
    """Show pad and people whole, and outlines unless they dwarf everything."""
    need = shapely.union_all([shapely.Point(0, 0).buffer(100), *people])
    near = need.envelope.centroid.buffer(_FARTHEST * _half(need) + 500)
    whole = shapely.union_all([need, *(s.intersection(near) for s in outlines)])
    west, south, east, north = whole.bounds
    room = _WIDTH - 2 * _MARGIN, _HEIGHT - 2 * _MARGIN
    scale = min(room[0] / (east - west), room[1] / (north - south))
    middle = (west + east) / 2, (south + north) / 2
    return _Frame(
        middle[0] - _WIDTH / 2 / scale, middle[1] + _HEIGHT / 2 / scale, scale
    )


def _half(shape: shapely.Geometry) -> float:
    west, south, east, north = shape.bounds
    return float(max(east - west, north - south) / 2)


def _shape(kind: str, frame: _Frame, shape: shapely.Geometry) -> str:
    west, east = frame.west - 500, frame.west + _WIDTH / frame.scale + 500
    south, top = frame.top - _HEIGHT / frame.scale - 500, frame.top + 500
    seen = shapely.intersection(shape, shapely.box(west, south, east, top))
    solid = [p for p in shapely.get_parts(seen) if p.geom_type == "Polygon"]
    return f'<path class="{kind}" d="{frame.path(shapely.MultiPolygon(solid))}"/>'


def _marks(
    frame: _Frame,
    people: Sequence[shapely.Geometry],
    drawn: Sequence[tuple[str, str, shapely.Geometry]],
) -> list[str]:
    """Set badges beside what they name, none on another or on the pad."""
    taken = [frame.spot(0.0, 0.0)]
    parts = []
    named = [("people", str(i), shape) for i, shape in enumerate(people, start=1)]
    for kind, text, shape in [*named, *drawn]:
        middle = shape.representative_point()
        aim = frame.spot(middle.x, middle.y)
        x, y = _free(aim, taken)
        taken.append((x, y))
        if math.dist(aim, (x, y)) > 1:
            line = f"M{aim[0]:.1f} {aim[1]:.1f}L{x:.1f} {y:.1f}"
            parts.append(f'<path class="leader" d="{line}"/>')
        box = f'x="{x - _BADGE:.1f}" y="{y - _BADGE:.1f}" width="{2 * _BADGE:g}"'
        round_ = _BADGE if kind == "people" else 3
        parts.append(
            f'<g class="badge {kind}"><rect {box} height="{2 * _BADGE:g}" rx="{round_:g}"/>'
            f'<text x="{x:.1f}" y="{y + 7:.1f}">{text}</text></g>'
        )
    return parts


def _free(
    aim: tuple[float, float], taken: Sequence[tuple[float, float]]
) -> tuple[float, float]:
    """Find the place nearest to a point where a badge hides no other."""
    for away in range(0, 300, 6):
        for turn in np.linspace(0.0, 2 * math.pi, 16, endpoint=False):
            x, y = aim[0] + away * math.sin(turn), aim[1] + away * math.cos(turn)
            inside = (
                _BADGE < x < _WIDTH - _BADGE and 60 + _BADGE < y < _HEIGHT - 40 - _BADGE
            )
            if inside and all(math.dist((x, y), t) > 2.4 * _BADGE for t in taken):
                return x, y
    return aim


def _pad(frame: _Frame) -> str:
    x, y = frame.spot(0.0, 0.0)
    return (
        f'<g class="pad" transform="translate({x:.1f} {y:.1f})"><circle r="9"/>'
        '<path d="M-16 0H16M0 -16V16"/></g>'
    )


def _north(voice: Voice) -> str:
    return (
        f'<g class="north" transform="translate({_WIDTH - 34:g} 34)">'
        '<path d="M0 -24L11 14L0 6L-11 14Z"/>'
        f'<text y="34">{escape(voice.say("picture.north"))}</text></g>'
    )


def _scale(frame: _Frame, voice: Voice) -> str:
    length = ring_step(_WIDTH / frame.scale, voice.units)
    width = length * frame.scale
    return (
        f'<g class="scale" transform="translate(14 {_HEIGHT - 14:g})">'
        f'<path d="M0 -8V0H{width:.1f}V-8"/>'
        f'<text x="{width + 8:.1f}" y="0">{escape(voice.distance(length))}</text></g>'
    )


def _wind(a: Assessment, voice: Voice) -> str:
    """Draw the wind as a broad arrow in the corner, blowing over the field."""
    direction, speed = surface_wind(a)
    if speed <= 0.05:
        return ""
    turn = math.degrees(direction) + 180
    return (
        '<g class="wind" transform="translate(48 48)">'
        f'<path transform="rotate({turn:.1f})" d="M0 -38L20 -8H8V34H-8V-8H-20Z"/></g>'
        f'<text class="say" x="94" y="34">{escape(voice.say("picture.wind"))}</text>'
        f'<text class="say" x="94" y="58">{escape(voice.speed(speed))}</text>'
    )
