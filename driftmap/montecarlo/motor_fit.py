"""The motor of a flight whose file gives only its apogee, found by flying."""

from __future__ import annotations

from functools import lru_cache
from math import atan, exp, sqrt
from typing import Final

import numpy as np

from driftmap.air.column import AirColumn, Sky, mean_air
from driftmap.air.wind import STILL_AIR, WindProfile
from driftmap.core.checks import FloatArray
from driftmap.core.errors import FlightError, FlightPathError
from driftmap.core.units import STANDARD_GRAVITY
from driftmap.montecarlo.staging import rise_of, stability_of
from driftmap.rocket.flight import ByContent, Flight
from driftmap.rocket.stability import balance
from driftmap.trajectory.ascent import ascend
from driftmap.trajectory.rocket import CONSTANT_THRUST, Rocket

_G: Final = STANDARD_GRAVITY
_ROUNDS: Final = 30


_CLOSE: Final = 1e-5  # relative misfit of apogee height and time


def fit_motor(
    flight: Flight, wind: WindProfile, azimuth: float, sky: Sky, error: float
) -> tuple[FloatArray, float, FloatArray]:
    """Find the constant-thrust motor that reaches apogee as given.

    Height and time in calm air fix impulse and burn time; the impulse is then raised
    until the height is reached in the day's wind, which bends the way up.

    Result: logarithms of total impulse and burn time, shape (2,); change of the
    logarithm of the impulse with that of the apogee height; as in `Plan`, shape
    (3, k).
    """
    assert flight.apogee is not None
    height = flight.apogee.height.value
    calm, by_time = _calm_motor(ByContent(flight), sky, error)
    windy = mean_air(wind, sky, _reach(flight, sky))
    log_motor, response = _newton(flight, windy, azimuth, calm, np.log([[height]]))
    if not np.isfinite(log_motor).all():
        raise FlightError(flight.source, "apogee", _misfit(flight))
    return log_motor[:, 0], float(response[0]), by_time


@lru_cache(maxsize=64)  # the flights of a long day
def _calm_motor(
    same: ByContent, sky: Sky, error: float
) -> tuple[FloatArray, FloatArray]:
    """Fit the motor in calm air, once for all winds that a flight is tried in.

    The same is done for times one and two standard deviations off; a time that no motor
    could make is left out, and the nearest that one could stands for it.
    """
    flight = same.flight
    assert flight.apogee is not None
    height, time = flight.apogee.height.value, flight.apogee.time.value
    calm = mean_air(STILL_AIR, sky, _reach(flight, sky))
    start = _vacuum_motor(flight.airframe.mass.value, height, time)
    log_motor, _ = _newton(flight, calm, 0.0, start, np.log([[height], [time]]))
    if not np.isfinite(log_motor).all():
        raise FlightError(flight.source, "apogee", _misfit(flight))
    off = error * np.array([-2.0, -1.0, 1.0, 2.0])
    wishes = np.log([np.full(4, height), np.maximum(time + off, 1e-3)])
    others, _ = _newton(flight, calm, 0.0, log_motor[:, 0], wishes)
    rows = np.vstack([off, others - log_motor])[:, np.isfinite(others[0])]
    by_time = np.hstack([rows, np.zeros((3, 1))])
    return log_motor[:, 0], by_time[:, np.argsort(by_time[0])]


def _reach(flight: Flight, sky: Sky) -> float:
    """Return the height that the air of a fit must reach [m]."""
    assert flight.apogee is not None
    return min(8 * flight.apogee.height.value + 500.0, sky.top)


def _vacuum_motor(mass: float, height: float, time: float) -> FloatArray:
    """Return the motor that would fit without drag.

    Burn and coast with thrust of ``1 + x`` weights give ``2H/(gT²) = x/(1+x)``; drag lets
    that ratio pass 1, where a short burn is the better start.
    """
    ratio = min(2 * height / (_G * time**2), 0.93)
    x = ratio / (1 - ratio)
    return np.log([mass * _G * time, time / (1 + x)])


def _newton(
    flight: Flight,
    air: AirColumn,
    azimuth: float,
    start: FloatArray,
    wanted: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Fit impulse (one wish) or impulse and burn time (two) by Newton's method.

    Of ``m`` wishes, shape (1 or 2, m), gives `log_motor` of each, shape (2, m), and the
    response of the impulse, shape (m,); NaN where no motor fits.
    """
    (size, m), nudge = wanted.shape, 1e-4
    motor = np.repeat(start[:, None], m, axis=1)
    response, open_ = np.full(m, np.nan), np.arange(m)
    for _ in range(_ROUNDS):
        trial = motor[:, None, open_] + nudge * np.eye(2, 3, 1)[:, :, None]
        try:
            ascent = ascend(_trial(flight, azimuth, *np.exp(trial.reshape(2, -1))), air)
        except FlightPathError:
            break
        reached = np.stack([ascent.apogee.height, ascent.apogee.time])
        if not np.all(reached > 0):
            break
        reached = np.log(reached[:size].reshape(size, 3, -1))
        slope = (reached[:, 1 : size + 1] - reached[:, :1]) / nudge
        miss = wanted[:, open_] - reached[:, 0]
        response[open_] = 1 / slope[0, 0]
        far = np.abs(miss).max(axis=0) >= _CLOSE
        step = np.linalg.solve(np.moveaxis(slope, 2, 0), miss.T[:, :, None])[:, :, 0].T
        motor[:size, open_] += np.where(far, np.clip(step, -0.5, 0.5), 0.0)
        open_ = open_[far]
        if not open_.size:
            return motor, response
    if m > 1:  # one that cannot be met is not to spoil the others
        alone = [
            _newton(flight, air, azimuth, start, wanted[:, i : i + 1]) for i in range(m)
        ]
        motors, responses = zip(*alone, strict=True)
        return np.hstack(motors), np.concatenate(responses)
    return np.full((2, m), np.nan), np.full(m, np.nan)


def _misfit(flight: Flight) -> str:
    """Say which times to apogee are possible, from the rise of a body thrown up."""
    assert flight.apogee is not None
    height, time = flight.apogee.height.value, flight.apogee.time.value
    drag = flight.airframe.drag_coefficient.value * flight.airframe.cross_section
    terminal = sqrt(2 * flight.airframe.mass.value * _G / (1.225 * drag))
    start = terminal * sqrt(exp(2 * _G * height / terminal**2) - 1)
    least = terminal / _G * atan(start / terminal)
    return (
        f"no motor brings this rocket to {height:.0f} m in {time:.1f} s; with this drag "
        f"it takes {least:.1f} s or more, and thrust must exceed weight"
    )


def _trial(
    flight: Flight, azimuth: float, impulse: FloatArray, burn: FloatArray
) -> Rocket:
    one = np.ones_like(impulse)
    frame = flight.airframe
    mass = frame.mass.value * one
    spreads = balance(flight).spreads
    middle = {name: spread.middle * one for name, spread in spreads.items()}
    # It did reach that apogee, so it did not turn over.
    middle["static margin"] = np.maximum(middle["static margin"], 0.0)
    return Rocket(
        mass=mass,
        propellant=0 * one,
        impulse=impulse,
        burn_time=burn,
        curve=CONSTANT_THRUST,
        drag_area=frame.drag_coefficient.value * frame.cross_section * one,
        tilt=flight.rail.angle.value * one,
        azimuth=azimuth * one,
        rail_length=flight.rail.length,
        stability=stability_of(frame, middle, mass),
        rise=rise_of(frame),
    )
