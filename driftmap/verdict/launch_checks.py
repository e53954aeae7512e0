"""Checks of the rail, of how steadily a rocket leaves it, and of how well the wind is known."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import datetime
from math import copysign, cos, inf, pi
from typing import Final

import numpy as np

from driftmap.air.day import AirDay, station_pressure
from driftmap.air.wind import MAST, NEAR_GROUND, WindProfile, surface_wind
from driftmap.core.checks import FloatArray
from driftmap.core.units import FOOT, KNOT, ZERO_CELSIUS
from driftmap.ground.areas import Site
from driftmap.montecarlo.cloud import Cloud
from driftmap.montecarlo.margins import ends, expected_altitude
from driftmap.rocket.stability import Balance
from driftmap.verdict.check import (
    NO_SOURCE,
    Check,
    Kind,
    Outcome,
    at_most,
    beside,
    compared,
    held,
)
from driftmap.verdict.limits import Limit

_CALM: Final = 0.1  # m/s; a rail speed over less says nothing

IN_A_GUST: Final = 0.75
"""Share of the least rail speed over the wind that the slowest flights must reach: the rule
of thumb is made for the wind as read, and these meet its gusts and its error; assumed."""


def rail_checks(
    cloud: Cloud, wind: WindProfile, limits: Mapping[str, Limit]
) -> list[Check]:
    """Hold the rail's tilt and the speed on leaving it against their limits."""
    tilt = float(np.degrees(cloud.plan.flight.rail.angle.value))
    limit = limits["rail_tilt"]  # a file's own; the code's is a line of the rules
    over_wind = cloud.rail_speed / np.maximum(cloud.rail_wind, _CALM)
    in_a_gust = max(surface_wind(wind)[0] + wind.gust, _CALM)
    margin, upper = limits["static_margin"], cloud.plan.upper_balance
    return [
        *([] if limit.value == inf else [compared(Kind.RAIL_TILT, tilt, "deg", limit)]),
        _reaches(Kind.RAIL_SPEED, cloud.rail_speed, "m/s", limits["rail_speed"]),
        _reaches(
            Kind.RAIL_OVER_WIND,
            over_wind,
            "times",
            limits["rail_speed_over_wind"],
            slowest=IN_A_GUST,
            least=float(np.median(cloud.rail_speed)) / in_a_gust,
        ),
        _steady(cloud.plan.balance, margin, "airframe"),
        *([] if upper is None else [_steady(upper, margin, "sustainer")]),
    ]


def _steady(balance: Balance, limit: Limit, frame: str) -> Check:
    """Hold a rocket, or an upper stage, that may not be stable, or of which nobody said."""
    low, middle, high = balance.margin
    name = "static margin" + (" of the sustainer" if frame == "sustainer" else "")
    if balance.known:
        return compared(
            Kind.STATIC_MARGIN, middle, "cal", limit, interval=(low, high), name=name
        )
    return held(
        Kind.STATIC_MARGIN,
        limit.source,
        f"{name} not known",
        limit=limit.value,
        unit="cal",
        sense="least",
        note=f"state {frame}.stability, or centre_of_mass and the fins' shape",
    )


def _reaches(
    kind: Kind,
    values: FloatArray,
    unit: str,
    limit: Limit,
    *,
    slowest: float = 1.0,
    least: float = inf,
) -> Check:
    """Compare the middle of flights with a least value, and the slowest with a share of it.

    ``least``: what one flight may come to beside those flown, as in a gust.
    """
    low, middle, high = ends(values)
    low = min(low, least)
    outcome: Outcome = at_most((-high, -low), -slowest * limit.value)
    if middle < limit.value:
        outcome = "fail"
    return compared(kind, middle, unit, limit, interval=(low, high), outcome=outcome)


_CLEAR: Final = (
    "safety codes of associations: into no cloud (from memory); the height reported "
    "above its station counts as above the pad (assumed)"
)


def wind_checks(
    cloud: Cloud, wind: WindProfile, limits: Mapping[str, Limit]
) -> list[Check]:
    """Hold the surface wind against a limit of its own, and how well the wind is known."""
    return [
        *_surface(wind, limits["surface_wind"]),
        *_aloft(cloud, wind, limits),
        *_lowest(wind),
        *_shear(wind),
        *_age(wind, limits["wind_age"]),
        *_warned(wind),
        *_into_cloud(cloud, wind),
    ]


def _aloft(cloud: Cloud, wind: WindProfile, limits: Mapping[str, Limit]) -> list[Check]:
    """Hold where the flight is far from any height at which the wind was read."""
    top = float(np.quantile(cloud.apogee.height, 0.95))
    gap, layer = limits["wind_gap"], limits["wind_layer"]
    deepest = max(
        (
            high - low
            for low, high in zip(wind.read[:-1], wind.read[1:], strict=True)
            if top - low > gap.value
        ),
        default=0.0,
    )
    return [
        compared(Kind.WIND_GAP, max(0.0, top - wind.known_to), "m", gap),
        compared(Kind.WIND_LAYER, deepest, "m", layer),
    ]


def _surface(wind: WindProfile, limit: Limit) -> list[Check]:
    """Hold the wind against a limit of a file's own; the code's is a line of the rules."""
    if limit.value == inf:
        return []
    speed, ends = surface_wind(wind)
    line = compared(Kind.SURFACE_WIND, speed, "m/s", limit, interval=ends)
    return [replace(line, outcome="fail") if speed > limit.value else line]


_STEEP: Final = Limit(
    5 * KNOT * 30 / (100 * FOOT),
    "speed",
    "low",
    "5 kt in 100 ft, where shear is called moderate (ICAO's interim scale of 1967, from "
    "memory); over 60 m of height, up to 600 m",
)
"""Change of the wind over 30 m of height [m s⁻¹]. Of 96 soundings of the data of the tests
with less than 9 m/s at 10 m three in a hundred change more, none of them by night."""

