"""What people report, each kind with its likelihood; ground walked in vain is one."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from math import log, pi, sqrt
from types import MappingProxyType
from typing import Final, Protocol, TypeAlias

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import FloatArray, checked
from driftmap.core.units import FOOT
from driftmap.observations.case_flights import ROCKET, CaseFlights

SWEEP_WIDTH: Final = MappingProxyType(
    {
        "bare": 40.0,
        "stubble": 25.0,
        "grass": 12.0,
        "crop": 5.0,
        "brush": 6.0,
        "woods": 8.0,
    }
)
"""Effective sweep width of one person on foot for a rocket-sized object by cover [m].
No source: assumed. It depends on size, colour, light and walker; a club can measure its own
by counting what it finds of known objects laid out."""

SMALL: Final = 1 / 3
"""Share of that width for a fin, a nose cone, a motor case or a fragment: assumed, so that ground
walked for one is not given up too soon."""

SUREST: Final = 0.98
"""Greatest chance to have seen an object, however often ground was walked: assumed, as it may be
buried, or in a ditch."""


def random_search(width: ArrayLike, spacing: ArrayLike) -> FloatArray:
    r"""Chance to see an object on ground covered by searchers who do not keep line.

    .. math:: P = 1 - e^{-z}, \qquad z = W / S

    with coverage `z`, the effective sweep width over the distance between tracks. The
    lower of the two laws: what is walked ragged leaves more behind [1]_.

    Parameters
    ----------
    width : array_like, shape (...)
        Effective sweep width `W` [m].
    spacing : array_like, shape (...)
        Mean distance `S` between tracks [m].

    Returns
    -------
    ndarray, shape (...)
        Probability of detection.

    References
    ----------
    .. [1] B. O. Koopman, *Search and Screening*, Operations Evaluation Group Report 56,
       1946, formula of random search (from memory).

    Examples
    --------
    >>> float(random_search(10.0, 10.0).round(3))
    0.632
    """
    coverage = checked("width", width, least=0) / checked("spacing", spacing, above=0)
    return np.asarray(-np.expm1(-coverage))


def parallel_sweeps(width: ArrayLike, spacing: ArrayLike) -> FloatArray:
    r"""Chance to see an object between parallel tracks that are held exactly.

    .. math:: P = \operatorname{erf}\left(\frac{\sqrt{\pi}}{2} \frac{W}{S}\right)

    for sight that fades by the inverse cube of the distance [1]_.

    Parameters
    ----------
    width : array_like, shape (...)
        Effective sweep width `W` [m].
    spacing : array_like, shape (...)
        Distance `S` between tracks [m].

    Returns
    -------
    ndarray, shape (...)
        Probability of detection.

    References
    ----------
    .. [1] B. O. Koopman, *Search and Screening*, Operations Evaluation Group Report 56,
       1946, inverse cube law of sighting, parallel sweeps (from memory).

    Examples
    --------
    >>> float(parallel_sweeps(10.0, 10.0).round(3))
    0.79
    """
    # scipy.special takes 0.1 s to import.
    from scipy.special import erf  # noqa: PLC0415

    coverage = checked("width", width, least=0) / checked("spacing", spacing, above=0)
    return np.asarray(erf(sqrt(pi) / 2 * coverage))


MISTAKEN: Final = 0.01
"""Share of reports that are wrong altogether, whatever their error says. No source:
assumed, so that one slip of the tongue cannot rule out the truth."""


Far: TypeAlias = Callable[[float], str]


def metres(value: float) -> str:
    """Write a distance in metres."""
    return f"{value:,.0f} m"


def feet(value: float) -> str:
    """Write a distance in feet."""
    return f"{value / FOOT:,.0f} ft"


FAR_IN: Final = MappingProxyType[str, Far]({"us": feet, "si": metres})
"""How readers of either kind have distances written."""


class Observation(Protocol):
    """What every kind can do."""

    def says(self, far: Far = metres) -> str:
        """Return the observation as a plain sentence, distances written so."""
        ...

    def log_likelihood(self, flown: CaseFlights) -> FloatArray:
        """Return the logarithm of its likelihood for each flight, shape (k,)."""
        ...


@dataclass(frozen=True, slots=True)
class Odds:
    """What is known or suspected of the case itself.

    A factor on the likelihood of each case named, 0 ruling it out, and the same in words.
    """

    by_case: Mapping[str, float]
    words: str

    def says(self, far: Far = metres) -> str:
        """Return what is known of the case."""
        del far
        return self.words

    def log_likelihood(self, flown: CaseFlights) -> FloatArray:
        """Return the logarithm of the factor for every flight alike."""
        odds = self.by_case.get(flown.case.name, 1.0)
        return np.full(flown.who.size, log(odds) if odds > 0 else -np.inf)


_Chance = Callable[[CaseFlights, str], FloatArray]


def _sigmoid(value: FloatArray, middle: float, width: float) -> FloatArray:
    return np.asarray(1 / (1 + np.exp(-(value - middle) / width)))


def _broken(flown: CaseFlights, piece: str) -> FloatArray:
    """Half break at 18 m/s; what came off in the air was torn out, more likely than not."""
    hard = _sigmoid(flown.struck(piece), 18.0, 4.0)
    return hard if not flown.has(piece) or piece == ROCKET else np.maximum(hard, 0.7)


def _stuck(flown: CaseFlights, piece: str) -> FloatArray:
    """Half of what comes nose first at 40 m/s stays in the ground."""
    into = 0.8 if flown.is_nose_first(piece) else 0.1
    return into * _sigmoid(flown.struck(piece), 40.0, 10.0)


def _burnt(flown: CaseFlights, piece: str) -> FloatArray:
    # A charge that is too strong scorches a canopy, whatever came of the flight.
    return np.full(
        flown.who.size, 0.6 if flown.case.cause.endswith(" bursts") else 0.05
    )


def _cloth(fate: str, chance: float, else_: float) -> _Chance:
    """Make the chance of a state of cloth from what became of it in the air."""

    def shown(flown: CaseFlights, piece: str) -> FloatArray:
        so = flown.cloth(piece) == fate
        return np.full(flown.who.size, chance if so else else_)

    return shown


def _harmed(flown: CaseFlights, piece: str) -> FloatArray:
    devices = {device.name for device in flown.cloud.plan.flight.devices}
    return STATES["torn" if piece in devices else "broken"](flown, piece)


STATES: Final = MappingProxyType[str, _Chance](
    {
        "whole": lambda flown, piece: 1 - _harmed(flown, piece),
        "broken": _broken,
        "stuck in the ground": _stuck,
        "burnt": _burnt,
        "torn": _cloth("torn", 0.9, 0.04),
        "tangled": _cloth("tangled", 0.9, 0.08),
        "unopened": _cloth("unopened", 0.95, 0.02),
    }
)
"""States in which pieces are found, and the chance of each for each flight. No source: all
assumed, and wide, so that no state alone settles anything."""

_LEAST: Final = 0.02  # chance of a state, whatever happened


@dataclass(frozen=True, slots=True)
class FoundState:
    """A piece was found in some state: keys of `STATES`."""

    piece: str
    words: tuple[str, ...]

    def says(self, far: Far = metres) -> str:
        """Return the state in words."""
        del far
        return f"{self.piece} found {' and '.join(self.words)}"

    def log_likelihood(self, flown: CaseFlights) -> FloatArray:
        """Return the logarithm of the chance of all its words together."""
        chances = [STATES[word](flown, self.piece) for word in self.words]
        told = np.log(np.clip(chances, _LEAST, 1 - _LEAST)).sum(axis=0)
        return np.asarray(told)


@dataclass(frozen=True, slots=True)
class Went:
    """A piece went down behind something, farther from a place than it.

    `east`, `north` and `place` tell where the observer stood, from the pad [m] and in words;
    `beyond` how far off that thing is, `error` its standard deviation [m].
    """

    piece: str
    east: float
    north: float
    place: str
    beyond: float
    error: float

    def says(self, far: Far = metres) -> str:
        """Return the sight in words."""
        return f"{self.piece} went down beyond {far(self.beyond)} from {self.place}"

    def log_likelihood(self, flown: CaseFlights) -> FloatArray:
        """Return the logarithm of the chance that it lies farther."""
        # scipy.special takes 0.1 s to import.
        from scipy.special import ndtr  # noqa: PLC0415

        east, north = flown.landing(self.piece)
        far = np.hypot(east - self.east, north - self.north) - self.beyond
        chance = ndtr(far / self.error).mean(axis=0)
        return np.asarray(np.log((1 - MISTAKEN) * chance + MISTAKEN / 2))

    def mistaken(self, log_likelihood: FloatArray) -> FloatArray:
        """Return the chance that it is wrong altogether, where it is so likely."""
        return np.asarray(MISTAKEN / 2 / np.exp(log_likelihood))


@dataclass(frozen=True, slots=True)
class Walked:
    """Ground, in metres from the pad, was walked and a piece not found there.

    `detection` is the chance to have seen it, had it lain there.
    """

    piece: str
    shape: BaseGeometry = field(repr=False)
    detection: float
    who: str = ""

    def says(self, far: Far = metres) -> str:
        """Return the walk in words."""
        by = f" by {self.who}" if self.who else ""
        side = far(float(np.sqrt(self.shape.area)))
        return (
            f"{side} by {side} walked{by} without finding the {self.piece}: "
            f"it would have been seen {self.detection:.0%} of the time"
        )

    def log_likelihood(
        self, flown: CaseFlights, beside: Sequence[Walked] = ()
    ) -> FloatArray:
        """Return the logarithm of the chance of having found none of the copies.

        ``beside``: ground walked for it before, which gave that chance already.
        """
        at = flown.landing(self.piece)
        chance, before = missed([*beside, self], at), missed(beside, at)
        with np.errstate(divide="ignore"):
            return np.asarray(np.log((chance / before).prod(axis=0)))


def missed(walks: Sequence[Walked], at: FloatArray) -> FloatArray:
    """Return the chance of not having seen what lies at points on any of some walks.

    ``at``: places from the pad, shape (2, ...).

    Result: one for each place; what is buried, or in a ditch, nobody sees.
    """
    chance = np.ones(at[0].shape)
    for walk in walks:
        shapely.prepare(walk.shape)
        inside = shapely.intersects_xy(walk.shape, at[0].ravel(), at[1].ravel())
        chance *= 1 - walk.detection * inside.reshape(at[0].shape)
    return np.maximum(chance, 1 - SUREST)
