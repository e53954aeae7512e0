"""Two stages and motors lit in the air: closed forms, and an independent rigid body.

Without air a stage of constant thrust `T` and even flow that burns from `m` to `m - p` in a
time `b` gains, straight up (Tsiolkovsky, with the loss to gravity; any text on rockets),

    v = c ln(m / (m - p)) - g b,      c = T b / p,
    h = v0 b + c b (1 - (m - p) / p ln(m / (m - p))) - g b² / 2.

By hand, for 4 kg with a booster motor of 300 N s in 1.5 s that burns 0.2 kg: c = 1500 m/s,
v = 1500 ln(4/3.8) - 14.710 = 62.230 m/s, h = 1500 · 1.5 (1 - 19 ln(4/3.8)) - 11.032 =
46.179 m. Coasting 0.5 s: 57.327 m/s, 76.068 m. The sustainer of 2 kg lights 1 s later: 47.520
m/s, 128.492 m; 200 N s in 2 s from 0.1 kg: c = 2000 m/s, v = 47.520 + 2000 ln(2/1.9) - 19.613
= 130.493 m/s, h = 128.492 + 95.040 + 4000 (1 - 19 ln(2/1.9)) - 19.613 = 305.628 m. Apogee
130.493²/2g above: 1173.8 m, 5.000 + 13.307 = 18.307 s after lift-off.
"""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from driftmap.air.atmosphere import air_density, speed_of_sound
from driftmap.air.column import AirColumn
from driftmap.air.wind import WindProfile
from driftmap.montecarlo.cloud import fly
from driftmap.montecarlo.falls import moment
from driftmap.montecarlo.staging import on_way
from driftmap.rocket.case import LIGHTS, Release
from driftmap.rocket.cases import build_cases
from driftmap.rocket.flight import Flight
from driftmap.rocket.likelihood import CERTAIN, LIKELIHOOD, WORKS
from driftmap.rocket.stage_cases import LATE, TOGETHER, UNLIT
from driftmap.rocket.stages import BOOSTER
from driftmap.trajectory.ascent import ascend
from driftmap.trajectory.rocket import CONSTANT_THRUST, Rocket, Stability
from driftmap.verdict.check import Kind
from driftmap.verdict.limits import LIMITS
from driftmap.verdict.recovery_checks import recovery_checks

G = 9.80665
ONE = np.ones(1)


def column(wind=0.0, density=1.0):
    h = np.concatenate([np.linspace(0, 60, 61), np.arange(80, 6001, 20.0)])
    east = -wind * (np.maximum(h, 0.2) / 10) ** 0.15
    return AirColumn(
        h,
        density * air_density(h),
        speed_of_sound(h),
        east[:, None],
        np.zeros((h.size, 1)),
    )


def two_stages(*, drag=1e-9, tilt=0.0, **upper):
    """The rocket of the hand calculation, shape (1,)."""
    steady = Stability(0.12 * ONE, 0.03 * ONE, 0.07 * ONE, 1.1 * ONE, 0.7 * ONE)
    lower = Rocket(
        mass=4 * ONE,
        propellant=0.2 * ONE,
        impulse=300 * ONE,
        burn_time=1.5 * ONE,
        curve=CONSTANT_THRUST,
        drag_area=drag * ONE,
        tilt=tilt * ONE,
        azimuth=np.pi / 2 * ONE,
        rail_length=2.0,
        stability=steady,
    )
    own = {
        "mass": 2 * ONE,
        "propellant": 0.1 * ONE,
        "impulse": 200 * ONE,
        "burn_time": 2 * ONE,
        "drag_area": 0.8 * drag * ONE,
        "stability": Stability(
            0.08 * ONE, 0.02 * ONE, 0.04 * ONE, 0.3 * ONE, 0.45 * ONE
        ),
        "parts": 2.0 * ONE,
        "lights": 3.0 * ONE,
        **upper,
    }
    return replace(lower, upper=replace(lower, **own))


