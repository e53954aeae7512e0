"""Every landing that can harm, as columns: where, how hard, on how much ground, how likely."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from driftmap.core.checks import FloatArray, IntArray
from driftmap.hazard.harm import WIDEST_PATCH


@dataclass(frozen=True, slots=True, eq=False)
class FallenPiece:
    """Landings of one piece of one case.

    Parameters
    ----------
    likelihood : float or ndarray, shape (k,)
        Likelihood of the case in each flight to which it can happen. Where it happened to
        ``k`` of ``n`` flights, its share of all flights is ``likelihood * k / n``.
    east, north : ndarray, shape (k,)
        Landing points from the pad [m].
    energy : ndarray, shape (k,)
        Kinetic energy on landing [J].
    casualty_area : ndarray, shape (k,)
        From `driftmap.hazard.harm.casualty_area` [m²].
    flight : ndarray of int, shape (k,), or None
        Which flight each landing belongs to; None for all flights in their order.
    side : float
        Side of the squares that the risk of its landings is averaged over, where it comes
        down often [m]; up to `WIDEST_PATCH`.
    peak : float or None
        Most that one of its landings weighs, where these are not all of them [m²].
    """

    likelihood: float | FloatArray
    east: FloatArray
    north: FloatArray
    energy: FloatArray
    casualty_area: FloatArray
    flight: IntArray | None = None
    side: float = WIDEST_PATCH
    peak: float | None = None


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
        Casualty area times the likelihood of the case [m²].
    piece : ndarray of int, shape (m,)
        Which piece each landing is of.
    flights : int
        Number of flights.
    most : float
        Most that `danger` can add up to in one flight [m²].
    sides, peaks : ndarray, shape (p,)
        Of each piece: side of its squares [m], and most that one landing weighs [m²].

    Raises
    ------
    ValueError
        If there are no flights, or a figure is negative or not finite: it would count as
        a miss.
    """

    flight: IntArray
    east: FloatArray
    north: FloatArray
    energy: FloatArray
    danger: FloatArray
    piece: IntArray
    flights: int
    most: float
    sides: FloatArray
    peaks: FloatArray

    def __post_init__(self) -> None:
        if self.flights < 1:
            raise ValueError("'flights' must be positive")
        for name in ("east", "north", "energy", "danger"):
            values = getattr(self, name)
            if values.shape != self.flight.shape or not np.isfinite(values).all():
                raise ValueError(f"'{name}' must be finite, a value for each landing")
        if (self.energy < 0).any() or (self.danger < 0).any() or not self.most > 0:
            raise ValueError("'energy' and 'danger' must not be negative")


def gather(
    pieces: Sequence[FallenPiece], flights: int, most: float | None = None
) -> Impacts:
    """Put the landings of pieces of cases, of so many flights, into columns.

    ``most``: most that one flight can add, where these are not all of its landings; the
    greatest sum of a flight here when left out, as if all its pieces landed in one place.

    Result: the columns. Raises `ValueError` if there are no pieces, or a piece has no
    landing for a flight and does not say which flights it has.
    """
    if not pieces:
        raise ValueError("'pieces' must not be empty")
    flight = np.concatenate([_flights_of(piece, flights) for piece in pieces])
    dangers = [p.likelihood * p.casualty_area for p in pieces]
    danger = np.concatenate(dangers)
    if most is None:
        most = float(np.bincount(flight, danger, flights).max())
    peaks = [
        float(own.max(initial=0.0)) if piece.peak is None else piece.peak
        for piece, own in zip(pieces, dangers, strict=True)
    ]
    return Impacts(
        flight=flight,
        east=np.concatenate([p.east for p in pieces]),
        north=np.concatenate([p.north for p in pieces]),
        energy=np.concatenate([p.energy for p in pieces]),
        danger=danger,
        piece=np.repeat(np.arange(len(pieces)), [p.east.size for p in pieces]),
        flights=flights,
        most=most,
        sides=np.array([p.side for p in pieces]),
        peaks=np.array(peaks),
    )


def _flights_of(piece: FallenPiece, flights: int) -> IntArray:
    if piece.flight is not None:
        if piece.flight.shape != piece.east.shape or not np.all(
            (piece.flight >= 0) & (piece.flight < flights)
        ):
            raise ValueError(f"'flight' must lie in 0 to {flights - 1}, one a landing")
        return piece.flight
    if piece.east.shape != (flights,):
        raise ValueError(f"'flight' must say which of {flights} flights a piece is of")
    return np.arange(flights)
