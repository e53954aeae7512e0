"""What a file claims of recovery devices: when they open, how large they are and what they hold."""

from __future__ import annotations

from collections.abc import Iterator
from math import sqrt
from typing import Final

import numpy as np

from driftmap.air.atmosphere import air_density
from driftmap.core.units import STANDARD_GRAVITY
from driftmap.montecarlo.cloud import Cloud
from driftmap.montecarlo.openings import OPENED
from driftmap.rocket.bodies import CROSSFLOW_DRAG, TUMBLE, bench_of
from driftmap.rocket.flight import Flight
from driftmap.rocket.likelihood import WORKS
from driftmap.rocket.opening_order import by_opening
from driftmap.rocket.stage_cases import booster_by_opening
from driftmap.rocket.stages import Device
from driftmap.verdict.claim import MEMORY, Claim

_LOW, _HIGH = 75.0, 600.0
"""Height at which the last device opens [m]: altimeters offer 300 ft or more (from memory),
and people set up to 1,500 ft (common practice, no source); margins assumed."""

_OPEN: Final = 30.0
"""Height at which nearly every device must be open [m]: it then has a second or two in which to
fill and slow what hangs on it; assumed."""

_OWN_CUT, _STREAMER = (0.7, 1.3), (0.5, 2.0)  # of the published range's ends; assumed

_RIBBON: Final = (4.0, 30.0)
"""Length of a streamer over its width: ten to one is common practice (no source); assumed."""

_HARDLY_BRAKES: Final = {"canopy": 2.0, "streamer": 3.0}
"""Speed under a device alone over that of the rocket tumbling: below one that brakes less
nobody knows that it tumbles, as it is flown; assumed. Usual drogues have 0.7 to 1.7, the
streamers of small rockets 1.4 to 2.5 (their sizes from memory)."""

_TOO_SMALL: Final = (
    "it hardly brakes, and nobody knows that the rocket tumbles below it: fit a larger one, "
    "unless a size is a slip or in a wrong unit"
)

_GLIDES: Final = (1.0, 15.0)
"""Greatest speed at which a canopy glides [m s⁻¹]: one that nobody steers glides up to a third or
half as fast as it sinks (from memory), and none keeps still; the least assumed."""

_PACKED: Final = (0.0, 0.25)
"""Mass of all devices over all that comes down: cloth and lines are some 3 to 15 % of common rockets
(common practice, no source); margin assumed."""

_SLOWEST: Final = 2.5
"""Speed under all devices [m s⁻¹]: common ones land at 3.5 to 7 (common practice, no source), and no
one carries cloth for less; assumed."""

_RECORDED: Final = (0.65, 1.5)
"""Speed of a fall as recorded over that planned: rising and sinking air, a pad some kilometres high
and a drag that nobody measured; assumed."""

_FILLS: Final = 50.0  # m, in which what opens at a height is open; assumed

_STURDY: Final = 3.0  # times a canopy as wide of its cloth, or of heavy nylon; assumed
_CORD: Final = 30e3  # N; tubular nylon of an inch holds 18 kN (from memory), a margin
_CLOTH: Final = (0.02, 1.0)  # kg/m², film to heavy nylon with all its lines; assumed
_BARE: Final = 0.9  # of the mass of the named cloth, without hem and lines; assumed

_LARGER: Final = (1.0, 1e6)
"""Drag area of a device over the largest that opens before it: one that opens under a larger one
changes little, and the two were swapped."""


def recovery_claims(cloud: Cloud) -> Iterator[Claim]:
    """List what a file says of its devices, and how they brake and open by it."""
    flight, apogee = cloud.plan.flight, float(np.median(cloud.apogee.height))
    yield from _devices(flight, apogee)
    yield from _braked(flight)
    yield from _carried(flight)
    yield from _in_turn(flight)
    yield from _as_recorded(flight)
    yield from _open_at_last(cloud, apogee)


def _in_turn(flight: Flight) -> Iterator[Claim]:
    """List how large each device is beside those that open before it."""
    booster = flight.booster.recovery if flight.booster else ()
    lower = booster_by_opening(flight) if len(booster) > 1 else []
    for devices in (by_opening(flight), lower):
        out = 0.0
        for device in devices:
            area = device.usual_drag * device.cloth_area
            if out:
                what = (
                    f"drag area of {device.name} over the largest that opens before it"
                )
                yield Claim(what, area / out, _LARGER)
            out = max(out, area)


