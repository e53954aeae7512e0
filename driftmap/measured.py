r"""Thrust and drag of a flight that an altimeter recorded.

The equations of `driftmap.vertical` are fitted to the heights: lift-off, burn time, the
thrust at ten shares of the burn and one drag coefficient. Nothing is differentiated, so
an altimeter's noise of a metre or two does not drown the acceleration. The coast decides
the drag, the climb to its start the impulse. The loss grows slower than the square, so
that the pressure spike of an ejection charge weighs little.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from driftmap.atmosphere import STANDARD_GRAVITY, FloatArray
from driftmap.checks import checked
from driftmap.vertical import SHARE_WEIGHTS, SHARES, Body, Guess, Track, climb

__all__ = ["Inferred", "Record", "infer"]

_G: Final = STANDARD_GRAVITY
_SPIKE: Final = 0.7  # s; running median that passes over a pressure spike
_ON_PAD: Final = 10.0  # s before lift-off that set the zero
_MOST_POINTS: Final = 400  # a denser way up is averaged down to these
_FEWEST_POINTS: Final = 15
_LEAST_RISE: Final = 20.0  # m; less cannot be told from the altimeter's noise
_DRAG: Final = (0.02, 5.0)  # bounds of the drag coefficient
_SOFT: Final = 2.0  # standard deviations beyond which a miss weighs less
_ROUGH: Final = 0.4  # assumed: second difference of thrust over its mean


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """What an altimeter wrote down.

    Parameters
    ----------
    time : array_like, shape (r,)
        Its clock, not decreasing [s].
    height : array_like, shape (r,)
        Height over its zero [m].
    speed : array_like, shape (r,), optional
        Upward speed [m s⁻¹].

    Raises
    ------
    ValueError
        If shapes differ, a number is not finite, or time goes back.
    """

    time: FloatArray
    height: FloatArray
    speed: FloatArray | None = None

    def __post_init__(self) -> None:
        for name in ("time", "height", "speed"):
            value = getattr(self, name)
            if value is None:
                continue
            column = np.array(checked(name, value))
            if column.shape != np.shape(self.time) or column.ndim != 1:
                raise ValueError("'time', 'height' and 'speed' must be of one length")
            column.setflags(write=False)
            object.__setattr__(self, name, column)
        if np.any(np.diff(self.time) < 0):
            raise ValueError("'time' must not go back")


@dataclass(frozen=True, slots=True, eq=False)
class Inferred:
    """What a record tells of a flight.

    Parameters
    ----------
    times, thrusts : ndarray, shape (k,)
        Thrust curve from ignition [s], [N].
    impulse, impulse_spread : float
        Total impulse and one standard deviation [N s].
    drag, drag_spread : float
        Drag coefficient on the cross-section and one standard deviation.
    lift_off : float
        Ignition on the altimeter's clock [s].
    apogee, apogee_time : float
        Height of apogee above the pad [m] and time to it from ignition [s].
    misfit : float
        Root mean square of what the fitted flight misses the heights by [m].
    """

    times: FloatArray
    thrusts: FloatArray
    impulse: float
    impulse_spread: float
    drag: float
    drag_spread: float
    lift_off: float
    apogee: float
    apogee_time: float
    misfit: float


def infer(record: Record, body: Body, height_spread: float) -> Inferred:
    """Find the thrust curve and the drag coefficient that explain a record.

    Parameters
    ----------
    record : Record
        What the altimeter wrote down, from before lift-off to after apogee.
    body : Body
        The rocket that carried it.
    height_spread : float
        One standard deviation of all heights together, as a share.

    Returns
    -------
    Inferred
        Thrust and drag.

    Raises
    ------
    ValueError
        If the record does not show one rise to an apogee, or no rocket of this mass and
        cross-section flies like it.

    Notes
    -----
    The flight counts as straight up in still air: lean and wind appear as drag. Errors
    of neighbouring samples count as independent, so the fit's own share of the spread is
    a lower bound; `height_spread` is added to it in quadrature.
    """
    way_up = _way_up(record)
    start = _first_guess(way_up, body)
    rough = _Fit(way_up, body, start, noise=1.0, speed_noise=None).solved()
    fit = _Fit(way_up, body, rough.guess(), *rough.noises()).solved()
    _check(fit)
    return _told(fit, height_spread)


@dataclass(frozen=True, slots=True, eq=False)
class _WayUp:
    """The record from the pad to apogee, without spikes, zero on the pad."""

    time: FloatArray
    height: FloatArray
    speed: FloatArray | None
    lift_off: float


def _way_up(record: Record) -> _WayUp:
    """Cut out the way up, and check that it is one."""
    keep = _without_spikes(record.time, record.height)
    time, height = record.time[keep], record.height[keep]
    if time.size < _FEWEST_POINTS:
        raise ValueError(f"holds {time.size} points; needs {_FEWEST_POINTS} or more")
    smooth = _running_median(time, height)
    top = int(smooth.argmax())
    low = float(np.median(height[: min(5, top + 1)]))
    rise = smooth[top] - low
    if rise < _LEAST_RISE:
        raise ValueError(
            f"never rises {_LEAST_RISE:.0f} m above its start (most is {rise:.1f} m)"
        )
    near_pad = smooth[: top + 1] <= low + max(0.02 * rise, 3.0)
    first = int(np.flatnonzero(near_pad)[-1]) if near_pad.any() else 0
    zero, waited = _pad_level(time, height, first)
    if not waited and abs(height[0]) > max(0.03 * rise, 10.0):
        raise ValueError(
            f"begins {height[0]:.0f} m up; it must begin on the pad, best 1 s before "
            "lift-off"
        )
    if np.median(height[-3:]) > smooth[top] - max(0.01 * rise, 3.0):
        raise ValueError(
            "shows no apogee: it must go on until the rocket has come down some metres "
            "from its highest point"
        )
    part = np.flatnonzero((time >= time[first] - 2.0) & (time <= time[top]))
    if np.count_nonzero(part > first) < _FEWEST_POINTS:
        raise ValueError(
            f"holds {np.count_nonzero(part > first)} points on the way up; needs "
            f"{_FEWEST_POINTS} or more"
        )
    speed = None if record.speed is None else record.speed[keep][part]
    return _WayUp(*_averaged(time[part], height[part] - zero, speed), time[first])


def _pad_level(time: FloatArray, height: FloatArray, first: int) -> tuple[float, bool]:
    """Give the height that the record calls the pad, and whether it waited there."""
    before = (time <= time[first] - 0.5) & (time >= time[first] - _ON_PAD)
    if np.count_nonzero(before) < 5:
        return 0.0, False  # the altimeter's own zero
    return float(np.median(height[before])), True


def _running_median(time: FloatArray, height: FloatArray) -> FloatArray:
    """Smooth over `_SPIKE` seconds; a steady rise passes unchanged."""
    from scipy.ndimage import median_filter  # noqa: PLC0415 (slow to import)

    step = float(np.median(np.diff(time)))
    half = int(np.clip(_SPIKE / 2 / max(step, 1e-6), 2, 200))
    return np.asarray(median_filter(height, 2 * half + 1, mode="nearest"))


def _without_spikes(time: FloatArray, height: FloatArray) -> FloatArray:
    """Tell which samples lie within six deviations of the running median."""
    if time.size < _FEWEST_POINTS:
        return np.ones(time.size, bool)
    off = np.abs(height - _running_median(time, height))
    return np.asarray(off <= 6 * 1.4826 * np.median(off) + 3.0)


def _averaged(
    time: FloatArray, height: FloatArray, speed: FloatArray | None
) -> tuple[FloatArray, FloatArray, FloatArray | None]:
    """Average neighbours until few enough points are left."""
    starts = np.unique(np.linspace(0, time.size, _MOST_POINTS + 1).astype(int)[:-1])
    size = np.diff(np.append(starts, time.size))

    def mean(column: FloatArray) -> FloatArray:
        return np.asarray(np.add.reduceat(column, starts) / size)

    return mean(time), mean(height), None if speed is None else mean(speed)


def _first_guess(way: _WayUp, body: Body) -> Guess:
    """Guess from the smoothed speed: the burn ends where it is greatest."""
    from scipy.ndimage import gaussian_filter1d  # noqa: PLC0415 (slow to import)

    time = np.linspace(way.time[0], way.time[-1], 400)
    step = time[1] - time[0]
    wide = min(0.2, 0.02 * (way.time[-1] - way.lift_off)) / step
    smooth = gaussian_filter1d(np.interp(time, way.time, way.height), max(wide, 1.0))
    speed = np.gradient(smooth, step)
    fastest = int(speed.argmax())
    burn = max(time[fastest] - way.lift_off, 0.1)
    thrust = body.mass * (speed[fastest] / burn + _G)
    return Guess(
        np.array([way.lift_off]),
        np.array([burn]),
        np.array([0.5]),
        np.full((SHARES.size, 1), max(thrust, body.mass * _G)),
    )


class _Fit:
    """A fit under way: parameters are lift-off, ln burn, ln drag, thrust over its guess."""

    def __init__(
        self,
        way: _WayUp,
        body: Body,
        start: Guess,
        noise: float,
        speed_noise: float | None,
    ) -> None:
        self.way, self.body = way, body
        self.noise, self.speed_noise = noise, speed_noise
        self.unit = float(np.mean(start.thrust))
        first = [start.lift_off, np.log(start.burn_time), np.log(start.drag)]
        self.p = np.concatenate([*first, start.thrust[:, 0] / self.unit])
        self.free = np.ones(self.p.size, bool)

    def guess(self, p: FloatArray | None = None) -> Guess:
        """Read parameters, shape (3 + k, n) or (3 + k,)."""
        q = self.p if p is None else p
        q = q.reshape(len(q), -1)
        return Guess(q[0], np.exp(q[1]), np.exp(q[2]), q[3:] * self.unit)

    def track(self, p: FloatArray | None = None) -> Track:
        """Fly parameters."""
        return climb(self.guess(p), self.body, float(self.way.time[-1]) + 2.0)

    def misses(self, p: FloatArray) -> FloatArray:
        """Give what is to be small, shape (rows, n)."""
        way = self.way
        height, speed = self.track(p).at(way.time)
        rows = [(height - way.height[:, None]) / self.noise]
        if way.speed is not None and self.speed_noise is not None:
            rows.append((speed - way.speed[:, None]) / self.speed_noise)
        thrust = p.reshape(len(p), -1)[3:]
        rows.append(np.diff(thrust, 2, axis=0) / thrust.mean(axis=0) / _ROUGH)
        # A trial step may leave the range of the numbers: then it is only very bad.
        return np.clip(np.nan_to_num(np.concatenate(rows), nan=1e6), -1e6, 1e6)

    def slopes(self, p: FloatArray) -> FloatArray:
        """Give the change of the misses with each parameter, all flown at once."""
        nudge = 1e-5
        base = p[:, None] + nudge * np.eye(p.size, p.size + 1, 1)
        found = self.misses(base)
        return np.asarray((found[:, 1:] - found[:, :1]) / nudge)

    def solved(self) -> _Fit:
        """Find the parameters."""
        from scipy.optimize import least_squares  # noqa: PLC0415 (slow to import)

        k = SHARES.size
        long = np.log(0.95 * max(self.way.time[-1] - self.way.lift_off, 0.2))
        low = np.array([self.p[0] - 1.5, np.log(0.03), np.log(_DRAG[0]), *[0.0] * k])
        high = np.array([self.p[0] + 1.0, long, np.log(_DRAG[1]), *[20.0] * k])
        with np.errstate(all="ignore"):
            found: Any = least_squares(
                lambda p: self.misses(p)[:, 0],
                np.clip(self.p, low + 1e-6, high - 1e-6),
                jac=self.slopes,
                bounds=(low, high),
                x_scale="jac",
                loss="soft_l1",
                f_scale=_SOFT,
                max_nfev=60,
            )
        self.p = np.asarray(found.x)
        self.free = np.minimum(self.p - low, high - self.p) > 1e-4
        return self

    def noises(self) -> tuple[float, float | None]:
        """Measure the noise of heights and speeds by the misses."""
        height, speed = self.track().at(self.way.time)
        off = height[:, 0] - self.way.height
        noise = max(1.4826 * float(np.median(np.abs(off))), 0.05)
        if self.way.speed is None:
            return noise, None
        slip = np.median(np.abs(speed[:, 0] - self.way.speed))
        return noise, max(1.4826 * float(slip), 0.05)

    def spread(self, name: str, height_spread: float) -> float:
        """Give one standard deviation of the logarithm of impulse or drag."""
        weight = 1 / (1 + (self.misses(self.p)[:, 0] / _SOFT) ** 2) ** 0.25
        slopes = self.slopes(self.p)[:, self.free] * weight[:, None]
        scaled = np.zeros(weight.size)
        scaled[: self.way.height.size] = self.way.height / self.noise
        if self.way.speed is not None and self.speed_noise is not None:
            end = 2 * self.way.height.size
            scaled[self.way.height.size : end] = self.way.speed / self.speed_noise
        toward = self.toward(name)[self.free]
        back = toward @ np.linalg.pinv(slopes)
        return float(np.hypot(np.linalg.norm(back), back @ (scaled * weight) * height_spread))

    def toward(self, name: str) -> FloatArray:
        """Give the change of the logarithm of impulse or drag with each parameter."""
        if name == "drag":
            return np.eye(self.p.size)[2]
        mean = SHARE_WEIGHTS @ self.p[3:]
        return np.concatenate([[0.0, 1.0, 0.0], SHARE_WEIGHTS / mean])


def _misfit(fit: _Fit) -> float:
    height, _ = fit.track().at(fit.way.time)
    return float(np.sqrt(np.mean((height[:, 0] - fit.way.height) ** 2)))


def _check(fit: _Fit) -> None:
    """Refuse a fit that does not explain the record."""
    rise, miss = float(fit.way.height.max()), _misfit(fit)
    most = 0.02 * rise + 3.0
    if not miss <= most:
        raise ValueError(
            "does not look like one rocket going straight up: the nearest such flight "
            f"misses it by {miss:.1f} m (accepted up to {most:.1f} m)"
        )
    drag = float(fit.guess().drag[0])
    if not 1.01 * _DRAG[0] < drag < 0.99 * _DRAG[1]:
        raise ValueError(
            f"asks for a drag coefficient of {drag:.2g}; check the unit of the heights, "
            "airframe.mass and airframe.diameter"
        )
    fastest, last = float(fit.track().mach.max()), fit.body.fastest
    if fastest > last:
        raise ValueError(
            f"reaches Mach {fastest:.2f}; the drag is known up to Mach {last:g}"
        )


def _told(fit: _Fit, height_spread: float) -> Inferred:
    guess, track = fit.guess(), fit.track()
    top = int(track.height[:, 0].argmax())
    late = np.linspace(*track.time[[max(top - 1, 0), min(top + 1, len(track.time) - 1)], 0], 201)
    height = track.at(late)[0][:, 0]
    impulse, drag = float(guess.impulse()[0]), float(guess.drag[0])
    return Inferred(
        times=SHARES * guess.burn_time[0],
        thrusts=guess.thrust[:, 0],
        impulse=impulse,
        impulse_spread=impulse * fit.spread("impulse", height_spread),
        drag=drag,
        drag_spread=drag * fit.spread("drag", height_spread),
        lift_off=float(guess.lift_off[0]),
        apogee=float(height.max()),
        apogee_time=float(late[height.argmax()] - guess.lift_off[0]),
        misfit=_misfit(fit),
    )
