"""What aerodromes expect (TAF): the wind at the time of the flight.

Coding as in WMO FM 51, read in secondary copies.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from driftmap.air.wind import WindLevel
from driftmap.core.errors import PlacedError, at
from driftmap.winds import aerodrome_code as code
from driftmap.winds.reading import Reading, Setting, nearest_day, show_time
from driftmap.winds.sonde import choose_station
from driftmap.winds.text import reader

__all__ = ["looks_like_aerodrome_forecast", "read_aerodrome_forecast"]

_HEAD: Final = re.compile(
    r"\bTAF\b(?:\s+(?:TAF|AMD|COR))*\s+(?P<station>[A-Z][A-Z0-9]{3})\s+"
    r"(?:(?P<issued>\d{6})Z\s+)?(?P<from>\d{4})/(?P<to>\d{4})\b"
)
_GROUP: Final = re.compile(
    r"\b(?:(?P<at>FM)(?P<when>\d{6})|(?P<kind>(?:PROB\d\d\s+)?(?:BECMG|TEMPO|INTER)|PROB\d\d)"
    r"\s+(?P<span>\d{4}/\d{4}))\b"
)
_SHEAR: Final = re.compile(r"\bWS\d{3}/\d{5,6}(?:KT|MPS)\b")


@dataclass(frozen=True, slots=True)
class _Part:
    """What is forecast from one time to another; "" rules, else it becomes or may come."""

    kind: str
    start: datetime
    end: datetime
    text: str


def looks_like_aerodrome_forecast(text: str) -> bool:
    """Tell whether a text begins with TAF, after a heading at most."""
    start = re.search(r"\b(?:TAF|METAR|SPECI)\b", text[:300], re.IGNORECASE)
    return start is not None and start[0].upper() == "TAF"


@reader
def read_aerodrome_forecast(text: str, source: str, setting: Setting) -> Reading:
    """Read the wind at 10 m at the time of the flight.

    While the wind becomes another the stronger of the two rules; what may come at the
    flight and is stronger or turned, shear and storms go to `warned`.
    """
    plain = " ".join(text.upper().replace("=", " ").split())
    starts = list(_HEAD.finditer(plain))
    if not starts:
        raise ValueError("a TAF without station and times (TAF KXYZ 251730Z 2518/2624)")
    names = [start["station"] for start in starts]
    station, notes = choose_station(names, setting, source)
    mine = [i for i, name in enumerate(names) if name == station]
    if len(mine) > 1:
        raise ValueError(f"holds {len(mine)} TAFs of {station}; keep one")
    head = starts[mine[0]]
    ends = [start.start() for start in starts[1:]] + [len(plain)]
    body, _, remarks = plain[head.end() : ends[mine[0]]].partition(" RMK")
    reading = _reading(head, body, notes, setting)
    level = reading.levels[0]
    told = code.trend_winds(remarks, level.direction, _peak(level))
    beside = (f"{reading.source} tells of {what} (RMK)" for what in told)
    return replace(reading, warned=(*reading.warned, *beside))


def _reading(
    head: re.Match[str], body: str, notes: tuple[str, ...], setting: Setting
) -> Reading:
    name = f"TAF {head['station']} {head['issued'] or head['from']}Z"
    away, where = setting.away_from(head["station"], name)
    try:
        start = _hour(head["from"], setting.when)
        end = _hour(head["to"], start)
        if end <= start:
            raise ValueError("it ends before it begins")
        issued = _minute(head["issued"], start) if head["issued"] else None
        parts = list(_parts(body, start, end))
    except ValueError as problem:
        raise PlacedError(name, f"its times: {problem}") from None
    flight = min(max(setting.when, start), end)
    ruling = [part for part in parts if not part.kind and part.start <= flight]
    base = ruling[-1]
    level = _level(base.text, name)
    later = [p for p in parts if p.kind == "BECMG" and base.start <= p.start <= flight]
    told = [show_time(base.start)]
    for part in later:
        if not _wind(part.text):
            continue
        new = _level(part.text, name)
        if flight >= part.end or _peak(new) >= _peak(level):
            level = new
            told.append(f"becoming by {show_time(part.end)}")
    may = [
        p for p in parts if p.kind not in {"", "BECMG"} and p.start <= flight < p.end
    ]
    sky = " ".join(part.text for part in (base, *later)).split()
    return Reading(
        source=name,
        kind="surface",
        levels=(level,),
        valid=flight,
        cloud_cover=code.cloud_cover(sky),
        visibility=code.visibility(sky),
        cloud_base=code.cloud_base(sky),
        lowest_cloud=code.lowest_cloud(sky),
        window=(start, end),
        based_on=issued or start,
        forecast=True,
        direction_error=code.ROUNDING,
        away=away,
        warned=tuple(
            f"{name} tells of {what}" for what in _warned(base, later, may, level)
        ),
        assumed=(f"{name}: at 10 m; that from {', '.join(told)}", where, *notes),
    )


def _warned(
    base: _Part, later: Sequence[_Part], may: Sequence[_Part], level: WindLevel
) -> list[str]:
    told: list[str] = []
    for part in (base, *later, *may):
        # A second wind in a part, whose time could not be read.
        winds = [word for word in part.text.split() if code.WIND.fullmatch(word)]
        told += code.trend_winds(" ".join(winds[1:]), level.direction, _peak(level))
    for part in (base, *later):
        told += code.beside_the_wind(part.text, "")
        told += [f"wind shear ({found[0]})" for found in _SHEAR.finditer(part.text)]
    for part in (*later, *may):
        trend = f" {part.kind} {part.text}"
        told += code.trend_winds(trend, level.direction, _peak(level))
        told += [f"{what}, maybe" for what in code.beside_the_wind(part.text, "")]
    for part in may:
        told += [f"{what}, maybe" for what in code.poor_sky(part.text.split())]
    return list(dict.fromkeys(told))


def _peak(level: WindLevel) -> float:
    return level.gust or level.speed


def _parts(body: str, start: datetime, end: datetime) -> Iterator[_Part]:
    found = list(_GROUP.finditer(body))
    cuts = [group.start() for group in found] + [len(body)]
    yield _Part("", start, end, body[: cuts[0]])
    for group, cut in zip(found, cuts[1:], strict=True):
        text = body[group.end() : cut]
        if group["at"]:
            yield _Part("", _minute(group["when"], start), end, text)
            continue
        first, last = group["span"].split("/")
        since = _hour(first, start)
        yield _Part(group["kind"].split()[-1], since, _hour(last, since), text)


def _hour(text: str, near: datetime) -> datetime:
    return nearest_day(int(text[:2]), int(text[2:]), 0, near)


def _minute(text: str, near: datetime) -> datetime:
    return nearest_day(int(text[:2]), int(text[2:4]), int(text[4:]), near)


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
