"""A plate on paper, and the tail that ties it to its ground."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely

from driftmap.core.checks import FloatArray

Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""

_TIP: Final = 5.0
_BASE: Final = 8.0
"""How far a tail reaches into its ground, and half its width at the plate."""


@dataclass(frozen=True, slots=True)
class Plate:
    """A box, and the line to it from its ground.

    Parameters
    ----------
    left, top, width, height : float
        The box.
    lead : shapely.LineString or None
        From the edge of the ground to the box; None where the box stands on or at it.
    """

    left: float
    top: float
    width: float
    height: float
    lead: shapely.LineString | None = None

    @property
    def box(self) -> Box:
        """The box by its edges."""
        return self.left, self.top, self.left + self.width, self.top + self.height

    def tail(self, kind: str) -> str:
        """Draw a wedge from within the box, which hides its foot, to a tip within its ground."""
        if self.lead is None:
            return ""
        (wedge,) = wedges(np.array([self.lead]), np.array([self.box]))
        corners = (f"{x:.1f} {y:.1f}" for x, y in wedge)
        return f'<path class="tail {kind}" d="M{"L".join(corners)}Z"/>'


def wedges(ways: Any, boxes: FloatArray) -> FloatArray:
    """Return tip and both ends of the foot of each tail: within its ground, and within its box.

    ``ways``: from the edge of the ground to the box. Result: shape (n, 3, 2).
    """
    edge, end = shapely.get_coordinates(ways).reshape(-1, 2, 2).swapaxes(0, 1)
    tip = edge + _TIP * _ahead(edge - end)
    half = (boxes[:, 2:] - boxes[:, :2]).min(axis=1, keepdims=True) / 2
    foot = np.clip(edge, boxes[:, :2] + half, boxes[:, 2:] - half)
    across = np.minimum(_BASE, 0.8 * half) * _ahead(tip - foot)[:, ::-1] * (-1.0, 1.0)
    return np.stack([tip, foot + across, foot - across], axis=1)


def _ahead(ways: FloatArray) -> FloatArray:
    return np.asarray(ways / np.maximum(np.hypot(*ways.T), 1e-9)[:, None])