_SHEARED: Final = (60.0, 600.0)  # m; some 200 ft deep, in the lowest 2,000 ft; assumed


def _shear(wind: WindProfile) -> list[Check]:
    """Hold where the wind, as read, changes much on the way up from the ground.

    Such a layer moves and breaks up within minutes, and the way up bends in it.
    """
    deep, top = _SHEARED
    height = np.array([max(z, MAST) for z in wind.read if z <= top])
    rise = np.abs(np.subtract.outer(height, height))
    change = np.hypot(*(np.subtract.outer(part, part) for part in wind.at(height)))
    apart = rise >= deep
    steepest = 30 * float(np.max(change[apart] / rise[apart], initial=0.0))
    line = compared(Kind.WIND_SHEAR, steepest, "m/s", _STEEP)
    note = "the rocket turns into the strong wind on its way up: let it be watched, or wait"
    return [] if line.outcome == "pass" else [replace(line, note=note)]


def _lowest(wind: WindProfile) -> list[Check]:
    """Hold where no wind was read near the ground."""
    lowest = wind.read_from
    assert lowest is not None  # a profile fills it in
    if lowest <= NEAR_GROUND:
        return []
    limit = Limit(NEAR_GROUND, "length", "low", NO_SOURCE)
    note = "add a reading at head height"
    return [compared(Kind.WIND_NEAR_GROUND, lowest, "m", limit, note=note)]


def _age(wind: WindProfile, limit: Limit) -> list[Check]:
    """Hold on a wind that is old, or of which nobody said when it was read."""
    if wind.undated or wind.age is None:
        named = ", ".join(wind.undated) or wind.source or "the wind"
        note = f"say when it was read: {named}"
        return [held(Kind.WIND_UNDATED, limit.source, note=note)]
    hours = replace(limit, value=limit.value / 3600)
    return [compared(Kind.WIND_AGE, float(wind.age), "h", hours)]


def _warned(wind: WindProfile) -> list[Check]:
    """Hold on what the reports warn of, and where they disagree; tell what was set aside."""
    figures = {two.told: two for two in wind.disagree}
    warned = [
        held(Kind.WIND_WARNED, NO_SOURCE, said, winds=figures.get(said))
        for said in wind.warned
    ]
    who = "whoever set it aside answers for it"
    return [
        *warned,
        *([beside(wind.aside, who, Kind.WIND_WARNED)] if wind.aside else []),
    ]


def _into_cloud(cloud: Cloud, wind: WindProfile) -> list[Check]:
    """Hold where the flight goes up into cloud that hides most of the sky."""
    if wind.cloud_base is None:
        return []
    base = Limit(wind.cloud_base, "length", "low", _CLEAR)
    return [compared(Kind.INTO_CLOUD, expected_altitude(cloud), "m", base)]


_APART: Final = (10.0, 0.01)
"""A temperature flown in [K], and a share of the pressure, so far from a report's contradict it,
which may stand some hundred metres higher or lower; assumed."""

_WARM, _COOLS, _SEASON, _OFF = 300.0, 0.6, 0.3, 30.0
"""Mean temperature of the tropics at the sea [K], by how much it falls and how far it swings with
each degree of latitude [K], half as far where the sea or a wind from over mountains warms a winter,
and how far beside that no day is; from memory, wide, assumed."""


def air_checks(
    day: AirDay | None, site: Site, wind: WindProfile, when: datetime | None
) -> list[Check]:
    """Hold on air that a report among the winds contradicts, or that no such day has.

    ``day``: the air flown in; ``when``: time of the flight, None where nobody told its day.
    """
    if day is None:
        return []
    doubts = (*_of_a_report(day, site, wind), *_unusual(day, site, when))
    return [held(Kind.WIND_WARNED, NO_SOURCE, told) for told in doubts]


def _of_a_report(day: AirDay, site: Site, wind: WindProfile) -> Iterator[str]:
    warm, told = float(day.temperature_at(site.elevation)), wind.temperature
    if told is not None and abs(warm - told) > _APART[0]:
        yield f"{_air(warm)} and a report tells {_celsius(told)}: which is it?"
    if wind.altimeter is not None:
        pressure = float(day.pressure_at(site.elevation))
        told = float(station_pressure(wind.altimeter, site.elevation))
        if abs(pressure - told) > _APART[1] * told:
            one, other = (f"{pascal / 100:.0f} hPa" for pascal in (pressure, told))
            yield (
                f"the air flown in, of {one} at the site, is {other} by a report: which is it?"
            )


def _unusual(day: AirDay, site: Site, when: datetime | None) -> Iterator[str]:
    if when is None:
        return
    north, turn = abs(site.latitude), 2 * pi * (when.timetuple().tm_yday - 20) / 365
    summer = -cos(turn) * copysign(1, site.latitude)
    year = _WARM - _COOLS * max(north - 15, 0) - 0.0065 * site.elevation
    swing = _SEASON * north * summer
    least, most = year + swing - _OFF, year + max(swing, swing / 2) + _OFF
    warm = float(day.temperature_at(site.elevation))
    if not least <= warm <= most:
        yield (
            f"{_air(warm)} lies beside the {_celsius(least)} to {_celsius(most)} that are "
            "usual there at this time of year: a sign or a unit?"
        )


def _air(kelvin: float) -> str:
    return f"the air flown in, of {_celsius(kelvin)},"


def _celsius(kelvin: float) -> str:
    return f"{kelvin - ZERO_CELSIUS:.0f} °C"
