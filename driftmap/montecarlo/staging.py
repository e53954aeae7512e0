"""Stages that light in the air: their inputs drawn, and the ways up when one does not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np

from driftmap.air.column import AirColumn
from driftmap.core.checks import FloatArray
from driftmap.core.spread import Spread
from driftmap.formulas.drag import CROSSFLOW, CYLINDER_DRAG, drag_rise
from driftmap.rocket.airframe import Airframe
from driftmap.rocket.fields import Uncertain
from driftmap.rocket.flight import Flight
from driftmap.rocket.stability import Balance, balance
from driftmap.rocket.stage_cases import FALLING_BACK, LATE, TOGETHER, UNLIT
from driftmap.rocket.stages import BOOSTER, Motor
from driftmap.trajectory.ascent import ascend
from driftmap.trajectory.motion import Ascent, DragRise
from driftmap.trajectory.rocket import CONSTANT_THRUST, Rocket, Stability, ThrustCurve

BOTH_DRAG: Final = "drag coefficient of both stages"

_TURNS_OVER: Final = -3.0  # calibres; with less it turns over no sooner (assumed)
_UPPER: Final = "sustainer "  # before the names of its own balance
_DELAY: Final = (0.10, 0.1)  # share and seconds of a delay's spread; assumed
_PARTING: Final = Spread("uniform", 0.0, 1.0, "0 to 1 s after burn-out of the booster")

Luck = Mapping[str, FloatArray]


def upper_spreads(
    flight: Flight,
) -> tuple[dict[str, Spread], list[str], Balance | None]:
    """Return the inputs of what lights in the air.

    ``flight``: the flight as planned.

    Result: inputs by name, none for a flight whose motors all light on the rail; what was
    assumed, a sentence each; and how steady the sustainer is by itself.
    """
    upper, spreads, assumed = flight.upper, dict[str, Spread](), list[str]()
    if upper is None:
        return spreads, assumed, None

    def spread(name: str, given: Uncertain, share: float, least: float = 0.0) -> None:
        sd = share * given.value + least if given.spread is None else given.spread
        drawn = Spread("normal", given.value, sd)
        spreads[name] = drawn if least else drawn.above_zero()
        if given.spread is None:
            also = f" and {least:g} s" if least else ""
            assumed.append(f"{name}: spread {share:.0%}{also} (assumed)")

    spread("impulse in the air", upper.motor.total_impulse, upper.motor.spread)
    spread("burn time in the air", upper.motor.burn_time, upper.motor.spread)
    spread("ignition delay", upper.ignition, *_DELAY)
    if flight.sustainer is None:
        return spreads, assumed, None
    if flight.sustainer.separation is None:
        spreads["separation delay"] = _PARTING
        assumed.append(f"separation: {_PARTING.assumed} (assumed)")
    else:
        spread("separation delay", flight.sustainer.separation, *_DELAY)
    spread(BOTH_DRAG, flight.airframe.drag_coefficient, 0.10)
    steady = balance(flight, sustainer=True)
    spreads |= {_UPPER + name: one for name, one in steady.spreads.items()}
    assumed += [f"{_UPPER}{note}" for note in steady.assumed]
    return spreads, assumed, steady


def rise_of(frame: Airframe) -> DragRise:
    """Return the factor on the drag of a stage by Mach number: its own table's, or the usual."""
    table = frame.drag_table()
    return drag_rise if table is None else table.factor


def stability_of(
    frame: Airframe, draws: Luck, mass: FloatArray, named: str = ""
) -> Stability:
    """Tell how rockets of these masses turn.

    ``draws``, shape (n,): inputs drawn; ``mass``, shape (n,): mass with propellant
    [kg]; ``named``: what stands before the names of the inputs.
    """
    side = CROSSFLOW * CYLINDER_DRAG * frame.length * frame.diameter
    margin = np.maximum(draws[f"{named}static margin"], _TURNS_OVER)
    inertia = draws[f"{named}moment of inertia"]
    return Stability(
        margin=margin * frame.diameter,
        lift_area=draws[f"{named}normal-force slope"] * frame.cross_section,
        side_area=np.full_like(mass, side),
        inertia=inertia * mass / frame.mass.value,
        arm=draws[f"{named}swing damping"],
    )


