"""Messages and figures in the reader's language and units, as they are read aloud."""

from __future__ import annotations

import math
import string
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from driftmap.core.errors import InputError, PlacedError, at, located
from driftmap.core.files import parse_toml, read_text
from driftmap.core.points import COMPASS
from driftmap.core.units import DIMENSIONS, MILE_PER_HOUR, show, unit_of
from driftmap.report.words import (
    FAR,
    Units,
    compass,
    distance,
    isolate,
    percent,
    rounded,
    tied,
)
from driftmap.verdict.assessment import CAUTIONS

_PATTERN: Final = "en"  # the catalogue that says which keys there are
_LONGEST: Final = 480  # characters; a longer message would not fit any page
_OWN: Final = ("language", "direction", "units", "cautions")


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Messages in one language.

    Parameters
    ----------
    language : str
        Language tag for the page (BCP 47), such as ``"en"``.
    direction : {"ltr", "rtl"}
        Writing direction.
    units : {"us", "si"}
        Units of its readers, unless they pick others.
    cautions : tuple of str
        Translations of `driftmap.verdict.assessment.CAUTIONS`, in that order.
    messages : mapping of str to str
        Text by key, such as ``"stand.title"``, with names in braces for what changes.
    """

    language: str
    direction: str
    units: Units
    cautions: tuple[str, ...]
    messages: Mapping[str, str]

    def say(self, key: str, **values: str) -> str:
        """Write a message.

        ``values``: text for each name in braces; taken as it is, whatever it holds.
        """
        return self.messages[key].format(**values)

    def table(self, name: str) -> dict[str, str]:
        """Return the messages of a table, braces and all, for a page's script."""
        start = f"{name}."
        return {
            key.removeprefix(start): tied(text)
            for key, text in self.messages.items()
            if key.startswith(start)
        }


def languages() -> tuple[str, ...]:
    """Name the catalogues that come with the package."""
    names = (entry.name for entry in files(__package__).joinpath("messages").iterdir())
    return tuple(sorted(n.removesuffix(".toml") for n in names if n.endswith(".toml")))


def read_catalogue(language: str) -> Catalogue:
    """Read a catalogue.

    ``language``: one of `languages`, or the path of a catalogue file (TOML).

    Result: complete: it has every key of the English one and no other. Raises
    `InputError` if there is no such catalogue, or a message is missing, unknown, empty,
    too long, or differs from the English one in the names it has in braces.
    """
    if language in languages():
        return _ours(language)
    path = Path(language)
    if not path.is_file():
        known = ", ".join(languages())
        problem = f"must be one of {known}, or a catalogue file (got {language!r})"
        raise InputError("--language", "", problem)
    return _read(str(path), read_text(path))


@cache
def _ours(language: str) -> Catalogue:
    return _read(f"{language}.toml", _shipped(language))


def _shipped(language: str) -> str:
    return (
        files(__package__)
        .joinpath("messages", f"{language}.toml")
        .read_text(encoding="utf-8")
    )