def _devices(flight: Flight, apogee: float) -> Iterator[Claim]:
    at = [d.opens_at.value for d in flight.devices if d.opens_at.at == "height"]
    for device in flight.devices:
        if device.opens_at.at == "height":
            height = device.opens_at.value
            what = f"height at which {device.name} opens, below an apogee of {apogee:.0f} m"
            most = min(apogee, _HIGH) if height == min(at) else apogee
            yield Claim(what, height, (min(_LOW, apogee / 2), most), "m")
        if device.kind == "streamer":
            what = f"length of {device.name} over its width"
            shape = (device.length or 0.0) / (device.width or 1.0)
            yield Claim(what, shape, _RIBBON, by_hand=True)
        if device.mass is not None:
            what = f"mass of {device.name} over its cloth"
            least = max(_CLOTH[0], _BARE * device.bare_cloth)
            common = (least, _CLOTH[1])
            dense = device.mass / device.cloth_area
            yield Claim(what, dense, common, "kg/m²", by_hand=True)
        if device.kind == "canopy" and device.glide is not None:
            what = f"greatest glide of {device.name}"
            yield Claim(what, device.glide, _GLIDES, "m/s", MEMORY)
        if (given := device.given_drag()) is not None:
            what = f"drag coefficient of {device.name} on its cloth"
            yield Claim(what, given.value, _published(device), source=MEMORY)
        for link, strength in device.strength.items():
            most = _CORD
            if link == "canopy" and device.kind == "canopy":
                cloth = device.cloth or "heavy nylon"
                most = device.strength_of(cloth) * _STURDY
            what = f"strength of {link} of {device.name}"
            yield Claim(what, strength, (0.0, most), "N")


def _open_at_last(cloud: Cloud, apogee: float) -> Iterator[Claim]:
    """List how high devices are open at last, whatever opens them and however late.

    One that nearly never fills before the ground is of a flight whose recovery does not work.
    """
    least = min(_OPEN, apogee / 4)
    for (cause, name), opened in cloud.openings.items():
        if cause == WORKS and opened.size:
            height = opened[OPENED.index("height")].astype(float)
            what = f"height above which {name} is open in 99 of 100 flights"
            low = float(np.quantile(height, 0.01))
            note = "let it open higher, or put a drogue before it: what only parts at apogee is flown nose first"
            common = (least, max(apogee, low))
            yield Claim(what, low, common, "m", note=note)


def _braked(flight: Flight) -> Iterator[Claim]:
    """List how much each device brakes by itself, beside the rocket that tumbles below it."""
    falling, whole, booster = flight.falling, flight.airframe, flight.booster
    each = [(device, falling.length, falling.diameter) for device in flight.recovery]
    if booster is not None:
        length = flight.booster_length or max(whole.length - falling.length, 0.0)
        each += [(device, length, whole.diameter) for device in booster.recovery]
    bench = bench_of(flight)
    for device, length, across in each:
        cloth, drag = bench.cloth(device)
        tumbling = CROSSFLOW_DRAG * length * across * TUMBLE.middle
        speed = sqrt(tumbling / (cloth * bench.spreads[drag].middle))
        what = f"speed under {device.name} alone over that of the tumbling rocket"
        yield Claim(what, speed, (0.0, _HARDLY_BRAKES[device.kind]), note=_TOO_SMALL)


def _carried(flight: Flight) -> Iterator[Claim]:
    """List how heavy and how large all devices are beside what they bring down."""
    booster, bench = flight.booster, bench_of(flight)
    lower = () if booster is None else booster.recovery
    for devices, mass, of in (
        (flight.recovery, flight.dry_mass, ""),
        (lower, flight.booster_mass, " of the booster"),
    ):
        if devices and mass > 0:
            cloth = sum(bench.cloth_mass(device) for device in devices)
            what = f"mass of all devices{of}, as told or by their cloth, over what they bring down"
            yield Claim(what, cloth / mass, _PACKED, by_hand=True)
            area = sum(device.usual_drag * device.cloth_area for device in devices)
            speed = sqrt(2 * mass * STANDARD_GRAVITY / (float(air_density(0.0)) * area))
            text = f"speed{of} under all devices near the sea"
            yield Claim(text, speed, (_SLOWEST, np.inf), "m/s")


def _as_recorded(flight: Flight) -> Iterator[Claim]:
    """List how fast the record came down beside what hangs open there by the file.

    A torn or half open canopy, or another one, shows in the record of the flight alone.
    """
    for high, low, speed in flight.sinks:
        at = [(d, d.opens_at) for d in flight.recovery]
        if any(o.at == "height" and low - _FILLS < o.value <= high for _, o in at):
            continue  # something opens on the way
        out = [d for d, o in at if o.at != "height" or o.value > high]
        area = sum(device.usual_drag * device.cloth_area for device in out)
        if area:
            dense = float(air_density((high + low) / 2))
            planned = sqrt(2 * flight.dry_mass * STANDARD_GRAVITY / (dense * area))
            what = f"speed of the record's way down at {low:.0f} to {high:.0f} m over that planned"
            yield Claim(what, speed / planned, _RECORDED)


def _published(device: Device) -> tuple[float, float]:
    """Return the range that a device's drag coefficient commonly lies in."""
    low, high = device.published_drag
    less, more = _STREAMER if device.kind == "streamer" else _OWN_CUT
    return less * low, more * high
