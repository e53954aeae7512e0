"""What aerodromes expect (TAF, trends), and what reports say beside their wind.

Coding as in WMO FM 15 and FM 51 and the United States' practice (FMH-1 ch. 12), read in
secondary copies.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from types import MappingProxyType
from typing import Final

from driftmap.air.wind import WindLevel
from driftmap.errors import WindError
from driftmap.units import KNOT
from driftmap.winds.law import MAST
from driftmap.winds.reading import (
    Reading,
    Setting,
    check_direction,
    check_speed,
    nearest_day,
    show_time,
)
from driftmap.winds.sky import (
    cloud_base,
    cloud_cover,
    lowest_cloud,
    poor_sky,
    visibility,
)
from driftmap.winds.sonde import choose_station

__all__ = [
    "Peak",
    "beside_the_wind",
    "looks_like_aerodrome_forecast",
    "peak_wind",
    "read_aerodrome_forecast",
    "split_report",
    "storms",
    "trend_winds",
]

TURNED: Final = 30.0
"""A wind expected from farther off than this [deg] lands elsewhere; assumed."""

_TREND: Final = re.compile(r"\s(?:TEMPO|BECMG|INTER|PROB\d\d)\b")
_WEATHER: Final = re.compile(
    r"(?:[-+]|RE|VC|MI|BC|PR)*(?P<what>TS(?!NO)|SQ|FC|PO|DS|SS|FG|FZ|VA)(?:[A-Z]{2})*"
)
_NAMES: Final = {
    "TS": "a thunderstorm",
    "SQ": "a squall",
    "FC": "a funnel cloud",
    "PO": "dust whirls",
    "DS": "a dust storm",
    "SS": "a sand storm",
    "FG": "fog",
    "FZ": "freezing rain or fog",
    "VA": "volcanic ash",
}
_CLOUD: Final = re.compile(r"(?:FEW|SCT|BKN|OVC|VV|///)[\d/]{3}CB")
_PEAK: Final = re.compile(r"\bPK WND\b(?:\s+(\d{3})(\d{2,3})/(\d\d)?(\d\d)(?!\d))?")
_SHIFT: Final = re.compile(r"\bWSHFT(?:\s+(\d{2,4}))?(\s+FROPA)?")
_STORM: Final = re.compile(r"\bTS(?:B|E)\d\S*|\bTS\b(?!\s*NO)")
_LIGHTNING: Final = re.compile(r"\bLTG\w*(?!\S)(?!\s+DSNT)")
_WIND: Final = re.compile(
    r"(?P<from>VRB|\d{3})P?(?P<speed>\d{2,3})(?:GP?(?P<gust>\d{2,3}))?"
    r"(?P<unit>KT|MPS|KMH)"
)
_VIOLENT: Final = re.compile(
    r"\b(?:TORNADO|FUNNEL CLOUD|WATERSPOUT|\+?FC|HAIL(?:STONES?)?|GR|GS|LLWS|DOWNBURST|"
    r"MICROBURST|OUTFLOW|DUST ?DEVILS?|CB(?:MAM)?|TCU|ACSL|ACC|ROTOR|VIRGA|FROPA|PRESFR|"
    r"PRESRR|GUSTS?|WS|SQ(?:UALLS?)?|SH(?:RA|SN|GS|GR)?|VCSH)\w*\b"
)
"""Plain words and groups anywhere in a report that tell of wind no mean can: rising,
falling and turning air about showers, fronts, mountains and storms."""

_DISTANT: Final = re.compile(
    r"\b(?:(?:OCNL|FRQ|CONS)\s+)?(?:LTG\w*|CB|TCU|TS|SH\w*)(?:\s+VRY)?\s+DSNT(?:\s+[NSEW-]+)*"
)
"""Clouds and lightning beyond 10 statute miles."""

_HARMLESS: Final = re.compile(
    r"(?:AO[12]A?|SLP(?:\d{3}|NO)|T[01]\d{3}(?:[01]\d{3})?|[1245678]\d{3,8}|P\d{4}|"
    r"\$|RMK|PK|WND|\d{5,6}/\d{2,4}|WSHFT|A[23]\d{3}|Q\d{4}|QF[EF]\S*|\d{2,4}|"
    r"(?:PWI|FZRA|TS|RVR|PNO|VIS|CHI)NO|RWY\d*|TSNO|NOSIG|LAST|FIRST|OBS|COR|"
    r"VIS|SFC|TWR|\d?\d?/\d|CIG|V|VRB|[A-Z]{2}[BE]\d\S*|RA|SN|DZ|BR|FG|HZ|"
    r"(?:AC|AS|CI|CS|CC|CU|SC|ST|NS)\d\S*|DA|DENSITY|ALT|[+-]?\d+FT)"
)
"""Words of remarks that say nothing of wind: kind of station, pressure, temperature, rain."""

_STORMY: Final = (
    *("a thunderstorm", "a squall", "a funnel cloud", "lightning", "a storm cloud"),
    "wind that no mean tells of",
)

_SIZE: Final = {"KT": KNOT, "MPS": 1.0, "KMH": 1 / 3.6}


@dataclass(frozen=True, slots=True)
class Peak:
    """The strongest wind since the report before: from [deg], speed [m s⁻¹], when in UTC."""

    direction: float
    speed: float
    time: datetime


def split_report(body: str) -> tuple[str, str, str]:
    """Part a report, after station and time, into observed, expected and remarks.

    Examples
    --------
    >>> split_report("24005KT 9999 TEMPO 26025G45KT RMK AO2")
    ('24005KT 9999', ' TEMPO 26025G45KT', 'AO2')
    """
    said, _, remarks = body.partition(" RMK")
    trend = _TREND.search(said)
    cut = trend.start() if trend else len(said)
    return said[:cut].strip(), said[cut:], remarks.strip()


def peak_wind(remarks: str, valid: datetime) -> Peak | str | None:
    """Find the peak wind in remarks; what stands there if it cannot be read.

    Examples
    --------
    >>> from datetime import UTC
    >>> peak_wind("AO2 PK WND 20045/1740", datetime(2026, 5, 9, 17, 53, tzinfo=UTC)).time.minute
    40
    """
    found = _PEAK.search(remarks)
    if found is None:
        return None
    direction, knots, hour, minute = found.groups()
    if minute is None or int(minute) > 59 or int(hour or 0) > 23:
        return remarks[found.start() : found.start() + 20]
    time = valid.replace(minute=int(minute))
    if hour is not None:
        time = time.replace(hour=int(hour))
    if time > valid:
        time -= timedelta(days=1) if hour is not None else timedelta(hours=1)
    return Peak(float(direction), float(knots) * KNOT, time)


def beside_the_wind(observed: str, remarks: str) -> tuple[str, ...]:
    """Name what makes the mean wind no guide to the next hour, each with its group.

    Examples
    --------
    >>> beside_the_wind("24005KT 9999 VCTS", "AO2 WSHFT 1735")
    ('a thunderstorm (VCTS)', 'a wind shift (WSHFT 1735)')
    """
    words = observed.split()
    told = [
        f"{_NAMES[found['what']]} ({word})"
        for word in words
        if (found := _WEATHER.fullmatch(word))
    ]
    told += [f"a storm cloud ({word})" for word in words if _CLOUD.fullmatch(word)]
    if "WS" in words:
        told.append("wind shear near the ground (WS)")
    for pattern, what in (
        (_SHIFT, "a wind shift"),
        (_STORM, "a thunderstorm"),
        (_LIGHTNING, "lightning"),
    ):
        found = pattern.search(remarks)
        if found:
            told.append(f"{what} ({found[0].strip()})")
    # What follows the wind's own group and stands in remarks, in plain words or groups.
    near = _DISTANT.sub(" ", remarks)
    if "PK WND" in observed:
        told.append("a peak wind out of its place (PK WND)")
    for found in _VIOLENT.finditer(f"{_beside(observed)} {near}"):
        if found[0] not in " ".join(told):
            told.append(f"wind that no mean tells of ({found[0]})")
    odd = [w for w in near.split() if not _HARMLESS.fullmatch(w)]
    if odd and not told and "PK WND" not in remarks:
        told.append(f"what was not understood ({' '.join(odd)[:60]})")
    return tuple(dict.fromkeys(told))


def storms(observed: str, remarks: str) -> tuple[str, ...]:
    """Name the signs of a storm, which is not over with the next report without them.

    Examples
    --------
    >>> storms("24005KT 9999 VCTS", "AO2 WSHFT 1735")
    ('a thunderstorm (VCTS)',)
    """
    told = beside_the_wind(observed, remarks)
    return tuple(said for said in told if said.startswith(_STORMY))


def _beside(observed: str) -> str:
    """Give the groups of weather and cloud, clouds parted from the letters they end in."""
    return re.sub(r"(\d{3})(CB|TCU)\b", r"\1 \2", observed)


def trend_winds(trend: str, direction: float | None, peak: float) -> Iterator[str]:
    """Name what is expected: winds stronger or from elsewhere, storms, low cloud, fog.

    Examples
    --------
    >>> list(trend_winds(" TEMPO 26025G45KT TSRA", 4.2, 5.0))
    ['wind expected (TEMPO 26025G45KT)', 'a thunderstorm expected (TSRA)']
    >>> list(trend_winds(" BECMG 24005KT", 4.2, 5.0))
    []
    """
    kind = ""
    for word in trend.split():
        if _TREND.fullmatch(f" {word}"):
            kind = word
        found, weather = _WIND.fullmatch(word), _WEATHER.fullmatch(word)
        if found:
            speed = float(found["gust"] or found["speed"]) * _SIZE[found["unit"]]
            if speed > peak or _turned(found["from"], direction):
                yield f"wind expected ({kind} {word})"
        elif weather:
            yield f"{_NAMES[weather['what']]} expected ({word})"
    yield from (f"{what} expected" for what in poor_sky(trend.split()))


def _turned(coded: str, direction: float | None) -> bool:
    """Tell whether a wind expected comes from elsewhere."""
    if coded == "VRB" or direction is None:
        return False  # no stronger, and from anywhere: the verdict has its own spread
    off = abs((float(coded) - math.degrees(direction) + 180) % 360 - 180)
    return off > TURNED


_UNITS: Final = MappingProxyType({"KT": KNOT, "MPS": 1.0, "KMH": 1 / 3.6})
_ROUNDING: Final = math.radians(10.0) / math.sqrt(12)  # direction in tens of degrees
_HEAD: Final = re.compile(
    r"\bTAF\b(?:\s+(?:TAF|AMD|COR))*\s+(?P<station>[A-Z][A-Z0-9]{3})\s+"
    r"(?:(?P<issued>\d{6})Z\s+)?(?P<from>\d{4})/(?P<to>\d{4})\b"
)
_STRENGTH: Final = re.compile(
    r"(?P<from>VRB|\d{3})(?P<over>P)?(?P<speed>\d{2,3})(?:G(?P<gust>P?\d{2,3}))?"
    r"(?P<unit>KT|MPS|KMH)"
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


def read_aerodrome_forecast(text: str, source: str, setting: Setting) -> Reading:
    """Read the wind at the time of the flight from one forecast.

    Parameters
    ----------
    text : str
        One forecast, or those of several stations.
    source : str
        Name of the file.
    setting : Setting
        Station and time that are meant.

    Returns
    -------
    Reading
        One level, at 10 m, as forecast. While the wind becomes another the stronger of the
        two rules; what may come at the flight and is stronger or turned, shear and storms
        go to `warned`.

    Raises
    ------
    WindError
        If it has no wind, or one that breaks the coding rules.
    """
    plain = " ".join(text.upper().replace("=", " ").split())
    starts = list(_HEAD.finditer(plain))
    if not starts:
        raise WindError(
            source, "", "a TAF without station and times (TAF KXYZ 251730Z 2518/2624)"
        )
    names = [start["station"] for start in starts]
    station, notes = choose_station(names, setting, source)
    mine = [i for i, name in enumerate(names) if name == station]
    if len(mine) > 1:
        raise WindError(source, "", f"holds {len(mine)} TAFs of {station}; keep one")
    head = starts[mine[0]]
    ends = [start.start() for start in starts[1:]] + [len(plain)]
    body = plain[head.end() : ends[mine[0]]].split(" RMK")[0]
    return _reading(head, body, notes, source, setting)


def _reading(
    head: re.Match[str],
    body: str,
    notes: tuple[str, ...],
    source: str,
    setting: Setting,
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
        raise WindError(source, name, f"its times: {problem}") from None
    flight = min(max(setting.when, start), end)
    ruling = [part for part in parts if not part.kind and part.start <= flight]
    base = ruling[-1]
    level = _level(base.text, name, source)
    later = [p for p in parts if p.kind == "BECMG" and base.start <= p.start <= flight]
    told = [show_time(base.start)]
    for part in later:
        if not _wind(part.text):
            continue
        new = _level(part.text, name, source)
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
        cloud_cover=cloud_cover(sky),
        visibility=visibility(sky),
        cloud_base=cloud_base(sky),
        lowest_cloud=lowest_cloud(sky),
        window=(start, end),
        based_on=issued or start,
        forecast=True,
        direction_error=_ROUNDING,
        away=away,
        warned=tuple(
            f"{name} tells of {what}" for what in _warned(base, later, may, level)
        ),
        assumed=(
            f"{name}: at 10 m; that from {', '.join(told)}",
            where,
            *notes,
        ),
    )


def _warned(
    base: _Part, later: Sequence[_Part], may: Sequence[_Part], level: WindLevel
) -> list[str]:
    told: list[str] = []
    for part in (base, *later):
        told += beside_the_wind(part.text, "")
        told += [f"wind shear ({found[0]})" for found in _SHEAR.finditer(part.text)]
    for part in (*later, *may):
        trend = f" {part.kind} {part.text}"
        told += trend_winds(trend, level.direction, _peak(level))
        told += [f"{what}, maybe" for what in beside_the_wind(part.text, "")]
    for part in may:
        told += [f"{what}, maybe" for what in poor_sky(part.text.split())]
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
    return next((m for word in text.split() if (m := _STRENGTH.fullmatch(word))), None)


def _level(text: str, name: str, source: str) -> WindLevel:
    found = _wind(text)
    if not found:
        raise WindError(
            source,
            name,
            f"no wind group in {text.strip()[:20]!r}; accepted is such as 24012G20KT",
        )
    size = _UNITS[found["unit"]]
    speed = (float(found["speed"]) + bool(found["over"])) * size
    check_speed(speed, source, name)
    gust = None
    if found["gust"]:
        gust = float(found["gust"].lstrip("P")) * size
        if check_speed(gust, source, name, what="gust") < speed:
            raise WindError(source, name, f"{found[0]}: gust less than the mean wind")
    way = None
    if found["from"] != "VRB":
        way = check_direction(float(found["from"]), source, name)
    return WindLevel(MAST, way, speed, gust, name)
