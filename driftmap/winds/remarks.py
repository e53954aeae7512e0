"""What a surface report says beside its wind: peak wind, shift, shear, storms, trend.

Groups as in FMH-1 ch. 12 (remarks) and WMO FM 15 (recent weather, shear, trend), read in
secondary copies.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from driftmap.units import KNOT

__all__ = ["Peak", "beside_the_wind", "peak_wind", "split_report", "trend_winds"]

TURNED: Final = 30.0
"""A wind expected from farther off than this [deg] lands elsewhere; assumed."""

_TREND: Final = re.compile(r"\s(?:TEMPO|BECMG|INTER|PROB\d\d)\b")
_WEATHER: Final = re.compile(
    r"(?:[-+]|RE|VC)*(?P<what>TS(?!NO)|SQ|FC|PO|DS|SS)(?:[A-Z]{2})*"
)
_NAMES: Final = {
    "TS": "a thunderstorm",
    "SQ": "a squall",
    "FC": "a funnel cloud",
    "PO": "dust whirls",
    "DS": "a dust storm",
    "SS": "a sand storm",
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

_SIZE: Final = {"KT": KNOT, "MPS": 1.0, "KMH": 1 / 3.6}


@dataclass(frozen=True, slots=True)
class Peak:
    """The strongest wind since the report before.

    Parameters
    ----------
    direction : float
        Direction it came from [deg].
    speed : float
        Its speed [m s⁻¹].
    time : datetime
        When it blew, in UTC.
    """

    direction: float
    speed: float
    time: datetime


def split_report(body: str) -> tuple[str, str, str]:
    """Part a report into what was observed, what is expected, and its remarks.

    Parameters
    ----------
    body : str
        A report in capitals, after station and time.

    Returns
    -------
    observed, trend, remarks : str
        Each may be empty.

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
    """Find the peak wind.

    Parameters
    ----------
    remarks : str
        Remarks of a report.
    valid : datetime
        Time of the report.

    Returns
    -------
    Peak, str or None
        The peak; what stands there if it cannot be read; None when there is none.

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
    """Name what makes the mean wind no guide to the next hour.

    Parameters
    ----------
    observed, remarks : str
        Parts of a report, from `split_report`.

    Returns
    -------
    tuple of str
        A phrase each, with the group that says so.

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


def _beside(observed: str) -> str:
    """Give the groups of weather and cloud, clouds parted from the letters they end in."""
    return re.sub(r"(\d{3})(CB|TCU)\b", r"\1 \2", observed)


def trend_winds(trend: str, direction: float | None, peak: float) -> Iterator[str]:
    """Name the winds expected that are stronger than, or from elsewhere as, the one now.

    Parameters
    ----------
    trend : str
        Trend of a report, from `split_report`.
    direction : float or None
        Where the wind comes from now [rad]; None when variable.
    peak : float
        Its gust, or else its speed [m s⁻¹].

    Yields
    ------
    str
        A phrase each.

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


def _turned(coded: str, direction: float | None) -> bool:
    """Tell whether a wind expected comes from elsewhere."""
    if coded == "VRB" or direction is None:
        return False  # no stronger, and from anywhere: the verdict has its own spread
    off = abs((float(coded) - math.degrees(direction) + 180) % 360 - 180)
    return off > TURNED
