"""From a flight as planned to the rockets that leave the pad, with their luck drawn."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from math import atan, degrees, exp, sqrt
from typing import Final

import numpy as np

from driftmap.air.atmosphere import STANDARD_GRAVITY
from driftmap.air.column import AirColumn, Sky, mean_air
from driftmap.air.wind import WindProfile, direction_and_speed
from driftmap.checks import FloatArray
from driftmap.errors import (
    FlightError,
    FlightPathError,
    NoGoError,
    WeakThrustError,
)
from driftmap.formulas.drag import PEAK, drag_rise
from driftmap.montecarlo.staging import (
    BOTH_DRAG,
    curve_of,
    stability_of,
    upper_spreads,
    with_upper,
)
from driftmap.rocket.balance import Balance, balance
from driftmap.rocket.flight import Airframe, Flight, Uncertain
from driftmap.spread import Spread
from driftmap.trajectory.ascent import ascend
from driftmap.trajectory.motion import Ascent
from driftmap.trajectory.rocket import CONSTANT_THRUST, Rocket, ThrustCurve

__all__ = ["Plan", "plan_launch", "rockets"]

_G: Final = STANDARD_GRAVITY
_RAIL_ERROR: Final = np.radians(1.0)  # each way; assumed, told to the reader
_SUBSONIC: Final = (
    0.65  # Mach number of the planned flight below which drag cannot rise
)
_STEADY: Final = 2.0  # calibres; more of it makes no difference in calm air
_TIME_ERROR: Final = 0.15  # s; of an altimeter's time from lift-off to apogee, assumed
_STILL: Final = 0.05  # m/s at 10 m; a calm, which comes from nowhere
_TURNING: Final = 0.25
"""Share of the strongest wind told that the mean must have, or it has no direction; assumed."""
_ANYWHERE: Final = (
    "the rail is to lean into the wind, and this wind has no direction: each flight leans "
    "a way of its own, all around; give the rail's azimuth in the flight file (assumed)"
)
_CLOSE: Final = 1e-5  # relative misfit of apogee height and time
_CALM: Final = WindProfile(*np.zeros((4, 1)))
_ROUNDS: Final = 30


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """What all rockets of one flight share.

    Parameters
    ----------
    flight : Flight
        The flight as planned.
    curve : ThrustCurve
        Shape of the thrust.
    azimuth : float
        Where the rail leans to, clockwise from north [rad]; not told in a wind of no
        direction, see `leans_anywhere`.
    spreads : dict of str to Spread
        Inputs of the way up by name.
    log_motor : ndarray, shape (2,)
        Logarithms of the total impulse [N s] and the burn time [s].
    response : float or None
        Change of the logarithm of the impulse with that of the apogee height, where
        apogee was given in place of a motor.
    by_time : ndarray, shape (3, k), or None
        Times off that of apogee as given [s], rising, and the changes of `log_motor`
        that go with them: a motor that takes longer burns longer.
    top : float
        Height the air must reach [m].
    apogee : float
        Apogee of the flight as planned, in the mean wind [m].
    sky : Sky
        The atmosphere over the site.
    rise : callable or None
        Factor on the nose-first drag by Mach number; None for a flight well below 0.8.
    balance : Balance
        How steady the rocket is.
    upper_balance : Balance or None
        How steady its upper stage is by itself.
    assumed : tuple of str
        What was assumed, a sentence each.
    """

    flight: Flight
    curve: ThrustCurve
    azimuth: float
    spreads: dict[str, Spread]
    log_motor: FloatArray
    response: float | None
    by_time: FloatArray | None
    top: float
    apogee: float
    sky: Sky
    rise: Callable[[FloatArray], FloatArray] | None
    balance: Balance
    upper_balance: Balance | None
    assumed: tuple[str, ...]

    @property
    def fall_rise(self) -> Callable[[FloatArray], FloatArray] | None:
        """Factor on the drag of a nose-first fall by Mach number."""
        return None if self.rise is None else _rise(self.flight.falling)

    @property
    def leans_anywhere(self) -> bool:
        """Whether the rail is to lean into a wind that has no direction."""
        return "rail bearing east" in self.spreads

    def turned(self, angle: float) -> Plan:
        """Turn the rail with the wind.

        Result: what the same flight plans in the same wind from another direction.
        """
        azimuth = self.azimuth + angle
        notes = {_lean_note(self.azimuth): _lean_note(azimuth)}
        assumed = tuple(notes.get(note, note) for note in self.assumed)
        return replace(self, azimuth=azimuth, assumed=assumed)


def plan_launch(flight: Flight, wind: WindProfile, sky: Sky) -> Plan:
    """Work out what all rockets of a flight share.

    ``flight``: the flight as planned; ``wind``: the wind; a rail aimed into it is
    turned here; ``sky``: the atmosphere over the site.

    Result: thrust, aim, spreads and the height the air must reach. Raises `FlightError`
    if the rocket cannot leave the rail, rises out of the modelled air, or no motor fits
    the apogee given.
    """
    return _planned(_Same(flight), wind, sky)


# Scouts go first, and a few flights more come after, in the wind of the verdict.
@lru_cache(maxsize=2)
def _planned(same: _Same, wind: WindProfile, sky: Sky) -> Plan:
    flight = same.flight
    spreads: dict[str, Spread] = {}
    assumed: list[str] = list(flight.notes)

    def spread(name: str, given: Uncertain, share: float, unit: str = "") -> None:
        default = given.spread is None
        sd = share * given.value if given.spread is None else given.spread
        spreads[name] = Spread("normal", given.value, sd)
        if default:
            assumed.append(f"{name}: spread {share:.0%}{unit} (assumed)")

    spread("lift-off mass", flight.airframe.mass, 0.02)
    for way in ("east", "north"):
        given = flight.rail.angle.spread
        error = float(_RAIL_ERROR) if given is None else given
        spreads[f"rail {way}"] = Spread("normal", 0.0, error)
    if flight.rail.angle.spread is None:
        assumed.append("rail's aim, whip and thrust line: spread 1° each way (assumed)")
    steady = balance(flight)
    more, notes, upper = upper_spreads(flight)
    spreads |= {**steady.spreads, **more}
    assumed += [*steady.assumed, *notes]
    azimuth = _azimuth(flight, wind)
    response, by_time = None, None
    if flight.motor is not None:
        if flight.motor.count > 1:
            assumed.append(
                f"{flight.motor.count} motors: thrust, impulse and propellant told are "
                "those of all of them together"
            )
        spread("total impulse", flight.motor.total_impulse, 0.05)
        spread("burn time", flight.motor.burn_time, 0.05)
        log_motor = np.log(
            [flight.motor.total_impulse.value, flight.motor.burn_time.value]
        )
    elif flight.apogee is not None:
        spread("apogee height", flight.apogee.height, 0.05)
        assumed.append(
            "no motor given: one of constant thrust that reaches this apogee in this "
            "wind, burning as long as fits the time in calm air; the rocket keeps its "
            "lift-off mass (assumed)"
        )
        time = flight.apogee.time
        error = _TIME_ERROR if time.spread is None else time.spread
        spreads["apogee time"] = Spread("normal", time.value, error)
        if time.spread is None:
            assumed.append(f"apogee time: spread {_TIME_ERROR:g} s (assumed)")
        log_motor, response, by_time = _fit_motor(flight, wind, azimuth, sky, error)
    bearing, said = _lean(flight, wind, azimuth)
    spreads |= bearing
    assumed += said
    plan = Plan(
        flight=flight,
        curve=curve_of(flight.motor),
        azimuth=azimuth,
        spreads=spreads,
        log_motor=log_motor,
        response=response,
        by_time=by_time,
        top=0.0,
        apogee=0.0,
        sky=sky,
        rise=_rise(flight.airframe),
        balance=steady,
        upper_balance=upper,
        assumed=(),
    )
    nominal = _nominal(plan, wind)
    apogee, calm = nominal.apogee.height.tolist()
    fastest = float(nominal.mach()[:, 0].max())
    rise = plan.rise
    if not (flight.airframe.drag_by_mach and flight.falling.drag_by_mach):
        if fastest < _SUBSONIC:
            rise = None
        else:
            spreads["transonic peak"] = PEAK
            assumed.append(f"transonic drag: {PEAK.assumed} (assumed)")
    return replace(
        plan,
        # Wind bends the way up: flights that meet less of it rise higher than planned.
        top=min(1.7 * max(apogee, calm) + 300.0, sky.top),
        apogee=apogee,
        rise=rise,
        assumed=tuple(assumed),
    )


def _rise(frame: Airframe) -> Callable[[FloatArray], FloatArray]:
    table = frame.drag_table()
    return drag_rise if table is None else table.factor


def rockets(plan: Plan, draws: Mapping[str, FloatArray]) -> Rocket:
    """Make the rockets of a block of flights.

    ``draws``, shape (n,): values of the inputs named by the plan, and ``"drag
    coefficient"``.

    Result: the rockets, shape (n,).
    """
    flight = plan.flight
    mass = draws["lift-off mass"]
    name = "drag coefficient" if flight.sustainer is None else BOTH_DRAG
    drag = draws[name] * flight.airframe.cross_section
    if plan.response is None:
        impulse, burn = draws["total impulse"], draws["burn time"]
    else:
        assert flight.apogee is not None
        # The drag is part of the fit: its own spread must not widen the apogee given.
        drag = np.full_like(drag, flight.airframe.drag_coefficient.value)
        drag *= flight.airframe.cross_section
        wish = np.log(draws["apogee height"] / flight.apogee.height.value)
        impulse = np.exp(plan.log_motor[0] + plan.response * wish)
        impulse = impulse * mass / flight.airframe.mass.value
        assert plan.by_time is not None
        off = draws["apogee time"] - flight.apogee.time.value
        more, longer = (
            np.interp(off, plan.by_time[0], row) for row in plan.by_time[1:]
        )
        impulse, burn = impulse * np.exp(more), np.exp(plan.log_motor[1] + longer)
    tilt, azimuth = _aim(plan, draws)
    burnt = flight.motor.propellant_mass if flight.motor else 0.0
    rocket = Rocket(
        mass=mass,
        propellant=np.full_like(mass, burnt),
        impulse=impulse,
        burn_time=burn,
        curve=plan.curve,
        drag_area=drag,
        tilt=tilt,
        azimuth=azimuth,
        rail_length=flight.rail.length,
        stability=stability_of(flight.airframe, draws, mass),
        rise=_drawn_rise(plan, flight.airframe, draws),
    )
    return with_upper(flight, rocket, draws, _drawn_rise(plan, flight.falling, draws))


def _drawn_rise(
    plan: Plan, frame: Airframe, draws: Mapping[str, FloatArray]
) -> Callable[[FloatArray], FloatArray] | None:
    """Let each flight have a transonic peak of its own, where that is not given."""
    peak = draws.get("transonic peak")
    if plan.rise is None or frame.drag_by_mach or peak is None:
        return None if plan.rise is None else _rise(frame)
    return partial(drag_rise, peak=peak)


def _aim(plan: Plan, draws: Mapping[str, FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Add the aiming error to the rail; give tilt and azimuth [rad]."""
    tilt, toward = plan.flight.rail.angle.value, np.asarray(plan.azimuth)
    if plan.leans_anywhere:
        toward = np.arctan2(draws["rail bearing east"], draws["rail bearing north"])
    x = np.asarray(tilt * np.sin(toward) + draws["rail east"])
    y = np.asarray(tilt * np.cos(toward) + draws["rail north"])
    return np.asarray(np.hypot(x, y)), np.asarray(np.arctan2(x, y))


