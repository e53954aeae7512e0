"""Winds that are supposed for planning: any speed and direction, one shape aloft."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np

from driftmap.air.profile_law import LOG_TOP, ROUGHNESS
from driftmap.air.transformed import scaled, with_error
from driftmap.air.uncertainty import lasting_error
from driftmap.air.wind import HEAD, MAST, WindLevel, WindProfile, direction_and_speed
from driftmap.core.checks import FloatArray
from driftmap.core.errors import WindError
from driftmap.ground.areas import Site
from driftmap.planning.worst_hours import worst_of_a_year
from driftmap.winds.merge import merge
from driftmap.winds.plain_words import read_words
from driftmap.winds.reading import Setting
from driftmap.winds.times import present

METER_HEIGHT: Final = HEAD
"""Height at which a dial's wind is read [m]: a hand-held meter."""

_EQUINOX: Final = datetime(2000, 3, 20, 12, tzinfo=UTC)

_LEAST: Final = 0.5  # m/s at 10 m; a lighter wind has no shape that can be scaled

_KNOWN: Final = (
    "a supposed wind counts as known to the top and as fresh, though its error grows with "
    "height as that of a surface reading: on the day winds aloft are still to be found, "
    "and the verdict of the day holds without them"
)

_ON_A_DIAL: Final = (
    "the dial supposes the wind aloft and counts it as known: on the day, winds aloft are "
    "still to be found and held against it"
)

NO_HOUR: Final = "noon at the equinox, whatever the day and hour"
"""How the sun of a plan is told that is of no day."""

_ANY_SUN: Final = (
    "winds aloft and rising air as usual by a sun on the horizon, by a low one of an "
    "evening, and by the least and the most that a higher one stirs the air in a year: each "
    "wind has its worst word by these"
)

_STIRRED: Final = (
    "rising air as when the layers were read, and as an early afternoon of midsummer stirs "
    "it: each wind has its worst word by these"
)

_RISING: Final = re.compile("^(no rising|rising and sinking) air")

_NOT_OF_A_PLAN: Final = "no source speaks"
"""Note on readings that a supposed wind has no use for: the one above stands in its place."""


_OF_THE_SKY: Final = ("visibility", "cloud_cover", "cloud_base", "lowest_cloud")


class Wind(NamedTuple):
    """A wind of a plan: its speed where it is told [m s⁻¹], and where it comes from [deg]."""

    speed: float
    from_deg: float


