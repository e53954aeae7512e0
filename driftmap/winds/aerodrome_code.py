"""What aerodromes' reports and forecasts share: the wind's group, weather, remarks.

Coding as in WMO FM 15 and FM 51 and the United States' practice (FMH-1 ch. 12), read in
secondary copies.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from types import MappingProxyType
from typing import Final

from driftmap.air.wind import MAST, WindLevel
from driftmap.core.units import KNOT, kelvin
from driftmap.winds import sky
from driftmap.winds.reading import check_direction, check_speed, words

ROUNDING: Final = math.radians(10.0) / math.sqrt(12)
"""Error of a direction told in tens of degrees [rad]."""

WIND: Final = re.compile(
    r"(?P<from>VRB|\d{3}|///)(?P<speed>P?\d{2,3}|//)(?:G(?P<gust>P?\d{2,3}|//))?"
    r"(?P<unit>KT|MPS|KMH)"
)
"""The group of the wind; P before a speed says that it was more."""

_SIZE: Final = MappingProxyType({"KT": KNOT, "MPS": 1.0, "KMH": 1 / 3.6})


def _speed_of(text: str, unit: str) -> float:
    """Give a coded speed [m s⁻¹]; P99KT and P49MPS are at least one more.

    Examples
    --------
    >>> _speed_of("P49", "MPS")
    50.0
    """
    return (float(text.lstrip("P")) + text.startswith("P")) * _SIZE[unit]


def level_of(
    found: re.Match[str], name: str, temperature: float | None = None
) -> WindLevel:
    """Return the wind that a group tells, 10 m above the ground."""
    if "/" in found["from"] + found["speed"]:
        raise ValueError(f"direction or mean wind is missing ({found[0]})")
    speed = check_speed(_speed_of(found["speed"], found["unit"]))
    direction = None
    if found["from"] != "VRB":
        direction = check_direction(float(found["from"]))
        if direction == 0 and speed > 0:
            raise ValueError("direction 000 is kept for a calm; north is 360")
    gust = None
    if found["gust"] and found["gust"] != "//":
        gust = check_speed(_speed_of(found["gust"], found["unit"]), what="gust")
        if gust < speed:
            raise ValueError("gust less than the mean wind")
    return WindLevel(MAST, direction, speed, gust, name, temperature)


_SWING: Final = re.compile(r"(\d{3})V(\d{3})")
_TEMPERATURE: Final = re.compile(r"(M?\d\d)/(?:M?\d\d|//)?")
_PRESSURE: Final = re.compile(r"([AQ])(\d{4})")
_INCH: Final = 3386.39  # Pa, inch of mercury (FMH-1, from memory)


def swinging(words: Sequence[str]) -> tuple[list[str], float]:
    """Return the error of a direction that swings, such as 180V250 [rad], and a note of it."""
    found = next(filter(None, map(_SWING.fullmatch, words)), None)
    if not found:
        return [], ROUNDING
    first, last = (check_direction(float(d)) for d in found.groups())
    width = (last - first) % (2 * math.pi)
    note = f"direction swings {found[0]}, all of it alike likely"
    return [note], math.hypot(width / math.sqrt(12), ROUNDING)


def air_temperature(words: Sequence[str]) -> float | None:
    """Return the temperature that a report tells [K]."""
    found = next(filter(None, map(_TEMPERATURE.fullmatch, words)), None)
    return kelvin(None if found is None else float(found[1].replace("M", "-")))


def altimeter_setting(words: Sequence[str]) -> float | None:
    """Return the altimeter setting that a report tells [Pa]."""
    found = next(filter(None, map(_PRESSURE.fullmatch, words)), None)
    if found is None:
        return None
    number = float(found[2])
    return number / 100 * _INCH if found[1] == "A" else number * 100.0


TURNED: Final = 30.0
"""A wind expected from farther off than this [deg] lands elsewhere; assumed."""

_TREND: Final = re.compile(r"\s(?:TEMPO|BECMG|INTER|PROB\d\d|FM\d{6})\b")
_WEATHER: Final = re.compile(
    r"(?:[-+]|RE|VC|MI|BC|PR)*(?P<what>TS(?!NO)|SQ|FC|PO|DS|SS|FG|FZ|VA)(?:[A-Z]{2})*"
)
_CODE: Final = words("aerodrome")
_NAMES: Final = _CODE["weather"]
_CLOUD: Final = re.compile(r"(?:FEW|SCT|BKN|OVC|VV|///)[\d/]{3}CB")
_PEAK: Final = re.compile(r"\bPK WND\b(?:\s+\d{3}(\d{2,3})/(\d\d)?(\d\d)(?!\d))?")
_HEADING: Final = re.compile(
    r"\b(?:[A-Z]{4}\d\d [A-Z]{4} \d{6}(?: [A-Z]{3})?|METAR|SPECI|TAF)\b|\d[\d/:TZ-]*"
)
"""The heading of a bulletin of reports (WMO-No. 386, from memory), a date or a time."""
_SHIFT: Final = re.compile(r"\bWSHFT(?:\s+(\d{2,4}))?(\s+FROPA)?")
_STORM: Final = re.compile(r"\bTS(?:B|E)\d\S*|\bTS\b(?!\s*NO)")
_LIGHTNING: Final = re.compile(r"\bLTG\w*(?:\s+DSNT)?")
_VIOLENT: Final = re.compile(rf"\b(?:{'|'.join(_CODE['violent'])})\w*\b")
_HARMLESS, _GROUP = (
    re.compile(rf"(?<!\S)(?:{'|'.join(_CODE[kind])})(?!\S)")
    for kind in ("harmless", "groups")
)
_DISTANT: Final = re.compile(
    r"\b(?:(?:OCNL|FRQ|CONS)\s+)?(?:TCU|SH\w*)(?:\s+VRY)?\s+DSNT(?:\s+[NSEW-]+\b)*"
)
"""Showers and growing clouds beyond 10 statute miles. A storm as far away holds: lightning in
sight ends a launch (common practice, no source), and its outflow runs ahead of it."""


@dataclass(frozen=True, slots=True)
class Peak:
    """The strongest wind since the report before: speed [m s⁻¹], and when in UTC."""

    speed: float
    time: datetime


NOT_UNDERSTOOD: Final = "what was not understood"


def split_report(body: str) -> tuple[str, str, str]:
    """Part a report, after station and time, into observed, expected and remarks."""
    said, _, remarks = body.partition(" RMK")
    trend = _TREND.search(said)
    cut = trend.start() if trend else len(said)
    return said[:cut].strip(), said[cut:], remarks.strip()


Found = tuple[re.Match[str], str]
"""The start of a report, with its station and time, and what follows it."""


def normalised(text: str) -> str:
    """Write a text as one line of capitals, without the marks that end reports."""
    return " ".join(text.upper().replace("=", " ").split())


def parted(text: str, start: re.Pattern[str]) -> list[Found]:
    """Part a text where reports start."""
    starts = list(start.finditer(text))
    ends = [found.start() for found in starts[1:]] + [len(text)]
    return [(m, text[m.end() : end]) for m, end in zip(starts, ends, strict=False)]


def words_before(
    text: str, reports: list[Found], start: re.Match[str]
) -> Iterator[str]:
    """Name the words before a report that are no heading, date or time: they may take it back.

    Of what stands behind another report, the words at its end that are none of its code.
    """
    i = [found for found, _ in reports].index(start)
    parts = [_HEADING.sub(" ", text[: reports[0][0].start()]).split()]
    if i:
        end = itertools.takewhile(_plain, reversed(reports[i - 1][1].split()))
        parts.append([*end][::-1])
    for said in parts:
        if any(re.search(r"[^\W\d_]", word) for word in said):
            yield f"{NOT_UNDERSTOOD} ({' '.join(said)[:60]})"


def _plain(word: str) -> bool:
    coded = (
        re.search(r"\d", word) or _HARMLESS.fullmatch(word) or _GROUP.fullmatch(word)
    )
    return not coded


def strongest(body: str) -> float:
    """Return the strongest wind that is coded in a report [m s⁻¹]."""
    coded = (
        _speed_of(text, found["unit"])
        for found in WIND.finditer(body)
        for text in (found["speed"], found["gust"] or "")
        if text.strip("/")
    )
    return max(coded, default=0.0)


def peak_winds(remarks: str, valid: datetime) -> Iterator[Peak | str]:
    """Find the peak winds in remarks; what stands there where one cannot be read."""
    for found in _PEAK.finditer(remarks):
        knots, hour, minute = found.groups()
        if minute is None or int(minute) > 59 or int(hour or 0) > 23:
            yield remarks[found.start() : found.start() + 20]
            continue
        time = valid.replace(minute=int(minute))
        if hour is not None:
            time = time.replace(hour=int(hour))
        if time > valid:
            time -= timedelta(days=1) if hour is not None else timedelta(hours=1)
        yield Peak(float(knots) * KNOT, time)


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
    # Groups, of clouds the letters they end in apart, and remarks in plain words.
    beside = re.sub(r"(\d{3})(CB|TCU)\b", r"\1 \2", observed)
    near = _DISTANT.sub(" ", remarks)
    if "PK WND" in observed:
        told.append("a peak wind out of its place (PK WND)")
    for found in _VIOLENT.finditer(f"{beside} {near}"):
        if found[0] not in " ".join(told):
            told.append(f"wind that no mean tells of ({found[0]})")
    told += [f"heavy rain ({w})" for w in words if re.fullmatch(r"\+[A-Z]*RA[A-Z]*", w)]
    odd = [w for w in words if not _GROUP.fullmatch(w) and w not in " ".join(told)]
    if odd:
        told.append(f"{NOT_UNDERSTOOD} ({' '.join(odd)[:60]})")
    for heard in (_PEAK, sky.REMARKED, sky.CEILINGS, _HARMLESS):
        near = heard.sub(" ", near)
    odd = near.split()
    if odd and not told:
        told.append(f"{NOT_UNDERSTOOD} ({' '.join(odd)[:60]})")
    return tuple(dict.fromkeys(told))


def storms(observed: str, remarks: str) -> tuple[str, ...]:
    """Name the signs of a storm, which is not over with the next report without them."""
    told = beside_the_wind(observed, remarks)
    return tuple(said for said in told if said.startswith(tuple(_CODE["stormy"])))


def trend_winds(trend: str, direction: float | None, peak: float) -> Iterator[str]:
    """Name winds expected that are stronger or from elsewhere, low cloud and poor sight.

    Examples
    --------
    >>> list(trend_winds(" TEMPO 26025G45KT TSRA", 4.2, 5.0))
    ['wind expected (TEMPO 26025G45KT)']
    >>> list(trend_winds(" BECMG 24005KT", 4.2, 5.0))
    []
    """
    kind = ""
    for word in trend.split():
        if _TREND.fullmatch(f" {word}"):
            kind = word
        if found := WIND.fullmatch(word):
            told = [t for t in (found["speed"], found["gust"]) if t]
            lost = [math.inf for text in told if not text.strip("/")]
            speeds = [_speed_of(t, found["unit"]) for t in told if t.strip("/")]
            most = max(*speeds, *lost, 0.0)  # a calm is from nowhere
            if most > peak or (most > 0 and _turned(found["from"], direction)):
                what = f"wind expected ({kind} {word})"
                yield what if kind else f"another wind ({word})"
    yield from (f"{what} expected" for what in sky.poor_sky(trend.split()))


_SPAN: Final = re.compile(
    r"(?<!\S)(?:(?:TAF|AMD|COR) )*[A-Z][A-Z0-9]{3} \d{6}Z \d{4}/\d{4}(?!\S)|\d{4}/\d{4}(?!\S)"
)
"""The head of a forecast, and the hours of a part of one."""


def expected(trend: str) -> Iterator[str]:
    """Name what else is expected beside winds, and what of it nobody understands.

    Examples
    --------
    >>> list(expected(" TEMPO 1315/1317 26025G45KT TSRA SCT030CB"))
    ['expected: a thunderstorm (TSRA)', 'expected: a storm cloud (SCT030CB)']
    >>> list(expected(" BECMG 24040 KT"))
    ['expected: what was not understood (24040 KT)']
    """
    said = _TREND.sub(" ", _SPAN.sub(" ", trend))
    for what in beside_the_wind(said, ""):
        name, _, group = what.partition(" (")
        yield f"expected: {name} ({group}"


def _turned(coded: str, direction: float | None) -> bool:
    """Return whether a wind expected comes from elsewhere."""
    if not coded.isdigit() or direction is None:
        return False  # no stronger, and from anywhere: the verdict has its own spread
    off = abs((float(coded) - math.degrees(direction) + 180) % 360 - 180)
    return off > TURNED
