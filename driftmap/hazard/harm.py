"""What harms a person: energies, shelters, and the ground on which one would be struck.

The yardsticks are those published for licensed launches. They do not govern amateur
rockets; they are what a range safety officer can hold a figure against.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.core.checks import FloatArray
from driftmap.core.units import FOOT, parse


@dataclass(frozen=True, slots=True)
class Sourced:
    """A number with its source.

    Parameters
    ----------
    value : float
        In SI.
    source : str
        Where it comes from.
    note : str
        What a reader must know about its use.
    """

    value: float
    source: str
    note: str = ""


WIDEST_PATCH: Final = 100.0
"""Side of the widest square that risk is averaged over [m]; our choice."""

PERSON_RADIUS: Final = FOOT
"""Radius of a standing person, 1 ft [m] (from memory: Montgomery and Ward, "Casualty Areas
from Impacting Inert Debris for People in the Open", RTI/5180/60-31F, 1995)."""

PERSON_HEIGHT: Final = 6 * FOOT
"""Height of a standing person, 6 ft [m] (from memory: as `PERSON_RADIUS`)."""

_BOUNCE: Final = 7.0
"""Casualty area over largest projected area that stands for bounce, skip, slide and splatter
(14 CFR part 417, appendix A, A417.25(b)(8)(iv); read in a copy)."""

HURTS: Final = Sourced(
    parse("11 ft lbf", "energy"),
    "14 CFR part 417, appendix A, A417.25(b)(3) and 417.107(c)(1)(ii); read in copies",
    "inert debris at or above it that strikes a person",
)
"""Energy from which a piece that strikes a person counts as a casualty [J]: 11 ft lbf."""

KILLS: Final = Sourced(
    parse("58 ft lbf", "energy"),
    "DoD 6055.09 (from memory)",
    "made for explosions, listed for comparison",
)
"""Energy from which a piece counts as able to kill or maim [J]: 58 ft lbf."""

_NO_FIGURE: Final = "no published figure was found for what a"
_ROOF: Final = Sourced(
    KILLS.value,
    "assumed: 58 ft lbf, borrowed from DoD 6055.09 (from memory)",
    f"{_NO_FIGURE} light roof stops; a tent is no roof",
)

THRESHOLDS: Final = MappingProxyType(
    {
        "open": HURTS,
        "car": replace(_ROOF, note=f"{_NO_FIGURE} car's roof stops"),
        "roof": _ROOF,
    }
)
"""Least energy that harms a person, by what shelters them [J]."""


def basic_casualty_area(
    radius: ArrayLike,
    angle: ArrayLike,
    way: ArrayLike = math.inf,
    longer: ArrayLike = 0.0,
) -> FloatArray:
    r"""Return the ground on which a standing person would be struck by a falling sphere or rod.

    .. math:: A = \pi R^2 + e\, r_\mathrm{person} + (2 R + e / \pi) \min(h \cot\gamma, \ell),
              \qquad R = r_\mathrm{person} + r

    with a person as an upright cylinder of height `h` (form from memory [1]_; it is plain
    geometry, a disk swept along the path over the person's height, and no farther than the
    sphere came at all, :math:`\ell`). A rod that lies across its path, whichever way it turned,
    has a shadow whose rim is longer than the sphere's by `e` (Steiner's formula for the area
    around a convex shape and Cauchy's for its mean width; any text of integral geometry).

    Parameters
    ----------
    radius : array_like, shape (...)
        Radius of the sphere [m].
    angle : array_like, shape (...)
        Angle of the path below the horizontal, in (0, π/2] [rad].
    way : array_like, shape (...), optional
        How far over the ground the sphere came from where it was thrown [m].
    longer : array_like, shape (...), optional
        By how much the rim of its shadow is longer than that of a sphere of its area [m].

    Returns
    -------
    ndarray, shape (...)
        Casualty area [m²].

    Raises
    ------
    ValueError
        If an angle, a radius, a way or a rim is out of range.

    References
    ----------
    .. [1] J. B. Montgomery and J. A. Ward, "Casualty Areas from Impacting Inert Debris for
       People in the Open", RTI/5180/60-31F, 1995 (from memory).

    Examples
    --------
    Straight down, a ball of 3 in radius strikes within π (1.25 ft)²:

    >>> round(float(basic_casualty_area(0.25 * FOOT, math.pi / 2)), 4)
    0.456
    """
    r, gamma = np.asarray(radius, float), np.asarray(angle, float)
    # Straight down, kept in single precision, lies a hair beyond.
    if not ((r >= 0) & (gamma > 0) & (gamma <= math.pi / 2 + 1e-6)).all():
        raise ValueError("'radius' must not be negative and 'angle' lie in (0, π/2]")
    more = np.asarray(longer, float)
    if not ((np.asarray(way) >= 0).all() and (more >= 0).all()):
        raise ValueError("'way' and 'longer' must not be negative")
    reach = PERSON_RADIUS + r
    # cos over sin, not 1 over tan: exactly level with the vertical at 90°.
    cotangent = np.maximum(np.cos(gamma), 0.0) / np.sin(gamma)
    swept = np.minimum(PERSON_HEIGHT * cotangent, way)
    wide = 2 * reach + more / math.pi
    return np.asarray(math.pi * reach**2 + more * PERSON_RADIUS + wide * swept)


def casualty_area(
    projected_area: ArrayLike,
    angle: ArrayLike,
    way: ArrayLike = math.inf,
    rim: ArrayLike = 0.0,
) -> FloatArray:
    """Return the casualty area of a piece, bounce and slide included.

    The greater of the area of first contact and `_BOUNCE` times the largest projected
    area. The regulation gives the second alone; to take the greater is our choice, since
    for small pieces the second is less than a person.

    ``projected_area``, shape (...): largest projected area of the piece [m²]. For a
    convex piece it is at most twice the mean over all directions, which is a quarter of
    the surface; ``angle`` and ``way``, shape (...): as of `basic_casualty_area`; ``rim``,
    shape (...): length of the rim of that area, where the piece lies across its path [m].
    First contact is that of a sphere of the same projected area but for its rim.

    Result: casualty area [m²], shape (...). Raises `ValueError` if one is out of range.
    """
    area = np.asarray(projected_area, float)
    if not ((area >= 0) & np.isfinite(area)).all():
        raise ValueError("'projected_area' must be finite and not negative")
    longer = np.maximum(np.asarray(rim) - 2 * np.sqrt(math.pi * area), 0.0)
    first = basic_casualty_area(np.sqrt(area / math.pi), angle, way, longer)
    return np.maximum(first, _BOUNCE * area)
