"""What can happen to a flight: the list of cases, and how likely each is.

To add a case, write a function that takes the bench and returns cases, and list it in
`_CASES` with the name of its cause; give that cause a default in `LIKELIHOOD`.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable
from dataclasses import replace
from types import MappingProxyType
from typing import Final, NoReturn

from driftmap.errors import FlightError
from driftmap.failures.bodies import PLATE_DRAG, Bench, by_opening
from driftmap.failures.case import Body, Case, CaseTree, Kick, Opening, Release, Stage
from driftmap.formulas.burst import ENERGY_SHARE, gas_energy
from driftmap.formulas.flutter import PRINTED, SHEAR_MODULUS
from driftmap.formulas.opening import HOLDS, LINKS, RIPS_OFF, TEARS, TORN_DRAG
from driftmap.rocket.flight import Device, Flight, OwnCase
from driftmap.spread import Spread

__all__ = ["CERTAIN", "LIKELIHOOD", "WORKS", "build_cases"]

WORKS: Final = "recovery works"

CERTAIN: Final = "flutter"
"""Cause that needs no likelihood: whether a fin flutters follows from the flight."""

LIKELIHOOD: Final = MappingProxyType(
    {
        "nothing deploys": 0.03,
        "early opening": 0.01,
        "late opening": 0.02,
        "canopy tangles": 0.02,
        "fins come off": 0.01,
        "main at apogee": 0.02,
        "drogue only": 0.02,
        "nose cone lost": 0.01,
        "motor case ejected": 0.01,
        "motor bursts": 0.005,
    }
)
"""Likelihood of each failure where the flight file gives none. No source: assumed, for a
club's mixed flying; a club that keeps a logbook should put its own shares in the file."""

TANGLED: Final = Spread(
    "uniform", 0.1, 0.5, "a tangled canopy keeps 10 to 50 % of its drag"
)
LATE: Final = Spread("uniform", 1.0, 4.0, "1 to 4 s after apogee")
EARLY: Final = Spread("uniform", 0.0, 1.0, "any moment from burnout to apogee")

BOUNDARY: Final = Spread(
    "lognormal", 1.0, 0.15, "flutter speed within 15 % of the published line"
)
"""The published criterion is a line through scattered data; its scatter is assumed."""

_RESULTS: Final = (
    (HOLDS, "holds"),
    (TEARS, "torn"),
    (RIPS_OFF, "ripped off"),
)


def _works(bench: Bench) -> list[Case]:
    """Open all as planned; where strengths are stated, only while they hold."""
    fall = bench.fall(bench.devices())
    strong = [device for device in bench.devices() if device.strength]
    held = tuple(_opening(bench, d, HOLDS, fall.before(d)) for d in strong)
    works = Case(WORKS, fall.release, (bench.rocket(*fall.stages),), only=held)
    cases = [works]
    for number, device in enumerate(strong):
        for result, told in _RESULTS[1:]:
            before = fall.before(device)
            ends = _opening(bench, device, result, before)
            cases.append(
                Case(
                    f"planned opening, {device.name} {told}",
                    fall.release,
                    _after_opening(bench, device, result, before),
                    only=(*held[:number], ends),
                )
            )
    return cases


def _opening(
    bench: Bench, device: Device, result: int, before: tuple[Stage, ...]
) -> Opening:
    for link in LINKS:
        bench.need(f"luck of the {link}", Spread("uniform", 1e-9, 1 - 1e-9))
    return Opening(device, result, bench.cloth(device)[1], before)


def _nothing(bench: Bench) -> list[Case]:
    body = bench.rocket(bench.nose_first())
    return [Case("nothing deploys", Release(), (body,))]


def _early(bench: Bench) -> list[Case]:
    """Open the largest device on the way up."""
    when = bench.need("early moment", EARLY, "early opening")
    release = Release("coast", when)
    return _opened(bench, "early opening", release, bench.largest(), (), RIPS_OFF)


def _late(bench: Bench) -> list[Case]:
    """Open the first device some seconds after its trigger."""
    device = bench.devices()[0]
    fall = bench.fall([device])
    seconds = bench.need("late by", LATE, "late opening")
    *before, waiting = fall.before(device)
    late = replace(waiting, mark=seconds)
    return _opened(
        bench, "late opening", fall.release, device, (*before, late, waiting), HOLDS
    )


