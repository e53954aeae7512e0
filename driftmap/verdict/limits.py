"""The limits a verdict compares with: defaults, and the stricter ones people set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from math import degrees
from types import MappingProxyType
from typing import Final, NamedTuple

from driftmap.core.checks import clean_text, names_somebody
from driftmap.core.errors import FlightError, SiteError, located, nearest
from driftmap.core.tables import shipped
from driftmap.core.units import parse, quantity
from driftmap.ground.areas import Site
from driftmap.rocket.flight import Flight

LOOSER: Final = "looser than this tool's default"
"""What the source of a limit says that a file has loosened."""

_SEASON: Final = timedelta(days=365)
"""For how long an officer's word on a limit holds; assumed."""


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


_ROWS: Final = tuple(shipped(__package__, "limits.csv", "|"))

LIMITS: Final = MappingProxyType(
    {
        key: Limit(float(value), dimension, strict, source)
        for key, value, _, dimension, strict, source in _ROWS
    }
)
"""Every limit by its key in the ``limits`` of a flight or site file. Angles in degrees."""

SIGNED: Final = MappingProxyType(
    {key: float(most) for key, _, most, *_ in _ROWS if most}
)
"""How far an officer's word loosens a limit; looser, it is nobody's to give, and the limit
counts as one for which nobody answers. For neighbouring people of the range the source of
the casualty yardsticks allows 2e-4 and 1e-5 (14 CFR 450.101(a), read in a public copy), and
nobody any more in a failure."""


def read_limits(
    flight: Flight, site: Site, *, when: datetime | None = None
) -> dict[str, Limit]:
    """Put together the limits of a flight at a site; the stricter one governs.

    A flight file may only tighten. A site file may loosen, and the verdict is then at
    best "hold" where it needs that, unless the officer of the range answers for the
    limits by name and date (``set_by`` and ``set_on`` beside them), before the day of
    the flight is over and within a year of it, and no further than `SIGNED`. ``when``:
    time of the flight; today where it is of no day yet.

    Raises
    ------
    FlightError, SiteError
        If a key is unknown, a value cannot be a limit, or a flight file loosens one.
    """
    own = _given(site.source, *_signed(site, when), SiteError)
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
    """Return the limits with the default wherever one was loosened and none answers."""
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


def _signed(site: Site, when: datetime | None) -> tuple[dict[str, object], _Word]:
    """Separate the limits of a site from the name of whoever answers for them."""
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
                    f"got {value!r}; limits are answered for by a name, set_by, "
                    "which is no role and no single letter, and a date, "
                    'set_on, such as "2026-06-13"'
                )
    today = date.today()
    with located(site.source, "limits.set_on", SiteError):
        try:
            day = date.fromisoformat(str(on))
        except ValueError:
            text = f'must be a date such as "2026-06-13" (got {on!r})'
            raise ValueError(text) from None
        if day > today + timedelta(days=1):
            raise ValueError(f"must not lie in the future (got {on})")
    lasts = timedelta(0) <= (when.date() if when else today) - day <= _SEASON
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