def test_two_stages_in_a_vacuum_are_the_sum_of_their_closed_forms():
    way = ascend(two_stages(), column(density=1e-9))
    for time, speed, height in (
        (1.5, 62.230, 46.179),
        (2.0, 57.327, 76.068),
        (3.0, 47.520, 128.492),
        (5.0, 130.493, 305.628),
    ):
        there = way.at(np.array([time]))
        assert there.v_up[0] == pytest.approx(speed, rel=2e-4)
        assert there.height[0] == pytest.approx(height, rel=1e-3)
    assert way.apogee.height[0] == pytest.approx(1173.8, rel=1e-3)
    assert way.apogee.time[0] == pytest.approx(18.307, rel=1e-3)
    assert way.burnout[0] == 5.0
    assert way.first_burnout[0] == 1.5


def test_energy_is_kept_between_the_burns():
    """Coasting without air: v²/2 + g h stays as it was, across the parting of the stages."""
    way = ascend(two_stages(), column(density=1e-9))
    rows = way.rows[:, :, 0]
    coasting = rows[(rows[:, 6] >= 1.5) & (rows[:, 6] <= 3.0)]
    energy = coasting[:, 5] ** 2 / 2 + G * coasting[:, 2]
    np.testing.assert_allclose(energy, energy[0], rtol=1e-6)


def test_a_long_wait_in_dense_air_is_the_closed_form_of_the_rise():
    """z = (V²/g) ln(cos(a - g t/V) / cos a), tan a = v/V, V² = 2 m g / (rho C S).

    A wait of 17 s in eight steps would be 2.1 s each, where drag brakes within two.
    """
    h = np.array([0.0, 6000.0])
    level = np.ones((2, 1))
    air = AirColumn(h, 1.1 * level[:, 0], 340 * level[:, 0], 0 * level, 0 * level)
    way = ascend(two_stages(drag=0.05, impulse=1e-3 * ONE, lights=19.0 * ONE), air)
    parted, later = (way.at(np.array([t])) for t in (2.0, 4.0))
    fastest = np.sqrt(2 * 2 * G / (1.1 * 0.8 * 0.05))
    a = np.arctan(parted.v_up[0] / fastest)
    rise = fastest**2 / G * np.log(np.cos(a - G * 2 / fastest) / np.cos(a))
    assert later.height[0] - parted.height[0] == pytest.approx(rise, abs=1.0)


def test_a_motor_that_never_lights_leaves_the_coast_of_a_stone():
    way = ascend(two_stages(lights=np.inf * ONE), column(density=1e-9))
    assert way.apogee.height[0] == pytest.approx(46.179 + 62.230**2 / (2 * G), rel=1e-3)
    assert way.burnout[0] == 1.5


def test_all_that_holds_together_is_weighed():
    rocket = two_stages()
    for time, mass in ((0, 4), (1.9, 3.8), (2.1, 2.0), (4.0, 1.95), (9.0, 1.9)):
        assert rocket.mass_at(np.array([time]))[0] == pytest.approx(mass)
    unlit = two_stages(lights=np.inf * ONE)
    assert unlit.mass_at(np.array([9.0]))[0] == 2.0


