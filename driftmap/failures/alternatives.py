"""Other ways to bring the same rocket down, to hold side by side."""

from __future__ import annotations

from typing import Final

from driftmap.rocket.flight import Device, Flight

__all__ = ["PLANNED", "alternatives"]

PLANNED: Final = "as planned"

_STREAMER_RATIO: Final = 10.0  # length in widths; the published range goes from 5 to 10
_STREAMER_WIDTH: Final = 2.5  # in body diameters; assumed


def alternatives(flight: Flight) -> dict[str, Flight]:
    """List the flight as planned and with other recovery.

    Parameters
    ----------
    flight : Flight
        The flight as planned. Its own ``[[alternative]]`` tables are used; where it has
        none, smaller, larger, lower and streamer versions are made up from the plan.

    Returns
    -------
    dict of str to Flight
        By name, the plan first.
    """
    found = {PLANNED: flight}
    if flight.alternatives:
        for own in flight.alternatives:
            found[own.name] = _with(flight, own.recovery)
        return found
    *before, last = flight.recovery
    made = _resized(last) | _lowered(last) if last.kind == "canopy" else {}
    if len(flight.recovery) == 1:
        made |= (
            _streamer(flight, last) if last.kind == "canopy" else _relengthened(last)
        )
    for name, device in made.items():
        found[name] = _with(flight, (*before, device))
    return found


def _with(flight: Flight, recovery: tuple[Device, ...]) -> Flight:
    return flight.model_copy(update={"recovery": recovery})


def _resized(canopy: Device) -> dict[str, Device]:
    """Make the canopy a size smaller and larger, its mass with its area."""
    found = {}
    for name, scale in (("smaller", 0.75), ("larger", 1.25)):
        change: dict[str, float | None] = {}
        for key, power in (
            ("diameter", 1),
            ("area", 2),
            ("spill_hole", 1),
            ("mass", 2),
        ):
            size = getattr(canopy, key)
            change[key] = None if size is None else size * scale**power
        found[f"{canopy.name} a quarter {name} across"] = canopy.model_copy(
            update=change
        )
    return found


def _lowered(canopy: Device) -> dict[str, Device]:
    trigger = canopy.opens_at
    if trigger.at != "height":
        return {}
    found = {}
    for word, scale in (("lower", 0.6), ("higher", 1.6)):
        height = round(trigger.value * scale)
        low = type(trigger)("height", float(height), trigger.spread)
        name = f"{canopy.name} {word}, at {height} m"
        found[name] = canopy.model_copy(update={"opens_at": low})
    return found


def _streamer(flight: Flight, canopy: Device) -> dict[str, Device]:
    width = _STREAMER_WIDTH * flight.airframe.diameter
    streamer = Device(
        name="streamer",
        kind="streamer",
        length=_STREAMER_RATIO * width,
        width=width,
        opens_at=canopy.opens_at,
    )
    return {f"streamer {width * 100:.0f} cm wide": streamer}


def _relengthened(streamer: Device) -> dict[str, Device]:
    found = {}
    for word, scale in (("half as long", 0.5), ("twice as long", 2.0)):
        length = (streamer.length or 0.0) * scale
        found[f"{streamer.name} {word}"] = streamer.model_copy(
            update={"length": length}
        )
    return found
