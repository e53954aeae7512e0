"""A coast through the sound barrier, with DOP853, against an independent computation.

Case: 8 kg, 0.1 m, straight up at 500 m/s from 1000 m in the standard atmosphere, drag
0.45, 0.45, 0.90, 0.75, 0.55 at Mach 0, 0.8, 1.05, 1.5, 2.5, linear between. Computed
elsewhere with DOP853 at 1e-12 and two step limits: apogee after 23.7723391 s at
4602.05722 m.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from driftmap.air.atmosphere import air_density, speed_of_sound
from driftmap.air.column import Sky, mean_air
from driftmap.air.wind import WindProfile
from driftmap.core.units import STANDARD_GRAVITY
from driftmap.formulas.drag import DragTable, drag_rise
from driftmap.trajectory.descent import coast as fly_on
from driftmap.trajectory.descent import fall
from driftmap.trajectory.motion import Motion

TABLE = DragTable([0.0, 0.8, 1.05, 1.5, 2.5], [0.45, 0.45, 0.90, 0.75, 0.55])


def coast(drag):
    area = np.pi / 4 * 0.1**2

    def rate(t, y):
        z, v = y
        pull = air_density(z) * drag(abs(v) / speed_of_sound(z)) * area / 2 / 8
        return [v, -STANDARD_GRAVITY - pull * v * abs(v)]

    def apogee(t, y):
        return y[1]

    apogee.terminal = True
    path = solve_ivp(
        rate, (0, 60), [1000.0, 500.0], method="DOP853", rtol=1e-10, atol=1e-9,
        max_step=0.05, events=apogee,
    )  # fmt: skip
    return path.t[-1], path.y[0, -1]


@pytest.mark.parametrize("drag", [TABLE.at, lambda m: 0.45 * TABLE.factor(m)])
def test_coast_through_the_sound_barrier(drag):
    assert 500 / speed_of_sound(1000.0) == pytest.approx(1.48617, abs=5e-6)
    time, height = coast(drag)
    # the gas constant differs in the seventh digit from that of the source
    assert time == pytest.approx(23.7723391, abs=2e-5)
    assert height == pytest.approx(4602.05722, abs=2e-3)


def test_bodies_coast_through_it_as_well():
    """The drag's rise is held at the middle of each step: 4 m in 3,600 at apogee."""
    sky, one = Sky(0.0), np.ones(1)
    air = mean_air(WindProfile([0.0], [0.0], [0.0], [0.0]), sky, 6000.0)
    start = Motion(*(x * one for x in (0, 0, 1000.0, 0, 0, 500.0, 0)))
    area = 0.45 * np.pi / 4 * 0.1**2
    top = fly_on(start, 8.0, area, air, 23.7723391, rise=TABLE.factor)
    assert top.height == pytest.approx(4602.06, abs=5.0)
    assert top.v_up == pytest.approx(0.0, abs=0.2)


@pytest.mark.parametrize(
    ("mass", "height", "v_up"),
    [(8.0, 14_000.0, 0.0), (30.0, 3000.0, -500.0), (8.0, 1000.0, 500.0)],
)
def test_bodies_fall_through_it_as_well(mass, height, v_up):
    """By layers, and by steps on the way up, beside DOP853: within 0.06 %."""
    area = 0.45 * np.pi / 4 * 0.1**2

    def rate(t, y):
        z, v = max(y[0], 0.0), y[1]
        pull = air_density(z) * TABLE.factor(abs(v) / speed_of_sound(z)) * area / 2
        return [v, -STANDARD_GRAVITY - pull / mass * v * abs(v)]

    def ground(t, y):
        return y[0]

    ground.terminal = True
    path = solve_ivp(
        rate, (0, 200), [height, v_up], method="DOP853", rtol=1e-9, atol=1e-8,
        max_step=0.2, events=ground,
    )  # fmt: skip
    air = mean_air(WindProfile([0.0], [0.0], [0.0], [0.0]), Sky(0.0), 16_000.0)
    start = Motion(*(x * np.ones(1) for x in (0, 0, height, 0, 0, v_up, 0)))
    landed = fall(start, mass, area, air, rise=TABLE.factor)
    assert landed.time[0] == pytest.approx(path.t[-1], rel=1e-3)
    assert landed.v_up[0] == pytest.approx(path.y[1, -1], rel=1e-3)


def test_corner_points_of_the_default_rise():
    """From memory of Hoerner, 1965, ch. 16: flat to 0.8, 1.6 to 2.2 near 1.05 to 1.1."""
    assert np.all(drag_rise(np.linspace(0, 0.8, 9)) == 1)
    for peak in (1.6, 2.2):
        assert drag_rise([1.05, 1.1], peak) == pytest.approx(peak)
        assert drag_rise(4.4, peak, 0.5) == pytest.approx(peak / 2)
        assert drag_rise(4.4, peak, 1.0) == pytest.approx(peak / 4)


def test_default_rise_takes_one_body_each():
    peak, decay = np.array([1.6, 1.9, 2.2]), np.array([0.5, 0.75, 1.0])
    many = drag_rise([0.9, 1.07, 2.0], peak, decay)
    each = [
        float(drag_rise(m, p, d))
        for m, p, d in zip([0.9, 1.07, 2.0], peak, decay, strict=True)
    ]
    assert many == pytest.approx(each)
    assert drag_rise(0.3, peak, decay).shape == (3,)
