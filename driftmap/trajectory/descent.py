r"""The fall of bodies through layered air, with their own inertia.

A body is a point with mass and drag area in moving air,

.. math:: \dot{\mathbf v} = -\tfrac{1}{2 m}\,\rho\, C_D S\,|\mathbf v - \mathbf w|
          (\mathbf v - \mathbf w) - g \hat{\mathbf z}.

Two methods share the work. The one here steps in time (classic Runge-Kutta of order 4, each
body with its own step) while a body rises, turns over, or is far from the balance of weight
and drag. `driftmap.trajectory.layered_descent.sink` then takes whole layers of air at once:
for constant density and linear wind the fall has a closed form in the height fallen, however
stiff the balance.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from driftmap.air.column import SINGLE, AirColumn, local_air
from driftmap.core.checks import BoolArray, IntArray, Kept
from driftmap.core.errors import FlightPathError
from driftmap.core.units import STANDARD_GRAVITY
from driftmap.trajectory.layered_descent import sink
from driftmap.trajectory.motion import DragRise, Motion

_G: Final = STANDARD_GRAVITY
_STEP: Final = 0.9  # of a relaxation time; RK4 is stable to 1.39 of it
_LONGEST: Final = 1.0  # s; a body without drag must still meet its layers of wind
_BALANCED: Final = 0.1  # imbalance of drag and weight that may enter a layer
_LAYER: Final = 60.0  # m; the depth over which that imbalance is weighed
_MACH: Final = 0.05  # change of the Mach number over a step that the drag may rise in
_DEEPEST: Final = 100.0  # m; of a layer that one closed form may cross
_LEAST_DRAG: Final = 2e-8  # m² kg⁻¹; a body with less falls as this one does, within
# centimetres, and below it the forms of a layer divide what rounding leaves
_MOST_STEPS: Final = 5000  # a body that needs more is an error, not a result
_BLOCK: Final = 32768  # flown together: their arrays stay in the processor's cache
_THINNED: Final = 0.75  # of the bodies still under way: then the others are put aside


def fall(
    start: Motion,
    mass: ArrayLike,
    drag_area: ArrayLike,
    air: AirColumn,
    *,
    floor: ArrayLike = 0.0,
    rise: DragRise | None = None,
    who: IntArray | None = None,
    threads: int | None = None,
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
        The air of each body, ``n`` columns or one for all, or those that `who` names.
    floor : array_like, broadcast to shape (n,)
        Height above the site at which to stop; the ground when left out [m].
    rise : callable, optional
        Factor on the drag by Mach number, shape (n,) to shape (n,); 1 when left out.
    who : ndarray of int, shape (n,), optional
        Column of air of each body; in their order when left out.
    threads : int, optional
        Threads to fly on; all processors when left out.

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
    not so deep. All is reckoned in single precision, which moves 99 % of landings by less than
    a millimetre. Accuracy is measured in ``tests/benchmarks``: on a mix of canopies and
    ballistic bodies 99 % of landings lie within 0.5 m of DOP853 at 1e-10.
    """
    rows, drag = _prepared(start, mass, drag_area)
    n = rows.shape[1]
    stop = np.broadcast_to(np.asarray(floor, SINGLE), n)
    air, column = air.split(_DEEPEST).for_falls(), _column_of(air, who, n)

    def block(first: int) -> None:
        part = slice(first, first + _BLOCK)
        here = rows[:, part]
        _settle(here, drag[part], air, column[part], stop[part], rise=rise)
        falling = np.flatnonzero((here[5] < 0) & (here[2] > stop[part]))
        # The highest first: a layer passes over those that start below it.
        falling = falling[np.argsort(-here[2, falling])]
        down, sinking = falling + first, here[:, falling]
        sink(sinking, drag[down], air, column[down], stop[down], rise=rise)
        here[:, falling] = sinking

    starts = range(0, n, _BLOCK)
    if len(starts) > 1 and threads != 1:
        with ThreadPoolExecutor(threads or os.cpu_count()) as pool:
            list(pool.map(block, starts))
    else:
        for first in starts:
            block(first)
    return Motion(*rows.astype(float))


