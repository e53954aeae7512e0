"""How the rocket falls while devices open one after the other: its stages, to the ground."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from driftmap.rocket.bodies import Bench, Drag, normal
from driftmap.rocket.case import Release, Stage
from driftmap.rocket.opening_order import OPENING_DELAY, delay_of, opens_together
from driftmap.rocket.stages import Device


@dataclass(frozen=True, slots=True)
class StagedFall:
    """How the rocket falls when devices open one after the other.

    Parameters
    ----------
    release : Release
        When it begins.
    stages : tuple of Stage
        To the ground.
    before : dict of str to tuple of Stage
        What it meets until each device is open, by its name: nothing that comes out with
        the device has slowed it by then.
    beside : dict of str to tuple of Device
        What comes out with a device and is listed before it, by its name.
    """

    release: Release
    stages: tuple[Stage, ...]
    before: dict[str, tuple[Stage, ...]]
    beside: dict[str, tuple[Device, ...]]


def staged_fall(
    bench: Bench,
    devices: Sequence[Device],
    *,
    hanging: tuple[Drag, ...] = (),
    glide: str = "",
) -> StagedFall:
    """List the stages of the rocket's fall when these devices open as planned.

    It falls nose first until the first opens, or hangs (with the `glide` of what it hangs
    on) or tumbles from the start.
    """
    release = Release()
    stages: tuple[Stage, ...] = ()
    before: dict[str, tuple[Stage, ...]] = {}
    beside: dict[str, tuple[Device, ...]] = {}
    hung = list(hanging)
    now = Stage(tuple(hung), glide=glide) if hung else bench.unopened()
    out: tuple[Device, ...] = ()
    last, free, fast = None, stages, now
    for device in devices:
        if device.opens_at.at == "time" and not stages and not hanging:
            release = Release("time", _opening(bench, device))
        waiting = _until_open(bench, device, now, last)
        if out and opens_together(bench.flight, out[0], device):
            before[device.name] = (*free, *_until_open(bench, device, fast))
        else:
            out, free, fast = (), stages, now
            before[device.name] = (*stages, *waiting)
        beside[device.name], out = out, (*out, device)
        stages = (*stages, *waiting)
        if last is None or last.opens_at != device.opens_at:
            last = device
        last = max((last, device), key=delay_of)
        hung = [*bench.under(device, hung or [bench.tumbling()])]
        glide = bench.glide(device) or glide
        now = Stage(tuple(hung), glide=glide, opens=device.name)
    return StagedFall(release, (*stages, now), before, beside)


def _until_open(
    bench: Bench, device: Device, now: Stage, last: Device | None = None
) -> tuple[Stage, ...]:
    """Fall on as now to the trigger of a device, and from there until it is open.

    One trigger lets it out and `last`, the slowest that has opened of it.
    """
    stages: tuple[Stage, ...] = ()
    at, given = device.opens_at.at, device.opening_delay
    delay = OPENING_DELAY if given is None else normal(given, 0.2 * given.value)
    mark = bench.need(f"{device.name} delay", delay, device.name)
    opens = "" if at == "apogee" else _opening(bench, device)
    if last is not None and last.opens_at == device.opens_at:
        return (replace(now, until="delay", mark=mark, gone=f"{last.name} delay"),)
    if at != "apogee":
        stages = (replace(now, until=at, mark=opens),)
        now = replace(now, opens="")
    return *stages, replace(now, until="delay", mark=mark)


def _opening(bench: Bench, device: Device) -> str:
    """Name the input that gives the height or time at which a device opens."""
    trigger = device.opens_at
    spread, note = 0.10 * trigger.value, "opening time spread 10 %"
    if trigger.at == "height":
        spread, note = 15.0, "opening height spread 15 m"
    when = normal(trigger, spread, note)
    return bench.need(f"{device.name} opens", when, device.name)
