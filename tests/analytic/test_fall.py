"""Falls and rises against closed forms and against a tight ODE solver.

Closed forms: quadratic drag in still air of constant density (any mechanics textbook;
worked numbers computed from them), drift at terminal speed in uniform and sheared wind.
"""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from driftmap.air.column import AirColumn
from driftmap.trajectory.descent import coast, fall
from driftmap.trajectory.motion import Motion

G = 9.80665
RHO = 1.225


def column(top, *, east=(0.0, 0.0), north=(0.0, 0.0), levels=40, density=RHO):
    """Air of constant density with linear wind from the ground to the top."""
    h = np.linspace(0, top, levels)
    rows = [np.interp(h, [0, top], ends)[:, None] for ends in (east, north)]
    return AirColumn(h, np.full(levels, density), np.full(levels, 340.0), *rows)


def thrown(height=0.0, up=0.0, east=0.0, north=0.0):
    """One body."""
    values = (0.0, 0.0, height, east, north, up, 0.0)
    return Motion(*(np.array([v], float) for v in values))


def drag_area_for(terminal, mass=1.0):
    """Drag area whose terminal speed in this air is `terminal`."""
    return 2 * mass * G / (RHO * terminal**2)


@pytest.mark.parametrize(
    ("height", "speed", "time"),
    [
        (4.818410, 9.471661, 1.0),
        (18.357193, 17.226207, 2.0),
        (89.813915, 27.800746, 5.0),
    ],
)
def test_fall_from_rest_is_tanh(height, speed, time):
    """v = vt tanh(gt/vt), y = vt²/g ln cosh(gt/vt), vt = 30 m/s."""
    landed = fall(thrown(height), 1.0, drag_area_for(30.0), column(100))
    assert landed.speed[0] == pytest.approx(speed, abs=0.01)
    assert landed.time[0] == pytest.approx(time, abs=0.002)


@pytest.mark.parametrize("drag_area", [1e-9, 1e-13, 1e-20, 1e-300])
def test_a_body_that_air_hardly_slows_falls_as_in_none(drag_area):
    """t = sqrt(2 h/g), v = sqrt(2 g h): no closed form breaks where the drag is nothing."""
    start = thrown(1000.0, east=30.0)
    landed = fall(start, 1.0, drag_area, column(2000, east=(0.0, 20.0)))
    assert landed.time[0] == pytest.approx(np.sqrt(2000 / G), abs=1e-3)
    assert -landed.v_up[0] == pytest.approx(np.sqrt(2000 * G), abs=1e-2)
    # A layer takes the sideways speed through the air as its mean over height.
    assert landed.east[0] == pytest.approx(30 * np.sqrt(2000 / G), abs=0.2)


@pytest.mark.parametrize(
    ("v0", "vt", "rise", "back", "fall_time"),
    [
        (100, 60, 6.304152, 51.449576, 7.854644),
        (200, 150, 14.183670, 120.0, 16.804091),
    ],
)
def test_thrown_up_comes_back_slower(v0, vt, rise, back, fall_time):
    """t = vt/g atan(v0/vt); return speed v0/sqrt(1+(v0/vt)²); fall vt/g asinh(v0/vt)."""
    landed = fall(thrown(0.0, up=v0), 1.0, drag_area_for(vt), column(2000))
    assert landed.time[0] == pytest.approx(rise + fall_time, abs=0.01)
    assert landed.speed[0] == pytest.approx(back, rel=5e-4)


def test_uniform_wind_carries_at_its_own_speed():
    """6 m/s for 1,000 m at 5 m/s is 1,200 m, less the lag vt²/g-like start-up."""
    released = thrown(1000.0, east=6.0, up=-5.0)
    landed = fall(released, 1.0, drag_area_for(5.0), column(1200, east=(6.0, 6.0)))
    # Released at wind and terminal speed the closed form is exact.
    assert landed.east[0] == pytest.approx(1200.0, abs=0.05)
    assert landed.time[0] == pytest.approx(200.0, abs=0.01)


