"""What two stages and motors lit in the air add: how they part, light, and come down.

The rocket of a case is what comes down under the flight's own recovery; the booster is one
more piece, with a way up of its own from where the stages part.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from math import pi, sqrt
from typing import Final, TypeAlias

from driftmap.core.spread import Spread
from driftmap.rocket.airframe import Airframe
from driftmap.rocket.bodies import CROSSFLOW_DRAG, Bench, bench_of
from driftmap.rocket.case import Body, Case, Opening, Release, Stage
from driftmap.rocket.fields import Uncertain
from driftmap.rocket.flight import Apogee, Flight
from driftmap.rocket.opening_order import rises_for
from driftmap.rocket.opening_outcomes import opened_as_planned, planned_ends
from driftmap.rocket.staged_fall import staged_fall
from driftmap.rocket.stages import BOOSTER, Descent, Device
from driftmap.rocket.thrust_failures import booster_fins_off, bursts_above

DOES_NOT_LIGHT: Final = "does not light"

UNLIT: Final = "unlit"
LATE: Final = "lit late"
TOGETHER: Final = "together"
"""Ways up beside the planned one: the motor in the air never lights; it lights late, as far
turned over as the rocket is by then; the stages never part and it pushes both."""

_LIT_LATE: Final = Spread("uniform", 1.0, 6.0, "lights 1 to 6 s late")
"""How much later than planned a motor lights in the air, if it does. Assumed."""

FALLING_BACK: Final = "drag of the booster on the way up"

_BLUNT: Final = Spread(
    "lognormal", 0.9, 0.3, "drag coefficient 0.9, spread 30 %, its front being open"
)
"""Drag coefficient of a booster that flies straight, on its cross-section. Assumed."""

_WHOLE: Final = ("first second", "burn", "rail")
"""Releases before the stages part, after which the booster is no piece of its own."""


def _does_not_light(what: str, bench: Bench) -> list[Case]:
    """Let the rocket fly on with a full motor: heavier, lower, its recovery as planned."""
    name, release = f"{what} {DOES_NOT_LIGHT}", Release(way=UNLIT)
    devices = bench.devices()
    if not devices:
        return [Case(name, release, (bench.rocket(bench.unopened()),))]
    if devices[0].opens_at.at == "time":
        bench.note(
            f"{name}: nothing opens, as what opens at a time is taken to be let go by that "
            "motor (assumed)"
        )
        return [Case(name, release, (bench.rocket(bench.nose_first()),))]
    return [
        replace(case, release=replace(case.release, way=UNLIT))
        for case in opened_as_planned(bench, name, told=name)
    ]


def _lights_late(what: str, bench: Bench) -> list[Case]:
    """Light the motor with the nose far over; nothing opens at the speed it then has."""
    name = f"{what} lights late"
    bench.need("late ignition", _LIT_LATE, name)
    bench.note(f"{name}: what should open does not, or is torn off (assumed)")
    body = bench.rocket(bench.nose_first())
    return [Case(name, Release(way=LATE), (body,), seldom=True)]


def _stay_together(bench: Bench) -> list[Case]:
    """Light the sustainer on the booster; both come down in one piece, nose first."""
    name = "stages do not part"
    bench.note(
        f"{name}: the sustainer lights all the same and pushes both; nothing opens (assumed)"
    )
    area = bench.flight.airframe.cross_section
    stage = Stage(((area, "drag coefficient of both stages"),), nose_first=True)
    return [Case(name, Release(way=TOGETHER), (bench.rocket(stage),), seldom=True)]


def _booster_fails(bench: Bench) -> list[Case]:
    """Let the booster come down as it is, the sustainer as planned."""
    own = _booster_bench(bench)
    fall = staged_fall(bench, bench.devices())
    bodies = (
        bench.rocket(*fall.stages),
        *_named((own.rocket(own.nose_first()),), Release(way=BOOSTER)),
    )
    return [Case("recovery of the booster fails", fall.release, bodies)]


def with_booster(bench: Bench, cases: list[Case], planned: str) -> list[Case]:
    """Let the booster fall beside the rocket in every case in which the stages part.

    Its planned openings end by their load as the rocket's do, beside a flight that goes as
    `planned`.
    """
    if bench.flight.sustainer is None:
        return cases
    own = _booster_bench(bench)
    bench.note(
        "what goes wrong before the stages part: the whole rocket falls with the drag of the "
        "sustainer, whose motor stays unlit but off the path (assumed)"
    )
    fall = staged_fall(own, own.devices())
    release = replace(fall.release, way=BOOSTER)
    falls = _named((own.rocket(*fall.stages),), release)
    held, broken = planned_ends(own, fall)
    found = []
    for case in cases:
        beside = _beside(case, falls)
        if case.name != planned:
            found.append(beside)
            continue
        found.append(_only_where(beside, held, release))
        for told, bodies, openings in broken:
            fallen = (*case.bodies, *_named(bodies, release))
            torn = replace(case, name=f"planned opening, {told}", bodies=fallen)
            found.append(_only_where(torn, openings, release))
    return found


def _only_where(case: Case, openings: tuple[Opening, ...], release: Release) -> Case:
    """Let a case be that of openings of the booster, which begin with its release."""
    only = case.only if isinstance(case.only, tuple) else ()
    timed = (replace(opening, release=release) for opening in openings)
    return replace(case, only=(*only, *timed))


def _beside(case: Case, falls: tuple[Body, ...]) -> Case:
    there = any(body.name == BOOSTER for body in case.bodies)
    if there or case.release.way == TOGETHER or case.release.at in _WHOLE:
        return case
    return replace(case, bodies=(*case.bodies, *falls))


def _named(bodies: tuple[Body, ...], release: Release) -> tuple[Body, ...]:
    """Give bodies of the booster its name and the moment it is let go."""
    return tuple(
        replace(
            body, name=BOOSTER if body.name == "rocket" else body.name, release=release
        )
        for body in bodies
    )


def booster_by_opening(flight: Flight) -> list[Device]:
    """List the devices of a booster as they open; a time on its way up before its apogee."""
    if flight.sustainer is None:
        return []
    return _booster_bench(bench_of(flight)).devices()


def _booster_bench(bench: Bench) -> Bench:
    """Put the booster on a bench of its own, with the same inputs."""
    flight, booster = bench.flight, bench.flight.booster
    whole, upper = flight.airframe, flight.falling
    length = flight.booster_length or whole.length - upper.length
    # What is left of two stages is not held to the bounds of what a file may say.
    frame = Airframe.model_construct(
        mass=Uncertain(flight.booster_mass),
        diameter=min(whole.diameter, length),
        length=length,
    )
    devices = () if booster is None else booster.recovery
    descent = None if booster is None else booster.descent
    if not devices and descent is None:
        descent = Descent(planned="tumbling")
        bench.note("booster: it tumbles down, as nothing is said of it (assumed)")
    broad = CROSSFLOW_DRAG * frame.length * frame.diameter
    straight = _BLUNT.first * pi * frame.diameter**2 / 4
    top = rises_for(flight, (flight.booster_mass, sqrt(straight * broad)))
    alone = {
        "airframe": frame,
        # Of no height: only the order in which its devices open hangs on it.
        "apogee": Apogee.model_construct(height=Uncertain(0.0), time=Uncertain(top)),
        "motor": None,
        "sustainer": None,
        "booster": None,
        "recovery": devices,
        "descent": descent,
        "pieces": (),
    }
    drag = bench.need("drag coefficient of the booster", _BLUNT, "booster")
    note = "anything from straight on to broadside"
    low, high = sorted((straight, broad))
    bench.need(
        FALLING_BACK, Spread("loguniform", low, high, note), "booster on the way up"
    )
    return Bench(flight.model_copy(update=alone), bench.spreads, bench.assumed, drag)


def stages_not_flown(flight: Flight) -> list[str]:
    """Tell what stages and motors lit in the air may do that was not flown: it must hold."""
    told = []
    if flight.sustainer is not None and not flight.booster_fins:
        told.append(
            "fins coming off the booster was not flown: the flight file lists none of them "
            "as [[booster.piece]]"
        )
    count = 1 if flight.upper is None else flight.upper.motor.count
    if count > 1:
        told.append(
            f"part of the {count} motors that light in the air lighting was not flown"
        )
    return told


May: TypeAlias = Callable[[Flight], bool]
"""Whether a cause can happen to a flight."""

StageCause: TypeAlias = tuple[str, Callable[[Bench], list[Case]], May]
"""A cause, what makes its cases, and which flights it can happen to."""


def _above(what: str) -> May:
    return lambda flight: flight.upper_name == what


def _two_stages(flight: Flight) -> bool:
    return flight.sustainer is not None


STAGED: Final[tuple[StageCause, ...]] = (
    *(
        (f"{what} {how}", partial(make, what), _above(what))
        for what in ("sustainer", "air start")
        for how, make in (
            (DOES_NOT_LIGHT, _does_not_light),
            ("lights late", _lights_late),
            ("bursts", bursts_above),
        )
    ),
    ("stages do not part", _stay_together, _two_stages),
    (
        "recovery of the booster fails",
        _booster_fails,
        lambda flight: bool(flight.booster and flight.booster.recovery),
    ),
    (
        "fins of the booster come off",
        booster_fins_off,
        lambda flight: bool(flight.booster_fins),
    ),
)
"""Those of stages and motors lit in the air."""
