"""Other ways to bring the same rocket down, to compare with the plan."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sqrt
from types import MappingProxyType
from typing import Final

from driftmap.core.units import STANDARD_GRAVITY
from driftmap.formulas.canopies import drag_spread
from driftmap.rocket.bodies import CROSSFLOW_DRAG, HANG, TUMBLE
from driftmap.rocket.fields import Trigger
from driftmap.rocket.flight import Flight
from driftmap.rocket.stages import Descent, Device

_TWO_DEVICES: Final = ("main at apogee", "drogue only", "drogue fails")
_RECOVERY: Final = (
    "nothing deploys",
    "early opening",
    "late opening",
    "canopy tangles",
    "cord cuts the tube",
    *_TWO_DEVICES,
)
_THROWN_OFF: Final = MappingProxyType(
    {"nose cone": "nose cone lost", "motor case": "motor case ejected"}
)
"""What recovery throws off though no file lists it, by kind, and the case of it."""

LANDING_SPEEDS: Final = (4.5, 6.0, 8.0)
"""Speeds that canopies are made up for [m s⁻¹]: gentle, usual, fast. Assumed."""

_NAMES: Final = MappingProxyType(
    {
        "planned": "as planned",
        "none": "no recovery, nose first",
        "smaller": "{device} a quarter smaller across",
        "larger": "{device} a quarter larger across",
        "lower": "{device} lower, at {size:.0f} m",
        "higher": "{device} higher, at {size:.0f} m",
        "shorter": "{device} half as long",
        "longer": "{device} twice as long",
        "streamer": "streamer {cm:.0f} cm wide, 10 times as long",
        "canopy": "canopy of {size:.2f} m for {speed:g} m/s",
    }
)
PLANNED: Final = _NAMES["planned"]
NONE: Final = _NAMES["none"]


@dataclass(frozen=True, slots=True)
class Made:
    """How an alternative is made up from the plan, for pages to tell in their own words.

    Parameters
    ----------
    way : str
        Key of what is done.
    device : str
        What it is done to.
    size : float
        Height of opening, width or diameter, as its name has it [m].
    speed : float
        Speed of landing it is made for [m s⁻¹].
    """

    way: str
    device: str = ""
    size: float = 0.0
    speed: float = 0.0

    @property
    def name(self) -> str:
        """What it is called in English."""
        cm = 100 * self.size
        words = {"device": self.device, "size": self.size, "speed": self.speed}
        return _NAMES[self.way].format(cm=cm, **words)


_STREAMER_RATIO: Final = 10.0  # length in widths; the published range goes from 5 to 10
_STREAMER_WIDTH: Final = 2.5  # in body diameters; assumed


def alternatives(flight: Flight) -> dict[str, Flight]:
    """List the flight as planned and with other recovery.

    ``flight``: the flight as planned. Its own ``[[alternative]]`` tables are used;
    where it has none, smaller, larger, lower and streamer versions are made up from the
    plan.
    """
    found = {PLANNED: flight}
    if flight.alternatives:
        for own in flight.alternatives:
            found[own.name] = _with(flight, own.recovery, own.descent)
        return found
    before = flight.recovery[:-1]
    for made, device in _made(flight).items():
        found[made.name] = _with(flight, (*before, device))
    if flight.recovery:
        found[NONE] = _with(flight, (), Descent(planned="nose first"))
    return found


def made_up(flight: Flight) -> dict[str, Made]:
    """Say by its name how each alternative of a flight is made up; none of a file's own."""
    if flight.alternatives:
        return {}
    made = (Made("planned"), *_made(flight), Made("none"))
    return {one.name: one for one in made}


def _made(flight: Flight) -> dict[Made, Device]:
    """Make up other devices in place of the last."""
    if not flight.recovery:
        return _streamer(flight, Trigger("apogee")) | _canopies(flight)
    last, alone = flight.recovery[-1], len(flight.recovery) == 1
    if last.kind == "canopy":
        made = _resized(last) | _lowered(last)
        return made | _streamer(flight, last.opens_at) if alone else made
    return _relengthened(last) | _canopies(flight) if alone else {}


def _with(
    flight: Flight, recovery: tuple[Device, ...], descent: Descent | None = None
) -> Flight:
    """Bring the same flight down otherwise, without the cases that this leaves no room for."""
    own = {device.name for device in flight.recovery}
    gone = own - {device.name for device in recovery}
    needs: tuple[str, ...] = _TWO_DEVICES if len(recovery) == 1 else ()
    if not recovery:
        listed = {piece.kind for piece in flight.pieces}
        thrown = (case for kind, case in _THROWN_OFF.items() if kind not in listed)
        needs = (*_RECOVERY, *thrown)
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


def _canopies(flight: Flight) -> dict[Made, Device]:
    """Make canopies for a few speeds of landing, opened at apogee."""
    sizes = {speed: canopy_for(flight, speed) for speed in LANDING_SPEEDS}
    return {
        Made("canopy", size=told, speed=speed): Device.model_construct(
            # Of any size: no file says it. What is told is what is flown.
            name="canopy",
            kind="canopy",
            diameter=told,
            opens_at=Trigger("apogee"),
        )
        for speed, across in sizes.items()
        if across is not None and (told := round(across, 2))
    }


def canopy_for(flight: Flight, speed: float, density: float = 1.225) -> float | None:
    r"""Size a canopy for a speed of landing.

    .. math:: D_0 = \sqrt{\frac{4}{\pi C_D} \left(\frac{2 m g}{\rho v^2} - A\right)}

    Parameters
    ----------
    flight : Flight
        The flight; its airframe hangs under it with the drag area `A`.
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
    broad = CROSSFLOW_DRAG * frame.length * frame.diameter
    if weight <= broad * TUMBLE.middle:
        return None
    area = (weight - broad * HANG.middle) / drag_spread("flat circular").middle
    return sqrt(4 * area / pi)


def _resized(canopy: Device) -> dict[Made, Device]:
    """Make the canopy a size smaller and larger, its mass with its area."""
    powers = (("diameter", 1), ("area", 2), ("spill_hole", 1), ("mass", 2))
    found = {}
    for name, scale in (("smaller", 0.75), ("larger", 1.25)):
        sizes = {key: (getattr(canopy, key), scale**power) for key, power in powers}
        change = {
            k: None if v is None else v * times for k, (v, times) in sizes.items()
        }
        found[Made(name, canopy.name)] = canopy.model_copy(update=change)
    return found


def _lowered(canopy: Device) -> dict[Made, Device]:
    trigger, found = canopy.opens_at, {}
    for word, scale in (
        (("lower", 0.6), ("higher", 1.6)) if trigger.at == "height" else ()
    ):
        height = round(trigger.value * scale)
        low = Trigger("height", float(height), trigger.spread)
        found[Made(word, canopy.name, height)] = canopy.model_copy(
            update={"opens_at": low}
        )
    return found


def _streamer(flight: Flight, opens_at: Trigger) -> dict[Made, Device]:
    width = round(_STREAMER_WIDTH * flight.falling.diameter, 2)
    streamer = Device.model_construct(
        name="streamer",
        kind="streamer",
        length=_STREAMER_RATIO * width,
        width=width,
        opens_at=opens_at,
    )
    return {Made("streamer", size=width): streamer}


def _relengthened(streamer: Device) -> dict[Made, Device]:
    length = streamer.length or 0.0
    return {
        Made(way, streamer.name): streamer.model_copy(update={"length": length * scale})
        for way, scale in (("shorter", 0.5), ("longer", 2.0))
    }