def rigid(rocket, air, start):
    """Fly both stages from the rail to apogee with DOP853; give the state there."""
    upper = rocket.upper

    def number(value):
        return float(np.ravel(value)[0])

    def slope(t, y, body, mass0, flow, thrust, began):
        x, v, e, spin = y.reshape(4, 3)
        e = e / np.linalg.norm(e)
        density = np.interp(x[2], air.height, air.density)
        s, mass = body.stability, mass0 - flow * (t - began)
        through = v - [np.interp(x[2], air.height, air.east[:, 0]), 0.0, 0.0]
        speed, along = np.linalg.norm(through), through @ e
        across = through - along * e
        lift, side = number(s.lift_area), number(s.side_area)
        push = thrust * e - density / 2 * (
            number(body.drag_area) * speed * through
            + (lift * abs(along) + side * np.linalg.norm(across)) * across
        )
        inertia = number(s.inertia) * mass / number(body.mass)
        turn = density * lift * number(s.margin) * abs(along) / 2 * across
        damp = (density * speed * lift / 2 + flow) * number(s.arm) ** 2
        spun = (turn - damp * spin) / inertia - (spin @ spin) * e
        return np.concatenate([v, push / mass - np.array([0, 0, G]), spin, spun])

    def top(t, y, *_):
        return y[5]

    top.terminal, top.direction = True, -1
    parts, lights = number(upper.parts), number(upper.lights)
    first, last = number(rocket.burn_time), lights + number(upper.burn_time)
    m, p = number(rocket.mass), number(rocket.propellant)
    n, q = number(upper.mass), number(upper.propellant)
    y, t = start, number(start_time(rocket, air))
    for body, until, mass, flow, thrust in (
        (rocket, first, m - p * t / first, p / first, number(rocket.impulse) / first),
        (rocket, parts, m - p, 0.0, 0.0),
        (upper, lights, n, 0.0, 0.0),
        (upper, last, n, q / (last - lights), number(upper.impulse) / (last - lights)),
        (upper, 100.0, n - q, 0.0, 0.0),
    ):
        done = solve_ivp(
            slope,
            (t, until),
            y,
            args=(body, mass, flow, thrust, t),
            method="DOP853",
            rtol=1e-8,
            atol=1e-8,
            max_step=0.05,
            events=top if until == 100.0 else None,
        )
        y, t = done.y[:, -1], done.t[-1]
    return y, t


def start_time(rocket, air):
    return ascend(rocket, air).rail_exit.time


@pytest.mark.parametrize("wind", [2.0, 6.0])
@pytest.mark.parametrize("lights", [3.0, 6.0])  # as planned, and with the nose far over
def test_two_stages_turn_as_an_independent_rigid_body_does(wind, lights):
    air = column(wind)
    rocket = two_stages(drag=1.6e-3, tilt=np.radians(3), lights=lights * ONE)
    way = ascend(rocket, air)
    out = way.rail_exit
    axis = rocket.axis()[:, 0]
    start = np.concatenate(
        [
            [out.east[0], out.north[0], out.height[0]],
            [out.v_east[0], out.v_north[0], out.v_up[0]],
            axis,
            np.zeros(3),
        ]
    )
    state, time = rigid(rocket, air, start)
    apogee = way.apogee
    assert apogee.time[0] == pytest.approx(time, abs=0.02)
    assert apogee.height[0] == pytest.approx(state[2], abs=0.5)
    assert apogee.east[0] == pytest.approx(state[0], abs=0.8)  # of some hundreds
    assert abs(state[0]) > 50


BOOSTER_FIN = {
    "name": "booster fin",
    "kind": "fin",
    "count": 3,
    "mass": "40 g",
    "area": "110 cm2",
}


def flight(**change):
    """A two-stage flight, straight up in still air unless changed."""
    values = {
        "name": "Two stages",
        "airframe": {
            "mass": "2.4 kg",
            "diameter": "57 mm",
            "length": "1.9 m",
            "stability": "2 cal",
            "drag_coefficient": "0.55",
        },
        "rail": {"length": "2 m", "angle": "0 deg +/- 0.5 deg", "azimuth": "0 deg"},
        "motor": {
            "total_impulse": "160 N s",
            "burn_time": "1.2 s",
            "propellant_mass": "90 g",
        },
        "sustainer": {
            "mass": "1.3 kg",
            "diameter": "54 mm",
            "length": "1.2 m",
            "stability": "1.8 cal",
            "drag_coefficient": "0.5",
            "separation": "0.2 s",
            "ignition": "0.8 s",
            "motor": {
                "total_impulse": "140 N s",
                "burn_time": "1.5 s",
                "propellant_mass": "80 g",
            },
        },
        "booster": {
            "recovery": [
                {
                    "name": "booster canopy",
                    "kind": "canopy",
                    "diameter": "0.7 m",
                    "opens_at": "apogee",
                }
            ],
            "piece": [BOOSTER_FIN],
        },
        "recovery": [
            {
                "name": "main",
                "kind": "canopy",
                "diameter": "0.9 m",
                "opens_at": "apogee",
            }
        ],
        "piece": [
            {"name": "fin", "kind": "fin", "count": 3, "mass": "30 g", "area": "70 cm2"}
        ],
        **change,
    }
    return Flight.model_validate({k: v for k, v in values.items() if v is not None})


