r"""The way up: rail, burn and coast to apogee, for many flights at once.

A rocket is a point mass. On the rail it moves along the rail; after it, drag acts along
its velocity through the air and thrust along its axis,

.. math:: \dot{\mathbf v} = \frac{T}{m} \frac{\mathbf a}{|\mathbf a|} - \frac{\rho C_D A
          |\mathbf r|}{2 m} \mathbf r - g \hat{\mathbf z}, \qquad \mathbf r = \mathbf v -
          \mathbf w, \quad \mathbf a = \mathbf v - c\, \mathbf w.

With weathercock share `c` = 1 the axis turns into the airstream at once, the upper bound
of weathercocking; with 0 it stays along the path over the ground.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from driftmap.air.atmosphere import STANDARD_GRAVITY, FloatArray
from driftmap.air.column import AirColumn, local_air, through_air
from driftmap.errors import FlightPathError
from driftmap.trajectory.motion import Motion

__all__ = ["Ascent", "Rocket", "ThrustCurve", "ascend"]

_G: Final = STANDARD_GRAVITY
_RAIL_STEPS: Final = 20  # on the rail, from the mean acceleration
_BURN_STEPS: Final = 40  # from the rail to burnout
_COAST_STEPS: Final = 12  # from burnout to apogee, by the closed form
_TRANSONIC_STEPS: Final = 40  # the same where drag changes with Mach number
_NO_THRUST: Final = np.zeros(1)
_MOST_STEPS: Final = 2000


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

    def delivered(self, share: FloatArray) -> FloatArray:
        """Give the share of the impulse delivered.

        Parameters
        ----------
        share : ndarray, shape (...)
            Share of the burn, clipped to 0 to 1.

        Returns
        -------
        ndarray, shape (...)
            Share of the total impulse, 0 to 1.
        """
        t, f = self.share_of_burn, self.thrust
        pieces = np.diff(t) * (f[1:] + f[:-1]) / 2
        total = np.concatenate([[0.0], np.cumsum(pieces)])
        x = np.clip(share, 0.0, 1.0)
        i = np.clip(np.searchsorted(t, x, side="right") - 1, 0, t.size - 2)
        into = x - t[i]
        slope = (f[i + 1] - f[i]) / (t[i + 1] - t[i])
        return np.asarray((total[i] + into * (f[i] + slope * into / 2)) / total[-1])


CONSTANT_THRUST: Final = ThrustCurve(np.array([0.0, 1.0]), np.array([1.0, 1.0]))
"""Thrust that stays the same through the burn."""


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
    weathercock : ndarray, shape (n,)
        How far the axis turns into the airstream, 0 to 1.
    rise : callable or None
        Factor on the drag by Mach number, shape (n,) to shape (n,).
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
    weathercock: FloatArray
    rise: Callable[[FloatArray], FloatArray] | None = None

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
        return self.curve.delivered(time / self.burn_time)


@dataclass(frozen=True, slots=True, eq=False)
class Ascent:
    """The way up of ``n`` flights.

    Parameters
    ----------
    rows : ndarray, shape (s, 7, n)
        State after each of ``s`` steps, as `Motion.rows`; the last is apogee.
    rates : ndarray, shape (s - 1, 2, 3, n)
        Acceleration at the start and the end of each step [m s⁻²].
    speed : ndarray, shape (s, n)
        Speed through the air at those states, 0 on the rail [m s⁻¹].
    density, sound : ndarray, shape (s, n)
        Air density [kg m⁻³] and speed of sound [m s⁻¹] there.
    rail_exit : Motion
        State on leaving the rail.
    rail_wind : ndarray, shape (n,)
        Wind speed at that moment [m s⁻¹].
    burnout : ndarray, shape (n,)
        Time of burnout [s].
    """

    rows: FloatArray
    rates: FloatArray
    speed: FloatArray
    density: FloatArray
    sound: FloatArray
    rail_exit: Motion
    rail_wind: FloatArray
    burnout: FloatArray

    @property
    def apogee(self) -> Motion:
        """State at apogee, shape (n,)."""
        return Motion(*self.rows[-1])

    def at(self, time: FloatArray) -> Motion:
        """Give the state at a time of each flight's own.

        Parameters
        ----------
        time : ndarray, shape (n,)
            Time since ignition, clipped to the way from pad to apogee [s].

        Returns
        -------
        Motion, shape (n,)
            State by a cubic in time between steps.
        """
        times = self.rows[:, 6]
        t = np.clip(time, times[0], times[-1])
        i = np.clip((times <= t).sum(0) - 1, 0, len(times) - 2)
        one = np.arange(t.size)
        a, b = self.rows[i, :, one].T, self.rows[i + 1, :, one].T
        da, db = self.rates[i, 0, :, one].T, self.rates[i, 1, :, one].T
        dt = b[6] - a[6]
        u = np.divide(t - a[6], dt, out=np.zeros_like(dt), where=dt > 0)
        position = _cubic(u, a[:3], b[:3], dt * a[3:6], dt * b[3:6])
        velocity = _cubic(u, a[3:6], b[3:6], dt * da, dt * db)
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
        """Give the Mach number at the states kept, shape (s, n)."""
        return self.speed / self.sound


def _cubic(
    u: FloatArray, a: FloatArray, b: FloatArray, da: FloatArray, db: FloatArray
) -> FloatArray:
    """Hermite cubic between two states at a share `u` of the step."""
    rise = b - a
    bend = 3 * rise - 2 * da - db
    return np.asarray(a + u * (da + u * (bend + u * (da + db - 2 * rise))))


def ascend(rocket: Rocket, air: AirColumn) -> Ascent:
    """Fly from the pad to apogee.

    Parameters
    ----------
    rocket : Rocket, shape (n,)
        The flights.
    air : AirColumn
        The air of each flight, ``n`` columns or one for all.

    Returns
    -------
    Ascent
        The way up.

    Raises
    ------
    FlightPathError
        If a flight cannot leave the rail under power, or rises above the air column.

    Notes
    -----
    Left out: rotation and swinging of the body, lift, ground effect. Thrust misalignment
    and rail whip are part of the spread of the rail's aim. Thrust is the mean over each
    step, so the impulse is exact.
    """
    run = _Run(rocket, air)
    state = _ride_rail(run)
    exit_state = Motion(*state)
    wind = np.hypot(*local_air(air, state[2], run.who)[1:3])
    # Short steps first: a slow rocket turns fastest into the wind.
    marks = np.linspace(0, 1, _BURN_STEPS + 1) ** 2
    for start, end in zip(marks[:-1], marks[1:], strict=True):
        left = np.maximum(rocket.burn_time - state[6], 0.0)
        step = left * ((end - start) / (1 - start))
        state = run.keep(*run.advance(state, step))
        if np.any(state[2] < 0):
            raise FlightPathError("thrust is too weak: a flight comes down burning")
    _coast_up(run, state)
    return Ascent(
        rows=np.stack(run.rows),
        rates=np.stack(run.rates),
        **run.through_air(),
        rail_exit=exit_state,
        rail_wind=wind,
        burnout=np.maximum(rocket.burn_time, exit_state.time),
    )


class _Run:
    """The flights under way, and what is kept of them."""

    def __init__(self, rocket: Rocket, air: AirColumn) -> None:
        n = rocket.mass.size
        self.rocket, self.air = rocket, air
        self.who = np.arange(n) if air.east.shape[1] > 1 else np.zeros(n, np.intp)
        self.rows = [np.zeros((7, n))]
        self.rates: list[FloatArray] = []
        # On the rail there is no airstream to speak of.
        still = np.zeros(n), np.full(n, air.density[0]), np.full(n, air.sound[0])
        self._now = np.stack(still)
        self._seen: list[FloatArray] = []

    def keep(self, state: FloatArray, rates: FloatArray) -> FloatArray:
        """Record the state after a step, and the acceleration at the step's two ends."""
        self.rows.append(state)
        self.rates.append(rates)
        self._seen.append(self._now)
        return state

    def through_air(self) -> dict[str, FloatArray]:
        """Give speed through the air (0 on the rail), density and sound, shape (s, n)."""
        last = self._look(
            self.rows[-1], local_air(self.air, self.rows[-1][2], self.who)
        )
        names = ("speed", "density", "sound")
        return dict(zip(names, np.stack([*self._seen, last], axis=1), strict=True))

    def _look(self, state: FloatArray, near: FloatArray) -> FloatArray:
        """Speed through the air, density and speed of sound, shape (3, n)."""
        sound = np.interp(state[2], self.air.height, self.air.sound)
        return np.stack([*through_air(state, near)[2:], sound])

    def advance(
        self, state: FloatArray, step: FloatArray, *, powered: bool = True
    ) -> tuple[FloatArray, FloatArray]:
        """Take one Runge-Kutta step; thrust is the step's mean, mass falls with impulse."""
        rocket = self.rocket
        near = local_air(self.air, state[2], self.who)
        self._now = self._look(state, near)
        thrust, masses = _NO_THRUST, [rocket.mass - rocket.propellant] * 3
        if powered:
            before, after = rocket.burnt(state[6]), rocket.burnt(state[6] + step)
            gained = rocket.impulse * (after - before)
            thrust = np.divide(gained, step, out=np.zeros_like(gained), where=step > 0)
            masses = [
                rocket.mass - rocket.propellant * share
                for share in (before, (before + after) / 2, after)
            ]

        def rate(moved: FloatArray, stage: int) -> FloatArray:
            return _rate(
                moved, near, drag_area, thrust, masses[stage], rocket.weathercock
            )

        drag_area = rocket.drag_area
        if rocket.rise is not None:  # taken as constant over a step
            drag_area = drag_area * rocket.rise(self._now[0] / self._now[2])
        moved = state[:6]
        k1 = rate(moved, 0)
        k2 = rate(moved + 0.5 * step * k1, 1)
        k3 = rate(moved + 0.5 * step * k2, 1)
        k4 = rate(moved + step * k3, 2)
        new = np.empty_like(state)
        new[:6] = moved + step / 6 * (k1 + 2 * (k2 + k3) + k4)
        new[6] = state[6] + step
        return new, np.stack([k1[3:], k4[3:]])


