"""One entry of the log: plain data with a digest of its own."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import UTC, datetime
from typing import Any, Final
from uuid import uuid4

ENTRY_KINDS: Final = ("assessment", "outcome")
"""What an entry can be: a verdict as it was given, or what came of it."""


def canonical(data: object) -> str:
    """Write plain data as JSON, the same bytes for the same data.

    ``data``: dicts, lists, text, finite numbers, booleans, None.
    """
    return json.dumps(
        data, sort_keys=True, separators=(",", ":"), allow_nan=False, ensure_ascii=False
    )


@dataclass(frozen=True, slots=True)
class Content:
    """The bytes of an input, known by their digest, and the name of their file."""

    name: str
    data: bytes = field(repr=False)

    @property
    def digest(self) -> str:
        """SHA-256 of the bytes."""
        return hashlib.sha256(self.data).hexdigest()


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry; nothing in it is ever changed.

    Its name is 32 hexadecimal digits, `at` when it was written, UTC (ISO 8601), `kind` one of
    `ENTRY_KINDS`; `about` the assessment that an outcome belongs to, `corrects` the entry it takes
    the place of; `contents` digests of contents by what they are: flight, site, wind.
    """

    id: str
    at: str
    kind: str
    about: str | None
    corrects: str | None
    body: Mapping[str, Any]
    contents: Mapping[str, str] = field(default_factory=dict)

    @property
    def plain(self) -> dict[str, Any]:
        """The entry as plain data."""
        return {each.name: getattr(self, each.name) for each in fields(self)}

    @property
    def digest(self) -> str:
        """SHA-256 of all it says."""
        return hashlib.sha256(canonical(self.plain).encode()).hexdigest()


def new_entry(
    kind: str,
    body: Mapping[str, Any],
    *,
    about: str | None = None,
    corrects: str | None = None,
    contents: Mapping[str, str] | None = None,
) -> Entry:
    """Make an entry of this moment.

    ``about``: the assessment it belongs to; ``corrects``: the entry it takes the place
    of; ``contents``: digests of contents by what they are.
    """
    now = datetime.now(UTC).isoformat(timespec="milliseconds")
    return Entry(uuid4().hex, now, kind, about, corrects, body, contents or {})


def holding(entries: Iterable[Entry]) -> list[Entry]:
    """Keep the entries that hold: each correction in the place of what it corrects.

    ``entries``: all entries, in the order of writing.

    Result: in the order in which the originals were written.
    """
    origin: dict[str, str] = {}
    latest: dict[str, Entry] = {}
    for entry in entries:
        first = entry.id if entry.corrects is None else origin[entry.corrects]
        origin[entry.id] = first
        latest[first] = entry
    return list(latest.values())


def check_entry(entry: Entry) -> None:
    """Refuse an entry that those who read the log could not read, whoever wrote it.

    ``entry``: its digest may fit all the same.

    Raises `ValueError` for what is not as an entry has it.
    """
    for key in ("id", "at", "kind"):
        if not isinstance(getattr(entry, key), str):
            raise ValueError(f"{key!r} must be text")
    datetime.fromisoformat(entry.at)
    if entry.id in {entry.about, entry.corrects}:
        raise ValueError("an entry cannot speak of itself")
    try:
        _check_body(entry.body)
    except (KeyError, TypeError, AttributeError, ValueError) as problem:
        fault = f"{type(problem).__name__}: {problem}"
        text = f"is no {entry.kind} as they are written here ({fault})"
        raise ValueError(text) from None


def _check_body(body: Mapping[str, Any]) -> None:
    """Go through what is read of a body by its parts."""
    for key in ("case", "device", "verdict", "flight", "site", "wind"):
        if not isinstance(body.get(key, ""), str):
            raise TypeError(f"{key} must be text")
    for find in body.get("found", []):
        _check_place("found", find["at"])
        if not isinstance(find["piece"], str):
            raise TypeError("piece must be text")
        _within("error_m", find.get("error_m", 0.0), 0.0, 1e6)
    _check_wind(body)
    _check_lines(body)
    for case in body.get("forecast", []):
        _within("probability", case["probability"], 0.0, 1.0)
        if not (isinstance(case["case"], str) and isinstance(case["cause"], str)):
            raise TypeError("a case has a name and a cause")
        _check_landings(case["pieces"])
    _check_place("place", body.get("place", (0.0, 0.0)))
    for likelihood in body.get("likelihoods", {}).values():
        _within("likelihood", likelihood, 0.0, 1.0)
    float(body.get("wind_age_h") or 0.0)
    if body.get("when") is not None:
        year = datetime.fromisoformat(body["when"]).year
        _within("year of when", year, *_YEARS)


_YEARS: Final = (1970, 2200)
_FASTEST: Final = 200.0  # m/s; no wind near the ground


def _check_wind(body: Mapping[str, Any]) -> None:
    """Check the wind near the ground, and the kinds of what told it."""
    near = body.get("wind_10_m", {})
    if near:
        _within("speed_mps", near["speed_mps"], 0.0, _FASTEST)
        _within("gust_above_mps", near.get("gust_above_mps", 0.0), 0.0, _FASTEST)
        _within("from_rad", near.get("from_rad", 0.0), -10.0, 10.0)
    kinds = body.get("wind_kinds", [])
    if not (isinstance(kinds, list) and all(isinstance(kind, str) for kind in kinds)):
        raise TypeError("wind_kinds must be a list of text")


def _check_place(name: str, pair: Sequence[object]) -> None:
    latitude, longitude = pair
    _within(f"latitude of {name}", latitude, -90.0, 90.0)
    _within(f"longitude of {name}", longitude, -180.0, 180.0)


def _check_landings(pieces: Mapping[str, Sequence[Sequence[object]]]) -> None:
    for points in pieces.values():
        if not isinstance(points, list) or not points:
            raise TypeError("a piece has a list of landings")
        for east, north in points:
            _within("east", east, -1e6, 1e6)
            _within("north", north, -1e6, 1e6)


def _check_lines(body: Mapping[str, Any]) -> None:
    """Check what is read of the lines of a verdict."""
    for check in body.get("checks", []):
        if not all(isinstance(check[key], str) for key in ("kind", "outcome", "name")):
            raise TypeError("kind, outcome and name of a check must be text")


def _within(name: str, value: object, least: float, most: float) -> None:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not (number and least <= value <= most):  # type: ignore[operator]
        raise ValueError(
            f"{name} must lie from {least:g} to {most:g} (got {value!r:.40})"
        )
