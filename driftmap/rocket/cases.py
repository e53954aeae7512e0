"""What can happen to a flight: the list of cases, and how likely each is.

To add a case, write a function that takes the bench and returns cases, and list it in
`_CASES` with the name of its cause and the flights it can happen to; give that cause a default
in ``likelihood.csv``. Those that a flight file describes itself are read at the end.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache
from typing import Final, NoReturn

from driftmap.core.errors import FlightError, nearest, quoted
from driftmap.core.spread import Spread
from driftmap.formulas.fragments import FRICTION, REBOUND
from driftmap.rocket.bodies import Bench, bench_of, normal
from driftmap.rocket.breakup import bend, case_ejected, fins_off, flutter, nose_lost
from driftmap.rocket.case import Body, Burn, Case, CaseTree, Release, Stage
from driftmap.rocket.flight import ByContent, Flight, OwnCase
from driftmap.rocket.likelihood import BARE, CERTAIN, LIKELIHOOD, WORKS, likelihoods
from driftmap.rocket.opening_outcomes import opened_as_planned, opening_cases
from driftmap.rocket.pieces import plate_rim
from driftmap.rocket.stage_cases import (
    STAGED,
    May,
    StageCause,
    stages_not_flown,
    with_booster,
)
from driftmap.rocket.staged_fall import staged_fall
from driftmap.rocket.stages import BOOSTER, Device
from driftmap.rocket.thrust_failures import (
    bursts,
    goes_off,
    part_lit,
    still_burning,
    tears_loose,
    tips_over,
)

_TANGLED: Final = Spread(
    "uniform", 0.1, 0.5, "a tangled canopy keeps 10 to 50 % of its drag"
)
_FRONT: Final = "front half"
BROKEN: Final = "broken piece"

_SMALL: Final = 0.02
"""Mass of what a strike throws over that of the rocket, where no fin is listed. Assumed."""

_LATE: Final = Spread("uniform", 1.0, 4.0, "1 to 4 s after apogee")

OWN_NAMES: Final = ("rocket", "fragment", "loose motor", BOOSTER, _FRONT, BROKEN)
"""Names of bodies that no file lists."""


_UNDER_POWER: Final = ("first second", "rail", "off rail", "burn", "max q")


def _works(bench: Bench) -> list[Case]:
    return opened_as_planned(bench, WORKS)


def _bare(bench: Bench) -> list[Case]:
    """Fall as planned, without any recovery."""
    return [Case(BARE, Release(), (bench.rocket(bench.unopened()),))]


def _nothing(bench: Bench) -> list[Case]:
    return [Case("nothing deploys", Release(), (bench.rocket(bench.nose_first()),))]


def _early(bench: Bench) -> list[Case]:
    """Open the largest device on the way up."""
    when = bench.need("early moment", EARLY, "early opening")
    release = Release("coast", when)
    return opening_cases(bench, "early opening", release, bench.largest())


def _waits(bench: Bench, device: Device) -> tuple[Release, tuple[Stage, ...]]:
    """Wait some seconds after the trigger of the first device, until it is open."""
    fall = staged_fall(bench, [device])
    seconds = bench.need("late by", _LATE, "late opening")
    *first, waiting = fall.before[device.name]
    return fall.release, (*first, replace(waiting, mark=seconds), waiting)


def _late(bench: Bench) -> list[Case]:
    """Open the first device some seconds after its trigger."""
    device = bench.devices()[0]
    release, before = _waits(bench, device)
    return opening_cases(bench, "late opening", release, device, before)


def _cord_cuts(bench: Bench) -> list[Case]:
    """Let the cord cut the tube at a late opening: the rocket comes down in two parts."""
    device, *later = bench.devices()
    if device.kind != "canopy":
        return []
    release, before = _waits(bench, device)
    whole, frame = bench.flight.dry_mass, bench.flight.falling
    bench.note(
        "cord cuts the tube: half of the rocket hangs on what opens, the half with the fins "
        "tumbles down (assumed)"
    )
    area, share = bench.tumbling()
    tail = bench.rocket(
        Stage(((area / 2, share),)), less=whole / 2, before=before, unlit=True
    )
    hanging, glide = (bench.cloth(device),), bench.glide(device)
    later = [d for d in later if d.opens_at.at != "apogee"]
    stages = staged_fall(bench, later, hanging=hanging, glide=glide).stages
    face = frame.length * frame.diameter / 2
    front = Body(_FRONT, whole / 2, stages, face, before=before)
    rim = frame.length + 2 * frame.diameter
    bodies = (replace(tail, area=face, rim=rim), front)
    return [Case("cord cuts the tube", release, bodies, seldom=True)]


def _tangled(bench: Bench) -> list[Case]:
    """Tangle the largest device; the others open as planned."""
    share = bench.need("tangled canopy", _TANGLED, "tangled canopy")
    device = bench.largest()
    fall = staged_fall(bench, bench.devices())
    others = [bench.cloth(d) for d in bench.devices() if d is not device]
    drag = (bench.tumbling(), *others, bench.weakened(device, share))
    body = bench.rocket(*fall.stages[:-1], Stage(drag))
    return [Case("canopy tangles", fall.release, (body,))]


def _main_at_apogee(bench: Bench) -> list[Case]:
    """Open everything at the first device's trigger."""
    first, main = bench.devices()[0], bench.largest()
    fall = staged_fall(bench, [first])
    beside = [d for d in bench.devices() if d is not main]
    return opening_cases(
        bench,
        "main at apogee",
        fall.release,
        main,
        fall.before[first.name],
        beside=beside,
        alone=True,
    )


