"""What becomes of a device that opens: it holds, opens torn, or rips off."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, TypeAlias

from driftmap.core.spread import Spread
from driftmap.formulas.strength import HOLDS, RIPS_OFF, TEARS, TORN_DRAG
from driftmap.rocket.bodies import Bench, Drag
from driftmap.rocket.case import Body, Case, Opening, Release, Stage
from driftmap.rocket.staged_fall import StagedFall, staged_fall
from driftmap.rocket.stages import Device

TOLD: Final = ((HOLDS, "holds"), (TEARS, "torn"), (RIPS_OFF, "ripped off"))
"""Ends of an opening, and how each is told."""


def outcome_draw(device: Device) -> str:
    """Name the input that decides how an opening of a device ends."""
    # The name seeds the input's stream: under another, every figure would be drawn anew.
    return f"luck of {device.name}"


def opened_as_planned(
    bench: Bench, name: str, *, told: str = "planned opening"
) -> list[Case]:
    """Open all as planned while all holds; else go on without what gave."""
    fall = staged_fall(bench, bench.devices())
    held, broken = planned_ends(bench, fall)
    return [
        Case(name, fall.release, (bench.rocket(*fall.stages),), only=held),
        *(
            Case(f"{told}, {how}", fall.release, bodies, only=only)
            for how, bodies, only in broken
        ),
    ]


_Ends: TypeAlias = tuple[Opening, ...]


def planned_ends(
    bench: Bench, fall: StagedFall
) -> tuple[_Ends, list[tuple[str, tuple[Body, ...], _Ends]]]:
    """Part a fall as planned by how its openings end, which their loads decide.

    Result: all of them holding; and for each other end how it is told, what comes down, and
    the openings that end so, in their order.
    """
    # A streamer gives way to nothing, but beside another it is met at full speed as well.
    watched = [d for d in bench.devices() if bench.strengths(d) or fall.beside[d.name]]
    held = tuple(_opening_ends(bench, d, HOLDS, fall.before[d.name]) for d in watched)
    broken = []
    for number, device in enumerate(watched):
        before, later = fall.before[device.name], _later_than(bench, device)
        for result, how in TOLD[1:] if bench.strengths(device) else ():
            end = _opening_ends(bench, device, result, before)
            # What came out with it and was asked before it has held.
            out = fall.beside[device.name]
            bodies = bodies_after(
                bench, device, result, before, later=later, beside=out
            )
            broken.append((f"{device.name} {how}", bodies, (*held[:number], end)))
    return held, broken


def opening_cases(  # noqa: PLR0913 - a case has that many sides
    bench: Bench,
    name: str,
    release: Release,
    device: Device,
    before: tuple[Stage, ...] = (),
    *,
    beside: Sequence[Device] = (),
    alone: bool = False,
    less: float = 0.0,
    loose: tuple[Body, ...] = (),
) -> list[Case]:
    """Branch on how the opening of a device ends.

    `beside` hangs open already; `alone` says that nothing opens later; `less` is the mass
    of what is `loose`.
    """
    later = [] if alone else _later_than(bench, device)
    results = TOLD if bench.strengths(device) else TOLD[:1]
    return [
        Case(
            f"{name}, {told}" if len(results) > 1 else name,
            release,
            (
                *bodies_after(
                    bench, device, result, before, later=later, beside=beside, less=less
                ),
                *loose,
            ),
            only=(_opening_ends(bench, device, result, before),),
        )
        for result, told in results
    ]


def _opening_ends(
    bench: Bench, device: Device, result: int, before: tuple[Stage, ...]
) -> Opening:
    """Ask for an end of an opening, which its load decides."""
    bench.need(outcome_draw(device), Spread("uniform", 0.0, 1.0))
    bench.cloth(device)
    return Opening(device, result, before)


def _later_than(bench: Bench, device: Device) -> list[Device]:
    """List what still opens after a device, by height or time."""
    devices = bench.devices()
    now = device.opens_at.at, device.opens_at.value
    return [
        other
        for other in devices[devices.index(device) + 1 :]
        if other.opens_at.at != "apogee"
        and (other.opens_at.at, other.opens_at.value) != now
    ]


def bodies_after(
    bench: Bench,
    device: Device,
    result: int,
    before: tuple[Stage, ...],
    *,
    later: list[Device],
    beside: Sequence[Device] = (),
    less: float = 0.0,
) -> tuple[Body, ...]:
    """Go on after a device opened."""
    hanging: tuple[Drag, ...] = (bench.tumbling(),)
    for other in beside:
        hanging = bench.under(other, hanging)
    glide = "".join(map(bench.glide, beside))  # but the largest glides not
    if result == RIPS_OFF:
        fall = staged_fall(bench, later, hanging=hanging, glide=glide)
        gone = less + bench.cloth_mass(device)
        rocket = bench.rocket(*fall.stages, less=gone, before=before)
        return rocket, bench.empty(device, before)
    if result == TEARS:
        share = bench.need("torn canopy", TORN_DRAG, "torn canopy")
        hanging = (*hanging, bench.weakened(device, share))
    else:
        hanging = bench.under(device, hanging)
        glide = glide or bench.glide(device)
    stages = staged_fall(bench, later, hanging=hanging, glide=glide).stages
    return (bench.rocket(*before, *stages, less=less),)
