r"""The fall of bodies through layered air, with their own inertia.

A body is a point with mass and drag area in moving air,

.. math:: \dot{\mathbf v} = -\tfrac{1}{2 m}\,\rho\, C_D S\,|\mathbf v - \mathbf w|
          (\mathbf v - \mathbf w) - g \hat{\mathbf z}.

Two methods share the work. `settle` steps in time (classic Runge-Kutta of order 4, each
body with its own step) while a body rises, turns over, or is far from the balance of
weight and drag. `sink` then takes whole layers of air at once: for constant density and
linear wind the fall has a closed form in the height fallen, however stiff the balance.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from driftmap.air.atmosphere import STANDARD_GRAVITY, FloatArray
from driftmap.air.column import AirColumn, local_air, through_air
from driftmap.errors import FlightPathError
from driftmap.trajectory.motion import Motion

BoolArray: TypeAlias = NDArray[np.bool_]
DragRise: TypeAlias = Callable[[FloatArray], FloatArray]

__all__ = ["coast", "fall"]

_G: Final = STANDARD_GRAVITY
_STEP: Final = 0.9  # of a relaxation time; RK4 is stable to 1.39 of it
_LONGEST: Final = 1.0  # s; a body without drag must still meet its layers of wind
_BALANCED: Final = 0.1  # imbalance of drag and weight that may enter a layer
_LAYER: Final = 60.0  # m; the depth over which that imbalance is weighed
_DEEPEST: Final = 100.0  # m; of a layer that one closed form may cross
_MOST_STEPS: Final = 5000  # a body that needs more is an error, not a result
_BLOCK: Final = (
    16384  # bodies flown together: their arrays stay in the processor's cache
)


def fall(
    start: Motion,
    mass: ArrayLike,
    drag_area: ArrayLike,
    air: AirColumn,
    *,
    floor: ArrayLike = 0.0,
    rise: DragRise | None = None,
) -> Motion:
    """Follow bodies down to a height.

    Parameters
    ----------
    start : Motion, shape (n,)
        Where the bodies are let go, and how fast; rising bodies rise first.
    mass : array_like, broadcast to shape (n,)
        Body mass [kg].
    drag_area : array_like, broadcast to shape (n,)
        Drag coefficient times reference area [m²].
    air : AirColumn
        The air of each body, ``n`` columns or one for all.
    floor : array_like, broadcast to shape (n,)
        Height above the site at which to stop; the ground when left out [m].
    rise : callable, optional
        Factor on the drag by Mach number, shape (n,) to shape (n,); 1 when left out.

    Returns
    -------
    Motion, shape (n,)
        State on the way down through `floor`; a body that falls from below its floor
        stays as it is.

    Raises
    ------
    ValueError
        If masses or drag areas are not positive and finite, a body is let go below the
        ground or rises above the column of air.

    Notes
    -----
    Left out: lift and glide, swing, wake effects, sloping ground, Earth rotation (under
    1 m over 3 km). Layers deeper than 100 m are split: what a layer takes as constant is
    not so deep. Accuracy is measured in ``tests/benchmarks``: on a mix of canopies and
    ballistic bodies 99 % of landings lie within 0.5 m of DOP853 at 1e-10.
    """
    rows, drag = _prepared(start, mass, drag_area)
    n = rows.shape[1]
    stop = np.broadcast_to(np.asarray(floor, float), n)
    air = _thin(air)

    def block(first: int) -> None:
        part = slice(first, first + _BLOCK)
        here = rows[:, part]
        own = _columns(air, part)
        _settle(here, drag[part], own, stop[part], rise=rise)
        _sink(here, drag[part], own, stop[part], rise=rise)

    starts = range(0, n, _BLOCK)
    if len(starts) > 1:
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            list(pool.map(block, starts))
    elif n:
        block(0)
    return Motion(*rows)


def coast(
    start: Motion,
    mass: ArrayLike,
    drag_area: ArrayLike,
    air: AirColumn,
    until: ArrayLike,
    *,
    rise: DragRise | None = None,
) -> Motion:
    """Follow bodies to a moment, or to the ground when that comes first.

    Parameters
    ----------
    start : Motion, shape (n,)
        Where the bodies are, and how fast.
    mass, drag_area : array_like, broadcast to shape (n,)
        Body mass [kg], drag coefficient times reference area [m²].
    air : AirColumn
        The air of each body, ``n`` columns or one for all.
    until : array_like, broadcast to shape (n,)
        Time on the clock of `start` [s]; a moment already past changes nothing.
    rise : callable, optional
        As in `fall`.

    Returns
    -------
    Motion, shape (n,)
        State at that time.

    Raises
    ------
    ValueError
        As `fall`.
    """
    rows, drag = _prepared(start, mass, drag_area)
    n = rows.shape[1]
    end = np.broadcast_to(np.asarray(until, float), n)
    _settle(rows, drag, air, np.zeros(n), until=end, rise=rise)
    return Motion(*rows)


def _prepared(
    start: Motion, mass: ArrayLike, drag_area: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Check the bodies; give their state and drag over mass, the inverse of [kg m⁻²]."""
    rows = start.rows()
    for name, value in (("mass", mass), ("drag_area", drag_area)):
        column = np.asarray(value, dtype=float)
        if not (np.all(np.isfinite(column)) and np.all(column > 0)):
            raise ValueError(f"'{name}' must be positive and finite")
    if not np.all(np.isfinite(rows)) or np.any(rows[2] < 0):
        raise ValueError("'start' must be finite and not below the ground")
    drag = np.asarray(drag_area, float) / (2 * np.asarray(mass, float))
    return rows, np.broadcast_to(drag, rows.shape[1])