AIR_START = {
    "ignition": "0.5 s",
    "motor": {"total_impulse": "80 N s", "burn_time": "1 s", "propellant_mass": "45 g"},
}
STILL = WindProfile(*np.zeros((4, 2)) + np.array([[0, 4000.0], [0, 0], [0, 0], [0, 0]]))


@pytest.fixture(scope="module")
def cloud():
    return fly(flight(), STILL, 0.0, samples=600, seed=5)


def energies(cloud, case):
    return {
        part.body: float(part.quantile(cloud.energy, 0.5)) for part in cloud.of(case)
    }


def test_masses_on_landing_are_those_that_the_case_leaves(cloud):
    """Energy over half the square of the speed is the mass; by hand from the file."""

    def mass(case, body):
        part = next(p for p in cloud.of(case) if p.body == body)
        kept = cloud.energy[part.rows] / (cloud.speed[part.rows] ** 2 / 2)
        return float(np.median(kept))

    assert mass(WORKS, "rocket") == pytest.approx(1.22, rel=0.01)
    assert mass(WORKS, BOOSTER) == pytest.approx(1.01, rel=0.01)
    assert mass("sustainer does not light", "rocket") == pytest.approx(1.30, rel=0.01)
    assert mass("stages do not part", "rocket") == pytest.approx(2.23, rel=0.01)
    assert mass("sustainer lights late", "rocket") == pytest.approx(1.22, rel=0.01)
    assert mass("goes off its path", "rocket") == pytest.approx(1.22, rel=0.01)
    assert mass("goes off its path", BOOSTER) == pytest.approx(1.01, rel=0.01)
    # Before the stages part all of it comes down in one, both motors' shares unburnt.
    whole = mass("motor bursts", "rocket") + 6 * 0.015
    assert whole == pytest.approx(2.4, abs=0.1)


def test_the_booster_is_a_piece_wherever_the_stages_part(cloud):
    apart = {case.name for case in cloud.tree.cases} - {
        "motor bursts",
        "motor tears loose",
        "stages do not part",
    }
    for name in apart:
        assert BOOSTER in {part.body for part in cloud.of(name)}, name


def test_what_two_stages_add_is_as_likely_as_all_else_together(cloud):
    """Published: clusters and stages fail twice as often (second hand)."""
    added = [
        "sustainer does not light",
        "sustainer lights late",
        "stages do not part",
        "recovery of the booster fails",
    ]
    assert sum(LIKELIHOOD[name] for name in added) == pytest.approx(0.085)
    works = next(case for case in cloud.tree.cases if case.name == WORKS)
    others = [case.cause for case in cloud.tree.cases if case.cause not in added]
    sound = 1 - sum(LIKELIHOOD.get(c, 0.0) for c in set(others))
    assert works.likelihood == pytest.approx(sound - 0.085)


def test_fins_of_the_booster_are_listed_and_come_off_or_hold(cloud):
    """The sustainer lights on any way it points, and the booster comes down lighter."""
    name = "fins of the booster come off"
    listed = flight().booster.pieces[0]
    parts = {part.body: part for part in cloud.of(name)}
    assert set(parts) >= {"rocket", BOOSTER, listed.name}
    (case,) = [c for c in cloud.tree.cases if c.name == name]
    assert (case.likelihood, case.any_way) == (0.003, True)
    booster = next(body for body in case.bodies if body.name == BOOSTER)
    assert booster.mass == pytest.approx(2.4 - 0.09 - 1.3 - 3 * 0.04)
    fins = parts[listed.name]
    assert fins.count == 3
    # Let go in the burn of 1.2 s, below some 60 m: long down before anything under a canopy.
    assert np.median(cloud.time[fins.rows]) < 15
    assert build_cases(flight()).missing == ()
    for booster in (None, {"recovery": []}):
        (told,) = build_cases(flight(booster=booster)).missing
        assert "fins coming off the booster was not flown" in told


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"name": "fin"}, "every piece needs a name of its own"),
        ({"mass": "400 g"}, "fins of the booster must weigh less"),
        (
            {"kind": "nose cone", "area": None, "length": "1 m", "diameter": "5 cm"},
            "kind",
        ),
    ],
)
def test_what_a_booster_cannot_shed_is_refused(change, told):
    fin = {**BOOSTER_FIN, **change}
    fin = {key: value for key, value in fin.items() if value is not None}
    with pytest.raises(ValueError, match=told):
        flight(booster={"piece": [fin]})


