"""Files that hold the wind of many times, taken apart into one text for each."""

from __future__ import annotations

import json
from typing import Any

from driftmap.winds.forecast import looks_like_forecast
from driftmap.winds.igra import looks_like_igra

__all__ = ["each_time"]


def each_time(text: str) -> tuple[str, ...]:
    """Take a file apart by time.

    Parameters
    ----------
    text : str
        Text of a file: soundings one after the other, forecasts for several times, or
        any other.

    Returns
    -------
    tuple of str
        A text for each time, in the order of the file, that the reader of its format
        reads as a file of its own; the text itself where it cannot be taken apart, which
        the reader then explains.

    Examples
    --------
    >>> each_time('{"source": "model", "forecasts": [{"valid": 1}, {"valid": 2}]}')
    ('{"source": "model", "valid": 1}', '{"source": "model", "valid": 2}')
    """
    if looks_like_igra(text):
        return _soundings(text)
    if looks_like_forecast(text):
        return _forecasts(text)
    return (text,)


def _soundings(text: str) -> tuple[str, ...]:
    parts: list[list[str]] = []
    for line in text.splitlines():
        if line.startswith("#") or not parts:
            parts.append([])
        parts[-1].append(line)
    whole = ("\n".join(lines) for lines in parts)
    return tuple(part for part in whole if part.strip())


def _forecasts(text: str) -> tuple[str, ...]:
    try:
        document: Any = json.loads(text)
    except ValueError:
        return (text,)
    each = document.get("forecasts") if isinstance(document, dict) else None
    if not (isinstance(each, list) and all(isinstance(one, dict) for one in each)):
        return (text,)
    shared = {key: value for key, value in document.items() if key != "forecasts"}
    return tuple(json.dumps(shared | one) for one in each) or (text,)
