"""The pad as a picture: where the rail leans and where the wind blows."""

from __future__ import annotations

import math

from driftmap.air.wind import direction_and_speed
from driftmap.verdict.assessment import Assessment

__all__ = ["pad_picture", "surface_wind"]


def surface_wind(assessment: Assessment) -> tuple[float, float]:
    """Give the wind at 10 m.

    Parameters
    ----------
    assessment : Assessment
        The assessment.

    Returns
    -------
    direction_from, speed : float
        Where it comes from, clockwise from true north [rad], and how fast [m s⁻¹].
    """
    direction, speed = direction_and_speed(*assessment.wind.at(10.0))
    return float(direction), float(speed)


def pad_picture(assessment: Assessment) -> str:
    """Draw the pad with rail and wind arrow, all of a fixed size on the screen.

    Parameters
    ----------
    assessment : Assessment
        The assessment.

    Returns
    -------
    str
        An ``svg`` element without any text from a file.
    """
    plan, (wind, speed) = assessment.cloud.plan, surface_wind(assessment)
    parts = ['<circle class="pad" r="7"/><path class="pad" d="M-12 0H12M0-12V12"/>']
    if plan.flight.rail.angle.value > 0:
        parts.append(_rail(plan.azimuth))
    if speed > 0.05:
        parts.append(_wind(wind + math.pi))
    return (
        '<svg class="pad-picture" viewBox="-110 -110 220 220" aria-hidden="true">'
        f"{''.join(parts)}</svg>"
    )


def _rail(azimuth: float) -> str:
    turn, (x, y) = math.degrees(azimuth), _at(azimuth, 62)
    return (
        f'<path class="rail" transform="rotate({turn:.1f})" d="M-3 -13V-42M3 -13V-42'
        f'M-8 -42H8"/><text class="say" x="{x:.1f}" y="{y + 4:.1f}">rail</text>'
    )


def _wind(azimuth: float) -> str:
    turn, (x, y) = math.degrees(azimuth), _at(azimuth, 100)
    shaft = "M0 -18V-80M-9 -66L0 -82L9 -66"
    return (
        f'<g transform="rotate({turn:.1f})"><path class="halo" d="{shaft}"/>'
        f'<path class="wind" d="{shaft}"/></g>'
        f'<text class="say" x="{x:.1f}" y="{y + 4:.1f}">wind</text>'
    )


def _at(azimuth: float, away: float) -> tuple[float, float]:
    return away * math.sin(azimuth), -away * math.cos(azimuth)