def _lean(
    flight: Flight, wind: WindProfile, azimuth: float
) -> tuple[dict[str, Spread], tuple[str, ...]]:
    """Say where a rail leans that is aimed into the wind; all around where that is nowhere."""
    if not flight.rail.follows_wind:
        return {}, ()
    if flight.rail.angle.value == 0 or not _directionless(wind):
        return {}, (_lean_note(azimuth),)
    any_bearing = Spread("normal", 0.0, 1.0)  # both ways alike: each bearing as likely
    ways = ("east", "north")
    return {f"rail bearing {way}": any_bearing for way in ways}, (_ANYWHERE,)


def _directionless(wind: WindProfile) -> bool:
    """Tell of a calm, and of a wind from all sides, whose mean comes from nowhere."""
    east, north = (float(v) for v in wind.at(10.0))
    told = wind.strongest or 0.0
    if wind.members is not None:
        each = [np.hypot(*(np.interp(10.0, wind.height, p) for p in m))
                for m in wind.members]  # fmt: skip
        told = max(told, float(np.median(each)))
    return bool(np.hypot(east, north) < max(_STILL, _TURNING * told))


def _lean_note(azimuth: float) -> str:
    return f"rail leans into the wind, toward {round(degrees(azimuth)) % 360:03d}°"


