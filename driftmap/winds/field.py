"""The wind as a field over height: how it usually grows and turns, and how it strays.

Fitted on real soundings by ``tests/benchmarks/fit_wind_field.py``, which writes
``field.toml``. As complex numbers, east + i north, the wind at height `z` is

    w(z) = M(z) s + e(z)

with `s` the wind at 10 m, `M` its usual growth and turning (near the ground the published
law), and `e` a Gaussian error whose size grows as the root of height and which is alike
over ratios of height. Given levels condition it: it passes through them, and opens between
and beyond.
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

from driftmap.checks import FloatArray
from driftmap.winds import law

__all__ = ["Field", "Known", "field_of", "given"]

ComplexArray = NDArray[np.complex128]

_LAW: Final = 60.0
"""Up to here the published law alone tells how the wind grows [m]."""

_LEAST: Final = 2.0
"""Below head height the wind is held [m]."""

_ANY: Final = 1000.0
"""Standard deviation of the wind at 10 m before anything was read [m s⁻¹]: so wide that
what was read is not drawn toward a calm."""

_ALIKE: Final = 1000.0
"""Height over which the errors of one report stay alike [m]; of the size found for the
changes of the wind with height."""


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """How the wind usually grows, turns and strays with height.

    Parameters
    ----------
    height : ndarray, shape (h,)
        Heights of the table [m].
    growth : ndarray, shape (h,)
        Wind over that at 10 m.
    turn : ndarray, shape (h,)
        Turn to the right with height, to the left south of the equator [rad].
    stray : float
        Standard error of a component over the root of height [m s⁻¹ m⁻½].
    power, length : float
        Errors at two heights are correlated as ``exp(-(|ln(z/z')| / length)**power)``.
    """

    height: FloatArray
    growth: FloatArray
    turn: FloatArray
    stray: float
    power: float
    length: float

    def carry(self, height: FloatArray, roughness: float) -> ComplexArray:
        """Give the usual wind at heights [m] for each of that at 10 m."""
        shape = law.surface_shape(
            [*np.minimum(height, _LAW), _LAW, law.MAST], roughness
        )
        low, start = shape[:-2] / shape[-1], shape[-2] / shape[-1]
        high = np.interp(height, [_LAW, *self.height], [start, *self.growth])
        turn = np.interp(height, [0.0, *self.height], [0.0, *self.turn])
        size = np.where(height <= _LAW, low, high)
        return np.asarray(size * np.exp(-1j * turn))

    def alike(self, one: FloatArray, other: FloatArray) -> FloatArray:
        """Give the covariance of the errors of a component between heights [m² s⁻²]."""
        a = np.maximum(one, _LEAST)[:, None]
        b = np.maximum(other, _LEAST)[None, :]
        apart = np.abs(np.log(a / b)) / self.length
        size = self.stray**2 * np.sqrt(a * b)
        return np.asarray(size * np.exp(-(apart**self.power)))


@cache
def _table() -> dict[str, Any]:
    text = files("driftmap.winds").joinpath("field.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def field_of(sun: float | None, latitude: float | None) -> Field:
    """Give the field for a height of the sun.

    Parameters
    ----------
    sun : float or None
        Height of the sun [deg]; the widest regime where it is not known.
    latitude : float or None
        Latitude of the site [deg]; south of the equator the wind turns the other way. Not
        known, it does not turn.

    Returns
    -------
    Field
        Between the sun's heights of the regimes a mixture of two.
    """
    table = _table()
    regimes = table["regime"]
    suns = [regime["sun"] for regime in regimes]
    widest = max(regimes, key=lambda regime: regime["stray"])
    at = widest["sun"] if sun is None else sun

    def mixed(key: str) -> FloatArray:
        rows = np.array([regime[key] for regime in regimes], dtype=float)
        flat = rows.reshape(len(regimes), -1)
        return np.array([np.interp(at, suns, column) for column in flat.T])

    side = 0.0 if latitude is None else 1.0 if latitude >= 0 else -1.0
    return Field(
        height=np.array(table["height"], dtype=float),
        growth=mixed("growth"),
        turn=side * np.radians(mixed("turn")),
        stray=float(mixed("stray")[0]),
        power=float(table["power"]),
        length=float(table["length"]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """What levels tell of the wind at other heights.

    Parameters
    ----------
    weights : ndarray, shape (k, n)
        Complex weight of each level in the wind at each height.
    covariance : ndarray, shape (k, k)
        Of the error of a component between the heights [m² s⁻²].
    """

    weights: ComplexArray
    covariance: FloatArray


def given(
    field: Field,
    levels: FloatArray,
    errors: FloatArray,
    sources: Sequence[object],
    heights: FloatArray,
    roughness: float,
) -> Known:
    """Condition the field on levels.

    Parameters
    ----------
    field : Field
        How the wind usually grows and strays.
    levels : ndarray, shape (n,)
        Heights of the levels, increasing [m].
    errors : ndarray, shape (n,)
        Standard error of a component at each [m s⁻¹].
    sources : sequence, length n
        The report of each level: the errors of one report are alike over height.
    heights : ndarray, shape (k,)
        Heights that are asked for [m].
    roughness : float
        Roughness length of the ground [m].

    Returns
    -------
    Known
        The field passes through the levels; the errors of the levels are added to what it
        strays from them.

    References
    ----------
    .. [1] C. E. Rasmussen, C. K. I. Williams, *Gaussian Processes for Machine Learning*,
       2006, Eqs. (2.23) and (2.24) (from memory).
    """
    at, up = field.carry(levels, roughness), field.carry(heights, roughness)

    def prior(a: FloatArray, m: ComplexArray) -> ComplexArray:
        usual = _ANY**2 * np.multiply.outer(m, at.conj())
        return np.asarray(usual + field.alike(a, levels))

    inside = prior(levels, at) + 1e-9 * np.diag(levels + 1.0)
    across = prior(heights, up)
    weights = np.linalg.solve(inside.conj().T, across.conj().T).conj().T
    own = _ANY**2 * np.multiply.outer(up, up.conj()) + field.alike(heights, heights)
    strays = (own - weights @ across.conj().T).real
    same = np.array([[a is b for a in sources] for b in sources])
    apart = np.abs(np.subtract.outer(levels, levels)) / _ALIKE
    read = np.multiply.outer(errors, errors) * same * np.exp(-apart)
    told = (weights @ read @ weights.conj().T).real
    whole = strays + told
    return Known(np.asarray(weights, complex), (whole + whole.T) / 2)