def _drogue_fails(bench: Bench) -> list[Case]:
    """Open the second device from a nose-first fall, the first having failed."""
    _, second, *_ = devices = bench.devices()
    fall = staged_fall(bench, devices[1:])
    return opening_cases(
        bench, "drogue fails", fall.release, second, fall.before[second.name]
    )


def _drogue_only(bench: Bench) -> list[Case]:
    fall = staged_fall(bench, bench.devices()[:-1])
    return [Case("drogue only", fall.release, (bench.rocket(*fall.stages),))]


def _opens(count: int) -> May:
    return lambda flight: len(flight.recovery) >= count


def _lists(kind: str) -> May:
    return lambda flight: any(piece.kind == kind for piece in flight.pieces)


def _has(kind: str) -> May:
    """Return whether a kind of piece is listed, or may be thrown off in place of what opens."""
    return lambda flight: bool(flight.recovery) or _lists(kind)(flight)


def _any(flight: Flight) -> bool:
    del flight
    return True


_CASES: Final[tuple[StageCause, ...]] = (
    (WORKS, _works, _opens(1)),
    (BARE, _bare, lambda flight: not flight.recovery),
    ("nothing deploys", _nothing, _opens(1)),
    ("early opening", _early, _opens(1)),
    ("late opening", _late, _opens(1)),
    ("canopy tangles", _tangled, _opens(1)),
    ("cord cuts the tube", _cord_cuts, _opens(1)),
    ("fins come off", fins_off, _lists("fin")),
    (CERTAIN, flutter, _any),
    (CERTAIN, bend, _any),
    ("main at apogee", _main_at_apogee, _opens(2)),
    ("drogue only", _drogue_only, _opens(2)),
    ("drogue fails", _drogue_fails, _opens(2)),
    ("nose cone lost", nose_lost, _has("nose cone")),
    ("motor case ejected", case_ejected, _has("motor case")),
    ("motor bursts", bursts, _any),
    ("goes off its path", goes_off, _any),
    ("rod tips over", tips_over, _any),
    (
        "part of the cluster lights",
        part_lit,
        lambda f: bool(f.motor and f.motor.count > 1),
    ),
    ("motor tears loose", tears_loose, _any),
    *STAGED,
)
"""Causes, what makes their cases, and which flights they can happen to."""


def build_cases(flight: Flight) -> CaseTree:
    """List what can happen to a flight.

    ``flight``: the flight as planned.

    Result: cases, inputs and what was assumed. Each case has the likelihood of its
    cause; flying shows how it is shared among those with the same cause. Raises
    `FlightError` if the flight file gives a likelihood to a case that does not exist
    for it, or more than all of it together.
    """
    return _built(ByContent(flight))


@lru_cache(maxsize=64)  # every wind of a plan asks
def _built(same: ByContent) -> CaseTree:
    flight, bench = same.flight, bench_of(same.flight)
    built = [
        replace(case, cause=cause)
        for cause, make, may in _CASES
        if may(flight)
        for case in make(bench)
    ]
    _check_names(flight, built)
    built += [
        replace(case, cause=own.name)
        for own in flight.own_cases
        for case in own_cases(bench, own)
    ]
    names = [case.name for case in built]
    if twice := next((name for name in names if names.count(name) > 1), None):
        text = f"the name {twice!r} belongs to a case that is there already"
        raise FlightError(flight.source, "case", text)
    built = with_booster(bench, built, WORKS if flight.recovery else BARE)
    built = [replace(case, ahead=_ahead(case)) for case in built]
    likely = likelihoods(bench, built)
    built = [replace(case, bodies=_broken(bench, case.bodies)) for case in built]
    # One whose likelihood is set to 0 is flown all the same: what happens if it does
    # happen is asked of every failure.
    cases = [replace(case, likelihood=likely[case.cause]) for case in built]
    missing = _missing(flight, bench)
    return CaseTree(tuple(cases), bench.spreads, tuple(bench.assumed), missing)


def _ahead(case: Case) -> bool:
    """Return whether a case happens before fins break of themselves, or as they would."""
    if case.cause in (WORKS, BARE, CERTAIN):
        return False
    timed = case.cause not in LIKELIHOOD and case.release.at == "time"
    return timed or case.release.at in _UNDER_POWER or case.release.way != ""


