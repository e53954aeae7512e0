"""What a file claims beside what is published, common, or can be known at all.

A claim is heard: it counts in every figure told. But a go that rests on one is none.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import chain
from math import radians
from typing import Final

import numpy as np

from driftmap.core.units import STANDARD_GRAVITY
from driftmap.ground.areas import Site
from driftmap.montecarlo.cloud import Cloud
from driftmap.rocket.airframe import Airframe
from driftmap.rocket.fields import Trigger, Uncertain
from driftmap.rocket.flight import Flight
from driftmap.rocket.stages import BURNS, Motor
from driftmap.rules.answers import Answers
from driftmap.rules.vocabulary import FACTS
from driftmap.verdict.check import MISSING_INPUT, Check, Kind, beside, held
from driftmap.verdict.claim import MEMORY, Claim, held_claims
from driftmap.verdict.piece_claims import (
    burst_claims,
    case_claims,
    piece_claims,
    stage_claims,
)
from driftmap.verdict.recovery_claims import recovery_claims

_DRAG: Final = (0.2, 1.2)
"""Drag coefficient nose first that a finned rocket may have: 0.35 to 0.6 published of clean
ones (from memory: Hoerner, *Fluid-Dynamic Drag*, 1965), half and twice of that assumed."""

_RISE, _BELOW, _EVEN = (0.6, 4.0), 0.75, (0.8, 1.3)
"""Drag coefficient at a Mach number over that at rest, and below which number that is how much.
The transonic rise of finned bodies is two- to threefold (from memory: Hoerner); the rest assumed."""

_DRAG_AT_ALL: Final = (0.15, 1.6)
"""The coefficient that comes out of both: 0.7 to 1.0 of finned bodies about Mach 1 (from memory:
Hoerner); margins assumed."""

_LOOKED_AT: Final = (0.3, 0.55, 0.74)  # Mach numbers, between those of a table as well

_SLOPE: Final = (4.0, 40.0)
"""Slope of the normal force on the cross-section [rad⁻¹]: 2 of the nose, and some 6 to 20 of
three or four fins (from memory); wide margins assumed."""

_STEADY: Final = (0.0, 6.0)  # cal; what fliers aim for: common practice, no source
_STEADY_OF_LENGTH: Final = 0.2
"""Of the rocket's length, where that is more: slender ones are steady by a tenth of it or so (common
practice, no source); margin assumed."""

_RAIL: Final = (0.3, 8.0)  # m; common ones have 1 to 6 (common practice, no source)
_RAIL_OF_ROCKET, _ROD = 3.5, 2.0
"""Travel on the rail beside the length of the rocket, and that of a rod for any [m]: beyond
both, feet were told as metres; assumed."""

_DENSITY: Final = (70.0, 1800.0)
"""Lift-off mass over the volume of body and nose [kg m⁻³]: common rockets have some 300 to
900, tubes of cardboard from 75 on (common practice, no source); margins assumed."""

_SLENDER, _MOST_OF_TWO = (4.0, 40.0), 60.0
"""Length of a rocket over its diameter, and at the most of two stages together: common ones have 10
to 30 (common practice, no source), half and a third more of that assumed."""

_IMPULSE, _NO_POWDER, _LARGE = (700.0, 2700.0), 1000.0, 80.0
"""Total impulse over propellant [m s⁻¹]: black powder gives some 800, composites up to 2,400 (from
memory); the least of motors over that many N s, which are of no powder; margins assumed."""

_PEAK: Final = (1.0, 6.0)  # motors of black powder reach some 3 (from memory); assumed
_PUSH: Final = (1.0, 50.0)
"""Average thrust over the weight: common rockets have 5 to 20 (common practice, no source), the
fastest motors on the lightest some 90 (from memory), which an officer is asked about; what barely
lifts is held by its speed on the rail."""

_BURN, _OF_IMPULSE, _LONGEST = 0.25, 320.0, 60.0
"""Shortest burn of a motor of so much impulse [s], [N s], and the longest of any: the fastest certified
ones burn 0.33 s with 420 N s (from memory), and webs grow as the size does; margins assumed."""

_PAUSE: Final = (0.0, 0.1)
"""For how long one motor's thrust may be as good as none before it comes back [s]; assumed.
Motors that light one after the other may also not light."""

_INERTIA: Final = (0.02, 0.2)
"""Moment of inertia over mass and length squared: 1/12 of a uniform rod, a quarter of the
mass at either end; assumed."""

_ALIKE: Final = {False: 0.005, True: 0.03}
"""Least spread of a certified motor from the next, and of one's own; assumed."""

_LABEL: Final = {"total_impulse": (0.6, 1.8), "average_thrust": (0.6, 4.0)}
"""Figure on a motor's label over that which explains the flight; assumed. A weaker motor
leaves the rail slower than was flown; of one much stronger nothing is told too fair, but the
label is another's."""