def coast(
    start: Motion,
    mass: ArrayLike,
    drag_area: ArrayLike,
    air: AirColumn,
    until: ArrayLike,
    *,
    rise: DragRise | None = None,
    who: IntArray | None = None,
) -> Motion:
    """Follow bodies to a moment, or to the ground when that comes first.

    Parameters
    ----------
    start : Motion, shape (n,)
        Where the bodies are, and how fast.
    mass, drag_area : array_like, broadcast to shape (n,)
        Body mass [kg], drag coefficient times reference area [m²].
    air : AirColumn
        As in `fall`.
    until : array_like, broadcast to shape (n,)
        Time on the clock of `start` [s]; a moment already past changes nothing.
    rise : callable, optional
        As in `fall`.
    who : ndarray of int, shape (n,), optional
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
    end = np.broadcast_to(np.asarray(until, SINGLE), n)
    column, ground = _column_of(air, who, n), np.zeros(n, SINGLE)
    air = air.for_falls()
    for first in range(0, n, _BLOCK):
        part = slice(first, first + _BLOCK)
        here = rows[:, part]
        _settle(
            here,
            drag[part],
            air,
            column[part],
            ground[part],
            until=end[part],
            rise=rise,
        )
    return Motion(*rows.astype(float))


def _prepared(
    start: Motion, mass: ArrayLike, drag_area: ArrayLike
) -> tuple[Kept, Kept]:
    """Check the bodies; give their state and drag over mass, the inverse of [kg m⁻²]."""
    rows = start.rows()
    for name, value in (("mass", mass), ("drag_area", drag_area)):
        column = np.asarray(value, dtype=float)
        if not (np.all(np.isfinite(column)) and np.all(column > 0)):
            raise ValueError(f"'{name}' must be positive and finite")
    if not np.all(np.isfinite(rows)) or np.any(rows[2] < 0):
        raise ValueError("'start' must be finite and not below the ground")
    drag = np.asarray(drag_area, float) / (2 * np.asarray(mass, float))
    drag = np.maximum(drag, _LEAST_DRAG).astype(SINGLE)
    return rows.astype(SINGLE), np.broadcast_to(drag, rows.shape[1])


def _column_of(air: AirColumn, who: IntArray | None, n: int) -> IntArray:
    """Return the column of each body."""
    if air.east.shape[1] == 1:
        return np.zeros(n, np.intp)
    return np.arange(n) if who is None else who


def _settle(  # noqa: PLR0915 - a kernel
    rows: Kept,
    drag: Kept,
    air: AirColumn,
    column: IntArray,
    stop: Kept,
    *,
    until: Kept | None = None,
    rise: DragRise | None = None,
) -> None:
    """Step bodies in time, in place: until each may fall by layers, or to a moment."""
    live, state = np.arange(rows.shape[1]), rows.copy()
    end = stop if until is None else until
    met: list[tuple[NDArray[Any], ...]] = []
    for _ in range(_MOST_STEPS):
        near = local_air(air, state[2], column)
        near[5:] *= drag  # density becomes the inverse of a stopping length
        flow = _flow(state, near)
        speed = _speed(flow)
        if rise is not None:
            sound = np.interp(state[2], air.height, air.sound).astype(SINGLE)
            steep = rise(speed / sound)
            near[5:] *= steep
        pull = near[5] * speed
        going = (state[2] > stop) | (state[5] > 0)
        if until is None:
            going &= ~_balanced(flow, near[5], pull)
        else:
            going &= state[6] < end
        under_way = np.count_nonzero(going)
        if under_way == 0:
            break
        if under_way < _THINNED * live.size:
            rows[:, live[~going]] = state[:, ~going]
            live, drag, column, stop, end, pull = (
                each[going] for each in (live, drag, column, stop, end, pull)
            )
            state, near, flow = state[:, going], near[:, going], flow[:, going]
            if rise is not None:
                speed, sound, steep = speed[going], sound[going], steep[going]
            going = np.ones(under_way, bool)
        step = _STEP / (pull + np.sqrt(_G * near[5]) + _STEP / _LONGEST)
        if rise is not None:  # held over a step at what it is in its middle
            slows = pull * speed + _G * flow[2] / np.maximum(speed, 1e-9)
            step = np.minimum(step, _MACH * sound / np.maximum(np.abs(slows), 1e-9))
            middle = np.maximum(speed - step / 2 * slows, 0.0)
            factor = rise(middle / sound) / steep
            near[5:] *= factor
            pull = pull * factor
        if until is not None:
            step = np.minimum(step, end - state[6])
        step *= going
        start = flow, _slowing(flow, near, pull)
        after = _runge_kutta(state, near, *start, step)
        # One that turns over below its floor has only the ground left to meet.
        floor = np.where(state[2] > stop, stop, 0.0)
        down = np.flatnonzero((after[2] <= floor) & (after[5] < 0) & going)
        if down.size:  # where each meets it is worked out for all of them at once
            met.append(
                tuple(
                    values[..., down]
                    for values in (live, state, near, *start, step, after, floor)
                )
            )
            after[2, down] = floor[down]
        state = after
    else:
        raise FlightPathError(
            f"'start' holds a body that is not down after {_MOST_STEPS} steps"
        )
    rows[:, live] = state
    _put_down(rows, met)


def _flow(state: Kept, near: Kept) -> Kept:
    """Velocity through the air where it was linearised, shape (3, n) [m s⁻¹]."""
    flow = state[3:6].copy()
    flow[:2] -= near[1:3]
    return np.asarray(flow)


def _speed(flow: Kept) -> Kept:
    east, north, up = flow
    return np.asarray(np.sqrt(east * east + north * north + up * up))


def _balanced(flow: Kept, k: Kept, pull: Kept) -> BoolArray:
    """Tell which bodies fall steadily enough, or with so little drag, to go by layers.

    What a layer takes as constant is the tilt of the drag against the vertical; the
    error of that grows with the imbalance and with the layer's depth in stopping lengths.
    """
    east, north, down = flow[0], flow[1], -flow[2]
    # Rising bodies divide by the floor here and are ruled out by the last line.
    tilt = (east * east + north * north) / np.maximum(down * down, 1e-12)
    imbalance = np.maximum(np.abs(1 - pull * down / _G), tilt)
    calm = np.minimum(1.0, k * _LAYER) * imbalance < _BALANCED
    return np.asarray(calm & (down > 0))


def _slowing(flow: Kept, near: Kept, pull: Kept) -> Kept:
    """Rate at which the velocity through the air falls off, shape (3, n) [m s⁻²]."""
    rate = pull * flow
    rate[:2] += near[3:5] * flow[2]  # the air changes on the way
    rate[2] += _G
    return np.asarray(rate)


def _runge_kutta(
    state: Kept, near: Kept, flow: Kept, slowing: Kept, step: Kept
) -> Kept:
    """Take one classic Runge-Kutta step of each body's own length.

    What is stepped is the velocity through the air and the height: nothing depends on
    where above the ground a body is.
    """

    def rate(flow: Kept, rise: Kept) -> Kept:
        return _slowing(flow, near, (near[5] + near[6] * rise) * _speed(flow))

    half, sixth = step / 2, step / 6
    flow2, rise2 = flow - half * slowing, half * flow[2]
    slowing2 = rate(flow2, rise2)
    flow3, rise3 = flow - half * slowing2, half * flow2[2]
    slowing3 = rate(flow3, rise3)
    flow4, rise4 = flow - step * slowing3, step * flow3[2]
    slowing4 = rate(flow4, rise4)
    way = sixth * (flow + 2 * (flow2 + flow3) + flow4)
    slower = sixth * (slowing + 2 * (slowing2 + slowing3) + slowing4)
    after = np.empty_like(state)
    after[:3] = state[:3] + way
    after[:2] += step * near[1:3] + near[3:5] * (sixth * (2 * (rise2 + rise3) + rise4))
    after[3:6] = flow - slower
    after[3:5] += near[1:3] + near[3:5] * way[2]
    after[6] = state[6] + step
    return after


def _put_down(rows: Kept, met: Sequence[tuple[NDArray[Any], ...]]) -> None:
    """Bring bodies onto their floor, in place, from the step in which each passed it.

    ``met``: of some bodies at a time which they are, where they began that step, its air,
    flow, slowing and length, where it led them, and the floor.
    """
    if not met:
        return
    each = (np.concatenate(values, axis=-1) for values in zip(*met, strict=True))
    who, before, near, flow, slowing, step, after, floor = each
    drop, v0, v1 = after[2] - before[2], before[5] * step, after[5] * step
    # Newton on the Hermite cubic from the far end: a body that still rises at the near
    # one passes the height twice, and the last time is wanted.
    part = np.ones_like(drop)
    for _ in range(9):
        c3, c2 = v0 + v1 - 2 * drop, 3 * drop - 2 * v0 - v1
        height = before[2] + part * (v0 + part * (c2 + part * c3)) - floor
        slope = v0 + part * (2 * c2 + 3 * c3 * part)
        part = np.clip(part - height / np.where(slope < 0, slope, -np.inf), 0.0, 1.0)
    landed = _runge_kutta(before, near, flow, slowing, part * step)
    landed[2] = floor
    rows[:, who] = landed
