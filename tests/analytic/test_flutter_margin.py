"""Flutter margins of flights whose margin is known in closed form."""

import numpy as np
import pytest

from driftmap.formulas.flutter import (
    FinPlanform,
    flutter_margin,
    flutter_speed,
    root_stress,
    solid_share,
)


def test_flights_of_known_margin():
    """Speed 300 sin(pi t / 10) against a limit of 200: passed at t = asin(2/3) 10/pi."""
    time = np.linspace(0, 10, 2001)[:, None] + np.zeros(3)
    speed = 300 * np.sin(np.pi * time / 10) * np.array([1.0, 0.5, 0.0])
    margin = flutter_margin(np.maximum(speed, 0), np.full(speed.shape, 200.0), time)
    assert margin.least == pytest.approx([2 / 3, 4 / 3, np.inf])
    assert margin.when[:2] == pytest.approx([5, 5])
    # a line between steps of 5 ms: second order
    assert margin.first[0] == pytest.approx(10 / np.pi * np.arcsin(2 / 3), abs=1e-5)
    assert np.all(np.isinf(margin.first[1:]))


def test_first_step_may_already_be_too_fast():
    margin = flutter_margin([[300.0], [200.0]], [[250.0], [250.0]], [[1.0], [2.0]])
    assert margin.first[0] == 1.0
    assert margin.least[0] == pytest.approx(250 / 300)


def test_thinner_air_stands_more():
    fin = FinPlanform(0.15, 0.075, 0.075, 0.003175)
    low, high = flutter_speed(fin, 4e9, [101_325.0, 50_000.0], 340.0)
    assert high / low == pytest.approx(np.sqrt(101_325 / 50_000))


def test_history_of_many_flights():
    fin = FinPlanform(0.15, 0.0, 0.075, 0.003175)
    pressure, sound = (
        np.linspace(1e5, 8e4, 5)[:, None] * np.ones(4),
        np.full((5, 4), 340.0),
    )
    limit = flutter_speed(fin, 4e9, pressure, sound, knock_down=[1.0, 0.5, 0.5, 0.3])
    assert limit.shape == (5, 4)
    assert limit[0, 3] / limit[0, 0] == pytest.approx(np.sqrt(0.3))


def test_stress_at_the_root_of_a_square_fin_by_hand():
    """20 kPa, 2° and 30 cm² for each radian push 2.09 N, 5 cm out, on 10 cm by 4 mm."""
    fin = FinPlanform(root=0.1, tip=0.1, span=0.1, thickness=0.004)
    angle = np.radians(2.0)
    force = 20_000 * 30e-4 * angle
    by_hand = force * 0.05 / (0.1 * 0.004**2 / 6)
    assert root_stress(fin, 2e4, angle, 0.0, slope=30e-4) == pytest.approx(by_hand)
    assert by_hand == pytest.approx(0.393e6, rel=1e-3)
    # A pointed tip takes the load to a third of the span, Mach 0.6 a quarter more of it.
    pointed = FinPlanform(root=0.1, tip=0.0, span=0.1, thickness=0.004)
    share = root_stress(pointed, 2e4, angle, 0.6, slope=30e-4) / by_hand
    assert share == pytest.approx(2 / 3 * 1.25)


def test_beyond_the_stall_and_the_speed_of_sound_the_load_is_held():
    fin = FinPlanform(root=0.1, tip=0.1, span=0.1, thickness=0.004)
    at = [root_stress(fin, 1e4, a, m, slope=1e-3) for a, m in ((0.35, 0), (1.5, 0))]
    assert at[0] == at[1]
    fast = root_stress(fin, 1e4, 0.1, [0.0, 0.95, 1.0, 3.0], slope=1e-3)
    assert fast / fast[0] == pytest.approx([1, 2, 2, 2])


@pytest.mark.parametrize(("infill", "share"), [(1.0, 1.0), (0.0, 1 - 0.5**3)])
def test_section_of_a_printed_plate(infill, share):
    """Two walls of 0.8 mm about a core of half of 3.2 mm: a textbook sandwich."""
    assert solid_share(3.2e-3, infill) == pytest.approx(share)
    assert solid_share(1.0e-3, infill) == 1.0  # all wall
