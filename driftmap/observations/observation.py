"""Each kind of thing that people see or find, and how likely it is for each flight.

An observation is data. Most are measured: a figure with its error, held against what each
flight would have shown. The others are events, with a chance for each flight.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import log, pi, sqrt
from typing import Final, Protocol

import numpy as np
import shapely

from driftmap.air.atmosphere import FloatArray
from driftmap.observations.flown import Flown

__all__ = [
    "IN_THE_AIR",
    "MISTAKEN",
    "Altimeter",
    "Came",
    "Down",
    "Figure",
    "Found",
    "Measured",
    "Observation",
    "Odds",
    "Opened",
    "Sighted",
    "Walked",
    "Went",
    "log_density",
]

MISTAKEN: Final = 0.01
"""Share of reports that are wrong altogether, whatever their error says. No source:
assumed, so that one slip of the tongue cannot rule out the truth."""

IN_THE_AIR: Final = 0.09
"""How well a place between release and landing is known, as a share of the way between: the
wind's error at heights in between is not kept. Measured against the integrator in
``tests/analytic/test_observations.py``."""

_NONE: Final = -np.inf


class Observation(Protocol):
    """What every kind can do."""

    @property
    def says(self) -> str:
        """The observation as a plain sentence."""
        ...

    def log_likelihood(self, flown: Flown) -> FloatArray:
        """Give the logarithm of its likelihood for each flight, shape (k,)."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class Figure:
    """What was measured, beside what flights would have shown.

    Parameters
    ----------
    shown : ndarray, shape (d, copies, k)
        What each flight would have shown; NaN where it shows nothing of the kind.
    value, error : ndarray, shape (d,)
        What was told, and its standard deviation.
    turns : tuple of bool, length d
        Which are angles [rad].
    broad : float
        Density of a mistaken report, in the units of all figures together.
    """

    shown: FloatArray
    value: FloatArray
    error: FloatArray
    turns: tuple[bool, ...]
    broad: float

    def misses(self) -> FloatArray:
        """Give how far off each flight is, in errors, shape (d, copies, k)."""
        off = self.value[:, None, None] - self.shown
        for axis, turns in enumerate(self.turns):
            if turns:
                off[axis] = (off[axis] + pi) % (2 * pi) - pi
        return np.asarray(off / self.error[:, None, None], dtype=float)


class Measured:
    """A kind that is measured: it says what each flight would have shown."""

    __slots__ = ()

    def figure(self, flown: Flown) -> Figure:
        """Hold what was measured beside what flights would have shown."""
        raise NotImplementedError

    def mistaken(self, flown: Flown) -> FloatArray:
        """Give the chance that the report is wrong altogether, for each flight."""
        broad = MISTAKEN * self.figure(flown).broad
        return np.asarray(broad / np.exp(self.log_likelihood(flown)))

    def log_likelihood(self, flown: Flown) -> FloatArray:
        """Give the logarithm of the likelihood: normal errors, and some mistakes."""
        return log_density(self.figure(flown))


def log_density(figure: Figure, *, mistaken: float = MISTAKEN) -> FloatArray:
    """Give the logarithm of the density of what was told for each flight, shape (k,)."""
    off = figure.misses()
    size = len(figure.value) / 2 * log(2 * pi) + float(np.log(figure.error).sum())
    normal = -(off**2).sum(axis=0) / 2 - size
    normal = np.where(np.isnan(normal), _NONE, normal)
    # Which of several equal pieces it was is not known.
    each = np.logaddexp.reduce(normal, axis=0) - log(normal.shape[0])
    if mistaken * figure.broad <= 0:
        return np.asarray(each)
    wrong = log(mistaken * figure.broad)
    return np.asarray(np.logaddexp(each + log(1 - mistaken), wrong))


@dataclass(frozen=True, slots=True)
class Odds:
    """What is known or suspected of the case itself.

    Parameters
    ----------
    by_case : mapping of str to float
        Factor on the likelihood of each case named; 0 rules it out.
    says : str
        The same in words.
    """

    by_case: Mapping[str, float]
    says: str

    def log_likelihood(self, flown: Flown) -> FloatArray:
        """Give the logarithm of the factor for every flight alike."""
        odds = self.by_case.get(flown.case.name, 1.0)
        return np.full(flown.who.size, log(odds) if odds > 0 else _NONE)


