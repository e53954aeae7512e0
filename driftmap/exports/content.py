"""What every export says, whatever its format."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from driftmap.checks import FloatArray
from driftmap.montecarlo.cloud import Part
from driftmap.montecarlo.margins import landed
from driftmap.verdict.assessment import CAUTIONS, Assessment

__all__ = [
    "POINTS",
    "Outline",
    "Piece",
    "figure",
    "headline",
    "outlines",
    "pieces",
    "sound",
    "statements",
    "thinned",
]

POINTS: Final = 100
"""Landing points written of each piece of each case, unless asked otherwise."""

_UNSOUND: Final = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]"
)


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """A contour of one piece.

    Parameters
    ----------
    case, piece : str
        Names of the case and of the piece.
    percent : float
        Share of the landings inside [%].
    shape : shapely.MultiPolygon
        Outline in metres from the pad [m].
    area : float
        Ground inside [m²].
    """

    case: str
    piece: str
    percent: float
    shape: shapely.MultiPolygon
    area: float


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """A piece of one case and how it lands.

    Parameters
    ----------
    case, name : str
        Names of the case and of the piece.
    count : int
        How many of it there are.
    probability : float
        Share of all flights in which the case happens.
    east, north : float
        Its mean landing point from the pad [m].
    time, speed, energy : float
        Medians: since lift-off [s], over the ground [m s⁻¹], and [J].
    part : Part
        Its rows in the cloud.
    """

    case: str
    name: str
    count: int
    probability: float
    east: float
    north: float
    time: float
    speed: float
    energy: float
    part: Part


def figure(p: float) -> float:
    """Keep four significant digits of a probability; sampling makes the rest chance."""
    return float(f"{p:.4g}")


def sound(text: str) -> str:
    """Replace what no file can hold: controls, lone surrogates, noncharacters.

    XML 1.0 (2.2) forbids most of these, and UTF-8 the surrogates; everything else,
    however odd, is kept.
    """
    return _UNSOUND.sub("\ufffd", text)


def headline(assessment: Assessment) -> str:
    """Name what was assessed, and the verdict."""
    a = assessment
    return sound(f"{a.verdict.upper()}: {a.flight.name} at {a.site.name}")


def statements(assessment: Assessment) -> list[tuple[str, str]]:
    """Say what the figures rest on and how far to trust them."""
    a = assessment
    told = [
        ("verdict", a.verdict),
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


def pieces(assessment: Assessment) -> Iterator[Piece]:
    """Go through the pieces of all cases."""
    cloud = assessment.cloud
    likely = {case.name: case.probability for case in cloud.tree.cases}
    for part in cloud.parts:
        found = landed(cloud, part)
        yield Piece(
            sound(part.case),
            sound(part.body),
            part.count,
            likely[part.case],
            found.east,
            found.north,
            found.time.p50,
            found.speed.p50,
            found.energy.p50,
            part,
        )


def outlines(assessment: Assessment) -> Iterator[Outline]:
    """Go through the contours of all pieces, the widest of each piece first."""
    for (case, body), contours in assessment.contours.items():
        for contour in sorted(contours, key=lambda c: -c.share):
            percent = contour.share * 100
            yield Outline(
                sound(case), sound(body), percent, contour.shape, contour.area
            )


def thinned(part: Part, most: int) -> FloatArray:
    """Choose landing points of a piece, evenly among all flights."""
    size = part.rows.stop - part.rows.start
    count = min(most, size)
    steps = (np.arange(count) + 0.5) * (size / count) if count else np.zeros(0)
    return np.asarray(part.rows.start + steps.astype(np.intp))
