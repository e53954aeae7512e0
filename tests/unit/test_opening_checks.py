"""What a range officer is told of recovery: openings, descent, and how often it fails."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from driftmap import fly, read_flight
from driftmap.air.wind import WindProfile
from driftmap.core.units import STANDARD_GRAVITY
from driftmap.formulas.strength import LINKS
from driftmap.montecarlo.caveats import _fins_unknown, _noses_unknown
from driftmap.montecarlo.openings import OPENED
from driftmap.rocket.airframe import Rail
from driftmap.rocket.bodies import bench_of
from driftmap.rocket.cases import build_cases
from driftmap.rocket.fields import Trigger, Uncertain
from driftmap.rocket.flight import OwnCase
from driftmap.rocket.likelihood import WORKS
from driftmap.rocket.opening_order import by_opening, rises_for
from driftmap.rocket.pieces import Piece
from driftmap.rocket.stages import Booster, Device
from driftmap.verdict.check import Kind
from driftmap.verdict.limits import LIMITS
from driftmap.verdict.recovery_checks import (
    missing_checks,
    opening_checks,
    recovery_checks,
)

WILLET = Path(__file__).parents[2] / "examples" / "willet.toml"
LIGHT = WindProfile(
    np.array([0.0, 10.0, 3000.0]), [1.0, 2.0, 2.0], [0.0] * 3, [0.0] * 3
)


def cloud(cases=None, **change):
    flight = read_flight(WILLET)
    device = flight.recovery[0].model_copy(update=change)
    update = {"recovery": (device,), "cases": cases or {}}
    return fly(flight.model_copy(update=update), LIGHT, 0.0, samples=300, seed=1)


@cache
def planned():
    """The flight as planned, flown once."""
    return cloud()


def outcomes(flown, limits=LIMITS):
    return {c.kind: c.outcome for c in opening_checks(flown, limits)}


def test_an_opening_at_apogee_of_a_calm_day_passes():
    assert outcomes(planned()) == {
        Kind.OPENING_SPEED: "pass",
        Kind.OPENING_LOAD: "pass",
    }


def test_a_canopy_of_unknown_strength_far_down_a_fall_fails():
    found = outcomes(cloud(opens_at=Trigger("height", 300.0)))
    assert found == {Kind.OPENING_SPEED: "fail", Kind.OPENING_LOAD: "fail"}


def test_a_strength_stated_leaves_the_word_to_its_branches():
    low = Trigger("height", 300.0)
    strong = outcomes(cloud(opens_at=low, strength=dict.fromkeys(LINKS, 50_000.0)))
    assert strong == {Kind.OPENING_SPEED: "warn", Kind.OPENING_LOAD: "pass"}
    weak = cloud(
        opens_at=low, strength={**dict.fromkeys(LINKS, 50_000.0), "cord": 500.0}
    )
    assert outcomes(weak)[Kind.OPENING_LOAD] == "warn"
    fails = next(
        c for c in recovery_checks(weak, LIMITS) if c.kind is Kind.RECOVERY_FAILS
    )
    assert fails.outcome == "fail"


@pytest.mark.parametrize("left_out", LINKS)
def test_what_is_stated_of_some_links_says_nothing_of_the_others(left_out):
    """A cord of 18 kN makes no cloth stronger, and lets no opening be harder."""
    stated = {link: 18_000.0 for link in LINKS if link != left_out}
    found = cloud(opens_at=Trigger("height", 300.0), strength=stated)
    assert outcomes(found) == {Kind.OPENING_SPEED: "fail", Kind.OPENING_LOAD: "fail"}
    given = {c.name for c in found.tree.cases} & {"planned opening, main torn"}
    assert bool(given) == (left_out == "canopy")


STREAMER = Device.model_validate(
    {
        "name": "drogue",
        "kind": "streamer",
        "opens_at": "apogee",
        "length": "0.9 m",
        "width": "0.1 m",
    }
)


@pytest.mark.parametrize("seconds", [1.0, 3.0, 6.0])
def test_what_fires_on_the_way_up_does_so_beside_whatever_opens_at_apogee(seconds):
    flight = read_flight(WILLET)
    main = flight.recovery[0].model_copy(
        update={"opens_at": Trigger("time", seconds, 0.0)}
    )
    met = [
        fly(
            flight.model_copy(update={"recovery": devices}),
            LIGHT,
            0.0,
            samples=100,
            seed=1,
        ).openings[WORKS, "main"]
        for devices in ((main,), (main, STREAMER))
    ]
    assert np.array_equal(*met)


SMALL = {
    "pilot": {"kind": "canopy", "diameter": "0.4 m", "drag_coefficient": "0.75"},
    "ribbon": {"kind": "streamer", "length": "1.5 m", "width": "15 cm"},
}


def speeds(*devices, what="speed"):
    """Tell how fast devices open as planned, or when, in the middle."""
    flight = read_flight(WILLET).model_copy(update={"recovery": devices})
    flown = fly(flight, LIGHT, 0.0, samples=100, seed=1)
    return {
        name: float(np.median(met[OPENED.index(what)]))
        for (cause, name), met in flown.openings.items()
        if cause == WORKS
    }


@pytest.mark.parametrize(
    ("small", "seconds", "together"),
    [
        ("pilot", 12.0, True),
        ("ribbon", 12.0, True),
        ("ribbon", 12.3, True),
        ("ribbon", 16.0, False),
    ],
)
def test_what_comes_out_together_meets_the_speed_that_each_would_meet_alone(
    small, seconds, together
):
    """None has slowed the others before they open; what opens long after is slowed."""
    own = {**SMALL[small], "name": small, "opens_at": "12 s +/- 0.1 s"}
    beside = Device.model_validate(own, strict=False)
    main = read_flight(WILLET).recovery[0]
    main = main.model_copy(update={"opens_at": Trigger("time", seconds, 0.1)})
    both = speeds(main, beside)
    # The middle of 100 flights errs by 3 % (its standard error, by the spread of 4,000).
    assert both[small] == pytest.approx(speeds(beside)[small], rel=0.1)
    alone = speeds(main)["main"]
    assert (both["main"] == pytest.approx(alone, rel=0.1)) is together
    assert both["main"] < 1.1 * alone


def test_a_timer_that_fires_at_apogee_does_not_wait_for_what_opens_there():
    flight = read_flight(WILLET)
    at = {"opens_at": Trigger("time", rises_for(flight) + 0.4, 0.1)}
    main = flight.recovery[0].model_copy(update=at)
    assert speeds(main, STREAMER)["main"] == pytest.approx(speeds(main)["main"], 0.1)


@pytest.mark.parametrize("trigger", ["apogee", "1000 m +/- 1 m", "14 s +/- 0.1 s"])
def test_a_device_begins_its_delay_when_the_trigger_fires(trigger):
    """Not once what opens before it at that trigger is open: 9 s later it opens, not 15."""
    given = {**SMALL["ribbon"], "opens_at": trigger, "opening_delay": "6 s +/- 0 s"}
    ribbon = Device.model_validate({**given, "name": "ribbon"}, strict=False)
    late = {"opening_delay": Uncertain(9.0, 0.0), "opens_at": ribbon.opens_at}
    main = read_flight(WILLET).recovery[0].model_copy(update=late)
    opened = speeds(main, ribbon, what="time")
    assert opened["main"] - opened["ribbon"] == pytest.approx(3.0, abs=0.1)
    # Nor later for a third, that is larger than the ribbon and a second slower.
    pilot = {**SMALL["pilot"], "name": "pilot", "opens_at": trigger}
    third = Device.model_validate(
        {**pilot, "opening_delay": "7 s +/- 0 s"}, strict=False
    )
    opened = speeds(main, ribbon, third, what="time")
    assert opened["main"] - opened["pilot"] == pytest.approx(2.0, abs=0.1)


@pytest.mark.parametrize(("drogue", "first"), [(True, "main"), (False, "pilot")])
def test_heights_with_delays_are_ordered_by_how_fast_it_sinks_to_them(drogue, first):
    """200 m and 4 s, 150 m and half a second: at 6 m/s 176 and 147 m, at 30 m/s 80 and 135."""
    flight = read_flight(WILLET)
    own = {**SMALL["pilot"], "name": "pilot", "opens_at": "150 m"}
    pilot = Device.model_validate({**own, "opening_delay": "0.5 s"}, strict=False)
    late = {"opens_at": Trigger("height", 200.0), "opening_delay": Uncertain(4.0)}
    main = flight.recovery[0].model_copy(update=late)
    slow = {**SMALL["pilot"], "name": "drogue", "diameter": "1.5 m"}
    out = Device.model_validate({**slow, "opens_at": "apogee"}, strict=False)
    devices = (main, pilot, *[out] * drogue)
    flight = flight.model_copy(update={"recovery": devices})
    assert by_opening(flight)[drogue].name == first


def test_what_came_out_with_a_device_that_rips_off_hangs_on():
    """Whose load was asked before: it has held. The other way about nobody asked."""
    own = {**SMALL["pilot"], "name": "pilot", "opens_at": "apogee"}
    pilot = Device.model_validate(own, strict=False)
    flight = read_flight(WILLET)
    devices = (pilot, *flight.recovery)
    cases = build_cases(flight.model_copy(update={"recovery": devices})).cases
    ends = {case.name: case.bodies[0].stages[-1] for case in cases}
    rest = ends["planned opening, pilot ripped off"]
    assert rest.glide == "main glide"
    assert [name for _, name in rest.drag] == ["hanging", "main drag"]
    rest = ends["planned opening, main ripped off"]
    assert [name for _, name in rest.drag] == ["tumbling"]


def test_what_fires_on_the_way_up_and_is_not_flown_so_holds():
    """Of stages what opens first is told by the burn of the first alone: too soon."""
    flight = read_flight(WILLET.with_name("godwit.toml"))
    main = flight.recovery[0].model_copy(update={"opens_at": Trigger("time", 10.0)})
    flight = flight.model_copy(update={"recovery": (main, STREAMER)})
    flown = fly(flight, LIGHT, 0.0, samples=100, seed=1)
    assert np.median(flown.apogee.time) > 12.0
    assert any("fires on the way up" in told for told in flown.tree.missing)


def booster_flown(seconds, *beside, impulse=160.0, parts=0.2):
    flight = read_flight(WILLET.with_name("godwit.toml"))
    canopy = flight.booster.recovery[0].model_copy(
        update={"opens_at": Trigger("time", seconds, 0.0)}
    )
    booster = flight.booster.model_copy(update={"recovery": (canopy, *beside)})
    motor = flight.motor.model_copy(update={"total_impulse": Uncertain(impulse)})
    upper = flight.sustainer.model_copy(update={"separation": Uncertain(parts)})
    flight = flight.model_copy(
        update={"booster": booster, "motor": motor, "sustainer": upper}
    )
    return fly(flight, LIGHT, 0.0, samples=100, seed=1)


@pytest.mark.parametrize("seconds", [1.2, pytest.param(3.0, marks=pytest.mark.slow)])
def test_a_booster_opens_on_its_way_up_beside_whatever_opens_at_its_apogee(seconds):
    met = [
        booster_flown(seconds, *beside).openings[WORKS, "booster canopy"]
        for beside in ((), (STREAMER,))
    ]
    assert np.array_equal(*met)


def test_a_timer_of_a_booster_near_its_apogee_holds_and_one_behind_it_does_not():
    """How a booster falls back is known so badly that a fast one rises for 5 to 11 s."""
    for seconds, holds in ((7.5, True), (12.0, False)):
        missing = booster_flown(seconds, STREAMER, impulse=400.0).tree.missing
        assert any("fires on the way up" in told for told in missing) == holds


@pytest.mark.parametrize(("seconds", "outcomes"), [(0.8, ["fail"]), (3.0, [])])
def test_a_booster_that_opens_before_the_stages_part_fails(seconds, outcomes):
    """They part at 2.1 s; it burns for 0.9 s and opens some 0.9 s after its trigger."""
    checks = opening_checks(booster_flown(seconds, parts=1.2), LIMITS)
    told = [c.outcome for c in checks if c.kind is Kind.OPENING_THRUST]
    assert told == outcomes


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
    checks = recovery_checks(planned(), own)
    assert next(c for c in checks if c.kind is Kind.DESCENT).outcome == "fail"


def check_of(flown, kind, limits=LIMITS):
    return next(c for c in recovery_checks(flown, limits) if c.kind is kind)


def with_cases(flown, **change):
    """The same flights with every case changed."""
    cases = tuple(replace(c, **change) for c in flown.tree.cases)
    return replace(flown, tree=replace(flown.tree, cases=cases))


def test_how_often_recovery_fails_by_hand():
    """One less the chance that it works, and that of what goes wrong under power."""
    flown = planned()
    works = next(c for c in flown.tree.cases if c.name == WORKS)
    power = sum(c.probability for c in flown.tree.cases if c.any_way)
    assert power > 0
    check = check_of(flown, Kind.RECOVERY_FAILS)
    assert check.value == pytest.approx(1 - power - works.probability)
    low, high = check.interval
    assert low <= check.value <= high
    sure = with_cases(flown, only=())
    sure = replace(sure, fluttered=np.zeros_like(flown.fluttered))
    assert check_of(sure, Kind.RECOVERY_FAILS).interval == pytest.approx(
        (check.value, check.value)
    )


def test_a_flight_that_no_case_brings_down_as_planned_fails():
    flown = planned()
    left = tuple(c for c in flown.tree.cases if c.name != WORKS)
    parts = tuple(p for p in flown.parts if p.case != WORKS)
    lost = replace(flown, tree=replace(flown.tree, cases=left), parts=parts)
    check = check_of(lost, Kind.RECOVERY_FAILS)
    assert (check.value, check.interval, check.outcome) == (1.0, (1.0, 1.0), "fail")
    assert Kind.DESCENT not in {c.kind for c in recovery_checks(lost, LIMITS)}


@pytest.mark.parametrize(
    ("share", "outcome"), [(0.0, "pass"), (0.01, "warn"), (0.5, "fail")]
)
def test_fins_that_flutter_are_counted(share, outcome):
    flown = planned()
    loose = np.arange(flown.flights) < share * flown.flights
    shaken = replace(flown, fluttered=loose, margins={"fin": np.where(loose, 0.9, 2.0)})
    check = check_of(shaken, Kind.FLUTTER, limits_for(0.02))
    assert (check.value, check.outcome) == (pytest.approx(share), outcome)


def limits_for(flutter):
    limit = replace(LIMITS["fins_flutter_off"], value=flutter)
    return {**LIMITS, "fins_flutter_off": limit}


def test_a_pack_and_what_hangs_on_it_snatch_as_two_bodies():
    """m1 m2 / (m1 + m2) for the mass on the spring: of a light pack mostly its own."""
    flight = planned().plan.flight
    device, found = flight.recovery[0], planned().openings
    opened = found[WORKS, device.name].astype(float)
    rows = dict(zip(OPENED, opened, strict=True))
    hanging = rows["load"] / rows["weights"] / STANDARD_GRAVITY
    soft = (rows["speed"] / rows["snatch"]) ** 2  # 1 / (stiffness * mass)
    slope, start = np.polyfit(1 / hanging, soft, 1)
    pack = bench_of(flight).cloth_mass(device)
    assert slope / start == pytest.approx(pack, rel=0.02)


def test_how_hard_an_opening_may_be_by_hand():
    """Up to the limit it passes, beyond it holds, and far beyond it fails."""
    flown = planned()
    key = (WORKS, "main")
    rows = dict(zip(OPENED, flown.openings[key], strict=True))

    def told(speed, weights, burnt=5.0, strength=None):
        change = {
            "speed": np.full_like(rows["speed"], speed),
            "weights": np.full_like(rows["speed"], weights),
            "load": np.full_like(rows["speed"], weights * 10.0),
            "after_burnout": np.full_like(rows["speed"], burnt),
        }
        kept = np.array([change.get(name, rows[name]) for name in OPENED])
        device = flown.plan.flight.recovery[0].model_copy(
            update={"strength": strength or {}}
        )
        flight = flown.plan.flight.model_copy(update={"recovery": (device,)})
        plan = replace(flown.plan, flight=flight)
        return outcomes(
            replace(flown, plan=plan, openings={**flown.openings, key: kept})
        )

    speed, load = Kind.OPENING_SPEED, Kind.OPENING_LOAD
    assert told(40.0, 20.0) == {speed: "pass", load: "pass"}
    assert told(40.1, 20.1) == {speed: "warn", load: "warn"}
    assert told(60.0, 50.0) == {speed: "warn", load: "warn"}
    assert told(60.1, 50.1) == {speed: "fail", load: "fail"}
    stated = {**dict.fromkeys(LINKS, 900.0), "lines": 500.0}
    assert told(60.0, 50.0, strength=stated) == {speed: "pass", load: "pass"}
    assert told(99.0, 50.1, strength=stated) == {speed: "warn", load: "warn"}
    weak = {"cord": 150.0}
    assert told(40.0, 15.0, strength=weak) == {speed: "pass", load: "pass"}
    assert told(40.0, 15.1, strength=weak) == {speed: "pass", load: "warn"}
    thrust = Kind.OPENING_THRUST
    assert thrust not in told(9.0, 9.0, burnt=0.001)
    assert told(9.0, 9.0, burnt=0.0)[thrust] == "fail"


def test_a_streamer_may_land_faster():
    flown = read_flight(WILLET.with_name("dunlin.toml"))
    light = fly(flown, LIGHT, 0.0, samples=300, seed=1)
    part = next(light.of(WORKS))

    def outcome(speed):
        still = np.full_like(
            light.speed, speed * np.sqrt(2)
        )  # half of it is the wind's
        angle = np.full_like(light.speed, np.pi / 4)
        check = check_of(replace(light, speed=still, angle=angle), Kind.DESCENT)
        assert check.value == pytest.approx(speed)
        return check.outcome

    assert part.flights
    found = [outcome(v) for v in (15.0, 15.1, 20.0, 20.1)]
    assert found == ["pass", "warn", "warn", "fail"]


SHAPE = ("root", "tip", "span", "thickness", "material")


@pytest.mark.parametrize(
    ("fastest", "printed", "untold", "held"),
    [
        (95.0, False, SHAPE, ""),
        (105.0, False, SHAPE, "flutter"),
        (105.0, False, (), ""),
        (65.0, True, SHAPE, ""),
        (75.0, True, SHAPE, "flutter"),
        (105.0, False, ("material",), "snaps"),  # its stiffness is told alone
        (95.0, False, ("material",), ""),
    ],
)
def test_fast_fins_of_which_nothing_is_told_hold(fastest, printed, untold, held):
    """Told as 3 mm of plywood they flutter off: nothing told is not milder."""
    flown = planned()
    fin = next(p for p in flown.plan.flight.pieces if p.kind == "fin")
    stiff = {"shear_modulus": 5e9} if untold == ("material",) else {}
    changed = {**dict.fromkeys(untold), "printed": printed, **stiff}
    if untold == SHAPE:
        changed |= {"area": 0.0084, "mass": 0.08}  # thick, whatever it is of
    pieces = (fin.model_copy(update=changed),)
    flight = flown.plan.flight.model_copy(update={"pieces": pieces})
    told_of = list(_fins_unknown(flight, np.full(9, fastest)))
    assert len(told_of) == bool(held)
    assert all(held in text for text in told_of)


def test_a_fin_is_no_stiffer_with_root_and_tip_swapped():
    """The formula is of fins that taper outward, and gives others many times the speed."""
    (fin,) = [p for p in read_flight(WILLET).pieces if p.kind == "fin"]
    told = {"root": 0.20, "tip": 0.06, "span": 0.08, "thickness": 0.0012}
    true = fin.model_copy(update=told)
    swapped = fin.model_copy(update={**told, "root": 0.06, "tip": 0.20})
    assert swapped.planform() == true.planform()
    assert swapped.plate().root == 0.06  # bending is that of the root it has


BALSA = {"root": 0.08, "tip": 0.04, "span": 0.08, "thickness": 0.0015}


@pytest.mark.parametrize(
    ("fastest", "mass", "told", "held"),
    [
        (80.0, 0.003, {"area": 0.0048}, True),
        (80.0, 0.014, {"area": 0.0046}, False),  # as an example's, some 4 mm of plywood
        (80.0, 0.014, {"area": 0.0046, "printed": True}, True),
        (80.0, 0.020, {"area": 0.0100}, True),
        (80.0, 0.060, {"area": 0.0100}, False),
        (80.0, 0.003, BALSA, True),
        (15.0, 0.003, BALSA, False),
        (80.0, 0.009, {**BALSA, "thickness": 0.004}, True),  # may still be balsa
        (80.0, 0.027, {**BALSA, "thickness": 0.004}, False),
        (80.0, 0.0065, {**BALSA, "root": 0.12, "printed": True, "infill": 0.2}, True),
        (40.0, 0.0065, {**BALSA, "material": "solid plastic"}, True),
    ],
)
def test_thin_fins_of_which_too_little_is_told_hold_at_less(fastest, mass, told, held):
    """Told of balsa of 1.5 mm all of them flutter off: leaving out what of is not milder."""
    flown = planned()
    fin = next(p for p in flown.plan.flight.pieces if p.kind == "fin")
    bare = {**dict.fromkeys(SHAPE), "mass": mass, "area": None, **told}
    pieces = (fin.model_copy(update=bare),)
    flight = flown.plan.flight.model_copy(update={"pieces": pieces})
    assert bool([*_fins_unknown(flight, np.full(9, fastest))]) == held


@pytest.mark.parametrize(
    ("fastest", "mass", "told", "held"),
    [
        (75.0, 0.024, {"material": "solid plastic"}, True),
        (65.0, 0.024, {"material": "solid plastic"}, False),
        (75.0, 0.024, {"material": "solid plastic", "printed": False}, False),
        (75.0, 0.024, {"material": "solid plastic", "printed": True}, False),
        (75.0, 0.024, {"shear_modulus": 1e9, "strength": 4e7}, True),
        (75.0, 0.024, {"shear_modulus": 1e9, "strength": 4e7, "printed": False}, False),
        (300.0, 0.036, {"shear_modulus": 4e9, "strength": 4e8}, False),  # glass
        (75.0, 0.010, {"shear_modulus": 5e8, "strength": 4e7}, True),  # a sparse print
        (
            75.0,
            0.010,
            {"shear_modulus": 3e9, "strength": 4e7},
            False,
        ),  # too stiff for one
        (75.0, 0.010, {"material": "plywood"}, False),  # what it is named is believed
        (300.0, 0.036, {"material": "glass epoxy"}, False),
    ],
)
def test_a_fin_that_may_be_printed_holds_until_it_is_told(fastest, mass, told, held):
    """A printed one has half the stiffness: leaving it out is not milder than telling it."""
    flown = planned()
    fin = next(p for p in flown.plan.flight.pieces if p.kind == "fin")
    shape = {"root": 0.15, "tip": 0.09, "span": 0.07, "thickness": 0.0035}
    whole = {"material": None, "mass": mass, **shape, **told}
    pieces = (fin.model_copy(update=whole),)
    flight = flown.plan.flight.model_copy(update={"pieces": pieces})
    told_of = list(_fins_unknown(flight, np.full(9, fastest)))
    assert ["printed = false" in text for text in told_of] == [True] * held


@pytest.mark.parametrize(
    ("fastest", "length", "told", "held"),
    [
        (300.0, 0.22, {}, False),
        (700.0, 0.9, {}, True),
        (700.0, 0.9, {"printed": False}, False),
        (700.0, 0.9, {"printed": True, "thickness": 0.003}, False),  # and is worked out
    ],
)
def test_a_fast_nose_cone_holds_until_it_is_told_if_it_was_printed(
    fastest, length, told, held
):
    flown = planned()
    shape = {"name": "nose cone", "kind": "nose cone", "mass": 0.1, "diameter": 0.057}
    nose = Piece(**shape, length=length, **told)
    flight = flown.plan.flight.model_copy(update={"pieces": (nose,)})
    told_of = list(_noses_unknown(flight, np.full(9, fastest)))
    assert ["printed = false" in text for text in told_of] == [True] * held


@pytest.mark.parametrize(
    ("rail", "held"),
    [
        ({}, True),
        ({"azimuth": "into the wind"}, False),
        ({"azimuth": "80 deg"}, False),
        ({"angle": "0 deg"}, False),
    ],
)
def test_which_way_the_rail_leans_is_told_or_holds(rail, held):
    """Every rail leans somewhere: whoever sets it up by habit flies another flight."""
    flown = read_flight(WILLET)
    own = Rail(**{"length": "1.8 m", "angle": "4 deg", **rail})
    flight = flown.model_copy(update={"rail": own})
    lines = missing_checks(fly(flight, LIGHT, 0.0, samples=50, seed=1))
    assert ["rail: which way" in line.name for line in lines].count(True) == held


@pytest.mark.parametrize(
    ("booster", "held"),
    [
        (None, True),
        ({}, True),
        ({"descent": {"planned": "tumbling"}}, False),
        ({"descent": {"planned": "nose first"}}, False),
    ],
)
def test_how_a_booster_comes_down_is_told_or_holds(booster, held):
    """Tumbling is the milder way: what is flown where nothing is said is no claim."""
    staged = read_flight(WILLET.with_name("godwit.toml"))
    whole = None if booster is None else Booster(**booster)
    flight = staged.model_copy(update={"booster": whole})
    lines = missing_checks(fly(flight, LIGHT, 0.0, samples=50, seed=1))
    assert ["booster: whether" in line.name for line in lines].count(True) == held


@pytest.mark.parametrize(
    ("told", "drag"),
    [
        ({}, (0.55, 0.8)),
        ({"type": "flat circular"}, (0.75, 0.8)),
        ({"type": "disk-gap-band"}, (0.52, 0.58)),
        ({"drag_coefficient": Uncertain(0.75)}, (0.75, 0.8)),
    ],
)
def test_a_canopy_of_which_nothing_is_told_brakes_as_any_flat_sheet(told, drag):
    """The round flat one brakes nearly best of them: leaving its type out is not milder."""
    apogee = Trigger("apogee")
    device = Device(name="main", kind="canopy", diameter=0.85, opens_at=apogee, **told)
    assert device.published_drag == drag
    bench = bench_of(
        read_flight(WILLET).model_copy(update={"recovery": (device,)}, deep=False)
    )
    _, name = bench.cloth(device)
    assert bench.spreads[name].middle == pytest.approx(np.sqrt(np.prod(drag)), rel=0.04)


@pytest.mark.parametrize(("at", "held"), [("6 s", False), ("25 s", True)])
def test_an_own_case_after_the_apogee_holds(at, held):
    """It is flown from the apogee, upwind of where the rocket hangs by then."""
    own = OwnCase(name="hang", likelihood="1 %", at=at, rocket_falls="nose first")
    flight = read_flight(WILLET).model_copy(update={"own_cases": (own,)})
    lines = missing_checks(fly(flight, LIGHT, 0.0, samples=100, seed=1))
    assert [line.name.partition(":")[0] for line in lines] == ["hang"] * held
