"""One body dropped in the mean wind, with nothing drawn."""

from __future__ import annotations

from typing import Final

import numpy as np

from driftmap.air.column import Sky, mean_air
from driftmap.air.wind import WindProfile
from driftmap.core.errors import TooHighError
from driftmap.core.units import STANDARD_GRAVITY
from driftmap.trajectory.descent import fall
from driftmap.trajectory.motion import Motion

_TOP_OF_AIR: Final = 20_000.0  # m above sea level, as far as the model's air goes


def drop(
    mass: float,
    drag_area: float,
    height: float,
    wind: WindProfile,
    site_altitude: float,
    *,
    speed: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> Motion:
    """Drop one body and follow it to the ground.

    Parameters
    ----------
    mass, drag_area : float
        Its mass [kg], and its drag coefficient times reference area [m²].
    height : float
        Height above the site at which it is let go [m].
    wind : WindProfile
        The wind, flown as its mean.
    site_altitude : float
        Altitude of the site above mean sea level [m].
    speed : (float, float, float)
        Its speed over the ground east, north and up when let go [m s⁻¹].

    Returns
    -------
    Motion, shape (1,)
        Where, when and how fast it lands.

    Raises
    ------
    TooHighError
        If it rises beyond the modelled air.
    ValueError
        If no fall can be followed.
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
        found = [landed.east, landed.north, landed.time, landed.speed]
        if not np.isfinite([*found, mass * landed.speed**2]).all():
            raise ValueError(
                "no fall that can be followed; mass, area or speed is no body's"
            )
    return landed
