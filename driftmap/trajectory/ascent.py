r"""The way up: rail, burn and coast to apogee, for many flights at once.

Of two stages the lower burns out, both coast until they part, the upper one waits and
burns: a body of its own mass, drag, margin and inertia, with the way and swing they had.

On the rail the rocket moves along it. After it, it is a slender rigid body without roll:
thrust acts along its axis, drag along its velocity through the air, and the normal force
of fins, nose and body across the axis,

.. math:: \dot{\mathbf v} = \frac{T}{m} \mathbf e - \frac{\rho}{2 m} \left( C_D A V
          \mathbf r + (C_{N\alpha} A\, |\mathbf r \cdot \mathbf e| + C_c S\,
          r_\perp)\, \mathbf r_\perp \right) - g \hat{\mathbf z}, \qquad
          \mathbf r = \mathbf v - \mathbf w,

with the part :math:`\mathbf r_\perp` of the velocity through the air that is across the
axis, and a cross-flow drag :math:`C_c` on the body's side `S` (the form of Jorgensen, NASA
TR R-474, 1977; from memory). The axis swings as in `driftmap.trajectory.attitude`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from driftmap.air.column import AirColumn, local_air, through_air
from driftmap.core.checks import FloatArray, IntArray
from driftmap.core.units import STANDARD_GRAVITY
from driftmap.trajectory.attitude import SwingingBody, overturned, swing
from driftmap.trajectory.motion import Ascent, Motion, on_ground
from driftmap.trajectory.rocket import Rocket, ride

_G: Final = STANDARD_GRAVITY
_BURN_STEPS: Final = 40  # from the rail to burnout
_WAIT_STEPS: Final = 8  # from burnout until stages part, and on to the next motor
_COAST_STEPS: Final = 36  # from burnout to apogee, by the closed form
_COAST_POWER: Final = 1.5
_ROOM: Final = 112  # states of most flights in one stage: rail, burn and coast
_FAR_OVER: Final = 0.8  # cosine of the angle to the airstream that is no longer small
_SLOW: Final = 10.0  # m/s; slower than this thrust turns the path within a step
_LONGEST: Final = 0.6  # s; of a step of a burn or a wait, however long
_STIFF: Final = 0.2  # of the time in which drag brakes, that a step of a burn may take
_MOST_STEPS: Final = 400
_FINE_STEPS: Final = 3  # to end the rise at apogee


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
    WeakThrustError
        If thrust does not carry a flight off the rail.
    FlightPathError
        If a flight leaves the air or the speeds that are modelled.

    Notes
    -----
    A flight that comes down burning ends on the ground, and has its apogee there.

    Left out: roll, the turn that a guide still on the rail gives a rocket whose other one
    has left it (it turns the nose down the wind), ground effect. Thrust misalignment and
    rail whip are part of the spread of the rail's aim. Thrust is the mean over each step,
    so the impulse is exact.
    """
    run = _Run(rocket, air)
    for after in ride(rocket, air):
        state = run.keep(after)
    exit_state = Motion(*state)
    wind = np.hypot(*local_air(air, state[2], run.who)[1:3])
    moving = _Moving(state, rocket.axis(), np.zeros_like(state[:3]))
    # Short steps first: a slow rocket turns fastest into the wind.
    moving = _through(run, moving, rocket.burnout, _BURN_STEPS, power=2.0)
    burnout = first = np.maximum(rocket.burnout, exit_state.time)
    if rocket.upper is not None:
        moving = _part(run, moving, rocket.upper)
        lit = np.isfinite(rocket.upper.lights)
        burnout = np.where(lit, rocket.upper.burnout, first)
    _coast_up(run, moving)
    return Ascent(
        kept=run.all_kept(),
        rail_exit=exit_state,
        rail_wind=wind,
        burnout=burnout,
        first_burnout=first,
    )


