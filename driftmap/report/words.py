"""Figures as people say them: shares, bearings, distances, and what a check found."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime, timedelta
from typing import Final, Literal, TypeAlias

from driftmap.core import units as unit_names
from driftmap.core.points import COMPASS

Units: TypeAlias = Literal["us", "si"]

_TIES: Final = re.compile(
    r"(?<=\d) (?=(?:%|ft|m|mi|km|s|mph|km/h|m/s|ft/s|J)(?![\w/]))|(?<=\S) (?=[:;!?](?: |$))"
)


def rounded(value: float, digits: int = 2, *, down: bool = False) -> float:
    """Keep so many significant digits; ``down``: never rounded up."""
    if value == 0 or not math.isfinite(value):
        return value
    step = 10.0 ** (math.floor(math.log10(abs(value))) + 1 - digits)
    steps = value / step
    whole = math.floor(steps + 1e-9) if down else round(steps)
    return whole * step


_SLACK: Final = 0.05
"""Of a step: what lies so near to it is the step itself, whatever the arithmetic left."""


def rounded_up(speed: float, units: Units, step: float | None = None) -> float:
    """Round a speed up to a step of its unit, the last digit of speeds told [m s⁻¹]."""
    size = unit_names.DIMENSIONS["speed"][unit_names.unit_of("speed", units)]
    size *= step or (1.0 if units == "us" else 0.1)
    return math.ceil(speed / size - _SLACK) * size


def rounded_down(speed: float, units: Units, step: float | None = None) -> float:
    """Round a speed down, so that no word is told for a stronger wind than it was found in."""
    return -rounded_up(-speed, units, step)


def percent(p: float, *, bound: bool = False) -> str:
    """Write a share in percent with two significant digits; a bound is never rounded down.

    Near one the digits are those of what is missing, so that only certainty reads 100 %.

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


def compass(azimuth: float) -> str:
    """Name the nearest of the sixteen points of the compass; azimuth in radians.

    Examples
    --------
    >>> compass(math.radians(62)), compass(math.radians(-5))
    ('ENE', 'N')
    """
    return COMPASS[round(math.degrees(azimuth) / 22.5) % 16]


def bearing(azimuth: float) -> str:
    """Write a bearing in three digits, 001 to 360, with its point; azimuth in radians.

    Examples
    --------
    >>> bearing(math.radians(240)), bearing(0.0)
    ('240° (WSW)', '360° (N)')
    """
    return f"{round(math.degrees(azimuth)) % 360 or 360:03d}° ({compass(azimuth)})"


def tied(text: str) -> str:
    """Tie numbers to their units, and a French colon to its word: no line breaks there."""
    return _TIES.sub("\u00a0", text)


_US: Final = {
    "m/s": "mph",
    "km": "mi",
    "m": "ft",
    "cm": "in",
    "mm": "in",
    "kg": "lb",
    "g": "oz",
    "J": "ft lbf",
    "N": "lbf",
    "kPa": "psi",
    "MPa": "psi",
}
"""Unit of a US reader for one of a note."""

_SIZES: Final = {
    k: v for sizes in unit_names.DIMENSIONS.values() for k, v in sizes.items()
}

_NUMBER: Final = r"\d[\d,]*(?:\.\d+)?"
_METRIC: Final = re.compile(
    rf"(?<![\w.,/])({_NUMBER})(?:( to | and | or )({_NUMBER}))? "
    rf"({'|'.join(_US)})(?![\w/²³])(?! s\b)(?! \({_NUMBER} (?:ft|lb|mph|in)\b)"
)


def in_units_of(text: str, units: Units) -> str:
    """Write the figures of a note, which are metric, in the units of its reader.

    A rule's own words are no note: they stay as they are printed.

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
        name = _US[metric]
        size = _SIZES[name] / _SIZES[metric]

        def one(number: str) -> str:
            value = float(number.replace(",", "")) / size
            digits = max(2, min(3, len(re.sub(r"\D", "", number).strip("0"))))
            places = 0 if value >= 10 else 1 if value >= 1 else 2
            return f"{rounded(value, digits):,.{places}f}" if value else "0"

        ends = one(low) if high is None else f"{one(low)}{between}{one(high)}"
        return f"{ends} {name}"

    return _METRIC.sub(told, text)


def distance(metres: float, units: Units) -> str:
    """Write a distance to three significant digits.

    Examples
    --------
    >>> distance(847.6, "us"), distance(847.6, "si")
    ('2,780 ft', '848 m')
    """
    name = unit_names.unit_of("length", units)
    return f"{rounded(metres / unit_names.DIMENSIONS['length'][name], 3):,.0f} {name}"


FAR: Final = {
    "us": (2 * unit_names.MILE, unit_names.MILE, "mi"),
    "si": (10_000.0, 1000.0, "km"),
}
"""From where on a distance over the ground is told in a larger unit, and that unit."""


def isolate(text: str) -> str:
    """Keep a name's writing direction from turning the sentence about it."""
    return text if text.isascii() else f"\u2068{text}\u2069"


_CIRCLED: Final = "".join(
    map(chr, (*range(0x2460, 0x2474), *range(0x3251, 0x3260), *range(0x32B1, 0x32C0)))
)
"""The numbers 1 to 50 in circles."""


def circled(number: int) -> str:
    """Write the number of a place as it stands on the map; of one past 50 in brackets."""
    return _CIRCLED[number - 1] if number <= len(_CIRCLED) else f"({number})"


def discs(text: str) -> list[tuple[str, str]]:
    """Part a text at its circled numbers: what stands before each, and the number."""
    parts = re.split(f"([{_CIRCLED}])", text)
    numbers = [str(_CIRCLED.index(mark) + 1) for mark in parts[1::2]]
    return list(zip(parts[::2], [*numbers, ""], strict=True))


def clock_at(when: datetime) -> str:
    """Write a time of day as it was told, with how far it is from UTC.

    Examples
    --------
    >>> clock_at(datetime.fromisoformat("2026-06-13T08:50-07:00"))
    '08:50 (UTC−7)'
    >>> clock_at(datetime.fromisoformat("2026-06-13T15:50+05:30"))
    '15:50 (UTC+5:30)'
    """
    return f"{when:%H:%M} ({zone_of(when)})"


def zone_of(when: datetime) -> str:
    """Name the clock that a time was told by, by its distance from UTC."""
    minutes = round((when.utcoffset() or timedelta()).total_seconds() / 60)
    if not minutes:
        return "UTC"
    hours, rest = divmod(abs(minutes), 60)
    return f"UTC{'+' if minutes > 0 else '−'}{hours}{f':{rest:02d}' if rest else ''}"


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