def _azimuth(flight: Flight, wind: WindProfile) -> float:
    azimuth = flight.rail.azimuth
    if azimuth == "into the wind":
        return float(direction_and_speed(*wind.at(10.0))[0])
    return float(azimuth)


def _middle(plan: Plan, count: int) -> dict[str, FloatArray]:
    """Give every input its middle value, shape (count,)."""
    drag = plan.flight.falling.drag_coefficient.value
    middle = {name: spread.middle for name, spread in plan.spreads.items()}
    values = {**middle, "drag coefficient": drag}
    return {name: np.full(count, value) for name, value in values.items()}


def _nominal(plan: Plan, wind: WindProfile) -> Ascent:
    """Fly the flight as planned, in the mean wind and in calm air."""
    flight = plan.flight
    windy = mean_air(wind, plan.sky, plan.sky.top)
    east, north = (np.pad(way, ((0, 0), (0, 1))) for way in (windy.east, windy.north))
    air = replace(windy, east=east, north=north)
    where = "motor" if flight.motor else "apogee"
    try:
        middle = _middle(plan, 2)
        # Some of the flights of an unsteady rocket go straight up all the same.
        for name in [name for name in middle if name.endswith("static margin")]:
            middle[name][1] = max(middle[name][1], _STEADY)
        with np.errstate(
            all="ignore"
        ):  # what is no number is refused as out of the air
            flown = ascend(rockets(plan, middle), air)
    except WeakThrustError as problem:
        raise NoGoError(flight.source, where, str(problem)) from None
    except FlightPathError as problem:
        slip = "is a mass, a length, a drag, an impulse or an inertia off by a unit?"
        raise FlightError(flight.source, where, f"{problem}: {slip}") from None
    if flown.apogee.height.min() <= 0:
        raise NoGoError(flight.source, where, "as planned, it comes down burning")
    return flown