def _flat(table: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{prefix}{key}.")
        else:
            yield f"{prefix}{key}", value


@cache
def _pattern() -> Mapping[str, Any]:
    return MappingProxyType(dict(_flat(tomllib.loads(_shipped(_PATTERN)))))


def _read(source: str, text: str) -> Catalogue:
    found = dict(_flat(parse_toml(text, source)))
    with located(source, ""):
        return _checked(found)


def _checked(found: Mapping[str, Any]) -> Catalogue:
    pattern = _pattern()
    for key in found:
        if key not in pattern:
            raise PlacedError(key, "no such message; remove it")
    for key in pattern:
        if key not in found:
            raise PlacedError(key, f"missing; in English: {pattern[key]!r}")
    for key, message in found.items():
        if key != "cautions":
            with at(key):
                _check_message(message, key)
    for key, one, other in (("direction", "ltr", "rtl"), ("units", "us", "si")):
        if found[key] not in {one, other}:
            text = f"must be {one!r} or {other!r} (got {found[key]!r})"
            raise PlacedError(key, text)
    _check_words(found)
    return Catalogue(
        language=found["language"],
        direction=found["direction"],
        units=found["units"],
        cautions=_cautions(found["cautions"]),
        messages=MappingProxyType({k: v for k, v in found.items() if k not in _OWN}),
    )


def _check_words(found: Mapping[str, Any]) -> None:
    """Refuse a hold or a no-go that reads as a go: on a page that word speaks for all."""

    def letters(word: str) -> str:
        return "".join(filter(str.isalpha, word)).casefold()

    go, *others = (letters(found[f"verdict.{w}"]) for w in ("go", "hold", "no-go"))
    shipped = (tomllib.loads(_shipped(name)) for name in languages())
    going = {go, *(letters(catalogue["verdict"]["go"]) for catalogue in shipped)}
    for key, word in zip(("hold", "no-go"), others, strict=True):
        if word in going or not word:
            text = f"reads as go (got {found[f'verdict.{key}']!r})"
            raise PlacedError(f"verdict.{key}", text)
    if len(set(others)) < len(others):
        raise PlacedError("verdict.no-go", "is the word for hold")


def _check_message(message: object, key: str) -> None:
    # A separator may well be a blank; nothing else may.
    blank = isinstance(message, str) and message.isspace() and key[:7] != "number."
    if not isinstance(message, str) or not message or blank:
        raise ValueError(f"must be text (got {message!r})")
    if len(message) > _LONGEST:
        raise ValueError(
            f"must have at most {_LONGEST} characters (got {len(message)})"
        )
    wanted, names = _names(_pattern()[key]), _names(message)
    if names != wanted:
        told = (
            ", ".join(f"{{{name}}}" for name in sorted(wanted or ()))
            or "nothing in braces"
        )
        raise ValueError(f"must hold {told} (got {message!r})")


def _names(message: str) -> frozenset[str] | None:
    """Return the names in braces; None where a brace holds anything but a plain name."""
    try:
        fields = [f for f in string.Formatter().parse(message) if f[1] is not None]
    except ValueError:
        return None
    # A conversion or an attribute would reach into the values.
    if any(spec or conversion for _, _, spec, conversion in fields):
        return None
    return frozenset(name for _, name, _, _ in fields if name is not None)


def _cautions(found: object) -> tuple[str, ...]:
    if (
        not isinstance(found, list)
        or len(found) != len(CAUTIONS)
        or not all(isinstance(c, str) and 0 < len(c.strip()) <= _LONGEST for c in found)
    ):
        text = f"must be {len(CAUTIONS)} texts, a translation of each English one"
        raise PlacedError("cautions", text)
    return tuple(found)


_SECONDS: Final = 120  # up to which a moment is counted in seconds alone
_PACE: Final = {"us": ("mph", MILE_PER_HOUR), "si": ("km/h", 1000.0 / 3600.0)}
_POINTS = COMPASS[::2]


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

    def away(self, metres: float) -> str:
        """Write how far it is over the ground, as people say it."""
        near = self.distance(metres)
        return near if metres < FAR[self.units][0] else self.exact_away(metres)

    def exact_away(self, metres: float) -> str:
        r"""Write how far it is over the ground: what is farther than people pace in miles or km.

        Examples
        --------
        >>> [english("us").exact_away(far) for far in (847.6, 38_400.0)]
        ['2,780\xa0ft', '24\xa0mi']
        """
        least, size, name = FAR[self.units]
        if metres < least:
            return self.exact_distance(metres)
        return tied(self.number(f"{rounded(metres / size):,.12g} {name}"))

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
        return self.often(p)

    def often(self, p: float) -> str:
        """Write a share in percent; a small one also as one in so many."""
        return self.percent(p) + (f" ({self.one_in(p)})" if 0 < p < 0.1 else "")

    def span(self, low: str, high: str) -> str:
        """Write a range of which both ends bear the same unit, told once."""
        if low == high:
            return high
        number, _, unit = low.replace("\u00a0", " ").partition(" ")
        same = unit and high.replace("\u00a0", " ").endswith(unit)
        return self.say("figure.span", low=number if same else low, high=high)

    def point(self, azimuth: float) -> str:
        """Name the nearest of sixteen points of the compass by its letters."""
        return self._letters(compass(azimuth))

    def letters(self, azimuth: float) -> str:
        """Name the nearest of eight points of the compass by its letters."""
        return self._letters(_POINTS[round(math.degrees(azimuth) / 45) % 8])

    def _letters(self, point: str) -> str:
        letters = dict(zip("NESW", self.say("number.compass"), strict=True))
        return "".join(letters[c] for c in point)

    def bearing(self, azimuth: float) -> str:
        """Write a bearing with its point of the compass; azimuth in radians."""
        return (
            f"{round(math.degrees(azimuth)) % 360 or 360:03d}° ({self.point(azimuth)})"
        )

    def toward(self, east: float, north: float) -> str:
        """Write where a point lies from the pad."""
        return self.say(
            "figure.toward",
            distance=self.exact_away(math.hypot(east, north)),
            compass=self.point(math.atan2(east, north)),
        )

    def energy(self, joules: float) -> str:
        r"""Write an energy to two significant digits.

        Examples
        --------
        >>> english("us").energy(11638.4), english("si").energy(1.125)
        ('8,600\xa0ft lbf', '1.1\xa0J')
        """
        name = unit_of("energy", self.units)
        value = rounded(joules / DIMENSIONS["energy"][name])
        return tied(self.number(f"{value:,.{0 if value >= 10 else 1}f} {name}"))

    def shown(self, value: float, kind: str) -> str:
        """Write a figure of a kind that `driftmap.core.units` knows."""
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
            return self.clock(low)
        last = math.ceil(high - 1e-9)
        start = self.count(first) if last <= _SECONDS else self.clock(low)
        # Word joiners: no line breaks at the dash.
        return tied(f"{start}\u2060–\u2060{self.clock(last)}")

    def clock(self, second: float) -> str:
        """Write the second of a moment, never rounded up; from 121 s on with its minutes."""
        whole = math.floor(second + 1e-9)
        if whole <= _SECONDS:
            return tied(f"{whole} s")
        return tied(f"{whole // 60}\u00a0min {whole % 60}\u00a0s")

    def compass(self, azimuth: float) -> str:
        """Name the nearest of eight points of the compass; azimuth in radians."""
        return self.say(f"compass.{_POINTS[round(math.degrees(azimuth) / 45) % 8]}")


def english(units: Units) -> Voice:
    """Return the voice of the pages that are in English alone."""
    return Voice(read_catalogue("en"), units)