def _opened(
    bench: Bench,
    name: str,
    release: Release,
    device: Device,
    before: tuple[Stage, ...],
    unknown: int,
) -> list[Case]:
    """Branch on what the opening load does to a device.

    Where no strength is stated the load decides nothing and `unknown` is assumed.
    """
    if not device.strength:
        told = dict(_RESULTS)[unknown]
        if device.kind == "canopy":
            bench.note(
                f"{name}: {device.name} {told}, its strength not being stated (assumed)"
            )
        bodies = _after_opening(bench, device, unknown, before)
        return [Case(name, release, bodies)]
    return [
        Case(
            f"{name}, {told}",
            release,
            _after_opening(bench, device, result, before),
            only=(_opening(bench, device, result, before),),
        )
        for result, told in _RESULTS
    ]


def _after_opening(
    bench: Bench, device: Device, result: int, before: tuple[Stage, ...]
) -> tuple[Body, ...]:
    """Go on after a device opened: what opens later by height or time still does."""
    later = [
        other
        for other in bench.devices()
        if by_opening(other) > by_opening(device) and other.opens_at.at != "apogee"
    ]
    tumbling = bench.tumbling()
    if result == RIPS_OFF:
        fall = bench.fall(later, hanging=(tumbling,))
        less = bench.cloth_mass(device)
        rocket = bench.rocket(*fall.stages, less=less, before=before)
        return rocket, bench.empty(device, before)
    if result == TEARS:
        share = bench.need("torn canopy", TORN_DRAG, "torn canopy")
        hanging = (tumbling, bench.weakened(device, share))
    else:
        hanging = (tumbling, bench.cloth(device))
    *stages, last = bench.fall(later, hanging=hanging).stages
    if result == HOLDS and not later:
        last = replace(last, glide=bench.glide(device))
    return (bench.rocket(*before, *stages, last),)


def _tangled(bench: Bench) -> list[Case]:
    """Tangle the largest device; the others open as planned."""
    share = bench.need("tangled canopy", TANGLED, "tangled canopy")
    device = bench.largest()
    fall = bench.fall(bench.devices())
    others = [bench.cloth(d) for d in bench.devices() if d is not device]
    drag = (bench.tumbling(), *others, bench.weakened(device, share))
    body = bench.rocket(*fall.stages[:-1], Stage(drag))
    return [Case("canopy tangles", fall.release, (body,))]


def _fins(bench: Bench) -> list[Case]:
    fins = [bench.loose(p) for p in bench.flight.pieces if p.kind == "fin"]
    if not fins:
        return []
    less = sum(b.mass * b.count for b in fins)
    body = bench.rocket(bench.tumble(), less=less)
    return [Case("fins come off", Release("max q"), (body, *fins))]


def _flutter(bench: Bench) -> list[Case]:
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
        bench.need(f"{fin.name} flutter boundary", BOUNDARY, fin.name)
        if fin.printed:
            bench.need(f"{fin.name} printed", PRINTED, fin.name)
        loose = bench.loose(fin)
        body = bench.rocket(bench.tumble(), less=loose.mass * loose.count)
        name = f"{fin.name} flutters off"
        release = Release("flutter", fin.name)
        cases.append(Case(name, release, (body, loose), only=fin))
    if cases:
        bench.note("a rocket whose fins flutter off burns no more (assumed)")
    return cases


def _main_at_apogee(bench: Bench) -> list[Case]:
    """Open everything at the first device's trigger."""
    devices = bench.devices()
    if len(devices) < 2:
        return []
    fall = bench.fall(devices[:1])
    body = bench.rocket(*fall.before(devices[0]), bench.under(*devices))
    return [Case("main at apogee", fall.release, (body,))]


def _drogue_only(bench: Bench) -> list[Case]:
    devices = bench.devices()
    if len(devices) < 2:
        return []
    fall = bench.fall(devices[:-1])
    return [Case("drogue only", fall.release, (bench.rocket(*fall.stages),))]


