"""The letter that names a motor's class."""

from __future__ import annotations

import bisect
from typing import Final

__all__ = ["CLASS_BOUNDS", "motor_class"]

_LETTERS: Final[tuple[str, ...]] = ("1/4A", "1/2A", *"ABCDEFGHIJKLMNO")

CLASS_BOUNDS: Final[tuple[float, ...]] = tuple(
    2.5 * 2.0 ** (k - 2) for k in range(len(_LETTERS))
)
"""Greatest total impulse of each class, from 1/4A to O [N s]: A ends at 2.5 and each class
at twice the one before. Seen for 1/2A to O in a public table of combined impulse
(lunar.org, "Launch site Dimensions and Distance to Launch Pad"); 1/4A from memory."""


def motor_class(total_impulse: float) -> str:
    """Name the class of a total impulse.

    Parameters
    ----------
    total_impulse : float
        Total impulse of all motors together [N s].

    Returns
    -------
    str
        Letter of the class; its upper bound belongs to it.

    Raises
    ------
    ValueError
        If the impulse is not positive or beyond class O.

    Examples
    --------
    >>> motor_class(160.0), motor_class(160.01)
    ('G', 'H')
    """
    if not 0 < total_impulse <= CLASS_BOUNDS[-1]:
        raise ValueError(
            f"'total_impulse' must lie above 0 and up to {CLASS_BOUNDS[-1]:g} N s "
            f"(got {total_impulse:g})"
        )
    return _LETTERS[bisect.bisect_left(CLASS_BOUNDS, total_impulse)]