@dataclass(frozen=True, slots=True)
class Found(Measured):
    """A piece lay somewhere.

    Parameters
    ----------
    piece : str
        Its name.
    east, north : float
        Where, from the pad [m].
    error : float
        Standard deviation each way [m].
    state : str
        What people say of its state; told, not weighed.
    """

    piece: str
    east: float
    north: float
    error: float
    state: str = ""

    @property
    def says(self) -> str:
        """The find in words."""
        away, turn = _polar(self.east, self.north)
        told = f", {self.state}" if self.state else ""
        return (
            f"{self.piece} found {away:.0f} m from the pad toward {turn:03.0f}°{told}"
        )

    def figure(self, flown: Flown) -> Figure:
        """Hold the find beside the landings."""
        value, error = np.array([self.east, self.north]), np.full(2, self.error)
        return Figure(flown.landing(self.piece), value, error, (False, False), 1e-8)


@dataclass(frozen=True, slots=True)
class _Timed(Measured):
    """Something seen at a time or height, or both."""

    piece: str
    time: float | None = None
    time_error: float = 1.0
    height: float | None = None
    height_error: float = 30.0

    def _figure(self, shown: FloatArray) -> Figure:
        told = (self.time, self.height)
        kept = [axis for axis, value in enumerate(told) if value is not None]
        value = np.array([told[axis] for axis in kept], dtype=float)
        error = np.array([(self.time_error, self.height_error)[axis] for axis in kept])
        # A mistaken time may be any in ten minutes, a height any up to 3 km.
        broad = float(np.prod([(1 / 600, 1 / 3000)[axis] for axis in kept]))
        return Figure(shown[kept][:, None], value, error, (False,) * len(kept), broad)

    def _told(self, what: str) -> str:
        when = "" if self.time is None else f" {self.time:.1f} s after lift-off"
        high = "" if self.height is None else f" at {self.height:.0f} m"
        return f"{what}{when}{high}"


@dataclass(frozen=True, slots=True)
class Opened(_Timed):
    """Cloth was seen to open.

    Parameters
    ----------
    piece : str
        Name of the device; empty for whichever opened first.
    time, height : float or None
        When after lift-off [s] and how high above the site [m].
    time_error, height_error : float
        Standard deviations.
    """

    @property
    def says(self) -> str:
        """The opening in words."""
        return self._told(f"{self.piece or 'something'} opened")

    def figure(self, flown: Flown) -> Figure:
        """Hold the opening beside those of the flights."""
        return self._figure(flown.opening(self.piece))


@dataclass(frozen=True, slots=True)
class Came(_Timed):
    """A piece was seen to come off.

    Parameters
    ----------
    piece : str
        Its name.
    time, height : float or None
        When after lift-off [s] and how high above the site [m].
    time_error, height_error : float
        Standard deviations.
    """

    @property
    def says(self) -> str:
        """The parting in words."""
        return self._told(f"{self.piece} came off")

    def figure(self, flown: Flown) -> Figure:
        """Hold it beside the moments at which the piece is let go."""
        return self._figure(flown.release(self.piece))


@dataclass(frozen=True, slots=True)
class Altimeter(Measured):
    """An altimeter told its greatest height.

    Parameters
    ----------
    height, error : float
        Height above the site, and its standard deviation [m].
    """

    height: float
    error: float

    @property
    def says(self) -> str:
        """The reading in words."""
        return f"the altimeter told {self.height:.0f} m"

    def figure(self, flown: Flown) -> Figure:
        """Hold it beside the greatest heights."""
        shown = flown.apogee()[None, None]
        return Figure(
            shown, np.array([self.height]), np.array([self.error]), (False,), 1 / 3000
        )


@dataclass(frozen=True, slots=True)
class Down(Measured):
    """A piece was down so many seconds after lift-off.

    Parameters
    ----------
    piece : str
        Its name.
    time, error : float
        Time since lift-off, and its standard deviation [s].
    """

    piece: str
    time: float
    error: float

    @property
    def says(self) -> str:
        """The landing in words."""
        return f"{self.piece} was down {self.time:.0f} s after lift-off"

    def figure(self, flown: Flown) -> Figure:
        """Hold it beside the times of landing."""
        shown = flown.landed(self.piece)[None]
        return Figure(
            shown, np.array([self.time]), np.array([self.error]), (False,), 1 / 600
        )