@dataclass(frozen=True, slots=True)
class Supposition:
    """How supposed winds are made from a direction and a speed at one height.

    Parameters
    ----------
    site_altitude : float
        Altitude of the site above mean sea level [m].
    shape : WindProfile, optional
        A wind to scale and turn; without it, what usually stands over a wind in words.
    when : datetime, optional
        Time of the flights, and with `place` the sun's height, which tells how the wind
        grows and turns and how the air is stirred.
    place : (float, float), optional
        Latitude and longitude [deg]; without it the wind is that of an hour not known.
    gust : float
        How far gusts stand above the mean [m s⁻¹].
    gust_factor : float
        Gusts for each of the mean; the stronger of the two counts.
    at : float
        Height at which speed, direction and gusts are told [m].
    terrain : str
        Ground about the site, a class of `ROUGHNESS`, over which the wind grows near it.
    sky : WindProfile, optional
        A wind of the hour whose warnings, cloud and sight hold in all supposed ones; its own
        shape is not taken.

    Raises
    ------
    WindError
        If the shape has no wind there, or at 10 m, to scale.
    """

    site_altitude: float
    shape: WindProfile | None = None
    when: datetime | None = None
    place: tuple[float, float] | None = None
    gust: float = 0.0
    gust_factor: float = 1.0
    at: float = MAST
    terrain: str = "open"
    sky: WindProfile | None = None

    @classmethod
    def over_site(
        cls,
        site: Site,
        when: datetime | None = None,
        shape: WindProfile | None = None,
        terrain: str = "open",
    ) -> Supposition:
        """Suppose the winds over a site at an hour; a noon at the equinox for no day yet."""
        east = timedelta(hours=site.longitude / 15)
        place = (site.latitude, site.longitude)
        hour = when or _EQUINOX - east
        return cls(site.elevation, shape, hour, place, terrain=terrain)

    def __post_init__(self) -> None:
        if self.shape is None:
            return
        for height, least in ((MAST, _LEAST), (self.at, 1e-3)):
            speed = float(np.hypot(*self.shape.at(height)))
            if speed < least:
                text = (
                    f"{speed:.2g} m/s at {height:g} m; a shape to scale needs {least:g}"
                )
                raise WindError(self.shape.source or "wind", "", f"{text} m/s or more")

    @property
    def hour(self) -> datetime | None:
        """Hour of the flights; None where nobody told the day."""
        told = self.when is not None and self.when.date() != _EQUINOX.date()
        return self.when if told else None

    def by_any_sun(self) -> list[Supposition]:
        """Suppose the same by the worst suns of the year, where no day is told.

        A shape stays as it is; it is stirred as when it was read, and the most of a year.
        """
        if self.hour is not None or self.place is None:
            return [self]
        year = worst_of_a_year(self.when or _EQUINOX, self.place)
        suns = [replace(self, when=at) for at in year]
        return suns if self.shape is None else [self, suns[-1]]

    def told_by_any_sun(self, assumed: Iterable[str]) -> list[str]:
        """Tell what a wind assumes where each has its worst word by `by_any_sun`."""
        if len(self.by_any_sun()) == 1:
            return list(assumed)
        if self.shape is not None:
            return [*assumed, _STIRRED]
        return [*(note for note in assumed if NO_HOUR not in note), _ANY_SUN]

    def on_the_meter(self, gust_factor: float = 1.0) -> Supposition:
        """Suppose the same by what a hand-held meter reads."""
        return replace(self, at=METER_HEIGHT, gust_factor=gust_factor)

    def over(self, height: float) -> float:
        """Return the wind at 10 m for each of that at a height [m]."""
        wind = suppose(self, 0.0, 5.0)
        return float(np.hypot(*wind.at(MAST)) / np.hypot(*wind.at(height)))

    def read(self, from_deg: float | None, speed: float) -> WindProfile:
        """Give a wind as far as a reading alone tells it.

        Parameters
        ----------
        from_deg : float or None
            Direction it comes from, clockwise from true north [deg]; None where it is
            variable.
        speed : float
            Speed [m s⁻¹].

        Returns
        -------
        WindProfile
            The wind in words, known as high as those tell.
        """
        words = _words(self, from_deg, speed)
        if from_deg is None:
            return self._spoken(words)
        # The law knows no north: what was worked out once is turned.
        first = _words(self, 0.0, speed)
        wind = scaled(self._spoken(first), angle=math.radians(from_deg % 360))

        def own(text: str) -> str:
            return text.replace(first, words)

        return replace(
            wind,
            source=own(wind.source),
            levels=tuple(replace(at, source=own(at.source)) for at in wind.levels),
            assumed=tuple(map(own, wind.assumed)),
        )

    def _spoken(self, words: str) -> WindProfile:
        own = self.site_altitude, self.place, self.when, self.terrain
        return _spoken(*own, words)

    def departs(self, wind: WindProfile) -> bool:
        """Return whether a supposed wind is aloft another than was read, beyond its error.

        What a meter reads near the ground says nothing of the winds aloft.
        """
        if self.shape is None:
            return False
        z, error = self.shape.height, self.shape.error
        apart = np.hypot(*np.subtract(self.shape.at(z), wind.at(z)))
        high = (z > LOG_TOP) & (z <= self.shape.known_to)
        return bool(np.any(apart[high] > error[high]))

    def above(self, speed: float) -> float:
        """Return how far gusts stand above a mean speed [m s⁻¹]."""
        return max(self.gust, (self.gust_factor - 1) * speed)


@lru_cache(32)  # a wind is flown, judged and bounds its neighbours; each asks for it
def _spoken(
    altitude: float,
    place: tuple[float, float] | None,
    when: datetime | None,
    terrain: str,
    words: str,
) -> WindProfile:
    """Read a wind in words over the site at that hour, as told then: it has no age."""
    when = when or present()
    place_and_time = Setting(altitude, when=when, place=place, read_at=when, now=when)
    own = replace(place_and_time, terrain=terrain)
    return merge([read_words(words, own)], own)


def _words(supposition: Supposition, from_deg: float | None, speed: float) -> str:
    way = "variable" if from_deg is None else f"from {from_deg % 360:.4f}"
    gust = supposition.above(speed)
    gusting = f" gusting to {speed + gust:.6f} m/s" if gust else ""
    # Words that name no height are those of a hand-held meter.
    at = "" if supposition.at == METER_HEIGHT else f" at {supposition.at:g} m"
    return f"{speed:.6f} m/s {way}{gusting}{at}"


