"""The limits a verdict compares with: defaults, and the stricter ones people set."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import degrees, inf
from types import MappingProxyType
from typing import Final

from driftmap.errors import FlightError, SiteError
from driftmap.ground.site import Site
from driftmap.hazard.harm import COLLECTIVE, INDIVIDUAL
from driftmap.rocket.flight import Flight
from driftmap.units import parse

__all__ = ["LIMITS", "LOOSER", "Limit", "read_limits"]

LOOSER: Final = "looser than this tool's default"
"""What the source of a limit says that a file has loosened."""

_ASSUMED: Final = "default of this tool, no source"
_OWN: Final = "none here: the rules of the range set it"


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit.

    Parameters
    ----------
    value : float
        The limit in SI.
    dimension : str
        A key of `driftmap.units.DIMENSIONS`.
    strict : {"low", "high"}
        Which of two values is the stricter.
    source : str
        Where it comes from.
    """

    value: float
    dimension: str
    strict: str
    source: str


LIMITS: Final = MappingProxyType(
    {
        "area_hit": Limit(1e-3, "share", "low", _ASSUMED),
        "area_hit_in_failure": Limit(0.05, "share", "low", _ASSUMED),
        "expected_casualties": Limit(
            COLLECTIVE.value, "number", "low", f"{COLLECTIVE.source}; {COLLECTIVE.note}"
        ),
        "individual_risk": Limit(
            INDIVIDUAL.value, "number", "low", f"{INDIVIDUAL.source}; {INDIVIDUAL.note}"
        ),
        "outside_boundary": Limit(0.05, "share", "low", _ASSUMED),
        "outside_waiver": Limit(0.01, "share", "low", _ASSUMED),
        "above_ceiling": Limit(0.01, "share", "low", _ASSUMED),
        "fins_flutter_off": Limit(0.01, "share", "low", _ASSUMED),
        "recovery_fails": Limit(0.25, "share", "low", _ASSUMED),
        "descent_speed": Limit(20.0, "speed", "low", _ASSUMED),
        "overflight": Limit(0.05, "share", "low", _ASSUMED),
        "surface_wind": Limit(inf, "speed", "low", _OWN),
        "rail_tilt": Limit(inf, "angle", "low", _OWN),
        "rail_speed": Limit(15.0, "speed", "high", "common practice, no source"),
        "rail_speed_over_wind": Limit(
            4.0, "number", "high", "common practice, no source: 14° of tilt in the air"
        ),
        "wind_gap": Limit(150.0, "length", "low", _ASSUMED),
        "wind_age": Limit(3 * 3600.0, "time", "low", _ASSUMED),
    }
)
"""Every limit by its key in the ``limits`` of a flight or site file. Angles in degrees."""


def read_limits(flight: Flight, site: Site) -> dict[str, Limit]:
    """Put together the limits of a flight at a site; the stricter one governs.

    Parameters
    ----------
    flight, site : Flight, Site
        Where people set limits of their own.

    Returns
    -------
    dict of str to Limit
        By key of `LIMITS`.

    Raises
    ------
    FlightError, SiteError
        If a key is unknown or a value cannot be a limit.
    """
    limits = dict(LIMITS)
    own: dict[str, Limit] = {}
    for source, given, error in (
        (flight.source, flight.limits, FlightError),
        (site.source, site.limits, SiteError),
    ):
        for key, limit in _given(source, given, error).items():
            if key not in own or _stricter(limit, own[key]):
                own[key] = limit
    return {**limits, **own}


def _stricter(one: Limit, other: Limit) -> bool:
    return one.value < other.value if one.strict == "low" else one.value > other.value


def _given(
    source: str, given: Mapping[str, object], error: type[FlightError] | type[SiteError]
) -> dict[str, Limit]:
    found = {}
    for key, value in given.items():
        where = f"limits.{key}"
        if key not in LIMITS:
            near = difflib.get_close_matches(key, LIMITS, n=1)
            hint = (
                f"did you mean {near[0]!r}?" if near else f"known: {', '.join(LIMITS)}"
            )
            raise error(source, where, f"is no limit; {hint}")
        default = LIMITS[key]
        try:
            number = parse(value, default.dimension)
        except ValueError as problem:
            raise error(source, where, str(problem)) from None
        if default.dimension == "angle":
            number = degrees(number)
        most = 1.0 if default.dimension == "share" else 1e6
        if not 0 < number <= most:
            raise error(
                source, where, f"must lie above 0 and up to {most:g} (got {value!r})"
            )
        where = f"set in {source}"
        own = Limit(number, default.dimension, default.strict, where)
        if _stricter(default, own):
            own = replace(own, source=f"{where}, {LOOSER}")
        found[key] = own
    return found
