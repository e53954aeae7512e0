"""The wind as a field over height: how it usually grows and turns, and how it strays.

Fitted on real winds by ``tests/benchmarks/fit_wind_field.py``, which writes
``field.toml``. As complex numbers, east + i north, the wind at height `z` is

    w(z) = M(z) s + b(z) s / sqrt(|s|² + 1) + e(z)

with `s` the wind at 10 m, `M` its usual growth and turning (near the ground the published
law), `b` what blows aloft even over a light wind, further round, and `e` an error whose
size grows as the root of height: by night over a light wind, above which the air may slide,
it is larger. It is alike over ratios of height low down, and over depths of air aloft. Given
levels condition it: it passes through them, and opens between and beyond. What a level
itself is off by – its instrument, its age, the distance of its station – is added to that.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from driftmap.air.winderror import TAILS
from driftmap.checks import FloatArray
from driftmap.winds import law

__all__ = ["ALIKE", "Field", "Known", "Told", "field_of", "fitted", "given"]

ComplexArray = NDArray[np.complex128]

_LAW: Final = 60.0
"""Up to here the published law alone tells how the wind grows [m]."""

_LEAST: Final = 2.0
"""Below head height the wind is held [m]."""

_ANY: Final = 1000.0
"""Standard deviation of the wind at 10 m before anything was read [m s⁻¹]: so wide that
what was read is not drawn toward a calm."""

ALIKE: Final = 1000.0
"""Height over which the errors of an instrument, or of a forecast, stay alike [m]; assumed."""

_LASTING: Final = 8.0
"""What a wind changes by with time is alike over this logarithm of a ratio of heights:
between the two soundings of a station, hours apart, the changes at 300 m go with those at
10, 900 and 1500 m by 0.7, 0.9 and 0.75."""

_SPEEDS: Final = (0.0, 10.0)
"""Winds at 10 m that the two sizes of strays are of [m s⁻¹]."""

_SMOOTHEST: Final = 0.8
"""Levels that lie smoothly above each other may be so because a model made them: strays are
never taken for less than this part of their usual variance; assumed."""


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """How the wind usually grows, turns and strays with height.

    Parameters
    ----------
    height : ndarray, shape (h,)
        Heights of the table [m].
    growth : ndarray, shape (h,)
        How much of the wind at 10 m there is.
    turn : ndarray, shape (h,)
        Its turn to the right with height, to the left south of the equator [rad].
    beside : ndarray, shape (h,)
        What else blows there, east where the wind at 10 m blows east [m s⁻¹].
    stray : float
        Standard error of a component over the root of height [m s⁻¹ m⁻½].
    power, length, depth : float
        Errors at two heights are correlated as ``exp(-(|u - u'| / length)**power)`` with
        ``u = ln(z) + z / depth``; `depth` in [m].
    """

    height: FloatArray
    growth: FloatArray
    turn: FloatArray
    beside: ComplexArray
    stray: float
    power: float
    length: float
    depth: float

    def carry(self, height: FloatArray, roughness: float) -> ComplexArray:
        """Give how much of the wind at 10 m there usually is at heights [m]."""
        shape = law.surface_shape(
            [*np.minimum(height, _LAW), _LAW, law.MAST], roughness
        )
        low, start = shape[:-2] / shape[-1], shape[-2] / shape[-1]
        high = np.interp(height, [_LAW, *self.height], [start, *self.growth])
        turn = np.interp(height, [0.0, *self.height], [0.0, *self.turn])
        size = np.where(height <= _LAW, low, high)
        return np.asarray(size * np.exp(-1j * turn))

    def over(self, height: FloatArray) -> ComplexArray:
        """Give what else usually blows at heights [m] over a wind from the west [m s⁻¹]."""
        return np.asarray(np.interp(height, [_LAW, *self.height], [0.0, *self.beside]))

    def alike(self, one: FloatArray, other: FloatArray) -> FloatArray:
        """Give the covariance of the errors of a component between heights [m² s⁻²]."""
        a = np.maximum(one, _LEAST)[:, None]
        b = np.maximum(other, _LEAST)[None, :]
        apart = np.abs(np.log(a / b) + (a - b) / self.depth) / self.length
        size = self.stray**2 * np.sqrt(a * b)
        return np.asarray(size * np.exp(-(apart**self.power)))


@cache
def fitted() -> dict[str, Any]:
    """Give what was fitted on real winds, by its names in ``field.toml``."""
    text = files("driftmap.winds").joinpath("field.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def field_of(
    sun: float | None, latitude: float | None, speed: float | None = None
) -> Field:
    """Give the field for a height of the sun and a wind near the ground.

    ``sun``: height of the sun [deg]; the widest regime where it is not known;
    ``latitude``: latitude of the site [deg]; south of the equator the wind turns the
    other way. Not known, it does not turn; ``speed``: wind at 10 m [m s⁻¹]; where it is
    not known strays are the larger ones.

    Result: between the sun's heights of the regimes a mixture of two.
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
        stray=float(stray.max() if speed is None else np.interp(speed, _SPEEDS, stray)),
        power=float(table["power"]),
        length=float(table["length"]),
        depth=float(table["depth"]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """What levels tell of the wind at other heights.

    Parameters
    ----------
    weights : ndarray, shape (k, n)
        Complex weight of each level in the wind at each height.
    beside : ndarray, shape (k,)
        What is added to their sum [m s⁻¹].
    covariance : ndarray, shape (k, k)
        Of the error of a component between the heights [m² s⁻²].
    """

    weights: ComplexArray
    beside: ComplexArray
    covariance: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """Levels that the field is conditioned on.

    Parameters
    ----------
    height : ndarray, shape (n,)
        Their heights, increasing [m].
    wind : ndarray, shape (n,)
        What they tell [m s⁻¹].
    error : ndarray, shape (n,)
        Standard error of a component by the instrument [m s⁻¹].
    lasting : ndarray, shape (n,)
        By age and distance [m s⁻¹].
    source : sequence, length n
        The report of each: the errors of one report are alike over height.
    read : ndarray of bool, shape (n,)
        Which were read; the others the law carried from them, and tell nothing new.
    """

    height: FloatArray
    wind: ComplexArray
    error: FloatArray
    lasting: FloatArray
    source: Sequence[object]
    read: NDArray[np.bool_]

    def covariance(self) -> FloatArray:
        """Give the covariance of their own errors, shape (n, n) [m² s⁻²]."""
        same = np.array([[a is b for a in self.source] for b in self.source])
        apart = np.abs(np.subtract.outer(self.height, self.height)) / ALIKE
        logs = np.log(np.maximum(self.height, _LEAST))
        ratio = np.abs(np.subtract.outer(logs, logs)) / _LASTING
        own = np.multiply.outer(self.error, self.error) * np.exp(-apart)
        last = np.multiply.outer(self.lasting, self.lasting) * np.exp(-ratio)
        return np.asarray(same * (own + last))


def given(
    field: Field,
    told: Told,
    heights: FloatArray,
    roughness: float,
) -> Known:
    r"""Condition the field on levels.

    Parameters
    ----------
    field : Field
        How the wind usually grows and strays.
    told : Told
        The levels.
    heights : ndarray, shape (k,)
        Heights that are asked for [m].
    roughness : float
        Roughness length of the ground [m].

    Returns
    -------
    Known
        The field passes through the levels; their own errors are added to what it strays
        from them.

    Notes
    -----
    Strays have the tails of Student's t: on some days all of them are large. So levels that
    lie as usual above each other make those between them surer, and odd ones less sure, by

    .. math:: (\nu - 2 + \beta) / (\nu - 2 + d)

    with :math:`\nu` the degrees of freedom, `d` the number of components told beyond the
    first level's, and :math:`\beta` the square of how far they are from the usual, in
    standard deviations [2]_.

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

    def prior(a: FloatArray, m: ComplexArray) -> ComplexArray:
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
    whole = odd * strays + read
    return Known(weights, beside * start / full, (whole + whole.T) / 2)


def _spread(weights: ComplexArray, errors: FloatArray) -> FloatArray:
    return np.asarray((weights @ errors @ weights.conj().T).real)


def _odd(covariance: ComplexArray, wind: ComplexArray) -> float:
    """Give by how much strays are larger, as a variance, for how odd the levels lie."""
    far = float((wind.conj() @ np.linalg.solve(covariance, wind)).real)
    parts = 2.0 * (wind.size - 1)
    return max((TAILS - 2.0 + far) / (TAILS - 2.0 + parts), _SMOOTHEST)
