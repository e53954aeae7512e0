"""Harm to people: casualties expected of a flight, and the risk at the worst spot."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import FloatArray
from driftmap.core.estimate import CONFIDENCE, Estimate, weighted_mean
from driftmap.ground.areas import Area
from driftmap.hazard.harm import THRESHOLDS, Impacts
from driftmap.hazard.probability import inside

__all__ = [
    "Casualties",
    "SpotRisk",
    "expected_casualties",
    "individual_risk",
]


@dataclass(frozen=True, slots=True)
class Casualties:
    """Casualties expected of one flight.

    Parameters
    ----------
    areas : mapping of str to Estimate
        In each area with people in it.
    total : Estimate
        In all of them; the interval is that of the sum, not the sum of intervals.
    uncounted : tuple of str
        Occupied areas whose head count is not known. Where there are any, the total is
        too small and a verdict must hold.
    """

    areas: Mapping[str, Estimate]
    total: Estimate
    uncounted: tuple[str, ...]


def expected_casualties(
    impacts: Impacts,
    areas: Sequence[Area],
    *,
    occupied: Sequence[str] = (),
) -> Casualties:
    r"""Give the casualties expected of one flight.

    .. math:: E_c = \sum_\mathrm{areas} \sum_\mathrm{cases} p_\mathrm{case}\,
        \mathrm{E}\Big[\sum_\mathrm{pieces} A_c\Big] \frac{N}{A}

    over the pieces that land in the area with enough energy to harm. People stand evenly
    in their area (14 CFR part 420, appendix C; form from memory); all of them on the worst
    of its parts, where it has several.

    Parameters
    ----------
    impacts : Impacts
        From `driftmap.hazard.harm.gather`.
    areas : sequence of Area
        Areas of the site.
    occupied : sequence of str
        Roles where people stand though no head count is given, `driftmap.ground.roles.OCCUPIED`.

    Returns
    -------
    Casualties
        For each area and in total.

    Notes
    -----
    A person struck by two pieces counts twice. A piece that lands just outside an area
    and reaches into it is not counted, one that lands just inside and reaches out is
    counted whole: the two cancel where landings are spread wider than a casualty area.
    """
    counted = [area for area in areas if area.people]
    found: dict[str, Estimate] = {}
    everywhere = np.zeros(impacts.flights)
    stood = []
    for area in counted:
        harm, crowd, part = _worst_part(impacts, area)
        found[area.name] = weighted_mean(harm, impacts.flights, crowd * impacts.most)
        everywhere += harm
        stood.append((crowd, part))
    # A landing on the edge that two areas share counts in both.
    most = max(impacts.most * _densest(stood), float(everywhere.max()))
    total = Estimate(0.0, 0.0, 0.0, 0, impacts.flights)  # nobody there, nobody hurt
    if counted:
        total = weighted_mean(everywhere, impacts.flights, most)
    uncounted = tuple(a.name for a in areas if a.people is None and a.role in occupied)
    return Casualties(found, total, uncounted)


def _harmful(
    impacts: Impacts,
    area: Area,
    near: Callable[[FloatArray, FloatArray], NDArray[np.bool_]],
) -> NDArray[np.intp]:
    """Find the landings that pass a test with enough energy to harm."""
    hit = near(impacts.east, impacts.north)
    return np.flatnonzero(hit & (impacts.energy >= THRESHOLDS[area.shelter].value))


def _worst_part(impacts: Impacts, area: Area) -> tuple[FloatArray, float, BaseGeometry]:
    """Let all people of an area in several parts stand where most harm comes down.

    A far or empty part must not thin out the crowd on another. Gives what each flight
    does, shape (n,), people to the square metre [m⁻²], and where they stand.
    """
    found = []
    for part in shapely.get_parts(area.shape):
        crowd = float(area.people or 0) / part.area
        rows = _harmful(impacts, area, inside(part))
        sums = np.bincount(impacts.flight[rows], impacts.danger[rows], impacts.flights)
        found.append((crowd * np.asarray(sums, dtype=float), crowd, part))
    return max(found, key=lambda row: (float(row[0].sum()), row[1]))


def _densest(crowds: Sequence[tuple[float, BaseGeometry]]) -> float:
    """Give the most people on a square metre anywhere, overlaps added up [m⁻²]."""
    shapes = [shape for _, shape in crowds]
    apart = sum(shape.area for shape in shapes)
    if shapely.union_all(shapes).area < apart * (1 - 1e-9):
        return sum(crowd for crowd, _ in crowds)
    return max((crowd for crowd, _ in crowds), default=0.0)


@dataclass(frozen=True, slots=True)
class SpotRisk:
    """Risk to one person who stays at one spot, per flight.

    Parameters
    ----------
    area : str
        The area.
    east, north : float
        Middle of the square with the highest estimate, from the pad [m].
    risk : Estimate
        Probability of casualty there. The interval is that of the worst square: it holds
        for all squares of the area together.
    """

    area: str
    east: float
    north: float
    risk: Estimate


def individual_risk(impacts: Impacts, area: Area, *, cell: float = 100.0) -> SpotRisk:
    """Give the risk at the worst spot of an area.

    The density of harmful landings in a square about the spot, times their casualty area
    [1]_. Every square that touches the area is looked at.

    Parameters
    ----------
    impacts : Impacts
        From `driftmap.hazard.harm.gather`.
    area : Area
        Where someone stands.
    cell : float
        Side of a square [m]: small against the spread of the landings, large enough to
        hold some. 100 m is our choice.

    Raises
    ------
    ValueError
        If `cell` is not positive.

    Notes
    -----
    The highest of many uncertain figures is biased upward, to the safe side. The ends of
    the interval are the highest lower and the highest upper end of all squares, each at a
    confidence raised for their number (Bonferroni).

    References
    ----------
    .. [1] 14 CFR part 420, appendix C (form from memory); valid where a casualty area is
       small against the spread of the landings.
    """
    if not 0 < cell < math.inf:
        raise ValueError(f"'cell' must be positive (got {cell})")
    corner, shape = _squares(area.shape, cell)
    touched = _touched(area.shape, corner, shape, cell)
    confidence = 1 - (1 - CONFIDENCE) / touched.size
    danger = _by_square(impacts, area, (corner, shape, cell), touched)
    # A square without a hit is known by its upper end alone, and all such are alike.
    empty = weighted_mean([], impacts.flights, impacts.most, confidence=confidence)
    found = {
        square: weighted_mean(
            danger[square], impacts.flights, impacts.most, confidence=confidence
        )
        if square in danger
        else empty
        for square in touched.tolist()
    }
    worst = max(found, key=lambda square: found[square].estimate)
    row, column = divmod(worst, shape[0])
    risk = Estimate(
        found[worst].estimate / cell**2,
        max(e.lower for e in found.values()) / cell**2,
        max(e.upper for e in found.values()) / cell**2,
        found[worst].hits,
        impacts.flights,
    )
    east, north = corner[0] + (column + 0.5) * cell, corner[1] + (row + 0.5) * cell
    return SpotRisk(area.name, east, north, risk)


def _squares(
    shape: BaseGeometry, cell: float
) -> tuple[tuple[float, float], tuple[int, int]]:
    """Lay squares over a shape, centred on it; give their corner and their numbers."""
    west, south, east, north = shape.bounds
    across = max(1, math.ceil((east - west) / cell))
    along = max(1, math.ceil((north - south) / cell))
    corner = (west + east - across * cell) / 2, (south + north - along * cell) / 2
    return corner, (across, along)


def _touched(
    shape: BaseGeometry,
    corner: tuple[float, float],
    number: tuple[int, int],
    cell: float,
) -> NDArray[np.intp]:
    row, column = np.divmod(np.arange(number[0] * number[1]), number[0])
    west, south = corner[0] + column * cell, corner[1] + row * cell
    boxes = shapely.box(west, south, west + cell, south + cell)
    return np.flatnonzero(shapely.intersects(shape, boxes))


def _by_square(
    impacts: Impacts,
    area: Area,
    grid: tuple[tuple[float, float], tuple[int, int], float],
    wanted: NDArray[np.intp],
) -> dict[int, FloatArray]:
    """Add up the danger that each flight brings into each wanted square it hits [m²]."""
    (west, south), (across, along), cell = grid
    cover = shapely.box(west, south, west + across * cell, south + along * cell)
    rows = _harmful(impacts, area, inside(cover))
    column = np.minimum((impacts.east[rows] - west) // cell, across - 1).astype(np.intp)
    row = np.minimum((impacts.north[rows] - south) // cell, along - 1).astype(np.intp)
    square = row * across + column
    asked = np.zeros(across * along, bool)
    asked[wanted] = True
    rows, square = rows[asked[square]], square[asked[square]]
    both, place = np.unique(
        square * impacts.flights + impacts.flight[rows], return_inverse=True
    )
    sums = np.bincount(place, impacts.danger[rows], both.size)
    hit, first = np.unique(both // impacts.flights, return_index=True)
    return dict(zip(hit.tolist(), np.split(sums, first)[1:], strict=True))