def _nose_lost(bench: Bench) -> list[Case]:
    noses = [bench.loose(p) for p in bench.flight.pieces if p.kind == "nose cone"]
    if not noses:
        return []
    fall = bench.fall(bench.devices())
    body = bench.rocket(*fall.stages, less=sum(b.mass * b.count for b in noses))
    return [Case("nose cone lost", fall.release, (body, *noses))]


def _case_ejected(bench: Bench) -> list[Case]:
    """Push out the motor case in place of the recovery; the rocket falls nose first."""
    motors = [bench.loose(p) for p in bench.flight.pieces if p.kind == "motor case"]
    if not motors:
        return []
    release = bench.fall(bench.devices()).release
    less = sum(b.mass * b.count for b in motors)
    body = bench.rocket(bench.nose_first(), less=less)
    return [Case("motor case ejected", release, (body, *motors))]


def _burst(bench: Bench) -> list[Case]:
    """Burst the motor on the pad or in the first second; fragments fly any way."""
    burst = bench.flight.burst
    if burst is None:
        return []
    when = bench.need(
        "burst moment", Spread("uniform", 0.0, 1.0, "in the first second")
    )
    share = bench.need("burst share", ENERGY_SHARE, "motor burst")
    energy = float(gas_energy(burst.pressure, burst.volume)) / burst.fragments
    note = "spread 25 % of its drag area"
    drag = bench.need("fragment drag", Spread("lognormal", 1.0, 0.25, note))
    stage = Stage(((PLATE_DRAG * burst.fragment_area / 2, drag),))
    fragment = Body(
        "fragment",
        burst.fragment_mass,
        (stage,),
        burst.fragment_area,
        burst.fragments,
        Kick(energy, share),
    )
    less = burst.fragments * burst.fragment_mass
    rocket = bench.rocket(bench.tumble(), less=less)
    return [Case("motor bursts", Release("first second", when), (rocket, fragment))]


_CASES: Final[tuple[tuple[str, Callable[[Bench], list[Case]]], ...]] = (
    (WORKS, _works),
    ("nothing deploys", _nothing),
    ("early opening", _early),
    ("late opening", _late),
    ("canopy tangles", _tangled),
    ("fins come off", _fins),
    (CERTAIN, _flutter),
    ("main at apogee", _main_at_apogee),
    ("drogue only", _drogue_only),
    ("nose cone lost", _nose_lost),
    ("motor case ejected", _case_ejected),
    ("motor bursts", _burst),
)


def build_cases(flight: Flight) -> CaseTree:
    """List what can happen to a flight.

    Parameters
    ----------
    flight : Flight
        The flight as planned.

    Returns
    -------
    CaseTree
        Cases, inputs and what was assumed. Each case has the likelihood of its cause;
        flying shows how it is shared among those with the same cause.

    Raises
    ------
    FlightError
        If the flight file gives a likelihood to a case that does not exist for it, or
        more than all of it together.
    """
    bench = _bench(flight)
    built = [
        replace(case, cause=cause) for cause, make in _CASES for case in make(bench)
    ]
    _check_names(flight, built)
    built += [_own(bench, case) for case in flight.own_cases]
    likely = _likelihoods(flight, bench, [c.cause for c in built if c.cause != WORKS])
    # One whose likelihood is set to 0 is flown all the same: what happens if it does
    # happen is asked of every failure.
    cases = [replace(case, likelihood=likely[case.cause]) for case in built]
    missing = _missing(flight, bench)
    return CaseTree(tuple(cases), bench.spreads, tuple(bench.assumed), missing)


def _missing(flight: Flight, bench: Bench) -> tuple[str, ...]:
    """Tell what was not flown for want of data: what must hold, and what is noted."""
    kinds = {piece.kind for piece in flight.pieces}
    for kind, name in (
        ("nose cone", "nose cone lost"),
        ("motor case", "motor case ejected"),
    ):
        if kind not in kinds:
            bench.note(f"{name}: not flown, the flight file lists no {kind}")
    if flight.burst is None:
        bench.note("motor bursts: not flown, the flight file has no [burst]")
    fins = [piece for piece in flight.pieces if piece.kind == "fin"]
    if any(fin.planform() is None for fin in fins):
        bench.note(
            "flutter: not worked out for fins without shape, thickness and material; "
            "fins coming off has its likelihood all the same"
        )
    if not fins:
        return ("fins coming off was not flown: the flight file lists no fins",)
    return ()


