"""Parts of a model's output that are not read and may speak of wind or weather: they hold."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any, Final, NamedTuple

from driftmap.core.errors import PlacedError, quoted
from driftmap.winds.json_document import is_number
from driftmap.winds.reading import words
from driftmap.winds.text import meanings

COLUMN: Final = re.compile(
    r"(wind_speed|wind_gusts|wind_direction|geopotential_height|temperature)_"
    r"(\d{1,5})(m|hPa)"
)
"""Names of the columns by the hour that are read, of an answer of a service."""

MEANS: Final = meanings("arrays")
"""What names of arrays mean: keys of a level."""

ARRAY_GROUPS: Final = ("coords", "data_vars")
"""Where arrays stand, beside the top of a document."""

SIGHT: Final = "visibility"
"""The column by the hour that tells how far people see."""

WEATHER_CODES: Final = ("weather_code", "weathercode")
"""Columns by the hour that tell the weather."""

STORMS: Final = {17, 18, 19, 29, *range(95, 100)}
"""Codes of thunder, squalls and funnel clouds (WMO-No. 306, code table 4677, from memory)."""

FOG: Final = range(41, 50)
"""Codes of fog (the same table)."""

_OF_WIND: Final = re.compile(
    r"wind|gust|speed|direction|from_\w*deg|weather|storm|thunder|lightning|squall|shear|"
    r"beaufort|vmax|^(?:ff|fx|ws|gst)(?:_|\d|$)|^\d*[uv]grd|^\d+[uv]$|^[uv]_?\d+m?$|^[uv](?:_(?:mps|kt|mph|kmh))?$|fg\d*$",
    re.IGNORECASE,
)
"""Names of what tells of wind and weather, however it is told."""

_DESCRIBES: Final = re.compile(
    r"(?:title|institution|source|history|references|conventions|name|models?|run|created|"
    r"station|product|licen[sc]e|url|grid|id|version|attribution)(?:_(?:at|by|id|name|run))?|"
    r"(?:long|short|standard)_name|units|dims|dtype|calendar|axis|positive|grib_.*|"
    r"stored_direction",
    re.IGNORECASE,
)
"""Names of texts that tell where a file is from, or what an array is."""

_OF_ARRAYS: Final = re.compile(r"GRIB_\w+|stored_direction")
"""Names of what libraries tell of how an array was kept, of wind or not (from memory)."""

_MILD: Final = words("names")["mild"]
"""Words of names whose figures tell nothing of wind and weather, and words beside them."""

_SPEEDS: Final = words("units")["model"]["mps"]
_FAST: Final = re.compile(r"(?:^|[_ ])(?:m[_/]?s(?:_?-?1)?|km[_/]?h)(?:$|[_ ])")
"""A unit of speed within a name, whose letters alone are those of other units."""

_TIME: Final = re.compile(r"\d{4}-\d\d-\d\d(?:T[\d:.]+(?:Z|[-+]\d\d:\d\d)?)?")


def _says(name: str, kind: str) -> bool:
    """Return whether a name is made of words of one kind, and of those beside them."""
    said = re.findall(r"[a-z]+", name.lower())
    known = {*_MILD[kind], *_MILD["beside"]}
    return known.issuperset(said) and any(word in _MILD[kind] for word in said)


def _describes(name: str) -> bool:
    """Return whether a name is of a text that tells where, when and of what."""
    return bool(_DESCRIBES.fullmatch(name)) or _says(name, "when")


def is_harmless(name: str, unit: object = "") -> bool:
    """Return whether figures of this name are of no wind and weather: all of its words are known.

    What is told in a unit of speed never is.
    """
    bare = name.lower().strip("_")
    if isinstance(unit, str) and unit in _SPEEDS:
        return False
    if bare in _MILD["alone"] or _OF_ARRAYS.fullmatch(name):
        return True
    return not _FAST.search(bare) and (_describes(name) or _says(name, "of"))


def check_figure(cell: str, name: str) -> None:
    """Refuse words in a column of figures that nobody reads: they are a remark."""
    figure = re.fullmatch(
        r"[-+]?[\d.,]*(?:e[-+]?\d+)?|nan|na|null|none|m|-", cell, re.I
    )
    if not (figure or _describes(name)):
        text = f"says {quoted(cell)}, which is not read: take it out, and what it speaks of"
        raise PlacedError(name, text)


class _Member(NamedTuple):
    """A member of a document: its name, its value, and the unit of its figures."""

    name: str
    value: object
    unit: object = ""

    def inner(self) -> Iterator[_Member]:
        """List what lies in it; the values of an array go by the array's own name."""
        if isinstance(self.value, dict):
            unit = _unit_of(self.value)
            for key, one in self.value.items():
                yield _Member(self.name if key == "data" else key, one, unit)
        elif isinstance(self.value, list):
            for one in self.value:
                if isinstance(one, dict | list | str):
                    yield _Member(self.name, one, self.unit)

    def speaks(self) -> bool:
        """Return whether it may itself speak of wind or weather, whatever lies in it."""
        if isinstance(self.value, dict):
            return False
        if isinstance(self.value, str):
            harmless = not self.value or _TIME.fullmatch(self.value)
            return not (harmless or _describes(self.name))
        each = self.value if isinstance(self.value, list) else [self.value]
        return any(map(is_number, each)) and not is_harmless(self.name, self.unit)


