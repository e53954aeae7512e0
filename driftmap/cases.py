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

from driftmap.bodies import Bench, by_opening
from driftmap.burst import ENERGY_SHARE, gas_energy
from driftmap.case import Body, Case, CaseTree, Kick, Opening, Release, Stage
from driftmap.errors import FlightError
from driftmap.flight import Device, Flight, OwnCase
from driftmap.flutter import PRINTED, SHEAR_MODULUS
from driftmap.opening import HOLDS, LINKS, RIPS_OFF, TEARS, TORN_DRAG
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

_RESULTS: Final = (
    (HOLDS, "holds"),
    (TEARS, "torn"),
    (RIPS_OFF, "ripped off"),
)


def _works(bench: Bench) -> list[Case]:
    release, stages = bench.stages(bench.devices())
    return [Case(WORKS, 1.0, release, (bench.rocket(*stages),))]


def _nothing(bench: Bench) -> list[Case]:
    body = bench.rocket(bench.nose_first())
    return [Case("nothing deploys", 0.0, Release(), (body,))]


def _early(bench: Bench) -> list[Case]:
    """Open the largest device on the way up."""
    when = bench.need("early moment", EARLY, "early opening")
    release = Release("coast", when)
    return _opened(bench, "early opening", release, bench.largest(), RIPS_OFF)


def _late(bench: Bench) -> list[Case]:
    """Open the first device some seconds after apogee, the rocket nose down."""
    when = bench.need("late by", LATE, "late opening")
    release = Release("late", when)
    return _opened(bench, "late opening", release, bench.devices()[0], HOLDS)


def _opened(
    bench: Bench, name: str, release: Release, device: Device, unknown: int
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
        return [Case(name, 0.0, release, _after_opening(bench, device, unknown))]
    _, drag = bench.cloth(device)
    for link in LINKS:
        bench.need(f"luck of the {link}", Spread("uniform", 1e-9, 1 - 1e-9))
    return [
        Case(
            f"{name}, {told}",
            0.0,
            release,
            _after_opening(bench, device, result),
            only=Opening(device, result, drag),
        )
        for result, told in _RESULTS
    ]


def _after_opening(bench: Bench, device: Device, result: int) -> tuple[Body, ...]:
    if result == RIPS_OFF:
        less = bench.cloth_mass(device)
        return bench.rocket(bench.tumble(), less=less), bench.empty(device)
    if result == TEARS:
        share = bench.need("torn canopy", TORN_DRAG, "torn canopy")
        return (_weakened(bench, device, share),)
    later = [d for d in bench.devices() if by_opening(d) > by_opening(device)]
    _, stages = bench.stages(later, open_already=device)
    return (bench.rocket(*stages),)


def _weakened(bench: Bench, device: Device, share: str) -> Body:
    """Hang the rocket below a device that keeps only a share of its drag."""
    area, drag = bench.cloth(device)
    cloth = (area * bench.spreads[drag].middle, share)
    return bench.rocket(Stage((bench.tumbling(), cloth)))


def _tangled(bench: Bench) -> list[Case]:
    """Tangle the largest device; it never opens fully."""
    release, _ = bench.stages(bench.devices())
    share = bench.need("tangled canopy", TANGLED, "tangled canopy")
    body = _weakened(bench, bench.largest(), share)
    return [Case("canopy tangles", 0.0, release, (body,))]


def _fins(bench: Bench) -> list[Case]:
    fins = [bench.loose(p) for p in bench.flight.pieces if p.kind == "fin"]
    if not fins:
        return []
    less = sum(b.mass * b.count for b in fins)
    body = bench.rocket(bench.tumble(), less=less)
    return [Case("fins come off", 0.0, Release("max q"), (body, *fins))]


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
        if fin.printed:
            bench.need(f"{fin.name} printed", PRINTED, fin.name)
        loose = bench.loose(fin)
        body = bench.rocket(bench.tumble(), less=loose.mass * loose.count)
        name = f"{fin.name} flutters off"
        cases.append(
            Case(name, 0.0, Release("flutter", fin.name), (body, loose), only=fin)
        )
    return cases


def _main_at_apogee(bench: Bench) -> list[Case]:
    """Open everything at the first device's trigger."""
    devices = bench.devices()
    if len(devices) < 2:
        return []
    release, (*before, _) = bench.stages(devices[:1])
    open_ = Stage(bench.hanging(devices), glide=bench.glide(devices))
    return [Case("main at apogee", 0.0, release, (bench.rocket(*before, open_),))]


def _drogue_only(bench: Bench) -> list[Case]:
    devices = bench.devices()
    if len(devices) < 2:
        return []
    release, stages = bench.stages(devices[:-1])
    return [Case("drogue only", 0.0, release, (bench.rocket(*stages),))]


def _nose_lost(bench: Bench) -> list[Case]:
    noses = [bench.loose(p) for p in bench.flight.pieces if p.kind == "nose cone"]
    if not noses:
        return []
    release, stages = bench.stages(bench.devices())
    body = bench.rocket(*stages, less=sum(b.mass * b.count for b in noses))
    return [Case("nose cone lost", 0.0, release, (body, *noses))]


def _case_ejected(bench: Bench) -> list[Case]:
    """Push out the motor case in place of the recovery; the rocket falls nose first."""
    motors = [bench.loose(p) for p in bench.flight.pieces if p.kind == "motor case"]
    if not motors:
        return []
    release, _ = bench.stages(bench.devices())
    less = sum(b.mass * b.count for b in motors)
    body = bench.rocket(bench.nose_first(), less=less)
    return [Case("motor case ejected", 0.0, release, (body, *motors))]


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
    drag = bench.need(
        "fragment drag", Spread("lognormal", 1.0, 0.25, "spread 25 % of its drag area")
    )
    stage = Stage(((1.17 * burst.fragment_area / 2, drag),))
    fragment = Body(
        "fragment",
        burst.fragment_mass,
        (stage,),
        burst.fragment_area / 2,
        burst.fragments,
        Kick(energy, share),
    )
    return [Case("motor bursts", 0.0, Release("first second", when), (fragment,))]


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
        Cases, inputs and what was assumed. A case's probability is that of its cause;
        flying the cases shares it among those with the same cause.

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
    built += [_own(bench, case) for case in flight.own_cases]
    likely = _likelihoods(flight, bench, [c.cause for c in built[1:]])
    missing = []
    if not any(p.kind == "fin" for p in flight.pieces):
        missing.append("fins coming off was not flown: the flight file lists no fins")
    if flight.burst is None and flight.motor is not None:
        bench.note("motor burst: not flown, the flight file has no [burst] (assumed)")
    cases = [
        replace(case, probability=likely[case.cause])
        for case in built
        if likely[case.cause] > 0
    ]
    return CaseTree(tuple(cases), bench.spreads, tuple(bench.assumed), tuple(missing))


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
        device = devices[falls]
        stage = Stage(bench.hanging([device]), glide=bench.glide([device]))
    return Case(
        own.name,
        0.0,
        _own_release(bench, own),
        (bench.rocket(stage, less=gone), *bodies),
        cause=own.name,
    )


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
