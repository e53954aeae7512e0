"""A wind as rows for a person, and as the document that `driftmap winds` prints."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from driftmap import units
from driftmap.air.wind import WindLevel, WindProfile, direction_and_speed
from driftmap.winds.reading import Reading

__all__ = ["decoded_document", "levels_of", "text_table", "wind_document"]

Document = dict[str, object]


def levels_of(wind: WindProfile) -> tuple[WindLevel, ...]:
    """Give the levels of a wind as a person reads them.

    Parameters
    ----------
    wind : WindProfile
        Any wind.

    Returns
    -------
    tuple of WindLevel
        As read, or made from the layers up to `known_to` where nothing was read.
    """
    if wind.levels:
        return wind.levels
    direction, speed = direction_and_speed(wind.east, wind.north)
    return tuple(
        WindLevel(float(z), float(d), float(v), None, wind.source)
        for z, d, v in zip(wind.height, direction, speed, strict=True)
        if z <= wind.known_to
    )


def _row(level: WindLevel) -> Document:
    # Six decimals hide the rounding of unit conversions, nothing more.
    return {
        "height_agl_m": round(level.height, 6),
        "from_deg": None
        if level.direction is None
        else round(math.degrees(level.direction), 6),
        "speed_mps": round(level.speed, 6),
        "gust_mps": None if level.gust is None else round(level.gust, 6),
        "source": level.source,
    }


def wind_document(wind: WindProfile) -> Document:
    """Describe a merged wind.

    Parameters
    ----------
    wind : WindProfile
        Any wind.

    Returns
    -------
    dict
        ``levels``, ``sources`` and ``assumed``, ready for JSON.
    """
    return {
        "levels": [_row(level) for level in levels_of(wind)],
        "sources": [part for part in wind.source.split("; ") if part],
        "assumed": list(wind.assumed),
    }


def decoded_document(readings: Sequence[Reading]) -> Document:
    """Describe what each report says by itself.

    Parameters
    ----------
    readings : sequence of Reading
        Before merging.

    Returns
    -------
    dict
        The same keys as `wind_document`.
    """
    return {
        "levels": [_row(level) for reading in readings for level in reading.levels],
        "sources": [reading.source for reading in readings],
        "assumed": list(
            dict.fromkeys(note for reading in readings for note in reading.assumed)
        ),
    }


def text_table(levels: Iterable[WindLevel], system: str) -> str:
    """Set levels as a table, the highest first, as the sky is.

    Parameters
    ----------
    levels : iterable of WindLevel
        Levels to show.
    system : {"us", "si"}
        Units the reader picked.

    Returns
    -------
    str
        Lines of text.
    """
    head = ("height", "from", "speed", "gust", "source")
    rows = [_cells(level, system) for level in reversed(list(levels))]
    widths = [max(len(row[i]) for row in (head, *rows)) for i in range(4)]
    return "\n".join(
        "  ".join([*(c.rjust(w) for c, w in zip(row, widths, strict=False)), row[4]])
        for row in (head, *rows)
    )


def _cells(level: WindLevel, system: str) -> tuple[str, ...]:
    if level.speed == 0:
        bearing = "calm"
    elif level.direction is None:
        bearing = "variable"
    else:
        bearing = f"{round(math.degrees(level.direction)) or 360:03d}°"
    return (
        units.show(level.height, "length", system),
        bearing,
        units.show(level.speed, "speed", system),
        "" if level.gust is None else units.show(level.gust, "speed", system),
        "".join(c if c.isprintable() else "?" for c in level.source),
    )
