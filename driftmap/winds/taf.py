"""Aerodrome forecasts (TAF): the wind at 10 m at the time of the flight, cloud, visibility.

Coding as in WMO FM 51, read in secondary copies.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from driftmap.air.wind import WindLevel
from driftmap.core.errors import PlacedError, at
from driftmap.winds import aerodrome_code as code
from driftmap.winds import sky
from driftmap.winds.reading import Reading, Setting
from driftmap.winds.text import choose_station, reader
from driftmap.winds.times import nearest_day, show_time

_HEAD: Final = re.compile(
    r"\bTAF\b(?:\s+(?:TAF|AMD|COR))*\s+(?P<station>[A-Z][A-Z0-9]{3})\s+"
    r"(?:(?P<issued>\d{6})Z\s+)?(?P<from>\d{4})/(?P<to>\d{4})\b"
)
_GROUP: Final = re.compile(
    r"\b(?:(?P<at>FM)(?P<when>\d{6})|(?P<kind>(?:PROB\d\d\s+)?(?:BECMG|TEMPO|INTER)|PROB\d\d)"
    r"\s+(?P<span>\d{4}/\d{4}))\b"
)
_EARLY, _LATE = timedelta(hours=1), timedelta(minutes=30)
"""What is expected so soon after the flight may come before it, and what was expected until
so soon before it may come late; assumed."""

_SLIGHT: Final = 2.0
"""A wind from then on that is stronger by no more than this is none to hold for [m s⁻¹]; assumed."""

_SHEAR: Final = re.compile(r"\bWS\d{3}/\d{5,6}(?:KT|MPS)\b")


@dataclass(frozen=True, slots=True)
class _Part:
    """What is forecast from one time to another; "" rules, else it becomes or may come."""

    kind: str
    start: datetime
    end: datetime
    text: str


def looks_like_aerodrome_forecast(text: str) -> bool:
    """Return whether a text begins with TAF, after a heading at most."""
    start = re.search(r"\b(?:TAF|METAR|SPECI)\b", text[:300], re.IGNORECASE)
    return start is not None and start[0].upper() == "TAF"


@reader
def read_aerodrome_forecast(text: str, source: str, setting: Setting) -> Reading:
    """Read the wind at 10 m at the time of the flight.

    While the wind becomes another the stronger of the two rules; what may come at the
    flight and is stronger or turned, shear and storms go to `warned`.
    """
    plain = code.normalised(text)
    forecasts = code.parted(plain, _HEAD)
    if not forecasts:
        raise ValueError("a TAF without station and times (TAF KXYZ 251730Z 2518/2624)")
    station, notes = choose_station(
        [m["station"] for m, _ in forecasts], setting, source
    )
    mine = [each for each in forecasts if each[0]["station"] == station]
    if len(mine) > 1:
        raise ValueError(f"holds {len(mine)} TAFs of {station}; keep one")
    head, whole = mine[0]
    body, _, remarks = whole.partition(" RMK")
    reading = _forecast(head, body, notes, setting)
    level = reading.levels[0]
    told = (
        *code.trend_winds(remarks, level.direction, level.peak),
        *code.beside_the_wind("", remarks),
    )
    beside = [f"{reading.source} tells of {what} (RMK)" for what in told]
    beside += (
        f"{reading.source}: {what}"
        for what in code.words_before(plain, forecasts, head)
    )
    return replace(reading, warned=(*reading.warned, *beside))


def _forecast(
    head: re.Match[str], body: str, notes: tuple[str, ...], setting: Setting
) -> Reading:
    name = f"TAF {head['station']} {head['issued'] or head['from']}Z"
    away, where = setting.away_from(head["station"], name)
    with at(f"{name}, its times"):
        start, end, issued = _times(head, setting.when)
        parts = list(_parts(body, start, end))
    flight = min(max(setting.when, start), end)
    base, later = _ruling(parts, flight)
    rules, told = _ruled(base, later, flight, name)
    level = _level(rules.text, name)
    may = [part for part in parts if _may_come(part, flight)]
    before = _before(parts, max(flight - _LATE, start), flight, name)
    past = [part for part in before if part != rules]
    seen = " ".join(part.text for part in (base, *later)).split()
    return Reading(
        source=name,
        kind="surface",
        levels=(level,),
        valid=flight,
        cloud_cover=sky.cloud_cover(seen),
        visibility=sky.visibility(seen),
        cloud_base=sky.cloud_base(seen),
        lowest_cloud=sky.cloud_base(seen, 0.0),
        window=(start, end),
        based_on=issued,
        forecast=True,
        direction_error=code.ROUNDING,
        away=away,
        warned=tuple(
            f"{name} tells of {what}"
            for what in (*_warned(base, later, may, level), *_may_stay(past, level))
        ),
        assumed=(f"{name}: at 10 m; that from {', '.join(told)}", where, *notes),
    )


def _times(head: re.Match[str], when: datetime) -> tuple[datetime, datetime, datetime]:
    """Return the first and last time that a forecast is for, and when it was issued."""
    start = nearest_day(head["from"], when)
    end = nearest_day(head["to"], start)
    if end <= start:
        raise ValueError("it ends before it begins")
    issued = nearest_day(head["issued"], start) if head["issued"] else start
    return start, end, issued


def _before(
    parts: Sequence[_Part], since: datetime, flight: datetime, name: str
) -> dict[_Part, None]:
    """Name the parts that ruled from then on until the flight, the latest first."""
    turns = {time for part in parts for time in (part.start, part.end)}
    times = sorted({since, *(t for t in turns if since < t < flight)}, reverse=True)
    return dict.fromkeys(_ruled(*_ruling(parts, time), time, name)[0] for time in times)


def _ruling(parts: Sequence[_Part], time: datetime) -> tuple[_Part, list[_Part]]:
    """Return the part that rules at a time, and what it has become or is becoming by then."""
    base = [part for part in parts if not part.kind and part.start <= time][-1]
    later = (part for part in parts if part.kind == "BECMG")
    return base, [part for part in later if base.start <= part.start <= time]


def _ruled(
    base: _Part, later: Sequence[_Part], time: datetime, name: str
) -> tuple[_Part, list[str]]:
    """Return the part whose wind rules, and since when: on its way to another, the stronger."""
    rules, told = base, [show_time(base.start)]
    for part in later:
        if not _wind(part.text):
            continue
        peak, new = (_level(each.text, name).peak for each in (rules, part))
        if time >= part.end or new >= peak:
            rules = part
            told.append(f"becoming by {show_time(part.end)}")
    return rules, told


def _may_come(part: _Part, flight: datetime) -> bool:
    """Return whether what a part expects may come while somebody flies."""
    to_come = part.kind in {"", "BECMG"}
    over = part.start <= flight if to_come else part.end <= flight - _LATE
    return part.start <= flight + _EARLY and not over


def _warned(
    base: _Part, later: Sequence[_Part], may: Sequence[_Part], level: WindLevel
) -> list[str]:
    told: list[str] = []
    for part in (base, *later, *may):
        # A second wind in a part, whose time could not be read.
        winds = [word for word in part.text.split() if code.WIND.fullmatch(word)]
        told += code.trend_winds(" ".join(winds[1:]), level.direction, level.peak)
    for part in (base, *later):
        told += code.beside_the_wind(part.text, "")
        told += [f"wind shear ({found[0]})" for found in _SHEAR.finditer(part.text)]
    for part in (*later, *may):
        ahead = part.kind in {"", "BECMG"} and part in may
        trend = f" {part.kind or f'FM{part.start:%d%H%M}'} {part.text}"
        slack = _SLIGHT if ahead else 0.0
        told += code.trend_winds(trend, level.direction, level.peak + slack)
        told += [f"{what}, maybe" for what in code.beside_the_wind(part.text, "")]
    for part in may:
        told += [f"{what}, maybe" for what in sky.poor_sky(part.text.split())]
    return list(dict.fromkeys(told))


def _may_stay(past: Sequence[_Part], level: WindLevel) -> Iterator[str]:
    """Name what ruled until so soon before the flight that it may stay."""
    for part in past:
        wind, peak = _wind(part.text), level.peak + _SLIGHT
        coded = f" BECMG {wind[0]}" if wind else ""
        if any(code.trend_winds(coded, level.direction, peak)):
            yield f"{coded.split()[1]} until soon before, which may stay"
        beside = (
            *code.beside_the_wind(part.text, ""),
            *sky.poor_sky(part.text.split()),
        )
        yield from (f"{what} until soon before, which may stay" for what in beside)


def _parts(body: str, start: datetime, end: datetime) -> Iterator[_Part]:
    found = list(_GROUP.finditer(body))
    cuts = [group.start() for group in found] + [len(body)]
    yield _Part("", start, end, body[: cuts[0]])
    for group, cut in zip(found, cuts[1:], strict=True):
        text = body[group.end() : cut]
        if group["at"]:
            yield _Part("", nearest_day(group["when"], start), end, text)
            continue
        first, last = group["span"].split("/")
        since = nearest_day(first, start)
        yield _Part(group["kind"].split()[-1], since, nearest_day(last, since), text)


def _wind(text: str) -> re.Match[str] | None:
    return next((m for word in text.split() if (m := code.WIND.fullmatch(word))), None)


def _level(text: str, name: str) -> WindLevel:
    found = _wind(text)
    if not found:
        raise PlacedError(
            name,
            f"no wind group in {text.strip()[:20]!r}; accepted is such as 24012G20KT",
        )
    with at(f"{name}, {found[0]}"):
        return code.level_of(found, name)
