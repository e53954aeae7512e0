"""From a flight as planned to the rockets that leave the pad, their inputs drawn."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from math import degrees
from typing import Final

import numpy as np

from driftmap.air.column import Sky, mean_air
from driftmap.air.wind import MAST, WindProfile, direction_and_speed, surface_wind
from driftmap.core.checks import FloatArray
from driftmap.core.errors import (
    FlightError,
    FlightPathError,
    NoGoError,
    WeakThrustError,
)
from driftmap.core.spread import Spread
from driftmap.formulas.drag import PEAK, drag_rise
from driftmap.montecarlo.motor_fit import fit_motor
from driftmap.montecarlo.staging import (
    BOTH_DRAG,
    curve_of,
    rise_of,
    stability_of,
    upper_spreads,
    with_upper,
)
from driftmap.rocket.airframe import Airframe
from driftmap.rocket.fields import Uncertain
from driftmap.rocket.flight import ByContent, Flight
from driftmap.rocket.stability import Balance, balance
from driftmap.trajectory.ascent import ascend
from driftmap.trajectory.motion import Ascent, DragRise
from driftmap.trajectory.rocket import Rocket, ThrustCurve

RAIL_ERROR: Final = float(np.radians(1.0))  # each way; assumed, told to the reader
_SUBSONIC: Final = 0.65
"""Mach number of the planned flight below which no flight meets the rise of drag."""

_STEADY: Final = 2.0  # calibres; more of it makes no difference in calm air
_TIME_ERROR: Final = 0.15  # s; of an altimeter's time from lift-off to apogee, assumed
_STILL: Final = 0.05  # m/s at 10 m; a calm, which comes from nowhere
_TURNING: Final = 0.25
"""Share of the strongest wind told that the mean must have, or it has no direction; assumed."""
_ANYWHERE: Final = (
    "the rail is to lean into the wind, and this wind has no direction: each flight leans "
    "a way of its own, all around; give the rail's azimuth in the flight file (assumed)"
)


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
    rise: DragRise | None
    balance: Balance
    upper_balance: Balance | None
    assumed: tuple[str, ...]

    @property
    def fall_rise(self) -> DragRise | None:
        """Factor on the drag of a nose-first fall by Mach number."""
        return None if self.rise is None else rise_of(self.flight.falling)

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
    return _planned(ByContent(flight), wind, sky)


class _Inputs:
    """Inputs of the way up as they come together, and what is assumed of them."""

    def __init__(self, flight: Flight) -> None:
        self.spreads: dict[str, Spread] = {}
        self.assumed: list[str] = list(flight.notes)

    def take(self, spreads: Mapping[str, Spread], assumed: Iterable[str]) -> None:
        """Take some more."""
        self.spreads |= spreads
        self.assumed += assumed

    def spread(self, name: str, given: Uncertain, share: float) -> None:
        """Spread an input by what is told of it, or by a share of its value."""
        sd = share * given.value if given.spread is None else given.spread
        self.spreads[name] = Spread("normal", given.value, sd).above_zero()
        if given.spread is None:
            self.assumed.append(f"{name}: spread {share:.0%} (assumed)")


# Scouts go first, and a few flights more come after, in the wind of the verdict.
@lru_cache(maxsize=2)
def _planned(same: ByContent, wind: WindProfile, sky: Sky) -> Plan:
    flight, steady = same.flight, balance(same.flight)
    more, notes, upper = upper_spreads(flight)
    told = _Inputs(flight)
    told.spread("lift-off mass", flight.airframe.mass, 0.02)
    told.take(*_rail_error(flight))
    told.take(steady.spreads, steady.assumed)
    told.take(more, notes)
    azimuth = _azimuth(flight, wind)
    log_motor, response, by_time = _motor(told, flight, wind, azimuth, sky)
    told.take(*_lean(flight, wind, azimuth))
    plan = Plan(
        flight=flight,
        curve=curve_of(flight.motor),
        azimuth=azimuth,
        spreads=told.spreads,
        log_motor=log_motor,
        response=response,
        by_time=by_time,
        top=0.0,
        apogee=0.0,
        sky=sky,
        rise=rise_of(flight.airframe),
        balance=steady,
        upper_balance=upper,
        assumed=tuple(told.assumed),
    )
    return _reaching(plan, wind)


def _rail_error(flight: Flight) -> tuple[dict[str, Spread], list[str]]:
    """Spread the rail's aim both ways."""
    given = flight.rail.angle.spread
    aim = Spread("normal", 0.0, RAIL_ERROR if given is None else given)
    note = "rail's aim, whip and thrust line: spread 1° each way (assumed)"
    return {f"rail {way}": aim for way in ("east", "north")}, [note] * (given is None)


