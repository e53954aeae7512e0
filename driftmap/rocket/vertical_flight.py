"""One rocket straight up in still air, for many guesses of its thrust and drag at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from driftmap.air.atmosphere import air_density, speed_of_sound
from driftmap.core.checks import FloatArray, checked
from driftmap.core.units import STANDARD_GRAVITY
from driftmap.formulas.drag import DragTable, drag_rise

BURN_SHARES: Final = np.array([0, 1, 2, 5, 8, 11, 14, 17, 19, 20]) / 20
"""Shares of the burn at which the thrust is free; it is linear between them."""

_SHARE_WEIGHTS: Final = np.convolve(np.diff(BURN_SHARES), [0.5, 0.5])
"""Weights of those thrusts in their mean, by the trapezoidal rule."""

_BURN_STEPS: Final = 20  # a whole number of steps between any two shares
_COAST_STEPS: Final = 24
HIGHEST_AIR: Final = 20_000.0
"""Altitude up to which the air is modelled [m]."""

_LEVELS: Final = np.arange(-600.0, HIGHEST_AIR + 1, 50.0)  # altitude, m; linear between
_DENSITY: Final = air_density(_LEVELS)
_SOUND: Final = speed_of_sound(_LEVELS)
_MACH: Final = np.linspace(0.0, 5.0, 501)
_RISE: Final = drag_rise(_MACH)


@dataclass(frozen=True, slots=True, eq=False)
class Climber:
    """What is known of the rocket that climbs.

    Parameters
    ----------
    mass, propellant : float
        Lift-off mass, and the propellant in it [kg].
    cross_section : float
        Area of the body's cross-section [m²].
    altitude : float
        Altitude of the pad above mean sea level [m].
    table : DragTable or None
        Drag by Mach number, of which the shape is used; a published rise when None.

    Raises
    ------
    ValueError
        If a number is out of range.
    """

    mass: float
    propellant: float
    cross_section: float
    altitude: float = 0.0
    table: DragTable | None = None

    def __post_init__(self) -> None:
        checked("mass", self.mass, above=0)
        checked("cross_section", self.cross_section, above=0)
        checked("altitude", self.altitude, least=_LEVELS[0], most=_LEVELS[-1])
        if not 0 <= self.propellant < self.mass:
            raise ValueError("'propellant' must be less than 'mass', and not negative")

    @property
    def fastest(self) -> float:
        """Mach number up to which the drag is known."""
        return float(
            _MACH[-1] if self.table is None else np.asarray(self.table.mach)[-1]
        )

    def rise(self, mach: FloatArray) -> FloatArray:
        """Return the factor on the drag; held level beyond `fastest`, which a trial may pass."""
        within = np.minimum(mach, self.fastest)
        if self.table is None:
            return np.asarray(np.interp(within, _MACH, _RISE))
        return self.table.factor(within)


@dataclass(frozen=True, slots=True, eq=False)
class Guess:
    """Thrust and drag of ``n`` guesses.

    Parameters
    ----------
    lift_off : ndarray, shape (n,)
        When the motor lights [s].
    burn_time : ndarray, shape (n,)
        Burn time [s].
    drag : ndarray, shape (n,)
        Drag coefficient on the cross-section, well below the speed of sound.
    thrust : ndarray, shape (k, n)
        Thrust at the `BURN_SHARES` of the burn [N].
    """

    lift_off: FloatArray
    burn_time: FloatArray
    drag: FloatArray
    thrust: FloatArray

    def impulse(self) -> FloatArray:
        """Return the total impulse [N s], shape (n,)."""
        return np.asarray(self.burn_time * (_SHARE_WEIGHTS @ self.thrust))


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """Heights and speeds at the ends of ``s`` steps, for ``n`` guesses.

    Parameters
    ----------
    time, height, speed, mach : ndarray, shape (s, n)
        Time [s], height above the pad [m], upward speed [m s⁻¹] and Mach number.
    """

    time: FloatArray
    height: FloatArray
    speed: FloatArray
    mach: FloatArray

    def at(self, time: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give heights [m] and speeds [m s⁻¹] at common times, each of shape (r, n)."""
        from scipy.interpolate import CubicHermiteSpline  # noqa: PLC0415 (slow)

        found = np.empty((2, time.size, self.time.shape[1]))
        for i, (t, h, v) in enumerate(
            zip(self.time.T, self.height.T, self.speed.T, strict=True)
        ):
            curve = CubicHermiteSpline(t, h, v)
            inside = np.clip(time, t[0], t[-1])  # before lift-off it stands at 0
            found[0, :, i], found[1, :, i] = curve(inside), curve(inside, 1)
        return found[0], found[1]


