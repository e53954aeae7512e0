"""Surface reports of aerodromes (METAR, SPECI): wind at 10 m, air, cloud, visibility.

Coding as in WMO FM 15 and FM 16 and the United States' practice (FMH-1), read in
secondary copies.
"""

from __future__ import annotations

import contextlib
import itertools
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any, Final

from driftmap.air.wind import WindLevel
from driftmap.core.errors import at
from driftmap.core.units import KNOT
from driftmap.winds import aerodrome_code as code
from driftmap.winds import sky
from driftmap.winds.reading import (
    MORE,
    OLDEST,
    ONE_TIME,
    PAST,
    Reading,
    Setting,
    next_due,
    not_renewed,
)
from driftmap.winds.text import choose_station, choose_time, reader
from driftmap.winds.times import nearest_day

_START: Final = re.compile(
    r"(?:\b(?:METAR|SPECI)\s+)?(?P<cor>\bCOR\s+)?\b(?P<station>[A-Z][A-Z0-9]{3})\s+"
    r"(?P<time>\d{6})Z\b(?:\s+(?:AUTO\s+)?(?P<later>COR|CC[A-Z])\b)?"
)
_LIKE: Final = re.compile(r"\b(?:METAR|SPECI)\b|" + _START.pattern + r"\s")
_FAR: Final = 2000  # characters into a file that a report is looked for
_WORD_BEFORE_WIND: Final = re.compile(r"AUTO|COR|RTD|CC[A-Z]")
_PEAK_COUNTS: Final = timedelta(hours=1)

_UNSEEN: Final[dict[str, Any]] = {
    "warned": (),
    **dict.fromkeys(("cloud_cover", "visibility", "cloud_base", "lowest_cloud")),
}

STORM_OVER: Final = timedelta(minutes=30)
"""How long after the last sign of a storm it counts as over: the weather services' advice
to wait 30 minutes after the last thunder (from memory)."""


def looks_like_surface_report(text: str) -> bool:
    """Return whether the start of a report is in the first part of a text."""
    return bool(_LIKE.search(" ".join(text[:_FAR].upper().split()) + " "))


@reader
def read_surface_report(
    text: str, source: str, setting: Setting
) -> tuple[Reading, ...]:
    """Read the wind at 10 m from the last report before the flight.

    Reports of about that time follow it, each a reading of its own. A peak wind within the
    hour counts as a gust; a wind shift, shear, a squall, a storm and a stronger wind expected
    go to `warned`.
    """
    plain, _, taf = code.normalised(text).partition(" TAF ")
    reports = code.parted(plain, _START)
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
    past = [row for row in dated if row[0] <= times[chosen]]
    reading = _with_past(reading, past, setting)
    away, where = setting.away_from(station, reading.source)
    told = [f": {what}" for what in code.words_before(plain, reports, start)]
    later = [code.strongest(body) for time, (_, body) in dated if time > times[chosen]]
    if later:
        told += [
            f" is followed by {len(later)} from after the flight or the present, of up to "
            f"{max(later):.1f} m/s: is the day or --when wrong?"
        ]
    warned = (*reading.warned, *(f"{reading.source}{one}" for one in told))
    last = replace(
        reading,
        away=away,
        ends=next_due(reading),
        warned=(*warned, *not_renewed(reading, setting)),
        assumed=(*reading.assumed, where),
    )
    return last, *(replace(one, away=away) for one in _just_before(past, setting))


def _just_before(
    past: list[tuple[datetime, code.Found]], setting: Setting
) -> Iterator[Reading]:
    """Read the reports of about the time of the last; what else they saw lasts to the next.

    What they expected, and what nobody understood of them, the last one says anew.
    """
    for (time, (start, body)), (until, _) in itertools.pairwise(past):
        if past[-1][0] - time < timedelta(hours=ONE_TIME):
            observed, _, remarks = code.split_report(body)
            with contextlib.suppress(ValueError):  # which tells no wind
                reading = _report(start, f"{observed} RMK {remarks}", time, ())
                over = setting.when - until >= STORM_OVER
                seen = tuple(
                    said for said in reading.warned if code.NOT_UNDERSTOOD not in said
                )
                yield replace(reading, **_UNSEEN if over else {"warned": seen})


