"""Wind limits as a picture: a wedge for each direction, out to the last go."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from driftmap.planning.limits import DirectionLimit
from driftmap.report.planpage import printable
from driftmap.report.voice import Voice
from driftmap.units import DIMENSIONS, show, unit_of

__all__ = ["dial_svg"]

_SIZE, _REACH = 640.0, 250.0


def dial_svg(limits: Sequence[DirectionLimit], most: float, voice: Voice) -> str:
    """Draw wind limits about the compass.

    Parameters
    ----------
    limits : sequence of DirectionLimit
        The limits; each wedge points to where the wind comes from.
    most : float
        Speed at the rim [m s⁻¹].
    voice : Voice
        Writes words and figures.

    Returns
    -------
    str
        An ``svg`` element that needs nothing from outside.

    Raises
    ------
    ValueError
        If there are no limits or the rim is not a positive speed.
    """
    if not limits or not most > 0:
        raise ValueError("'limits' must not be empty and 'most' be positive")
    half = 180.0 / len(limits)
    wedges = "".join(_wedges(limit, half, most, voice) for limit in limits)
    middle = _SIZE / 2
    name = printable(voice.say("plan.limits_name"))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="dial" role="group" '
        f'viewBox="0 0 {_SIZE:.0f} {_SIZE:.0f}"><title>{name}</title>'
        f'<g transform="translate({middle:.0f} {middle:.0f})">{wedges}'
        f"{''.join(_rings(most, voice))}{''.join(_compass(voice))}</g></svg>"
    )


def _wedges(limit: DirectionLimit, half: float, most: float, voice: Voice) -> str:
    def speed(value: float) -> str:
        return voice.number(show(value, "speed", voice.units, digits=1))

    at = limit.from_deg
    named = f"{at:.0f}°"
    if limit.problem:
        why = voice.say("plan.wedge_unknown", at=named)
        return _wedge(at, half, 0.0, _REACH, "dark", why)
    found = []
    for span in limit.go:
        low, high = span
        lightest = limit.from_lightest(span)
        kind, low = ("go", 0.0) if lightest else ("once", low)
        told = voice.say("plan.wedge", at=named, low=speed(low), high=speed(high))
        ends = (low / most * _REACH, max(high / most * _REACH, 2.0))
        found.append(_wedge(at, half, *ends, kind, told))
    return "".join(found)


def _wedge(
    at: float, half: float, inner: float, outer: float, kind: str, told: str
) -> str:
    wide = 1 if half > 90 else 0
    half = min(half, 179.99)
    corners = [
        _point(radius, at + turn)
        for radius, turn in (
            (inner, -half),
            (outer, -half),
            (outer, half),
            (inner, half),
        )
    ]
    (a, b), (c, d), (e, f), (g, h) = corners
    path = (
        f"M{a:.1f} {b:.1f}L{c:.1f} {d:.1f}A{outer:.1f} {outer:.1f} 0 {wide} 1 {e:.1f} "
        f"{f:.1f}L{g:.1f} {h:.1f}A{inner:.1f} {inner:.1f} 0 {wide} 0 {a:.1f} {b:.1f}Z"
    )
    return f'<path class="{kind}" d="{path}"><title>{printable(told)}</title></path>'


def _point(radius: float, bearing: float) -> tuple[float, float]:
    angle = math.radians(bearing)
    return radius * math.sin(angle), -radius * math.cos(angle)


def _rings(most: float, voice: Voice) -> Iterable[str]:
    unit = unit_of("speed", voice.units)
    size = DIMENSIONS["speed"][unit]
    step = 5.0 if voice.units == "us" else 2.0
    for i in range(1, int(most / size / step + 1e-3) + 1):
        radius = i * step * size / most * _REACH
        yield (
            f'<circle class="ring" r="{radius:.1f}"/>'
            f'<text x="0" y="{-radius + 15:.1f}">{i * step:.0f} {unit}</text>'
        )


def _compass(voice: Voice) -> Iterable[str]:
    for i in range(8):
        name = voice.point(math.radians(45.0 * i))
        x, y = _point(_REACH + 28, 45.0 * i)
        yield f'<text x="{x:.1f}" y="{y + 5:.1f}">{printable(name)}</text>'
