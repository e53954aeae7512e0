"""What aerodromes' reports and forecasts share: the wind's group, weather, sky, remarks.

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
from driftmap.core.units import FOOT, KNOT
from driftmap.winds.law import MAST
from driftmap.winds.reading import check_direction, check_speed

__all__ = [
    "POOR",
    "ROUNDING",
    "WIND",
    "Peak",
    "beside_the_wind",
    "cloud_base",
    "cloud_cover",
    "level_of",
    "lowest_cloud",
    "peak_wind",
    "poor_sky",
    "speed_of",
    "split_report",
    "storms",
    "trend_winds",
    "visibility",
]

ROUNDING: Final = math.radians(10.0) / math.sqrt(12)
"""Error of a direction told in tens of degrees [rad]."""

WIND: Final = re.compile(
    r"(?P<from>VRB|\d{3}|///)(?P<speed>P?\d{2,3}|//)(?:G(?P<gust>P?\d{2,3}|//))?"
    r"(?P<unit>KT|MPS|KMH)"
)
"""The group of the wind; P before a speed says that it was more."""

_SIZE: Final = MappingProxyType({"KT": KNOT, "MPS": 1.0, "KMH": 1 / 3.6})


def speed_of(text: str, unit: str) -> float:
    """Give a coded speed [m s⁻¹]; P99KT and P49MPS are at least one more.

    Examples
    --------
    >>> speed_of("P49", "MPS")
    50.0
    """
    return (float(text.lstrip("P")) + text.startswith("P")) * _SIZE[unit]


def level_of(
    found: re.Match[str], name: str, temperature: float | None = None
) -> WindLevel:
    """Give the wind that a group tells, 10 m above the ground."""
    if "/" in found["from"] + found["speed"]:
        raise ValueError(f"direction or mean wind is missing ({found[0]})")
    speed = check_speed(speed_of(found["speed"], found["unit"]))
    direction = None
    if found["from"] != "VRB":
        direction = check_direction(float(found["from"]))
        if direction == 0 and speed > 0:
            raise ValueError("direction 000 is kept for a calm; north is 360")
    gust = None
    if found["gust"] and found["gust"] != "//":
        gust = check_speed(speed_of(found["gust"], found["unit"]), what="gust")
        if gust < speed:
            raise ValueError("gust less than the mean wind")
    return WindLevel(MAST, direction, speed, gust, name, temperature)


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
_LIGHTNING: Final = re.compile(r"\bLTG\w*(?:\s+DSNT)?")
_VIOLENT: Final = re.compile(
    r"\b(?:(?:RE)?GR|(?:VC)?BL(?:SN|SA|DU)|TORNADO|FUNNEL CLOUD|WATERSPOUT|\+?FC|HAIL(?:STONES?)?|GS|LLWS|DOWNBURST|"
    r"MICROBURST|OUTFLOW|DUST ?DEVILS?|CB(?:MAM)?|TCU|ACSL|ACC|ROTOR|VIRGA|FROPA|PRESFR|"
    r"PRESRR|GUSTS?|WS|SQ(?:UALLS?)?|SH(?:RA|SN|GS|GR)?|VCSH)\w*\b"
)
"""Plain words and groups anywhere in a report that tell of wind no mean can: rising,
falling and turning air about showers, fronts, mountains and storms."""

_DISTANT: Final = re.compile(
    r"\b(?:(?:OCNL|FRQ|CONS)\s+)?(?:TCU|SH\w*)(?:\s+VRY)?\s+DSNT(?:\s+[NSEW-]+)*"
)
"""Showers and growing clouds beyond 10 statute miles. A storm as far away holds: lightning in
sight ends a launch (common practice, no source), and its outflow runs ahead of it."""

_HARMLESS: Final = re.compile(
    r"(?:AO[12]A?|SLP(?:\d{3}|NO)|T[01]\d{3}(?:[01]\d{3})?|[1245678]\d{3,8}|P\d{4}|"
    r"\$|RMK|PK|WND|\d{5,6}/\d{2,4}|WSHFT|A[23]\d{3}|Q\d{4}|QF[EF]\S*|\d{2,4}|"
    r"(?:PWI|FZRA|TS|RVR|PNO|VIS|CHI)NO|RWY\d*|TSNO|NOSIG|LAST|FIRST|OBS|COR|"
    r"VIS|SFC|TWR|\d?\d?/\d{1,2}|\d/\dV\d?|CIG|V|VRB|[A-Z]{2}[BE]\d\S*|RA|SN|DZ|BR|FG|HZ|"
    r"(?:AC|AS|CI|CS|CC|CU|SC|ST|NS)\d\S*|DA|DENSITY|ALT|[+-]?\d+FT)"
)
"""Words of remarks that say nothing of wind: kind of station, pressure, temperature, rain."""

_STORMY: Final = (
    *("a thunderstorm", "a squall", "a funnel cloud", "lightning", "a storm cloud"),
    "wind that no mean tells of",
)


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
    told += [f"heavy rain ({w})" for w in words if re.fullmatch(r"\+[A-Z]*RA[A-Z]*", w)]
    if plain := _plain_words(observed):
        told.append(f"what was not understood ({plain[:60]})")
    odd = [w for w in near.split() if not _HARMLESS.fullmatch(w)]
    if odd and not told and "PK WND" not in remarks:
        told.append(f"what was not understood ({' '.join(odd)[:60]})")
    return tuple(dict.fromkeys(told))


_PLAIN: Final = re.compile(r"[A-Z]{4,}")
_GROUP: Final = re.compile(
    r"(?:VC|RE|NSW)?(?:MI|PR|BC|DR|BL|SH|TS|FZ)?"
    r"(?:DZ|RA|SN|SG|IC|PL|GR|GS|UP|BR|FG|FU|VA|DU|SA|HZ|PY|PO|SQ|FC|SS|DS)*"
    r"|CAVOK|CAVU|AUTO|NOSIG|SNOCLO|(?:TS|PWI|FZRA|RVR)NO|(?:BLACK|WHT|GRN|YLO|AMB|RED|BLU)+"
)


def _plain_words(observed: str) -> str:
    """Give what stands in plain words among the groups of a report, such as a warning."""
    words = [w for w in observed.split() if _PLAIN.fullmatch(w)]
    return " ".join(w for w in words if not _GROUP.fullmatch(w))


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
        found, weather = WIND.fullmatch(word), _WEATHER.fullmatch(word)
        if found:
            told = [found["speed"], found["gust"] or ""]
            speeds = [speed_of(text, found["unit"]) for text in told if text.strip("/")]
            if max(speeds, default=math.inf) > peak or _turned(
                found["from"], direction
            ):
                what = f"wind expected ({kind} {word})"
                yield what if kind else f"another wind ({word})"
        elif weather:
            yield f"{_NAMES[weather['what']]} expected ({word})"
    yield from (f"{what} expected" for what in poor_sky(trend.split()))


def _turned(coded: str, direction: float | None) -> bool:
    """Tell whether a wind expected comes from elsewhere."""
    if not coded.isdigit() or direction is None:
        return False  # no stronger, and from anywhere: the verdict has its own spread
    off = abs((float(coded) - math.degrees(direction) + 180) % 360 - 180)
    return off > TURNED


POOR: Final = 5000.0
"""Visibility below which what comes down may not be seen [m]. Common practice, no source."""

_LOW: Final = 5000 * FOOT
"""Height below which cloud expected counts, as in CAVOK (WMO FM 15, in secondary copies)."""

_MILE: Final = 1609.344  # m
_AMOUNTS: Final = MappingProxyType(
    {"FEW": 2 / 8, "SCT": 4 / 8, "BKN": 7 / 8, "OVC": 1.0, "VV": 1.0}
)
"""Most cloud that each word can mean (WMO FM 15 and FMH-1, in secondary copies)."""

_CEILING: Final = 5 / 8  # of the sky: from here on a layer is a ceiling (FMH-1)
_LAYER: Final = re.compile(r"(FEW|SCT|BKN|OVC|VV)(\d{3}|///)(?:CB|TCU|///)?")
_MILES: Final = re.compile(r"([PM])?(\d+)(?:/([1-9]\d?))?SM")
_METRES: Final = re.compile(r"(\d{4})(?:NDV)?")


def cloud_cover(words: Sequence[str]) -> float | None:
    """Give the share of sky in the fullest layer, the most that a report can mean.

    None where nothing is said of all of the sky: CAVOK, NSC and NCD leave high or unseen
    cloud out.

    Examples
    --------
    >>> cloud_cover("24008KT 10SM FEW030 SCT250".split())
    0.5
    """
    layers = [_AMOUNTS[m[1]] for word in words if (m := _LAYER.fullmatch(word))]
    if layers:
        return max(layers)
    return 0.0 if {"SKC", "CLR"} & set(words) else None


def cloud_base(words: Sequence[str]) -> float | None:
    """Give the height of the lowest layer that hides most of the sky [m].

    Above the station; 0 where the report does not tell its height, None without one.

    Examples
    --------
    >>> cloud_base("24008KT 1SM FEW002 BKN005 OVC010".split())
    152.4
    """
    return _lowest(words, _CEILING)


def lowest_cloud(words: Sequence[str]) -> float | None:
    """Give the height of the lowest layer, however little of the sky it hides [m].

    Examples
    --------
    >>> lowest_cloud("24008KT 10SM FEW030 SCT250".split())
    914.4
    """
    return _lowest(words, 0.0)


def _lowest(words: Sequence[str], least: float) -> float | None:
    layers = (m for word in words if (m := _LAYER.fullmatch(word)))
    return min(
        (
            0.0 if m[2] == "///" else round(int(m[2]) * 100 * FOOT, 6)
            for m in layers
            if _AMOUNTS[m[1]] >= least
        ),
        default=None,
    )


def visibility(words: Sequence[str]) -> float | None:
    """Give the least visibility that a report can mean [m]; 10 km stands for more too.

    Examples
    --------
    >>> visibility("24008KT 1 1/2SM BR OVC005".split())
    2414.016
    """
    return min(_told(words), default=None)


def poor_sky(words: Sequence[str]) -> Iterator[str]:
    """Name low cloud and poor sight among what is expected.

    Examples
    --------
    >>> list(poor_sky("TEMPO 0800 FG OVC002".split()))
    ['cloud from 61 m', 'visibility of 800 m']
    """
    low, far = cloud_base(words), visibility(words)
    if low is not None and low < _LOW:
        yield f"cloud from {low:.0f} m"
    if far is not None and far < POOR:
        yield f"visibility of {far:.0f} m"


def _told(words: Sequence[str]) -> Iterator[float]:
    for before, word in zip(["", *words], words, strict=False):
        if word == "CAVOK":
            yield 10_000.0
        elif found := _MILES.fullmatch(word):
            miles = float(found[2]) / float(found[3] or 1)
            whole = float(before) if found[3] and re.fullmatch(r"\d", before) else 0.0
            yield 0.0 if found[1] == "M" else (whole + miles) * _MILE
        elif found := _METRES.fullmatch(word):
            yield 10_000.0 if found[1] == "9999" else float(found[1])