def curve_of(motor: Motor | None) -> ThrustCurve:
    """Return the shape of a motor's thrust; constant where nothing is known of it."""
    if motor is None or not motor.times:
        return CONSTANT_THRUST
    times = np.asarray(motor.times)
    return ThrustCurve(times / times[-1], np.asarray(motor.thrusts))


def with_upper(
    flight: Flight, rocket: Rocket, draws: Luck, rise: DragRise | None
) -> Rocket:
    """Add to rockets the stage, or the motors, that light in the air.

    ``flight``: the flight as planned; ``rocket``, shape (n,): the whole of them, with
    the motor that lights on the rail; ``draws``, shape (n,): inputs drawn; ``rise``:
    factor on the drag of the upper part by Mach number.

    Result: the same, with its upper part where it has one, shape (n,).
    """
    upper = flight.upper
    if upper is None:
        return rocket
    whole = flight.airframe
    own = replace(
        rocket,
        propellant=np.full_like(rocket.mass, upper.motor.propellant_mass),
        impulse=draws["impulse in the air"],
        burn_time=draws["burn time in the air"],
        curve=curve_of(upper.motor),
    )
    later = np.maximum(draws["ignition delay"], 0.0)
    if flight.sustainer is None:
        mass, parts = rocket.coasting, rocket.burnout
        steady = _lighter(rocket, mass)
        own = replace(own, mass=mass, stability=steady)
    else:
        frame = flight.sustainer
        mass = frame.mass.value * rocket.mass / whole.mass.value
        parts = rocket.burnout + np.maximum(draws["separation delay"], 0.0)
        own = replace(
            own,
            mass=mass,
            drag_area=draws["drag coefficient"] * frame.cross_section,
            stability=stability_of(frame, draws, mass, _UPPER),
            rise=rise,
        )
    return replace(rocket, upper=replace(own, parts=parts, lights=parts + later))


def _lighter(rocket: Rocket, mass: FloatArray) -> Stability:
    """Return the same stability with the inertia of less mass."""
    inertia = rocket.stability.inertia * mass / rocket.mass
    return replace(rocket.stability, inertia=inertia)


class Ways:
    """The ways up of one block: as planned, and others flown once where a case asks.

    Apart from the flights that go them, so that a block is let go of as soon as it is done.
    """

    def __init__(
        self, flight: Flight, rocket: Rocket, draws: Luck, air: AirColumn
    ) -> None:
        self._flight, self._draws, self._air = flight, draws, air
        self._flown = {"": (rocket, ascend(rocket, air))}

    def __call__(self, way: str) -> tuple[Rocket, Ascent]:
        """Return the rockets on a way, and how they rise."""
        if way not in self._flown:
            rocket = on_way(way, self._flight, self._flown[""][0], self._draws)
            self._flown[way] = rocket, ascend(rocket, self._air)
        return self._flown[way]


def on_way(way: str, flight: Flight, rocket: Rocket, draws: Luck) -> Rocket:
    """Return the same rockets where they go up another way.

    ``way``: a way of `driftmap.rocket.stage_cases`, or the booster by itself; ``flight``:
    the flight as planned; ``rocket``, shape (n,): the rockets as planned; ``draws``,
    shape (n,): inputs drawn.

    Result: the rockets on that way, shape (n,).
    """
    upper = rocket.upper
    assert upper is not None
    never = np.full_like(rocket.mass, np.inf)
    none = np.zeros_like(rocket.mass)
    if way == UNLIT:
        upper = replace(upper, lights=never)
    elif way == LATE:
        upper = replace(upper, lights=upper.lights + draws["late ignition"])
    elif way == TOGETHER:
        upper = replace(
            upper,
            mass=rocket.coasting,
            drag_area=rocket.drag_area,
            stability=_lighter(rocket, rocket.coasting),
            rise=rocket.rise,
        )
    else:
        assert way == BOOSTER
        mass = flight.booster_mass * rocket.mass / flight.airframe.mass.value
        # A point with drag: it neither holds its nose ahead nor lifts.
        still = Stability(none, none, none, np.ones_like(none), none)
        upper = replace(
            upper,
            mass=mass,
            propellant=none,
            drag_area=draws[FALLING_BACK],
            stability=still,
            rise=None,
            lights=never,
        )
    return replace(rocket, upper=upper)
