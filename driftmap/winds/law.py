"""The surface layer: how wind grows with height over ground of a given roughness."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.checks import FloatArray

__all__ = [
    "LAW_TOP",
    "LOG_TOP",
    "MAST",
    "ROUGHNESS",
    "lowest_height",
    "surface_shape",
]

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

MAST: Final = 10.0
"""Height at which surface wind is measured [m] (WMO-No. 8)."""

LOG_TOP: Final = 100.0
"""Height to which the logarithmic law is used [m] (from memory: 100 m, or a tenth of
the boundary layer)."""

LAW_TOP: Final = 300.0
"""Height to which the power law is used [m] (from memory)."""

_EXPONENT: Final = 1 / 7
"""Neutral open land (Hellmann)."""

_HEAD: Final = 2.0
"""Below head height the wind is held, not brought to nothing [m]."""


def lowest_height(roughness: float) -> float:
    """Give the height below which the logarithmic law is not used.

    Result: height above the ground [m]: head height, or four roughness lengths where
    that is more (common practice, no source).
    """
    return max(_HEAD, 4 * roughness)


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
        Roughness length `z_0` [m].

    Returns
    -------
    ndarray, shape (...)
        Ratio of speeds.

    Notes
    -----
    Neutral air over level ground. A sunny afternoon has less growth with height, a
    clear evening much more.

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
