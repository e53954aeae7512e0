"""Winds that are supposed for planning: any speed and direction, one shape aloft."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Final

import numpy as np

from driftmap.air.altered import scaled
from driftmap.air.wind import MAST, WindProfile, direction_and_speed
from driftmap.core.errors import WindError
from driftmap.ground.site import Site
from driftmap.winds.merge import merge
from driftmap.winds.reading import Setting, present
from driftmap.winds.spoken import HEAD_HEIGHT, read_words

__all__ = [
    "Supposition",
    "head_share",
    "hour_told",
    "suppose",
    "taken_as_read",
    "turned",
]

_EQUINOX: Final = datetime(2000, 3, 20, 12, tzinfo=UTC)

_LEAST: Final = 0.5  # m/s at 10 m; a lighter wind has no shape that can be scaled

_KNOWN: Final = (
    "a supposed wind counts as known to the top and as fresh, though its error grows with "
    "height as that of a surface reading: on the day winds aloft are still to be found, "
    "and the verdict of the day holds without them"
)

_NO_HOUR: Final = "noon at the equinox, whatever the day and hour"

_NOT_OF_A_PLAN: Final = "no source speaks"
"""Note on readings that a supposed wind has no use for: `_KNOWN` stands in its place."""


@dataclass(frozen=True, slots=True)
class Supposition:
    """How supposed winds are made from a direction and a speed at 10 m.

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
        How far gusts at 10 m stand above the mean [m s⁻¹].

    Raises
    ------
    WindError
        If the shape has no wind at 10 m to scale.
    """

    site_altitude: float
    shape: WindProfile | None = None
    when: datetime | None = None
    place: tuple[float, float] | None = None
    gust: float = 0.0

    @classmethod
    def over_site(
        cls, site: Site, when: datetime | None = None, shape: WindProfile | None = None
    ) -> Supposition:
        """Suppose the winds over a site at an hour; a noon at the equinox for no day yet."""
        east = timedelta(hours=site.longitude / 15)
        place = (site.latitude, site.longitude)
        return cls(site.elevation, shape, when or _EQUINOX - east, place)

    def __post_init__(self) -> None:
        if self.shape is None:
            return
        speed = float(np.hypot(*self.shape.at(MAST)))
        if speed < _LEAST:
            raise WindError(
                self.shape.source or "wind",
                "",
                f"{speed:.2g} m/s at 10 m; a shape to scale needs {_LEAST} m/s or more",
            )

    @property
    def hour(self) -> datetime | None:
        """Hour of the flights; None where nobody told the day."""
        told = self.when is not None and self.when.date() != _EQUINOX.date()
        return self.when if told else None

    def over(self, height: float) -> float:
        """Give the wind at 10 m for each of that at a height [m]."""
        wind = suppose(self, 0.0, 5.0)
        return float(np.hypot(*wind.at(MAST)) / np.hypot(*wind.at(height)))

    def read(self, from_deg: float | None, speed: float) -> WindProfile:
        """Give a wind as far as a reading at 10 m alone tells it.

        Parameters
        ----------
        from_deg : float or None
            Direction it comes from at 10 m, clockwise from true north [deg]; None where
            it is variable.
        speed : float
            Speed at 10 m [m s⁻¹].

        Returns
        -------
        WindProfile
            The wind in words, known as high as those tell.
        """
        return self.spoken(_words(from_deg, speed, self.gust))

    def spoken(self, words: str) -> WindProfile:
        """Read a wind in words over the site at that hour, as told then: it has no age."""
        when = self.when or present()
        own = Setting(
            self.site_altitude, when=when, place=self.place, read_at=when, now=when
        )
        return merge([read_words(words, own)], own)


def _words(from_deg: float | None, speed: float, gust: float) -> str:
    way = "variable" if from_deg is None else f"from {from_deg % 360:.4f}"
    gusting = f" gusting to {speed + gust:.6f} m/s" if gust else ""
    return f"{speed:.6f} m/s {way}{gusting} at {MAST:g} m"


def suppose(
    supposition: Supposition, from_deg: float | None, speed: float
) -> WindProfile:
    """Suppose a wind.

    Parameters
    ----------
    supposition : Supposition
        How it grows and turns with height.
    from_deg : float or None
        Direction it comes from at 10 m, clockwise from true north [deg]; None where it is
        variable, which needs the law.
    speed : float
        Speed at 10 m [m s⁻¹].

    Raises
    ------
    ValueError
        If the direction is variable and a shape would have to be turned.

    Examples
    --------
    >>> wind = suppose(Supposition(0.0), 270.0, 5.0)
    >>> float(wind.at(10.0)[0]), float(wind.at(2.0)[0])
    (5.0, 3.61474)
    """
    if supposition.shape is not None:
        if from_deg is None:
            raise ValueError("'from_deg' must be given where a shape is turned")
        wind = turned(supposition.shape, math.radians(from_deg), speed)
        wind = replace(wind, gust=max(wind.gust, supposition.gust))
        name = "the wind that is turned"
    else:
        wind = supposition.read(from_deg, speed)
        name = _words(from_deg, speed, supposition.gust)
    told = "variable" if from_deg is None else f"from {from_deg % 360:05.1f}°"
    return taken_as_read(
        wind,
        f"supposed: {speed:.2f} m/s {told} at 10 m",
        (*_notes(wind.assumed, name), *hour_told(supposition), _KNOWN),
    )


def taken_as_read(
    wind: WindProfile, source: str, assumed: tuple[str, ...]
) -> WindProfile:
    """Count a wind as read now at all of its heights: a plan asks what is if it blows so."""
    return replace(
        wind,
        known_to=float(wind.height[-1]),
        read=tuple(wind.height.tolist()),
        age=0.0,
        undated=(),
        source=source,
        assumed=assumed,
    )


def hour_told(supposition: Supposition) -> Iterator[str]:
    """Say of what hour the supposed winds are; nothing where it is not known."""
    when = supposition.when
    if when is not None and supposition.shape is None:
        told = supposition.hour is not None
        at = f"{when:%Y-%m-%d %H:%M %z}".rstrip() if told else _NO_HOUR
        yield (
            f"winds aloft and rising air as usual at {at}: by a higher sun landings spread "
            "wider, by a lower one the wind grows more with height"
        )


def _notes(assumed: tuple[str, ...], name: str) -> Iterator[str]:
    """Keep the notes that hold for a supposed wind, without its figures."""
    for note in assumed:
        if _NOT_OF_A_PLAN not in note:
            yield note.replace(name, "the supposed wind")


def turned(shape: WindProfile, bearing: float, speed: float) -> WindProfile:
    """Scale and turn a wind so that it has this speed and direction at 10 m.

    Parameters
    ----------
    shape : WindProfile
        A wind that is not calm at 10 m.
    bearing : float
        Direction it shall come from at 10 m, clockwise from true north [rad].
    speed : float
        Speed it shall have at 10 m [m s⁻¹].

    Returns
    -------
    WindProfile
        The same at all heights alike.
    """
    now, strength = (float(v) for v in direction_and_speed(*shape.at(MAST)))
    wind = scaled(shape, speed / strength, bearing - now)
    return replace(
        wind,
        strongest=None,
        stronger=(),
        levels=(),
        assumed=(
            *shape.assumed,
            f"the wind of {shape.source}, scaled and turned at all heights alike; its "
            "error grows with it and never shrinks",
        ),
    )


def head_share(supposition: Supposition) -> float:
    """Give the wind at head height for each of that at 10 m."""
    wind = suppose(supposition, 0.0, 5.0)
    return float(np.hypot(*wind.at(HEAD_HEIGHT)) / np.hypot(*wind.at(MAST)))