def _fit_motor(
    flight: Flight, wind: WindProfile, azimuth: float, sky: Sky, error: float
) -> tuple[FloatArray, float, FloatArray]:
    """Find the constant-thrust motor that reaches apogee as given.

    Height and time in calm air fix impulse and burn time; the impulse is then raised
    until the height is reached in the day's wind, which bends the way up.

    Result: logarithms of total impulse and burn time, shape (2,). Result: change of the
    logarithm of the impulse with that of the apogee height. Result: as in `Plan`, shape
    (3, k).
    """
    assert flight.apogee is not None
    height = flight.apogee.height.value
    calm, by_time = _calm_motor(_Same(flight), sky, error)
    windy = mean_air(wind, sky, _reach(flight, sky))
    log_motor, response = _newton(flight, windy, azimuth, calm, np.log([[height]]))
    if not np.isfinite(log_motor).all():
        raise FlightError(flight.source, "apogee", _misfit(flight))
    return log_motor[:, 0], float(response[0]), by_time


class _Same:
    """A flight that is the same as no other, as the key of what was worked out for it."""

    def __init__(self, flight: Flight) -> None:
        self.flight = flight

    def __hash__(self) -> int:
        return id(self.flight)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.flight is self.flight


@lru_cache(maxsize=64)  # the flights of a long day
def _calm_motor(same: _Same, sky: Sky, error: float) -> tuple[FloatArray, FloatArray]:
    """Fit the motor in calm air, once for all winds that a flight is tried in.

    The same is done for times one and two standard deviations off; a time that no motor
    could make is left out, and the nearest that one could stands for it.
    """
    flight = same.flight
    assert flight.apogee is not None
    height, time = flight.apogee.height.value, flight.apogee.time.value
    calm = mean_air(_CALM, sky, _reach(flight, sky))
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
    """Give the height that the air of a fit must reach [m]."""
    assert flight.apogee is not None
    return min(8 * flight.apogee.height.value + 500.0, sky.top)


def _vacuum_motor(mass: float, height: float, time: float) -> FloatArray:
    """Give the motor that would fit without drag.

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
        rise=_rise(frame),
    )
