"""The limits a verdict compares with: defaults, and the stricter ones people set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import degrees, inf
from types import MappingProxyType
from typing import Final, NamedTuple

from driftmap.core.checks import clean_text, names_somebody
from driftmap.core.errors import FlightError, SiteError, located, nearest
from driftmap.core.units import parse, quantity
from driftmap.ground.areas import Site
from driftmap.hazard.harm import COLLECTIVE, CONDITIONAL, INDIVIDUAL, Sourced
from driftmap.rocket.flight import Flight

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


def _of(published: Sourced) -> str:
    return f"{published.source}; {published.note}"


_LIKELY: Final = f"{_AMONG}; the figure is {_ASSUMED}"
_HABIT: Final = "common practice, no source"

_TABLE: Final[dict[str, tuple[float, float | None, str, str]]] = {
    "area_hit": (1e-3, 0.01, "share", _LIKELY),
    "area_hit_in_failure": (0.05, 0.2, "share", _LIKELY),
    # Published yardsticks: as far as their source itself goes for people of the range.
    "expected_casualties": (COLLECTIVE.value, 2e-4, "number", _of(COLLECTIVE)),
    "individual_risk": (INDIVIDUAL.value, 1e-5, "number", _of(INDIVIDUAL)),
    "casualties_if_it_happens": (
        *(CONDITIONAL.value, CONDITIONAL.value, "number"),
        _of(CONDITIONAL),
    ),
    "casualties_in_a_day": (
        *(10 * COLLECTIVE.value, 2e-3, "number"),
        f"ten launches' worth of {COLLECTIVE.source}; the ten is {_ASSUMED}",
    ),
    # The waiver is law and wires kill: no officer of a range can allow more.
    "power_line_hit": (0.01, 0.01, "share", _ASSUMED),
    "water_hit": (0.05, None, "share", _ASSUMED),
    "outside_boundary": (0.05, 0.2, "share", _ASSUMED),
    "hurtful_outside_boundary": (0.01, 0.05, "share", _LIKELY),
    "outside_waiver": (0.01, 0.01, "share", _ASSUMED),
    "above_ceiling": (0.01, 0.01, "share", _ASSUMED),
    "fins_flutter_off": (0.01, 0.05, "share", _ASSUMED),
    "recovery_fails": (0.10, 0.2, "share", _COUNTED),
    "descent_speed": (9.0, 15.0, "speed", f"{_HABIT}: 5 to 8 m/s"),
    "descent_speed_streamer": (15.0, 20.0, "speed", _HABIT),
    "opening_speed": (40.0, 60.0, "speed", _ASSUMED),
    "opening_load": (20.0, 50.0, "number", _ASSUMED),
    "overflight": (0.01, 0.05, "share", _ASSUMED),
    "surface_wind": (inf, None, "speed", _OWN),
    "rail_tilt": (inf, None, "angle", _OWN),
    "rail_speed": (15.0, 12.0, "speed", _HABIT),
    "rail_speed_over_wind": (
        *(4.0, 3.0, "number"),
        f"{_HABIT}: 14° of tilt in the air; one flight in twenty, its gust and the error of "
        "the reading included, may reach three quarters of it (assumed)",
    ),
    "static_margin": (1.0, 0.5, "margin", _HABIT),
    "wind_gap": (
        *(350.0, 700.0, "length"),
        f"{_ASSUMED}: a flight of 1,000 ft and its spread on a reading at head height",
    ),
    "wind_layer": (
        *(1000.0, 2000.0, "length"),
        f"{_ASSUMED}: in its middle the wind errs by 2 m/s",
    ),
    "wind_age": (3 * 3600.0, 6 * 3600.0, "time", _ASSUMED),
}
"""The default of each limit in SI, how far an officer's word loosens it, its dimension, its
source. What has no source of its own is assumed, some two to ten times the default."""

_LEAST: Final = ("rail_speed", "rail_speed_over_wind", "static_margin")

LIMITS: Final = MappingProxyType(
    {
        key: Limit(value, dimension, "high" if key in _LEAST else "low", source)
        for key, (value, _, dimension, source) in _TABLE.items()
    }
)
"""Every limit by its key in the ``limits`` of a flight or site file. Angles in degrees."""

SIGNED: Final = MappingProxyType(
    {key: most for key, (_, most, *_) in _TABLE.items() if most is not None}
)
"""How far an officer's word loosens a limit; looser, it is nobody's to give, and the limit
counts as one for which nobody answers. For neighbouring people of the range the source of
the casualty yardsticks allows 2e-4 and 1e-5 (14 CFR 450.101(a), read in a public copy), and
nobody any more in a failure."""


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
    for key, limit in _given(
        flight.source, flight.limits, _Word(), FlightError
    ).items():
        if _stricter(limits[key], limit) and limit.loosened is not None:
            default = show_limit(LIMITS[key])
            raise FlightError(
                flight.source,
                f"limits.{key}",
                f"{flight.limits[key]!r} is looser than {default}; a flight file may "
                "only tighten, the range's site file may loosen",
            )
        if _stricter(limit, limits[key]):
            eased = None if limit.loosened is None else limits[key].loosened
            limits[key] = replace(limit, loosened=eased)
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


class _Word(NamedTuple):
    """Who answers for limits and since when, as one phrase; and whether that counts."""

    told: str = ""
    counts: bool = False


def _signed(site: Site, flown: date | None) -> tuple[dict[str, object], _Word]:
    """Part the limits of a site from who answers for them."""
    given = dict(site.limits)
    by, on = given.pop("set_by", None), given.pop("set_on", None)
    if by is None and on is None:
        return given, _Word()
    for key, value in (("set_by", by), ("set_on", on)):
        with located(site.source, f"limits.{key}", SiteError):
            named = isinstance(value, str) and (
                key != "set_by" or names_somebody(value)
            )
            if not named:
                raise ValueError(
                    f"got {value!r}; limits are answered for by a name, set_by, and a date, "
                    'set_on, such as "2026-06-13"'
                )
    today = date.today()
    with located(site.source, "limits.set_on", SiteError):
        try:
            day = date.fromisoformat(str(on))
        except ValueError:
            told = f'must be a date such as "2026-06-13" (got {on!r})'
            raise ValueError(told) from None
        if day > today + timedelta(days=1):
            raise ValueError(f"must not lie in the future (got {on})")
    lasts = timedelta(0) <= (flown or today) - day <= _SEASON
    return given, _Word(f"{clean_text(by)} on {day}", lasts)


def _given(
    source: str,
    given: Mapping[str, object],
    word: _Word,
    error: type[FlightError] | type[SiteError],
) -> dict[str, Limit]:
    found = {}
    for key, value in given.items():
        with located(source, f"limits.{key}", error):
            if key not in LIMITS:
                raise ValueError(f"is no limit; {nearest(key, LIMITS)}")
            found[key] = _limit(f"set in {source}", key, value, word)
    return found


_TOLD: Final = ("speed", "length", "time")
"""Dimensions whose unit must be told: a habit of feet and mph is near."""


def _limit(told: str, key: str, value: object, word: _Word) -> Limit:
    """Read one limit; one looser than the default says so, and who answers for it."""
    default = LIMITS[key]
    read = quantity if default.dimension in _TOLD else parse
    number = read(value, default.dimension)
    if default.dimension == "angle":
        number = degrees(number)
    most = 1.0 if default.dimension == "share" else 1e6
    if not 0 < number <= most:
        raise ValueError(f"must lie above 0 and up to {most:g} (got {value!r})")
    own = replace(default, value=number, source=told)
    if not _stricter(default, own):
        return own
    furthest = replace(default, value=SIGNED.get(key, number))
    by, counts = word
    answers = f"; answered for by {by}, a name that the file gives" if by else ""
    if by and not counts:
        answers += ", which does not count: it holds for a year from that day"
    elif by and _stricter(furthest, own):
        counts = False
        answers = f"; nobody can answer for more than {show_limit(furthest)}"
    source = f"{told}, {LOOSER} of {show_limit(default)}{answers}"
    return replace(own, source=source, loosened=None if counts else default.value)