def _motor(
    told: _Inputs, flight: Flight, wind: WindProfile, azimuth: float, sky: Sky
) -> tuple[FloatArray, float | None, FloatArray | None]:
    """Return `log_motor`, `response` and `by_time` of the motor told, or of one that fits."""
    if (motor := flight.motor) is not None:
        if motor.count > 1:
            told.assumed.append(
                f"{motor.count} motors: thrust, impulse and propellant told are "
                "those of all of them together"
            )
        told.spread("total impulse", motor.total_impulse, motor.spread)
        told.spread("burn time", motor.burn_time, motor.spread)
        figures = [motor.total_impulse.value, motor.burn_time.value]
        return np.log(figures), None, None
    assert flight.apogee is not None
    told.spread("apogee height", flight.apogee.height, flight.apogee.spread)
    told.assumed.append(
        "no motor given: one of constant thrust that reaches this apogee in this "
        "wind, burning as long as fits the time in calm air; the rocket keeps its "
        "lift-off mass (assumed)"
    )
    time = flight.apogee.time
    error = _TIME_ERROR if time.spread is None else time.spread
    told.spreads["apogee time"] = Spread("normal", time.value, error)
    if time.spread is None:
        told.assumed.append(f"apogee time: spread {_TIME_ERROR:g} s (assumed)")
    return fit_motor(flight, wind, azimuth, sky, error)


def _reaching(plan: Plan, wind: WindProfile) -> Plan:
    """Fly a plan once: how high its air must reach, and whether its drag may rise."""
    nominal, flight = _nominal(plan, wind), plan.flight
    apogee, calm = nominal.apogee.height.tolist()
    fastest = float(nominal.mach()[:, 0].max())
    rise, spreads, assumed = plan.rise, plan.spreads, plan.assumed
    if not (flight.airframe.drag_by_mach and flight.falling.drag_by_mach):
        if fastest < _SUBSONIC:
            rise = None
        else:
            spreads = {**spreads, "transonic peak": PEAK}
            assumed += (f"transonic drag: {PEAK.assumed} (assumed)",)
    return replace(
        plan,
        spreads=spreads,
        # Wind bends the way up: flights that meet less of it rise higher than planned.
        top=min(1.7 * max(apogee, calm) + 300.0, plan.sky.top),
        apogee=apogee,
        rise=rise,
        assumed=assumed,
    )


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
        # The drag is part of the fit: its own spread must not widen the apogee given.
        drag = np.full_like(drag, flight.airframe.drag_coefficient.value)
        drag *= flight.airframe.cross_section
        impulse, burn = _fitted(plan, plan.response, draws)
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


def _fitted(
    plan: Plan, response: float, draws: Mapping[str, FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Return total impulse [N s] and burn time [s] of motors put together from an apogee."""
    flight, mass = plan.flight, draws["lift-off mass"]
    assert flight.apogee is not None
    assert plan.by_time is not None
    wish = np.log(draws["apogee height"] / flight.apogee.height.value)
    impulse = np.exp(plan.log_motor[0] + response * wish)
    impulse = impulse * mass / flight.airframe.mass.value
    off = draws["apogee time"] - flight.apogee.time.value
    more, longer = (np.interp(off, plan.by_time[0], row) for row in plan.by_time[1:])
    return impulse * np.exp(more), np.exp(plan.log_motor[1] + longer)


def _drawn_rise(
    plan: Plan, frame: Airframe, draws: Mapping[str, FloatArray]
) -> DragRise | None:
    """Let each flight have a transonic peak of its own, where that is not given."""
    peak = draws.get("transonic peak")
    if plan.rise is None or frame.drag_by_mach or peak is None:
        return None if plan.rise is None else rise_of(frame)
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
    told, _ = surface_wind(wind)
    return bool(np.hypot(*wind.at(MAST)) < max(_STILL, _TURNING * told))


def _lean_note(azimuth: float) -> str:
    return f"rail leans into the wind, toward {round(degrees(azimuth)) % 360:03d}°"


def _azimuth(flight: Flight, wind: WindProfile) -> float:
    azimuth = flight.rail.azimuth
    if azimuth == "into the wind":
        return float(direction_and_speed(*wind.at(MAST))[0])
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
        with np.errstate(all="ignore"):  # no number is refused as out of the air
            flown = ascend(rockets(plan, middle), air)
    except WeakThrustError as problem:
        raise NoGoError(flight.source, where, str(problem)) from None
    except FlightPathError as problem:
        slip = "is a mass, a length, a drag, an impulse or an inertia off by a unit?"
        raise FlightError(flight.source, where, f"{problem}: {slip}") from None
    if flown.apogee.height.min() <= 0:
        raise NoGoError(flight.source, where, "as planned, it comes down burning")
    # What follows a burn would be flown from below the top, and its drift be too short.
    if flown.at(flown.burnout).v_up[-1] < 0:
        text = (
            f"turns over before {flown.burnout[-1]:.0f} s, when its motor is burnt out"
        )
        slip = "does the burn end where the thrust does?"
        raise NoGoError(flight.source, where, f"as planned, it {text}: {slip}")
    return flown
