"""Figures as they are read aloud, in the reader's language and units."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from driftmap.report.catalogue import Catalogue, read_catalogue
from driftmap.report.page import told_to_script
from driftmap.report.words import (
    Units,
    compass,
    distance,
    energy,
    isolate,
    percent,
    rounded,
    tied,
)
from driftmap.units import DIMENSIONS, MILE_PER_HOUR, show, unit_of

__all__ = ["Voice", "english", "words_for_script"]

_PACE: Final = {"us": ("mph", MILE_PER_HOUR), "si": ("km/h", 1000.0 / 3600.0)}
_POINTS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


@dataclass(frozen=True, slots=True)
class Voice:
    """Writes figures and messages.

    Parameters
    ----------
    catalogue : Catalogue
        Messages.
    units : {"us", "si"}
        Units the reader picked.
    """

    catalogue: Catalogue
    units: Units

    def say(self, key: str, **values: str) -> str:
        """Write a message, its numbers tied to their units."""
        return tied(self.catalogue.say(key, **values))

    def known(self, table: str, name: str, *wider: str) -> str:
        """Translate a name that the catalogue knows, or a wider one; else show it as it is."""
        for known in (name, *wider):
            if f"{table}.{known}" in self.catalogue.messages:
                return self.catalogue.messages[f"{table}.{known}"]
        return isolate(name)

    def number(self, text: str) -> str:
        """Write an English number with the language's own separators."""
        point, comma = self.say("number.decimal"), self.say("number.thousands")
        return text.translate({ord("."): point, ord(","): comma})

    def count(self, value: int) -> str:
        """Write a whole number."""
        return self.number(f"{value:,}")

    def distance(self, metres: float) -> str:
        """Write a distance to two significant digits, as people say it."""
        name = unit_of("length", self.units)
        value = metres / DIMENSIONS["length"][name]
        digits = 1 - math.floor(math.log10(max(value, 10)))
        return tied(f"{self.number(f'{round(value, digits):,.0f}')} {name}")

    def exact_distance(self, metres: float) -> str:
        """Write a distance to three significant digits."""
        return tied(self.number(distance(metres, self.units)))

    def percent(self, share: float, *, bound: bool = False) -> str:
        """Write a share in percent."""
        return tied(self.number(percent(share, bound=bound)))

    def one_in(self, p: float, *, bound: bool = False) -> str:
        """Write a small share as one flight in so many."""
        digits = 2 if p < 0.1 else 1
        count = self.count(round(rounded(1 / p, digits, down=bound)))
        return self.say("chance.allowed", count=count)

    def share(self, p: float, interval: tuple[float, float], flights: int) -> str:
        """Write a share of flights; one that was never seen is told as its upper bound."""
        count = self.count(flights)
        if p == 0:
            upper = interval[1]
            below = self.percent(upper, bound=True)
            if 0 < upper < 0.1:
                below += f" ({self.one_in(upper, bound=True)})"
            return self.say("figure.none_seen", count=count, share=below)
        if p == 1:
            return self.say("figure.every", count=count)
        return self.percent(p) + (f" ({self.one_in(p)})" if p < 0.1 else "")

    def span(self, low: str, high: str) -> str:
        """Write a range of which both ends bear the same unit, told once."""
        if low == high:
            return high
        number, _, unit = low.replace("\u00a0", " ").partition(" ")
        same = unit and high.replace("\u00a0", " ").endswith(unit)
        return self.say("figure.span", low=number if same else low, high=high)

    def point(self, azimuth: float) -> str:
        """Name the nearest of sixteen points of the compass by its letters."""
        letters = dict(zip("NESW", self.say("number.compass"), strict=True))
        return "".join(letters[c] for c in compass(azimuth))

    def bearing(self, azimuth: float) -> str:
        """Write a bearing with its point of the compass; azimuth in radians."""
        return (
            f"{round(math.degrees(azimuth)) % 360 or 360:03d}° ({self.point(azimuth)})"
        )

    def toward(self, east: float, north: float) -> str:
        """Write where a point lies from the pad."""
        return self.say(
            "figure.toward",
            distance=self.exact_distance(math.hypot(east, north)),
            compass=self.point(math.atan2(east, north)),
        )

    def energy(self, joules: float) -> str:
        """Write an energy to two significant digits."""
        return tied(self.number(energy(joules, self.units)))

    def shown(self, value: float, kind: str) -> str:
        """Write a figure of a kind that `driftmap.units` knows."""
        return tied(self.number(show(value, kind, self.units)))

    def speed(self, metres_per_second: float) -> str:
        """Write the wind's speed."""
        return tied(self.number(show(metres_per_second, "speed", self.units)))

    def fall(self, metres_per_second: float) -> str:
        """Write how fast something falls, as people know it of cars."""
        name, size = _PACE[self.units]
        return tied(f"{self.count(round(metres_per_second / size))} {name}")

    def seconds(self, low: float, high: float | None = None) -> str:
        """Write a time, or a range of times: the earliest is never rounded up."""
        first = math.floor(low + 1e-9)
        if max(low, high or 0.0) < 1.0:
            return self.say("figure.at_once")
        if high is None or math.ceil(high - 1e-9) == first:
            return tied(f"{self.count(first)} s")
        last = math.ceil(high - 1e-9)
        # Word joiners: no line breaks at the dash.
        return tied(f"{self.count(first)}\u2060–\u2060{self.count(last)} s")

    def compass(self, azimuth: float) -> str:
        """Name the nearest of eight points of the compass; azimuth in radians."""
        return self.say(f"compass.{_POINTS[round(math.degrees(azimuth) / 45) % 8]}")


def english(units: Units) -> Voice:
    """Give the voice of the pages that are in English alone.

    Parameters
    ----------
    units : {"us", "si"}
        Units the reader picked.

    Returns
    -------
    Voice
        It reads the catalogue of the package.
    """
    return Voice(read_catalogue("en"), units)


def words_for_script(voice: Voice, *more: str) -> str:
    """Write the messages that a page's script says.

    Parameters
    ----------
    voice : Voice
        Writes the messages.
    *more : str
        Tables of the catalogue that the script says beside ``tell``.

    Returns
    -------
    str
        A line of script.
    """
    zones = {kind: voice.say(f"zone.{kind}") for kind in ("danger", "caution")}
    words = dict(zones)
    for table in ("tell", *more):
        words |= voice.catalogue.table(table)
    compass_letters = voice.say("number.compass")
    told = {"words": words, "compass": compass_letters, "units": voice.units}
    return told_to_script("SAY", told)
