"""What a range officer is told of recovery: openings, descent, and how often it fails."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from driftmap import fly, read_flight
from driftmap.air.wind import WindProfile
from driftmap.failures.cases import WORKS
from driftmap.rocket.flight import Trigger
from driftmap.verdict.check import Kind
from driftmap.verdict.limits import LIMITS
from driftmap.verdict.recovery_checks import opening_checks, recovery_checks

WILLET = Path(__file__).parents[2] / "examples" / "willet.toml"
LIGHT = WindProfile(
    np.array([0.0, 10.0, 3000.0]), [1.0, 2.0, 2.0], [0.0] * 3, [0.0] * 3
)


def cloud(cases=None, **change):
    flight = read_flight(WILLET)
    device = flight.recovery[0].model_copy(update=change)
    update = {"recovery": (device,), "cases": cases or {}}
    return fly(flight.model_copy(update=update), LIGHT, 0.0, samples=300, seed=1)


def outcomes(flown, limits=LIMITS):
    return {c.kind: c.outcome for c in opening_checks(flown, limits)}


def test_an_opening_at_apogee_of_a_calm_day_passes():
    assert outcomes(cloud()) == {Kind.OPENING_SPEED: "pass", Kind.OPENING_LOAD: "pass"}


def test_a_canopy_of_unknown_strength_far_down_a_fall_fails():
    found = outcomes(cloud(opens_at=Trigger("height", 300.0)))
    assert found == {Kind.OPENING_SPEED: "fail", Kind.OPENING_LOAD: "fail"}


def test_a_strength_stated_leaves_the_word_to_its_branches():
    low = Trigger("height", 300.0)
    strong = outcomes(cloud(opens_at=low, strength={"cord": 50_000.0}))
    assert strong == {Kind.OPENING_SPEED: "warn", Kind.OPENING_LOAD: "pass"}
    weak = cloud(opens_at=low, strength={"cord": 500.0})
    assert outcomes(weak)[Kind.OPENING_LOAD] == "warn"
    fails = next(
        c for c in recovery_checks(weak, LIMITS) if c.kind is Kind.RECOVERY_FAILS
    )
    assert fails.outcome == "fail"


@pytest.mark.parametrize("seconds", [0.3, 1.0, 1.8])
def test_a_trigger_while_the_motor_burns_fails(seconds):
    flown = cloud(opens_at=Trigger("time", seconds, 0.0), opening_delay=None)
    burning = [
        c for c in opening_checks(flown, LIMITS) if c.kind is Kind.OPENING_THRUST
    ]
    after = flown.openings[WORKS, "main"][4]
    assert bool(burning) == bool(np.any(after <= 0))
    if seconds < 1.0:
        assert burning[0].outcome == "fail"
        assert burning[0].value > 0.9


@pytest.mark.parametrize(
    ("diameter", "outcome"), [(1.22, "pass"), (0.6, "warn"), (0.2, "warn")]
)
def test_a_fast_landing_holds(diameter, outcome):
    checks = recovery_checks(cloud(diameter=diameter), LIMITS)
    assert next(c for c in checks if c.kind is Kind.DESCENT).outcome == outcome


@pytest.mark.parametrize(
    ("share", "outcome"), [(0.02, "pass"), (0.09, "warn"), (0.30, "fail")]
)
def test_failures_beyond_what_was_counted_hold_and_beyond_twice_that_fail(
    share, outcome
):
    flown = cloud({"nothing deploys": share})
    check = next(
        c for c in recovery_checks(flown, LIMITS) if c.kind is Kind.RECOVERY_FAILS
    )
    assert check.outcome == outcome
    low, high = check.interval
    assert low <= check.value <= high


def test_a_limit_of_a_file_fails_as_soon_as_it_is_passed():
    own = {**LIMITS, "descent_speed": replace(LIMITS["descent_speed"], value=4.0)}
    checks = recovery_checks(cloud(), own)
    assert next(c for c in checks if c.kind is Kind.DESCENT).outcome == "fail"
