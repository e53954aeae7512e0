"""A flight in pictures: its side view to scale, its thrust, its height over time."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import Any, Final

import numpy as np

from driftmap.core.units import FOOT, STANDARD_GRAVITY, show
from driftmap.montecarlo.cloud import Cloud
from driftmap.report.page import style_of, svg
from driftmap.report.words import Units, distance
from driftmap.rocket.flight import Flight
from driftmap.rocket.likelihood import WORKS
from driftmap.rocket.pieces import Piece

_PARTING: Final = 0.5  # s, the middle of what is assumed where nobody tells it
_NOSE: Final = 3.0  # diameters, where no nose cone is told; drawn as a guess


def flight_pictures(flight: Flight, cloud: Cloud, units: Units) -> dict[str, Any]:
    """Draw a flight.

    ``cloud``: its flights in still air, their falls kept.

    Result: ``side``, ``thrust`` and ``rise`` as SVG (empty where there is nothing to
    draw), and ``facts``, a few figures in words.
    """
    rise, facts = _rise(cloud, units)
    return {
        "side": _side(flight, units),
        "thrust": _thrust(flight),
        "rise": rise,
        "facts": facts,
    }


def _svg(width: float, height: float, title: str, parts: list[str]) -> str:
    look = f'role="img" width="{width:.0f}" height="{height:.0f}"'
    styled = [style_of("flightsketch.css"), *parts]
    return svg((0, 0, width, height), title, styled, look)


def _text(x: float, y: float, text: str, anchor: str = "middle") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'


def _side(flight: Flight, units: Units) -> str:
    """Draw the rocket as it stands on the rail, with what can come off."""
    frame = flight.airframe
    fins = [p for p in flight.pieces if p.kind == "fin"]
    span = max([p.span or p.fin_area**0.5 for p in fins], default=0.0)
    scale = min(440 / frame.length, 200 / (frame.diameter + 2 * span))
    half, middle = frame.diameter * scale / 2, 170.0
    top, low = 20.0, 20 + frame.length * scale
    cone = next((p for p in flight.pieces if p.kind == "nose cone"), None)
    told = cone.length if cone else None
    nose = top + (told or min(_NOSE * frame.diameter, frame.length / 3)) * scale
    near, far = middle - half, middle + half
    parts = [
        f'<path class="body" d="M{near:.1f} {nose:.1f}V{low:.1f}H{far:.1f}V{nose:.1f}Z"/>',
        f'<path class="{"off" if cone else "guess"}" d="M{middle:.1f} {top:.1f}'
        f"Q{near:.1f} {(top + nose) / 2:.1f} {near:.1f} {nose:.1f}H{far:.1f}"
        f'Q{far:.1f} {(top + nose) / 2:.1f} {middle:.1f} {top:.1f}Z"/>',
    ]
    for fin in fins:
        parts += _fin(fin, frame.length, scale, top, (near, far))
    parts += _sizes(flight, units, (top, low), (middle, far + span * scale + 20))
    names = ", ".join(f"{p.count} × {p.name}" for p in flight.pieces)
    told_off = f"can come off (dashed): {names or 'nothing told'}"
    parts.append(_text(10, low + 56, told_off, "start"))
    return _svg(380, low + 70, f"{flight.name} from the side", parts)


def _sizes(
    flight: Flight, units: Units, ends: tuple[float, float], across: tuple[float, float]
) -> list[str]:
    """Mark length, diameter and where the centre of mass is."""
    (top, low), (middle, side) = ends, across
    frame, centre = flight.airframe, flight.airframe.centre_of_mass
    marks = [
        f'<path class="axis" d="M{side:.1f} {top:.1f}h6V{low:.1f}h-6"/>',
        _text(side + 12, (top + low) / 2, _size(frame.length, units), "start"),
        _text(middle, low + 20, f"{_size(frame.diameter, units)} thick"),
    ]
    if centre is not None:
        y = top + centre.value / frame.length * (low - top)
        marks.append(f'<circle class="mass" cx="{middle:.1f}" cy="{y:.1f}" r="5"/>')
        marks.append(_text(20, y + 4, "centre of mass", "start"))
    return marks


def _size(length: float, units: Units) -> str:
    return (
        f"{1000 * length:,.0f} mm" if units == "si" else f"{length / FOOT * 12:,.1f} in"
    )


def _fin(
    fin: Piece, length: float, scale: float, top: float, edges: tuple[float, float]
) -> list[str]:
    """Draw one fin on either side; a square of its area where no shape is told."""
    root = fin.root or fin.fin_area**0.5
    tip, span = fin.tip or root, fin.span or root
    sweep = fin.sweep if fin.sweep is not None else root - tip
    front = top + (fin.position if fin.position is not None else length - root) * scale
    kind = "off" if fin.root else "off guess"
    drawn = []
    for edge, way in ((edges[0], -1), (edges[1], 1)):
        out = edge + way * span * scale
        drawn.append(
            f'<path class="{kind}" d="M{edge:.1f} {front:.1f}L{out:.1f} '
            f"{front + sweep * scale:.1f}v{tip * scale:.1f}"
            f'L{edge:.1f} {front + root * scale:.1f}Z"/>'
        )
    return drawn


def _axes(
    told: str, across: str, most: tuple[float, float], up: str, unit: str
) -> list[str]:
    """Draw the axes, what the upper one reaches at its end and what is told beside it."""
    return [
        '<path class="axis" d="M50 20V200H370"/>',
        _text(6, 14, f"{up} {most[1]:,.0f} {unit}", "start"),
        _text(392, 14, told, "end"),
        _text(370, 218, f"{most[0]:.3g} {across}", "end"),
        _text(50, 218, "0"),
    ]


def _spot(time: float, high: float, most: tuple[float, float]) -> tuple[float, float]:
    return 50 + 320 * time / most[0], 200 - 170 * high / most[1]


def _plot(line: Iterable[tuple[float, float]], most: tuple[float, float]) -> str:
    points = " ".join(
        f"{x:.1f},{y:.1f}" for x, y in (_spot(t, h, most) for t, h in line)
    )
    return f'<polyline class="line" points="{points}"/>'


def _thrust(flight: Flight) -> str:
    """Draw the thrust of each motor after the other, as the plan lights them."""
    if flight.motor is None:
        return ""
    start, drawn = 0.0, []
    for motor in flight.motors:
        burn = motor.burn_time.value
        mean = motor.total_impulse.value / burn
        times = motor.times or (0.0, 0.0, burn, burn)
        thrusts = motor.thrusts or (0.0, mean, mean, 0.0)
        drawn.append([(start + t, f) for t, f in zip(times, thrusts, strict=True)])
        start = drawn[-1][-1][0] + _wait(flight)
    most = (drawn[-1][-1][0], max(f for line in drawn for _, f in line))
    weight = flight.airframe.mass.value * STANDARD_GRAVITY
    impulses = " + ".join(f"{m.total_impulse.value:,.0f}" for m in flight.motors)
    text = f"{impulses} N s, up to {max(f for _, f in drawn[0]) / weight:.1f} times the weight"
    parts = [*_axes(text, "s", most, "up to", "N"), *(_plot(x, most) for x in drawn)]
    return _svg(400, 226, "Thrust over time", parts)


def _wait(flight: Flight) -> float:
    """Return the time from burn-out of the first motor until the next lights [s]."""
    upper = flight.upper
    if upper is None:
        return 0.0
    parting = getattr(upper, "separation", None)
    apart = _PARTING if flight.sustainer and parting is None else 0.0
    return upper.ignition.value + (apart if parting is None else parting.value)


def _rise(cloud: Cloud, units: Units) -> tuple[str, list[str]]:
    """Draw the height over time, as flown by the same flights as the verdict."""
    part = next(cloud.of(WORKS), None) or cloud.parts[0]
    top, at, rail, fastest, time, speed = (
        float(np.median(column))
        for column in (
            cloud.apogee.height,
            cloud.apogee.time,
            cloud.rail_speed,
            cloud.fastest[0],
            cloud.time[part.rows],
            cloud.speed[part.rows],
        )
    )
    knots = cloud.falls.get((part.case, part.body))
    fall = [(time, 0.0)]
    if knots is not None:
        middle = np.median(knots[:, :, 0, :], axis=2)
        fall = [(float(row[0]), float(row[3])) for row in middle]
    share = np.linspace(0.0, 1.0, 24)
    rise = [*zip(share * at, top * (1 - (1 - share) ** 2), strict=True), *fall]
    most = (max(t for t, _ in rise), max(h for _, h in rise))
    seen = [
        f'<circle class="dot" r="4" cx="{x:.1f}" cy="{y:.1f}"/>'
        for x, y in (_spot(t, h, most) for t, h in [(at, top), *fall])
    ]
    unit, size = ("m", 1.0) if units == "si" else ("ft", FOOT)
    text = "in still air, dots as flown"
    axes = _axes(text, "s", (most[0], most[1] / size), "up to", unit)
    return _svg(400, 226, "Height over time", [*axes, _plot(rise, most), *seen]), [
        f"top {distance(top, units)} after {at:.0f} s",
        f"down after {fall[-1][0]:.0f} s at {show(speed, 'descent', units)}",
        f"leaves the rail at {show(rail, 'speed', units)}",
        f"fastest {show(fastest, 'speed', units)}",
    ]
