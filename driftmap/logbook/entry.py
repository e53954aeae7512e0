"""One entry of the log: plain data with a digest of its own."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, Final
from uuid import uuid4

__all__ = ["KINDS", "Content", "Entry", "canonical", "new_entry"]

KINDS: Final = ("assessment", "outcome")
"""What an entry can be: a verdict as it was given, or what came of it."""


def canonical(data: object) -> str:
    """Write plain data as JSON, the same bytes for the same data.

    Parameters
    ----------
    data : object
        Dicts, lists, text, finite numbers, booleans, None.

    Returns
    -------
    str
        JSON without spaces, keys in order.
    """
    return json.dumps(
        data, sort_keys=True, separators=(",", ":"), allow_nan=False, ensure_ascii=False
    )


@dataclass(frozen=True, slots=True)
class Content:
    """The bytes of an input, known by their digest.

    Parameters
    ----------
    name : str
        Name of the file they came from.
    data : bytes
        The bytes.
    """

    name: str
    data: bytes = field(repr=False)

    @property
    def digest(self) -> str:
        """SHA-256 of the bytes."""
        return hashlib.sha256(self.data).hexdigest()


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry; nothing in it is ever changed.

    Parameters
    ----------
    id : str
        Its name, 32 hexadecimal digits.
    at : str
        When it was written, UTC (ISO 8601).
    kind : str
        One of `KINDS`.
    about : str or None
        The assessment that an outcome belongs to.
    corrects : str or None
        The entry it takes the place of.
    body : mapping
        What it says, as plain data.
    contents : mapping of str to str
        Digests of contents by what they are: flight, site, wind.
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
        return {
            "id": self.id,
            "at": self.at,
            "kind": self.kind,
            "about": self.about,
            "corrects": self.corrects,
            "body": dict(self.body),
            "contents": dict(self.contents),
        }

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

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    body : mapping
        What it says.
    about : str, optional
        The assessment it belongs to.
    corrects : str, optional
        The entry it takes the place of.
    contents : mapping of str to str, optional
        Digests of contents by what they are.

    Returns
    -------
    Entry
        With an id and a time.
    """
    now = datetime.now(UTC).isoformat(timespec="milliseconds")
    return Entry(uuid4().hex, now, kind, about, corrects, body, contents or {})