def test_a_sustainer_that_bursts_does_so_where_it_lights(cloud):
    """Its fragments fall from there: later than thrown from the ground, and on all sides."""
    rocket, fragments = (
        next(p for p in cloud.of("sustainer bursts") if p.body == body)
        for body in ("rocket", "fragment")
    )
    case = next(c for c in cloud.tree.cases if c.name == "sustainer bursts")
    assert case.any_way
    assert case.likelihood == 0.003
    lights = cloud.draws[LIGHTS][rocket.who]
    assert np.all(cloud.time[rocket.rows] > lights + 1)
    for side in (cloud.east, cloud.north):
        assert 0.3 < np.mean(side[fragments.rows] > np.median(side[rocket.rows])) < 0.7


def test_a_cluster_that_lights_in_the_air_is_not_flown_in_part_and_holds():
    one, many = AIR_START, AIR_START["motor"] | {"count": 3}
    for plan in (
        flight(),
        flight(sustainer=None, booster=None, air_start=one),
    ):
        assert not [text for text in build_cases(plan).missing if "motors" in text]
    sustainer = flight().sustainer
    motor = sustainer.motor.model_copy(update={"count": 3})
    clustered = sustainer.model_copy(update={"motor": motor})
    for plan in (
        flight().model_copy(update={"sustainer": clustered}),
        flight(sustainer=None, booster=None, air_start=one | {"motor": many}),
    ):
        tree = build_cases(plan)
        (told,) = [text for text in tree.missing if "motors" in text]
        assert told.startswith("part of the 3 motors that light in the air")
        (burst,) = [c for c in tree.cases if c.name == f"{plan.upper_name} bursts"]
        assert burst.likelihood == pytest.approx(1 - 0.997**3)


def test_a_sustainer_that_does_not_light_comes_down_heavier_under_its_canopy(cloud):
    """Its sinking goes by the root of the mass: 1.30 over 1.22 kg."""

    def sinks(case):
        part = next(cloud.of(case))
        return float(part.quantile(cloud.speed, 0.5))

    ratio = sinks("sustainer does not light") / sinks(WORKS)
    assert ratio == pytest.approx(np.sqrt(1.30 / 1.22), abs=0.02)


def test_lit_late_it_strikes_farther_than_planned_apogees_lie(cloud):
    late = next(cloud.of("sustainer lights late"))
    planned = next(cloud.of("nothing deploys"))

    def reach(part):
        away = np.hypot(cloud.east[part.rows], cloud.north[part.rows])
        return float(np.quantile(away, 0.9))

    assert reach(late) > 1.5 * reach(planned)
    assert energies(cloud, "sustainer lights late")["rocket"] > 500


def test_every_device_of_the_booster_is_weighed_on_opening(cloud):
    opened = cloud.openings[WORKS, "booster canopy"]
    assert np.all(np.isfinite(opened))
    assert np.median(opened[5]) < np.median(cloud.apogee.height)


def named(flown):
    checks = recovery_checks(flown, LIMITS)
    return {(check.kind, check.name): check for check in checks}


