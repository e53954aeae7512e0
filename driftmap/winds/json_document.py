"""Checked values of a JSON document of winds; a mistake names its place."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any, TypeGuard

from driftmap.core.errors import PlacedError, WindError, at
from driftmap.core.files import parse_json
from driftmap.core.tables import nearest_name
from driftmap.winds.reading import Setting, held_to_site
from driftmap.winds.text import read_time

_MOST_LEVELS = 20_000


def load_document(text: str, source: str) -> dict[str, Any]:
    """Read a JSON document of winds: an object, or a bare list, taken for its levels."""
    whole = parse_json(text, source, WindError)
    return as_object({"levels": whole} if isinstance(whole, list) else whole, "")


def as_object(value: object, where: str) -> dict[str, Any]:
    """Take a value for an object."""
    if not isinstance(value, dict):
        raise PlacedError(where or "the document", "must be an object in braces")
    return value


def as_list(value: object, where: str, most: int = _MOST_LEVELS) -> list[Any]:
    """Take a value for a list that is not empty."""
    if not isinstance(value, list) or not 0 < len(value) <= most:
        raise PlacedError(where, f"must be a list of 1 to {most}")
    return value


def objects_of(
    held: Mapping[str, Any], key: str, where: str, most: int = _MOST_LEVELS
) -> list[tuple[str, dict[str, Any]]]:
    """Take ``levels``, ``members`` and their like for objects, each with its place."""
    each = as_list(held.get(key), f"{where} {key}".strip(), most)
    places = [f"{where} {key[:-1]} {i}".strip() for i, _ in enumerate(each, 1)]
    return [
        (place, as_object(one, place)) for place, one in zip(places, each, strict=True)
    ]


def check_keys(given: dict[str, Any], accepted: tuple[str, ...], where: str) -> None:
    """Refuse a key that is not known, with the nearest that is."""
    for key in given:
        if key not in accepted:
            raise PlacedError(where, f"unknown key {nearest_name(key, accepted)}")


def as_time(document: Mapping[str, Any], key: str, where: str) -> datetime | None:
    """Take a value for a time with its zone; None where it is missing or null."""
    value = document.get(key)
    if value is None:
        return None
    with at(f"{where} {key}".strip()):
        return read_time(str(value))


def as_number(value: object, key: str, low: float = -1e9, high: float = 1e9) -> float:
    """Take a value for a finite number."""
    if not (is_number(value) and low <= value <= high):
        text = "a finite number" if high >= 1e9 else f"{low:g} to {high:g}"
        shown = f"{value:g}" if is_number(value) else repr(str(value)[:40])
        raise ValueError(f"{key} {shown}; accepted is {text}")
    return float(value)


def is_number(value: object) -> TypeGuard[float]:
    """Return whether a value of a document is a number, and a finite one."""
    return (
        isinstance(value, int | float)
        and value is not True
        and value is not False
        and -1e9 < value < 1e9
    )


def check_place(
    held: Mapping[str, Any], setting: Setting, source: str, where: str = ""
) -> tuple[str, tuple[str, ...], float]:
    """Hold the place that a document tells against the site's, as `held_to_site` does."""
    with at(where):
        told = held.get("latitude") is not None or held.get("longitude") is not None
        return held_to_site(stated_point(held) if told else None, setting, source)


def stated_point(held: Mapping[str, Any]) -> tuple[float, float]:
    """Return the latitude and longitude that a document tells [deg]."""
    return (
        as_number(held.get("latitude"), "latitude", -90.0, 90.0),
        as_number(held.get("longitude"), "longitude", -180.0, 180.0),
    )
