"""Harm to people: casualties expected of a flight, and the risk at the worst spot."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from driftmap.areas import Area
from driftmap.atmosphere import FloatArray
from driftmap.harm import THRESHOLDS, Sourced
from driftmap.hazard import inside
from driftmap.sampling import CONFIDENCE, Estimate, weighted_mean

__all__ = [
    "Casualties",
    "Impacts",
    "Piece",
    "SpotRisk",
    "expected_casualties",
    "gather",
    "individual_risk",
]

Mean: TypeAlias = Callable[..., Estimate]
"""`driftmap.sampling.weighted_mean`, or `driftmap.steering.tilted_mean` for flights drawn
from a proposal."""


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """Landings of one piece of one case.

    Parameters
    ----------
    likelihood : float
        Likelihood of the case in a flight to which it can happen. Where it happened to
        ``k`` of ``n`` flights, its share of all flights is ``likelihood * k / n``.
    east, north : ndarray, shape (k,)
        Landing points from the pad [m].
    energy : ndarray, shape (k,)
        Kinetic energy on landing [J].
    casualty_area : ndarray, shape (k,)
        From `driftmap.harm.casualty_area` [m²].
    flight : ndarray of int, shape (k,), or None
        Which flight each landing belongs to; None for all flights in their order.
    """

    likelihood: float
    east: FloatArray
    north: FloatArray
    energy: FloatArray
    casualty_area: FloatArray
    flight: NDArray[np.intp] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Impacts:
    """Every landing of every piece, as columns.

    Parameters
    ----------
    flight : ndarray of int, shape (m,)
        Which flight each landing belongs to.
    east, north : ndarray, shape (m,)
        Landing points from the pad [m].
    energy : ndarray, shape (m,)
        Kinetic energy on landing [J].
    danger : ndarray, shape (m,)
        Casualty area times the likelihood of the case, and times the weight of the
        flight [m²].
    flights : int
        Number of flights.
    most : float
        Most that `danger` can add up to in one flight [m²].

    Raises
    ------
    ValueError
        If there are no flights, or a figure is negative or not finite: it would count as
        a miss.
    """

    flight: NDArray[np.intp]
    east: FloatArray
    north: FloatArray
    energy: FloatArray
    danger: FloatArray
    flights: int
    most: float

    def __post_init__(self) -> None:
        if self.flights < 1 or self.flight.size == 0:
            raise ValueError("'flights' must be positive, with landings in them")
        for name in ("east", "north", "energy", "danger"):
            values = getattr(self, name)
            if values.shape != self.flight.shape or not np.isfinite(values).all():
                raise ValueError(f"'{name}' must be finite, a value for each landing")
        if self.energy.min() < 0 or self.danger.min() < 0 or not self.most > 0:
            raise ValueError("'energy' and 'danger' must not be negative")


def gather(
    pieces: Sequence[Piece], flights: int, *, weights: ArrayLike | None = None
) -> Impacts:
    """Put the landings of all pieces of all cases into columns.

    Parameters
    ----------
    pieces : sequence of Piece
        Every piece of every case.
    flights : int
        Number of flights, ``n``.
    weights : array_like, shape (n,), optional
        Weight of each flight, from `driftmap.steering.Proposal.weights`; 1 if left out.

    Returns
    -------
    Impacts
        The columns. The most that one flight can add is the greatest sum of a flight
        here, as if all its pieces landed in one place.

    Raises
    ------
    ValueError
        If there are no pieces, or a piece has no landing for a flight and does not say
        which flights it has.
    """
    weight = np.ones(flights) if weights is None else np.asarray(weights, float)
    if not pieces or weight.shape != (flights,):
        raise ValueError("'pieces' must not be empty, 'weights' hold one a flight")
    flight = np.concatenate([_flights_of(piece, flights) for piece in pieces])
    danger = np.concatenate([p.likelihood * p.casualty_area for p in pieces])
    danger = danger * weight[flight]
    return Impacts(
        flight=flight,
        east=np.concatenate([p.east for p in pieces]),
        north=np.concatenate([p.north for p in pieces]),
        energy=np.concatenate([p.energy for p in pieces]),
        danger=danger,
        flights=flights,
        most=float(np.bincount(flight, danger, flights).max()),
    )


def _flights_of(piece: Piece, flights: int) -> NDArray[np.intp]:
    if piece.flight is not None:
        if piece.flight.shape != piece.east.shape or not np.all(
            (piece.flight >= 0) & (piece.flight < flights)
        ):
            raise ValueError(f"'flight' must lie in 0 to {flights - 1}, one a landing")
        return piece.flight
    if piece.east.shape != (flights,):
        raise ValueError(f"'flight' must say which of {flights} flights a piece is of")
    return np.arange(flights)


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
    thresholds: Mapping[str, Sourced] = THRESHOLDS,
    mean: Mean = weighted_mean,
) -> Casualties:
    r"""Give the casualties expected of one flight.

    .. math:: E_c = \sum_\mathrm{areas} \sum_\mathrm{cases} p_\mathrm{case}\,
        \mathrm{E}\Big[\sum_\mathrm{pieces} A_c\Big] \frac{N}{A}

    over the pieces that land in the area with enough energy to harm. People stand evenly
    in their area (14 CFR part 420, appendix C; form from memory).

    Parameters
    ----------
    impacts : Impacts
        From `gather`.
    areas : sequence of Area
        Areas of the site.
    occupied : sequence of str
        Roles where people stand though no head count is given, `driftmap.roles.OCCUPIED`.
    thresholds : mapping of str to Sourced
        Least energy that harms, by shelter [J].
    mean : callable
        Gives mean and interval.

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
    for area in counted:
        crowd = float(area.people or 0) / area.shape.area
        harm = crowd * _by_flight(impacts, area, thresholds)
        found[area.name] = mean(harm, impacts.flights, crowd * impacts.most)
        everywhere += harm
    # A landing on the edge that two areas share counts in both.
    most = max(impacts.most * _densest(counted), float(everywhere.max()))
    total = Estimate(0.0, 0.0, 0.0, 0, impacts.flights)  # nobody there, nobody hurt
    if counted:
        total = mean(everywhere, impacts.flights, most)
    uncounted = tuple(a.name for a in areas if a.people is None and a.role in occupied)
    return Casualties(found, total, uncounted)


