"""What fins and printed noses meet on the way up, beside what they stand."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from driftmap.core.checks import FloatArray
from driftmap.failures.case import Breaks
from driftmap.formulas.drag import NOSE_CENTRE, NOSE_SLOPE, fin_slope
from driftmap.formulas.flutter import (
    flutter_speed,
    root_stress,
    shell_stress,
    solid_share,
)
from driftmap.montecarlo.launch import Plan
from driftmap.rocket.flight import Airframe, Piece
from driftmap.trajectory.motion import Ascent

__all__ = ["stood"]


def stood(
    what: Breaks, ascent: Ascent, draws: Mapping[str, FloatArray], plan: Plan
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give what is met, what a unit fin stands of it, and what its draw makes of that.

    ``what``: which fins, and how they break; ``ascent``, shape (s, n): the way up;
    ``draws``, shape (n,): inputs drawn; ``plan``: the flight and its sky.

    Result: speed [m s⁻¹] and flutter speed of fins of 1 Pa, or stress [Pa] and 1, shape
    (s, n). Result: factor on the second, shape (n,).
    """
    if what.how == "flutter":
        return _flutter(what.fin, ascent, draws, plan)
    own = _nose_stress if what.fin.kind == "nose cone" else _stress
    met = own(what.fin, ascent, draws, plan.flight.falling)
    return met, np.ones_like(met), draws[f"{what.fin.name} strength"]


def _flutter(
    fin: Piece, ascent: Ascent, draws: Mapping[str, FloatArray], plan: Plan
) -> tuple[FloatArray, FloatArray, FloatArray]:
    shape = fin.planform()
    assert shape is not None
    stiff = draws[f"{fin.name} shear modulus"] * draws.get(f"{fin.name} printed", 1.0)
    luck = np.sqrt(stiff * _section(fin)) * draws[f"{fin.name} flutter boundary"]
    pressure = plan.sky.pressure(np.maximum(ascent.rows[:, 2], 0.0))
    return ascent.speed, flutter_speed(shape, 1.0, pressure, ascent.sound), luck


def _stress(
    fin: Piece, ascent: Ascent, draws: Mapping[str, FloatArray], frame: Airframe
) -> FloatArray:
    """Bending stress at the root, by the angle it flies at and a gust."""
    shape = fin.plate()
    assert shape is not None
    root, tip, span = shape.root, shape.tip, shape.span
    sweep = max(root - tip, 0.0) if fin.sweep is None else fin.sweep
    slope = fin_slope(fin.count, root, tip, span, frame.diameter, sweep)
    return root_stress(
        shape,
        ascent.density * ascent.speed**2 / 2,
        _askew(ascent, draws),
        ascent.mach(),
        # Of N fins evenly about the body half stand across the wind, on the whole.
        slope=float(slope) * frame.cross_section * 2 / fin.count,
        share=_section(fin),
    )


def _askew(ascent: Ascent, draws: Mapping[str, FloatArray]) -> FloatArray:
    """Angle to the airstream, in a gust [rad]."""
    gust = draws["gust on fins"] * ascent.rail_wind
    return np.asarray(draws["fins askew"] + gust / np.maximum(ascent.speed, 1.0))


def _nose_stress(
    nose: Piece, ascent: Ascent, draws: Mapping[str, FloatArray], frame: Airframe
) -> FloatArray:
    """Bending stress where a printed nose cone meets the body."""
    length, across = nose.length or 0.0, nose.diameter or 0.0
    return shell_stress(
        ascent.density * ascent.speed**2 / 2,
        _askew(ascent, draws),
        slope_area=NOSE_SLOPE * np.pi * across**2 / 4,
        arm=(1 - NOSE_CENTRE) * length,
        radius=across / 2,
        wall=nose.thickness or across / 2,
    )


def _section(fin: Piece) -> float:
    """Section of a printed fin over that of a solid one."""
    if fin.infill is None or fin.thickness is None:
        return 1.0
    return solid_share(fin.thickness, fin.infill)
