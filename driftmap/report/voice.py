"""Figures as they are read aloud, in the reader's language and units."""

from __future__ import annotations

import math
from dataclasses import dataclass

from driftmap.report.catalogue import Catalogue, read_catalogue
from driftmap.report.words import Units, distance, isolate, tied
from driftmap.units import DIMENSIONS, show, unit_of

__all__ = ["Voice", "english"]

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
        """Write a distance to three significant digits, beside a limit."""
        return tied(self.number(distance(metres, self.units)))

    def speed(self, metres_per_second: float) -> str:
        """Write the wind's speed."""
        return tied(self.number(show(metres_per_second, "speed", self.units)))

    def seconds(self, low: float, high: float | None = None) -> str:
        """Write a time, or a range of times: the earliest is never rounded up."""
        first = math.floor(low + 1e-9)
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