def climb_up(guess: Guess, body: Climber, end: float) -> Track:
    r"""Follow each guess from the pad to a moment.

    .. math:: m \dot v = T - \tfrac12 \rho\, C_D A\, v |v| - m g

    Classic Runge-Kutta of order 4. The mass falls with the impulse delivered; the pad
    holds the rocket until thrust carries it.

    Parameters
    ----------
    guess : Guess, shape (n,)
        Thrust and drag.
    body : Climber
        The rocket.
    end : float
        The moment, on the clock of `Guess.lift_off` [s].

    Returns
    -------
    Track, shape (s, n)
        The climb, and the fall after it where `end` comes later.

    Notes
    -----
    Left out: wind, lean, and the standard atmosphere's difference from the day's.
    """
    thrust, mass = _through_burn(guess, body)
    coast = np.maximum(end - guess.lift_off - guess.burn_time, 0.01)
    steps = [guess.burn_time / _BURN_STEPS] * _BURN_STEPS
    steps += [coast / _COAST_STEPS] * _COAST_STEPS
    h, v = np.zeros_like(coast), np.zeros_like(coast)
    rows = [(guess.lift_off, h, v)]
    for i, step in enumerate(steps):
        burning = 2 * i < 2 * _BURN_STEPS
        stages = slice(2 * i, 2 * i + 3) if burning else slice(-1, None)
        push = thrust[stages] if burning else np.zeros((1, 1))
        h, v = _step(h, v, step, push, mass[stages], guess.drag, body)
        rows.append((rows[-1][0] + step, h, v))
    time, height, speed = (np.stack(column) for column in zip(*rows, strict=True))
    sound = np.interp(height + body.altitude, _LEVELS, _SOUND)
    return Track(time, height, speed, np.abs(speed) / sound)


def _through_burn(guess: Guess, body: Climber) -> tuple[FloatArray, FloatArray]:
    """Return thrust and mass at the ends and middles of the burn's steps."""
    share = np.linspace(0, 1, 2 * _BURN_STEPS + 1)
    weights = np.stack(
        [np.interp(share, BURN_SHARES, row) for row in np.eye(BURN_SHARES.size)]
    )
    thrust = weights.T @ guess.thrust
    done = np.zeros_like(thrust)
    done[1:] = np.cumsum(thrust[1:] + thrust[:-1], axis=0)
    done /= np.maximum(done[-1], 1e-12)
    return thrust, body.mass - body.propellant * done


def _step(
    h: FloatArray,
    v: FloatArray,
    dt: FloatArray,
    thrust: FloatArray,
    mass: FloatArray,
    drag: FloatArray,
    body: Climber,
) -> tuple[FloatArray, FloatArray]:
    """Take one step; `thrust` and `mass` hold its start, middle and end, or one row."""

    def gain(height: FloatArray, speed: FloatArray, stage: int) -> FloatArray:
        i = min(stage, len(mass) - 1)
        altitude = height + body.altitude
        sound = np.interp(altitude, _LEVELS, _SOUND)
        area = drag * body.rise(np.abs(speed) / sound) * body.cross_section
        density = np.interp(altitude, _LEVELS, _DENSITY)
        force = thrust[i] - density * area * speed * np.abs(speed) / 2
        found = force / mass[i] - STANDARD_GRAVITY
        return np.asarray(np.where(height > 0, found, np.maximum(found, 0.0)))

    a1 = gain(h, v, 0)
    a2 = gain(h + dt / 2 * v, v + dt / 2 * a1, 1)
    a3 = gain(h + dt / 2 * v + dt * dt / 4 * a1, v + dt / 2 * a2, 1)
    a4 = gain(h + dt * v + dt * dt / 2 * a2, v + dt * a3, 2)
    way = h + dt * v + dt * dt / 6 * (a1 + a2 + a3)
    return way, v + dt / 6 * (a1 + 2 * (a2 + a3) + a4)
