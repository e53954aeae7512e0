"""What aerodromes report (METAR, SPECI) and expect (TAF): wind at 10 m, air, cloud, visibility.

Coding as in WMO FM 15, FM 16 and FM 51 and the United States' practice (FMH-1), read in
secondary copies.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from driftmap.air.wind import WindLevel
from driftmap.core.errors import PlacedError, at
from driftmap.core.units import KNOT
from driftmap.winds import aerodrome_code as code
from driftmap.winds.reading import (
    MORE,
    OLDEST,
    PAST,
    Reading,
    Setting,
    nearest_day,
    next_due,
    not_renewed,
    show_time,
)
from driftmap.winds.text import choose_station, choose_time, reader

_START: Final = re.compile(
    r"(?:\b(?:METAR|SPECI)\s+)?(?P<cor>\bCOR\s+)?\b(?P<station>[A-Z][A-Z0-9]{3})\s+"
    r"(?P<time>\d{6})Z\b(?:\s+(?:AUTO\s+)?(?P<later>COR|CC[A-Z])\b)?"
)
_LIKE: Final = re.compile(r"\b(?:METAR|SPECI)\b|" + _START.pattern + r"\s")
_FAR: Final = 2000  # characters into a file that a report is looked for
_WORD_BEFORE_WIND: Final = re.compile(r"AUTO|COR|RTD|CC[A-Z]")
_PEAK_COUNTS: Final = timedelta(hours=1)

STORM_OVER: Final = timedelta(minutes=30)
"""How long after the last sign of a storm it counts as over: the weather services' advice
to wait 30 minutes after the last thunder (from memory)."""


def looks_like_surface_report(text: str) -> bool:
    """Tell whether the start of a report is in the first part of a text."""
    return bool(_LIKE.search(" ".join(text[:_FAR].upper().split()) + " "))


_Found = tuple[re.Match[str], str]
"""The start of a report, with its station and time, and what follows it."""


def _plain(text: str) -> str:
    return " ".join(text.upper().replace("=", " ").split())


def _parted(plain: str, start: re.Pattern[str]) -> list[_Found]:
    """Part a text where reports start."""
    starts = list(start.finditer(plain))
    ends = [found.start() for found in starts[1:]] + [len(plain)]
    return [(m, plain[m.end() : end]) for m, end in zip(starts, ends, strict=False)]


@reader
def read_surface_report(text: str, source: str, setting: Setting) -> Reading:
    """Read the wind at 10 m from the last report before the flight.

    A peak wind within the hour counts as a gust; a wind shift, shear, a squall, a storm and
    a stronger wind expected go to `warned`.
    """
    plain, _, taf = _plain(text).partition(" TAF ")
    reports = _parted(plain, _START)
    if not reports:
        raise ValueError("a surface report without station and time (KXXX 181955Z)")
    station, named = choose_station([m["station"] for m, _ in reports], setting, source)
    mine = _corrected([r for r in reports if r[0]["station"] == station])
    times = [_time(m, setting) for m, _ in mine]
    chosen, notes = choose_time(times, setting, source)
    start, body = mine[chosen]
    if taf:  # of whatever hour: by itself that of the flight is taken
        notes += (f"{source}: of its TAF only what is stronger or turned is heard",)
        said, mark, remarks = body.partition(" RMK")
        body = f"{said} BECMG {taf.partition(' RMK')[0]}{mark}{remarks}"
    reading = _report(start, body, times[chosen], (*named, *notes))
    dated = sorted(zip(times, mine, strict=True), key=lambda row: row[0])
    before = [row for row in dated if row[0] < times[chosen]]
    reading = _with_past(reading, before, setting)
    away, where = setting.away_from(station, reading.source)
    told = [f": {what}" for what in _said(plain, reports, start)]
    later = [code.strongest(body) for time, (_, body) in dated if time > times[chosen]]
    if later:
        told += [
            f" is followed by {len(later)} from after the flight or the present, of up to "
            f"{max(later):.1f} m/s: is the day or --when wrong?"
        ]
    warned = (*reading.warned, *(f"{reading.source}{one}" for one in told))
    return replace(
        reading,
        away=away,
        ends=next_due(reading),
        warned=(*warned, *not_renewed(reading, setting)),
        assumed=(*reading.assumed, where),
    )


def _said(plain: str, reports: list[_Found], start: re.Match[str]) -> Iterator[str]:
    """Name the words that stand before a report, which may take it back."""
    i = [found for found, _ in reports].index(start)
    yield from code.said_before(plain[: reports[0][0].start()])
    if i:
        yield from code.said_before(reports[i - 1][1], behind=True)


def _corrected(reports: list[_Found]) -> list[_Found]:
    """Keep of the reports of one time the last correction, and of equal ones the first."""
    kept: dict[tuple[str, str], _Found] = {}
    for report in reports:
        start, body = report
        mark = start["later"] or start["cor"] or ""
        # What is not corrected stays apart unless it says the same: the reader is asked.
        key = (start["time"], "" if mark else body.strip())
        if mark and key in kept and mark < (kept[key][0]["later"] or ""):
            continue
        kept.setdefault(key, report)
        if mark:
            kept[key] = report
    fixed = {time for time, body in kept if not body}
    return [r for (time, body), r in kept.items() if not body or time not in fixed]


def _name(start: re.Match[str]) -> str:
    return f"surface report {start['station']} {start['time']}Z"


def _report(
    start: re.Match[str], body: str, valid: datetime, notes: tuple[str, ...]
) -> Reading:
    name = _name(start)
    observed, trend, remarks = code.split_report(body)
    words = [*itertools.dropwhile(_WORD_BEFORE_WIND.fullmatch, observed.split())]
    with at(name):
        found = _first_wind(words)
    with at(f"{name}, {found[0]}"):
        level = code.level_of(found, name, code.air_temperature(words))
        swing, spread = code.swinging("".join(words[1:2]))
    peak = code.peak_wind(remarks, valid)
    level, peak_note = _with_peak(level, peak, valid)
    bound = [f"{found[0]} tells a lower bound, which is taken as the wind"]
    bound *= "P" in found["speed"] + (found["gust"] or "")
    told = [*code.beside_the_wind(" ".join(words), remarks)]
    if found["gust"] == "//":
        told.append("a gust that is not told (G//)")
    if isinstance(peak, str):
        told.append(f"a peak wind that cannot be read ({peak})")
    # A second wind of the same report, of another runway or height, and one expected.
    beside = " ".join(word for word in words[1:] if code.WIND.fullmatch(word))
    for text in (beside, trend):
        told += code.trend_winds(text, level.direction, level.peak)
    return Reading(
        source=name,
        kind="surface",
        levels=(level,),
        valid=valid,
        away=None,  # told by who knows the station
        direction_error=spread,
        pressure=code.altimeter_setting(words),
        cloud_cover=code.cloud_cover(words),
        visibility=code.visibility(words, remarks),
        cloud_base=code.cloud_base(words),
        lowest_cloud=code.cloud_base(words, 0.0),
        warned=tuple(f"{name} tells of {what}" for what in told),
        assumed=(
            f"{name}: measured 10 m above the ground",
            *notes,
            *(f"{name}: {note}" for note in (*swing, *peak_note, *bound)),
        ),
    )


def _with_past(
    reading: Reading, before: list[tuple[datetime, _Found]], setting: Setting
) -> Reading:
    """Let the hour before count: winds as a gust, a storm until it is over for good."""
    assert reading.valid is not None
    level, notes, stormy = reading.levels[0], list(reading.assumed), ""
    first_clear = reading.valid
    for time, (start, body) in before:
        observed, _, remarks = code.split_report(body)
        if found := code.storms(observed, remarks):
            stormy, first_clear = f"{_name(start)} tells of {found[0]}", reading.valid
        elif stormy:
            first_clear = min(first_clear, time)
    for peak in _peaks(before):
        if peak.speed > level.peak:
            level, told = _with_peak(level, peak, reading.valid)
            notes += [f"{reading.source}: {note}" for note in told]
    warned = (*reading.warned, *_stronger(reading, level.peak, before, setting))
    if stormy and setting.when - first_clear < STORM_OVER:
        minutes = STORM_OVER.total_seconds() / 60
        warned += (
            f"{stormy}, and the first report without it is of {first_clear:%H:%M}Z: "
            f"wait until nothing was heard or seen of it for {minutes:.0f} minutes",
        )
    return replace(reading, levels=(level,), warned=warned, assumed=tuple(notes))


def _peaks(before: list[tuple[datetime, _Found]]) -> Iterator[code.Peak]:
    """Give the strongest wind and the peak that each report tells, the oldest first."""
    for time, (_, body) in before:
        observed, _, remarks = code.split_report(body)
        yield code.Peak(code.strongest(observed), time)
        if isinstance(peak := code.peak_wind(remarks, time), code.Peak):
            yield peak


def _stronger(
    reading: Reading,
    peak: float,
    before: list[tuple[datetime, _Found]],
    setting: Setting,
) -> Iterator[str]:
    """Name the strongest wind of hours before that count no more, where it was more than `peak`."""
    since = setting.when - timedelta(hours=PAST)
    past = [one for one in _peaks(before) if one.time >= since]
    worst = max(past, key=lambda one: one.speed, default=None)
    if worst is not None and worst.speed > peak + MORE:
        yield (
            f"{reading.source}: {worst.speed / KNOT:.0f} kt blew at {worst.time:%H:%M}Z: is it over?"
        )


def _with_peak(
    level: WindLevel, peak: code.Peak | str | None, valid: datetime
) -> tuple[WindLevel, list[str]]:
    """Let the peak wind of the hour before count as a gust."""
    if not isinstance(peak, code.Peak):
        return level, []
    told = f"peak wind {peak.speed / KNOT:.0f} kt at {peak.time:%H:%M}Z"
    if valid - peak.time > _PEAK_COUNTS:
        return level, [f"{told}, over an hour before, is left out"]
    gust = max(level.peak, peak.speed)
    return replace(level, gust=gust), [f"{told} counts as a gust"]


def _first_wind(words: list[str]) -> re.Match[str]:
    group = words[0] if words else ""
    found = code.WIND.fullmatch(group)
    if not group or group == "NIL":
        raise ValueError("no wind group; it is cut short or empty")
    if set(group.rstrip("KTMPSH")) == {"/"}:
        raise ValueError(f"wind is missing ({group})")
    if not found:
        raise ValueError(
            f"wind group {group[:20]!r}; accepted is such as 24012G20KT, VRB03KT, 05010MPS"
        )
    return found


def _time(start: re.Match[str], setting: Setting) -> datetime:
    with at(_name(start)):
        time = nearest_day(start["time"], setting.seen_by)
        if time - setting.seen_by > timedelta(hours=OLDEST):  # the month before, then
            time = nearest_day(start["time"], setting.seen_by - timedelta(days=15))
    return time


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
    """Tell whether a text begins with TAF, after a heading at most."""
    start = re.search(r"\b(?:TAF|METAR|SPECI)\b", text[:300], re.IGNORECASE)
    return start is not None and start[0].upper() == "TAF"


@reader
def read_aerodrome_forecast(text: str, source: str, setting: Setting) -> Reading:
    """Read the wind at 10 m at the time of the flight.

    While the wind becomes another the stronger of the two rules; what may come at the
    flight and is stronger or turned, shear and storms go to `warned`.
    """
    plain = _plain(text)
    forecasts = _parted(plain, _HEAD)
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
    told = code.trend_winds(remarks, level.direction, level.peak)
    beside = [f"{reading.source} tells of {what} (RMK)" for what in told]
    beside += (f"{reading.source}: {what}" for what in _said(plain, forecasts, head))
    return replace(reading, warned=(*reading.warned, *beside))


def _forecast(
    head: re.Match[str], body: str, notes: tuple[str, ...], setting: Setting
) -> Reading:
    name = f"TAF {head['station']} {head['issued'] or head['from']}Z"
    away, where = setting.away_from(head["station"], name)
    try:
        start = nearest_day(head["from"], setting.when)
        end = nearest_day(head["to"], start)
        if end <= start:
            raise ValueError("it ends before it begins")
        issued = nearest_day(head["issued"], start) if head["issued"] else None
        parts = list(_parts(body, start, end))
    except ValueError as problem:
        raise PlacedError(name, f"its times: {problem}") from None
    flight = min(max(setting.when, start), end)
    ruling = [part for part in parts if not part.kind and part.start <= flight]
    base = ruling[-1]
    later = [p for p in parts if p.kind == "BECMG" and base.start <= p.start <= flight]
    level, told = _ruled(base, later, flight, name)
    may = [part for part in parts if _may_come(part, flight)]
    sky = " ".join(part.text for part in (base, *later)).split()
    return Reading(
        source=name,
        kind="surface",
        levels=(level,),
        valid=flight,
        cloud_cover=code.cloud_cover(sky),
        visibility=code.visibility(sky),
        cloud_base=code.cloud_base(sky),
        lowest_cloud=code.cloud_base(sky, 0.0),
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


def _ruled(
    base: _Part, later: Sequence[_Part], flight: datetime, name: str
) -> tuple[WindLevel, list[str]]:
    """Give the wind that rules, and since when: on its way to another, the stronger."""
    level, told = _level(base.text, name), [show_time(base.start)]
    for part in later:
        if not _wind(part.text):
            continue
        new = _level(part.text, name)
        if flight >= part.end or new.peak >= level.peak:
            level = new
            told.append(f"becoming by {show_time(part.end)}")
    return level, told


def _may_come(part: _Part, flight: datetime) -> bool:
    """Tell whether what a part expects may come while somebody flies."""
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
        told += [f"{what}, maybe" for what in code.poor_sky(part.text.split())]
    return list(dict.fromkeys(told))


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
