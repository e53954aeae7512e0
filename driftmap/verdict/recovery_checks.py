"""Checks of what the flight does to itself, and of every planned opening."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final, NamedTuple

import numpy as np

from driftmap.core.checks import FloatArray
from driftmap.core.estimate import binomial
from driftmap.hazard.zones import grade, strength
from driftmap.montecarlo.cloud import Cloud
from driftmap.montecarlo.columns import Part
from driftmap.montecarlo.margins import ends
from driftmap.montecarlo.openings import OPENED
from driftmap.rocket.case import Case
from driftmap.rocket.likelihood import BARE, WORKS
from driftmap.rocket.stage_cases import DOES_NOT_LIGHT
from driftmap.rocket.stages import BOOSTER, Device
from driftmap.verdict.check import (
    MISSING_INPUT,
    NO_SOURCE,
    Check,
    Kind,
    Outcome,
    at_most,
    compared,
    estimated,
    held,
)
from driftmap.verdict.limits import LIMITS, Limit

_TORN_FAST: Final = 60.0  # m/s; a canopy of unknown strength is then taken as lost
_TORN_HARD: Final = 50.0  # weights of what hangs on it; likewise
_ZIPPER: Final = "beyond some 20 m/s a thin cord may cut the edge of the tube (common practice, no source)"
_THRUST: Final = "opens while the motor burns"
_AFTER: Final = "a trigger must come after burnout, of a booster after the stages part"
_UNSTATED: Final = (
    "; its strength is not stated, and more than that is for nobody to trust"
)
_STATED: Final = "; the strength stated decides, and cord and tube suffer beyond it"


def opening_checks(cloud: Cloud, limits: Mapping[str, Limit]) -> list[Check]:
    """Hold what every device meets that opens as planned against what it may bear.

    A device of unknown strength that opens beyond the limits holds, far beyond them it
    fails. Where every link's strength is stated the load branches the cases, so the lines
    here only hold; one link says nothing of the others.
    """
    devices = {device.name: device for device in cloud.plan.flight.devices}
    checks: list[Check] = []
    for (cause, name), opened in cloud.openings.items():
        if cause == WORKS:
            rows = dict(zip(OPENED, opened.astype(float), strict=True))
            device = devices[name]
            checks += _opening(device, rows, _borne(device, rows, limits))
    return checks


class _Borne(NamedTuple):
    """What a device may bear: its limits, and from where on it is taken as lost."""

    speed: Limit
    load: Limit
    torn_fast: float = _TORN_FAST
    torn_hard: float = _TORN_HARD


def _borne(
    device: Device, rows: Mapping[str, FloatArray], limits: Mapping[str, Limit]
) -> _Borne:
    slow, hard = limits["opening_speed"], limits["opening_load"]
    whole = device.every_strength
    slow = replace(slow, source=slow.source + (_STATED if whole else _UNSTATED))
    hard = replace(hard, source=hard.source + _UNSTATED)
    if not device.strength:
        return _Borne(slow, hard)
    weight = float(np.median(rows["load"] / rows["weights"]))
    holds = min(device.strength.values()) / weight
    weakest = replace(hard, source="the weakest strength stated")
    if whole:  # it decides, but for limits that a file makes stricter
        slow = _unless_stricter("opening_speed", slow, _TORN_FAST)
        hard = _unless_stricter("opening_load", weakest, holds)
        return _Borne(slow, hard, np.inf, np.inf)
    return _Borne(slow, replace(weakest, value=holds) if holds < hard.value else hard)


def _opening(
    device: Device, rows: Mapping[str, FloatArray], borne: _Borne
) -> Iterator[Check]:
    def beside(
        kind: Kind, what: str, values: FloatArray, limit: Limit, unit: str, torn: float
    ) -> Check:
        low, middle, high = ends(values)
        name = f"{what} opening of {device.name}"
        line = compared(kind, middle, unit, limit, interval=(low, high), name=name)
        if line.outcome == "pass":
            return line
        # Where most are beyond what tears, it fails.
        return replace(line, outcome="fail" if middle > torn else "warn")

    fast, hard = Kind.OPENING_SPEED, Kind.OPENING_LOAD
    fastest, weights = rows["speed"], rows["weights"]
    line = beside(fast, "speed at", fastest, borne.speed, "m/s", borne.torn_fast)
    yield replace(line, note=_ZIPPER)
    times = "times its weight"
    yield beside(hard, "load of", weights, borne.load, times, borne.torn_hard)
    burning = int(np.count_nonzero(rows["after_burnout"] <= 0))
    if burning:
        p = binomial(burning, rows["speed"].size)
        never = Limit(0.0, "share", "low", NO_SOURCE)
        name = f"{device.name} {_THRUST}"
        line = estimated(Kind.OPENING_THRUST, p, never, name=name, case="")
        yield replace(line, outcome="fail", note=_AFTER)


def _unless_stricter(key: str, limit: Limit, stated: float) -> Limit:
    most = min(limit.value, stated) if limit.value < LIMITS[key].value else stated
    return replace(limit, value=most)


_ASKED: Final = (
    "high power code, item 12, and model code, item 10: a recovery system (from memory); "
    "what is still for people is a default of this tool"
)
_TOO_FAST: Final = 20.0  # m/s on landing; beyond it, by default, it fails. Assumed
_TWICE: Final = 2.0  # times the default share of failures; beyond it, it fails


def recovery_checks(cloud: Cloud, limits: Mapping[str, Limit]) -> list[Check]:
    """Hold what the flight does to itself against its limits."""
    checks = [_fails(cloud, limits["recovery_fails"])]
    flight = cloud.plan.flight
    if flight.descent is not None:
        name = f"no recovery is planned: it comes down {flight.descent.planned}"
        checks.append(_no_recovery(cloud, name, next(cloud.of(BARE), None)))
    if cloud.margins:
        flutter = binomial(int(cloud.fluttered.sum()), cloud.flights)
        limit = limits["fins_flutter_off"]
        checks.append(estimated(Kind.FLUTTER, flutter, limit))
    if any(True for _ in cloud.of(WORKS)):
        checks.append(_descent(cloud, limits, "rocket", flight.recovery))
        if flight.booster is not None and flight.booster.recovery:
            checks.append(_descent(cloud, limits, BOOSTER, flight.booster.recovery))
    checks += _booster_falls(cloud)
    return [*checks, *opening_checks(cloud, limits)]


def _fails(cloud: Cloud, limit: Limit) -> Check:
    """Return the share of flights whose recovery does not work, with its interval.

    It is exact where no opening can give and no fin can flutter, else sampled.
    """
    case = next((c for c in cloud.tree.cases if c.name in (WORKS, BARE)), None)
    low, value, high = 1.0, 1.0, 1.0
    if case is not None:
        given = case.probability / case.likelihood
        between = given, given
        if case.only or cloud.fluttered.any():
            held = binomial(round(given * cloud.flights), cloud.flights)
            between = held.lower, held.upper
        # What goes wrong under power is no failure of recovery.
        works = 1 - sum(c.probability for c in cloud.tree.cases if _power(c))
        low, high = (works - case.likelihood * end for end in reversed(between))
        value = works - case.probability
    far = limit.value * _TWICE
    return _tiered(Kind.RECOVERY_FAILS, (low, value, high), "share", limit, far)


def _power(case: Case) -> bool:
    """Tell a case whose recovery works as it should, or has no part in it."""
    unlit = case.cause.endswith(DOES_NOT_LIGHT) and case.name == case.cause
    opens = any(stage.opens for body in case.bodies for stage in body.stages)
    return case.any_way or (unlit and opens)


def _no_recovery(cloud: Cloud, name: str, part: Part | None) -> Check:
    """Tell what comes down with nothing open; `part` is None where no flight did so.

    It is no-go where it kills and is faster than what fails below a canopy: the safety codes
    ask for recovery, and no plan excuses a fall that would be a failure. Of what is gentler
    people decide, as of a light model that tumbles.
    """
    note = "none of the flights came to it"
    outcome: Outcome = "warn"
    if part is not None:
        sinking = cloud.speed[part.rows] * np.sin(cloud.angle[part.rows])
        fast = ends(sinking, part.weights)[1] > _TOO_FAST
        energy = strength(cloud, part)
        speed = float(part.quantile(cloud.speed, 0.5))
        note = f"it strikes at {speed:.0f} m/s with {energy:,.0f} J"
        outcome = "fail" if fast and grade(energy) == "danger" else "warn"
    return Check(
        kind=Kind.NO_RECOVERY, name=name, outcome=outcome, source=_ASKED, note=note
    )


def _booster_falls(cloud: Cloud) -> Iterator[Check]:
    """Hold a booster that comes down without recovery and can injure who it strikes."""
    flight = cloud.plan.flight
    if flight.sustainer is None or (flight.booster and flight.booster.recovery):
        return
    part = next((part for part in cloud.parts if part.body == BOOSTER), None)
    if part is None or grade(strength(cloud, part)) is not None:
        yield _no_recovery(cloud, "no recovery is planned for the booster", part)


def _descent(
    cloud: Cloud, limits: Mapping[str, Limit], body: str, devices: Sequence[Device]
) -> Check:
    """Hold the speed of landing when recovery works; a streamer's may be higher."""
    canopy = any(d.kind == "canopy" for d in devices)
    limit = limits["descent_speed" if canopy else "descent_speed_streamer"]
    part = next(part for part in cloud.of(WORKS) if part.body == body)
    sinking = cloud.speed[part.rows] * np.sin(cloud.angle[part.rows])
    name = "" if body == "rocket" else f"descent of the {body}"
    sunk = ends(sinking, part.weights)
    return replace(_tiered(Kind.DESCENT, sunk, "m/s", limit, _TOO_FAST), name=name)


def _tiered(
    kind: Kind, figure: Sequence[float], unit: str, limit: Limit, far: float
) -> Check:
    """Compare with a limit; beyond one of this tool's own it only holds until far beyond."""
    low, middle, high = figure
    check = compared(kind, middle, unit, limit, interval=(low, high))
    mild = limit in LIMITS.values() and at_most((low, high), far) != "fail"
    return replace(check, outcome="warn") if mild and check.outcome == "fail" else check


def missing_checks(cloud: Cloud) -> list[Check]:
    """Hold where a failure could not be flown."""
    return [held(Kind.MISSING, MISSING_INPUT, text) for text in cloud.tree.missing]
