"""A season: hours of records, judged bin by bin."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial
from typing import Final, TypeVar

from driftmap.air.sun import is_light
from driftmap.planning.assumed_winds import Supposition, suppose
from driftmap.planning.hours import HourReading, Hours
from driftmap.planning.ledger import Ledger
from driftmap.planning.sweep import LostPart, Workers, sweep
from driftmap.planning.trial import (
    FINDINGS,
    NOT_KNOWN,
    Finding,
    Trial,
    pack,
    try_flight,
    unknown_trial,
    unpack,
)
from driftmap.planning.wind_sweep import Sector, flights_of, forget_flights, worst
from driftmap.planning.worst_hours import worst_suns
from driftmap.rules.answers import Answers
from driftmap.verdict.setup import Setup

P = TypeVar("P")

DIRECTION_STEP: Final = 10.0
"""Width of a bin of directions [deg]."""

SPEED_STEP: Final = 0.5
"""Width of a bin of speeds [m s⁻¹]."""

_GUST_STEP: Final = 2.0
"""Width of a bin of gusts above the mean [m s⁻¹]."""


@dataclass(frozen=True, slots=True)
class SeasonHour:
    """One hour of a season.

    Parameters
    ----------
    time : datetime
        Its beginning, in UTC.
    finding : {"go", "hold", "no-go", "not known"}
        The worst of its readings' verdicts; "not known" without a reading.
    blocked_by : str
        What speaks against a go.
    """

    time: datetime
    finding: Finding
    blocked_by: str


@dataclass(frozen=True, slots=True)
class Agreement:
    """How often the verdict of a bin is that of the very wind in it.

    Parameters
    ----------
    checked, same : int
        Readings flown as they are, and those with the same finding.
    wrongly_go : int
        Readings whose bin is go though they are not.
    """

    checked: int
    same: int
    wrongly_go: int


def bin_of(reading: HourReading) -> HourReading:
    """Round a reading to its bin, the speed upward.

    Parameters
    ----------
    reading : HourReading
        The wind.

    Returns
    -------
    HourReading
        The nearest 10°, and the next 0.5 m s⁻¹ of speed and 2 m s⁻¹ of gusts at or above
        it, so that no wind passes for a lighter one; a calm has direction 0.

    Examples
    --------
    >>> tuple(bin_of(HourReading(357.0, 3.7))), tuple(bin_of(HourReading(44.0, 0.0, 2.5)))
    ((0.0, 4.0, 0.0), (0.0, 0.0, 4.0))
    """
    way, speed, gust = reading
    speed, gust = _upward(speed, SPEED_STEP), _upward(gust, _GUST_STEP)
    if way is not None:
        way = round(way / DIRECTION_STEP) * DIRECTION_STEP % 360
    return HourReading(way if speed else 0.0, speed, gust)


def _upward(value: float, step: float) -> float:
    return math.ceil(value / step - 1e-9) * step


def season_hours(
    setup: Setup,
    supposition: Supposition,
    hours: Hours,
    ledger: Ledger,
    *,
    workers: Workers | None = None,
) -> tuple[SeasonHour, ...]:
    """Give every hour of a season its verdict.

    Winds are put into bins of 10°, 0.5 m/s and 2 m/s of gusts, rounded up. Each bin that
    occurs is judged as a whole, on the same seed: no wind in it is judged milder than by
    itself.

    ``setup``: what is flown, and where; ``supposition``: how the wind grows with
    height; ``hours``: winds at 10 m; ``ledger``: what is found already, and where to keep
    the rest; ``workers``: who works on it; a part is a bin.

    Result: one for each hour, the worst by each of `season_suns`. Without a reading, or
    where a worker was lost, it is not known.
    """
    todo = sorted(
        (b for b in _bins(hours) if _name(b) not in ledger.found),
        key=lambda b: (b.speed, -1.0 if b.way is None else b.way),
    )
    packed, suns = pack(setup), season_suns(setup, supposition, hours)
    said = [f" by the sun of {sun.when:%Y-%m-%dT%H:%MZ}" for sun in suns if sun.when]
    said = said if len(suns) > 1 else [""]

    def by_suns(wind: HourReading) -> tuple[Finding, str]:
        names = (_name(wind) + each for each in said)
        return _worst(ledger.found[name] for name in names if name in ledger.found)

    for sun, each in zip(suns, said, strict=True):
        # Where there is a no-go already, none makes it worse.
        left = [b for b in todo if by_suns(b)[0] != "no-go"]
        _fill_bins(packed, sun, ledger, left, each, workers)
    for b in todo if len(suns) > 1 else ():
        ledger.keep(_name(b), *by_suns(b))
    pairs = zip(hours.times(), hours.readings, strict=True)
    return tuple(_hour(setup, ledger, hours.held, *pair) for pair in pairs)


def _hour(
    setup: Setup,
    ledger: Ledger,
    held: Mapping[datetime, str],
    time: datetime,
    each: tuple[HourReading, ...],
) -> SeasonHour:
    """Give an hour the worst that was found of its readings, and what it holds for."""
    told = [ledger.found[_name(bin_of(reading))] for reading in each]
    if time in held:
        told.append(("hold", held[time]))
    found = _worst(told)
    return by_light(setup, SeasonHour(time, *found), time + timedelta(hours=1))


def _bins(hours: Hours) -> set[HourReading]:
    return {bin_of(reading) for each in hours.readings for reading in each}


def season_suns(
    setup: Setup, supposition: Supposition, hours: Hours
) -> list[Supposition]:
    """Return the air by the worst suns of the hours that may be go; one where no place is known."""
    times = [at for at, each in _lit(setup, hours) if each]
    if supposition.place is None or not times:
        return [supposition]
    minutes = (timedelta(minutes=n) for n in (0, 30, 60))
    every = [start + more for more in minutes for start in times]
    return [
        replace(supposition, when=at) for at in worst_suns(every, supposition.place)
    ]


def _lit(
    setup: Setup, hours: Hours
) -> Iterator[tuple[datetime, tuple[HourReading, ...]]]:
    """Go through the hours that darkness does not hold."""
    for time, each in zip(hours.times(), hours.readings, strict=True):
        if _may_go(setup, time, time + timedelta(hours=1)):
            yield time, each


def _fill_bins(
    packed: bytes,
    supposition: Supposition,
    ledger: Ledger,
    bins: Sequence[HourReading],
    said: str,
    workers: Workers | None,
) -> None:
    """Find what a ledger does not hold yet of some bins by one sun."""
    for gust in sorted({b.gust for b in bins}):
        gusty = replace(supposition, gust=gust)
        same = [b for b in bins if b.gust == gust]
        steps = round(max(b.speed for b in same) / SPEED_STEP)
        speeds = tuple(SPEED_STEP * i for i in range(1 + steps))
        flights_of(packed, gusty, speeds)  # one for all threads, before any begins
        try:
            work = partial(_try_bin, packed, gusty, speeds)
            fill(ledger, work, {_name(b) + said: b for b in same}, workers)
        finally:
            forget_flights()


def _worst(found: Iterable[tuple[Finding, str]]) -> tuple[Finding, str]:
    """Return the worst of what was found; where nothing was, it is not known."""
    worst = max(found, key=lambda one: FINDINGS.index(one[0]), default=None)
    return worst or (NOT_KNOWN, "no reading")


def fill(
    ledger: Ledger,
    work: Callable[[P], Trial],
    parts: Mapping[str, P],
    workers: Workers | None,
) -> None:
    """Find what a ledger does not hold yet of some parts by name."""
    todo = {name: part for name, part in parts.items() if name not in ledger.found}
    names = list(todo)

    def keep(i: int, trial: Trial) -> None:
        ledger.keep(names[i], trial.verdict, trial.blocked_by)

    found = sweep(work, list(todo.values()), workers, done=keep)
    for name, result in zip(names, found, strict=True):
        if isinstance(result, LostPart):
            ledger.keep(name, NOT_KNOWN, result.reason)


def agreement(
    setup: Setup,
    supposition: Supposition,
    hours: Hours,
    ledger: Ledger,
    count: int,
    *,
    workers: Workers | None = None,
) -> Agreement:
    """Fly some readings as they are, by their own sun, and compare with their bins.

    ``setup`` and ``supposition`` and ``hours`` and ``ledger`` and ``workers``: as in
    `season_hours`, which has filled the ledger; ``count``: readings to check, spread
    evenly over the season.
    """
    known = [(at, reading) for at, each in _lit(setup, hours) for reading in each]
    stride = max(len(known) // max(count, 1), 1)
    picked = known[stride // 2 :: stride][:count]
    work = partial(_try_hour, pack(setup), supposition)
    found = [
        (ledger.found[_name(bin_of(reading))][0], trial.verdict)
        for (_, reading), trial in zip(
            picked, sweep(work, picked, workers), strict=True
        )
        if not isinstance(trial, LostPart) and trial.verdict != NOT_KNOWN
    ]
    return Agreement(
        len(found),
        sum(binned == direct for binned, direct in found),
        sum(binned == "go" != direct for binned, direct in found),
    )


def bins_to_fly(hours: Hours, ledger: Ledger) -> tuple[int, int]:
    """Count the bins of a season.

    Result: bins that occur, and those whose verdict is not in the ledger yet.
    """
    every = set(map(_name, _bins(hours)))
    return len(every), len(every - set(ledger.found))


def _name(wind: HourReading) -> str:
    way = "variable" if wind.way is None else f"{wind.way:.0f} deg"
    gusts = f", gusts {wind.gust:.0f} m/s above" if wind.gust else ""
    return f"{way} {wind.speed:.1f} m/s{gusts}"


def _try_bin(
    packed: bytes,
    supposition: Supposition,
    speeds: tuple[float, ...],
    wind: HourReading,
) -> Trial:
    """Judge all winds of a bin at once; a variable one at both of its speeds."""
    way, speed, gust = wind
    low = max(speed - SPEED_STEP, 0.0)
    if way is None or not speed:
        ends = (HourReading(way, v, gust) for v in dict.fromkeys((low, speed)))
        return worst(_try_reading(packed, supposition, end) for end in ends)
    sector = Sector(flights_of(packed, supposition, speeds), way, DIRECTION_STEP / 2)
    return sector.between(low, speed)


def _try_reading(packed: bytes, supposition: Supposition, wind: HourReading) -> Trial:
    setup = unpack(packed)
    try:
        gusty = replace(supposition, gust=wind.gust)
        supposed = suppose(gusty, wind.way, wind.speed)
    except ValueError:
        return unknown_trial("a variable wind gives a shape no direction")
    return try_flight(setup, supposed)


def _try_hour(
    packed: bytes, supposition: Supposition, part: tuple[datetime, HourReading]
) -> Trial:
    when, reading = part
    if supposition.place is not None:
        supposition = replace(supposition, when=when)
    return _try_reading(packed, supposition, reading)


def by_light(setup: Setup, hour: SeasonHour, end: datetime) -> SeasonHour:
    """Hold an hour of which a part is dark, unless people answered that it is meant so."""
    if hour.finding != "go" or _may_go(setup, hour.time, end):
        return hour
    return replace(hour, finding="hold", blocked_by="it is dark")


def _may_go(setup: Setup, start: datetime, end: datetime) -> bool:
    """Return whether it is light all along, or people answered that the dark is meant."""
    site, said = setup.site, setup.answers or Answers()
    at = site.latitude, site.longitude
    light = is_light(start, *at) and is_light(end, *at)
    return light or bool(said.confirmed.get("night_arranged"))
