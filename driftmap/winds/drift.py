"""The wind of an earlier fall, in words: "drifted 350 m toward 60 from 900 m in 120 s"."""

from __future__ import annotations

import math
import re
from typing import Final

from driftmap.air.wind import WindLevel
from driftmap.core import units
from driftmap.core.errors import WindError, at, located
from driftmap.winds.plain_words import bearing_of, split_time
from driftmap.winds.reading import Reading, Setting, check_speed
from driftmap.winds.text import above_zero
from driftmap.winds.track import GLIDE_ERROR

_LEAN: Final = 0.09
"""How far apogee may lie beside the pad, as a share of its height, a component: a lean of
5 degrees; assumed."""

_WORDS: Final = re.compile(
    r"drift(?:ed)?\s+(?P<way>[\d.,]+\s*[a-z]+)\s+towards?\s+(?P<toward>[\w.-]+?)\s*(?:°|deg)?\s+"
    r"from\s+(?P<height>[\d.,]+\s*[a-z]+)\s+in\s+(?P<time>[\d.,]+\s*[a-z]+)",
    re.IGNORECASE,
)


def looks_like_drift(text: str) -> bool:
    """Return whether it is one line that begins with "drift"."""
    return bool(re.match(r"\s*drift", text, re.IGNORECASE)) and "\n" not in text.strip()


def read_drift(text: str, source: str, setting: Setting) -> Reading:
    """Read ``drifted DISTANCE toward BEARING from APOGEE in TIME [N min ago | at 14:05]``.

    From the pad to where it landed, and from apogee to the ground under one canopy or
    streamer: one level at half the height, where a steady fall is in the middle of its time.
    The sentence names itself.
    """
    del source
    name = " ".join(text.split())
    with located(name, "", WindError):
        valid, notes, rest = split_time(name, setting)
        found = _WORDS.fullmatch(rest.strip(" ,;."))
        if not found:
            raise ValueError(
                'accepted is "drifted 350 m toward 60 from 900 m in 120 s"'
            )
        level, spread = _drifted(found, name)
    return Reading(
        source=name,
        kind="aloft",
        levels=(level,),
        valid=valid,
        away=0.0,
        direction_error=spread if found["toward"].isalpha() else 0.0,
        assumed=(
            f"{name}: the mean wind of the fall, taken for that at half its height; apogee "
            "above the pad but for a lean of 5 degrees",
            *(f"{name}: {note}" for note in notes),
        ),
    )


def _drifted(found: re.Match[str], name: str) -> tuple[WindLevel, float]:
    """Return the mean wind of a fall, and the error of its direction [rad]."""
    with at("way"):
        way = units.parse(found["way"], "length")
    with at("height"):
        height = above_zero(found["height"], "length")
    with at("time"):
        seconds = above_zero(found["time"], "time")
    fall = height / seconds
    if not (10.0 <= height <= 30_000.0 and 1.0 <= fall <= 40.0):
        raise ValueError(
            f"falls at {fall:.3g} m/s from {height:.5g} m; accepted is a fall under a "
            "device, at 1 to 40 m/s from 10 m to 30 km"
        )
    with at("toward"):
        bearing, spread = bearing_of(found["toward"])
    came_from = (bearing + math.pi) % (2 * math.pi)
    error = math.hypot(_LEAN * fall, GLIDE_ERROR)
    speed = check_speed(way / seconds)
    return WindLevel(height / 2, came_from, speed, None, name, error=error), spread
