r"""The swing of a rocket about its centre of mass, one step at a time in closed form.

A slender rigid body without roll. Its axis :math:`\mathbf e` and the airstream
:math:`\hat{\mathbf r}`, the direction of its velocity `V` through the air, obey

.. math:: \ddot{\mathbf e} = k V^2 (\hat{\mathbf r} - \mathbf e)_\perp - c V\,
          \dot{\mathbf e}, \qquad
          k = \frac{\rho A\, C_{N\alpha}\, d}{2 I} \cos\alpha, \qquad
          c = \left(\frac{\rho A\, C_{N\alpha}}{2} + \frac{\dot m}{V}\right)
          \frac{l^2}{I}

with the static margin `d`, the normal-force slope :math:`C_{N\alpha}` on the cross-section
`A`, the moment of inertia `I`, and an arm `l` for the damping by air and jet (small
oscillations of a body of revolution: any text on the dynamics of flight). Along the path
through the air, in place of time, `k` does not depend on the speed, and a rocket that gains
speed is damped by :math:`\dot V / V^2` more. So one swing takes the same path,
:math:`\lambda = 2\pi \sqrt{2 I / (\rho A C_{N\alpha} d)}`, slow or fast.

Over a step `k`, `c` and the turning of the airstream are held, which makes the equation
that of a damped oscillator. Its closed form is right for a stiff rocket that swings many
times in a step as for one that hardly turns.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from driftmap.air.column import through_air
from driftmap.core.checks import FloatArray
from driftmap.core.units import STANDARD_GRAVITY

_PARTS: Final = 12  # of a step, in which one that turns over is followed
_HELD: Final = 300.0  # of a hyperbolic sine, whose exponential a float still holds
_SLACK: Final = 1e-6  # per step: what pulls back or damps less does neither


class Swung(NamedTuple):
    """Deviation of the axis from the airstream after a step.

    Parameters
    ----------
    off, rate : ndarray, shape (3, n)
        Deviation at the end, and the axis's rate less the steady turning [m⁻¹].
    mean : ndarray, shape (3, n)
        Its mean over the step.
    """

    off: FloatArray
    rate: FloatArray
    mean: FloatArray


def swing(
    off: FloatArray,
    rate: FloatArray,
    turning: FloatArray,
    stiffness: FloatArray,
    damping: FloatArray,
    bend: FloatArray,
    step: FloatArray,
) -> Swung:
    r"""Let the axis swing about the airstream for one step along the path.

    With the deviation :math:`y = e - \hat r` and :math:`\hat r' = g + n y`, where the
    normal force and the thrust across the path bend it by `n`,

    .. math:: y'' + (c + n)\, y' + (k + c n)\, y = -c g;

    damping acts on the turning of the body, not on that of the air.

    Parameters
    ----------
    off, rate : ndarray, shape (3, n)
        Deviation of the axis from the airstream; rate at which the axis turns, less
        `turning` [m⁻¹].
    turning : ndarray, shape (3, n)
        Rate at which the airstream would turn without any deviation, `g` [m⁻¹].
    stiffness : ndarray, shape (n,)
        Turning back per unit of deviation, `k` [m⁻²].
    damping : ndarray, shape (n,)
        Decay of the axis's rate, `c` [m⁻¹].
    bend : ndarray, shape (n,)
        Turning of the airstream per unit of deviation, `n` [m⁻¹].
    step : ndarray, shape (n,)
        Path through the air in the step [m].

    Returns
    -------
    Swung
        Deviation and rate at the end, and the mean deviation.
    """
    speed = rate - bend * off  # of the deviation itself
    total = damping + bend
    stiff = stiffness + damping * bend
    half = total / 2
    square = stiff - half * half
    pace = np.sqrt(np.maximum(np.abs(square), 1e-12))
    phase = pace * step
    sine, cosine = np.sin(phase), np.cos(phase)
    fade = np.exp(-half * step)
    if (grows := square < 0).any():
        # Beyond what the two can hold they are the same, and their decay goes into them.
        held = np.minimum(phase, _HELD)
        sine = np.where(grows, np.sinh(held), sine)
        cosine = np.where(grows, np.cosh(held), cosine)
        fade = np.where(grows, np.exp(phase - held - half * step), fade)
    s = fade * sine / pace
    c = fade * cosine + half * s
    p, q = _responses(s, c, stiff, total, step)
    push = -damping * turning
    new = c * off + s * speed + p * push
    new_speed = (c - total * s) * speed - stiff * s * off + s * push
    whole = (s + total * p) * off + p * speed + q * push
    mean = np.where(step > 0, whole / np.maximum(step, 1e-12), off)
    return Swung(new, new_speed + bend * new, mean)


def _responses(
    s: FloatArray,
    c: FloatArray,
    stiff: FloatArray,
    damping: FloatArray,
    step: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Return the first and second integral of the response to a kick, `s`."""
    slack = np.abs(stiff) * step**2 < _SLACK
    spring = np.where(slack, 1.0, stiff)
    p = (1 - c) / spring
    q = (step - s - damping * p) / spring
    if slack.any():
        free = damping * step < _SLACK
        brake = np.where(free, 1.0, damping)
        loose = np.where(free, step**2 / 2, (step - s) / brake)
        p = np.where(slack, loose, p)
        looser = np.where(free, step**3 / 6, (step**2 / 2 - loose) / brake)
        q = np.where(slack, looser, q)
    return p, q


