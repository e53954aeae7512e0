r"""Thrust and drag of a flight that an altimeter recorded.

The equations of `driftmap.rocket.vertical_flight` are fitted to the heights: lift-off, burn
time, the thrust at ten shares of the burn and one drag coefficient. Nothing is differentiated,
so an altimeter's noise of a metre or two does not drown the acceleration. The coast decides
the drag, the climb to its start the impulse; the shape of the thrust is held smooth and even
by two weak, assumed weights, for a coarse record cannot tell it. The loss grows slower than
the square, so that the pressure spike of an ejection charge weighs little.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from driftmap.core.checks import FloatArray
from driftmap.core.units import STANDARD_GRAVITY
from driftmap.rocket.altimeter_record import Record, WayUp, cut_way_up
from driftmap.rocket.fields import Uncertain
from driftmap.rocket.vertical_flight import (
    BURN_SHARES,
    HIGHEST_AIR,
    Climber,
    Guess,
    Track,
    climb_up,
)

_G: Final = STANDARD_GRAVITY
_DRAG: Final = (0.02, 5.0)  # bounds of the drag coefficient
_SOFT: Final = 2.0  # standard deviations beyond which a miss weighs less
_DRAG_SPREAD: Final = 0.1  # of a drag coefficient given without one; assumed
_MOST_DRAG_SPREAD: Final = 0.2  # more, and draws could fall below zero
_BEST_MOTOR: Final = 450.0  # s; specific impulse no chemical motor passes, assumed
_MOST_MISS: Final = (3.0, 0.005)  # m, and share of apogee; assumed
_ROUGH: Final = 0.4  # assumed: second difference of thrust over its mean
_UNEVEN: Final = 0.7  # assumed: thrust over its mean, less 1
_BURN_SPREAD: Final = (0.2, 0.35)  # least and most, of the burn time; assumed
_BEGINS: Final = 3.0  # readings in which none tells how thrust begins; assumed


@dataclass(frozen=True, slots=True, eq=False)
class Inferred:
    """What a record tells of a flight.

    Parameters
    ----------
    times, thrusts : ndarray, shape (k,)
        Thrust curve from ignition [s], [N].
    impulse, impulse_spread : float
        Total impulse [N s], and the standard deviation that spreads the apogee by that of
        the heights.
    drag, drag_spread : float
        Drag coefficient on the cross-section and one standard deviation.
    burn_spread : float
        One standard deviation of the burn time [s], so wide that the speed off the rail is
        covered: heights tell impulse and drag, and less how thrust begins.
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
    burn_spread: float
    lift_off: float
    apogee: float
    apogee_time: float
    misfit: float


def infer(
    record: Record, body: Climber, height_spread: float, drag: Uncertain | None = None
) -> Inferred:
    """Find the thrust curve and the drag coefficient that explain a record.

    ``record``: what the altimeter wrote down, from before lift-off to after apogee;
    ``body``: the rocket that carried it; ``height_spread``: one standard deviation of
    all heights together, as a share; ``drag``: what is known of the drag coefficient
    beforehand; its spread is 10 % when None.

    Raises `ValueError` if the record does not show one rise to an apogee, or no rocket
    of this mass and cross-section flies like it.

    The flight counts as straight up in still air: lean and wind appear as drag. The
    drag's spread holds the fit's own, which takes errors of neighbouring samples as
    independent, and what heights wrong by `height_spread` would do to it.
    """
    way_up = cut_way_up(record)
    start = _first_guess(way_up, body)
    rough = _Fit(way_up, body, start, drag).solved()
    fit = _Fit(way_up, body, rough.guess(), drag, *rough.noises()).solved()
    _check_misses(fit)
    found = _told(fit, height_spread)
    _check(fit, found)
    return found


def _first_guess(way: WayUp, body: Climber) -> Guess:
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
        np.full((BURN_SHARES.size, 1), max(thrust, body.mass * _G)),
    )