def _unread(name: str, told: object, unit: object = "") -> Iterator[str]:
    """Name what may speak of wind or weather in what nobody reads, however deep it lies."""
    left = [_Member(name, told, unit)]
    while left:
        member = left.pop()
        shown = quoted(member.name)
        if _OF_WIND.search(member.name) and not _OF_ARRAYS.fullmatch(member.name):
            yield shown
            continue
        if member.speaks():
            text = isinstance(member.value, str)
            yield f"{shown} ({quoted(member.value)})" if text else shown
        left += reversed([*member.inner()])


def _unit_of(array: Mapping[str, Any]) -> object:
    """Return the unit that an array tells of itself."""
    attributes = array.get("attrs")
    told = attributes if isinstance(attributes, dict) else array
    return told.get("units", "")


def _only_units(name: str, told: object) -> bool:
    named = name == "units" or name.endswith("_units")
    return (
        named
        and isinstance(told, dict)
        and all(isinstance(unit, str) for unit in told.values())
    )


def unread_blocks(answer: Mapping[str, Any]) -> Iterator[str]:
    """Doubt an answer that tells of wind beside its columns by the hour, as of now or the day."""
    for block, held in answer.items():
        if not isinstance(held, dict):
            bare = isinstance(held, list | bool) and not _describes(block)
            if held and (bare or any(_unread(block, held))):
                yield f"{quoted(block)} is not read: what does it say of the wind?"
            continue
        names = [
            lost
            for name, told in held.items()
            if not _only_units(block, held)
            and not (block == "hourly" and (COLUMN.fullmatch(name) or name == SIGHT))
            and not (
                "weather" in name
                and _mild(told, read=block == "hourly" and name in WEATHER_CODES)
            )
            for lost in _unread(name, told, _units_of(answer, block).get(name, ""))
        ]
        if names:
            yield (
                f"its {quoted(block)[1:-1]} tells of {', '.join(names)[:80]}, which is not read: ask for hourly "
                "columns such as wind_speed_80m alone"
            )


def _units_of(answer: Mapping[str, Any], block: str) -> Mapping[str, object]:
    """Return the units of a block's columns, which stand beside it."""
    units = answer.get(f"{block}_units")
    return units if isinstance(units, dict) else {}


def _mild(codes: object, *, read: bool) -> bool:
    """Return whether codes of the weather are of no storm, or are read."""
    return all(
        code is None or (is_number(code) and (read or code not in STORMS))
        for code in (codes if isinstance(codes, list) else [codes])
    )


def unread_arrays(document: Mapping[str, Any]) -> Iterator[str]:
    """Doubt a text that nobody reads, and what by its name is of wind or weather."""
    for name, told in _beside_arrays(document):
        for lost in _unread(name, told):
            yield f"{lost} is not read: what does it say of the wind?"


def _beside_arrays(document: Mapping[str, Any]) -> Iterator[tuple[str, object]]:
    """Yield all that is no array with a meaning, also of such an array what is not its data."""
    groups = [
        part for key in ARRAY_GROUPS if isinstance(part := document.get(key), dict)
    ]
    for part in (document, *groups):
        for name, told in part.items():
            if name in MEANS or name == "time":
                if isinstance(told, dict):
                    yield from ((k, v) for k, v in told.items() if k != "data")
            elif not any(told is group for group in groups) and not _only_units(
                name, told
            ):
                yield name, told
