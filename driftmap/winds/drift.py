"""The drift of the flight before: how far it came down from where it went up.

"drifted 350 m toward 60 from 900 m in 120 s": the club's free sounding.
"""

from __future__ import annotations

import math
import re
from typing import Final

from driftmap import units
from driftmap.air.wind import WindLevel
from driftmap.errors import WindError
from driftmap.winds.reading import Reading, Setting, check_direction, check_speed
from driftmap.winds.words import when_said

__all__ = ["looks_like_drift", "read_drift"]

LEAN: Final = 0.09
"""How far apogee may lie beside the pad, as a share of its height, a component: a lean of
5 degrees; assumed."""

GLIDE: Final = 0.7
"""Error of a component for how a body under its canopy glides [m s⁻¹]; assumed."""

_WORDS: Final = re.compile(
    r"drift(?:ed)?\s+(?P<way>[\d.,]+\s*[a-z]+)\s+toward\s+(?P<toward>[\d.]+)\s*(?:°|deg)?\s+"
    r"from\s+(?P<height>[\d.,]+\s*[a-z]+)\s+in\s+(?P<time>[\d.,]+\s*[a-z]+)",
    re.IGNORECASE,
)


def looks_like_drift(text: str) -> bool:
    """Tell whether a text is such a sentence.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    bool
        Whether it is one line that begins with "drift".
    """
    return bool(re.match(r"\s*drift", text, re.IGNORECASE)) and "\n" not in text.strip()


def read_drift(text: str, source: str, setting: Setting) -> Reading:
    """Read the mean wind of a descent.

    Parameters
    ----------
    text : str
        ``drifted DISTANCE toward BEARING from APOGEE in TIME [N min ago | at 14:05]``: from
        the pad to where it landed, the height of apogee, and the time from apogee to the
        ground under one canopy or streamer.
    source : str
        Not used: the sentence names itself.
    setting : Setting
        Time of the flight.

    Returns
    -------
    Reading
        One level at half the height, where a steady fall is in the middle of its time.

    Raises
    ------
    WindError
        If the sentence cannot be read.
    """
    del source
    name = " ".join(text.split())
    valid, notes, rest = when_said(name, setting)
    found = _WORDS.fullmatch(rest.strip(" ,;."))
    if not found:
        raise WindError(
            name, "", 'accepted is "drifted 350 m toward 60 from 900 m in 120 s"'
        )
    way, height = (_quantity(found, key, "length", name) for key in ("way", "height"))
    seconds = _quantity(found, "time", "time", name)
    fall = height / seconds
    if not (10.0 <= height <= 30_000.0 and 1.0 <= fall <= 40.0):
        raise WindError(
            name,
            "",
            f"falls at {fall:.3g} m/s from {height:.5g} m; accepted is a fall under a "
            "device, at 1 to 40 m/s from 10 m to 30 km",
        )
    bearing = check_direction(float(found["toward"]), name, "toward")
    speed = check_speed(way / seconds, name, "")
    error = math.hypot(LEAN * height / seconds, GLIDE)
    level = WindLevel(
        height / 2, (bearing + math.pi) % (2 * math.pi), speed, None, name, error=error
    )
    return Reading(
        source=name,
        kind="aloft",
        levels=(level,),
        valid=valid,
        assumed=(
            f"{name}: the mean wind of the fall, taken for that at half its height; apogee "
            "above the pad but for a lean of 5 degrees",
            *notes,
        ),
    )


def _quantity(found: re.Match[str], key: str, dimension: str, source: str) -> float:
    try:
        value = units.parse(found[key], dimension)
    except ValueError as problem:
        raise WindError(source, key, str(problem)) from None
    if not value > 0 and key != "way":
        raise WindError(source, key, "must be above 0")
    return value
