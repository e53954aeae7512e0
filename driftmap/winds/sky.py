"""What aerodromes' reports and forecasts tell of the sky: cloud, visibility, ceilings in remarks.

Coding as in WMO FM 15 and FM 51 and the United States' practice (FMH-1 ch. 12), read in
secondary copies.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from types import MappingProxyType
from typing import Final

from driftmap.core.units import FOOT, MILE

POOR: Final = 5000.0
"""Visibility below which what comes down may not be seen [m]. Common practice, no source."""

_LOW: Final = 5000 * FOOT
"""Height below which cloud expected counts, as in CAVOK (WMO FM 15, in secondary copies)."""

_UNSEEN: Final = "///"  # an amount that the instrument does not tell

_AMOUNTS: Final = MappingProxyType(
    {"FEW": 2 / 8, "SCT": 4 / 8, "BKN": 7 / 8, "OVC": 1.0, "VV": 1.0, _UNSEEN: 1.0}
)
"""Most cloud that each word can mean (WMO FM 15 and FMH-1, in secondary copies); an automatic
station may tell a height and not how much."""

_CEILING: Final = 5 / 8  # of the sky: from here on a layer is a ceiling (FMH-1)
_LAYER: Final = re.compile(r"(FEW|SCT|BKN|OVC|VV|///(?=\d))(\d{3}|///)(?:CB|TCU|///)?")
_MILES: Final = re.compile(r"([PM])?(\d+)(?:/([1-9]\d?))?SM")
_SIGHT: Final = r"M?(?:\d \d/\d{1,2}|\d{1,2}/\d{1,2}|\d{1,2})"
_RUNWAYS: Final = r"(?: RWY\d\d[LCR]?)?(?!\S)"
REMARKED: Final = re.compile(
    r"\b(?:(?:SFC|TWR) )?VIS(?: [NSEW]{1,2}(?:-[NSEW]{1,2})*)? "
    rf"({_SIGHT})(?:V{_SIGHT})?{_RUNWAYS}"
)
CEILINGS: Final = re.compile(rf"\bCIG (\d{{3}})(?:V\d{{3}})?{_RUNWAYS}")
"""Visibility in statute miles and ceiling in hundreds of feet, of the tower, a side or a
runway, or the least of what they vary between (FMH-1 ch. 12, from memory)."""

_METRES: Final = re.compile(r"(\d{4})(?:NDV|[NS]?[EW]|[NS])?")
"""All about, or the least with the side where it is."""

_RUNWAY: Final = re.compile(r"R\d\d[LCR]{0,2}/M?(\d{4})(?!\d)\S*")
"""Sight along a runway; what is more than can be told (P) says nothing, nor do the six figures of
what lies on it."""


def cloud_cover(words: Sequence[str]) -> float | None:
    """Return the share of sky in the fullest layer, the most that a report can mean.

    None where nothing is said of all of the sky: CAVOK, NSC and NCD leave high or unseen
    cloud out.

    Examples
    --------
    >>> cloud_cover("24008KT 10SM FEW030 SCT250".split())
    0.5
    """
    layers = [m[1] for word in words if (m := _LAYER.fullmatch(word))]
    seen = max((_AMOUNTS[one] for one in layers if one != _UNSEEN), default=0.0)
    if _UNSEEN in layers and seen < _CEILING:
        return None
    if layers:
        return seen
    return 0.0 if {"SKC", "CLR"} & set(words) else None


def also_in_remarks(words: Sequence[str], remarks: str) -> list[str]:
    """Write the visibility and ceilings of remarks as groups behind those of a report.

    Examples
    --------
    >>> also_in_remarks(["24005KT"], "TWR VIS 1 1/2V3 CIG 008V012")
    ['24005KT', '1', '1/2SM', 'OVC008']
    """
    sight = [f"{found[1]}SM" for found in REMARKED.finditer(remarks)]
    base = [f"OVC{found[1]}" for found in CEILINGS.finditer(remarks)]
    return [*words, *" ".join((*sight, *base)).split()]


def cloud_base(words: Sequence[str], least: float = _CEILING) -> float | None:
    """Return the height of the lowest layer that hides most of the sky, or `least` of it [m].

    Above the station; 0 where the report does not tell its height, None without one.

    Examples
    --------
    >>> cloud_base("24008KT 1SM FEW002 BKN005 OVC010".split())
    152.4
    """
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
    """Return the least visibility that a report can mean [m]; 10 km stands for more too.

    Examples
    --------
    >>> visibility("24008KT 1 1/2SM BR OVC005".split())
    2414.016
    """
    return min(_told(words), default=None)


def poor_sky(words: Sequence[str]) -> Iterator[str]:
    """Name low cloud and poor sight among what is expected."""
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
            yield 0.0 if found[1] == "M" else (whole + miles) * MILE
        elif found := _METRES.fullmatch(word):
            yield 10_000.0 if found[1] == "9999" else float(found[1])
        elif found := _RUNWAY.fullmatch(word):
            yield float(found[1]) * (FOOT if "FT" in word else 1.0)
