"""What goes wrong under power: off the path, part of a cluster, a motor loose or burst.

Each may go any way, and comes down near the pad: such a case is judged by its risk and by
the distance that people keep.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from driftmap.core.spread import Spread
from driftmap.formulas.fragments import ENERGY_SHARE, gas_energy
from driftmap.rocket.bodies import PLATE_DRAG, Bench
from driftmap.rocket.case import LIGHTS, Body, Burn, Case, Kick, Release, Stage
from driftmap.rocket.flight import Flight
from driftmap.rocket.pieces import Burst, Piece, plate_rim
from driftmap.rocket.stages import BOOSTER, Motor

_OFF: Final = Spread(
    "uniform", 0.349, 1.396, "20 to 80° from the vertical, any way, at full thrust"
)
"""How far a rocket leaves its path [rad]. Assumed: less is an ordinary flight in wind, more
strikes the ground near the pad."""

_TIPPED: Final = Spread(
    "uniform",
    0.175,
    1.047,
    "10 to 60° from the vertical, any way, as it leaves the rod",
)
"""How far a rod has tipped as the rocket leaves it [rad]. Assumed."""

_TUMBLING: Final = Spread(
    "uniform", 0.0, 0.5, "tumbling or spiralling, 0 to 50 % of its thrust acts one way"
)
"""Share of the thrust of a body that does not hold its attitude. Assumed: a spiral of 60°
about its axis keeps 50 %, a tumble almost none."""

_ANY_TILT: Final = Spread("uniform", 0.0, 2.1, "up to 120° from the vertical, any way")
_TORN: Final = Spread("uniform", 0.0, 1.0, "any moment of the burn")
_MOMENT: Final = Spread("uniform", 0.0, 1.0, "in the first second")

_CASE_SHARE: Final = 1.0
"""Mass of a motor case over its propellant. Common practice, no source: 0.7 to 1.5."""

_EMPTY_MOTOR: Final = 0.08
"""Mass of a motor case over that of the rocket, where no propellant is known. Assumed."""

_GIVES_AT: Final = 10e6
"""Gauge pressure at which a case gives where it is not stated [Pa]. Assumed, high: small
motors run at 2 to 7 MPa (common practice, no source) and are proved to half as much again."""

_PIECES: Final = 6
"""Fragments of a case. Assumed: two ends, four parts of the wall."""

_ENDS: Final = 2
"""Those of them that are ends: a closure and a nozzle. Assumed."""

_END: Final = Spread(
    "lognormal", 0.3, 0.25, "an end has three tenths of a wall's drag area, spread 25 %"
)
"""Drag area of an end over that of a tumbling piece of wall as heavy. Assumed: closures and
nozzles have some 40 kg for each m² of their face, and 0.9 as drag coefficient on it."""

_FRAGMENT: Final = Spread("lognormal", 1.0, 0.25, "spread 25 % of its drag area")
"""The same of a piece of wall, and of fragments whose area is stated. Assumed."""

_WALL: Final = 8.0
"""Mass of a case's wall for each m² [kg m⁻²]: 3 mm of aluminium. Assumed."""

_GRAIN: Final = 1700.0
"""Density of propellant, whose room is that of the gas when a case gives late [kg m⁻³].
Common practice, no source."""


def goes_off(bench: Bench) -> list[Case]:
    """Leave the rail at an angle: unstable, a fin or a guide torn off, a rod bent."""
    tilt = bench.need("off its path", _OFF, "off its path")
    bodies = _off(bench, Burn(tilt, turned=True))
    return [_any_way("goes off its path", Release("rail"), bodies)]


def tips_over(bench: Bench) -> list[Case]:
    """Leave a rod that tips or breaks loose; a steady rocket flies on along its path."""
    tilt = bench.need("rod tipped", _TIPPED, "rod tips over")
    bodies = _off(bench, Burn(tilt, turned=True))
    return [_any_way("rod tips over", Release("rail"), bodies)]


def _off(bench: Bench, burn: Burn) -> tuple[Body, ...]:
    return _lit(bench, replace(bench.nose_first(), burn=burn, until="burnout"))


