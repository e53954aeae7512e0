"""Surface reports of aerodromes (METAR and SPECI): wind, air, cloud and visibility.

Coding as in WMO FM 15 and FM 16 and the United States' practice (FMH-1), read in
secondary copies.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

from driftmap.air.wind import WindLevel
from driftmap.core.errors import at
from driftmap.core.units import KNOT
from driftmap.winds import aerodrome_code as code
from driftmap.winds.reading import (
    OLDEST,
    Reading,
    Setting,
    check_direction,
    nearest_day,
)
from driftmap.winds.sonde import choose_station, choose_time
from driftmap.winds.text import reader

__all__ = ["STORM_OVER", "looks_like_surface_report", "read_surface_report"]

_INCH: Final = 3386.39  # Pa, inch of mercury (FMH-1, from memory)

_START: Final = re.compile(
    r"(?:\b(?:METAR|SPECI)\s+)?(?P<cor>\bCOR\s+)?\b(?P<station>[A-Z][A-Z0-9]{3})\s+"
    r"(?P<time>\d{6})Z\b(?:\s+(?:AUTO\s+)?(?P<later>COR|CC[A-Z])\b)?"
)
_LIKE: Final = re.compile(r"\b(?:METAR|SPECI)\b|" + _START.pattern + r"\s")
_FAR: Final = 2000  # characters into a file that a report is looked for
_SWING: Final = re.compile(r"(\d{3})V(\d{3})")
_TEMPERATURE: Final = re.compile(r"(M?\d\d)/(?:M?\d\d|//)?")
_PRESSURE: Final = re.compile(r"([AQ])(\d{4})")
_WORD_BEFORE_WIND: Final = re.compile(r"AUTO|COR|RTD|CC[A-Z]")
_VISIBILITY: Final = re.compile(
    r"\bVIS(?:\s+[NSEW]{1,2})?\s+((?:\d\s+)?\d{1,2}(?:/\d)?)"
)
"""Visibility in remarks, in statute miles (FMH-1, from memory)."""

_PEAK_COUNTS: Final = timedelta(hours=1)

STORM_OVER: Final = timedelta(minutes=30)
"""How long after the last sign of a storm it counts as over: the weather services' advice
to wait 30 minutes after the last thunder (from memory)."""


_RENEWED: Final = timedelta(minutes=90)
"""Age from which a newer report must be out: they come every hour, and a special one
between (FMH-1, from memory); half an hour more assumed."""


def looks_like_surface_report(text: str) -> bool:
    """Tell whether the start of a report is in the first part of a text."""
    return bool(_LIKE.search(" ".join(text[:_FAR].upper().split()) + " "))


@reader
def read_surface_report(text: str, source: str, setting: Setting) -> Reading:
    """Read the wind at 10 m from the last report before the flight.

    A peak wind within the hour counts as a gust; a wind shift, shear, a squall, a storm and
    a stronger wind expected go to `warned`.
    """
    plain = " ".join(text.upper().replace("=", " ").split())
    plain, _, taf = plain.partition(" TAF ")
    starts = list(_START.finditer(plain))
    if not starts:
        raise ValueError("a surface report without station and time (KXXX 181955Z)")
    ends = [start.start() for start in starts[1:]] + [len(plain)]
    reports = [(m, plain[m.end() : end]) for m, end in zip(starts, ends, strict=True)]
    station, named = choose_station([m["station"] for m, _ in reports], setting, source)
    mine = _corrected([r for r in reports if r[0]["station"] == station])
    times = [_time(m, setting) for m, _ in mine]
    chosen, notes = choose_time(times, setting, source)
    start, body = mine[chosen]
    if taf:  # of whatever hour: by itself that of the flight is taken
        notes += (f"{source}: of its TAF only what is stronger or turned is heard",)
        body = _with_forecast(body, taf)
    reading = _report(start, body, times[chosen], (*named, *notes))
    before = sorted(
        ((time, *report) for time, report in zip(times, mine, strict=True)),
        key=lambda row: row[0],
    )
    before = [row for row in before if row[0] < times[chosen]]
    if before:
        reading = _with_past(reading, before, setting)
    away, where = setting.away_from(station, reading.source)
    warned = (*reading.warned, *_expired(reading, setting))
    return replace(reading, away=away, warned=warned, assumed=(*reading.assumed, where))


def _with_forecast(body: str, taf: str) -> str:
    """Put what an aerodrome expects before the remarks of its report."""
    said, mark, remarks = body.partition(" RMK")
    return f"{said} BECMG {taf.partition(' RMK')[0]}{mark}{remarks}"


def _expired(reading: Reading, setting: Setting) -> Iterator[str]:
    """Ask for the newest report: what it says of wind and sky no older one can know."""
    assert reading.valid is not None
    old = setting.seen_by - reading.valid
    if old > _RENEWED:
        hours = old / timedelta(hours=1)
        yield (
            f"{reading.source} is {hours:.1f} h old and they come every hour: take the "
            "newest"
        )


_Found = tuple[re.Match[str], str]


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
    words = observed.split()
    while words and _WORD_BEFORE_WIND.fullmatch(words[0]):
        words.pop(0)
    with at(name):
        found = _wind(words)
    with at(f"{name}, {found[0]}"):
        level = code.level_of(found, name, _temperature(words))
        spread, swing_note = _swing(words[1] if words[1:] else "", name)
    peak = code.peak_wind(remarks, valid)
    level, peak_note = _with_peak(level, peak, valid)
    told = [*code.beside_the_wind(" ".join(words), remarks)]
    if found["gust"] == "//":
        told.append("a gust that is not told (G//)")
    if isinstance(peak, str):
        told.append(f"a peak wind that cannot be read ({peak})")
    # A second wind of the same report, of another runway or height, and one expected.
    beside = " ".join(word for word in words[1:] if code.WIND.fullmatch(word))
    for text in (beside, trend):
        told += code.trend_winds(text, level.direction, level.gust or level.speed)
    return Reading(
        source=name,
        kind="surface",
        levels=(level,),
        valid=valid,
        direction_error=spread,
        pressure=_pressure(words),
        cloud_cover=code.cloud_cover(words),
        visibility=code.visibility([*words, *_seen_otherwise(remarks)]),
        cloud_base=code.cloud_base(words),
        lowest_cloud=code.lowest_cloud(words),
        warned=tuple(f"{name} tells of {what}" for what in told),
        assumed=(
            f"{name}: measured 10 m above the ground",
            *notes,
            *swing_note,
            *peak_note,
            *_bound_note(found, name),
        ),
    )


def _seen_otherwise(remarks: str) -> list[str]:
    """Put what remarks tell of the visibility at the tower or the surface as groups."""
    return [
        word
        for found in _VISIBILITY.finditer(remarks)
        for word in f"{found[1]}SM".split()
    ]


def _with_past(
    reading: Reading,
    before: list[tuple[datetime, re.Match[str], str]],
    setting: Setting,
) -> Reading:
    """Let the hour before count: winds as a gust, a storm until it is over for good."""
    assert reading.valid is not None
    level, notes, stormy = reading.levels[0], list(reading.assumed), ""
    first_clear = reading.valid
    for time, start, body in before:
        observed, _, remarks = code.split_report(body)
        found = code.storms(observed, remarks)
        if found:
            stormy, first_clear = f"{_name(start)} tells of {found[0]}", reading.valid
        elif stormy:
            first_clear = min(first_clear, time)
        blown = code.WIND.search(observed)
        if blown and "/" not in blown["speed"]:
            coded = (blown["gust"] or "").replace("/", "") or blown["speed"]
            speed = code.speed_of(coded, blown["unit"])
            peaks: list[code.Peak | str | None] = [code.Peak(0.0, speed, time)]
            for peak in (*peaks, code.peak_wind(remarks, time)):
                if isinstance(peak, code.Peak) and peak.speed > (
                    level.gust or level.speed
                ):
                    level, told = _with_peak(level, peak, reading.valid)
                    notes += told
    warned = reading.warned
    if stormy and setting.when - first_clear < STORM_OVER:
        minutes = STORM_OVER.total_seconds() / 60
        warned += (
            f"{stormy}, and the first report without it is of {first_clear:%H:%M}Z: "
            f"wait until nothing was heard or seen of it for {minutes:.0f} minutes",
        )
    return replace(reading, levels=(level,), warned=warned, assumed=tuple(notes))


def _with_peak(
    level: WindLevel, peak: code.Peak | str | None, valid: datetime
) -> tuple[WindLevel, list[str]]:
    """Let the peak wind of the hour before count as a gust."""
    if not isinstance(peak, code.Peak):
        return level, []
    told = f"{level.source}: peak wind {peak.speed / KNOT:.0f} kt at {peak.time:%H:%M}Z"
    if valid - peak.time > _PEAK_COUNTS:
        return level, [f"{told}, over an hour before, is left out"]
    gust = max(level.gust or 0.0, peak.speed, level.speed)
    return replace(level, gust=gust), [f"{told} counts as a gust"]


def _wind(words: list[str]) -> re.Match[str]:
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


def _bound_note(found: re.Match[str], name: str) -> list[str]:
    if "P" not in (found["speed"] + (found["gust"] or "")):
        return []
    return [f"{name}: {found[0]} tells a lower bound, which is taken as the wind"]


def _swing(word: str, name: str) -> tuple[float, list[str]]:
    found = _SWING.fullmatch(word)
    if not found:
        return code.ROUNDING, []
    first, last = (check_direction(float(d)) for d in found.groups())
    width = (last - first) % (2 * math.pi)
    note = f"{name}: direction swings {found[0]}, all of it alike likely"
    return math.hypot(width / math.sqrt(12), code.ROUNDING), [note]


def _time(start: re.Match[str], setting: Setting) -> datetime:
    text = start["time"]
    coded = int(text[:2]), int(text[2:4]), int(text[4:])
    with at(_name(start)):
        time = nearest_day(*coded, setting.seen_by)
        if time - setting.seen_by > timedelta(hours=OLDEST):  # the month before, then
            time = nearest_day(*coded, setting.seen_by - timedelta(days=15))
    return time


def _temperature(words: list[str]) -> float | None:
    found = next(filter(None, map(_TEMPERATURE.fullmatch, words)), None)
    return None if found is None else float(found[1].replace("M", "-")) + 273.15


def _pressure(words: list[str]) -> float | None:
    found = next(filter(None, map(_PRESSURE.fullmatch, words)), None)
    if found is None:
        return None
    number = float(found[2])
    return number / 100 * _INCH if found[1] == "A" else number * 100.0