def _part(run: _Run, moving: _Moving, upper: Rocket) -> _Moving:
    """Go on to where the stages part, and let the upper one light and burn out."""
    moving = _through(run, moving, upper.parts, _WAIT_STEPS, powered=False)
    run.light(upper)
    lit = np.isfinite(upper.lights)
    if not lit.any():
        return moving
    for until, steps in ((upper.lights, _WAIT_STEPS), (upper.burnout, _BURN_STEPS)):
        end = np.where(lit, until, moving.state[6])
        moving = _through(run, moving, end, steps)
    return moving


def _through(
    run: _Run,
    moving: _Moving,
    until: FloatArray | float,
    steps: int,
    *,
    power: float = 1.0,
    powered: bool = True,
) -> _Moving:
    """Fly to a moment, or to the ground when that comes first, in so many steps or more."""
    steps = _enough(run, moving, until, steps, power if powered else 0.0)
    marks = np.linspace(0, 1, steps + 1) ** power
    for start, end in zip(marks[:-1], marks[1:], strict=True):
        state = moving.state
        left = np.maximum(until - state[6], 0.0)
        left[(state[2] <= 0) & (state[5] < 0)] = 0.0  # those are down
        step = left * (end - start) / (1 - start)
        moving = run.advance(moving, step, powered=powered)
        on_ground(state, moving.state)
        run.keep(moving.state)
    return moving


def _enough(
    run: _Run, moving: _Moving, until: FloatArray | float, steps: int, power: float
) -> int:
    """Return the steps that a long burn or wait takes, and a body that air brakes hard."""
    rocket = run.rocket
    left = np.maximum(until - moving.state[6], 0.0)
    hold = run.air.density[0] * rocket.drag_area / 2
    push = rocket.impulse / rocket.burn_time if power else np.zeros_like(left)
    fastest = np.sqrt(push / hold) + np.sqrt((moving.state[3:6] ** 2).sum(axis=0))
    brakes = hold * fastest / rocket.coasting
    wanted = left * np.maximum(1 / _LONGEST, brakes / _STIFF) * max(power, 1.0)
    return int(np.clip(np.ceil(wanted.max()), steps, _MOST_STEPS))


@dataclass(frozen=True, slots=True, eq=False)
class _Moving:
    """Flights after a step: rows of `Motion`, the nose, and how it turns along the path [m⁻¹]."""

    state: FloatArray
    axis: FloatArray
    turning: FloatArray


def _dot(one: FloatArray, other: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("ij,ij->j", one, other))