class _Fit:
    """A fit under way: parameters are lift-off, ln burn, ln drag, thrust over its guess."""

    def __init__(
        self,
        way: WayUp,
        body: Climber,
        start: Guess,
        known: Uncertain | None,
        noise: float = 1.0,
        speed_noise: float | None = None,
    ) -> None:
        self.way, self.body, self.known = way, body, known
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
        return climb_up(self.guess(p), self.body, float(self.way.time[-1]) + 2.0)

    def misses(self, p: FloatArray) -> FloatArray:
        """Return what is to be small, shape (rows, n)."""
        way = self.way
        height, speed = self.track(p).at(way.time)
        rows = [(height - way.height[:, None]) / self.noise]
        if way.speed is not None and self.speed_noise is not None:
            rows.append((speed - way.speed[:, None]) / self.speed_noise)
        q = p.reshape(len(p), -1)
        shape = q[3:] / q[3:].mean(axis=0)
        rows += [np.diff(shape, 2, axis=0) / _ROUGH, (shape - 1) / _UNEVEN]
        if self.known is not None:
            value, spread = self.known.value, self.known.spread
            share = _DRAG_SPREAD if spread is None else max(spread / value, 1e-3)
            rows.append((q[2:3] - np.log(value)) / share)
        # A trial step may leave the range of the numbers: then it is only very bad.
        return np.clip(np.nan_to_num(np.concatenate(rows), nan=1e6), -1e6, 1e6)

    def slopes(self, p: FloatArray) -> FloatArray:
        """Return the change of the misses with each parameter, all flown at once."""
        nudge = 1e-5
        base = p[:, None] + nudge * np.eye(p.size, p.size + 1, 1)
        found = self.misses(base)
        return np.asarray((found[:, 1:] - found[:, :1]) / nudge)

    def solved(self) -> _Fit:
        """Find the parameters."""
        from scipy.optimize import least_squares  # noqa: PLC0415 (slow to import)

        k = BURN_SHARES.size
        long = np.log(0.95 * max(self.way.time[-1] - self.way.lift_off, 0.2))
        # The clock starts when thrust carries the weight: before that, nothing shows it.
        weight = self.body.mass * _G / self.unit
        thrust = [weight, *[0.0] * (k - 1)]
        low = np.array([self.p[0] - 1.5, np.log(0.03), np.log(_DRAG[0]), *thrust])
        high = np.array([self.p[0] + 1.0, long, np.log(_DRAG[1]), *[20.0] * k])
        fit: Any = least_squares  # which also takes a loss that gives rows
        with np.errstate(all="ignore"):
            found = fit(
                lambda p: self.misses(p)[:, 0],
                np.clip(self.p, low + 1e-6, high - 1e-6),
                jac=self.slopes,
                bounds=(low, high),
                x_scale="jac",
                loss=self.loss,
                f_scale=_SOFT,
                ftol=1e-6,
                xtol=1e-6,
                max_nfev=60,
            )
        self.p = np.asarray(found.x)
        self.free = np.minimum(self.p - low, high - self.p) > 1e-4
        return self

    def loss(self, squares: FloatArray) -> FloatArray:
        """Return the loss of squared misses and its two slopes: soft for what was measured.

        What was known beforehand counts in full, or a record could overrule it.
        """
        root = np.sqrt(1 + squares)
        found = np.stack([2 * (root - 1), 1 / root, -0.5 / root**3])
        known = slice(self.rows_measured, None)
        found[:, known] = np.array([[0.0], [1.0], [0.0]])
        found[0, known] = squares[known]
        return found

    @property
    def rows_measured(self) -> int:
        """Number of misses that come from the record, which stand first."""
        with_speed = self.way.speed is not None and self.speed_noise is not None
        return self.way.time.size * (2 if with_speed else 1)

    def noises(self) -> tuple[float, float | None]:
        """Measure the noise of heights and speeds by the misses."""
        height, speed = self.track().at(self.way.time)
        off = height[:, 0] - self.way.height
        noise = max(1.4826 * float(np.median(np.abs(off))), 0.05)
        if self.way.speed is None:
            return noise, None
        slip = np.median(np.abs(speed[:, 0] - self.way.speed))
        return noise, max(1.4826 * float(slip), 0.05)

    def drag_spread(self, height_spread: float) -> float:
        """Give one standard deviation of the drag coefficient as a share of it."""
        miss = self.misses(self.p)[:, 0]
        weight = np.sqrt(self.loss((miss / _SOFT) ** 2)[1])
        slopes = self.slopes(self.p)[:, self.free] * weight[:, None]
        stretched = np.zeros(miss.size)  # what heights and speeds 100 % larger would do
        way, r = self.way, self.way.time.size
        stretched[:r] = way.height / self.noise
        if way.speed is not None and self.speed_noise is not None:
            stretched[r : 2 * r] = way.speed / self.speed_noise
        response = np.linalg.pinv(slopes)[np.flatnonzero(self.free) == 2]
        moved = float((response @ (stretched * weight)).sum()) * height_spread
        return float(np.hypot(np.linalg.norm(response), moved))

    def height_response(self) -> float:
        """Return the change of ln apogee height with ln impulse, burn time kept."""
        p = np.stack([self.p, self.p], axis=1)
        p[3:, 1] *= 1.01
        low, high = self.track(p).height.max(axis=0)
        return float(np.log(high / low) / np.log(1.01))


