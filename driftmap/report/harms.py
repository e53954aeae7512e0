"""Harm in everyday words: how fast, what it does to a person, and what it hits like."""

from __future__ import annotations

from typing import Final

from driftmap.air.atmosphere import STANDARD_GRAVITY
from driftmap.failures.bodies import by_opening
from driftmap.failures.cases import WORKS
from driftmap.hazard.zones import Zone, grade
from driftmap.report.voice import Voice
from driftmap.rocket.flight import Flight
from driftmap.units import parse

__all__ = ["comes_down", "hits_like", "weight_name", "zone_lines"]

_WEIGHTS: Final = {"us": "2 lb", "si": "1 kg"}
"""A weight that everybody has held, to tell an energy by the height it is dropped from."""

_LEAST: Final = {"us": "1 ft", "si": "1 m"}


def comes_down(flight: Flight, speed: float, energy: float, voice: Voice) -> str:
    """Say how the rocket comes down when all is well, and what it does to a person.

    Parameters
    ----------
    flight : Flight
        What is flown.
    speed, energy : float
        Median speed [m s⁻¹] and energy [J] on landing.
    voice : Voice
        Writes the messages.

    Returns
    -------
    str
        By its energy, never by its case.
    """
    harm = voice.say(f"harm.{_harm(energy)}")
    told = voice.fall(speed)
    device = _last_device(flight)
    if not device:
        return voice.say("harm.bare", speed=told, harm=harm)
    name = voice.say(f"device.{device}")
    return voice.say("harm.under", device=name, speed=told, harm=harm)


def _harm(energy: float) -> str:
    """Grade an energy; below the published one of a casualty it still hurts."""
    if grade(energy) == "danger":
        return "kills"
    return "injures" if grade(energy) else "bruises"


def _last_device(flight: Flight) -> str:
    """Give the kind of the device that the rocket lands under."""
    devices = sorted(flight.recovery, key=by_opening)
    return devices[-1].kind if devices else ""


def hits_like(energy: float, voice: Voice) -> str:
    """Tell an energy as the height that a weight is dropped from.

    Parameters
    ----------
    energy : float
        Energy [J].
    voice : Voice
        Writes the figure.

    Returns
    -------
    str
        Height, in vacuum.
    """
    mass = parse(_WEIGHTS[voice.units], "mass")
    height = energy / (mass * STANDARD_GRAVITY)
    least = parse(_LEAST[voice.units], "length")
    if height < least:
        return voice.say("figure.under", height=voice.distance(least))
    return voice.distance(height)


def weight_name(voice: Voice) -> str:
    """Name the weight that `hits_like` speaks of.

    Parameters
    ----------
    voice : Voice
        Knows the units.

    Returns
    -------
    str
        The weight.
    """
    return voice.number(_WEIGHTS[voice.units])


def zone_lines(flight: Flight, zone: Zone, voice: Voice) -> list[str]:
    """Say in two short lines what comes down in a zone.

    Parameters
    ----------
    flight : Flight
        What is flown.
    zone : Zone
        The zone.
    voice : Voice
        Writes the messages.

    Returns
    -------
    list of str
        How fast, and when.
    """
    device = _last_device(flight) if zone.case == WORKS else ""
    speed = voice.fall(zone.speed)
    first = voice.say("zone.falls", speed=speed)
    if device:
        name = voice.say(f"device.{device}")
        first = voice.say("zone.under", device=name, speed=speed)
    return [first, voice.say("zone.after", time=voice.seconds(zone.soonest))]
