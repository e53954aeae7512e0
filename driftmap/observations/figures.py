"""What people measure: a figure with its error, beside what each flight would have shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import atan2, degrees, hypot, log, pi
from types import MappingProxyType
from typing import Final

import numpy as np

from driftmap.core.checks import FloatArray
from driftmap.observations.case_flights import ROCKET, CaseFlights, FoundAt
from driftmap.observations.observation import MISTAKEN, Far, metres
from driftmap.rocket.altimeter_record import Record, heights_of

IN_THE_AIR: Final = 0.09
"""How well a place between release and landing is known, as a share of the way between: the
wind's error at heights in between is not kept. Measured against the integrator in
``tests/analytic/test_observations.py``."""

_WAYS: Final = 16  # a strike throws a piece in thought, so that some lie near a find
_LONG, _HIGH = 600.0, 3000.0
"""A mistaken time may be any in ten minutes [s], a mistaken height any up to 3 km [m]."""


@dataclass(frozen=True, slots=True, eq=False)
class Misfit:
    """What was measured, with its standard deviation, beside what flights would have shown.

    `shown` has shape (d, copies, k), NaN where a flight shows nothing of the kind; `value` and
    `error` have (d,); `turns` says that they are angles [rad].
    """

    shown: FloatArray
    value: FloatArray
    error: FloatArray
    turns: bool = False

    def misses(self) -> FloatArray:
        """Return how far off each flight is, in errors, shape (d, copies, k)."""
        off = self.value[:, None, None] - self.shown
        if self.turns:
            off = (off + pi) % (2 * pi) - pi
        return np.asarray(off / self.error[:, None, None], dtype=float)


class MeasuredSight:
    """A kind that is measured: it says what each flight would have shown."""

    __slots__ = ()

    @property
    def broad(self) -> float:
        """Density of a mistaken report, in the units of all figures together."""
        raise NotImplementedError

    def figure(self, flown: CaseFlights) -> Misfit:
        """Hold what was measured beside what flights would have shown."""
        raise NotImplementedError

    def log_likelihood(self, flown: CaseFlights) -> FloatArray:
        """Return the logarithm of the likelihood: normal errors, and some mistakes."""
        near = log_density(self.figure(flown)) + log(1 - MISTAKEN)
        return np.asarray(np.logaddexp(near, log(MISTAKEN * self.broad)))

    def mistaken(self, log_likelihood: FloatArray) -> FloatArray:
        """Return the chance that the report is wrong altogether, where it is so likely."""
        return np.asarray(MISTAKEN * self.broad / np.exp(log_likelihood))


def log_density(figure: Misfit) -> FloatArray:
    """Return the logarithm of the density of what was told for each flight, shape (k,)."""
    off = figure.misses()
    size = len(figure.value) / 2 * log(2 * pi) + float(np.log(figure.error).sum())
    normal = -(off**2).sum(axis=0) / 2 - size
    normal = np.where(np.isnan(normal), -np.inf, normal)
    # Which of several equal pieces it was is not known.
    return np.asarray(np.logaddexp.reduce(normal, axis=0) - log(normal.shape[0]))


@dataclass(frozen=True, slots=True)
class Find(MeasuredSight):
    """A piece lay somewhere, from the pad and to within a standard deviation each way [m]."""

    piece: str
    east: float
    north: float
    error: float

    def says(self, far: Far = metres) -> str:
        """Return the find in words."""
        away = far(hypot(self.east, self.north))
        turn = degrees(atan2(self.east, self.north)) % 360
        return f"{self.piece} found {away} from the pad toward {turn:03.0f}°"

    @property
    def told(self) -> FoundAt:
        """The find as flights take it."""
        return FoundAt(self.piece, self.east, self.north, self.error)

    @property
    def broad(self) -> float:
        """As if anywhere on 100 square kilometres."""
        return 1e-8

    def figure(self, flown: CaseFlights) -> Misfit:
        """Hold the find beside the landings."""
        shown, error = flown.in_patches(self.told, ways=_WAYS)
        return Misfit(shown, self.told.at, np.full(2, error))


_Shown = Callable[[CaseFlights, str], FloatArray]


def _landed(flown: CaseFlights, piece: str) -> FloatArray:
    time = flown.landed(piece)
    return np.stack([time, np.zeros_like(time)])


_MOMENTS: Final = MappingProxyType[str, _Shown](
    {
        "opened": lambda flown, piece: flown.opening(piece)[:, None],
        "came off": lambda flown, piece: flown.release(piece)[:, None],
        "was down": _landed,
        "was highest": lambda flown, _: flown.highest()[:, None],
    }
)
"""What can be told of a moment: each flight's time and height of it, (2, copies, k)."""


@dataclass(frozen=True, slots=True)
class SeenMoment(MeasuredSight):
    """Something happened at a time after lift-off [s] or a height above the site [m], or both.

    `what` is "opened" (whichever device was first where no piece is named), "came off",
    "was down" or "was highest"; errors are standard deviations.
    """

    piece: str
    what: str
    time: float | None = None
    time_error: float = 1.0
    height: float | None = None
    height_error: float = 30.0

    def says(self, far: Far = metres) -> str:
        """Return the moment in words."""
        when = "" if self.time is None else f" {self.time:.1f} s after lift-off"
        high = "" if self.height is None else f" at {far(self.height)}"
        return f"{self.piece or 'something'} {self.what}{when}{high}"

    @property
    def broad(self) -> float:
        """As if at any time and height."""
        time = 1.0 if self.time is None else 1 / _LONG
        return time if self.height is None else time / _HIGH

    def figure(self, flown: CaseFlights) -> Misfit:
        """Hold the moment beside those of the flights."""
        told = (self.time, self.height)
        kept = [axis for axis, value in enumerate(told) if value is not None]
        value = np.array([told[axis] for axis in kept], dtype=float)
        error = np.array([(self.time_error, self.height_error)[axis] for axis in kept])
        shown = _MOMENTS[self.what](flown, self.piece)[kept]
        return Misfit(shown, value, error)