def implausible(cloud: Cloud, answers: Answers | None = None) -> Iterator[Check]:
    """Hold on figures that no rocket has, and on spreads that nobody can know.

    They are slips of the pen, wrong units or wishes; each errs somewhere, and people ask.
    What a tape or a scale tells is told beside the verdict once somebody measured it again.
    """
    flight = cloud.plan.flight
    each = _steady(cloud), _body(flight), recovery_claims(cloud)
    told = (f(flight) for f in (piece_claims, case_claims, stage_claims, burst_claims))
    yield from held_claims(chain(*each, *told, _spreads(flight)), answers)


def label_claims(cloud: Cloud, answers: Answers | None) -> Iterator[Check]:
    """Hold on a motor's label that cannot have carried a flight known by its flight alone."""
    flight = cloud.plan.flight
    if answers is None or not (flight.motor is None or flight.fitted):
        return
    if flight.motor is None and answers.numbers.get("motor_count", 1.0) > 1:
        text = (
            "several motors were answered, and that some of them do not light is not flown: "
            "tell them in the flight file, [motor] with its count"
        )
        yield held(Kind.MISSING, MISSING_INPUT, text)
    impulse, burn = np.exp(cloud.plan.log_motor)  # fitted, drag and all
    yield from held_claims(_of_label(answers.numbers, float(impulse), float(burn)))


def _of_label(
    told: Mapping[str, float], impulse: float, burn: float
) -> Iterator[Claim]:
    """List what was answered of a motor, beside what explains the flight."""
    beside = "lies beside what flies, {:g} to {:g}"
    note = "the label and the flight do not belong together; read it again"
    if told.get("motor_count") == 1 and "motor_impulse" in told:
        told = {"total_impulse": told["motor_impulse"], **told}
    for name, takes in (("total_impulse", impulse), ("average_thrust", impulse / burn)):
        if name in told:
            words = name.replace("_", " ")
            what = f"{words} on the label over what apogee and time take"
            share = told[name] / takes
            yield Claim(what, share, _LABEL[name], how=beside, note=note)
    all_of_it = told.get("total_impulse", impulse)
    largest = told.get("motor_impulse", all_of_it)
    for name, of in (("propellant_mass", all_of_it), ("motor_propellant", largest)):
        if name in told:
            what = f"total impulse over {FACTS[name].text}, as answered"
            yield Claim(what, of / told[name], _of_propellant(of), "N s/kg", MEMORY)


def _of_propellant(impulse: float) -> tuple[float, float]:
    """Return the common range of impulse over propellant of a motor, or of some."""
    return (_NO_POWDER if impulse > _LARGE else _IMPULSE[0]), _IMPULSE[1]


def file_remarks(flight: Flight, site: Site) -> Iterator[Check]:
    """Put beside the verdict what files say to people, and nothing reads."""
    return (beside(told, "as it stands there") for told in (*flight.said, *site.said))


def _steady(cloud: Cloud) -> Iterator[Claim]:
    plan = cloud.plan
    flight = plan.flight
    for balance, of, frame in (
        (plan.balance, "", flight.airframe),
        (plan.upper_balance, " of the sustainer", flight.sustainer or flight.airframe),
    ):
        if balance is not None and balance.known:
            slender = _STEADY_OF_LENGTH * frame.length / frame.diameter
            common = (_STEADY[0], max(_STEADY[1], slender))
            yield Claim(f"static margin{of}", balance.margin[1], common, "cal")


def _body(flight: Flight) -> Iterator[Claim]:
    upper = flight.sustainer
    yield from _frame(flight.airframe, _SLENDER[1] if upper is None else _MOST_OF_TWO)
    if upper is not None:
        yield from _frame(upper, _SLENDER[1], " of the sustainer")
    longest = max(_ROD, _RAIL_OF_ROCKET * flight.airframe.length)
    common = (_RAIL[0], min(_RAIL[1], longest))
    yield Claim("travel on the rail", flight.rail.length, common, "m", by_hand=True)
    for motor in flight.motors:
        impulse = motor.total_impulse.value
        what, speed = "total impulse over propellant", impulse / motor.propellant_mass
        common = _of_propellant(impulse / motor.count)
        yield Claim(what, speed, common, "N s/kg", MEMORY, by_hand=motor.own)
        least = _BURN * (impulse / _OF_IMPULSE) ** (1 / 3)
        burn = motor.burn_time.value
        yield Claim("burn time", burn, (least, _LONGEST), "s", MEMORY)
        peak = max(motor.thrusts, default=motor.average_thrust) / motor.average_thrust
        yield Claim("greatest thrust over the average", peak, _PEAK)
        what = (
            "pause of the thrust (motors that light later go in a table of their own)"
        )
        yield Claim(what, _pause(motor), _PAUSE, "s")
    for motor in flight.motors[:1]:
        weight = flight.airframe.mass.value * STANDARD_GRAVITY
        what = "average thrust over the weight"
        yield Claim(what, motor.average_thrust / weight, _PUSH, by_hand=True)


