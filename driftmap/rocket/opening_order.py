"""In which order devices open, and which of them come out together."""

from __future__ import annotations

from math import atan, inf, sqrt
from typing import Final

from driftmap.core.spread import Spread
from driftmap.core.units import STANDARD_GRAVITY
from driftmap.rocket.flight import Flight
from driftmap.rocket.stages import Device

OPENING_DELAY: Final = Spread(
    "uniform", 0.5, 1.5, "open 0.5 to 1.5 s after its trigger"
)
"""From trigger to full canopy: ejection, line stretch and filling. Assumed; filling alone
takes 8 diameters of travel (from memory: Knacke, table 5-6), 0.5 s for 2 m at 30 m/s."""

_TOGETHER: Final = 2.0
"""What opens so soon after another of its trigger opens with it [s]; assumed."""


def by_opening(flight: Flight) -> list[Device]:
    """List the devices that come down with the rocket as they open, the first one first.

    By times and apogee, then falling heights. A time on the way up comes before apogee. What
    one trigger lets out comes out together, the largest first; but what is told to open long
    after waits for that.
    """
    top = rises_for(flight)

    soonest: dict[tuple[str, float], float] = {}
    for device in flight.recovery:
        at = device.opens_at.at, device.opens_at.value
        soonest[at] = min(_delay(device), soonest.get(at, inf))

    def key(device: Device) -> tuple[int, float, float]:
        trigger = device.opens_at
        waits = _delay(device) - soonest[trigger.at, trigger.value]
        waits = waits if waits > _TOGETHER else 0.0
        if trigger.at == "height":
            return 1, -trigger.value, waits
        return 0, top if trigger.at == "apogee" else trigger.value, waits

    return sorted(sorted(flight.recovery, key=size_rank, reverse=True), key=key)


def _delay(device: Device) -> float:
    given = device.opening_delay
    return OPENING_DELAY.middle if given is None else given.value


_NEAR: Final = {"apogee": 1.0, "time": 1.0, "height": 30.0}
"""Triggers nearer each other than this do not wait for each other [s, m]; assumed."""


def opens_together(first: Device, other: Device) -> bool:
    """Tell whether a device comes out before one that opens first can have slowed it."""
    one, two = first.opens_at, other.opens_at
    near = one.at == two.at and abs(one.value - two.value) < _NEAR[one.at]
    return near and abs(_delay(first) - _delay(other)) <= _TOGETHER


def size_rank(device: Device) -> tuple[bool, float]:
    """Rank devices by size: any canopy before any streamer."""
    return device.kind == "canopy", device.cloth_area


_THIN: Final = 1.0  # kg/m³, air up to some 2 km; assumed


def rises_for(flight: Flight, alone: tuple[float, float] | None = None) -> float:
    """Reckon when a flight is at its highest [s]; of a motor in the air nothing is counted.

    A burn as if without drag, then a coast straight up with drag.

    ``alone``: mass [kg] and drag area [m²] of what coasts, where that is not all.
    """
    if flight.apogee is not None:
        return flight.apogee.time.value
    motor, frame = flight.motor, flight.airframe
    if motor is None:
        return 0.0
    mass = frame.mass.value - motor.propellant_mass / 2
    burn = motor.burn_time.value
    speed = max(motor.total_impulse.value / mass - STANDARD_GRAVITY * burn, 0.0)
    area = frame.drag_coefficient.value * frame.cross_section
    left, area = alone or (mass - motor.propellant_mass / 2, area)
    steady = sqrt(left * STANDARD_GRAVITY / (_THIN / 2 * area))
    return burn + steady / STANDARD_GRAVITY * atan(speed / steady)
