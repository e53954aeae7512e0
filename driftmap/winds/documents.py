"""Checks that every JSON document of winds goes through, each failure by its place."""

from __future__ import annotations

import json
import math
from datetime import datetime
from typing import Any

from driftmap.errors import WindError
from driftmap.winds.layers import nearest_name
from driftmap.winds.times import parse_time

__all__ = [
    "as_list",
    "as_number",
    "as_object",
    "as_time",
    "check_keys",
    "load_document",
]

_MOST_LEVELS = 20_000


def load_document(text: str, source: str) -> object:
    """Read a JSON document.

    Parameters
    ----------
    text : str
        The document.
    source : str
        For the message.

    Returns
    -------
    object
        What it holds.

    Raises
    ------
    WindError
        If it is not JSON, or holds NaN, an infinity, or a key twice.
    """

    def refuse(name: str) -> None:
        raise WindError(source, "", f"{name} is no number; write null or leave it out")

    def once(pairs: list[tuple[str, object]]) -> dict[str, object]:
        held = dict(pairs)
        if len(held) < len(pairs):
            keys = [key for key, _ in pairs]
            twice = next(key for key in held if keys.count(key) > 1)
            raise WindError(source, "", f"key {twice[:40]!r} stands twice")
        return held

    try:
        return json.loads(text, parse_constant=refuse, object_pairs_hook=once)
    except json.JSONDecodeError as problem:
        raise WindError(
            source, f"line {problem.lineno}", f"not JSON ({problem.msg})"
        ) from None
    except (RecursionError, ValueError):
        raise WindError(source, "", "not JSON that can be read") from None


def as_object(value: object, source: str, where: str) -> dict[str, Any]:
    """Take a value for an object.

    Parameters
    ----------
    value : object
        Whatever JSON holds.
    source, where : str
        For the message.

    Returns
    -------
    dict
        The object.

    Raises
    ------
    WindError
        If it is no object.
    """
    if not isinstance(value, dict):
        raise WindError(source, where, "must be an object in braces")
    return value


def as_list(
    value: object, source: str, where: str, most: int = _MOST_LEVELS
) -> list[Any]:
    """Take a value for a list that is not empty.

    Parameters
    ----------
    value : object
        Whatever JSON holds.
    source, where : str
        For the message.
    most : int
        Most members.

    Returns
    -------
    list
        The list.

    Raises
    ------
    WindError
        If it is no list, or an empty or too long one.
    """
    if not isinstance(value, list) or not 0 < len(value) <= most:
        raise WindError(source, where, f"must be a list of 1 to {most}")
    return value


def check_keys(
    given: dict[str, Any], accepted: tuple[str, ...], source: str, where: str
) -> None:
    """Refuse a key that is not known, with the nearest that is.

    Parameters
    ----------
    given : dict
        An object.
    accepted : tuple of str
        Keys that are known.
    source, where : str
        For the message.

    Raises
    ------
    WindError
        If a key is not known.
    """
    for key in given:
        if key not in accepted:
            raise WindError(source, where, f"unknown key {nearest_name(key, accepted)}")


def as_time(
    document: dict[str, Any], key: str, source: str, where: str
) -> datetime | None:
    """Take a value for a time, or for none.

    Parameters
    ----------
    document : dict
        An object.
    key : str
        Its key.
    source, where : str
        For the message.

    Returns
    -------
    datetime or None
        With its zone; None where the key is missing or null.

    Raises
    ------
    WindError
        If it is no time with a zone.
    """
    value = document.get(key)
    if value is None:
        return None
    try:
        return parse_time(str(value))
    except ValueError:
        raise WindError(
            source,
            f"{where} {key}".strip(),
            f"{str(value)[:40]!r}; accepted is such as '2026-05-09T18:00Z'",
        ) from None


def as_number(value: object, key: str, source: str, where: str) -> float:
    """Take a value for a finite number.

    Parameters
    ----------
    value : object
        Whatever JSON holds.
    key : str
        Its key.
    source, where : str
        For the message.

    Returns
    -------
    float
        The number.

    Raises
    ------
    WindError
        If it is no finite number.
    """
    good = isinstance(value, int | float) and not isinstance(value, bool)
    if not good or abs(value) > 1e9 or not math.isfinite(value):  # type: ignore[arg-type]
        raise WindError(
            source, where, f"{key} {str(value)[:40]!r}; accepted is a finite number"
        )
    return float(value)  # type: ignore[arg-type]
