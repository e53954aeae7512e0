"""Cloud and visibility of a surface report, for the rules that set limits to them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from types import MappingProxyType
from typing import Final

__all__ = ["cloud_cover", "visibility"]

_MILE: Final = 1609.344  # m
_AMOUNTS: Final = MappingProxyType(
    {"FEW": 2 / 8, "SCT": 4 / 8, "BKN": 7 / 8, "OVC": 1.0, "VV": 1.0}
)
"""Most cloud that each word can mean (WMO FM 15 and FMH-1, in secondary copies)."""

_LAYER: Final = re.compile(r"(FEW|SCT|BKN|OVC|VV)(\d{3}|///)(?:CB|TCU|///)?")
_MILES: Final = re.compile(r"([PM])?(\d+)(?:/([1-9]\d?))?SM")
_METRES: Final = re.compile(r"(\d{4})(?:NDV)?")


def cloud_cover(words: Sequence[str]) -> float | None:
    """Give the most cloud that a report can mean.

    Parameters
    ----------
    words : sequence of str
        The observed part of the report.

    Returns
    -------
    float or None
        Share of the sky in the fullest layer; 0 for a sky called clear; None where
        nothing is said of all of it (as with CAVOK, NSC and NCD, which leave high or
        unseen cloud out).

    Examples
    --------
    >>> cloud_cover("24008KT 10SM FEW030 SCT250".split())
    0.5
    """
    layers = [_AMOUNTS[m[1]] for word in words if (m := _LAYER.fullmatch(word))]
    if layers:
        return max(layers)
    return 0.0 if {"SKC", "CLR"} & set(words) else None


def visibility(words: Sequence[str]) -> float | None:
    """Give the least visibility that a report can mean.

    Parameters
    ----------
    words : sequence of str
        The observed part of the report.

    Returns
    -------
    float or None
        The least of those told [m]; 10 km stands for 10 km or more; None where none is.

    Examples
    --------
    >>> visibility("24008KT 1 1/2SM BR OVC005".split())
    2414.016
    """
    return min(_told(words), default=None)


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