def test_a_booster_answers_for_its_own_way_down(cloud):
    """Under its canopy by its speed; tumbling by hand at sqrt(2 m g / (rho 1.1 L d k)): 1 kg
    of 0.7 m by 57 mm, k 0.42 to 1, goes 20 to 31 m/s, which fails below a canopy too.
    """
    found = named(cloud)
    assert (Kind.DESCENT, "descent of the booster") in found
    assert not [name for kind, name in found if kind is Kind.NO_RECOVERY]
    bare = fly(flight(booster=None), STILL, 0.0, samples=200, seed=5)
    lost = replace(bare, parts=tuple(p for p in bare.parts if p.body != BOOSTER))
    for flown, outcome in ((bare, "fail"), (lost, "warn")):
        found = named(flown).items()
        (told,) = [check for (kind, _), check in found if kind is Kind.NO_RECOVERY]
        assert told.outcome == outcome


def test_a_sustainer_that_lands_unlit_under_its_canopy_is_no_failed_recovery(cloud):
    def failed(flown):
        every = named(flown).items()
        return next(c for (kind, _), c in every if kind is Kind.RECOVERY_FAILS).value

    fails = sum(
        case.likelihood
        for case in {case.cause: case for case in cloud.tree.cases}.values()
        if not case.any_way
        and case.cause not in (WORKS, "sustainer does not light", CERTAIN)
    )
    assert failed(cloud) == pytest.approx(fails, abs=0.02)
    # One of which nothing opens is.
    cases = {case.name: case for case in cloud.tree.cases}
    unlit = cases["sustainer does not light"]
    shut = tuple(replace(body, stages=()) for body in unlit.bodies)
    cases[unlit.name] = replace(unlit, bodies=shut)
    still = replace(cloud, tree=replace(cloud.tree, cases=tuple(cases.values())))
    assert failed(still) == pytest.approx(failed(cloud) + unlit.probability)


def test_an_air_start_lights_after_the_first_motor():
    one = flight(sustainer=None, booster=None, air_start=AIR_START)
    lit = fly(one, STILL, 0.0, samples=300, seed=5)
    plain = fly(flight(sustainer=None, booster=None), STILL, 0.0, samples=300, seed=5)
    assert np.median(lit.apogee.height) > 1.5 * np.median(plain.apogee.height)
    names = {case.name for case in lit.tree.cases}
    assert {"air start does not light", "air start lights late"} <= names
    assert np.median(lit.draws[LIGHTS]) == pytest.approx(1.7, abs=0.05)
    part = next(lit.of("air start does not light"))
    mass = lit.energy[part.rows] / (lit.speed[part.rows] ** 2 / 2)
    assert np.median(mass) == pytest.approx(2.4 - 0.09, rel=0.01)


def test_other_ways_change_what_they_are_about():
    drawn = {"late ignition": 2 * ONE, "drag of the booster on the way up": 0.01 * ONE}
    rocket, plan = two_stages(), flight()
    assert np.isinf(on_way(UNLIT, plan, rocket, drawn).upper.lights[0])
    assert on_way(LATE, plan, rocket, drawn).upper.lights[0] == 5.0
    assert on_way(TOGETHER, plan, rocket, drawn).upper.mass[0] == 3.8
    falls = on_way(BOOSTER, plan, rocket, drawn).upper
    assert falls.mass[0] == pytest.approx(4 * 1.01 / 2.4)
    assert falls.propellant[0] == 0


def test_a_coast_begins_where_the_last_motor_pushes_no_more():
    """Of one burn that is where it is fastest, as its tail may not push; of two where both end."""
    second = np.array([1.0, 4.0])
    up = SimpleNamespace(
        rail_exit=SimpleNamespace(time=np.full(2, 0.2)),
        first_burnout=np.full(2, 1.0),
        burnout=second,
        apogee=SimpleNamespace(time=np.full(2, 10.0)),
        max_q=lambda: (np.full(2, 0.8), None),
        at=lambda time: time,
    )
    for share, times in ((0.0, (0.8, 4.0)), (1.0, (10.0, 10.0)), (0.5, (5.4, 7.0))):
        draws = {"moment": np.full(2, share)}
        assert moment(Release("coast", "moment"), up, draws, {}) == pytest.approx(times)
