"""The hours whose air is worst: by how the sun stands then, and how it has stirred the air."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from datetime import datetime, timedelta
from functools import lru_cache, partial
from typing import Final

from driftmap.air.convection import convection
from driftmap.air.sun import is_light, sun_height

_LOW: Final = 8.0
"""Height of the sun [deg] under which the wind grows more with height, by about half of what
a sun on the horizon adds."""

_ALIKE: Final = (1.0, 0.1)
"""Suns whose height [deg] and stirred air [m s⁻¹] are no farther apart count as the same."""


def worst_suns(
    times: Iterable[datetime], place: tuple[float, float], *beside: datetime
) -> list[datetime]:
    """Pick the times whose air is worst.

    The lowest sun lets the wind grow most with height, which carries landings farthest;
    early afternoons stir the air most, which strews them; mornings least, which lays them
    where they lie thickest; and a low sun of the evening does the first and the second at
    once. Held against each half-hour of light of every 15th day at 60 and 42 degrees north and
    30 south, over winds of 2 and 5 m/s: each hour has one of a year's suns whose wind from 150
    to 1500 m, its error with it, is at most 7 % less and whose air is stirred at most 0.14 m/s
    less; for milder winds and stiller air, one at most 13 % and 0.26 m/s above it; for one of
    each, at most 0.4 %.

    ``times``: one or more; ``place``: latitude and longitude [deg]; ``beside``: times in the
    midst of few hours that are looked at anyway: the lowest sun and the most stirred air are
    then all that is asked for.

    Result: up to four, but for those whose air is as that of one before.
    """
    height = {at: sun_height(at, *place) for at in times}
    by_sun = sorted(height, key=height.__getitem__)
    low = by_sun[0]
    most = _most(by_sun, place)
    evening = _most([at for at in by_sun if height[at] < _LOW], place) or low
    bright = [at for at in by_sun if height[at] >= _LOW]
    least = min(_one_each(bright[::-1]), key=partial(_stirred, place), default=low)
    found: list[datetime] = []
    for at in (low, most) if beside else (low, evening, least, most):
        if at and not any(_alike(at, known, place) for known in (*beside, *found)):
            found.append(at)
    return found


def _one_each(by_sun: Sequence[datetime]) -> Collection[datetime]:
    """Take the last for each month and quarter of an hour: the higher the sun, the more stirred."""
    return {(at.month, at.hour, at.minute // 15): at for at in by_sun}.values()


def _most(by_sun: Sequence[datetime], place: tuple[float, float]) -> datetime | None:
    return max(_one_each(by_sun), key=partial(_stirred, place), default=None)


def _stirred(place: tuple[float, float], at: datetime) -> float:
    """Return how strongly the sun stirs the air under a clear sky [m s⁻¹]."""
    air = convection(at, *place, None)
    return 0.0 if air is None else air.speed


def _alike(one: datetime, other: datetime, place: tuple[float, float]) -> bool:
    turned = abs(sun_height(one, *place) - sun_height(other, *place))
    stirred = abs(_stirred(place, one) - _stirred(place, other))
    return turned <= _ALIKE[0] and stirred <= _ALIKE[1]


@lru_cache(8)  # every wind of a plan asks
def worst_of_a_year(noon: datetime, place: tuple[float, float]) -> list[datetime]:
    """Pick the worst of the light of a year: an equinox and both solstices.

    ``noon``: that of the equinox in March. A sun on the horizon is among them.
    """
    days = [noon + timedelta(days=n) for n in (0, 92, -89)]
    hours = [day + timedelta(hours=n / 2) for day in days for n in range(-22, 23)]
    dawn = noon - timedelta(hours=6)
    lit = [dawn, *(at for at in hours if is_light(at, *place))]
    return worst_suns(lit, place)
