"""Chance that people who walk over ground see what lies on it."""

from __future__ import annotations

from math import pi, sqrt
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.core.checks import FloatArray, checked

__all__ = ["SMALL", "SUREST", "SWEEP_WIDTH", "parallel_sweeps", "random_search"]

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