def _rate(
    state: FloatArray,
    near: FloatArray,
    drag_area: FloatArray,
    thrust: FloatArray,
    mass: FloatArray,
    weathercock: FloatArray,
) -> FloatArray:
    """Time derivative of position and velocity, shape (6, n)."""
    east, north, speed, density = through_air(state, near)
    drag = density * drag_area * speed / (2 * mass)
    rate = np.empty((6, east.size))
    rate[:3] = state[3:6]
    rate[3], rate[4], rate[5] = -drag * east, -drag * north, -drag * state[5] - _G
    if thrust.any():
        along_east = state[3] + weathercock * (east - state[3])
        along_north = state[4] + weathercock * (north - state[4])
        along = np.sqrt(along_east**2 + along_north**2 + state[5] ** 2)
        # At rest there is no direction to push along; the rail is behind by then.
        push = thrust / (mass * np.maximum(along, 1e-9))
        rate[3] += push * along_east
        rate[4] += push * along_north
        rate[5] += push * state[5]
    return rate


def _ride_rail(run: _Run) -> FloatArray:
    """Move along the rail until the lower guide leaves it; give the state then."""
    rocket, air = run.rocket, run.air
    axis, length = rocket.axis(), rocket.rail_length
    n = rocket.mass.size
    i = np.searchsorted(air.height, length / 2, side="right") - 1
    density = air.density[i]
    along = air.east[i] * axis[0] + air.north[i] * axis[1]
    mean = np.maximum(rocket.impulse / rocket.burn_time / rocket.mass - _G, 0.5)
    step = np.sqrt(2 * length / mean) / _RAIL_STEPS
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

    state = run.rows[0]
    while (riding := s < length).any():
        dt = np.where(riding, step, 0.0)
        way, speed = move(dt)
        out = riding & (way > length)
        if out.any():  # shorten that step so that it ends at the end of the rail
            for _ in range(3):
                dt = np.where(out, dt - (way - length) / np.maximum(speed, 1e-6), dt)
                way, speed = move(dt)
            way = np.where(out, length, way)
        gain = np.divide(speed - v, dt, out=np.zeros(n), where=dt > 0)
        s, v, t = way, speed, t + dt
        if np.any((t > rocket.burn_time) & (s < length)) or np.any(v < 0):
            raise FlightPathError("thrust does not carry the rocket off the rail")
        state = np.concatenate([axis * s, axis * v, t[None]])
        run.keep(state, np.stack([axis * gain] * 2))
    return state