def _misfit(fit: _Fit) -> float:
    height, _ = fit.track().at(fit.way.time)
    return float(np.sqrt(np.mean((height[:, 0] - fit.way.height) ** 2)))


def _check_misses(fit: _Fit) -> None:
    """Refuse a fit that does not explain the record."""
    rise = float(fit.way.height.max())
    miss, most = _misfit(fit), _MOST_MISS[0] + _MOST_MISS[1] * rise
    if not (miss <= most and fit.track().height.max() > 0.8 * rise):
        raise ValueError(
            "does not look like one rocket going straight up: the nearest such flight "
            f"misses it by {miss:.1f} m (accepted up to {most:.1f} m)"
        )


def _check(fit: _Fit, found: Inferred) -> None:
    """Refuse what no rocket can be."""
    if not 1.01 * _DRAG[0] < found.drag < 0.99 * _DRAG[1]:
        raise ValueError(
            f"asks for a drag coefficient of {found.drag:.2g}; check the unit of the "
            "heights, airframe.mass and airframe.diameter"
        )
    if not found.drag_spread <= _MOST_DRAG_SPREAD * found.drag:
        raise ValueError(
            f"leaves the drag coefficient open ({found.drag:.2g} +/- "
            f"{found.drag_spread:.2g}): too slow or too coarse a flight; state "
            "airframe.drag_coefficient beside it"
        )
    strength = found.impulse / (fit.body.propellant * _G)
    if strength > _BEST_MOTOR:
        raise ValueError(
            f"asks {found.impulse:.0f} N s of {fit.body.propellant:g} kg of propellant, "
            "more than any motor gives; check the unit of the heights and "
            "measured.propellant_mass"
        )
    if found.apogee + fit.body.altitude > HIGHEST_AIR:
        raise ValueError(f"rises above the modelled air, {HIGHEST_AIR:,.0f} m")
    fastest, last = float(fit.track().mach.max()), fit.body.fastest
    if fastest > last:
        raise ValueError(
            f"reaches Mach {fastest:.2f}; the drag is known up to Mach {last:g}"
        )


def _told(fit: _Fit, height_spread: float) -> Inferred:
    guess, track = fit.guess(), fit.track()
    top = int(track.height[:, 0].argmax())
    start, end = track.time[[max(top - 1, 0), min(top + 1, len(track.time) - 1)], 0]
    late = np.linspace(float(start), float(end), 201)
    height = track.at(late)[0][:, 0]
    impulse, drag = float(guess.impulse()[0]), float(guess.drag[0])
    burn, apart = float(guess.burn_time[0]), float(np.median(np.diff(fit.way.time)))
    least, most = _BURN_SPREAD
    return Inferred(
        times=BURN_SHARES * guess.burn_time[0],
        thrusts=guess.thrust[:, 0],
        impulse=impulse,
        impulse_spread=impulse * height_spread / fit.height_response(),
        drag=drag,
        drag_spread=drag * fit.drag_spread(height_spread),
        burn_spread=burn * min(math.hypot(least, _BEGINS * apart / burn), most),
        lift_off=float(guess.lift_off[0]),
        apogee=float(height.max()),
        apogee_time=float(late[height.argmax()] - guess.lift_off[0]),
        misfit=_misfit(fit),
    )
