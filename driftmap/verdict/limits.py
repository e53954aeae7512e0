"""The limits a verdict compares with: defaults, and the stricter ones people set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import degrees, inf
from types import MappingProxyType
from typing import Final

from driftmap.core.errors import FlightError, SiteError, located, nearest
from driftmap.core.units import parse
from driftmap.ground.roles import clean_text
from driftmap.ground.site import Site
from driftmap.hazard.harm import COLLECTIVE, CONDITIONAL, INDIVIDUAL
from driftmap.rocket.flight import Flight

__all__ = [
    "LIMITS",
    "LOOSER",
    "SIGNED",
    "Limit",
    "read_limits",
    "show_limit",
    "tightened",
]

LOOSER: Final = "looser than this tool's default"
"""What the source of a limit says that a file has loosened."""

_SEASON: Final = timedelta(days=365)
"""For how long an officer's word on a limit holds; assumed."""

_ASSUMED: Final = "default of this tool, no source"
_OWN: Final = "none here: the rules of the range set it"
_AMONG: Final = (
    "national high power safety code, item 13: not where it is likely to land among "
    "spectators or outside the site (read in a copy)"
)
_COUNTED: Final = (
    "an association's count of 6,169 flights, 8.5 % failed, complex ones twice as often "
    "(second hand)"
)


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit.

    Parameters
    ----------
    value : float
        The limit in SI.
    dimension : str
        A key of `driftmap.core.units.DIMENSIONS`.
    strict : {"low", "high"}
        Which of two values is the stricter.
    source : str
        Where it comes from.
    loosened : float or None
        The default it is looser than, where nobody answers for that by name and date.
    """

    value: float
    dimension: str
    strict: str
    source: str
    loosened: float | None = None


LIMITS: Final = MappingProxyType(
    {
        "area_hit": Limit(1e-3, "share", "low", f"{_AMONG}; the figure is {_ASSUMED}"),
        "area_hit_in_failure": Limit(
            0.05, "share", "low", f"{_AMONG}; the figure is {_ASSUMED}"
        ),
        "expected_casualties": Limit(
            COLLECTIVE.value, "number", "low", f"{COLLECTIVE.source}; {COLLECTIVE.note}"
        ),
        "individual_risk": Limit(
            INDIVIDUAL.value, "number", "low", f"{INDIVIDUAL.source}; {INDIVIDUAL.note}"
        ),
        "casualties_if_it_happens": Limit(
            CONDITIONAL.value,
            "number",
            "low",
            f"{CONDITIONAL.source}; {CONDITIONAL.note}",
        ),
        "casualties_in_a_day": Limit(
            10 * COLLECTIVE.value,
            "number",
            "low",
            f"ten launches' worth of {COLLECTIVE.source}; the ten is {_ASSUMED}",
        ),
        "power_line_hit": Limit(0.01, "share", "low", _ASSUMED),
        "water_hit": Limit(0.05, "share", "low", _ASSUMED),
        "outside_boundary": Limit(0.05, "share", "low", _ASSUMED),
        "hurtful_outside_boundary": Limit(
            0.01, "share", "low", f"{_AMONG}; the figure is {_ASSUMED}"
        ),
        "outside_waiver": Limit(0.01, "share", "low", _ASSUMED),
        "above_ceiling": Limit(0.01, "share", "low", _ASSUMED),
        "fins_flutter_off": Limit(0.01, "share", "low", _ASSUMED),
        "recovery_fails": Limit(0.10, "share", "low", _COUNTED),
        "descent_speed": Limit(
            9.0, "speed", "low", "common practice, no source: 5 to 8 m/s"
        ),
        "descent_speed_streamer": Limit(
            15.0, "speed", "low", "common practice, no source"
        ),
        "opening_speed": Limit(40.0, "speed", "low", _ASSUMED),
        "opening_load": Limit(20.0, "number", "low", _ASSUMED),
        "overflight": Limit(0.01, "share", "low", _ASSUMED),
        "surface_wind": Limit(inf, "speed", "low", _OWN),
        "rail_tilt": Limit(inf, "angle", "low", _OWN),
        "rail_speed": Limit(15.0, "speed", "high", "common practice, no source"),
        "rail_speed_over_wind": Limit(
            4.0,
            "number",
            "high",
            "common practice, no source: 14° of tilt in the air; one flight in twenty, "
            "its gust and the error of the reading included, may reach three quarters of "
            "it (assumed)",
        ),
        "static_margin": Limit(1.0, "margin", "high", "common practice, no source"),
        "wind_gap": Limit(
            350.0,
            "length",
            "low",
            f"{_ASSUMED}: a flight of 1,000 ft and its spread on a reading at head height",
        ),
        "wind_layer": Limit(
            1000.0, "length", "low", f"{_ASSUMED}: in its middle the wind errs by 2 m/s"
        ),
        "wind_age": Limit(3 * 3600.0, "time", "low", _ASSUMED),
    }
)
"""Every limit by its key in the ``limits`` of a flight or site file. Angles in degrees."""


SIGNED: Final = MappingProxyType(
    {
        # Published yardsticks: as far as their source itself goes for people of the range.
        "expected_casualties": 2e-4,
        "individual_risk": 1e-5,
        "casualties_if_it_happens": CONDITIONAL.value,
        "casualties_in_a_day": 2e-3,
        # The waiver is law and wires kill: no officer of a range can allow more.
        "outside_waiver": 0.01,
        "above_ceiling": 0.01,
        "power_line_hit": 0.01,
        "area_hit": 0.01,
        "area_hit_in_failure": 0.2,
        "overflight": 0.05,
        "hurtful_outside_boundary": 0.05,
        "outside_boundary": 0.2,
        "fins_flutter_off": 0.05,
        "recovery_fails": 0.2,
        "descent_speed": 15.0,
        "descent_speed_streamer": 20.0,
        "opening_speed": 60.0,
        "opening_load": 50.0,
        "rail_speed": 12.0,
        "rail_speed_over_wind": 3.0,
        "static_margin": 0.5,
        "wind_gap": 700.0,
        "wind_layer": 2000.0,
        "wind_age": 6 * 3600.0,
    }
)
"""How far an officer's word loosens a limit; looser, it is nobody's to give, and the limit
counts as one for which nobody answers. For neighbouring people of the range the source of
the casualty yardsticks allows 2e-4 and 1e-5 (14 CFR 450.101(a), read in a public copy), and
nobody any more in a failure; what has no source of its own is assumed, some two to ten times
the default."""


def read_limits(
    flight: Flight, site: Site, *, day: date | None = None
) -> dict[str, Limit]:
    """Put together the limits of a flight at a site; the stricter one governs.

    A flight file may only tighten. A site file may loosen, and the verdict is then at
    best "hold" where it needs that, unless the officer of the range answers for the
    limits by name and date (``set_by`` and ``set_on`` beside them), before the day of
    the flight is over and within a year of it, and no further than `SIGNED`.

    Raises
    ------
    FlightError, SiteError
        If a key is unknown, a value cannot be a limit, or a flight file loosens one.
    """
    own = _given(site.source, *_signed(site, day), SiteError)
    limits = {**LIMITS, **own}
    for key, limit in _given(flight.source, flight.limits, "", FlightError).items():
        if _stricter(limits[key], limit) and limit.loosened is not None:
            default = show_limit(LIMITS[key])
            raise FlightError(
                flight.source,
                f"limits.{key}",
                f"{flight.limits[key]!r} is looser than {default}; a flight file may "
                "only tighten, the range's site file may loosen",
            )
        if _stricter(limit, limits[key]):
            limits[key] = replace(limit, loosened=limits[key].loosened)
    return limits


def tightened(limits: Mapping[str, Limit]) -> dict[str, Limit]:
    """Give the limits with the default wherever one was loosened and none answers."""
    return {
        key: limit if limit.loosened is None else LIMITS[key]
        for key, limit in limits.items()
    }


def show_limit(limit: Limit) -> str:
    """Write a limit as a file would give it."""
    forms = {
        "share": f"{limit.value * 100:g} %",
        "speed": f"{limit.value:g} m/s",
        "length": f"{limit.value:g} m",
        "time": f"{limit.value / 3600:g} h",
        "angle": f"{limit.value:g} deg",
    }
    return forms.get(limit.dimension, f"{limit.value:g}")


def _stricter(one: Limit, other: Limit) -> bool:
    return one.value < other.value if one.strict == "low" else one.value > other.value


def _signed(site: Site, flown: date | None) -> tuple[dict[str, object], str]:
    """Part the limits of a site from who answers for them, told as one phrase."""
    given = dict(site.limits)
    by, on = given.pop("set_by", None), given.pop("set_on", None)
    if by is None and on is None:
        return given, ""
    for key, value in (("set_by", by), ("set_on", on)):
        # A mark or a number is nobody's name.
        letters = sum(map(str.isalpha, value)) if isinstance(value, str) else 0
        if not isinstance(value, str) or (key == "set_by" and letters < 2):
            raise SiteError(
                site.source,
                f"limits.{key}",
                f"got {value!r}; limits are answered for by a name, set_by, and a date, "
                'set_on, such as "2026-06-13"',
            )
    try:
        day = date.fromisoformat(str(on))
    except ValueError:
        raise SiteError(
            site.source,
            "limits.set_on",
            f'must be a date such as "2026-06-13" (got {on!r})',
        ) from None
    today = date.today()
    if day > today + timedelta(days=1):
        raise SiteError(
            site.source, "limits.set_on", f"must not lie in the future (got {on})"
        )
    flown = flown or today
    if day > flown or flown - day > _SEASON:
        return given, ""
    return given, f"{clean_text(by)} on {day}"


def _given(
    source: str,
    given: Mapping[str, object],
    signed: str,
    error: type[FlightError] | type[SiteError],
) -> dict[str, Limit]:
    found = {}
    for key, value in given.items():
        where = f"limits.{key}"
        if key not in LIMITS:
            raise error(source, where, f"is no limit; {nearest(key, LIMITS)}")
        found[key] = _limit(source, key, value, signed, error)
    return found


def _limit(
    source: str,
    key: str,
    value: object,
    signed: str,
    error: type[FlightError] | type[SiteError],
) -> Limit:
    """Read one limit; one looser than the default says so, and who answers for it."""
    default, where = LIMITS[key], f"limits.{key}"
    with located(source, where, error):
        number = parse(value, default.dimension)
    if default.dimension == "angle":
        number = degrees(number)
    most = 1.0 if default.dimension == "share" else 1e6
    if not 0 < number <= most:
        raise error(
            source, where, f"must lie above 0 and up to {most:g} (got {value!r})"
        )
    told = f"set in {source}"
    own = Limit(number, default.dimension, default.strict, told)
    if not _stricter(default, own):
        return own
    answers = (
        f"; answered for by {signed}, a name that the file gives" if signed else ""
    )
    furthest = replace(default, value=SIGNED.get(key, number))
    if signed and _stricter(furthest, own):
        answers = f"; nobody can answer for more than {show_limit(furthest)}"
        signed = ""
    return replace(
        own,
        source=f"{told}, {LOOSER} of {show_limit(default)}{answers}",
        loosened=None if signed else default.value,
    )
