"""What flies up: mass, thrust, drag, how hard the air turns it, and its ride along the rail."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from driftmap.air.column import AirColumn
from driftmap.core.checks import FloatArray
from driftmap.core.errors import WeakThrustError
from driftmap.core.units import STANDARD_GRAVITY
from driftmap.trajectory.motion import DragRise


@dataclass(frozen=True, slots=True, eq=False)
class ThrustCurve:
    """The shape of the thrust: share of the impulse delivered by a share of the burn.

    Parameters
    ----------
    share_of_burn : ndarray, shape (p,)
        Times divided by the burn time, from 0 to 1.
    thrust : ndarray, shape (p,)
        Thrust at those times in any unit, linear between them.
    """

    share_of_burn: FloatArray
    thrust: FloatArray
    _sum: FloatArray = field(init=False, repr=False)
    _slope: FloatArray = field(init=False, repr=False)

    def __post_init__(self) -> None:
        # Asked for at every step of every flight: worked out once.
        t, f = self.share_of_burn, self.thrust
        pieces = np.diff(t) * (f[1:] + f[:-1]) / 2
        total = np.concatenate([[0.0], np.cumsum(pieces)])
        object.__setattr__(self, "_sum", total)
        object.__setattr__(self, "_slope", np.diff(f) / np.diff(t))

    def delivered(self, share: FloatArray) -> FloatArray:
        """Return the share of the impulse delivered.

        Parameters
        ----------
        share : ndarray, shape (...)
            Share of the burn, clipped to 0 to 1.

        Returns
        -------
        ndarray, shape (...)
            Share of the total impulse, 0 to 1.
        """
        t, f, total = self.share_of_burn, self.thrust, self._sum
        x = np.minimum(np.maximum(share, 0.0), 1.0)
        i = t[1:-1].searchsorted(x, side="right")
        into = x - t.take(i)
        gained = into * (f.take(i) + self._slope.take(i) * into / 2)
        return np.asarray((total.take(i) + gained) / total[-1])


CONSTANT_THRUST: Final = ThrustCurve(np.array([0.0, 1.0]), np.array([1.0, 1.0]))
"""Thrust that stays the same through the burn."""


@dataclass(frozen=True, slots=True, eq=False)
class Stability:
    """How the air and the burning motor turn ``n`` rockets.

    Parameters
    ----------
    margin : ndarray, shape (n,)
        Distance of the centre of pressure behind the centre of mass [m].
    lift_area : ndarray, shape (n,)
        Slope of the normal force with the angle of attack, times the cross-section [m²].
    side_area : ndarray, shape (n,)
        Drag coefficient across the body times its side [m²].
    inertia : ndarray, shape (n,)
        Moment of inertia about a cross axis at lift-off; it falls with the mass [kg m²].
    arm : ndarray, shape (n,)
        Distance from the centre of mass at which fins, nose and nozzle damp the swing [m].
    """

    margin: FloatArray
    lift_area: FloatArray
    side_area: FloatArray
    inertia: FloatArray
    arm: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Rocket:
    """What ``n`` flights start with.

    Parameters
    ----------
    mass, propellant : ndarray, shape (n,)
        Lift-off mass, and the propellant in it [kg].
    impulse : ndarray, shape (n,)
        Total impulse [N s].
    burn_time : ndarray, shape (n,)
        Burn time [s].
    curve : ThrustCurve
        Shape of the thrust, the same for all.
    drag_area : ndarray, shape (n,)
        Drag coefficient times cross-section [m²].
    tilt, azimuth : ndarray, shape (n,)
        Tilt of the rail from the vertical, and where it leans to, from north [rad].
    rail_length : float
        Travel on the rail [m].
    stability : Stability
        How it turns.
    rise : callable or None
        Factor on the drag by Mach number, shape (n,) to shape (n,).
    lights : ndarray, shape (n,), or float
        Time since lift-off at which the motor lights [s]; infinite where it never does.
    upper : Rocket or None
        What lights in the air: `mass` is what flies on from the moment `parts`.
    parts : ndarray, shape (n,), or float
        Time since lift-off from which this is the rocket [s]; of an upper one.
    """

    mass: FloatArray
    propellant: FloatArray
    impulse: FloatArray
    burn_time: FloatArray
    curve: ThrustCurve
    drag_area: FloatArray
    tilt: FloatArray
    azimuth: FloatArray
    rail_length: float
    stability: Stability
    rise: DragRise | None = None
    lights: FloatArray | float = 0.0
    upper: Rocket | None = None
    parts: FloatArray | float = 0.0

    def axis(self) -> FloatArray:
        """Direction of the rail, shape (3, n): east, north, up."""
        flat = np.sin(self.tilt)
        return np.stack(
            [
                flat * np.sin(self.azimuth),
                flat * np.cos(self.azimuth),
                np.cos(self.tilt),
            ]
        )

    def burnt(self, time: FloatArray) -> FloatArray:
        """Share of the impulse delivered by a time since ignition [s], shape (n,)."""
        return self.curve.delivered((time - self.lights) / self.burn_time)

    @property
    def burnout(self) -> FloatArray:
        """Time since lift-off at which the motor is burnt out [s], shape (n,)."""
        return self.burn_time + self.lights

    @property
    def coasting(self) -> FloatArray:
        """Mass once there is no more to burn that ever will [kg], shape (n,)."""
        return self.mass - np.where(np.isfinite(self.lights), self.propellant, 0.0)

    def mass_at(self, time: FloatArray) -> FloatArray:
        """Mass of all that still holds together at a time since lift-off [kg], shape (n,)."""
        whole = self.mass - self.propellant * self.burnt(time)
        if self.upper is None:
            return whole
        return np.where(time < self.upper.parts, whole, self.upper.mass_at(time))


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
