"""What every export says, whatever its format, and where on the Earth it lies."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Final
from xml.etree import ElementTree as ET

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from driftmap.core.checks import FloatArray
from driftmap.ground.areas import Site
from driftmap.ground.contours import Contour
from driftmap.ground.underlay import lonlat
from driftmap.montecarlo.columns import Part
from driftmap.montecarlo.margins import Landed, landed
from driftmap.verdict.assessment import CAUTIONS, Assessment, good_between

MOST_LANDINGS: Final = 100
"""Landing points written of each piece of each case, unless asked otherwise."""

_UNSOUND: Final = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]"
)


def shortened(p: float) -> float:
    """Keep four significant digits of a probability; sampling makes the rest chance."""
    return float(f"{p:.4g}")


def sound(text: str) -> str:
    """Replace what no file can hold: controls, lone surrogates, noncharacters.

    XML 1.0 (2.2) forbids most of these, and UTF-8 the surrogates; everything else,
    however odd, is kept.
    """
    return _UNSOUND.sub("\ufffd", text)


def title_of(assessment: Assessment) -> str:
    """Name what was assessed, and the verdict; a go only with when it ends."""
    a = assessment
    word = a.verdict.upper()
    if a.verdict == "go":
        word += f" until {_good_until(a)}"
    return sound(f"{word}: {a.flight.name} at {a.site.name}")


def _good_until(a: Assessment) -> str:
    ends = good_between(a)
    return "its wind is read anew" if ends is None else f"{ends[1]:%Y-%m-%d %H:%M %z}"


def statements(assessment: Assessment) -> list[tuple[str, str]]:
    """Say what the figures rest on and how far to trust them."""
    a = assessment
    told = [
        ("verdict", a.verdict),
        ("go until" if a.verdict == "go" else "judge anew after", _good_until(a)),
        *(
            ("not surely kept", f"{c.name}, {c.area}" if c.area else c.name)
            for c in a.checks
            if c.outcome != "pass"
        ),
        *(("caution", text) for text in CAUTIONS),
        ("flight", a.flight.name),
        ("site", a.site.name),
        ("wind", a.wind.source),
        ("flights in each case", str(a.cloud.flights)),
        ("seed", str(a.cloud.seed)),
        ("driftmap version", a.version),
        *(("assumed", text) for text in a.assumed),
    ]
    return [(subject, sound(text)) for subject, text in told]


@dataclass(frozen=True, slots=True)
class Ground:
    """Boundary, waiver or an area of the site, with what a file says of it.

    An area has a name, and a role in place of its kind.
    """

    kind: str
    shape: BaseGeometry
    name: str = ""
    role: str = ""
    figures: dict[str, Any] = field(default_factory=dict)


def grounds(assessment: Assessment) -> Iterator[Ground]:
    """Go through the ground of the site: both edges, then the areas of the site file."""
    site = assessment.site
    yield Ground("boundary", site.boundary)
    ceiling = {"ceiling_above_ground_m": site.waiver.ceiling}
    yield Ground("waiver", site.waiver.shape, figures=ceiling)
    for hit in assessment.areas:
        area, p = hit.area, hit.total
        likely = chances(p.estimate, p.lower, p.upper)
        figures = {"role": area.role, "people": area.people, **likely}
        yield Ground("area", area.shape, sound(area.name), area.role, figures)


def chances(estimate: float, lower: float, upper: float) -> dict[str, float]:
    """Give a probability of a hit and its interval by their names in a file."""
    ends = {"": estimate, "_lower": lower, "_upper": upper}
    return {f"hit_probability{end}": shortened(p) for end, p in ends.items()}


def pieces(assessment: Assessment) -> Iterator[tuple[Part, float, Landed]]:
    """Go through the pieces of all cases.

    Result: rows in the cloud, the share of all flights in which the case happens, and how
    the piece lands.
    """
    cloud = assessment.cloud
    likely = {case.name: case.probability for case in cloud.tree.cases}
    for part in cloud.parts:
        yield part, likely[part.case], landed(cloud, part)


def medians(found: Landed) -> dict[str, float]:
    """Return time, speed and energy of a landing in the middle of all, by their names in a file."""
    return {
        "median_time_s": round(found.time.p50, 1),
        "median_speed_mps": round(found.speed.p50, 1),
        "median_energy_j": round(found.energy.p50, 1),
    }


def outlines(assessment: Assessment) -> Iterator[tuple[str, str, Contour]]:
    """Go through the contours of cases and pieces, the widest of each piece first."""
    for (case, body), contours in assessment.contours.items():
        for contour in sorted(contours, key=lambda c: -c.share):
            yield case, body, contour


def thinned(part: Part, most: int) -> FloatArray:
    """Choose landing points of a piece, evenly among all flights."""
    size = part.rows.stop - part.rows.start
    count = min(most, size)
    steps = (np.arange(count) + 0.5) * (size / count) if count else np.zeros(0)
    return np.asarray(part.rows.start + steps.astype(np.intp))


def add(
    parent: ET.Element, name: str, text: str | None = None, /, **attributes: str
) -> ET.Element:
    """Add an element."""
    element = ET.SubElement(parent, name, attributes)
    element.text = None if text is None else sound(text)
    return element


def xml_text(root: ET.Element) -> str:
    """Write a whole document."""
    ET.indent(root)
    body = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{body}\n'


DECIMALS: Final = 7
"""Decimal places of longitude and latitude: 1 cm, so that slim areas keep their shape;
RFC 7946, 11.2, asks for no more than is of use."""

LonLat = tuple[float, float]
"""Longitude and latitude, WGS 84 [deg]."""

_STEP: Final = 10.0**-DECIMALS


def positions(site: Site, east: ArrayLike, north: ArrayLike) -> list[LonLat]:
    """Return the positions of local points.

    ``east`` and ``north``, shape (n,): points from the pad [m].

    Result: longitude and latitude, rounded to `DECIMALS` [deg].
    """
    longitude, latitude = site.to_lonlat(east, north)
    return [
        (round(x, DECIMALS), round(y, DECIMALS))
        for x, y in zip(
            np.ravel(longitude).tolist(), np.ravel(latitude).tolist(), strict=True
        )
    ]


def place(site: Site, shape: BaseGeometry) -> shapely.MultiPolygon:
    """Place a shape on the Earth.

    ``shape``: shape in metres from the pad [m].

    Result: longitude and latitude [deg], valid after rounding to `DECIMALS`, outer
    rings counterclockwise and holes clockwise (RFC 7946, 3.1.6), cut where it crosses
    the antimeridian (3.1.9). Parts thinner than the rounding vanish.
    """
    whole = shapely.transform(shape, lambda xy: np.column_stack(lonlat(site, *xy.T)))
    shortened = shapely.set_precision(_within_180(whole), _STEP)
    return shapely.MultiPolygon([orient(part) for part in _parts(shortened)])


def _within_180(shape: BaseGeometry) -> BaseGeometry:
    west, _, east, _ = shape.bounds
    if west >= -180 and east <= 180:
        return shape
    pieces = []
    for turn in (-360.0, 0.0, 360.0):
        world = shapely.box(-180 - turn, -90, 180 - turn, 90)
        piece = shapely.intersection(shape, world)
        pieces += [translate(part, xoff=turn) for part in _parts(piece)]
    # Not joined: the two sides touch only on the globe.
    return shapely.MultiPolygon(pieces)


def _parts(shape: BaseGeometry) -> list[shapely.Polygon]:
    return [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"]


def polygons(shape: shapely.MultiPolygon) -> list[list[list[LonLat]]]:
    """List the rings of a placed shape.

    Result: polygons; in each the outer ring and then its holes; in each the closed row
    of positions [deg].
    """
    return [
        [_ring(ring) for ring in (part.exterior, *part.interiors)]
        for part in shape.geoms
    ]


def _ring(ring: shapely.LinearRing) -> list[LonLat]:
    return [(round(x, DECIMALS), round(y, DECIMALS)) for x, y in ring.coords]
