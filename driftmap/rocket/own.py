"""Cases that a flight file describes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Final, NoReturn

from driftmap.core.errors import FlightError, nearest, quoted
from driftmap.core.spread import Spread
from driftmap.rocket.bodies import Bench, normal
from driftmap.rocket.case import Body, Burn, Case, Release, Stage
from driftmap.rocket.flight import OwnCase
from driftmap.rocket.offpath import still_burning
from driftmap.rocket.outcomes import opened

EARLY: Final = Spread("uniform", 0.0, 1.0, "any moment from burnout to apogee")


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
        return opened(
            *(bench, own.name, release, device), alone=True, less=gone, loose=loose
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
    told = f"{quoted(name)} is not listed; {nearest(name, known)}"
    raise FlightError(bench.flight.source, f"case {own.name!r}, {key}", told)
