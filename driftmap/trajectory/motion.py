"""Where bodies are and how they move: the record that the stages of a flight pass on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from driftmap.checks import FloatArray

__all__ = ["Motion"]


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """Where bodies are and how they move.

    Parameters
    ----------
    east, north, height : ndarray, shape (n,)
        Position from the pad; height above the site [m].
    v_east, v_north, v_up : ndarray, shape (n,)
        Velocity over the ground [m s⁻¹].
    time : ndarray, shape (n,)
        Time since lift-off, or since release [s].
    """

    east: FloatArray
    north: FloatArray
    height: FloatArray
    v_east: FloatArray
    v_north: FloatArray
    v_up: FloatArray
    time: FloatArray

    @property
    def speed(self) -> FloatArray:
        """Speed over the ground [m s⁻¹], shape (n,)."""
        return np.sqrt(self.v_east**2 + self.v_north**2 + self.v_up**2)

    def rows(self) -> FloatArray:
        """Stack the seven columns as one array, shape (7, n)."""
        names = ("east", "north", "height", "v_east", "v_north", "v_up", "time")
        columns = np.broadcast_arrays(*(getattr(self, n) for n in names))
        return np.stack(columns).astype(float, copy=False)
