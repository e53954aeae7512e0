"""Loads that flights meet, beside the strength that meets them: openings, fins, nose cones."""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from driftmap.air.column import AirColumn, local_air, through_air
from driftmap.core.checks import FloatArray, IntArray
from driftmap.core.units import STANDARD_GRAVITY
from driftmap.formulas.canopies import CANOPIES
from driftmap.formulas.drag import NOSE_CENTRE, NOSE_SLOPE, fin_slope
from driftmap.formulas.flutter import (
    flutter_speed,
    root_stress,
    shell_stress,
    solid_share,
)
from driftmap.formulas.opening import Inflation, opening_load
from driftmap.formulas.strength import (
    Strengths,
    breaking_chances,
    rope_stiffness,
    snatch_load,
)
from driftmap.montecarlo.launch import Plan
from driftmap.rocket.airframe import Airframe
from driftmap.rocket.case import Breaks, Case, CaseTree, Release, Stage
from driftmap.rocket.pieces import Piece
from driftmap.rocket.stages import BOOSTER, Device
from driftmap.trajectory.motion import Ascent, Motion

OPENED: Final = (
    "speed",
    "load",
    "weights",
    "snatch",
    "after_burnout",
    "height",
    "time",
)
"""What is kept of an opening: speed through the air [m s⁻¹], greatest load while it fills
[N], the same over the weight it slows, load when the lines come taut [N], time since
burnout, of a booster's since the stages part [s], height [m] and time since lift-off [s]."""

_LINES: Final = 1.2
"""Length of the lines over the canopy's diameter; common practice, no source."""

_CORD: Final = 4.0
"""Length of the cord over that of the rocket; common practice is 3 to 5, no source."""

_LEAST: Final = 16  # a case flies at least one in so many flights of its block
_STREAMER_CORD: Final = 500.0  # N; strength of a light cord, assumed
_POWERS: Final = (1.0, 0.7, 0.5, 0.35, 0.25, 0.15, 0.1, 0.0)
_ENOUGH: Final = 0.8  # of the flights wanted must tell as much as equal ones
_NEVER: Final = 1e-7  # share of flights below which a case is not flown at all


def _line_length(device: Device, rocket_length: float) -> float:
    """Return the length of lines and cord together [m]; common practice, no source."""
    across = device.nominal_diameter if device.kind == "canopy" else 0.0
    return _LINES * across + _CORD * rocket_length


def met_at_opening(
    device: Device,
    draws: Mapping[str, FloatArray],
    state: Motion,
    mass: FloatArray,
    air: AirColumn,
    *,
    rope: tuple[float, float],
    burnout: FloatArray,
) -> FloatArray:
    """Return what a device meets as it opens, `OPENED`, shape (7, n).

    `rope` is the mass of the packed device [kg] and the stiffness of what it hangs on
    [N/m]. The snatch is that of a pack which the air has stopped when the lines come
    taut: an upper bound.
    """
    near = local_air(air, state.height, np.arange(mass.size))
    _, _, speed, density = through_air(state.rows(), near)
    area = device.cloth_area * draws[f"{device.name} drag"]
    dive = np.clip(-state.v_up / np.maximum(speed, 1e-9), -1, 1)
    load = _load(device, area, mass, speed, density, dive)
    pack, stiffness = rope
    snatch = snatch_load(speed, pack * mass / (pack + mass), stiffness)
    weights = load / (mass * STANDARD_GRAVITY)
    return np.stack(
        [speed, load, weights, snatch, state.time - burnout, state.height, state.time]
    )


def _load(
    device: Device,
    area: FloatArray,
    mass: FloatArray,
    speed: FloatArray,
    density: FloatArray,
    dive: FloatArray,
) -> FloatArray:
    if device.kind == "streamer":  # drags from the moment it is out
        return np.asarray(density / 2 * area * speed**2)
    kind = CANOPIES[device.type]
    canopy = Inflation(
        diameter=device.nominal_diameter,
        drag_area=area,
        load_factor=float(np.mean(kind.load_factor)),
        filling=float(np.mean(kind.filling)),
        exponent=kind.exponent,
    )
    return opening_load(canopy, mass, speed, density, dive=dive)


def outcomes(opened: FloatArray, strength: Strengths) -> FloatArray:
    """Return the chances that openings hold, tear and rip off, shape (3, n)."""
    if not strength:
        none = np.zeros(opened.shape[1])
        return np.stack([none + 1, none, none])
    return breaking_chances(opened[1], strength, snatch=opened[3])


def stiffness_of(device: Device, strength: Strengths, rocket_length: float) -> float:
    """Return the stiffness of lines and cord by their strength [N/m]."""
    forces = [force for force, _ in strength.values()]
    weakest = min(forces) if forces else _STREAMER_CORD
    return float(rope_stiffness(weakest, _line_length(device, rocket_length)))