@dataclass(frozen=True, slots=True)
class Sighted(Measured):
    """A piece was seen from a place in some direction, or its beacon heard.

    Parameters
    ----------
    piece : str
        Its name.
    east, north : float
        Where the observer stood, from the pad [m].
    place : str
        The same in words.
    time : float or None
        When after lift-off [s]; None for where it lies.
    bearing : float or None
        Direction it was seen in, clockwise from true north [rad].
    bearing_error : float
        Standard deviation [rad].
    elevation : float or None
        Angle above the horizontal [rad].
    elevation_error : float
        Standard deviation [rad].
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

    @property
    def says(self) -> str:
        """The sighting in words."""
        when = "down" if self.time is None else f"{self.time:.0f} s after lift-off"
        told = []
        if self.bearing is not None:
            told.append(f"toward {np.degrees(self.bearing) % 360:03.0f}° true")
        if self.elevation is not None:
            told.append(f"{np.degrees(self.elevation):.0f}° up")
        return f"{self.piece}, {when}, seen from {self.place} {', '.join(told)}"

    def figure(self, flown: Flown) -> Figure:
        """Hold the angles beside those under which each flight would be seen."""
        if self.time is None:
            at = flown.landing(self.piece)
            at = np.concatenate([at, np.zeros((1, *at.shape[1:]))])
        else:
            at = flown.at(self.piece, self.time)
        east, north = at[0] - self.east, at[1] - self.north
        unsure = self._unsure(flown, at)
        shown, value, error = [], [], []
        if self.bearing is not None:
            shown.append(np.arctan2(east, north))
            value.append(self.bearing)
            error.append(np.hypot(self.bearing_error, unsure))
        if self.elevation is not None:
            shown.append(np.arctan2(at[2], np.hypot(east, north)))
            value.append(self.elevation)
            error.append(np.hypot(self.elevation_error, unsure))
        broad = float((1 / (2 * pi)) ** len(value))
        turns = (True,) * len(value)
        return Figure(np.stack(shown), np.array(value), np.array(error), turns, broad)

    def _unsure(self, flown: Flown, at: FloatArray) -> float:
        """Give the angle by which a place in the air is not known [rad]."""
        if self.time is None:
            return 0.0
        way = np.median(np.hypot(*(flown.landing(self.piece) - flown.top()[:, None])))
        far = np.hypot(np.hypot(at[0] - self.east, at[1] - self.north), at[2])
        return float(IN_THE_AIR * way / max(float(np.median(far)), 1.0))


@dataclass(frozen=True, slots=True)
class Went:
    """A piece went down behind something, farther from a place than it.

    Parameters
    ----------
    piece : str
        Its name.
    east, north : float
        Where the observer stood, from the pad [m].
    place : str
        The same in words.
    beyond, error : float
        Distance of what it went behind, and its standard deviation [m].
    """

    piece: str
    east: float
    north: float
    place: str
    beyond: float
    error: float

    @property
    def says(self) -> str:
        """The sight in words."""
        return f"{self.piece} went down beyond {self.beyond:.0f} m from {self.place}"

    def log_likelihood(self, flown: Flown) -> FloatArray:
        """Give the logarithm of the chance that it lies farther."""
        # scipy.special takes 0.1 s to import.
        from scipy.special import ndtr  # noqa: PLC0415

        east, north = flown.landing(self.piece)
        far = np.hypot(east - self.east, north - self.north) - self.beyond
        chance = ndtr(far / self.error).mean(axis=0)
        return np.asarray(np.log((1 - MISTAKEN) * chance + MISTAKEN / 2))


@dataclass(frozen=True, slots=True)
class Walked:
    """Ground was walked and a piece was not found there.

    Parameters
    ----------
    piece : str
        What was looked for.
    shape : shapely.Geometry
        The ground, in metres from the pad.
    detection : float
        Chance to have seen it, had it lain there, 0 to 1.
    who : str
        Who walked.
    """

    piece: str
    shape: shapely.Geometry = field(repr=False)
    detection: float
    who: str = ""

    @property
    def says(self) -> str:
        """The walk in words."""
        by = f" by {self.who}" if self.who else ""
        return (
            f"{self.shape.area / 1e4:.1f} ha walked{by} without finding the {self.piece}: "
            f"it would have been seen {self.detection:.0%} of the time"
        )

    def missed(self, at: FloatArray) -> FloatArray:
        """Give the chance of not having seen what lies at points, shape of ``at[0]``."""
        shapely.prepare(self.shape)
        inside = shapely.intersects_xy(self.shape, at[0].ravel(), at[1].ravel())
        return np.asarray(1 - self.detection * inside.reshape(at[0].shape))

    def log_likelihood(self, flown: Flown) -> FloatArray:
        """Give the logarithm of the chance of having found none of the copies."""
        missed = self.missed(flown.landing(self.piece)).prod(axis=0)
        with np.errstate(divide="ignore"):
            return np.asarray(np.log(missed))


def _polar(east: float, north: float) -> tuple[float, float]:
    return float(sqrt(east**2 + north**2)), float(
        np.degrees(np.arctan2(east, north)) % 360
    )
