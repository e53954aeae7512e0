"""Figures as people say them: shares, bearings, distances, and what a check found."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime
from typing import Final, Literal, TypeAlias

from driftmap import units as unit_names

__all__ = [
    "Units",
    "bearing",
    "clock_at",
    "compass",
    "distance",
    "energy",
    "flown_at",
    "in_units_of",
    "isolate",
    "one_in",
    "percent",
    "rounded",
    "share",
    "span",
    "tied",
    "toward",
]

Units: TypeAlias = Literal["us", "si"]

_POINTS: Final = (
    *("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE"),
    *("S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW"),
)
_BEFORE_UNIT: Final = re.compile(
    r"(?<=\d) (?=(?:%|ft|m|s|mph|km/h|m/s|ft/s|J)(?![\w/]))"
)


def rounded(value: float, digits: int = 2, *, down: bool = False) -> float:
    """Keep so many significant digits.

    Parameters
    ----------
    value : float
        Any figure.
    digits : int
        Significant digits.
    down : bool
        Whether to round down, never up.
    """
    if value == 0 or not math.isfinite(value):
        return value
    step = 10.0 ** (math.floor(math.log10(abs(value))) + 1 - digits)
    steps = value / step
    whole = math.floor(steps + 1e-9) if down else round(steps)
    return whole * step


def percent(p: float, *, bound: bool = False) -> str:
    """Write a share in percent with two significant digits.

    Near one the digits are those of what is missing, so that only certainty reads 100 %.

    Parameters
    ----------
    p : float
        Share, 0 to 1.
    bound : bool
        Whether `p` is an upper bound: it is then rounded up, never down.

    Examples
    --------
    >>> percent(0.00202), percent(0.058), percent(0.93), percent(0.99982)
    ('0.20 %', '5.8 %', '93 %', '99.98 %')
    """
    if p in {0.0, 1.0}:
        return f"{p * 100:.0f} %"
    small = min(p, 1 - p) if p > 0.99 else p
    places = min(7, max(0, 1 - math.floor(math.log10(small * 100 * (1 + 1e-12)))))
    if bound:
        p = math.ceil(p * 100 * 10**places - 1e-9) / 10**places / 100
    return f"{p * 100:.{places}f} %"


def one_in(p: float, *, bound: bool = False) -> str:
    """Write a small share as one flight in so many.

    Parameters
    ----------
    p : float
        Share above 0.
    bound : bool
        Whether `p` is an upper bound: the number is then rounded down, never up.

    Examples
    --------
    >>> one_in(0.0009035), one_in(1.844e-4, bound=True), one_in(0.04)
    ('1 in 1,100', '1 in 5,400', '1 in 25')
    """
    digits = 2 if p < 0.1 else 1
    return f"1 in {rounded(1 / p, digits, down=bound):,.0f}"


def share(p: float, interval: tuple[float, float], flights: int) -> str:
    """Write a share of flights; one that was never seen is told as its upper bound.

    Parameters
    ----------
    p : float
        Share, 0 to 1.
    interval : (float, float)
        Its interval.
    flights : int
        Flights it was counted in, in each case.

    Examples
    --------
    >>> share(0.00202, (0.0015, 0.0027), 20_000)
    '0.20 % (1 in 500)'
    >>> share(0.0, (0.0, 1.844e-4), 20_000)
    'none seen in 20,000 flights: under 0.019 % (1 in 5,400)'
    """
    if p == 0:
        upper = interval[1]
        rare = f" ({one_in(upper, bound=True)})" if 0 < upper < 0.1 else ""
        below = percent(upper, bound=True)
        return f"none seen in {flights:,} flights: under {below}{rare}"
    if p == 1:
        return f"every one of {flights:,} flights"
    return f"{percent(p)} ({one_in(p)})" if p < 0.1 else percent(p)


def compass(azimuth: float) -> str:
    """Name the nearest of the sixteen points of the compass.

    Parameters
    ----------
    azimuth : float
        Clockwise from true north [rad].

    Examples
    --------
    >>> compass(math.radians(62)), compass(math.radians(-5))
    ('ENE', 'N')
    """
    return _POINTS[round(math.degrees(azimuth) / 22.5) % 16]


def bearing(azimuth: float) -> str:
    """Write a bearing with its point of the compass.

    Parameters
    ----------
    azimuth : float
        Clockwise from true north [rad].

    Returns
    -------
    str
        Three digits, 001 to 360, and the point.

    Examples
    --------
    >>> bearing(math.radians(240)), bearing(0.0)
    ('240° (WSW)', '360° (N)')
    """
    return f"{round(math.degrees(azimuth)) % 360 or 360:03d}° ({compass(azimuth)})"


def tied(text: str) -> str:
    """Tie numbers to their units, so that no line breaks between them."""
    return _BEFORE_UNIT.sub("\u00a0", text)


_POUND: Final = 0.45359237  # kg
_POUND_FORCE: Final = 4.4482216152605  # N
_US: Final = {
    "m/s": ("mph", 0.44704),
    "km": ("mi", 1.609344),
    "m": ("ft", 0.3048),
    "cm": ("in", 2.54),
    "mm": ("in", 25.4),
    "kg": ("lb", _POUND),
    "g": ("oz", 1000 * _POUND / 16),
    "J": ("ft lbf", 0.3048 * _POUND_FORCE),
    "N": ("lbf", _POUND_FORCE),
    "kPa": ("psi", 6.894757293168),
    "MPa": ("psi", 0.006894757293168),
}
"""Unit of a US reader for one of a note, and its size in that one."""

_NUMBER: Final = r"\d[\d,]*(?:\.\d+)?"
_METRIC: Final = re.compile(
    rf"(?<![\w.,/])({_NUMBER})(?:( to | and | or )({_NUMBER}))? "
    rf"({'|'.join(_US)})(?![\w/²³])(?! s\b)(?! \({_NUMBER} (?:ft|lb|mph|in)\b)"
)


def in_units_of(text: str, units: Units) -> str:
    """Write the figures of a note, which are metric, in the units of its reader.

    Parameters
    ----------
    text : str
        A note. A rule's own words are no note: they stay as they are printed.
    units : {"us", "si"}
        Units the reader picked.

    Examples
    --------
    >>> in_units_of("glide anywhere from 0 to 2 m/s, up to 2700 m; 62 N s", "us")
    'glide anywhere from 0 to 4.5 mph, up to 8,900 ft; 62 N s'
    """
    if units == "si":
        return text

    def told(found: re.Match[str]) -> str:
        low, between, high, metric = found.groups()
        if re.search(r"\d, $", text[: found.start()]):
            return found[0]  # the last of a list, whose others bear no unit
        name, size = _US[metric]

        def one(number: str) -> str:
            value = float(number.replace(",", "")) / size
            digits = max(2, min(3, len(re.sub(r"\D", "", number).strip("0"))))
            places = 0 if value >= 10 else 1 if value >= 1 else 2
            return f"{rounded(value, digits):,.{places}f}" if value else "0"

        ends = one(low) if high is None else f"{one(low)}{between}{one(high)}"
        return f"{ends} {name}"

    return _METRIC.sub(told, text)


def energy(joules: float, units: Units) -> str:
    """Write an energy to two significant digits.

    Parameters
    ----------
    joules : float
        Energy [J].
    units : {"us", "si"}
        Units the reader picked.

    Examples
    --------
    >>> energy(11638.4, "us"), energy(1.125, "si")
    ('8,600 ft lbf', '1.1 J')
    """
    name = unit_names.unit_of("energy", units)
    value = rounded(joules / unit_names.DIMENSIONS["energy"][name])
    return f"{value:,.{0 if value >= 10 else 1}f} {name}"


def distance(metres: float, units: Units) -> str:
    """Write a distance to three significant digits.

    Parameters
    ----------
    metres : float
        Distance [m].
    units : {"us", "si"}
        Units the reader picked.

    Examples
    --------
    >>> distance(847.6, "us"), distance(847.6, "si")
    ('2,780 ft', '848 m')
    """
    name = unit_names.unit_of("length", units)
    return f"{rounded(metres / unit_names.DIMENSIONS['length'][name], 3):,.0f} {name}"


def toward(east: float, north: float, units: Units) -> str:
    """Write where a point lies from the pad.

    Parameters
    ----------
    east, north : float
        The point from the pad [m].
    units : {"us", "si"}
        Units the reader picked.

    Examples
    --------
    >>> toward(550.0, 290.0, "si")
    '622 m toward ENE'
    """
    away = distance(math.hypot(east, north), units)
    return f"{away} toward {compass(math.atan2(east, north))}"


def isolate(text: str) -> str:
    """Keep a name's writing direction from turning the sentence about it.

    Parameters
    ----------
    text : str
        A name from a file.

    Returns
    -------
    str
        The name, between Unicode isolates where it is not plain ASCII.
    """
    return text if text.isascii() else f"\u2068{text}\u2069"


def span(low: str, high: str) -> str:
    """Write a range of which both ends bear the same unit.

    Parameters
    ----------
    low, high : str
        Both ends as text.

    Examples
    --------
    >>> span("0.15 %", "0.27 %"), span("4 deg", "4 deg")
    ('0.15 to 0.27 %', '4 deg')
    """
    if low == high:
        return high
    number, _, unit = low.partition(" ")
    return f"{number} to {high}" if high.endswith(unit) else f"{low} to {high}"


def clock_at(when: datetime) -> str:
    """Write a time of day as it was told; one of UTC says so.

    Examples
    --------
    >>> clock_at(datetime.fromisoformat("2026-06-13T08:50-07:00"))
    '08:50'
    >>> clock_at(datetime.fromisoformat("2026-06-13T15:50Z"))
    '15:50 UTC'
    """
    return f"{when:%H:%M}" if when.utcoffset() else f"{when:%H:%M} UTC"


def flown_at(when: datetime | None) -> str:
    """Write the time a verdict is for: as it was told, and in UTC; empty where nobody told.

    Examples
    --------
    >>> flown_at(datetime.fromisoformat("2026-06-13T08:30-07:00"))
    '2026-06-13 08:30 (15:30 UTC)'
    """
    if when is None:
        return ""
    if not when.utcoffset():
        return f"{when:%Y-%m-%d %H:%M} UTC"
    return f"{when:%Y-%m-%d %H:%M} ({when.astimezone(UTC):%H:%M} UTC)"