def test_linear_shear_drifts_by_its_integral_and_its_lag():
    """Drift of w = 2 + 0.005 z over 1,000 m at 5 m/s: 900 m, and the body keeps the
    faster wind it left: s vt²/g on top, over the time of the fall.
    """
    shear, vt = 0.005, 5.0
    lag = shear * vt * vt / G
    air = column(1000, east=(2.0, 7.0))
    released = thrown(1000.0, east=7.0 + lag, up=-vt)
    landed = fall(released, 1.0, drag_area_for(vt), air)
    assert landed.east[0] == pytest.approx(900.0 + lag * 1000 / vt, abs=0.05)


def test_vacuum_like_throw():
    """A nearly drag-free body: x = v t, from 50 m at 80 deg with 100 m/s (table value)."""
    angle = np.radians(80)
    start = thrown(50.0, up=100 * np.sin(angle), east=100 * np.cos(angle))
    landed = fall(start, 1000.0, 1e-7, column(800))
    assert landed.time[0] == pytest.approx(20.579978, abs=1e-3)
    assert landed.east[0] == pytest.approx(357.367569, abs=0.02)


def test_oblique_throw_with_drag_r1():
    """R1, DOP853 at 1e-12: 200 m/s at 80 deg, 5 kg, CdA 0.00392699, constant density."""
    angle = np.radians(80)
    start = thrown(0.0, up=200 * np.sin(angle), east=200 * np.cos(angle))
    landed = fall(start, 5.0, 0.00392699, column(1500))
    assert landed.time[0] == pytest.approx(29.967153, abs=0.01)
    assert landed.east[0] == pytest.approx(595.08482, rel=5e-4)
    assert landed.speed[0] == pytest.approx(115.549876, rel=5e-4)


@pytest.mark.parametrize(("height", "up"), [(0.0, 0.5), (0.02, 3.0), (1.0, 4.0)])
def test_short_hop_comes_down_on_its_far_side(height, up):
    """Up and down within one time step: the range is that of the whole hop."""
    landed = fall(thrown(height, up=up, east=40.0), 1000.0, 1e-7, column(50))
    time = (up + np.sqrt(up**2 + 2 * G * height)) / G
    assert landed.time[0] == pytest.approx(time, rel=1e-4)
    assert landed.east[0] == pytest.approx(40.0 * time, rel=1e-4)


def test_coast_stops_at_its_moment():
    """v = vt tanh(gt/vt) after exactly two seconds."""
    moved = coast(thrown(100.0), 1.0, drag_area_for(30.0), column(200), 2.0)
    assert moved.v_up[0] == pytest.approx(-17.226207, abs=1e-3)
    assert moved.height[0] == pytest.approx(100 - 18.357193, abs=1e-3)
    assert moved.time[0] == pytest.approx(2.0)


def test_coast_ends_on_the_ground():
    moved = coast(thrown(10.0), 1.0, drag_area_for(30.0), column(200), 60.0)
    assert moved.height[0] == 0.0
    assert moved.time[0] == pytest.approx(1.454157, abs=1e-3)  # vt/g acosh(exp(gy/vt²))


def test_two_stages_pass_on_position_speed_and_clock():
    """Stopping on the way changes nothing when the drag stays the same."""
    air = column(1200, east=(1.0, 9.0), north=(3.0, -2.0))
    whole = fall(thrown(1000.0, north=12.0), 2.0, 0.128, air)
    half = fall(thrown(1000.0, north=12.0), 2.0, 0.128, air, floor=400.0)
    rest = fall(half, 2.0, 0.128, air)
    assert half.height[0] == 400.0
    assert rest.east[0] == pytest.approx(whole.east[0], abs=0.05)
    assert rest.north[0] == pytest.approx(whole.north[0], abs=0.05)
    assert rest.time[0] == pytest.approx(whole.time[0], abs=0.01)


def test_below_the_floor_nothing_happens():
    start = thrown(50.0, up=-3.0)
    same = fall(start, 1.0, 0.1, column(100), floor=80.0)
    assert np.array_equal(same.rows(), start.rows())


