"""The way up against closed forms and a numeric reference case.

R4 is a point mass whose axis lies in the airstream from the start, the limit of a rocket so
stiff that it swings back at once. It and its branches were computed with scipy's DOP853 at rtol = atol = 1e-12 and written a
second time from scratch with RK4 (agreement 1 mm); standard atmosphere, wind
-4 (h/10)^(1/7) along x, rail 3 m leaning 4 deg into it, constant thrust and drag.
Burn and coast: closed form with quadratic drag and mean mass (Fehskens and Malewicki,
from memory), numbers computed from it.
"""

import numpy as np
import pytest

from driftmap.air.atmosphere import air_density, speed_of_sound
from driftmap.air.column import AirColumn
from driftmap.trajectory.ascent import ascend
from driftmap.trajectory.descent import fall
from driftmap.trajectory.rocket import (
    CONSTANT_THRUST,
    Rocket,
    Stability,
    ThrustCurve,
)


def stiff(n):
    """A rocket that swings back within millimetres, without normal force of its own."""
    one = np.ones(n)
    return Stability(1e3 * one, 1e-2 * one, 0 * one, 1e-6 * one, 0 * one)


def rocket(**change):
    """R4's rocket, shape (1,)."""
    one = np.ones(1)
    values = {
        "mass": 12 * one,
        "propellant": 1.8 * one,
        "impulse": 3600 * one,
        "burn_time": 3 * one,
        "curve": CONSTANT_THRUST,
        "drag_area": 0.45 * np.pi * 0.1**2 / 4 * one,
        "tilt": np.radians(4) * one,
        "azimuth": np.radians(90) * one,
        "rail_length": 3.0,
    }
    values = {**values, **change}
    values.setdefault("stability", stiff(values["impulse"].size))
    return Rocket(**values)


@pytest.fixture(scope="module")
def r4_air():
    """R4's wind on levels dense enough for its power law."""
    low = np.geomspace(0.02, 400, 400)
    h = np.concatenate([[0.0], low, np.arange(450, 4001, 50.0)])
    wind = -4 * (h / 10) ** (1 / 7)
    altitude = h + 300.0
    return AirColumn(
        h,
        air_density(altitude),
        speed_of_sound(altitude),
        wind[:, None],
        np.zeros((h.size, 1)),
    )


@pytest.fixture(scope="module")
def r4(r4_air):
    return ascend(rocket(), r4_air)


def test_r4_rail_exit(r4):
    assert r4.rail_exit.time[0] == pytest.approx(0.25729660, abs=1e-4)
    assert r4.rail_exit.speed[0] == pytest.approx(23.371044, abs=2e-3)


def test_r4_under_power(r4):
    at = r4.at(np.array([2.0]))
    found = [at.east[0], at.height[0] + 300, at.v_east[0], at.v_up[0]]
    assert found == pytest.approx(
        [44.08594, 479.62332, 51.322472, 179.614756], rel=1e-3
    )


def test_r4_apogee(r4):
    top = r4.apogee
    assert top.time[0] == pytest.approx(22.827688, abs=0.01)
    assert top.east[0] == pytest.approx(1294.683, rel=5e-4)
    assert top.height[0] == pytest.approx(2657.31104, rel=5e-4)
    assert top.v_east[0] == pytest.approx(48.673691, rel=1e-3)
    assert abs(top.v_up[0]) < 1e-6


def test_r4a_nose_first(r4, r4_air):
    landed = fall(r4.apogee, 10.2, rocket().drag_area, r4_air)
    assert landed.time[0] == pytest.approx(48.179782, abs=0.02)
    assert landed.east[0] == pytest.approx(2272.35628, rel=5e-4)
    assert landed.speed[0] == pytest.approx(181.343729, rel=5e-4)
    assert 10.2 * landed.speed[0] ** 2 / 2 == pytest.approx(167716.3, rel=1e-3)


def test_r4b_dual_deployment(r4, r4_air):
    main = fall(r4.apogee, 10.2, 0.25, r4_air, floor=200.0)
    assert main.time[0] == pytest.approx(113.735402, abs=0.05)
    assert main.east[0] == pytest.approx(716.75787, abs=0.8)
    assert main.v_up[0] == pytest.approx(-26.227227, abs=0.02)
    landed = fall(main, 10.2, 3.0, r4_air)
    assert landed.time[0] == pytest.approx(139.702609, abs=0.06)
    assert landed.east[0] == pytest.approx(575.68402, abs=0.9)
    assert landed.v_up[0] == pytest.approx(-7.468840, abs=0.01)


def calm(top=4000.0, density=1.225):
    h = np.array([0.0, top])
    zero = np.zeros((2, 1))
    return AirColumn(h, np.full(2, density), np.full(2, 340.0), zero, zero)


