"""The steady part of a fall: whole layers of air at once, in closed form."""

from __future__ import annotations

from typing import Final

import numpy as np

from driftmap.air.column import AirColumn
from driftmap.core.checks import IntArray, Kept
from driftmap.core.units import STANDARD_GRAVITY
from driftmap.trajectory.motion import DragRise

_G: Final = STANDARD_GRAVITY
_LIFTED: Final = 0.7  # of the speed of sinking that rising air takes at most; assumed


def _held_up(lift: Kept, depth: Kept, took: Kept) -> Kept:
    """Time that rising air adds to the way through a layer, or sinking air takes [s].

    No body is held up more than `_LIFTED` of its sinking: it drifts out of what lifts it.
    """
    share = np.minimum(lift * took / np.maximum(depth, 1e-9), _LIFTED)
    return np.asarray(took * share / (1 - share))


def sink(  # noqa: PLR0915 - a kernel
    rows: Kept,
    drag: Kept,
    air: AirColumn,
    column: IntArray,
    stop: Kept,
    *,
    rise: DragRise | None,
) -> None:
    r"""Carry falling bodies, the highest first, down layer by layer, in place.

    Within a layer density, shear and the tilt :math:`f = |\mathbf r| / u` of the drag are
    constant. With :math:`\kappa = K f` and fallen height `s` the speed of fall `u` obeys
    :math:`(u^2)' = 2 g - 2 \kappa u^2` and the sideways speed `q` through the air
    :math:`q' = -\kappa q + \sigma`; both are solved exactly, and so is the time. The way
    travelled sideways uses the mean of `q` over height and the centroid in time of the
    wind, exact for a steady fall and second order otherwise.

    Parameters
    ----------
    rows : ndarray, shape (7, n)
        As `driftmap.trajectory.motion.Motion.rows`; changed in place.
    drag : ndarray, shape (n,)
        Drag area over twice the mass [m² kg⁻¹].
    air : AirColumn
        The air, in layers not too deep to be held constant.
    column : ndarray of int, shape (n,)
        Column of air of each body.
    stop : ndarray, shape (n,)
        Height above the site at which each ends [m].
    rise : callable or None
        Factor on the drag by Mach number.
    """
    x, y, z, vx, vy, vz, t = rows
    u, start = -vz, -z
    # Plain numbers, beside which arrays keep their precision.
    height, density, sound = (
        levels.tolist() for levels in (air.height, air.density, air.sound)
    )
    for i in range(len(height) - 2, -1, -1):
        low, high = height[i], height[i + 1]
        # Those that start above its lower level.
        n = int(start.searchsorted(start.dtype.type(-low)))
        if n == 0:
            continue
        floor, one = np.maximum(stop[:n], low), column[:n]
        s = np.minimum(z[:n], high)
        above = s - low  # height of the entry over the layer's lower level
        s = np.maximum(s - floor, 0.0)
        k = drag[:n] * (0.5 * (density[i] + density[i + 1]))
        u0 = u[:n]
        if rise is not None:
            k *= rise(u0 / (0.5 * (sound[i] + sound[i + 1])))
        wind_x, wind_y = air.east[i].take(one), air.north[i].take(one)
        shear_x = (air.east[i + 1].take(one) - wind_x) / (high - low)
        shear_y = (air.north[i + 1].take(one) - wind_y) / (high - low)
        wind_x += shear_x * above
        wind_y += shear_y * above
        qx, qy = vx[:n] - wind_x, vy[:n] - wind_y
        u2, q2 = u0 * u0, qx * qx + qy * qy
        # What is gone halfway down of the squared speed, before the tilt.
        gone = -np.expm1(-k * s)
        k *= np.sqrt(1 + q2 * (1 - gone) / (u2 * (1 - gone) + _G / k * gone))
        ks = k * s
        gone = -np.expm1(-ks)
        decay, lag, terminal2 = 1 - gone, gone / k, _G / k
        after = np.sqrt(u2 * decay * decay + terminal2 * (gone * (1 + decay)))
        terminal = np.sqrt(terminal2)
        took = (ks + np.log1p((after - u0) / (terminal + u0))) * (terminal / _G)
        qx1, qy1 = qx * decay + shear_x * lag, qy * decay + shear_y * lag
        slow = took / (np.maximum(s, 1e-9) * k)
        centre, left = s * (after + 2 * u0) / (3 * (after + u0)), s - lag
        x[:n] += (wind_x - shear_x * centre) * took
        x[:n] += (qx * gone + shear_x * left) * slow
        y[:n] += (wind_y - shear_y * centre) * took
        y[:n] += (qy * gone + shear_y * left) * slow
        vx[:n] = np.where(s > 0, wind_x - shear_x * s + qx1, vx[:n])
        vy[:n] = np.where(s > 0, wind_y - shear_y * s + qy1, vy[:n])
        u[:n] = after
        z[:n] -= s
        t[:n] += took
        if air.up is not None:
            lift = (air.up[i].take(one) + air.up[i + 1].take(one)) / 2
            longer = _held_up(lift, s, took)
            x[:n] += (wind_x - shear_x * (s / 2)) * longer
            y[:n] += (wind_y - shear_y * (s / 2)) * longer
            t[:n] += longer
    vz[:], z[:] = -u, np.maximum(stop, 0.0)
