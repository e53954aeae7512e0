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

_NEAR: Final = 1.0
"""Triggers nearer each other than this do not wait for each other [s]; assumed."""

_FALL: Final = 30.0
"""Speed at which heights count as times [m s⁻¹]: a rocket tumbles so, unless what opens before
any height slows it more; assumed."""


def by_opening(flight: Flight) -> list[Device]:
    """List the devices that come down with the rocket as they open, the first one first.

    By times and apogee, then falling heights, each with its delay. A time on the way up comes
    before apogee. What one trigger lets out comes out together, the largest first; but what is
    told to open long after waits for that.
    """
    speed = _sinks_before(flight)
    soonest: dict[tuple[str, float], float] = {}
    for device in flight.recovery:
        at = device.opens_at.at, device.opens_at.value
        soonest[at] = min(delay_of(device), soonest.get(at, inf))

    def key(device: Device) -> tuple[int, float]:
        least = soonest[device.opens_at.at, device.opens_at.value]
        late = delay_of(device) > least + _TOGETHER
        way, time = _trigger(flight, device, speed)
        return way, time + (delay_of(device) if late else least)

    return sorted(sorted(flight.recovery, key=size_rank, reverse=True), key=key)


def opens_together(flight: Flight, first: Device, other: Device) -> bool:
    """Return whether a device comes out before one that opens first can have slowed it."""
    (way, one), (other_way, two) = (_trigger(flight, each) for each in (first, other))
    near = way == other_way and abs(one - two) < _NEAR
    return near and abs(delay_of(first) - delay_of(other)) <= _TOGETHER


def _sinks_before(flight: Flight) -> float:
    """Reckon how fast a rocket comes down to the heights of its devices [m s⁻¹]."""
    out = [d for d in flight.recovery if d.opens_at.at != "height"]
    area = sum(d.usual_drag * d.cloth_area for d in out)
    if not area:
        return _FALL
    return min(_FALL, sqrt(flight.dry_mass * STANDARD_GRAVITY / (_THIN / 2 * area)))


def _trigger(flight: Flight, device: Device, speed: float = _FALL) -> tuple[int, float]:
    """Return on which part of the way, and when on it, a device is let out [s]."""
    trigger = device.opens_at
    if trigger.at == "height":
        return 1, -trigger.value / speed
    return 0, rises_for(flight) if trigger.at == "apogee" else trigger.value


def delay_of(device: Device) -> float:
    """Return the usual time from its trigger until it is open [s]."""
    given = device.opening_delay
    return OPENING_DELAY.middle if given is None else given.value


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
