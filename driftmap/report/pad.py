"""The pad as a picture: where the rail leans and where the wind blows."""

from __future__ import annotations

import math

from driftmap.air.wind import direction_and_speed
from driftmap.report.reading import CALM, wind_as_read
from driftmap.verdict.assessment import Assessment

__all__ = ["pad_picture", "surface_wind", "wind_arrow"]


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


def pad_picture(assessment: Assessment, rail: str) -> str:
    """Draw the pad with its rail, of a fixed size on the screen.

    Parameters
    ----------
    assessment : Assessment
        The assessment.
    rail : str
        What the rail is called, safe to show.

    Returns
    -------
    str
        An ``svg`` element without any text from a file.
    """
    plan = assessment.cloud.plan
    parts = ['<circle class="pad" r="7"/><path class="pad" d="M-12 0H12M0-12V12"/>']
    if plan.flight.rail.angle.value > 0:
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

    Parameters
    ----------
    assessment : Assessment
        The assessment.

    Returns
    -------
    str
        An ``svg`` element; empty in a calm and where the wind comes from all sides.
    """
    read, _ = wind_as_read(assessment.wind)
    if read.speed <= CALM or read.direction is None:
        return ""
    turn = math.degrees(read.direction) + 180.0
    return (
        '<svg class="wind-arrow" viewBox="-42 -42 84 84" aria-hidden="true">'
        f'<path transform="rotate({turn:.1f})" d="M0 -38L20 -8H8V34H-8V-8H-20Z"/></svg>'
    )


def _at(azimuth: float, away: float) -> tuple[float, float]:
    return away * math.sin(azimuth), -away * math.cos(azimuth)
