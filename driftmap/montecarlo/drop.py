"""One body let go in the mean wind, without luck, as plain data."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, Final

import numpy as np

from driftmap.air.column import Sky, mean_air
from driftmap.air.wind import WindProfile
from driftmap.core.errors import TooHighError
from driftmap.core.units import STANDARD_GRAVITY, show
from driftmap.trajectory.descent import fall
from driftmap.trajectory.motion import Motion

_TOP_OF_AIR: Final = 20_000.0  # m above sea level, as far as the model's air goes


def drop_document(
    mass: float,
    drag_area: float,
    height: float,
    wind: WindProfile,
    site_altitude: float,
    *,
    speed: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> dict[str, Any]:
    """Drop a body through a wind flown as its mean, and write where it lands as plain data.

    ``drag_area``: its drag coefficient times reference area; ``speed``: over the ground, east,
    north and up, as it is let go at a height above the site.

    Raises `TooHighError` if it rises beyond the modelled air, and `ValueError` if no fall can be
    followed.
    """
    top = height + max(speed[2], 0.0) ** 2 / (2 * STANDARD_GRAVITY) + 100.0
    if site_altitude + top > _TOP_OF_AIR:
        raise TooHighError(
            f"the body must stay below {_TOP_OF_AIR:.0f} m above sea level "
            f"(it may come to {site_altitude + top:.0f} m)"
        )
    air = mean_air(wind, Sky(site_altitude), top)
    start = Motion(*np.array([0.0, 0.0, height, *speed, 0.0])[:, None])
    with np.errstate(all="ignore"):  # what comes out is held against all bounds
        landed = fall(start, mass, drag_area, air)
        found = {
            "east_m": landed.east.item(),
            "north_m": landed.north.item(),
            "time_s": landed.time.item(),
            "impact_speed_mps": landed.speed.item(),
            "energy_j": mass * landed.speed.item() ** 2 / 2,
        }
    if not all(map(math.isfinite, found.values())):
        raise ValueError(
            "no fall that can be followed; mass, area or speed is no body's"
        )
    return {**found, "notes": list(_of_the_wind(wind, height))}


def _of_the_wind(wind: WindProfile, height: float) -> Iterator[str]:
    """Tell what would hold a flight in this wind, and what it is where nobody read it."""
    yield from (f"This wind holds a flight: {note}." for note in wind.warned)
    east, north = (float(v) for v in wind.at(10.0))
    if wind.strongest and math.hypot(east, north) < wind.strongest / 4:
        yield "It comes from no one side: this is the middle of all, it may go any way."
    if height > wind.known_to:
        text = show(wind.known_to, "length", "si")
        yield f"It is known up to {text} only; above that it grows and turns as winds mostly do."