def _thin(air: AirColumn) -> AirColumn:
    """Split layers too deep for one closed form; the air between levels stays linear."""
    gaps = np.diff(air.height)
    if gaps.size == 0 or gaps.max() <= _DEEPEST:
        return air
    parts = np.ceil(gaps / _DEEPEST).astype(int)
    low = np.repeat(np.arange(gaps.size), parts)
    step = np.concatenate([np.arange(n) / n for n in parts])
    low, step = np.append(low, gaps.size - 1), np.append(step, 1.0)

    def between(values: FloatArray) -> FloatArray:
        share = step.reshape(-1, *[1] * (values.ndim - 1))
        return np.asarray(values[low] * (1 - share) + values[low + 1] * share)

    return AirColumn(
        between(air.height),
        between(air.density),
        between(air.sound),
        between(air.east),
        between(air.north),
    )


def _columns(air: AirColumn, part: slice) -> AirColumn:
    """Cut out the columns of some bodies; one column serves them all."""
    if air.east.shape[1] == 1:
        return air
    return replace(air, east=air.east[:, part], north=air.north[:, part])


def _settle(
    rows: FloatArray,
    drag: FloatArray,
    air: AirColumn,
    stop: FloatArray,
    *,
    until: FloatArray | None = None,
    rise: DragRise | None = None,
) -> None:
    """Step bodies in time, in place: until each may fall by layers, or to a moment."""
    live = np.arange(rows.shape[1])
    state = rows.copy()
    for _ in range(_MOST_STEPS):
        near = local_air(air, state[2], live)
        near[5:] *= drag[live]  # density becomes the inverse of a stopping length
        if rise is not None:  # taken as constant over a step, as it is over a layer
            speed = through_air(state, near)[2]
            near[5:] *= rise(speed / np.interp(state[2], air.height, air.sound))
        going = (state[2] > stop[live]) | (state[5] > 0)
        if until is None:
            going &= ~_balanced(state, near)
        else:
            going &= state[6] < until[live]
        if not going.all():
            rows[:, live[~going]] = state[:, ~going]
            live, state, near = live[going], state[:, going], near[:, going]
            if live.size == 0:
                return
        step = _step_length(state, near)
        if until is not None:
            step = np.minimum(step, until[live] - state[6])
        after = _runge_kutta(state, near, step)
        # One that turns over below its floor has only the ground left to meet.
        floor = np.where(state[2] > stop[live], stop[live], 0.0)
        down = np.flatnonzero((after[2] <= floor) & (after[5] < 0))
        if down.size:
            part = _crossing(state[:, down], after[:, down], step[down], floor[down])
            after[:, down] = _runge_kutta(state[:, down], near[:, down], part)
            after[2, down] = floor[down]
        state = after
    raise FlightPathError(
        f"'start' holds a body that is not down after {_MOST_STEPS} steps"
    )


def _step_length(state: FloatArray, near: FloatArray) -> FloatArray:
    """Choose a time step from the relaxation time of the drag [s]."""
    _, _, speed, k = through_air(state, near)
    return _STEP / (k * speed + np.sqrt(_G * k) + _STEP / _LONGEST)


def _balanced(state: FloatArray, near: FloatArray) -> BoolArray:
    """Tell which bodies fall steadily enough, or with so little drag, to go by layers.

    What a layer takes as constant is the tilt of the drag against the vertical; the
    error of that grows with the imbalance and with the layer's depth in stopping lengths.
    """
    east, north, speed, k = through_air(state, near)
    down = -state[5]
    # Rising bodies divide by the floor here and are ruled out by the last line.
    tilt = (east * east + north * north) / np.maximum(down * down, 1e-12)
    imbalance = np.maximum(np.abs(1 - k * speed * down / _G), tilt)
    calm = np.minimum(1.0, k * _LAYER) * imbalance < _BALANCED
    return np.asarray(calm & (down > 0))


