"""How fast a pilot balloon rises."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from driftmap.core.checks import FloatArray, checked

__all__ = ["ascent_rate"]


def ascent_rate(balloon: ArrayLike, free_lift: ArrayLike) -> FloatArray:
    r"""Give the rate at which a small rubber balloon rises.

    .. math:: w = 72 \left( \frac{l}{L^{2/3}} \right)^{0.63}, \qquad L = l + b

    in metres a minute, with the free lift `l`, the balloon's own mass `b` and their sum in
    grams.

    Parameters
    ----------
    balloon : array_like, shape (...)
        Mass of the balloon [kg].
    free_lift : array_like, shape (...)
        Mass that it just lifts besides itself [kg].

    Returns
    -------
    ndarray, shape (...)
        Rate of ascent [m s⁻¹].

    Raises
    ------
    ValueError
        If a mass is not above 0.

    Notes
    -----
    For balloons of 30 to 100 g near sea level; in the first minutes of a day with thermals
    it rises faster. The formula and its figures are from memory, not re-read.

    References
    ----------
    .. [1] U.S. Weather Bureau, *Instructions for Making Pilot Balloon Observations*,
       Circular O, Aerological Division (from memory).

    Examples
    --------
    A balloon of 30 g that lifts 125 g:

    >>> float(ascent_rate(0.030, 0.125).round(1))
    3.0
    """
    own = 1000.0 * checked("balloon", balloon, above=0)
    lift = 1000.0 * checked("free_lift", free_lift, above=0)
    return np.asarray(72.0 / 60.0 * (lift / (lift + own) ** (2 / 3)) ** 0.63)
