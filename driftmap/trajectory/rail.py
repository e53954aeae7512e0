"""The ride along the rail, until the lower guide leaves it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from driftmap.air.atmosphere import STANDARD_GRAVITY
from driftmap.air.column import AirColumn
from driftmap.checks import FloatArray
from driftmap.errors import WeakThrustError
from driftmap.trajectory.rocket import Rocket

__all__ = ["ride"]

_G: Final = STANDARD_GRAVITY
_STEPS: Final = 20  # from the mean acceleration


def ride(rocket: Rocket, air: AirColumn) -> Iterator[FloatArray]:
    """Move along the rail.

    Parameters
    ----------
    rocket : Rocket, shape (n,)
        The flights.
    air : AirColumn
        The air of each flight, ``n`` columns or one for all.

    Yields
    ------
    ndarray, shape (7, n)
        State after each step, as `Motion.rows`; the last is that on leaving the rail.

    Raises
    ------
    WeakThrustError
        If thrust does not carry a flight off the rail.
    """
    axis, length = rocket.axis(), rocket.rail_length
    n = rocket.mass.size
    i = np.searchsorted(air.height, length / 2, side="right") - 1
    density = air.density[i]
    along = air.east[i] * axis[0] + air.north[i] * axis[1]
    mean = np.maximum(rocket.impulse / rocket.burn_time / rocket.mass - _G, 0.5)
    step = np.sqrt(2 * length / mean) / _STEPS
    s, v, t = np.zeros(n), np.zeros(n), np.zeros(n)

    def push(
        s: FloatArray, v: FloatArray, thrust: FloatArray, mass: FloatArray
    ) -> FloatArray:
        slip = v - along
        force = thrust - density * rocket.drag_area * slip * np.abs(slip) / 2
        gain = force / mass - _G * axis[2]
        # The stop holds the rocket until thrust carries its weight.
        return np.asarray(np.where(s > 0, gain, np.maximum(gain, 0.0)))

    def move(dt: FloatArray) -> tuple[FloatArray, FloatArray]:
        before, after = rocket.burnt(t), rocket.burnt(t + dt)
        thrust = np.divide(
            rocket.impulse * (after - before), dt, out=np.zeros(n), where=dt > 0
        )
        mass = rocket.mass - rocket.propellant * (before + after) / 2
        a1 = push(s, v, thrust, mass)
        a2 = push(s + dt * v / 2, v + dt * a1 / 2, thrust, mass)
        a3 = push(s + dt * (v + dt * a1 / 2) / 2, v + dt * a2 / 2, thrust, mass)
        a4 = push(s + dt * v + dt * dt * a2 / 2, v + dt * a3, thrust, mass)
        way = s + dt * v + dt * dt / 6 * (a1 + a2 + a3)
        return way, v + dt / 6 * (a1 + 2 * (a2 + a3) + a4)

    while (riding := s < length).any():
        dt = np.where(riding, step, 0.0)
        way, speed = move(dt)
        out = riding & (way > length)
        if out.any():  # shorten that step so that it ends at the end of the rail
            for _ in range(3):
                dt = np.where(out, dt - (way - length) / np.maximum(speed, 1e-6), dt)
                way, speed = move(dt)
            way = np.where(out, length, way)
        s, v, t = way, speed, t + dt
        if np.any((t > rocket.burn_time) & (s < length)) or np.any(v < 0):
            raise WeakThrustError("thrust does not carry the rocket off the rail")
        yield np.concatenate([axis * s, axis * v, t[None]])