class _Run:
    """The flights under way, and what is kept of them."""

    def __init__(self, rocket: Rocket, air: AirColumn) -> None:
        n = rocket.mass.size
        self.rocket, self.air = rocket, air
        self.who = np.arange(n) if air.east.shape[1] > 1 else np.zeros(n, np.intp)
        self.may_be_over = False  # the nose any way: one that lights in the air
        self.weigh()
        # Written where they stay: to gather them at the end would touch them twice.
        self._kept = np.empty((_ROOM, 10, n))
        self._kept[0], self._count = 0.0, 1
        # On the rail there is no airstream to speak of.
        still = np.zeros(n), np.full(n, air.density[0]), np.full(n, air.sound[0])
        self._now = np.stack(still)
        self._spent = self._till = np.zeros(0)

    def light(self, upper: Rocket) -> None:
        """Go on with an upper part, its nose wherever it is."""
        self.rocket, self.may_be_over = upper, True
        self._till = np.zeros(0)
        self.weigh()

    def weigh(self) -> None:
        """Take the margin of what flies from now on."""
        margin = self.rocket.stability.margin
        self.margin = np.maximum(margin, 0.0)
        self.unsteady = np.flatnonzero(margin < 0)

    def keep(self, state: FloatArray) -> FloatArray:
        """Record the state after a step, and the airstream before it."""
        if self._count == len(self._kept):
            self._kept = np.concatenate([self._kept, np.empty_like(self._kept)])
        self._kept[self._count, :7] = state
        self._kept[self._count - 1, 7:] = self._now
        self._count += 1
        return state

    def all_kept(self) -> FloatArray:
        """Return what `Ascent.kept` holds, the airstream at apogee too."""
        last = self._kept[self._count - 1]
        near = local_air(self.air, last[2], self.who)
        last[7:] = self._look(last[:7], _stream(last[:7], near))
        return self._kept[: self._count]

    def _look(self, state: FloatArray, stream: _Stream) -> FloatArray:
        """Speed through the air, density and speed of sound, shape (3, n)."""
        sound = np.interp(state[2], self.air.height, self.air.sound)
        return np.array([stream.speed, stream.density, sound])

    def advance(  # noqa: PLR0915 - a kernel
        self, before: _Moving, step: FloatArray, *, powered: bool = True
    ) -> _Moving:
        """Take one step by the rule of the middle; thrust is the step's mean."""
        state, axis, rocket = before.state, before.axis, self.rocket
        body = rocket.stability
        mass, push, flow = self._burn(state[6], step, powered=powered)
        near = local_air(self.air, state[2] + step / 2 * state[5], self.who)
        start = _stream(state, near)
        self._now = self._look(state, start)
        # The path as it would go on without the bend that the angle of attack gives it ...
        along = _dot(axis, start.ahead)
        crossing = np.sqrt(np.maximum(1 - along**2, 0.0))
        lift = start.density * body.lift_area / 2
        across = lift * np.abs(along) + start.density * body.side_area / 2 * crossing
        slower = across * (start.speed * crossing) ** 2 / mass
        middle = state[:6].copy()
        middle[3:6] += (step / 2) * (
            self._drag(start, mass) + (push * along - slower) * start.ahead
        )
        middle[:3] += step / 4 * (state[3:6] + middle[3:6])
        middling = _stream(middle, near)
        way = step * middling.speed
        veer = (middling.ahead - start.ahead) * (2 / np.maximum(way, 1e-9))
        # ... and the swing, which bends it.
        bend = across / mass + push / middling.speed**2
        inertia = body.inertia * (mass / rocket.mass)
        quicker = 2 * (middling.speed - start.speed) / np.maximum(way, 1e-9)
        damping = (lift + flow / middling.speed) * body.arm**2 / inertia
        damping += quicker / middling.speed
        stiffness = lift * self.margin * np.maximum(along, 0.0) / inertia
        off = axis - start.ahead
        swung = swing(off, before.turning - veer, veer, stiffness, damping, bend, way)
        bent = way * bend * swung.mean
        middling = middling._replace(ahead=middling.ahead + bent / 2)
        mean = middling.ahead + swung.mean
        pull = self._drag(middling, mass) + self._lift(middling, mean, mass)
        axis = start.ahead + way * veer + bent + swung.off
        axis = axis / np.sqrt(_dot(axis, axis))
        turning = swung.rate + veer
        turning -= _dot(turning, axis) * axis
        after = np.empty_like(state)
        after[3:6] = state[3:6] + step * (pull + push * mean)
        after[:3] = state[:3] + step / 2 * (state[3:6] + after[3:6])
        after[6] = state[6] + step
        moved = _Moving(after, axis, turning)
        who = self.unsteady
        if self.may_be_over:
            far = (along < _FAR_OVER) | (start.speed < _SLOW)
            who = np.flatnonzero(far | (body.margin < 0))
        return self._over(before, moved, near, (mass, push, flow), step, who)

    def _over(
        self,
        before: _Moving,
        moved: _Moving,
        near: FloatArray,
        burning: tuple[FloatArray, ...],
        step: FloatArray,
        who: IntArray,
    ) -> _Moving:
        """Take the step anew, in small ones, for those that turn over."""
        if who.size == 0:
            return moved
        mass, push, flow = (value[who] for value in burning)
        rocket, body = self.rocket, self.rocket.stability
        drag, full = rocket.drag_area[who], rocket.mass[who]
        if rocket.rise is not None:
            drag = drag * rocket.rise(np.minimum(self._now[0] / self._now[2], 5.0))[who]
        moved.state[:, who], moved.axis[:, who], moved.turning[:, who] = overturned(
            before.state[:, who],
            before.axis[:, who],
            before.turning[:, who],
            near[:, who],
            SwingingBody(
                drag_area=drag / mass,
                lift_area=body.lift_area[who] / mass,
                side_area=body.side_area[who] / mass,
                turning=(body.margin * body.lift_area / body.inertia)[who]
                * full
                / mass,
                damping=(body.lift_area * body.arm**2 / body.inertia)[who]
                * full
                / mass,
                jet=flow * (body.arm**2 / body.inertia)[who] * full / mass,
                push=push,
            ),
            step[who],
        )
        return moved

    def _burn(
        self, time: FloatArray, step: FloatArray, *, powered: bool
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the step's mean mass [kg], push [m s⁻²] and flow of propellant [kg s⁻¹]."""
        rocket = self.rocket
        if not powered:
            none = np.zeros_like(step)
            return rocket.coasting, none, none
        # Most steps begin where the last one ended.
        same = np.array_equal(time, self._till)
        before = self._spent if same else rocket.burnt(time)
        self._till = time + step
        self._spent = after = rocket.burnt(self._till)
        rate = (after - before) / np.maximum(step, 1e-9)
        mass = rocket.mass - rocket.propellant * (before + after) / 2
        return mass, rocket.impulse * rate / mass, rocket.propellant * rate

    def _drag(self, stream: _Stream, mass: FloatArray) -> FloatArray:
        """Acceleration by drag and weight, shape (3, n)."""
        drag_area = self.rocket.drag_area
        if self.rocket.rise is not None:
            drag_area = drag_area * self.rocket.rise(stream.speed / self._now[2])
        hold = stream.density * stream.speed**2 * drag_area / (2 * mass)
        pull = -hold * stream.ahead
        pull[2] -= _G
        return np.asarray(pull)

    def _lift(self, stream: _Stream, axis: FloatArray, mass: FloatArray) -> FloatArray:
        """Acceleration by the normal force, shape (3, n)."""
        body = self.rocket.stability
        along = _dot(stream.ahead, axis)
        across = stream.ahead - along * axis
        crossing = np.sqrt(_dot(across, across))
        area = body.lift_area * np.abs(along) + body.side_area * crossing
        hold = stream.density * stream.speed**2 * area / (2 * mass)
        return np.asarray(-hold * across)


class _Stream(NamedTuple):
    """The airstream: direction of the velocity through the air, its size, the density."""

    ahead: FloatArray
    speed: FloatArray
    density: FloatArray


def _stream(state: FloatArray, near: FloatArray) -> _Stream:
    east, north, speed, density = through_air(state, near)
    speed = np.maximum(speed, 1e-9)
    return _Stream(np.array([east, north, state[5]]) / speed, speed, density)


def _coast_up(run: _Run, moving: _Moving) -> None:
    """Coast until every flight is at apogee."""
    rocket, air, mass = run.rocket, run.air, run.rocket.coasting
    # Short steps first here too: drag changes most at the start.
    marks = np.linspace(0, 1, _COAST_STEPS + 1) ** _COAST_POWER
    for start, end in zip(marks[:-1], marks[1:], strict=True):
        state = moving.state
        density = air.density_at(state[2])
        terminal = np.sqrt(2 * mass * _G / (density * rocket.drag_area))
        # Closed form of the rise with quadratic drag (any mechanics textbook).
        left = terminal / _G * np.arctan(np.maximum(state[5], 0.0) / terminal)
        step = left * (end - start) / (1 - start)
        after = run.advance(moving, step, powered=False)
        if end == 1:
            for _ in range(_FINE_STEPS):
                step = np.maximum(step + after.state[5] / _G, 0.0)
                after = run.advance(moving, step, powered=False)
            after.state[5] = np.minimum(after.state[5], 0.0)  # apogee: it rises no more
        moving = after
        run.keep(moving.state)