def _harmful(
    impacts: Impacts,
    area: Area,
    thresholds: Mapping[str, Sourced],
    near: Callable[[FloatArray, FloatArray], NDArray[np.bool_]],
) -> NDArray[np.intp]:
    """Find the landings that pass a test with enough energy to harm."""
    hit = near(impacts.east, impacts.north)
    return np.flatnonzero(hit & (impacts.energy >= thresholds[area.shelter].value))


def _by_flight(
    impacts: Impacts, area: Area, thresholds: Mapping[str, Sourced]
) -> FloatArray:
    """Add up the danger that each flight brings into an area, shape (n,) [m²]."""
    rows = _harmful(impacts, area, thresholds, inside(area.shape))
    sums = np.bincount(impacts.flight[rows], impacts.danger[rows], impacts.flights)
    return np.asarray(sums, dtype=float)


def _densest(areas: Sequence[Area]) -> float:
    """Give the most people on a square metre anywhere, overlaps added up [m⁻²]."""
    crowds = [float(area.people or 0) / area.shape.area for area in areas]
    shapes = [area.shape for area in areas]
    apart = sum(shape.area for shape in shapes)
    if shapely.union_all(shapes).area < apart * (1 - 1e-9):
        return float(sum(crowds))
    return max(crowds, default=0.0)


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


def individual_risk(
    impacts: Impacts,
    area: Area,
    *,
    cell: float = 100.0,
    thresholds: Mapping[str, Sourced] = THRESHOLDS,
    mean: Mean = weighted_mean,
) -> SpotRisk:
    """Give the risk at the worst spot of an area.

    The density of harmful landings in a square about the spot, times their casualty area
    [1]_. Every square that touches the area is looked at.

    Parameters
    ----------
    impacts : Impacts
        From `gather`.
    area : Area
        Where someone stands.
    cell : float
        Side of a square [m]: small against the spread of the landings, large enough to
        hold some. 100 m is our choice.
    thresholds : mapping of str to Sourced
        Least energy that harms, by shelter [J].
    mean : callable
        Gives mean and interval.

    Returns
    -------
    SpotRisk
        Worst square and its risk.

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
    danger = _by_square(impacts, area, (corner, shape, cell), thresholds)
    # A square without a hit is known by its upper end alone, and all such are alike.
    empty = mean([], impacts.flights, impacts.most, confidence=confidence)
    found = {
        square: mean(
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
    shape: shapely.Geometry, cell: float
) -> tuple[tuple[float, float], tuple[int, int]]:
    """Lay squares over a shape, centred on it; give their corner and their numbers."""
    west, south, east, north = shape.bounds
    across = max(1, math.ceil((east - west) / cell))
    along = max(1, math.ceil((north - south) / cell))
    corner = (west + east - across * cell) / 2, (south + north - along * cell) / 2
    return corner, (across, along)


def _touched(
    shape: shapely.Geometry,
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
    thresholds: Mapping[str, Sourced],
) -> dict[int, FloatArray]:
    """Add up the danger that each flight brings into each square that it hits [m²]."""
    (west, south), (across, along), cell = grid
    cover = shapely.box(west, south, west + across * cell, south + along * cell)
    rows = _harmful(impacts, area, thresholds, inside(cover))
    column = np.minimum((impacts.east[rows] - west) // cell, across - 1).astype(np.intp)
    row = np.minimum((impacts.north[rows] - south) // cell, along - 1).astype(np.intp)
    square = row * across + column
    both, place = np.unique(
        square * impacts.flights + impacts.flight[rows], return_inverse=True
    )
    sums = np.bincount(place, impacts.danger[rows], both.size)
    which = both // impacts.flights
    return {int(s): sums[which == s] for s in np.unique(which)}