def chosen_flights(
    chance: FloatArray, natural: NDArray[np.bool_], rng: np.random.Generator
) -> tuple[IntArray, FloatArray]:
    """Choose the flights in which a case is flown, and what each stands for.

    ``chance``, shape (n,): how likely the case happens to each flight, given its cause;
    ``natural``, shape (n,): the flights that their own draws give it to; ``rng``: for a
    case too rare to be left to those.

    Result: distinct flights, alike in what they tell of the case. One that they give
    to fewer than one flight in 16 has about that many, taken as likely as it happens to
    them; where it happens to very few flights at all, those to which it nearly happens
    count too, shape (k,); and the flights that each of them stands for, which add up to
    the chances of all, shape (k,).
    """
    n, total = chance.size, float(chance.sum())
    if total <= _NEVER * n:
        return np.zeros(0, np.intp), np.zeros(0)
    who, likely = np.flatnonzero(natural & (chance > 0)), chance
    fewest = -(-n // _LEAST)
    if who.size < fewest:
        likely = _spread_out(chance, min(fewest, int(np.count_nonzero(chance > 0))))
        # Each flight by a draw of its own, so that other winds and plans take the same ones.
        with np.errstate(divide="ignore"):
            draw = rng.random(n) / likely
        who = np.flatnonzero(draw < 1)
        if not who.size:
            who = np.array([draw.argmin()])
    stands_for = chance[who] / likely[who]
    return who, stands_for * (total / stands_for.sum())


def _spread_out(chance: FloatArray, wanted: int) -> FloatArray:
    """Choose how likely each flight is taken, so that no few of them dominate.

    Chances are raised to a power below 1 until the flights taken tell as much as nearly
    so many equal ones.
    """
    likely = chance
    for power in _POWERS:
        even = np.where(chance > 0, chance**power, 0.0)
        likely = _shares(even, wanted)
        taken = likely > 0
        tells = even.sum() ** 2 / np.sum(even[taken] ** 2 / likely[taken])
        if tells >= _ENOUGH * wanted:
            break
    return likely


def _shares(chance: FloatArray, wanted: int) -> FloatArray:
    """Scale chances so that so many flights are wanted, none more than once."""
    share = np.zeros_like(chance)
    while True:
        free = share < 1
        left = wanted - np.count_nonzero(~free)
        sum_free = chance[free].sum()
        if left <= 0 or sum_free <= 0:
            return share
        scaled = chance * (left / sum_free)
        share = np.where(free, np.minimum(scaled, 1.0), 1.0)
        if not np.any(free & (scaled > 1)):
            return share


def load_and_strength(
    what: Breaks, ascent: Ascent, draws: Mapping[str, FloatArray], plan: Plan
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give the load met, the strength of a unit fin, and the factor on that which its draw brings.

    ``what``: which fins, and how they break; ``ascent``, shape (s, n): the way up;
    ``draws``, shape (n,): inputs drawn; ``plan``: the flight and its sky.

    Result: speed [m s⁻¹] and flutter speed of fins of 1 Pa, or stress [Pa] and 1, shape
    (s, n); and the factor on the second, shape (n,).
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
    factor = np.sqrt(stiff * _section(fin)) * draws[f"{fin.name} flutter boundary"]
    pressure = plan.sky.pressure(np.maximum(ascent.rows[:, 2], 0.0))
    return ascent.speed, flutter_speed(shape, 1.0, pressure, ascent.sound), factor


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
    return 1.0 if fin.thickness is None else solid_share(fin.thickness, fin.filled)


def ways_to_openings(tree: CaseTree) -> Iterator[tuple[Release, tuple[Stage, ...]]]:
    """Yield the stages before each opening that is looked at, from a release."""
    noted: set[tuple[str, str]] = set()
    for case in tree.cases:
        if isinstance(case.only, Breaks):
            continue
        for opening in case.only:
            noted.add((case.cause, opening.device.name))
            yield opening.release or case.release, opening.before
        for device, release, way in not_yet_noted(case, noted):
            noted.add((case.cause, device))
            yield release, way


def not_yet_noted(
    case: Case, noted: Container[tuple[str, str]]
) -> Iterator[tuple[str, Release, tuple[Stage, ...]]]:
    """Yield devices whose opening was not noted, the release, and the stages before it."""
    if isinstance(case.only, Breaks):
        return
    for body in case.bodies:
        if body.name not in ("rocket", BOOSTER):
            continue
        stages = (*body.before, *body.stages)
        for number, stage in enumerate(stages):
            if stage.opens and (case.cause, stage.opens) not in noted:
                yield stage.opens, body.release or case.release, stages[:number]