class SwingingBody(NamedTuple):
    """What moves and turns ``n`` rockets without a margin in a step.

    Parameters
    ----------
    drag_area, lift_area, side_area : ndarray, shape (n,)
        As of `driftmap.trajectory.rocket.Rocket` and its stability, over the mass
        [m² kg⁻¹].
    turning : ndarray, shape (n,)
        Margin times `lift_area` of the rocket over its moment of inertia [m kg⁻¹].
    damping, jet : ndarray, shape (n,)
        Lift area times the squared arm of damping over the inertia [m² kg⁻¹]; flow of
        propellant times that arm over it [s⁻¹].
    push : ndarray, shape (n,)
        Thrust over mass [m s⁻²].
    """

    drag_area: FloatArray
    lift_area: FloatArray
    side_area: FloatArray
    turning: FloatArray
    damping: FloatArray
    jet: FloatArray
    push: FloatArray


def overturned(
    state: FloatArray,
    axis: FloatArray,
    turning: FloatArray,
    near: FloatArray,
    body: SwingingBody,
    step: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    r"""Follow rockets whose nose the air turns away, for one step, in small parts.

    No angle is taken as small: the normal force acts ahead of the centre of mass and
    turns the axis from the airstream,

    .. math:: \ddot{\mathbf e} = \frac{\rho\, C_{N\alpha} A\, d}{2 I}
              |\mathbf r \cdot \mathbf e|\, \mathbf r_\perp
              - \left(\frac{\rho V C_{N\alpha} A}{2} + \dot m\right) \frac{l^2}{I}
              \dot{\mathbf e}, \qquad d < 0,

    until it flies tail first or burns on as it tumbles. Drag is taken at the end of each
    part, which is stable however hard it brakes.

    Parameters
    ----------
    state : ndarray, shape (7, n)
        As `driftmap.trajectory.motion.Motion.rows`.
    axis, turning : ndarray, shape (3, n)
        Direction of the nose, and its rate along the path [m⁻¹].
    near : ndarray, shape (7, n)
        The air, from `driftmap.air.column.local_air`.
    body : Body
        What moves and turns them.
    step : ndarray, shape (n,)
        Time [s].

    Returns
    -------
    state, axis, turning : ndarray
        After the step.
    """
    state, part = state.copy(), step / _PARTS
    spin = turning * through_air(state, near)[2]
    for _ in range(_PARTS):
        east, north, speed, density = through_air(state, near)
        through = np.array([east, north, state[5]])
        half = density / 2
        along = np.einsum("ij,ij->j", through, axis)
        ahead = along * axis
        across = through - ahead
        crossing = np.sqrt(np.einsum("ij,ij->j", across, across))
        spin += part * (half * body.turning * np.abs(along)) * across
        spin /= 1 + part * (half * speed * body.damping + body.jet)
        drag = half * speed * body.drag_area
        side = half * (body.lift_area * np.abs(along) + body.side_area * crossing)
        kept = ahead / (1 + part * drag) + across / (1 + part * (drag + side))
        new = state[3:6] + kept - through + part * body.push * axis
        new[2] -= part * STANDARD_GRAVITY
        state[:3] += part / 2 * (state[3:6] + new)
        state[3:6] = new
        axis = axis + part * spin
        axis = axis / np.sqrt(np.einsum("ij,ij->j", axis, axis))
        spin -= np.einsum("ij,ij->j", spin, axis) * axis
    state[6] += step
    return state, axis, spin / np.maximum(through_air(state, near)[2], 1e-9)
