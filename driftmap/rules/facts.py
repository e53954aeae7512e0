"""Facts of one flight at one site on one day, as far as they are known."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

import numpy as np
import shapely

from driftmap.air.atmosphere import STANDARD_GRAVITY
from driftmap.ground.site import Site
from driftmap.montecarlo.cloud import Cloud
from driftmap.rocket.flight import Flight
from driftmap.rules.kinds import FACTS, GROUPS

__all__ = ["EXPECTED_QUANTILE", "Facts", "expected_altitude", "facts_of", "least_width"]

EXPECTED_QUANTILE: Final = 0.99
"""Share of flights that stay below the greatest height expected. Our choice: no rule read
says how sure a "maximum expected altitude" must be."""


@dataclass(frozen=True, slots=True)
class Facts:
    """What rules are compared with.

    Parameters
    ----------
    numbers : mapping of str to float
        By key of `driftmap.rules.kinds.FACTS`, in SI; what is not known is left out.
    groups : mapping of str to tuple of (str, float)
        By key of `driftmap.rules.kinds.GROUPS`: name of each area and its distance from
        the pad [m].

    Raises
    ------
    ValueError
        If a key is unknown or a number is not finite.
    """

    numbers: Mapping[str, float] = field(default_factory=dict)
    groups: Mapping[str, tuple[tuple[str, float], ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for given, known in ((self.numbers, FACTS), (self.groups, GROUPS)):
            if unknown := set(given) - set(known):
                raise ValueError(f"{sorted(unknown)[0]!r} is no fact")
        every = [
            *self.numbers.values(),
            *(d for g in self.groups.values() for _, d in g),
        ]
        if not all(math.isfinite(number) for number in every):
            raise ValueError("'numbers' and distances must be finite")
        object.__setattr__(self, "numbers", MappingProxyType(dict(self.numbers)))
        object.__setattr__(self, "groups", MappingProxyType(dict(self.groups)))


def facts_of(
    flight: Flight,
    site: Site,
    *,
    altitude: float | None = None,
    surface_wind: float | None = None,
) -> Facts:
    """Collect what flight and site files tell.

    Parameters
    ----------
    flight, site : Flight, Site
        The flight and the site.
    altitude : float, optional
        Greatest height expected above the site [m], from `expected_altitude`.
    surface_wind : float, optional
        Wind speed at 10 m [m s⁻¹].

    Returns
    -------
    Facts
        Numbers and distances; what the files do not tell is left out.
    """
    pad = shapely.Point(0.0, 0.0)
    mass = float(flight.airframe.mass.value)
    numbers = {
        "liftoff_mass": mass,
        "liftoff_weight": mass * STANDARD_GRAVITY,
        "rail_tilt": float(flight.rail.angle.value),
        "waiver_ceiling": site.waiver.ceiling,
        "site_dimension": least_width(site.boundary),
        "boundary_distance": float(pad.distance(site.boundary.boundary)),
    }
    if flight.motor is not None:
        numbers |= {
            "total_impulse": float(flight.motor.total_impulse.value),
            "motor_count": float(flight.motor.count),
            "propellant_mass": flight.motor.propellant_mass,
            "average_thrust": float(
                flight.motor.total_impulse.value / flight.motor.burn_time.value
            ),
        }
    if altitude is not None:
        numbers["expected_altitude"] = altitude
    if surface_wind is not None:
        numbers["surface_wind"] = surface_wind
    groups = {
        name: tuple(
            (area.name, float(pad.distance(area.shape)))
            for area in site.areas
            if area.role in group.roles
        )
        for name, group in GROUPS.items()
    }
    return Facts(numbers, groups)


def least_width(shape: shapely.Geometry) -> float:
    """Give the least dimension of a piece of ground.

    Parameters
    ----------
    shape : shapely.Polygon or shapely.MultiPolygon
        The ground, in metres.

    Returns
    -------
    float
        Least distance between two parallel lines that hold the ground between them, which
        is the shorter side of the narrowest rectangle around it [m]. Of several separate
        fields it is that of the widest, not that of all together.

    Notes
    -----
    A code speaks of the shorter side of a rectangular site or the diameter of a round
    one. A field with a bay in its edge is narrower than its rectangle: whoever draws it
    should leave the bay out.

    Examples
    --------
    >>> least_width(shapely.box(0, 0, 900, 400))
    400.0
    """
    return max(_width(shapely.convex_hull(part)) for part in shapely.get_parts(shape))


def _width(hull: shapely.Geometry) -> float:
    """Measure a convex outline across each of its edges; the least width is among them."""
    corners = shapely.get_coordinates(hull)
    edges = np.diff(corners, axis=0)
    across = np.stack([-edges[:, 1], edges[:, 0]]) / np.hypot(*edges.T)
    return float(np.ptp(corners @ across, axis=0).min())


def expected_altitude(cloud: Cloud) -> float:
    """Give the greatest height expected of a flight.

    Parameters
    ----------
    cloud : Cloud
        Flights flown.

    Returns
    -------
    float
        Height above the site that 99 % of them stay below [m].

    Raises
    ------
    ValueError
        If an apogee is not finite.
    """
    height = cloud.apogee.height
    if not np.isfinite(height).all():
        raise ValueError("'cloud' must hold finite apogees only")
    return float(np.quantile(height, EXPECTED_QUANTILE))