@pytest.mark.parametrize(
    ("thrust", "m0", "mp", "tb", "d", "cd", "apogee"),
    [
        (1200, 12, 1.8, 3, 0.1, 0.45, 2757.14075),
        (250, 3, 0.3, 2, 0.075, 0.5, 905.59771),
    ],
)
def test_burn_and_coast_closed_form(thrust, m0, mp, tb, d, cd, apogee):
    """The closed form holds the mass at its mean; with little propellant they agree."""
    one = np.ones(1)
    flown = ascend(
        rocket(
            mass=m0 * one,
            propellant=mp * one,
            impulse=thrust * tb * one,
            burn_time=tb * one,
            drag_area=cd * np.pi * d**2 / 4 * one,
            tilt=0 * one,
            rail_length=0.01,
        ),
        calm(),
    )
    # The mean-mass formula's own error: 0.6 % at 15 % propellant, 0.3 % at 10 %.
    assert flown.apogee.height[0] == pytest.approx(apogee, rel=0.008)


def test_coast_alone_is_the_closed_form():
    """From burnout at v_b: h = m/2k ln(1 + k v²/mg), t = sqrt(m/kg) atan(v sqrt(k/mg))."""
    one = np.ones(1)
    flown = ascend(rocket(tilt=0 * one), calm())
    bo = flown.at(flown.burnout)
    k, m, v, g = 1.225 * rocket().drag_area[0] / 2, 10.2, bo.v_up[0], 9.80665
    rise = m / (2 * k) * np.log(1 + k * v**2 / (m * g))
    wait = np.sqrt(m / (k * g)) * np.arctan(v * np.sqrt(k / (m * g)))
    # Steps of second order: within 1 m in 2.3 km.
    assert flown.apogee.height[0] - bo.height[0] == pytest.approx(rise, rel=5e-4)
    assert flown.apogee.time[0] - bo.time[0] == pytest.approx(wait, rel=5e-4)


def test_no_drag_no_weight_loss_is_tsiolkovsky():
    """dv = (T tb / mp) ln(m0/(m0-mp)) = 325.0379 m/s, less gravity's 3 s."""
    one = np.ones(1)
    flown = ascend(
        rocket(drag_area=1e-9 * one, tilt=0 * one, rail_length=0.01), calm(20_000.0)
    )
    assert flown.at(flown.burnout).v_up[0] == pytest.approx(
        325.0379 - 3 * 9.80665, abs=0.05
    )


@pytest.mark.parametrize(
    ("thrust", "mass", "length", "angle", "speed", "time"),
    [
        (1200, 12, 3.0, 90, 23.262848, 0.257922),
        (250, 3, 1.5, 85, 14.855706, 0.201943),
    ],
)
def test_rail_closed_form(thrust, mass, length, angle, speed, time):
    """v = sqrt(2 a L), a = T/m - g sin(elevation), no drag."""
    one = np.ones(1)
    flown = ascend(
        rocket(
            mass=mass * one,
            propellant=1e-9 * one,
            impulse=thrust * 3.0 * one,
            drag_area=1e-9 * one,
            tilt=np.radians(90 - angle) * one,
            rail_length=length,
        ),
        calm(30_000.0),
    )
    assert flown.rail_exit.speed[0] == pytest.approx(speed, abs=1e-4)
    assert flown.rail_exit.time[0] == pytest.approx(time, abs=1e-5)


def test_leaving_the_rail_it_turns_into_the_wind():
    """atan(5/20) = 14.036 deg: the first acceleration points along the airstream."""
    one = np.ones(1)
    air = calm()
    air = AirColumn(air.height, air.density, air.sound, np.full((2, 1), 5.0), air.north)
    flown = ascend(rocket(tilt=0 * one), air)
    after = flown.at(flown.rail_exit.time + 1e-4)
    exit_ = flown.rail_exit
    change = np.arctan2(
        -(after.v_east - exit_.v_east), after.v_up - exit_.v_up + 9.80665e-4
    )
    tilt = np.arctan2(5.0, exit_.v_up)
    assert np.degrees(change[0]) == pytest.approx(np.degrees(tilt[0]), rel=0.01)


def test_thrust_curve_delivers_its_impulse():
    """A spiky curve gives the same burnout speed however the steps fall."""
    curve = ThrustCurve(np.array([0, 0.01, 0.05, 0.3, 1]), np.array([0, 50, 9, 6, 0.0]))
    one = np.ones(1)
    share = curve.delivered(np.linspace(0, 1, 2001))
    assert share[0] == 0.0
    assert share[-1] == pytest.approx(1.0)
    assert np.all(np.diff(share) >= 0)
    flown = ascend(
        rocket(curve=curve, drag_area=1e-9 * one, tilt=0 * one, rail_length=0.01),
        calm(20_000.0),
    )
    # Ignition waits for thrust above weight, a few milliseconds of gravity on the stop.
    assert flown.at(flown.burnout).v_up[0] == pytest.approx(
        325.0379 - 3 * 9.80665, abs=0.2
    )


def test_weak_motor_is_refused():
    with pytest.raises(ValueError, match="rail"):
        ascend(rocket(impulse=np.array([300.0])), calm())


def test_flight_out_of_the_air_is_refused():
    with pytest.raises(ValueError, match="top of the air that is drawn"):
        ascend(rocket(), calm(500.0))