def suppose(
    supposition: Supposition, from_deg: float | None, speed: float
) -> WindProfile:
    """Suppose a wind, and count it as read now at all of its heights.

    A plan asks what is if it blows so.

    Parameters
    ----------
    supposition : Supposition
        How it grows and turns with height, and at which height it is told.
    from_deg : float or None
        Direction it comes from there, clockwise from true north [deg]; None where it is
        variable, which needs the law.
    speed : float
        Speed there [m s⁻¹].

    Raises
    ------
    ValueError
        If the direction is variable and a shape would have to be turned.

    Examples
    --------
    >>> wind = suppose(Supposition(0.0), 270.0, 5.0)
    >>> float(wind.at(10.0)[0]), float(wind.at(2.0)[0])
    (5.0, 3.61474)
    >>> wind = suppose(Supposition(0.0).on_the_meter(), 270.0, 5.0)
    >>> float(wind.at(2.0)[0]), float(wind.at(10.0)[0])
    (5.0, 6.916132)
    """
    metered = supposition.at == METER_HEIGHT
    if supposition.shape is None:
        wind = supposition.read(from_deg, speed)
    elif from_deg is None:
        raise ValueError("'from_deg' must be given where a shape is turned")
    else:
        wind = _turned(supposition, from_deg, speed)
    words = _words(supposition, from_deg, speed)
    called = "the meter" if metered else "the supposed wind"
    notes = (n.replace(words, called) for n in wind.assumed if _NOT_OF_A_PLAN not in n)
    closing = _ON_A_DIAL if metered else _KNOWN
    if (sky := supposition.sky) is not None:
        wind = replace(
            wind,
            warned=tuple(dict.fromkeys((*wind.warned, *sky.warned))),
            aside=sky.aside,
            **{name: getattr(sky, name) for name in _OF_THE_SKY},
        )
    text = "variable" if from_deg is None else f"from {from_deg % 360:05.1f}°"
    return replace(
        wind,
        known_to=float(wind.height[-1]),
        read=tuple(wind.height.tolist()),
        age=0.0,
        foretold=False,
        undated=(),
        # A report of another day tells nothing of the air of a plan.
        temperature=wind.temperature if supposition.hour else None,
        altimeter=wind.altimeter if supposition.hour else None,
        source=f"supposed: {speed:.2f} m/s {text} at {supposition.at:g} m",
        assumed=(*notes, *_hour_told(supposition), closing),
    )


def _hour_told(supposition: Supposition) -> Iterator[str]:
    """Say of what hour the supposed winds are; nothing where it is not known."""
    when = supposition.when
    if when is not None and supposition.shape is None:
        told = supposition.hour is not None
        at = f"{when:%Y-%m-%d %H:%M %z}".rstrip() if told else NO_HOUR
        yield (
            f"winds aloft and rising air as usual at {at}: by a higher sun landings spread "
            "wider, by a lower one the wind grows more with height"
        )


def _turned(supposition: Supposition, from_deg: float, speed: float) -> WindProfile:
    """Scale and turn a shape so that it has this speed and direction where it is told."""
    shape, at, way = supposition.shape, supposition.at, math.radians(from_deg)
    assert shape is not None
    now, strength = (float(v) for v in direction_and_speed(*shape.at(at)))
    wind = scaled(shape, speed / strength, way - now)
    gust, stirred, notes = supposition.above(speed), shape.convection, shape.assumed
    grown = ""
    if supposition.hour is not None:
        # The sun is that of the flights, not of the layers.
        own = supposition.read(0.0, speed)
        wind = with_error(wind, _grown(wind, own, supposition.terrain))
        grown = f", and aloft is that of {_SERVED:g} h after it was read"
        stirred = own.convection
        notes = tuple(note for note in notes if not _RISING.search(note))
        notes += tuple(note for note in own.assumed if _RISING.search(note))
    level = WindLevel(at, way, speed, speed + gust, "the supposed gusts")
    return replace(
        wind,
        # What another report told stays as it was told, whatever the meter reads.
        strongest=shape.strongest,
        stronger=shape.stronger,
        levels=(level,) if gust else (),
        gust=max(wind.gust, gust),
        convection=stirred,
        assumed=(
            *notes,
            f"the wind of {shape.source}, scaled and turned at all heights alike; its "
            f"error grows with it and never shrinks{grown}",
        ),
    )


_SERVED: Final = 3.0
"""Hours for which layers are flown after they were read; assumed, as those that a dial serves."""

_LOW: Final = 200.0
"""Height up to which no layers make a reading at the meter surer than it is alone [m]; assumed:
older ones go over into it up to 120 m, and the wind between them follows."""


def _grown(wind: WindProfile, meter: WindProfile, terrain: str) -> FloatArray:
    """Return the error of layers by the end of the hours that they are flown for [m s⁻¹].

    ``meter``: what a reading alone tells.
    """
    roughness, speed = ROUGHNESS[terrain], np.hypot(wind.east, wind.north)
    lasting = [
        lasting_error(_SERVED, 0.0, v, z, roughness, forecast=False)
        for z, v in zip(wind.height.tolist(), speed.tolist(), strict=True)
    ]
    aged = np.hypot(wind.error, lasting) * (wind.height > LOG_TOP)
    read = np.interp(wind.height, meter.height, meter.error) * (wind.height <= _LOW)
    return np.asarray(np.max([wind.error, aged, read], axis=0))