@dataclass(frozen=True, slots=True, eq=False)
class Trace(MeasuredSight):
    """An altimeter wrote down heights on the way, time after lift-off [s] and height [m], (m,).

    `covariance` of the heights' errors together [m²]: those of one altimeter and one clock are
    alike.
    """

    time: FloatArray
    height: FloatArray
    covariance: FloatArray

    def says(self, far: Far = metres) -> str:
        """Return the record in words."""
        top = int(self.height.argmax())
        return (
            f"the altimeter's record: {far(self.height[top])} up after "
            f"{self.time[top]:.1f} s, {far(self.height[-1])} after {self.time[-1]:.0f} s"
        )

    @property
    def broad(self) -> float:
        """As if it showed any heights, in units of the error of each."""
        return float(np.prod(np.diag(np.linalg.cholesky(self.covariance)) / _HIGH))

    def figure(self, flown: CaseFlights) -> Misfit:
        """Hold the heights beside those of the flights, made independent of each other."""
        apart = np.linalg.inv(np.linalg.cholesky(self.covariance))
        shown = np.stack([flown.at(ROCKET, time)[2] for time in self.time.tolist()])
        shown = np.einsum("ij,j...->i...", apart, shown)
        return Misfit(shown, apart @ self.height, np.ones(self.time.size))


_MARKS: Final = 8  # heights of a record after its highest; more tell little more
_DOWN: Final = 5.0  # m; below this a record is taken to show the rocket on the ground
TRACE_ERROR: Final = (10.0, 0.03, 0.5)
"""Errors of a record beside a flight: of each height by itself, which is half the model's [m];
of all heights together, as a share: 10 K off the standard atmosphere make 3.5 %; and of
its clock [s]. Assumed."""


def trace_of(record: Record) -> Trace:
    """Take the heights that tell most from an altimeter's record.

    ``record``: from before lift-off on; it may end in the air.

    Result: the highest point and eight more, evenly in time to the landing or the end.
    Raises `ValueError` if the record shows no flight.
    """
    time, height = heights_of(record)
    top = int(height.argmax())
    low = np.flatnonzero(height[top:] < _DOWN)
    last = top + int(low[0]) if low.size else time.size - 1
    marks = np.unique(np.linspace(time[top], time[last], _MARKS + 1))
    at = np.interp(marks, time, height)
    # A window of a second, so that one sample's noise does not make a speed.
    rate = np.interp(marks + 0.5, time, height) - np.interp(marks - 0.5, time, height)
    own, share, clock = TRACE_ERROR
    covariance = np.eye(marks.size) * own**2
    covariance += np.outer(share * at, share * at) + np.outer(
        clock * rate, clock * rate
    )
    return Trace(marks, at, covariance)


@dataclass(frozen=True, slots=True)
class Sighted(MeasuredSight):
    """A piece was seen from a place in some direction, or its beacon heard.

    `east`, `north` and `place` tell where the observer stood, from the pad [m] and in words.
    `time` counts from lift-off [s], None for where it lies; `bearing` is clockwise from true
    north, `elevation` above the horizontal, errors standard deviations [rad]; `last` says that
    it was lost out of sight there, at any moment on the way down.
    """

    piece: str
    east: float
    north: float
    place: str
    time: float | None = None
    bearing: float | None = None
    bearing_error: float = np.radians(5.0)
    elevation: float | None = None
    elevation_error: float = np.radians(5.0)
    last: bool = False

    def says(self, far: Far = metres) -> str:
        """Return the sighting in words."""
        del far
        when = "down" if self.time is None else f"{self.time:.0f} s after lift-off"
        when = "last in the air" if self.last else when
        told = []
        if self.bearing is not None:
            told.append(f"toward {np.degrees(self.bearing) % 360:03.0f}° true")
        if self.elevation is not None:
            told.append(f"{np.degrees(self.elevation):.0f}° up")
        return f"{self.piece}, {when}, seen from {self.place} {', '.join(told)}"

    @property
    def broad(self) -> float:
        """As if in any direction."""
        angles = (self.bearing, self.elevation)
        return float((2 * pi) ** -sum(angle is not None for angle in angles))

    def figure(self, flown: CaseFlights) -> Misfit:
        """Hold the angles beside those under which each flight would be seen."""
        if self.last:
            at = flown.coming_down(self.piece)
        elif self.time is None:
            at = flown.landing(self.piece)
            at = np.concatenate([at, np.zeros((1, *at.shape[1:]))])
        else:
            at = flown.at(self.piece, self.time)
        east, north = at[0] - self.east, at[1] - self.north
        up = np.arctan2(at[2], np.hypot(east, north))
        told = [
            (self.bearing, self.bearing_error, np.arctan2(east, north)),
            (self.elevation, self.elevation_error, up),
        ]
        kept = [(v, error, angle) for v, error, angle in told if v is not None]
        value, error, shown = map(np.array, zip(*kept, strict=True))
        error = np.hypot(error, self._unsure(flown, at))
        return Misfit(shown, value, error, turns=True)

    def _unsure(self, flown: CaseFlights, at: FloatArray) -> float:
        """Return the angle by which a place in the air is not known [rad]."""
        if self.time is None and not self.last:
            return 0.0
        way = np.median(np.hypot(*(flown.landing(self.piece) - flown.top()[:, None])))
        far = np.hypot(np.hypot(at[0] - self.east, at[1] - self.north), at[2])
        return float(IN_THE_AIR * way / max(float(np.median(far)), 1.0))
