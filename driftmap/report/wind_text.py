"""The wind as it was read, and what it is at the height of a mast."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

from driftmap.air.wind import (
    HEAD,
    MAST,
    NEAR_GROUND,
    WindLevel,
    WindProfile,
    reported_at,
)
from driftmap.planning.wind_margin import WindMargin
from driftmap.report.page import script_constant, text_of
from driftmap.report.voice import Voice
from driftmap.report.words import clock_at, flown_at, rounded_down, rounded_up
from driftmap.verdict.assessment import Assessment, good_between
from driftmap.verdict.reading_value import Worth

_SLACK: Final = 0.05
"""Of a step: a figure that is told rounded counts as reached this near."""

CALM: Final = 0.05
"""Speed up to which there is no wind to speak of [m s⁻¹]."""

_HEAD: Final = (1.0, 2.6)  # m; where a person holds a meter

_NO_HELP: Final = 0.95
"""Share of the ground that the best reading leaves: from here on it is told that none helps."""


def wind_as_read(wind: WindProfile) -> tuple[WindLevel, WindLevel]:
    """Return the wind as it was read lowest, and the wind at `MAST`.

    Result: where nothing was read near the ground, the first is the wind at head height
    as the profile has it; what nobody read has no source. Its gust is the one that counts,
    of whichever report.
    """
    read = [
        level
        for level in wind.levels
        if level.height <= NEAR_GROUND and not level.carried
    ]
    lowest = min(read, key=lambda level: level.height, default=_at(wind, HEAD))
    gust = lowest.speed + wind.gust if wind.gust else lowest.gust
    return replace(lowest, gust=gust), _at(wind, MAST)


def _at(wind: WindProfile, height: float) -> WindLevel:
    direction, speed = (float(v) for v in reported_at(wind, height))
    known = None if math.isnan(direction) else direction
    return WindLevel(height, known, speed, None, "")


def wind_in_words(
    wind: WindProfile, voice: Voice, when: datetime | None = None
) -> tuple[str, str, str]:
    r"""Say the wind in words: as read, what it is at `MAST`, and when it was read.

    ``when``: of the flight; its wind is then told by the time of day it was read at, for whoever
    flies later reckons from that.

    Examples
    --------
    >>> from driftmap.report.voice import english
    >>> from driftmap.winds.profile import read_wind
    >>> wind_in_words(read_wind("9 mph from 240", site_altitude=0.0), english("us"))[0]
    'Wind 9\xa0mph from the south-west (240°) at head height'
    """
    read, mast = wind_as_read(wind)
    if read.speed <= CALM:
        text = voice.say("verdict.calm")
    elif read.direction is None:
        text = voice.say("verdict.varying", speed=voice.speed(read.speed))
    else:
        text = voice.say(
            "verdict.wind",
            compass=voice.compass(read.direction),
            degrees=f"{round(math.degrees(read.direction)) % 360 or 360:03d}",
            speed=voice.speed(read.speed),
        )
    text += f" {where_read(read, voice)}"
    if read.gust:
        text += voice.say("verdict.gust", speed=voice.speed(read.gust))
    if not read.source:
        text += f"; {voice.say('head.not_read')}"
    height = voice.distance(mast.height)
    high = voice.say("verdict.mast", speed=voice.speed(mast.speed), height=height)
    return text, high, _age(wind, voice, when)


def flown_in(wind: WindProfile, when: datetime | None, voice: Voice) -> list[str]:
    """Say in which wind, and at what time, a plan was flown."""
    told, high, age = wind_in_words(wind, voice)
    return [f"{told} ({high}. {age})", flown_at(when)]


def _age(wind: WindProfile, voice: Voice, when: datetime | None) -> str:
    if wind.foretold:
        return voice.say("verdict.age_foretold")
    if wind.age is None:
        return voice.say("verdict.age_unknown")
    minutes = round(wind.age * 60)
    if minutes < 1:
        return voice.say("verdict.age_none")
    # The oldest of several counts, which need not be the one told as read.
    several = len({v.source for v in wind.levels if not v.carried}) > 1
    if when is not None and not several:
        read = when - timedelta(minutes=minutes)
        time = f"{read:%H:%M}"
        return voice.say("verdict.age_at", time=time, minutes=voice.count(minutes))
    key = "verdict.age_oldest" if several else "verdict.age"
    return voice.say(key, minutes=voice.count(minutes))


def comes_from(direction: float | None, speed: float, voice: Voice) -> str:
    """Say where a wind comes from; no number stands for from all sides."""
    if speed <= CALM:
        return voice.say("figure.calm")
    if direction is None or math.isnan(direction):
        return voice.say("figure.all_sides")
    return voice.bearing(direction)


def where_read(read: WindLevel, voice: Voice) -> str:
    """Say at which height a wind was read; head height by that name."""
    if _HEAD[0] <= read.height <= _HEAD[1]:
        return voice.say("verdict.at_head")
    return voice.say("verdict.at_height", height=voice.distance(read.height))


def more_wind_text(worths: Sequence[Worth], voice: Voice) -> str:
    """Say which one reading of the wind more would help most, and by how much.

    Result: a sentence; empty where nothing is known of it.
    """
    if not worths:
        return ""
    best = worths[0]
    if best.left > _NO_HELP:
        return voice.say("more.none")
    return voice.say(
        "more.best",
        reading=voice.say(f"more.{best.reading}"),
        share=voice.percent(1 - best.left),
    )


def stops_at(wind: WindProfile, around: WindMargin, voice: Voice) -> str:
    """Say at which reading of the meter a verdict stops being known.

    ``wind``: the wind that was judged; ``around``: what was judged about it.

    Result: speeds rounded toward the reading, and bearings; empty where the wind was
    read from no one direction.
    """
    read, _ = wind_as_read(wind)
    if read.direction is None:
        return ""
    least = rounded_up(read.speed * around.least, voice.units)
    most = rounded_down(read.speed * around.most, voice.units)
    from_deg = math.degrees(read.direction)
    left = math.ceil(from_deg - math.degrees(around.left) - _SLACK) % 360 or 360
    right = math.floor(from_deg + math.degrees(around.right) + _SLACK) % 360 or 360
    return voice.say(
        "head.stop",
        least=voice.speed(least),
        most=voice.speed(most),
        left=f"{left:03d}°",
        right=f"{right:03d}°",
    )


def good_until(a: Assessment, voice: Voice) -> str:
    """Say until when a verdict counts, as it stands on paper; a no-go would read as a go until then."""
    if a.verdict == "no-go":
        return voice.say("age.stays", word=voice.say("verdict.no-go"))
    found = good_between(a)
    if found is None:
        return voice.say("age.undated")
    return voice.say("age.good", time=clock_at(found[1]))


def without_clock(a: Assessment, voice: Voice) -> str:
    """Say with its day until when a go counts, for a page whose script does not run; else empty."""
    found = good_between(a)
    if a.verdict != "go" or found is None:
        return ""
    hold = voice.say("verdict.hold")
    return voice.say("age.still", time=flown_at(found[1]), hold=hold)


def age_script(a: Assessment, voice: Voice) -> str:
    """Write the script that lets a go fall to hold when its time is over.

    Result: what the page must know, and the script itself.
    """
    found = good_between(a)
    ends = [None, None] if found is None else [1000 * t.timestamp() for t in found]
    time = flown_at(a.answers.when)
    told = {
        "word": a.verdict,
        "from": ends[0],
        "until": ends[1],
        "hold": voice.say("verdict.hold"),
        "good": good_until(a, voice),
        "left": voice.say("age.left", minutes="{minutes}"),
        "undated": voice.say("age.undated"),
        "early": voice.say("age.early", time=time),
        "past": voice.say("age.past", time=time),
    }
    return f"{script_constant('AGE', told)}\n{text_of('age.js')}"
