"""What comes off a rocket or breaks: fins, nose cone and motor case."""

from __future__ import annotations

from typing import Final

from driftmap.core.spread import Spread
from driftmap.formulas.materials import (
    BENDING_STRENGTH,
    LAYER_STRENGTH,
    PRINTED,
    SHEAR_MODULUS,
)
from driftmap.rocket.bodies import Bench
from driftmap.rocket.case import Body, Breaks, Case, Release
from driftmap.rocket.flight import Flight
from driftmap.rocket.pieces import SLICED, Piece
from driftmap.rocket.staged_fall import staged_fall
from driftmap.rocket.thrust_failures import (
    ejected_mass,
    motor_case,
    still_burning,
)

BREAKS_OFF: Final = "breaks off"
"""How a case ends in which a printed nose cone gives."""

_BOUNDARY: Final = Spread(
    "lognormal", 1.0, 0.15, "flutter speed within 15 % of the published line"
)
"""The published criterion is a line through scattered data; its scatter is assumed."""

_ASKEW: Final = Spread(
    "uniform", 0.009, 0.052, "flies at 0.5 to 3° to the airstream even in still air"
)
"""Angle of attack of a rocket that swings, spins or is not quite straight. Assumed."""

_GUST: Final = Spread(
    "uniform", 0.3, 1.5, "meets sudden gusts of 0.3 to 1.5 times the wind at the rail"
)
"""Sharp change of the wind that bends fins, over the wind on leaving the rail. Assumed."""


def _loose(bench: Bench, kind: str) -> tuple[list[Body], float]:
    """Let the pieces of a kind come off; give their mass as well [kg]."""
    loose = [bench.loose(p) for p in bench.flight.pieces if p.kind == kind]
    return loose, sum(body.mass * body.count for body in loose)


def fins_off(bench: Bench) -> list[Case]:
    """Shed all fins at the greatest dynamic pressure."""
    fins, less = _loose(bench, "fin")
    body = bench.rocket(still_burning(bench), bench.tumble(), less=less)
    return [Case("fins come off", Release("max q"), (body, *fins))]


def flutter(bench: Bench) -> list[Case]:
    """Shed the fins when the flight passes their flutter speed."""
    cases = []
    for fin in bench.flight.pieces:
        if fin.kind != "fin" or fin.planform() is None:
            continue
        if fin.shear_modulus is not None:
            stiff = Spread(
                "normal", fin.shear_modulus, 0.1 * fin.shear_modulus, "spread 10 %"
            )
        else:
            stiff = SHEAR_MODULUS[fin.material or ""]
        bench.need(f"{fin.name} shear modulus", stiff, fin.name)
        bench.need(f"{fin.name} flutter boundary", _BOUNDARY, fin.name)
        if fin.printed:
            bench.need(f"{fin.name} printed", PRINTED, fin.name)
        cases.append(_shed(bench, Breaks(fin, "flutter"), "flutters off"))
    return cases


def bend(bench: Bench) -> list[Case]:
    """Shed what a gust or its angle to the air bends more than it stands: fins, a printed nose."""
    cases = []
    for fin in bench.flight.pieces:
        if fin.plate() is None and not (fin.kind == "nose cone" and fin.printed):
            continue
        if fin.kind == "fin" and fin.printed and fin.infill is None:
            bench.note(f"{fin.name}: printed with {SLICED * 100:g} % infill (assumed)")
        stated = fin.strength or fin.layer_strength
        if stated is not None:
            strong = Spread("normal", stated, 0.15 * stated, "strength spread 15 %")
        elif fin.printed:
            strong = LAYER_STRENGTH
        else:
            strong = BENDING_STRENGTH[fin.material or ""]
        bench.need(f"{fin.name} strength", strong, fin.name)
        bench.need("fins askew", _ASKEW, "rocket")
        bench.need("gust on fins", _GUST, "rocket")
        told = "snaps" if fin.kind == "fin" else BREAKS_OFF
        cases.append(_shed(bench, Breaks(fin, "bending"), told))
    return cases


def _shed(bench: Bench, what: Breaks, told: str) -> Case:
    loose = bench.loose(what.fin)
    less = loose.mass * loose.count
    body = bench.rocket(still_burning(bench), bench.tumble(), less=less)
    release = Release("breaks", what.key)
    return Case(f"{what.fin.name} {told}", release, (body, loose), only=what)


_NOSE: Final = 0.07
"""Mass of a nose cone over all that comes down, where none is listed: as that of the invented
rockets of the examples; assumed."""

_SLENDER: Final = 4.0
"""Its length over its diameter; common practice, no source."""


def nose_lost(bench: Bench) -> list[Case]:
    """Lose the nose cone as the recovery is let go, which opens all the same.

    Every rocket has one: where none is listed, one is assumed.
    """
    noses, less = _loose(bench, "nose cone")
    if not noses:
        noses = [_assumed_nose(bench)]
        less = noses[0].mass
    fall = staged_fall(bench, bench.devices())
    body = bench.rocket(*fall.stages, less=less)
    return [Case("nose cone lost", fall.release, (body, *noses))]


def _assumed_nose(bench: Bench) -> Body:
    flight, frame = bench.flight, bench.flight.falling
    nose = Piece(
        name=_free(flight, "nose cone", "nose of the rocket"),
        kind="nose cone",
        mass=_NOSE * flight.dry_mass,
        diameter=frame.diameter,
        length=min(_SLENDER * frame.diameter, frame.length / 2),
    )
    bench.note(
        f"nose cone: {nose.mass * 1000:.0f} g, as wide as the rocket and four times as "
        "long (assumed; list a nose cone)"
    )
    return bench.loose(nose)


def _free(flight: Flight, usual: str, otherwise: str) -> str:
    """Name a piece that no file lists as nothing is named that one does."""
    taken = {p.name for p in flight.pieces} | {d.name for d in flight.devices}
    return otherwise if usual in taken else usual


def case_ejected(bench: Bench) -> list[Case]:
    """Push out the motor case in place of the recovery; the rocket falls nose first.

    Every motor has one: where none is listed, one is assumed.
    """
    motors, less = _loose(bench, "motor case")
    if not motors:
        name = _free(bench.flight, "motor case", "case of the motor")
        assumed = motor_case(bench, name, ejected_mass(bench.flight))
        motors, less = [bench.loose(assumed)], assumed.mass
    release = staged_fall(bench, bench.devices()).release
    body = bench.rocket(bench.nose_first(), less=less)
    return [Case("motor case ejected", release, (body, *motors))]