def _lit(bench: Bench, start: Stage, less: float = 0.0) -> tuple[Body, ...]:
    """Burn on off the path; what lights in the air lights there, wherever the nose points.

    ``less``: mass that has come off the booster [kg].
    """
    nose = bench.nose_first()
    if bench.flight.upper is None:
        return (bench.rocket(start, nose),)
    wait = replace(nose, until="time", mark=LIGHTS)
    again = replace(nose, burn=Burn(upper=True), until="burnout")
    rocket = bench.rocket(start, wait, again, nose)
    if bench.flight.sustainer is None:
        return (rocket,)
    whole = bench.flight.airframe
    face, rim = whole.length * whole.diameter, 2 * (whole.length + whole.diameter)
    stages = (start, bench.tumble())
    mass = bench.flight.booster_mass - less
    return rocket, Body(BOOSTER, mass, stages, face, rides=True, rim=rim)


def part_lit(bench: Bench) -> list[Case]:
    """Leave the rail with part of a cluster lit, which pushes beside the middle."""
    count = 1 if bench.flight.motor is None else bench.flight.motor.count
    share = Spread("uniform", 1 / count, 1 - 1 / count, f"1 to {count - 1} of {count}")
    lit = bench.need("share of the cluster lit", share, "part of the cluster lights")
    tilt = bench.need("off its path", _OFF, "off its path")
    bodies = _off(bench, Burn(tilt, lit, turned=True))
    return [_any_way("part of the cluster lights", Release("rail"), bodies)]


def still_burning(bench: Bench) -> Stage:
    """Let a rocket whose fins are gone burn on as it tumbles."""
    tilt = bench.need("way of a tumbling burn", _ANY_TILT, "tumbling under thrust")
    share = bench.need("tumbling thrust", _TUMBLING, "tumbling under thrust")
    return replace(bench.tumble(), burn=Burn(tilt, share), until="burnout")


def booster_fins_off(bench: Bench) -> list[Case]:
    """Shed the fins that carry both stages; the sustainer lights wherever its nose points."""
    listed = bench.flight.booster_fins
    name = "fins of the booster come off"
    when = bench.need("moment the booster sheds its fins", _TORN, name)
    bench.note("booster: whether its fins flutter or bend is not worked out")
    fins = [bench.loose(fin) for fin in listed]
    less = sum(fin.mass * fin.count for fin in listed)
    bodies = (*_lit(bench, still_burning(bench), less), *fins)
    return [_any_way(name, Release("burn", when), bodies)]


def tears_loose(bench: Bench) -> list[Case]:
    """Let the motor fly on alone; the rocket goes on without thrust, nose first."""
    listed = [p for p in bench.flight.pieces if p.kind == "motor case"]
    whole = _case_mass(bench.flight, bench.flight.motor)
    motor = listed[0] if listed else motor_case(bench, "loose motor", whole)
    when = bench.need("moment of tearing loose", _TORN, "motor tears loose")
    tilt = bench.need("way of a loose motor", _ANY_TILT, "loose motor")
    share = bench.need("thrust of a loose motor", _TUMBLING, "loose motor")
    drag = bench.need("loose motor drag", bench.piece_drag(motor), "loose motor")
    stage = Stage(((1.0, drag),))
    burn = replace(stage, burn=Burn(tilt, share, alone=True), until="burnout")
    alone = Body(
        "loose motor", motor.mass, (burn, stage), motor.largest_area, rim=motor.rim
    )
    rocket = bench.rocket(bench.nose_first(), less=motor.mass, unlit=True)
    return [_any_way("motor tears loose", Release("burn", when), (rocket, alone))]


def bursts(bench: Bench) -> list[Case]:
    """Burst the motor on the pad or in the first second; fragments fly any way."""
    flight = bench.flight
    burst = flight.burst or _assumed_burst(
        bench, "motor bursts", _case_mass(flight, flight.motor), _burnt(flight)
    )
    when = bench.need("burst moment", _MOMENT)
    ends = 0 if flight.burst else _ENDS
    bodies = _apart(bench, burst, "fragment", ends)
    return [_any_way("motor bursts", Release("first second", when), bodies)]


