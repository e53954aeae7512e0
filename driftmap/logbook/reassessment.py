"""Verdicts as they would have been: logged flights assessed again with what is proposed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np

from driftmap.air.wind import WindProfile
from driftmap.core.errors import InputError
from driftmap.core.spread import stream
from driftmap.logbook.entry_bodies import inputs_of
from driftmap.logbook.findings import Review
from driftmap.logbook.store import Log
from driftmap.rocket.bodies import Bench
from driftmap.rocket.fields import Uncertain
from driftmap.rocket.flight import Flight
from driftmap.rocket.stages import Device
from driftmap.verdict.assessment import assess_setup
from driftmap.verdict.check import Check, Verdict
from driftmap.verdict.setup import Setup


@dataclass(frozen=True, slots=True)
class Changes:
    """What a review proposes: factors on drag areas and the wind's error, and likelihoods.

    `likelihoods` stand by flight and cause.
    `drag_of` is the flight and the device that a factor on drag areas is of; of all where None.
    """

    drag: float = 1.0
    wind_error: float = 1.0
    likelihoods: Mapping[tuple[str, str], float] = field(default_factory=dict)
    drag_of: tuple[str, str] | None = None

    def moves(self, flight: Flight, device: Device) -> bool:
        """Return whether the factor on drag areas is of a device."""
        return self.drag != 1.0 and self.drag_of in {None, (flight.name, device.name)}


@dataclass(frozen=True, slots=True)
class Reassessed:
    """A logged verdict, by this version on the same inputs, and with all that is proposed.

    `turned` names checks whose outcome the changes turn, with the outcome.
    """

    logged: Verdict
    now: Verdict
    proposed: Verdict
    turned: tuple[str, ...]


def changes_of(found: Review) -> Changes:
    """Collect what a review proposes: only what its intervals show to be off."""
    drift, width = found.drift, found.width
    return Changes(
        drift.value**2 if drift is not None and found.drift_off else 1.0,
        width.value if width is not None and found.width_off else 1.0,
        {(c.flight, c.cause): c.updated.value for c in found.causes if c.is_off},
        found.drift_of if found.drift_off else None,
    )


def reassess(
    logged: Verdict, setup: Setup, wind: WindProfile, changes: Changes
) -> Reassessed:
    """Assess a logged flight again, as it was and with the changes.

    ``logged``: the verdict as it was given.
    """
    now = then = assess_setup(setup, wind)
    if changes != Changes():
        then = assess_setup(*_changed(setup, wind, changes))
    before = {_named(check): check.outcome for check in now.checks}
    turned = tuple(
        f"{_named(check)}: {before.get(_named(check), 'not asked')} to {check.outcome}"
        for check in then.checks
        if before.get(_named(check)) != check.outcome
    )
    return Reassessed(logged, now.verdict, then.verdict, turned)


def reassess_last(
    log: Log, found: Review, most: int, progress: Callable[[int, int], None]
) -> Iterator[dict[str, Any]]:
    """Assess the last flights of a log again, one after the other; tell what is left."""
    contents = {content.digest: content for content in log.contents()} if most else {}
    every = [entry for entry in log.current() if entry.kind == "assessment"]
    logged = every[-most:] if most else []
    for number, entry in enumerate(logged, 1):
        head = {"entry": entry.id[:8], "flight": entry.body["flight"]}
        head["when"] = entry.body.get("when") or entry.at
        try:
            setup, wind = inputs_of(entry, contents, str(log.path))
        except InputError as problem:
            yield {**head, "problem": str(problem)}
        else:
            changes = changes_of(found)
            again = reassess(entry.body["verdict"], setup, wind, changes)
            yield {**head, **asdict(again)}
        progress(1, len(logged) - number)


def _named(check: Check) -> str:
    return ", ".join(part for part in (check.name, check.area, check.case) if part)


def _changed(
    setup: Setup, wind: WindProfile, changes: Changes
) -> tuple[Setup, WindProfile]:
    by = changes.wind_error
    modes = None if wind.modes is None else wind.modes * by
    wind = replace(wind, error=wind.error * by, modes=modes)
    return replace(setup, flight=_flown(setup.flight, changes)), wind


def _flown(flight: Flight, changes: Changes) -> Flight:
    own = {case.name for case in flight.own_cases}
    told = changes.likelihoods.items()
    by = {cause: p for (of, cause), p in told if of == flight.name}
    likely = {cause: p for cause, p in by.items() if cause not in own}
    own_cases = tuple(
        case.model_copy(update={"likelihood": by.get(case.name, case.likelihood)})
        for case in flight.own_cases
    )
    recovery = tuple(
        _dragged(flight, d, changes.drag) if changes.moves(flight, d) else d
        for d in flight.recovery
    )
    cases = {**flight.cases, **likely}
    return flight.model_copy(
        update={"recovery": recovery, "cases": cases, "own_cases": own_cases}
    )


def _dragged(flight: Flight, device: Device, by: float) -> Device:
    """Give a device so many times its drag, on its cloth, with the spread it had."""
    bench = Bench(flight)
    _, name = bench.cloth(device)
    had = bench.spreads[name]
    draws = had.draw(1000, stream(1, 0, "spread of a drag"))
    told = Uncertain(had.middle * by, float(np.std(draws, ddof=1)) * by)
    return device.model_copy(update={"drag_coefficient": told, "drag_on": "cloth"})
