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

from driftmap.air.atmosphere import FloatArray

__all__ = ["Swung", "swing"]

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
    if (grows := square < 0).any():
        sine = np.where(grows, np.sinh(phase), sine)
        cosine = np.where(grows, np.cosh(phase), cosine)
    fade = np.exp(-half * step)
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
    """Give the first and second integral of the response to a kick, `s`."""
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
