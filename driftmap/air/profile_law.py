"""How the wind grows with height: near the ground by a published law, above as real winds do.

The field above was fitted by ``tests/benchmarks/fit_wind_field.py``, which writes ``field.toml``.
As complex numbers, east + i north, the wind at height `z` is

    w(z) = M(z) s + b(z) s / sqrt(|s|² + 1) + e(z)

with `s` the wind at 10 m, `M` its usual growth and turning (near the ground the published law),
`b` what blows aloft even over a light wind, turned further, and `e` an error that grows as the
root of height: more over a light wind, above which the air may slide, the deeper the night. Errors
are correlated over ratios of height low down, and over depths of air aloft. Levels that were read
condition the field: it passes through them, and opens between and beyond. What a level itself is
off by (its instrument, its age, the distance of its station) is added to that.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from driftmap.air.wind import HEAD, LAW_TOP, MAST
from driftmap.air.winderror import TAILS
from driftmap.core.checks import FloatArray

ROUGHNESS: Final = MappingProxyType(
    {
        "sea": 0.0002,
        "smooth": 0.005,
        "open": 0.03,
        "roughly open": 0.10,
        "rough": 0.25,
        "very rough": 0.5,
        "closed": 1.0,
        "chaotic": 2.0,
    }
)
"""Roughness length of each terrain class [m] (Davenport's classes, revised by Wieringa;
WMO-No. 8; read in secondary copies)."""

LOG_TOP: Final = 100.0
"""Height to which the logarithmic law is used [m] (from memory: 100 m, or a tenth of
the boundary layer)."""

_EXPONENT: Final = 1 / 7
"""Neutral open land (Hellmann)."""


def lowest_height(roughness: float) -> float:
    """Return the height above the ground below which the logarithmic law is not used [m].

    Head height, or four roughness lengths where that is more (common practice, no source).

    Parameters
    ----------
    roughness : float
        Roughness length of the ground [m].

    Returns
    -------
    float
        Height above the ground [m].
    """
    return max(HEAD, 4 * roughness)


def surface_shape(height: ArrayLike, roughness: float) -> FloatArray:
    r"""Wind speed over ground, relative to the speed at 100 m.

    .. math:: s(z) = \ln(z/z_0) / \ln(100/z_0), \qquad z \le 100

    .. math:: s(z) = (z / 100)^{1/7}, \qquad 100 < z \le 300

    Constant above 300 m, and below `lowest_height`.

    Parameters
    ----------
    height : array_like, shape (...)
        Height above the ground [m].
    roughness : float
        Roughness length of the ground [m].

    Returns
    -------
    ndarray, shape (...)
        Share of the speed at 100 m.

    Notes
    -----
    Neutral air over level ground. A sunny afternoon has less growth with height, a clear
    evening much more.

    References
    ----------
    .. [1] R. B. Stull, *An Introduction to Boundary Layer Meteorology*, 1988, ch. 9
       (from memory; quoted by others for roughness). Values in ``tests/analytic/test_wind_laws.py``.

    Examples
    --------
    A reading at head height stands for a stronger wind at 10 m:

    >>> float(surface_shape(10.0, 0.03) / surface_shape(2.0, 0.03))
    1.3832264
    """
    z = np.maximum(np.asarray(height, dtype=float), lowest_height(roughness))
    log = np.log(np.minimum(z, LOG_TOP) / roughness) / np.log(LOG_TOP / roughness)
    return np.asarray(log * (np.clip(z, LOG_TOP, LAW_TOP) / LOG_TOP) ** _EXPONENT)


_ComplexArray = NDArray[np.complex128]

_LAW: Final = 60.0
"""Up to here the published law alone tells how the wind grows [m]."""

_ANY: Final = 1000.0
"""Standard deviation of the wind at 10 m before anything was read [m s⁻¹]: so wide that
what was read is not drawn toward a calm."""

ALIKE: Final = 1000.0
"""Height over which the errors of an instrument, or of a forecast, stay alike [m]; assumed."""

_LASTING: Final = 8.0
"""What a wind changes by with time is alike over this logarithm of a ratio of heights:
between the two soundings of a station, hours apart, the changes at 300 m go with those at
10, 900 and 1500 m by 0.7, 0.9 and 0.75."""

STIRRED: Final = 7.0
"""Wind at 10 m from which the air is stirred by night as well [m s⁻¹]: of the two sizes of
strays the first is of a calm, the second of this; a round number near the likeliest."""

_SMOOTHEST: Final = 0.8
"""Levels that lie smoothly above each other may be so because a model made them: strays are
never taken for less than this part of their usual variance; assumed."""

_SWINGS: Final = 0.6
"""Part by which the variance of strays is larger between two levels of opposite winds, half of
it where they cross. Of 1,211 soundings told at 10, 950 and 1950 m, at 10, 600, 1200 and 2000 m
and at 10, 1200 and 2000 m 0.4 to 0.8 are as likely; at none errors over a turn of more than
90 degrees were 1.2 times those told."""

_LIGHT: Final = 1.0
"""Product of two speeds below which their turn is of little moment [m² s⁻²]; assumed."""

_OPEN: Final = ROUGHNESS["open"]


def _over_mast(height: ArrayLike, roughness: float) -> FloatArray:
    return surface_shape(height, roughness) / surface_shape(MAST, roughness)


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """How the wind usually grows, turns and strays with height.

    Parameters
    ----------
    height, growth : ndarray, shape (h,)
        Heights of the table [m], and the speed there over that at 10 m.
    turn : ndarray, shape (h,)
        Turn to the right of the wind at 10 m, to the left south of the equator [rad].
    beside : ndarray of complex, shape (h,)
        What else blows there, with east along the wind at 10 m [m s⁻¹].
    stray : float
        Standard error of a component over the root of height [m s⁻¹ m⁻½].
    power, length, depth : float
        Of the correlation of errors at two heights, ``exp(-(|u - u'| / length)**power)`` with
        ``u = ln(z) + z / depth``; `depth` in [m].
    """

    height: FloatArray
    growth: FloatArray
    turn: FloatArray
    beside: _ComplexArray
    stray: float
    power: float
    length: float
    depth: float

    def carry(self, height: FloatArray, roughness: float) -> _ComplexArray:
        """Return how much of the wind at 10 m there usually is at heights [m].

        What is fitted is over open land. Where rougher ground slows the wind at 10 m more, there
        is as many times as much of that above as at the end of the law.
        """
        low = _over_mast(np.minimum(height, _LAW), roughness)
        start, usual = (float(_over_mast(_LAW, z)) for z in (roughness, _OPEN))
        high = np.interp(
            height,
            [_LAW, *self.height],
            [start, *(max(start / usual, 1.0) * self.growth)],
        )
        turn = np.interp(height, [0.0, *self.height], [0.0, *self.turn])
        size = np.where(height <= _LAW, low, high)
        return np.asarray(size * np.exp(-1j * turn))

    def over(self, height: FloatArray) -> _ComplexArray:
        """Return what else usually blows at heights [m] over a wind from the west [m s⁻¹]."""
        return np.asarray(np.interp(height, [_LAW, *self.height], [0.0, *self.beside]))

    def alike(self, one: FloatArray, other: FloatArray) -> FloatArray:
        """Return the covariance of the errors of a component between heights [m² s⁻²]."""
        a = np.maximum(one, HEAD)[:, None]
        b = np.maximum(other, HEAD)[None, :]
        apart = np.abs(np.log(a / b) + (a - b) / self.depth) / self.length
        size = self.stray**2 * np.sqrt(a * b)
        return np.asarray(size * np.exp(-(apart**self.power)))


@cache
def fitted() -> dict[str, Any]:
    """Return what was fitted on real winds, by its names in ``field.toml``."""
    text = files("driftmap.air").joinpath("field.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def field_of(
    sun: float | None, latitude: float | None, speed: float | None = None
) -> Field:
    """Return the field for a height of the sun and a wind near the ground.

    Parameters
    ----------
    sun : float or None
        Its height above the horizon [deg]; between those of two regimes a mixture of them.
        Not known, the regime that strays most.
    latitude : float or None
        South of the equator the wind turns the other way [deg]. Not known, it does not turn.
    speed : float or None
        Wind at 10 m [m s⁻¹]. Not known, strays are the larger.

    Returns
    -------
    Field
        How the wind grows, turns and strays.
    """
    table = fitted()
    regimes = table["regime"]
    suns = [regime["sun"] for regime in regimes]
    widest = max(regimes, key=lambda regime: max(regime["stray"]))
    at = widest["sun"] if sun is None else sun

    def mixed(key: str) -> FloatArray:
        rows = np.array([regime[key] for regime in regimes], dtype=float)
        flat = rows.reshape(len(regimes), -1)
        return np.array([np.interp(at, suns, column) for column in flat.T])

    side = 0.0 if latitude is None else 1.0 if latitude >= 0 else -1.0
    stray = mixed("stray")
    return Field(
        height=np.array(table["height"], dtype=float),
        growth=mixed("growth"),
        turn=side * np.radians(mixed("turn")),
        beside=mixed("along") - 1j * side * mixed("right"),
        stray=float(
            stray.max() if speed is None else np.interp(speed, (0.0, STIRRED), stray)
        ),
        power=float(table["power"]),
        length=float(table["length"]),
        depth=float(table["depth"]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """What levels tell of the wind at other heights.

    The complex weight of each level at each height, shape (k, n); what is added to their
    sum, shape (k,) [m s⁻¹]; the covariance of the error of a component, (k, k) [m² s⁻²].
    """

    weights: _ComplexArray
    beside: _ComplexArray
    covariance: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class ReadLevels:
    """Levels that the field is conditioned on, shape (n,), by increasing height [m].

    What they tell, and the standard error of a component by the instrument, and by age and
    distance (`lasting`) [m s⁻¹]; the report of each, whose errors are alike over height;
    which were `read`: the others the law carried from them, and they tell nothing new.
    """

    height: FloatArray
    wind: _ComplexArray
    error: FloatArray
    lasting: FloatArray
    source: Sequence[object]
    read: NDArray[np.bool_]

    def covariance(self) -> FloatArray:
        """Return the covariance of their own errors, shape (n, n) [m² s⁻²]."""
        same = np.array([[a is b for a in self.source] for b in self.source])
        apart = np.abs(np.subtract.outer(self.height, self.height)) / ALIKE
        logs = np.log(np.maximum(self.height, HEAD))
        ratio = np.abs(np.subtract.outer(logs, logs)) / _LASTING
        own = np.multiply.outer(self.error, self.error) * np.exp(-apart)
        last = np.multiply.outer(self.lasting, self.lasting) * np.exp(-ratio)
        return np.asarray(same * (own + last))


def conditioned_on(
    field: Field, told: ReadLevels, heights: FloatArray, roughness: float
) -> Known:
    r"""Condition the field on levels.

    It passes through them; their own errors are added to what it strays from them.

    Parameters
    ----------
    field : Field
        How the wind usually is.
    told : ReadLevels
        The levels.
    heights : ndarray, shape (k,)
        Heights above the ground that are asked for [m].
    roughness : float
        Roughness length of the ground [m].

    Returns
    -------
    Known
        What the levels tell of the wind there.

    Notes
    -----
    Strays have the tails of Student's t: on some days all of them are large. So levels that
    lie as usual above each other make those between them surer, and odd ones less sure, by

    .. math:: (\nu - 2 + \beta) / (\nu - 2 + d)

    with :math:`\nu` the degrees of freedom, `d` the number of components told beyond the
    first level's, and :math:`\beta` the square of how far they are from the usual, in
    standard deviations [2]_. Between two whose winds turn they are larger (`_SWINGS`).

    References
    ----------
    .. [1] C. E. Rasmussen, C. K. I. Williams, *Gaussian Processes for Machine Learning*,
       2006, Eqs. (2.23) and (2.24) (from memory).
    .. [2] A. Shah, A. G. Wilson, Z. Ghahramani, Student-t processes as alternatives to
       Gaussian processes, AISTATS 2014 (from memory).
    """
    levels = told.height
    at, up = field.carry(levels, roughness), field.carry(heights, roughness)
    start = complex(told.wind[0] / at[0])
    full = np.sqrt(abs(start) ** 2 + 1.0)
    rest = field.over(levels)
    own_errors = told.covariance()

    def prior(a: FloatArray, m: _ComplexArray) -> _ComplexArray:
        usual = _ANY**2 * np.multiply.outer(m, at.conj())
        return np.asarray(usual + field.alike(a, levels))

    inside = prior(levels, at) + 1e-9 * np.diag(levels + 1.0)
    across = prior(heights, up)
    solved = np.linalg.solve(inside.conj().T, across.conj().T)
    weights = np.asarray(solved.conj().T, np.complex128)
    own = _ANY**2 * np.multiply.outer(up, up.conj()) + field.alike(heights, heights)
    strays = (own - weights @ across.conj().T).real
    beside = field.over(heights) - weights @ rest
    # An error across the lowest wind turns what blows beside it; one along it does not.
    turned = weights.copy()
    turned[:, 0] += beside / full / at[0]
    read = 0.5 * np.add(_spread(weights, own_errors), _spread(turned, own_errors))
    of = np.ix_(told.read, told.read)
    usual = rest * start / full
    odd = _odd((inside + own_errors)[of], (told.wind - usual)[told.read])
    swung = _swung(told, heights)
    whole = odd * strays * np.multiply.outer(swung, swung) + read
    return Known(weights, beside * start / full, (whole + whole.T) / 2)


def _spread(weights: _ComplexArray, errors: FloatArray) -> FloatArray:
    return np.asarray((weights @ errors @ weights.conj().T).real)


def _swung(told: ReadLevels, heights: FloatArray) -> FloatArray:
    """Return by how much strays are larger between levels whose winds turn, as an error."""
    low, high = told.wind[:-1], told.wind[1:]
    turn = (1 - (low * high.conj()).real / (np.abs(low * high) + _LIGHT)) / 2
    of_gap = np.sqrt(1 + _SWINGS * np.concatenate([[0.0], turn, [0.0]]))
    return np.asarray(of_gap[np.searchsorted(told.height, heights)])


def _odd(covariance: _ComplexArray, wind: _ComplexArray) -> float:
    """Return by how much strays are larger, as a variance, for how odd the levels lie."""
    far = float((wind.conj() @ np.linalg.solve(covariance, wind)).real)
    parts = 2.0 * (wind.size - 1)
    return max((TAILS - 2.0 + far) / (TAILS - 2.0 + parts), _SMOOTHEST)