def _corrected(reports: list[code.Found]) -> list[code.Found]:
    """Keep of the reports of one time the last correction, and of equal ones the first."""
    kept: dict[tuple[str, str], code.Found] = {}
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
        swing, spread = code.swinging(words)
    seen = sky.also_in_remarks(words, remarks)
    peak_notes = []
    for peak in (peaks := [*code.peak_winds(remarks, valid)]):
        level, note = _with_peak(level, peak, valid)
        peak_notes += note
    bound = [f"{found[0]} tells a lower bound, which is taken as the wind"]
    bound *= "P" in found["speed"] + (found["gust"] or "")
    told = [*code.beside_the_wind(" ".join(words), remarks)]
    if found["gust"] == "//":
        told.append("a gust that is not told (G//)")
    lost = (peak for peak in peaks if isinstance(peak, str))
    told += [f"a peak wind that cannot be read ({peak})" for peak in lost]
    # A second wind of the same report, of another runway or height, and one expected.
    beside = " ".join(word for word in words[1:] if code.WIND.fullmatch(word))
    for text in (beside, trend):
        told += code.trend_winds(text, level.direction, level.peak)
    told += code.expected(trend)
    return Reading(
        source=name,
        kind="surface",
        levels=(level,),
        valid=valid,
        away=None,  # told by who knows the station
        direction_error=spread,
        pressure=code.altimeter_setting(words),
        cloud_cover=sky.cloud_cover(words),
        visibility=sky.visibility(seen),
        cloud_base=sky.cloud_base(seen),
        lowest_cloud=sky.cloud_base(seen, 0.0),
        warned=tuple(f"{name} tells of {what}" for what in told),
        assumed=(
            f"{name}: measured 10 m above the ground",
            *notes,
            *(f"{name}: {note}" for note in (*swing, *peak_notes, *bound)),
        ),
    )


def _with_past(
    reading: Reading, past: list[tuple[datetime, code.Found]], setting: Setting
) -> Reading:
    """Let the hour before count: winds as a gust, a storm until it is over for good.

    ``past``: the reports up to the one that is read, the oldest first.
    """
    assert reading.valid is not None
    before = [row for row in past if row[0] < reading.valid]
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
    warned = (*reading.warned, *_stronger(reading, level.peak, past, setting))
    if stormy and setting.when - first_clear < STORM_OVER:
        minutes = STORM_OVER.total_seconds() / 60
        warned += (
            f"{stormy}, and the first report without it is of {first_clear:%H:%M}Z: "
            f"wait until nothing was heard or seen of it for {minutes:.0f} minutes",
        )
    return replace(reading, levels=(level,), warned=warned, assumed=tuple(notes))


def _peaks(before: list[tuple[datetime, code.Found]]) -> Iterator[code.Peak]:
    """Yield the strongest wind and the peak that each report tells, the oldest first."""
    for time, (_, body) in before:
        observed, _, remarks = code.split_report(body)
        yield code.Peak(code.strongest(observed), time)
        peaks = code.peak_winds(remarks, time)
        yield from (peak for peak in peaks if isinstance(peak, code.Peak))


def _stronger(
    reading: Reading,
    peak: float,
    told: list[tuple[datetime, code.Found]],
    setting: Setting,
) -> Iterator[str]:
    """Name the strongest wind of hours before that count no more, where it was more than `peak`."""
    since = setting.when - timedelta(hours=PAST)
    # What it tells of its own time counts already; its peak may be of an hour before.
    past = [p for p in _peaks(told) if p.time >= since and p.time != reading.valid]
    worst = max(past, key=lambda one: one.speed, default=None)
    if worst is not None and worst.speed > peak + MORE:
        yield (
            f"{reading.source}: {worst.speed / KNOT:.0f} kt blew at {worst.time:%H:%M}Z: is it over?"
        )


def _with_peak(
    level: WindLevel, peak: code.Peak | str, valid: datetime
) -> tuple[WindLevel, list[str]]:
    """Let the peak wind of the hour before count as a gust."""
    if not isinstance(peak, code.Peak):
        return level, []
    text = f"peak wind {peak.speed / KNOT:.0f} kt at {peak.time:%H:%M}Z"
    if valid - peak.time > _PEAK_COUNTS:
        return level, [f"{text}, over an hour before, is left out"]
    gust = max(level.peak, peak.speed)
    return replace(level, gust=gust), [f"{text} counts as a gust"]


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
