"""What a cloud does not show, so that a verdict must hold: openings on the way up, unknown fins."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import pi, sqrt
from typing import Final

import numpy as np

from driftmap.air.atmosphere import SEA_LEVEL_PRESSURE, air_density, speed_of_sound
from driftmap.core.checks import FloatArray, Kept
from driftmap.formulas.drag import NOSE_CENTRE, NOSE_SLOPE
from driftmap.formulas.flutter import (
    FinPlanform,
    flutter_speed,
    shell_stress,
    solid_share,
)
from driftmap.formulas.materials import (
    DENSITY,
    GLUED,
    LAYER_STRENGTH,
    PRINTED,
    SHEAR_MODULUS,
    made_of,
)
from driftmap.montecarlo.columns import Block
from driftmap.montecarlo.flying import WAY_UP
from driftmap.rocket.flight import Flight
from driftmap.rocket.opening_order import by_opening
from driftmap.rocket.pieces import PLASTIC, SLICED, Piece
from driftmap.rocket.stage_cases import booster_by_opening
from driftmap.rocket.stages import BOOSTER, Device


def not_flown(flown: Block, flight: Flight) -> Iterator[str]:
    """Tell what a verdict must hold for, since no flight shows it."""
    top = dict(zip(WAY_UP, np.asarray(flown.ways["top"], float), strict=True))
    for devices, apogee in (
        (by_opening(flight), top["time"]),
        (booster_by_opening(flight), flown.ways.get(BOOSTER, top["time"])),
    ):
        yield from _before_apogee(devices, flown.draws, apogee)
    yield from _after_apogee(flight, flown.draws, top["time"])
    rail = flight.rail
    if rail.angle.value > 0 and "azimuth" not in rail.model_fields_set:
        yield (
            "rail: which way it leans is not told, and it is flown into the wind: state "
            'rail.azimuth, a bearing or "into the wind"'
        )
    booster = flight.booster
    if flight.sustainer and not (booster and (booster.recovery or booster.descent)):
        yield (
            "booster: whether it tumbles or comes down nose first is not told, and tumbling "
            "is flown: state booster.recovery, or descent with planned"
        )
    yield from _fins_unknown(flight, top["top speed"])
    yield from _noses_unknown(flight, top["top speed"])


def above_apogee(
    flight: Flight, draws: Mapping[str, Kept], apogee: Kept
) -> Iterator[str]:
    """Tell which devices are set to open higher than flights rise."""
    for device in flight.devices:
        if device.opens_at.at == "height":
            share = float(np.mean(draws[f"{device.name} opens"] > apogee))
            if share > 0:
                yield (
                    f"{device.name}: set to open above the apogee of {share:.0%} of flights, "
                    "which it opens at instead"
                )


_EARLY: Final = 1.0  # s before apogee, where it still rises at 10 m/s
_FEW: Final = 0.01  # of the flights; assumed, both


def _before_apogee(
    devices: list[Device], draws: Mapping[str, Kept], apogee: Kept
) -> Iterator[str]:
    """Tell which devices fire on the way up though they are flown as if after apogee."""
    at_top = [d for d in devices if d.opens_at.at == "apogee"]
    for device in devices[devices.index(at_top[0]) + 1 :] if at_top else ():
        if device.opens_at.at == "time":
            early = draws[f"{device.name} opens"] < apogee - _EARLY
            if np.mean(early) > _FEW:
                yield (
                    f"{device.name} fires on the way up in {np.mean(early):.0%} of flights; "
                    "that opening was not flown: it is flown as if after apogee"
                )


_SOME: Final = 0.02  # of flights; a moment's own spread may reach past the apogee


def _after_apogee(
    flight: Flight, draws: Mapping[str, Kept], apogee: Kept
) -> Iterator[str]:
    """Tell of own cases that happen on the way down, where a flight is not followed."""
    for own in flight.own_cases:
        moment = draws.get(f"{own.name} at")
        if moment is not None and np.mean(moment > apogee) > _SOME:
            yield (
                f"{own.name}: at {own.at}, after the apogee at {np.median(apogee):.0f} s, is "
                "flown from the apogee; where it falls from under its device is not worked out"
            )


_MAY_FLUTTER: Final = 100.0
_PRINTED_MAY: Final = 70.0
"""Speeds over which fins of which too little is told are not taken to hold [m s⁻¹]: where
usual ones of 3 mm plywood and of printed plastic may go by `driftmap.formulas.flutter`; both
assumed. Thinner ones go at less, which their mass and sizes give away."""

_PLASTIC_HAS: Final = 2 * SHEAR_MODULUS[PLASTIC].second
"""Shear modulus that fibres in a plastic may double to, but hardly exceed [Pa]; assumed."""


def _fins_unknown(flight: Flight, fastest: FloatArray) -> Iterator[str]:
    """Tell of a flight fast enough for fins of which too little is told to flutter or snap."""
    pieces = (*flight.pieces, *(flight.booster.pieces if flight.booster else ()))
    fins = [p for p in pieces if p.kind == "fin"]
    fast = float(np.quantile(fastest, 0.95))
    for what, untold, state in (
        (
            "they flutter",
            [fin for fin in fins if fin.planform() is None],
            "their root, tip, span, thickness, and material or shear_modulus",
        ),
        (
            "a gust snaps them",
            [fin for fin in fins if fin.planform() and fin.plate() is None],
            "their material or strength",
        ),
        (
            "they hold, if they are printed,",
            [fin for fin in fins if fin.planform() and _may_be_printed(fin)],
            "it, printed = true or printed = false",
        ),
    ):
        if any(fast > _stands(fin) for fin in untold):
            yield (
                f"fins: whether {what} at {fast:.0f} m/s is not worked out: state {state}"
            )


def _may_be_printed(fin: Piece) -> bool:
    """Whether a fin may be of plastic and nothing tells if it was printed, as most are.

    One that is lighter than plastic may be a sparse print; what it is named is believed.
    """
    if fin.printed is not None or fin.thickness is None:
        return False
    if fin.material is not None:
        return fin.material == PLASTIC
    dense = fin.mass / fin.fin_area / fin.thickness
    stiff = fin.shear_modulus or 0.0
    return stiff <= _PLASTIC_HAS and dense <= GLUED * DENSITY[PLASTIC][1]


_SHELL: Final = 1e-3  # m, the wall of a thin printed nose cone; assumed
_AT_ANGLE: Final = 0.07  # rad, a rocket that swings, in a gust as well; assumed


def _noses_unknown(flight: Flight, fastest: FloatArray) -> Iterator[str]:
    """Tell of a nose cone that would give, were it printed, where nothing tells if it was."""
    fast = float(np.quantile(fastest, 0.95))
    for nose in flight.pieces:
        if nose.kind != "nose cone" or nose.printed is not None:
            continue
        length, across = nose.length or 0.0, nose.diameter or 0.0
        stress = shell_stress(
            float(air_density(0.0)) * fast**2 / 2,
            _AT_ANGLE,
            slope_area=NOSE_SLOPE * pi * across**2 / 4,
            arm=(1 - NOSE_CENTRE) * length,
            radius=across / 2,
            wall=_SHELL,
        )
        if stress > LAYER_STRENGTH.first:
            yield (
                f"{nose.name}: whether it holds, if it is printed, at {fast:.0f} m/s is not "
                "worked out: state it, printed = true with its thickness, or printed = false"
            )


def _stands(fin: Piece) -> float:
    """Speed up to which a fin of which too little is told is taken to hold [m s⁻¹].

    It is as thick as told, of the softest that its mass allows; or as thin as so little
    plywood, where no thickness is told.
    """
    may_be_printed = bool(fin.planform()) and _may_be_printed(fin)
    usual = _PRINTED_MAY if fin.printed or may_be_printed else _MAY_FLUTTER
    if fin.planform() and not may_be_printed:
        return usual
    root = fin.root or sqrt(fin.fin_area / 0.75)
    tip = root / 2 if fin.tip is None else fin.tip
    root, tip = max(root, tip), min(root, tip)  # as for those worked out
    thick = fin.thickness or fin.mass / fin.fin_area / DENSITY["plywood"][1]
    shape = FinPlanform(root, tip, fin.span or root, min(thick, root / 10))
    filled = SLICED if may_be_printed else fin.filled
    softest = min(_softest(fin)) * solid_share(thick, filled)
    at = flutter_speed(shape, softest, SEA_LEVEL_PRESSURE, speed_of_sound(0.0))
    return min(usual, float(at))


def _softest(fin: Piece) -> Iterator[float]:
    """Yield the least shear modulus of each that a fin may be of, as printed if it may be [Pa]."""
    if fin.shear_modulus is not None:
        yield fin.shear_modulus * PRINTED.first
        return
    if fin.material is not None:
        made = [fin.material]
    elif fin.thickness is None:
        made = ["plywood"]
    else:
        solid = fin.fin_area * fin.thickness * (fin.filled or 1.0)
        made = made_of(fin.mass / solid) or [*SHEAR_MODULUS]
    for name in made:
        printed = fin.printed or (fin.printed is None and name == PLASTIC)
        yield SHEAR_MODULUS[name].first * (PRINTED.first if printed else 1.0)
