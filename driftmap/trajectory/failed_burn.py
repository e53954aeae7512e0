r"""The rest of a burn that goes wrong: thrust along the path, or any other way.

A point mass as in `driftmap.trajectory.descent`, with thrust `T` of which a share `q` acts,

.. math:: \dot{\mathbf v} = \frac{q T}{m} \mathbf n - \frac{\rho C_D S}{2 m}
          |\mathbf v - \mathbf w| (\mathbf v - \mathbf w) - g \hat{\mathbf z},

along the path, or in one direction :math:`\mathbf n` that a tumbling or spiralling rocket pushes
to on the whole. It ends at burnout or on the ground. A rocket that flies nose first turns into
the wind: its thrust acts along its velocity through air that moves with `_TURNED` of the wind.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Final

import numpy as np

from driftmap.air.column import AirColumn, local_air, through_air
from driftmap.core.checks import FloatArray, IntArray
from driftmap.core.units import STANDARD_GRAVITY
from driftmap.trajectory.motion import Motion, on_ground
from driftmap.trajectory.rocket import ThrustCurve

_STEPS: Final = 24  # to burnout; half a metre of a kilometre (tests/analytic)
_STIFF: Final = 0.5  # of the time in which drag brakes, that a step may take
_MOST_STEPS: Final = 2000
_TURNED: Final = 0.3
"""Share of the wind that a rocket which leaves its rail turns into: it lands as far upwind, on
the whole, as the rigid bodies of `driftmap.trajectory.ascent` of two of the examples do."""


@dataclass(frozen=True, slots=True, eq=False)
class Burning:
    """What ``n`` bodies burn on with.

    Parameters
    ----------
    mass : ndarray, shape (n,)
        Mass without propellant [kg].
    propellant, impulse, burn_time : ndarray, shape (n,)
        Propellant at lift-off [kg], total impulse [N s], burn time [s].
    curve : ThrustCurve
        Shape of the thrust.
    drag_area : ndarray, shape (n,)
        Drag coefficient times reference area [m²].
    share : ndarray, shape (n,)
        Share of the thrust that acts.
    toward : ndarray, shape (3, n), or None
        Direction that it acts in; along the path where NaN, or when None.
    lights : ndarray, shape (n,), or float
        Time since lift-off at which they lit, or will [s].
    """

    mass: FloatArray
    propellant: FloatArray
    impulse: FloatArray
    burn_time: FloatArray
    curve: ThrustCurve
    drag_area: FloatArray
    share: FloatArray
    toward: FloatArray | None = None
    lights: FloatArray | float = 0.0

    def burnt(self, time: FloatArray) -> FloatArray:
        """Share of the impulse delivered by a time since lift-off [s]."""
        return self.curve.delivered((time - self.lights) / self.burn_time)

    def left(self, time: FloatArray) -> FloatArray:
        """Propellant left at a time since lift-off [kg]."""
        return self.propellant * (1 - self.burnt(time))


_EACH: Final = [f.name for f in fields(Burning) if f.name != "curve"]


def burn_all(
    parts: Sequence[tuple[Motion, Burning, IntArray]], air: AirColumn
) -> list[Motion]:
    """Follow bodies as `burn_on` does, all together that take as many steps.

    Parameters
    ----------
    parts : sequence of (Motion, Burning, ndarray of int)
        Of some bodies each: where they are, what they burn on with, a direction told for
        each or NaN, and the column of air of each.
    air : AirColumn
        As in `burn_on`.

    Returns
    -------
    list of Motion
        State then, of each part.
    """
    alike: dict[tuple[int, int], list[int]] = defaultdict(list)
    for number, (start, body, _) in enumerate(parts):
        alike[id(body.curve), _enough(start, body, air)].append(number)
    ends = [start for start, _, _ in parts]
    for numbers in alike.values():
        starts, bodies, who = zip(*(parts[number] for number in numbers), strict=True)
        rows = np.concatenate([start.rows() for start in starts], axis=1)
        told = {
            name: np.concatenate([getattr(b, name) for b in bodies], axis=-1)
            for name in _EACH
        }
        body = Burning(curve=bodies[0].curve, **told)
        end = burn_on(Motion(*rows), body, air, who=np.concatenate(who))
        cuts = np.cumsum([part.size for part in who])[:-1]
        for number, part in zip(numbers, np.split(end.rows(), cuts, 1), strict=True):
            ends[number] = Motion(*part)
    return ends


def burn_on(
    start: Motion, body: Burning, air: AirColumn, *, who: IntArray | None = None
) -> Motion:
    """Follow bodies to burnout, or to the ground when that comes first.

    Parameters
    ----------
    start : Motion, shape (n,)
        Where the bodies are, and how fast; the time is that since ignition.
    body : Burning, shape (n,)
        What they burn on with.
    air : AirColumn
        The air of each body, or one column for all, or those that `who` names.
    who : ndarray of int, shape (n,), optional
        Column of air of each body; in their order when left out.

    Returns
    -------
    Motion, shape (n,)
        State then; bodies whose burn is over stay as they are.
    """
    state, n = start.rows(), start.time.size
    if air.east.shape[1] == 1:
        who = np.zeros(n, np.intp)
    elif who is None:
        who = np.arange(n)
    after = till = np.full(n, np.nan)
    for left in range(_enough(start, body, air), 0, -1):
        step = np.maximum(body.lights + body.burn_time - state[6], 0.0) / left
        step[(state[2] <= 0) & (state[5] <= 0)] = 0.0  # those are down
        # Most steps begin where the last one ended.
        before = after if np.array_equal(state[6], till) else body.burnt(state[6])
        till = state[6] + step
        after = body.burnt(till)
        mass = body.mass + body.propellant * (1 - (before + after) / 2)
        rate = (after - before) / np.maximum(step, 1e-9)
        push = body.share * body.impulse * rate / mass
        near = local_air(air, state[2], who)
        first = _gain(state, near, body, push, mass)
        middle = state[:6].copy()
        middle[:3] += step / 2 * state[3:6]
        middle[3:6] += step / 2 * first
        gain = _gain(middle, near, body, push, mass)
        new = state.copy()
        new[:3] += step * middle[3:6]
        new[3:6] += step * gain
        new[6] = till
        state = on_ground(state, new)
    return Motion(*state)


def _enough(start: Motion, body: Burning, air: AirColumn) -> int:
    """Return the steps to burnout: more for what air brakes hard, as a light motor alone."""
    hold = air.density[0] * body.drag_area / 2
    push = body.share * body.impulse / body.burn_time
    brakes = hold * (start.speed + np.sqrt(push / hold)) / body.mass
    seconds = np.maximum(body.lights + body.burn_time - start.time, 0.0)
    wanted = float(np.max(seconds * brakes / _STIFF, initial=0.0))
    return int(np.clip(np.ceil(wanted), _STEPS, _MOST_STEPS))


def _gain(
    state: FloatArray,
    near: FloatArray,
    body: Burning,
    push: FloatArray,
    mass: FloatArray,
) -> FloatArray:
    """Acceleration, shape (3, n)."""
    east, north, speed, density = through_air(state, near)
    ahead = state[3:6].copy()
    ahead[0] += _TURNED * (east - ahead[0])
    ahead[1] += _TURNED * (north - ahead[1])
    along = ahead / np.maximum(np.sqrt((ahead**2).sum(axis=0)), 1e-9)
    if body.toward is not None:
        along = np.where(np.isnan(body.toward), along, body.toward)
    pull = density * body.drag_area * speed / (2 * mass)
    gain = push * along - pull * np.array([east, north, state[5]])
    gain[2] -= STANDARD_GRAVITY
    return np.asarray(gain)
