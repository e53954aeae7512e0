"""The hours whose air is worst: by how the sun stands then, and how it has stirred the air."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final

from driftmap.air.convection import convection, is_light, sun_height

__all__ = ["worst_suns", "year_of_light"]

_GROWS, _LOW = 15.0, 8.0
"""Heights of the sun [deg] under which the wind begins to grow more with height, and does so
by about half of what a sun on the horizon adds."""

_ALIKE: Final = (
    1.0,
    0.1,
)  # deg, m/s; a sun and stirred air no farther off count as the same


def worst_suns(
    times: Iterable[datetime], place: tuple[float, float], *beside: datetime
) -> list[datetime]:
    """Pick the times whose air is worst.

    The lowest sun lets the wind grow most with height, which carries landings farthest;
    early afternoons stir the air most, which strews them; mornings least, which lays them
    where they lie thickest; and a low sun of the evening does the first and the second at
    once. What lies between these was assumed to be no worse than they.

    ``times``: one or more; ``place``: latitude and longitude [deg]; ``beside``: times in the
    midst of few hours that are looked at anyway: the lowest sun and the most stirred air are
    then all that is asked for.

    Result: up to four, but for those whose air is as that of one before.
    """
    height = {at: sun_height(at, *place) for at in times}
    # One for each hour of the day and month is enough of a year.
    some = {(at.month, at.hour, at.minute // 15): at for at in height}.values()
    air = {at: _stirred(at, place) for at in some}
    low = min(height, key=height.__getitem__)
    most = max(air, key=air.__getitem__)
    evening = max(
        (at for at in air if height[at] < _LOW), key=air.__getitem__, default=low
    )
    least = min(
        (at for at in air if height[at] > _GROWS), key=air.__getitem__, default=low
    )
    found: list[datetime] = []
    for at in (low, most) if beside else (low, evening, least, most):
        if not any(_alike(at, known, place) for known in (*beside, *found)):
            found.append(at)
    return found


def _stirred(at: datetime, place: tuple[float, float]) -> float:
    """Give how strongly the sun stirs the air under a clear sky [m s⁻¹]."""
    air = convection(at, *place, None)
    return 0.0 if air is None else air.speed


def _alike(one: datetime, other: datetime, place: tuple[float, float]) -> bool:
    turned = abs(sun_height(one, *place) - sun_height(other, *place))
    stirred = abs(_stirred(one, place) - _stirred(other, place))
    return turned <= _ALIKE[0] and stirred <= _ALIKE[1]


def year_of_light(noon: datetime, place: tuple[float, float]) -> list[datetime]:
    """List hours of light of a year: about noons of an equinox and of both solstices.

    ``noon``: that of the equinox in March. A sun on the horizon comes first.
    """
    days = [noon + timedelta(days=n) for n in (0, 92, -89)]
    hours = [day + timedelta(hours=n / 2) for day in days for n in range(-22, 23)]
    dawn = noon - timedelta(hours=6)
    return [dawn, *(at for at in hours if is_light(at, *place))]