def _check_names(flight: Flight, built: list[Case]) -> None:
    """Refuse names that would hide a case or a body behind another."""
    taken = {WORKS, CERTAIN, *LIKELIHOOD, *(case.name for case in built)}
    for own in flight.own_cases:
        if own.name in taken:
            problem = f"the name {own.name!r} belongs to a case that is there already"
            raise FlightError(flight.source, "case", problem)
    bodies = ["rocket", "fragment", *(device.name for device in flight.recovery)]
    for piece in flight.pieces:
        if piece.name in bodies:
            problem = f"the name {piece.name!r} belongs to another body"
            raise FlightError(flight.source, "piece", problem)
    for device in flight.recovery:
        if device.name in ("rocket", "fragment"):
            problem = f"the name {device.name!r} belongs to another body"
            raise FlightError(flight.source, "recovery", problem)


def _bench(flight: Flight) -> Bench:
    bench = Bench(flight)
    given = flight.airframe.drag_coefficient
    sd = 0.10 * given.value if given.spread is None else given.spread
    note = "spread 10 %" if given.spread is None else ""
    spread = Spread("normal", given.value, sd, note)
    bench.need("drag coefficient", spread, "nose-first drag coefficient")
    return bench


def _likelihoods(flight: Flight, bench: Bench, causes: list[str]) -> dict[str, float]:
    """Give each cause its likelihood; what is left is recovery that works."""
    own = {case.name: case.likelihood for case in flight.own_cases}
    known = [c for c in dict.fromkeys(causes) if c != CERTAIN and c not in own]
    for name in flight.cases:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            hint = (
                f"did you mean {near[0]!r}?" if near else f"known: {', '.join(known)}"
            )
            raise FlightError(
                flight.source, f"cases.{name}", f"is no case here; {hint}"
            )
    likely = {name: flight.cases.get(name, LIKELIHOOD[name]) for name in known}
    for name in known:
        if name not in flight.cases:
            bench.note(f"{name}: {likely[name]:.1%} of flights (assumed)")
    likely.update(own)
    works = 1 - sum(likely.values())
    if works <= 0:
        problem = "and defaults must add up to less than 100 %"
        raise FlightError(flight.source, "cases", problem)
    return {**likely, WORKS: works, CERTAIN: 1.0}


def _own(bench: Bench, own: OwnCase) -> Case:
    """Build a case that the flight file describes."""
    where = f"case {own.name!r}"
    loose = {piece.name: piece for piece in bench.flight.pieces}
    devices = {device.name: device for device in bench.devices()}
    bodies: list[Body] = []
    gone = 0.0
    for name in own.loose:
        if name not in loose:
            _refuse(bench, where, "loose", name, loose)
        bodies.append(bench.loose(loose[name]))
        gone += bodies[-1].mass * bodies[-1].count
    falls = own.rocket_falls
    if falls == "nose first":
        stage = bench.nose_first()
    elif falls == "tumbling":
        stage = bench.tumble()
    else:
        if falls not in devices:
            _refuse(
                bench,
                where,
                "rocket_falls",
                falls,
                ["nose first", "tumbling", *devices],
            )
        stage = bench.under(devices[falls])
    release = _own_release(bench, own)
    body = bench.rocket(stage, less=gone)
    return Case(own.name, release, (body, *bodies), cause=own.name)


def _own_release(bench: Bench, own: OwnCase) -> Release:
    if own.at == "coast":
        return Release("coast", bench.need("early moment", EARLY, own.name))
    if own.at in ("apogee", "max q"):
        return Release("apogee" if own.at == "apogee" else "max q")
    trigger = own.time()
    sd = 0.1 * trigger.value if trigger.spread is None else trigger.spread
    mark = bench.need(f"{own.name} at", Spread("normal", trigger.value, sd))
    return Release("time", mark)


def _refuse(
    bench: Bench, where: str, key: str, name: str, known: Iterable[str]
) -> NoReturn:
    names = list(known)
    near = difflib.get_close_matches(name, names, n=1)
    hint = f"did you mean {near[0]!r}?" if near else f"known: {', '.join(names)}"
    raise FlightError(
        bench.flight.source, f"{where}.{key}", f"{name!r} is not listed; {hint}"
    )
