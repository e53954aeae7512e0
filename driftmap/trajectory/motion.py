"""Where bodies are and how they move: what the stages of a flight pass on, and the way up."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from driftmap.core.checks import FloatArray

DragRise: TypeAlias = Callable[[FloatArray], FloatArray]
"""Factor on the drag by Mach number, shape (n,) to shape (n,)."""


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
        columns = [getattr(self, name) for name in names]
        rows = np.empty((7, *np.broadcast(*columns).shape))
        for i, column in enumerate(columns):  # asked for at each turn of every fall
            rows[i] = column
        return rows


@dataclass(frozen=True, slots=True, eq=False)
class Ascent:
    """The way up of ``n`` flights.

    Parameters
    ----------
    kept : ndarray, shape (s, 10, n)
        State after each of ``s`` steps, as `Motion.rows`, the last is apogee; and there the
        speed through the air, 0 on the rail, and the speed of sound [m s⁻¹] about the
        density of the air [kg m⁻³]. One array, which memory takes back whole.
    rail_exit : Motion
        State on leaving the rail.
    rail_wind : ndarray, shape (n,)
        Wind speed at that moment [m s⁻¹].
    burnout : ndarray, shape (n,)
        Time of burnout, the last one [s].
    first_burnout : ndarray, shape (n,)
        That of the motor which lights on the rail [s].
    """

    kept: FloatArray
    rail_exit: Motion
    rail_wind: FloatArray
    burnout: FloatArray
    first_burnout: FloatArray

    @property
    def rows(self) -> FloatArray:
        """States, shape (s, 7, n)."""
        return self.kept[:, :7]

    @property
    def speed(self) -> FloatArray:
        """Speed through the air, shape (s, n) [m s⁻¹]."""
        return self.kept[:, 7]

    @property
    def density(self) -> FloatArray:
        """Air density, shape (s, n) [kg m⁻³]."""
        return self.kept[:, 8]

    @property
    def sound(self) -> FloatArray:
        """Speed of sound, shape (s, n) [m s⁻¹]."""
        return self.kept[:, 9]

    @property
    def apogee(self) -> Motion:
        """State at apogee, shape (n,)."""
        return Motion(*self.rows[-1])

    def at(self, time: FloatArray) -> Motion:
        """Return the state at a time of each flight's own.

        Parameters
        ----------
        time : ndarray, shape (n,)
            Time since ignition, clipped to the way from pad to apogee [s].

        Returns
        -------
        Motion, shape (n,)
            Position by a cubic in time between steps, velocity by a line.
        """
        times = self.rows[:, 6]
        t = np.clip(time, times[0], times[-1])
        # Counted and gathered as bytes lie: this is asked of every case.
        gone = np.add.reduce((times <= t).view(np.uint8), axis=0, dtype=np.uint16)
        i = np.clip(gone.astype(np.intp) - 1, 0, len(times) - 2)
        _, size, n = self.kept.shape
        place = i * (size * n) + np.arange(n) + np.arange(7)[:, None] * n
        flat = self.kept.reshape(-1)
        a, b = flat.take(place), flat.take(place + size * n)
        dt = b[6] - a[6]
        u = np.divide(t - a[6], dt, out=np.zeros_like(dt), where=dt > 0)
        position = _cubic(u, a[:3], b[:3], dt * a[3:6], dt * b[3:6])
        velocity = a[3:6] + u * (b[3:6] - a[3:6])
        return Motion(*np.concatenate([position, velocity, t[None]]))

    def max_q(self) -> tuple[FloatArray, FloatArray]:
        """Find the greatest dynamic pressure.

        Returns
        -------
        time : ndarray, shape (n,)
            When, to the nearest step [s].
        pressure : ndarray, shape (n,)
            Dynamic pressure then [Pa].
        """
        pressure = self.density * self.speed**2 / 2
        i, one = pressure.argmax(0), np.arange(pressure.shape[1])
        return self.rows[i, 6, one], pressure[i, one]

    def mach(self) -> FloatArray:
        """Return the Mach number at the states kept, shape (s, n)."""
        return self.speed / self.sound


def on_ground(before: FloatArray, after: FloatArray) -> FloatArray:
    """Put bodies that went below the ground where they struck it, in place.

    Parameters
    ----------
    before, after : ndarray, shape (7, n)
        Rows of `Motion` about a step.

    Returns
    -------
    ndarray, shape (7, n)
        Those after it.
    """
    low = (after[2] < 0) & (after[2] < before[2])
    if low.any():
        first = before[:, low]
        share = first[2] / (first[2] - after[2, low])
        after[:, low] = first + share * (after[:, low] - first)
        after[2] = np.maximum(after[2], 0.0)
    return after


def _cubic(
    u: FloatArray, a: FloatArray, b: FloatArray, da: FloatArray, db: FloatArray
) -> FloatArray:
    """Hermite cubic between two states at a share `u` of the step."""
    rise = b - a
    bend = 3 * rise - 2 * da - db
    return np.asarray(a + u * (da + u * (bend + u * (da + db - 2 * rise))))
