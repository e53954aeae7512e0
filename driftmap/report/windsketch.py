"""The wind as a picture: by height, with its error, and over the pad."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, Final

import numpy as np

from driftmap.air.wind import WindLevel, WindProfile, reported_at
from driftmap.core import units
from driftmap.core.checks import FloatArray
from driftmap.report.page import page, paragraphs, printable, style_of, svg, table
from driftmap.report.voice import Voice
from driftmap.report.wind_text import CALM, comes_from, flown_in, wind_as_read
from driftmap.verdict.assessment import Assessment

# As narrow as a phone, that its letters can be read there.
_WIDTH, _HEIGHT = 400.0, 436.0
_FOOT, _ROOF = 370.0, 40.0  # where the plot ends below and above
_SPEED: Final = (64.0, 236.0)  # left and right edge of the speed panel
_BEARING: Final = (262.0, 394.0)
_STEPS: Final = (1.0, 2.0, 5.0)


PICTURE_TOP: Final = 3000.0
"""Height up to which a wind is shown at the most where nobody asks for more [m]."""

_LEAST_TOP: Final = 300.0  # m


def shown_top(wind: WindProfile) -> float:
    """Choose the height up to which a wind is shown: as far as it is known, within bounds [m]."""
    return min(max(wind.known_to, _LEAST_TOP), PICTURE_TOP)


def wind_picture_svg(wind: WindProfile, top: float, voice: Voice) -> str:
    """Draw a wind by height.

    ``wind``: the wind over the site; ``top``: height of the picture above the site [m].

    Result: an ``svg`` element that needs nothing from outside; every text is escaped.
    Raises `ValueError` if `top` is not a positive height.
    """
    if not (math.isfinite(top) and top > 0):
        raise ValueError(f"'top' must be a positive height (got {top})")
    z = np.linspace(0.0, top, 121)
    direction, speed = reported_at(wind, z)
    error = np.interp(z, wind.height, wind.error)
    gusts = [level.gust for level in wind.levels if level.gust and level.height <= top]
    most = max(float(np.max(speed + error)), *gusts, 1.0)
    parts = [
        style_of("windsketch.css"),  # of the picture alone: else it rules its page
        _frame(top, most, voice),
        _beyond(wind, top, voice),
        _band(z, speed, error, top, most),
        f'<path class="mean" d="{_path(speed, z, top, most)}"/>',
        _marks(wind, top, most, voice),
        _arrows(z, direction, speed, top, voice),
    ]
    title = f"{voice.say('map.wind')}: {wind.source}"
    look = 'class="wind-picture" role="img"'
    return svg((0, 0, _WIDTH, _HEIGHT), title, parts, look)


def _y(z: Any, top: float) -> Any:
    return _FOOT - (_FOOT - _ROOF) * z / top


def _x(speed: Any, most: float) -> Any:
    left, right = _SPEED
    return left + (right - left) * speed / most


def _ticks(most: float) -> list[float]:
    """Choose round values from nothing to `most`, five or so."""
    rough = most / 5
    power = 10.0 ** math.floor(math.log10(rough))
    step = next((s * power for s in _STEPS if s * power >= rough), 10 * power)
    return [step * i for i in range(int(most / step + 1e-9) + 1)]


def _text(x: float, y: float, text: str, anchor: str = "middle") -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{printable(text)}</text>'
    )


def _frame(top: float, most: float, voice: Voice) -> str:
    length, speed = (units.unit_of(kind, voice.units) for kind in ("length", "speed"))
    per_length = units.DIMENSIONS["length"][length]
    per_speed = units.DIMENSIONS["speed"][speed]
    out = []
    for value in _ticks(top / per_length):
        y = _y(value * per_length, top)
        out.append(
            f'<path class="grid" d="M{_SPEED[0]} {y:.1f}H{_SPEED[1]}'
            f'M{_BEARING[0]} {y:.1f}H{_BEARING[1]}"/>'
        )
        out.append(_text(_SPEED[0] - 6, y + 4, voice.count(round(value)), "end"))
    for value in _ticks(most / per_speed):
        text = voice.number(f"{value:g}")
        out.append(_text(_x(value * per_speed, most), _FOOT + 18, text))
    out += [
        _text(_SPEED[0] - 6, _ROOF - 14, length, "end"),
        _text(_SPEED[0], _FOOT + 38, voice.say("map.axis_speed", unit=speed), "start"),
        _text(_BEARING[1], _FOOT + 58, voice.say("map.axis_arrows"), "end"),
        f'<path class="axis" d="M{_SPEED[0]} {_ROOF}V{_FOOT}H{_SPEED[1]}'
        f'M{_BEARING[0]} {_ROOF}V{_FOOT}H{_BEARING[1]}"/>',
    ]
    return "".join(out)


def _beyond(wind: WindProfile, top: float, voice: Voice) -> str:
    if wind.known_to >= top:
        return ""
    y = _y(wind.known_to, top)
    return (
        f'<rect class="beyond" x="{_SPEED[0]}" y="{_ROOF}" '
        f'width="{_BEARING[1] - _SPEED[0]}" height="{y - _ROOF:.1f}"/>'
        + _text(_SPEED[0] + 8, _ROOF - 8, voice.say("map.axis_held"), "start")
    )


def _band(
    z: FloatArray, speed: FloatArray, error: FloatArray, top: float, most: float
) -> str:
    upper, lower = speed + error, np.maximum(speed - error, 0.0)
    round_it = np.concatenate([upper, lower[::-1]]), np.concatenate([z, z[::-1]])
    return f'<path class="band" d="{_path(*round_it, top, most)}Z"/>'


def _path(speed: FloatArray, z: FloatArray, top: float, most: float) -> str:
    points = zip(_x(speed, most), _y(z, top), strict=True)
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def _marks(wind: WindProfile, top: float, most: float, voice: Voice) -> str:
    out = []
    for level in wind.levels:
        if level.height > top:
            continue
        y = _y(level.height, top)
        bearing = comes_from(level.direction, level.speed, voice)
        text = printable(f"{bearing}, {level.source}")
        x = _x(min(level.speed, most), most)
        out.append(
            f'<circle class="read" cx="{x:.1f}" cy="{y:.1f}" r="3">'
            f"<title>{text}</title></circle>"
        )
        if level.gust:
            out.append(
                f'<circle class="gust" cx="{_x(level.gust, most):.1f}" '
                f'cy="{y:.1f}" r="4"><title>{voice.speed(level.gust)}</title></circle>'
            )
    return "".join(out)


def _arrows(
    z: FloatArray, direction: FloatArray, speed: FloatArray, top: float, voice: Voice
) -> str:
    """Draw arrows that fly with the wind, and the bearing it comes from beside."""
    x, out = _BEARING[0] + 50, []
    for i in range(4, z.size, 14):
        y = _y(float(z[i]), top)
        if speed[i] < 0.05:
            out.append(_text(x, y + 4, voice.say("figure.calm")))
            continue
        if math.isnan(direction[i]):
            out.append(_text(x, y + 4, voice.say("figure.all_sides")))
            continue
        turn = math.degrees(float(direction[i])) + 180.0
        out.append(
            f'<path class="arrow" transform="translate({x:.1f} {y:.1f}) '
            f'rotate({turn:.0f})" d="M0 11V-11M-5 -4L0 -11L5 -4"/>'
        )
        bearing = round(math.degrees(float(direction[i]))) or 360
        out.append(_text(x + 30, y + 4, f"{bearing:03d}°", "start"))
    return "".join(out)


def wind_page(wind: WindProfile, top: float, voice: Voice) -> str:
    """Make a page of its own for a wind: as it was read, with its age and in both units, and by height.

    ``top``: height of the picture above the site [m].
    """
    say = voice.say
    other = replace(voice, units="si" if voice.units == "us" else "us")
    (told, _), (again, _) = (flown_in(wind, None, v) for v in (voice, other))
    heads = ("map.height", "map.comes_from", "plan.speed")
    rows = [[say(key) for key in (*heads, "plan.wind_gusts", "plan.wind_source")]]
    rows += [
        [
            voice.exact_distance(level.height),
            comes_from(level.direction, level.speed, voice),
            voice.speed(level.speed),
            voice.speed(level.gust) if level.gust else "",
            level.source,
        ]
        for level in reversed(wind.levels)
    ]
    return page(
        say("map.wind"),
        [
            *paragraphs([again, wind.source]),
            wind_picture_svg(wind, top, voice),
            table(rows, voice),
        ],
        voice,
        assumed=wind.assumed,
        answer=told,
        stands="plan.wind_stands",
    )


def pad_picture(assessment: Assessment, rail: str) -> str:
    """Draw the pad with its rail, of a fixed size on the screen.

    ``rail``: what the rail is called, safe to show.

    Result: an ``svg`` element without any text from a file.
    """
    plan = assessment.cloud.plan
    parts = ['<circle class="pad" r="7"/><path class="pad" d="M-12 0H12M0-12V12"/>']
    if plan.flight.rail.angle.value > 0 and not plan.leans_anywhere:
        parts.append(_rail(plan.azimuth, rail))
    return (
        '<svg class="pad-picture" viewBox="-110 -110 220 220" aria-hidden="true">'
        f"{''.join(parts)}</svg>"
    )


def _rail(azimuth: float, name: str) -> str:
    turn, (x, y) = math.degrees(azimuth), _at(azimuth, 62)
    return (
        f'<path class="rail" transform="rotate({turn:.1f})" d="M-3 -13V-42M3 -13V-42'
        f'M-8 -42H8"/><text class="say" x="{x:.1f}" y="{y + 4:.1f}">{name}</text>'
    )


def wind_arrow(assessment: Assessment) -> str:
    """Draw the wind as a broad arrow for a corner, blowing over the map.

    Result: an ``svg`` element; empty in a calm and where the wind comes from all sides.
    """
    read, _ = wind_as_read(assessment.wind)
    box = 'class="wind-arrow" viewBox="-42 -42 84 84" aria-hidden="true"'
    return f"<svg {box}>{arrow}</svg>" if (arrow := broad_arrow(read)) else ""


def broad_arrow(read: WindLevel) -> str:
    """Draw an arrow that flies with a wind, about its middle; none where there is no one way."""
    if read.speed <= CALM or read.direction is None:
        return ""
    turn = math.degrees(read.direction) + 180
    return f'<path transform="rotate({turn:.1f})" d="M0 -38L20 -8H8V34H-8V-8H-20Z"/>'


def _at(azimuth: float, away: float) -> tuple[float, float]:
    return away * math.sin(azimuth), -away * math.cos(azimuth)