def _rate(state: FloatArray, near: FloatArray) -> FloatArray:
    """Time derivative of the first six rows, shape (6, n)."""
    east, north, speed, k = through_air(state, near)
    pull = k * speed
    rate = np.empty((6, east.size))
    rate[:3] = state[3:6]
    rate[3], rate[4], rate[5] = -pull * east, -pull * north, -pull * state[5] - _G
    return rate


def _runge_kutta(state: FloatArray, near: FloatArray, step: FloatArray) -> FloatArray:
    """Take one classic Runge-Kutta step of each body's own length."""
    moved = state[:6]
    k1 = _rate(moved, near)
    k2 = _rate(moved + 0.5 * step * k1, near)
    k3 = _rate(moved + 0.5 * step * k2, near)
    k4 = _rate(moved + step * k3, near)
    after = np.empty_like(state)
    after[:6] = moved + step / 6 * (k1 + 2 * (k2 + k3) + k4)
    after[6] = state[6] + step
    return after


def _crossing(
    before: FloatArray, after: FloatArray, step: FloatArray, stop: FloatArray
) -> FloatArray:
    """Time from `before` at which the height passes `stop` [s], by a cubic in time."""
    drop, v0, v1 = after[2] - before[2], before[5] * step, after[5] * step
    # Newton on the Hermite cubic from the far end: a body that still rises at the near
    # one passes the height twice, and the last time is wanted.
    part = np.ones_like(drop)
    for _ in range(9):
        c3, c2 = v0 + v1 - 2 * drop, 3 * drop - 2 * v0 - v1
        height = before[2] + part * (v0 + part * (c2 + part * c3)) - stop
        slope = v0 + part * (2 * c2 + 3 * c3 * part)
        part = np.clip(part - height / np.where(slope < 0, slope, -np.inf), 0.0, 1.0)
    return np.asarray(part * step)


def _sink(
    rows: FloatArray,
    drag: FloatArray,
    air: AirColumn,
    stop: FloatArray,
    *,
    rise: DragRise | None,
) -> None:
    r"""Carry falling bodies down layer by layer, in place.

    Within a layer density, shear and the tilt :math:`f = |\mathbf r| / u` of the drag are
    constant. With :math:`\kappa = K f` and fallen height `s` the speed of fall `u` obeys
    :math:`(u^2)' = 2 g - 2 \kappa u^2` and the sideways speed `q` through the air
    :math:`q' = -\kappa q + \sigma`; both are solved exactly, and so is the time. The way
    travelled sideways uses the mean of `q` over height and the centroid in time of the
    wind, exact for a steady fall and second order otherwise.
    """
    x, y, z, vx, vy, vz, t = rows
    u = -vz
    moving = (u > 0) & (z > stop)
    u[~moving] = 1.0  # any speed will do: such a body has no height to fall through
    top = z.max(initial=0.0)
    for i in range(air.height.size - 2, -1, -1):
        low, high = air.height[i], air.height[i + 1]
        if low >= top:
            continue
        s = np.minimum(z, high)
        above = s - low  # height of the entry over the layer's lower level
        s = np.where(moving, np.maximum(s - np.maximum(stop, low), 0.0), 0.0)
        k = drag * (0.5 * (air.density[i] + air.density[i + 1]))
        if rise is not None:
            k *= rise(u / (0.5 * (air.sound[i] + air.sound[i + 1])))
        shear_x, shear_y = (
            (w[i + 1] - w[i]) / (high - low) for w in (air.east, air.north)
        )
        wind_x, wind_y = air.east[i] + shear_x * above, air.north[i] + shear_y * above
        qx, qy = vx - wind_x, vy - wind_y
        u2, q2 = u * u, qx * qx + qy * qy
        half = np.exp(-k * s)  # of the squared speed, halfway down, before the tilt
        k *= np.sqrt(1 + q2 * half / (u2 * half + _G / k * (1 - half)))
        inverse = 1 / k
        ks = k * s
        decay = np.exp(-ks)
        terminal2 = _G * inverse
        after = np.sqrt(terminal2 + (u2 - terminal2) * decay * decay)
        terminal = np.sqrt(terminal2)
        took = (ks + np.log((terminal + after) / (terminal + u))) * (terminal / _G)
        lag = inverse * (1 - decay)
        qx1, qy1 = qx * decay + shear_x * lag, qy * decay + shear_y * lag
        slow = took / np.maximum(s, 1e-9) * inverse
        centre = s * (after + 2 * u) / (3 * (after + u))
        x += (wind_x - shear_x * centre) * took + (qx - qx1 + shear_x * s) * slow
        y += (wind_y - shear_y * centre) * took + (qy - qy1 + shear_y * s) * slow
        vx[:] = np.where(s > 0, wind_x - shear_x * s + qx1, vx)
        vy[:] = np.where(s > 0, wind_y - shear_y * s + qy1, vy)
        u, z[:] = after, z - s
        t += took
    vz[:] = np.where(moving, -u, vz)
    z[:] = np.where(moving, np.maximum(stop, 0.0), z)