def test_light_body_thrown_fast_stops_and_flutters_down():
    """A fin shed at 200 m/s: hundreds of g of drag, then a steady fall. By DOP853."""
    from scipy.integrate import solve_ivp

    mass, area = 0.04, 0.006
    air = column(1000, east=(2.0, 8.0))

    def rate(t, y):
        wind = np.interp(y[1], [0, 1000], [2.0, 8.0])
        rx = y[2] - wind
        q = RHO * area / (2 * mass) * np.hypot(rx, y[3])
        return [y[2], y[3], -q * rx, -q * y[3] - G]

    def ground(t, y):
        return y[1]

    ground.terminal, ground.direction = True, -1
    run = solve_ivp(
        rate,
        (0, 500),
        [0, 200, 5, 200],
        "DOP853",
        events=ground,
        rtol=1e-10,
        atol=1e-10,
    )
    landed = fall(thrown(200.0, up=200.0, east=5.0), mass, area, air)
    assert landed.east[0] == pytest.approx(run.y_events[0][0][0], abs=0.3)
    assert landed.time[0] == pytest.approx(run.t_events[0][0], abs=0.05)


def _mix():
    path = Path(__file__).parents[1] / "benchmarks" / "mix.py"
    spec = importlib.util.spec_from_file_location("mix", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.slow
def test_standard_mix_against_dop853():
    """99 % of landings within 0.5 m of DOP853 at 1e-10, all within 2 m."""
    mix, n = _mix(), 120
    truth, landed = mix.one_by_one(n, tight=True), fall(*mix.engine_input(n))
    miss = np.hypot(landed.east - truth[:, 0], landed.north - truth[:, 1])
    assert np.quantile(miss, 0.99) < 0.5
    assert miss.max() < 2.0
    assert np.abs(landed.time - truth[:, 2]).max() < 0.05
    assert np.abs(landed.speed - truth[:, 3]).max() < 0.05


def test_block_edges_and_threads_change_nothing():
    """Bodies beyond one block land where they land alone."""
    mix, n = _mix(), 40_000
    start, mass, area, air = mix.engine_input(n)
    landed = fall(start, mass, area, air)
    last = slice(n - 3, n)
    alone = fall(
        Motion(*(row[last] for row in start.rows())),
        mass[last],
        area[last],
        AirColumn(
            air.height, air.density, air.sound, air.east[:, last], air.north[:, last]
        ),
    )
    # Not to the last bit: numpy sums a short array in another order.
    assert np.allclose(alone.rows(), landed.rows()[:, last], rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize(
    ("mass", "area", "height", "word"),
    [
        (-1.0, 0.1, 10.0, "mass"),
        (np.nan, 0.1, 10.0, "mass"),
        (1.0, 0.0, 10.0, "drag_area"),
        (1.0, np.inf, 10.0, "drag_area"),
        (1.0, 0.1, -1.0, "start"),
        (1.0, 0.1, np.nan, "start"),
        (1.0, 0.1, 500.0, "top of the air"),
    ],
)
def test_nonsense_is_refused_by_name(mass, area, height, word):
    with pytest.raises(ValueError, match=word):
        fall(thrown(height), mass, area, column(100))


def test_one_deep_layer_falls_as_many_thin_ones():
    """The air between levels is linear: 4 km in one layer or in fifty is the same fall."""

    def through(levels):
        h = np.linspace(0.0, 4000.0, levels)
        rho = 1.225 - 0.4 * h / 4000.0
        east = (2.0 + 8.0 * h / 4000.0)[:, None]
        air = AirColumn(h, rho, np.full(levels, 340.0), east, -0.3 * east)
        start = Motion(
            *(np.array([v]) for v in (0.0, 0.0, 3990.0, 30.0, 0.0, -5.0, 0.0))
        )
        return fall(start, 3.0, 0.5, air)

    deep, thin = through(2), through(51)
    assert deep.east == pytest.approx(thin.east, abs=0.5)
    assert deep.time == pytest.approx(thin.time, abs=0.05)


def test_a_body_that_turns_over_below_its_floor_stays_there():
    """Thrown up at 10 m/s from 50 m, it rises 5.1 m less drag: far below a floor of 200 m."""
    one, zero = np.ones(1), np.zeros(1)
    height = np.array([0.0, 1000.0])
    air = AirColumn(height, np.ones(2), 340 * np.ones(2), *np.zeros((2, 2, 1)))
    thrown = Motion(zero, zero, 50 * one, zero, zero, 10 * one, zero)
    top = fall(thrown, 1.0, 1e-3, air, floor=200.0)
    assert 50.0 < top.height[0] < 55.1
    landed = fall(top, 1.0, 1e-3, air)
    assert landed.height[0] == 0
