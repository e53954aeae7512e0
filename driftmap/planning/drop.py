"""One body dropped through a wind, as plain data."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from driftmap.air.wind import WindProfile
from driftmap.core.units import show
from driftmap.montecarlo.drop import drop


def drop_document(
    mass: float,
    drag_area: float,
    height: float,
    wind: WindProfile,
    site_altitude: float,
    *,
    speed: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> dict[str, Any]:
    """Drop a body, and write where it lands as plain data; see `driftmap.montecarlo.drop`."""
    landed = drop(mass, drag_area, height, wind, site_altitude, speed=speed)
    return {
        "east_m": landed.east.item(),
        "north_m": landed.north.item(),
        "time_s": landed.time.item(),
        "impact_speed_mps": landed.speed.item(),
        "energy_j": mass * landed.speed.item() ** 2 / 2,
        "notes": list(_of_the_wind(wind, height)),
    }


def _of_the_wind(wind: WindProfile, height: float) -> Iterator[str]:
    """Tell what would hold a flight in this wind, and what it is where nobody read it."""
    yield from (f"This wind holds a flight: {note}." for note in wind.warned)
    east, north = (float(v) for v in wind.at(10.0))
    if wind.strongest and math.hypot(east, north) < wind.strongest / 4:
        yield "It comes from no one side: this is the middle of all, it may go any way."
    if height > wind.known_to:
        text = show(wind.known_to, "length", "si")
        yield f"It is known up to {text} only; above that it grows and turns as winds mostly do."
