"""What an opening load breaks: how strong each link is, and how likely each outcome."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from driftmap.core.checks import FloatArray, checked
from driftmap.core.spread import Spread

LINKS: Final = ("canopy", "lines", "cord", "attachment")
"""What carries the opening load, from the cloth to the airframe."""

_SOFT, _HARD = LINKS[:2], LINKS[2:]  # what opens torn when overloaded by little, or not

HOLDS, TEARS, RIPS_OFF = 0, 1, 2
"""Outcomes of an opening: all holds, the canopy opens torn, the canopy is lost."""

STRENGTH_SPREAD: Final = 0.15
"""Standard deviation of the logarithm of a strength that is stated. Assumed: seams, knots
and age leave a link weaker or stronger than stated."""

UNSTATED_SPREAD: Final = 0.5
"""The same for a strength taken from `CLOTHS`: one in six is below 60 % of the table's.
Assumed."""

_TORN_BAND: Final = 1.5
"""Load over strength up to which cloth or lines open torn and beyond which the canopy is
lost. Assumed."""

TORN_DRAG: Final = Spread(
    "uniform", 0.2, 0.8, "a torn canopy keeps 20 to 80 % of its drag"
)
"""Share of its drag that a torn canopy keeps. Assumed."""

_SEWN: Final = 0.4
"""Strength of a canopy over that of a strip of its cloth as wide as its diameter. Assumed:
seams, line loops and uneven load; 1.5 kN for half a metre of light nylon, 6 kN for two metres."""

_STRETCH: Final = 0.25
"""Stretch of nylon cord and lines at their strength (textbook range 0.2 to 0.3, from
memory). Stiffer cord, such as aramid, snatches harder."""

Strengths: TypeAlias = Mapping[str, tuple[float, float]]
"""Median strength [N] and standard deviation of its logarithm by link of `LINKS`."""


@dataclass(frozen=True, slots=True)
class Cloth:
    """A kind of cloth.

    Parameters
    ----------
    strength : float
        Breaking force of a strip over its width [N m⁻¹].
    mass : float
        Mass of the bare cloth that is so strong, over its area [kg m⁻²].
    source : str
        Where they come from.
    """

    strength: float
    mass: float
    source: str


CLOTHS: Final[Mapping[str, Cloth]] = MappingProxyType(
    {
        "ripstop nylon": Cloth(
            7_400.0, 0.037, "from memory: MIL-C-7020, type I, 42 lbf/in, 1.1 oz/yd2"
        ),
        "heavy nylon": Cloth(12_000.0, 0.070, "assumed: nylon of 70 g/m2 and more"),
        "cotton": Cloth(5_000.0, 0.100, "assumed: plain weave of 100 g/m2"),
        "plastic film": Cloth(500.0, 0.037, "assumed: polyethylene, 0.04 mm at 12 MPa"),
    }
)
"""Kinds of cloth by name."""


def canopy_strength(cloth: str, diameter: ArrayLike) -> FloatArray:
    r"""Strength of a canopy of which only cloth and size are known.

    .. math:: F = 0.4\, w\, D_0

    Parameters
    ----------
    cloth : str
        A name in `CLOTHS`; its strip of unit width holds `w`.
    diameter : array_like, shape (...)
        Nominal diameter [m].

    Returns
    -------
    ndarray, shape (...)
        Median load at which it gives [N]; `UNSTATED_SPREAD` is its spread. Both assumed.

    Raises
    ------
    ValueError
        If there is no such cloth or a diameter is not positive.

    Examples
    --------
    >>> float(canopy_strength("ripstop nylon", 1.2).round())
    3552.0
    """
    if cloth not in CLOTHS:
        raise ValueError(f"'cloth' must be one of {', '.join(CLOTHS)} (got {cloth!r})")
    across = checked("diameter", diameter, above=0)
    return np.asarray(_SEWN * CLOTHS[cloth].strength * across)


def rope_stiffness(strength: ArrayLike, length: ArrayLike) -> FloatArray:
    r"""Stiffness of nylon rope, :math:`k = F_b / (\varepsilon_b L)`.

    Parameters
    ----------
    strength : array_like, shape (...)
        Load at which it breaks [N].
    length : array_like, shape (...)
        Its length [m].

    Returns
    -------
    ndarray, shape (...)
        Load over lengthening [N m⁻¹], for a quarter of lengthening at the break.

    Examples
    --------
    >>> float(rope_stiffness(5000.0, 10.0))
    2000.0
    """
    force = checked("strength", strength, above=0)
    return np.asarray(force / (_STRETCH * checked("length", length, above=0)))


def snatch_load(speed: ArrayLike, mass: ArrayLike, stiffness: ArrayLike) -> FloatArray:
    r"""Load when a rope between two bodies that part comes taut (textbook).

    The motion of the one against the other is stopped by the stretching rope:

    .. math:: F = v \sqrt{k\, m_1 m_2 / (m_1 + m_2)}

    Parameters
    ----------
    speed : array_like, shape (...)
        Speed at which they part, 0 or more [m s⁻¹].
    mass : array_like, shape (...)
        Reduced mass :math:`m_1 m_2 / (m_1 + m_2)` [kg].
    stiffness : array_like, shape (...)
        Of the rope [N m⁻¹].

    Returns
    -------
    ndarray, shape (...)
        Greatest load [N]; an upper bound, as rope and knots also take up energy.

    Examples
    --------
    >>> float(snatch_load(20.0, 0.2, 2000.0))
    400.0
    """
    v = checked("speed", speed, least=0)
    m, k = checked("mass", mass, above=0), checked("stiffness", stiffness, above=0)
    return np.asarray(v * np.sqrt(k * m))


def breaking_chances(
    load: ArrayLike,
    strength: Strengths,
    *,
    snatch: ArrayLike = 0.0,
    torn_band: float = _TORN_BAND,
) -> FloatArray:
    r"""Tell how likely an opening holds, tears and rips off.

    Each link's strength is lognormal. Cloth and lines that are overloaded by less than
    `torn_band` open torn; beyond it, or when cord or attachment give, the canopy is lost.
    All of this is assumed. With :math:`G(r)` the chance that no link is loaded to more
    than `r` times its strength,

    .. math:: P_{holds} = G_{soft}(1)\, G_{hard}(1), \qquad
              P_{tears} = (G_{soft}(b) - G_{soft}(1))\, G_{hard}(1).

    Parameters
    ----------
    load : array_like, shape (n,)
        Opening load, on every link [N].
    strength : mapping of str to (float, float)
        Median strength [N] and spread of each link that can give.
    snatch : array_like, broadcast to shape (n,)
        Load on all but the canopy when the lines come taut, where that is more [N].
    torn_band : float
        Load over strength at which tearing turns into loss, 1 or more.

    Returns
    -------
    ndarray, shape (3, n)
        Chances by `HOLDS`, `TEARS`, `RIPS_OFF`; they add up to 1.

    Raises
    ------
    ValueError
        If no strength is given, a name is unknown or a number is out of range.

    Examples
    --------
    >>> breaking_chances([100.0, 200.0, 400.0], {"canopy": (200.0, 0.15)}).round(3)
    array([[1.   , 0.5  , 0.   ],
           [0.   , 0.497, 0.028],
           [0.   , 0.003, 0.972]])
    """
    if not strength or set(strength) - set(LINKS):
        raise ValueError(
            f"'strength' must name one or more of {', '.join(LINKS)} "
            f"(got {', '.join(strength) or 'none'})"
        )
    force = checked("load", load, least=0)
    pull = np.maximum(force, checked("snatch", snatch, least=0))
    limit = float(checked("torn_band", torn_band, least=1))
    sound = _none_above(1.0, force, pull, strength, _SOFT)
    usable = _none_above(limit, force, pull, strength, _SOFT)
    tied = _none_above(1.0, force, pull, strength, _HARD)
    return np.stack([sound * tied, (usable - sound) * tied, 1 - usable * tied])


def _none_above(
    ratio: float,
    load: FloatArray,
    pull: FloatArray,
    strength: Strengths,
    links: tuple[str, ...],
) -> FloatArray:
    """Chance that none of some links is loaded to more than so many times its strength."""
    from scipy.special import ndtr  # noqa: PLC0415 - costs 0.1 s, needed only here

    all_below = np.ones(load.shape)
    for link in links:
        if link in strength:
            median, spread = strength[link]
            stated = checked(f"strength of {link}", median, above=0)
            wide = checked(f"spread of {link}", spread, above=0)
            on_it = load if link == "canopy" else pull
            with np.errstate(divide="ignore"):  # no load never breaks anything
                all_below *= ndtr(np.log(ratio * stated / on_it) / wide)
    return all_below
