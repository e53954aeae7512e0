"""Every landing that can harm someone, as columns: what the risk to people is made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from driftmap.checks import FloatArray

__all__ = ["Impacts", "Piece", "gather"]


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
        From `driftmap.hazard.harm.casualty_area` [m²].
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
        Weight of each flight, from `driftmap.hazard.steering.Mixture.weights`; 1 if left out.

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