def _broken(bench: Bench, bodies: tuple[Body, ...]) -> tuple[Body, ...]:
    """Add what is thrown about where a rocket strikes nose first."""
    rocket = next(body for body in bodies if body.name == "rocket")
    if not rocket.stages[-1].nose_first:
        return bodies
    bench.note(
        "where a rocket strikes nose first pieces are thrown; the farthest of three is flown "
        f"on: {REBOUND.assumed}, {FRICTION.assumed} (assumed)"
    )
    fins = [p for p in bench.flight.pieces if p.kind == "fin"]
    mass = max((fin.mass for fin in fins), default=_SMALL * rocket.mass)
    area = max(
        (fin.fin_area for fin in fins), default=bench.flight.falling.cross_section
    )
    rim = max((fin.rim for fin in fins), default=plate_rim(area))
    piece = replace(rocket, name=BROKEN, mass=mass, area=area, rim=rim, broken=True)
    return (*bodies, piece)


def _missing(flight: Flight, bench: Bench) -> tuple[str, ...]:
    """Tell what was not flown for want of data: what must hold, and what is noted."""
    fins = [piece for piece in flight.pieces if piece.kind == "fin"]
    if any(fin.planform() is None for fin in fins):
        bench.note(
            "flutter: not worked out for fins without shape, thickness and material; "
            "fins coming off has its likelihood all the same"
        )
    text = "fins coming off was not flown: the flight file lists no fins"
    return (*([] if fins else [text]), *stages_not_flown(flight))


def _check_names(flight: Flight, built: list[Case]) -> None:
    """Refuse names that would hide a case or a body behind another."""
    taken = {WORKS, BARE, CERTAIN, *LIKELIHOOD, *(case.name for case in built)}
    devices = [device.name for device in flight.devices]
    pieces = [piece.name for piece in (*flight.pieces, *flight.booster_fins)]
    for key, names, others, what in (
        (
            "case",
            [own.name for own in flight.own_cases],
            taken,
            "a case that is there already",
        ),
        ("piece", pieces, {*OWN_NAMES, *devices}, "another body"),
        ("recovery", devices, {*OWN_NAMES}, "another body"),
    ):
        for name in names:
            if name in others:
                text = f"the name {name!r} belongs to {what}"
                raise FlightError(flight.source, key, text)


EARLY: Final = Spread("uniform", 0.0, 1.0, "any moment from its fastest to apogee")


def own_cases(bench: Bench, own: OwnCase) -> list[Case]:
    """Build a case that the flight file describes, with all its ends."""
    loose, gone = _loose(bench, own)
    falls, release = own.rocket_falls, _release(bench, own)
    if release.at == "time" and not own.burns_on:
        bench.note(f"{own.name}: burns no more from then on (assumed; see burns_on)")
    devices = {
        device.name: device
        for device in bench.devices()
        if device.name not in own.loose
    }
    if falls in devices and not own.burns_on:
        device = devices[falls]
        return opening_cases(
            bench, own.name, release, device, alone=True, less=gone, loose=loose
        )
    if falls not in ("nose first", "tumbling"):
        known = ["nose first", "tumbling", *({} if own.burns_on else devices)]
        _refuse(bench, own, "rocket_falls", falls, known)
    stage = bench.nose_first() if falls == "nose first" else bench.tumble()
    burning: tuple[Stage, ...] = ()
    if own.burns_on and falls == "nose first":
        burning = (replace(stage, burn=Burn(), until="burnout"),)
    elif own.burns_on:
        burning = (still_burning(bench),)
    return [Case(own.name, release, (bench.rocket(*burning, stage, less=gone), *loose))]


def _loose(bench: Bench, own: OwnCase) -> tuple[tuple[Body, ...], float]:
    """Let go of what a case names, pieces or devices; give its mass as well [kg]."""
    pieces = {piece.name: piece for piece in bench.flight.pieces}
    devices = {device.name: device for device in bench.devices()}
    bodies = []
    for name in own.loose:
        if own.loose.count(name) > 1:
            text = f"{quoted(name)} stands twice; name each once"
            raise FlightError(bench.flight.source, f"case {own.name!r}, loose", text)
        if name in pieces:
            bodies.append(bench.loose(pieces[name]))
        elif name in devices:
            bodies.append(bench.empty(devices[name], ()))
        else:
            _refuse(bench, own, "loose", name, [*pieces, *devices])
    return tuple(bodies), sum(body.mass * body.count for body in bodies)


def _release(bench: Bench, own: OwnCase) -> Release:
    if own.at == "coast":
        return Release("coast", bench.need("early moment", EARLY, own.name))
    if own.at in ("apogee", "max q"):
        return Release("apogee" if own.at == "apogee" else "max q")
    trigger = own.time()
    mark = bench.need(f"{own.name} at", normal(trigger, 0.1 * trigger.value))
    return Release("off rail" if own.burns_on else "time", mark)


def _refuse(
    bench: Bench, own: OwnCase, key: str, name: str, known: Iterable[str]
) -> NoReturn:
    text = f"{quoted(name)} is not listed; {nearest(name, known)}"
    raise FlightError(bench.flight.source, f"case {own.name!r}, {key}", text)