def bursts_above(what: str, bench: Bench) -> list[Case]:
    """Burst the motor that lights in the air as it lights, with all of its propellant."""
    flight = bench.flight
    assert flight.upper is not None  # else it is not asked for
    name, burnt = f"{what} bursts", flight.upper.motor.propellant_mass
    mass = min(_CASE_SHARE * burnt, flight.dry_mass / 4)
    burst = _assumed_burst(bench, name, mass, burnt)
    bodies = _apart(bench, burst, f"fragment of {what}", _ENDS)
    return [_any_way(name, Release("time", LIGHTS), bodies)]


def _apart(bench: Bench, burst: Burst, what: str, ends: int) -> tuple[Body, Body]:
    """Return what is left of the rocket, and the fragments that are thrown, some of them ends."""
    share = bench.need("burst share", ENERGY_SHARE, "motor burst")
    energy = float(gas_energy(burst.pressure, burst.volume)) / burst.fragments
    for number in range(1, burst.fragments + 1):
        spread = _END if number <= ends else _FRAGMENT
        told = spread.assumed if number in (1, ends + 1) else ""
        bench.need(f"{what} {number} drag", replace(spread, assumed=told), what)
    drag = PLATE_DRAG * burst.fragment_area / 2, f"{what} {{n}} drag"
    stage = Stage((drag,))
    fragment = Body(
        "fragment",
        burst.fragment_mass,
        (stage,),
        burst.fragment_area,
        burst.fragments,
        Kick(energy, share),
        rim=plate_rim(burst.fragment_area),
    )
    less = burst.fragments * burst.fragment_mass
    return bench.rocket(bench.tumble(), less=less), fragment


def _any_way(name: str, release: Release, bodies: tuple[Body, ...]) -> Case:
    return Case(name, release, bodies, any_way=True)


def motor_case(bench: Bench, name: str, mass: float) -> Piece:
    """Assume a motor case of some mass [kg], without its propellant, where none is listed."""
    frame = bench.flight.falling
    bench.note(
        f"{name}: {mass * 1000:.0f} g without propellant, as wide as three quarters "
        "of the rocket and six times as long, or as long as it (assumed; list a motor case)"
    )
    width = 0.75 * frame.diameter
    return Piece.model_construct(
        name=name,
        kind="motor case",
        mass=mass,
        length=min(6 * width, frame.length),
        diameter=width,
    )


def ejected_mass(flight: Flight) -> float:
    """Mass of the one empty motor case that what comes down may push out [kg]."""
    motor = flight.upper.motor if flight.sustainer and flight.upper else flight.motor
    return _case_mass(flight, motor) / (1 if motor is None else motor.count)


def _burnt(flight: Flight) -> float:
    """Propellant of the first motor [kg]; that of a case's mass where it is not known."""
    if flight.motor is None:
        return _case_mass(flight, None)
    return flight.motor.propellant_mass


def _case_mass(flight: Flight, motor: Motor | None) -> float:
    """Mass of the empty cases of a motor [kg]; no more than a quarter of what is left."""
    burnt = 0.0 if motor is None else motor.propellant_mass
    mass = _CASE_SHARE * burnt if burnt else _EMPTY_MOTOR * flight.dry_mass
    return min(mass, flight.dry_mass / 4)


def _assumed_burst(bench: Bench, name: str, case: float, burnt: float) -> Burst:
    """Burst a case of some mass [kg] with the room of its propellant [kg]."""
    mass = case / _PIECES
    known = " (assumed; state [burst])" if name == "motor bursts" else " (assumed)"
    bench.note(
        f"{name}: at {_GIVES_AT / 1e6:.0f} MPa, in {_PIECES} fragments of "
        f"{mass * 1000:.0f} g, with its propellant's room full of gas{known}"
    )
    # Not held to the bounds of what a file may say: a speck of a motor has specks.
    return Burst.model_construct(
        pressure=_GIVES_AT,
        volume=burnt / _GRAIN,
        fragments=_PIECES,
        fragment_mass=mass,
        fragment_area=mass / _WALL,
    )