def _coast_up(run: _Run, state: FloatArray) -> None:
    """Coast until every flight is at apogee; flights that are there stay there."""
    rocket, air = run.rocket, run.air
    mass = rocket.mass - rocket.propellant
    density = local_air(air, state[2], run.who)[5]
    terminal = np.sqrt(2 * mass * _G / (density * rocket.drag_area))
    rising = np.maximum(state[5], 0.0)
    # Closed form of the rise with quadratic drag (any mechanics textbook).
    steps = _COAST_STEPS if rocket.rise is None else _TRANSONIC_STEPS
    step = terminal / _G * np.arctan(rising / terminal) / steps + 1e-3
    for _ in range(_MOST_STEPS):
        up = state[5] > 1e-9
        if not up.any():
            return
        dt = np.where(up, step, 0.0)
        after, rates = run.advance(state, dt, powered=False)
        over = up & (after[5] < 0)
        if over.any():  # end that step where the rise ends
            slowed = np.where(over, state[5] - after[5], 1.0)
            dt = np.where(over, dt * state[5] / slowed, dt)
            after, _ = run.advance(state, dt, powered=False)
            dt = np.where(over, np.maximum(dt + after[5] / _G, 0.0), dt)
            after, rates = run.advance(state, dt, powered=False)
            after[5] = np.where(over, 0.0, after[5])
        state = run.keep(after, rates)
    raise FlightPathError(f"a flight still rises after {_MOST_STEPS} steps")
