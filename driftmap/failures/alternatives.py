"""Other ways to bring the same rocket down, to hold side by side."""

from __future__ import annotations

from math import pi, sqrt
from typing import Final

from driftmap.core.units import STANDARD_GRAVITY
from driftmap.failures.bodies import CROSSFLOW_DRAG, TUMBLE
from driftmap.formulas.canopies import drag_spread
from driftmap.rocket.flight import Descent, Device, Flight, Trigger

__all__ = ["LANDING_SPEEDS", "NONE", "PLANNED", "alternatives", "canopy_for"]

NONE: Final = "no recovery, nose first"
_TWO_DEVICES: Final = ("main at apogee", "drogue only", "drogue fails")
_RECOVERY: Final = (
    "nothing deploys",
    "early opening",
    "late opening",
    "canopy tangles",
    "cord cuts the tube",
    *_TWO_DEVICES,
)
LANDING_SPEEDS: Final = (4.5, 6.0, 8.0)
"""Speeds that canopies are made up for [m s⁻¹]: gentle, usual, fast. Assumed."""

PLANNED: Final = "as planned"

_STREAMER_RATIO: Final = 10.0  # length in widths; the published range goes from 5 to 10
_STREAMER_WIDTH: Final = 2.5  # in body diameters; assumed


def alternatives(flight: Flight) -> dict[str, Flight]:
    """List the flight as planned and with other recovery.

    ``flight``: the flight as planned. Its own ``[[alternative]]`` tables are used;
    where it has none, smaller, larger, lower and streamer versions are made up from the
    plan.

    Result: by name, the plan first.
    """
    found = {PLANNED: flight}
    if flight.alternatives:
        for own in flight.alternatives:
            found[own.name] = _with(flight, own.recovery, own.descent)
        return found
    if not flight.recovery:
        canopies = _canopies(flight)
        for name, device in (_streamer(flight, Trigger("apogee")) | canopies).items():
            found[name] = _with(flight, (device,))
        return found
    *before, last = flight.recovery
    made = _resized(last) | _lowered(last) if last.kind == "canopy" else {}
    if len(flight.recovery) == 1:
        made |= (
            _streamer(flight, last.opens_at)
            if last.kind == "canopy"
            else _relengthened(last) | _canopies(flight)
        )
    for name, device in made.items():
        found[name] = _with(flight, (*before, device))
    found[NONE] = _with(flight, (), Descent(planned="nose first"))
    return found


def _with(
    flight: Flight, recovery: tuple[Device, ...], descent: Descent | None = None
) -> Flight:
    """Bring the same flight down otherwise, without the cases that this leaves no room for."""
    own = {device.name for device in flight.recovery}
    gone = own - {device.name for device in recovery}
    needs = _RECOVERY if not recovery else _TWO_DEVICES if len(recovery) == 1 else ()
    change = {
        "recovery": recovery,
        "descent": descent,
        "cases": {k: v for k, v in flight.cases.items() if k not in needs},
        "own_cases": tuple(
            case
            for case in flight.own_cases
            if not gone & {case.rocket_falls, *case.loose}
        ),
    }
    return flight.model_copy(update=change)


def _canopies(flight: Flight) -> dict[str, Device]:
    """Make canopies for a few speeds of landing, opened at apogee."""
    sizes = {speed: canopy_for(flight, speed) for speed in LANDING_SPEEDS}
    return {
        f"canopy of {across:.2f} m for {speed:g} m/s": Device.model_construct(
            # Of any size: no file says it.
            name="canopy",
            kind="canopy",
            diameter=across,
            opens_at=Trigger("apogee"),
        )
        for speed, across in sizes.items()
        if across is not None
    }


def canopy_for(flight: Flight, speed: float, density: float = 1.225) -> float | None:
    r"""Size a canopy for a speed of landing.

    .. math:: D_0 = \sqrt{\frac{4}{\pi C_D} \left(\frac{2 m g}{\rho v^2} - A\right)}

    Parameters
    ----------
    flight : Flight
        The flight; its tumbling airframe has the drag area `A`.
    speed : float
        Speed of landing [m s⁻¹].
    density : float
        Air density on the ground [kg m⁻³]; that at sea level when left out.

    Returns
    -------
    float or None
        Diameter laid flat of a flat circular canopy [m]; None where the rocket falls no
        faster without one. Middle values throughout: half of the flights land faster.
    """
    weight = 2 * flight.dry_mass * STANDARD_GRAVITY / (density * speed**2)
    frame = flight.falling
    bare = CROSSFLOW_DRAG * frame.length * frame.diameter * TUMBLE.middle
    drag = drag_spread("flat circular").middle
    area = (weight - bare) / drag
    return sqrt(4 * area / pi) if area > 0 else None


def _resized(canopy: Device) -> dict[str, Device]:
    """Make the canopy a size smaller and larger, its mass with its area."""
    powers = (("diameter", 1), ("area", 2), ("spill_hole", 1), ("mass", 2))
    found = {}
    for name, scale in (("smaller", 0.75), ("larger", 1.25)):
        sizes = {key: (getattr(canopy, key), scale**power) for key, power in powers}
        change = {
            k: None if v is None else v * times for k, (v, times) in sizes.items()
        }
        found[f"{canopy.name} a quarter {name} across"] = canopy.model_copy(
            update=change
        )
    return found


def _lowered(canopy: Device) -> dict[str, Device]:
    trigger, found = canopy.opens_at, {}
    for word, scale in (
        (("lower", 0.6), ("higher", 1.6)) if trigger.at == "height" else ()
    ):
        height = round(trigger.value * scale)
        low = Trigger("height", float(height), trigger.spread)
        name = f"{canopy.name} {word}, at {height} m"
        found[name] = canopy.model_copy(update={"opens_at": low})
    return found


def _streamer(flight: Flight, opens_at: Trigger) -> dict[str, Device]:
    width = _STREAMER_WIDTH * flight.falling.diameter
    streamer = Device.model_construct(
        name="streamer",
        kind="streamer",
        length=_STREAMER_RATIO * width,
        width=width,
        opens_at=opens_at,
    )
    return {f"streamer {width * 100:.0f} cm wide": streamer}


def _relengthened(streamer: Device) -> dict[str, Device]:
    return {
        f"{streamer.name} {word}": streamer.model_copy(
            update={"length": (streamer.length or 0.0) * scale}
        )
        for word, scale in (("half as long", 0.5), ("twice as long", 2.0))
    }