def _pause(motor: Motor) -> float:
    """Return the longest time without thrust between first and last of it [s]."""
    if not motor.times:
        return 0.0
    time = np.linspace(motor.times[0], motor.times[-1], 4000)
    thrust = np.interp(time, motor.times, motor.thrusts)
    return float(np.diff(time[thrust >= BURNS * thrust.max()]).max())


def _frame(frame: Airframe, longest: float, of: str = "") -> Iterator[Claim]:
    slender = frame.length / frame.diameter
    what = f"length over diameter{of}"
    yield Claim(what, slender, (_SLENDER[0], longest), by_hand=True)
    drag, mass = frame.drag_coefficient.value, frame.mass.value
    yield Claim(f"drag coefficient nose first{of}", drag, _DRAG, source=MEMORY)
    yield from _drag_by_mach(frame, of)
    if frame.lift_slope is not None:
        what = f"slope of the normal force{of}"
        yield Claim(what, frame.lift_slope.value, _SLOPE, "per rad", MEMORY)
    if frame.moment_of_inertia is not None:
        share = frame.moment_of_inertia.value / (mass * frame.length**2)
        what = f"moment of inertia over mass and length squared{of}"
        yield Claim(what, share, _INERTIA)
    density = mass / (frame.cross_section * frame.length)
    what = f"lift-off mass over the body's volume{of}"
    yield Claim(what, density, _DENSITY, "kg/m³", by_hand=True)


def _drag_by_mach(frame: Airframe, of: str) -> Iterator[Claim]:
    """List what a table makes of the drag, at its Mach numbers and between them."""
    if not frame.drag_by_mach:
        return
    machs, values = zip(*frame.drag_by_mach, strict=True)
    for mach in sorted({*machs, *_LOOKED_AT}):
        rise = float(np.interp(mach, machs, values)) / values[0]
        what = f"drag at Mach {mach:g} over that at rest{of}"
        common = _EVEN if mach < _BELOW else _RISE
        yield Claim(what, rise, common, source=MEMORY)
        what = f"drag coefficient at Mach {mach:g}{of}"
        all_of_it = rise * frame.drag_coefficient.value
        yield Claim(what, all_of_it, _DRAG_AT_ALL, source=MEMORY)


def _spreads(flight: Flight) -> Iterator[Claim]:
    """List the spreads that a file states, each with the least that is ever known."""
    for what, given, least, unit in _known(flight):
        if given is not None and given.spread is not None:
            size = {"share": given.value, "deg": radians(1.0)}.get(unit, 1.0)
            most = 10.0 if unit == "share" else 1e9
            yield Claim(
                f"spread of {what}",
                given.spread / size,
                (least, most),
                unit,
                how="is less than anyone can know, {:.3g}",
                note="state the spread of one flight from the next, or leave it out",
            )


def _known(
    flight: Flight,
) -> Iterator[tuple[str, Uncertain | Trigger | None, float, str]]:
    """Yield what may have a spread, the least of it, and in which unit."""
    frame, upper, stage = flight.airframe, flight.upper, flight.sustainer
    share = "share"
    yield "drag coefficient", frame.drag_coefficient, 0.01, share
    yield "rail's aim", flight.rail.angle, 0.2, "deg"
    yield "static margin", frame.stability, 0.03, "cal"
    yield "lift-off mass", frame.mass, 0.001, share
    yield "slope of the normal force", frame.lift_slope, 0.02, share
    yield "moment of inertia", frame.moment_of_inertia, 0.02, share
    for device in flight.devices:
        of, opens = f"of {device.name}", device.opens_at
        yield f"drag coefficient {of}", device.drag_coefficient, 0.02, share
        yield f"opening delay {of}", device.opening_delay, 0.05, "s"
        least, unit = (1.0, "m") if opens.at == "height" else (0.05, "s")
        yield f"what opens {device.name}", opens, least, unit
    if flight.motor is not None:
        least = _ALIKE[flight.motor.own]
        yield "total impulse", flight.motor.total_impulse, least, share
        yield "burn time", flight.motor.burn_time, least, share
    if flight.apogee is not None:
        yield "apogee", flight.apogee.height, _ALIKE[flight.apogee.own], share
        yield "time to apogee", flight.apogee.time, 0.02, "s"
    if upper is not None:
        yield "ignition delay", upper.ignition, 0.02, "s"
        least = _ALIKE[upper.motor.own]
        yield "impulse in the air", upper.motor.total_impulse, least, share
    if upper is not None and stage is not None:
        of = "of the sustainer"
        yield f"drag coefficient {of}", stage.drag_coefficient, 0.01, share
        yield f"static margin {of}", stage.stability, 0.03, "cal"
        yield "separation delay", stage.separation, 0.02, "s"
