"""Thrown fragments against numerical trajectories and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from driftmap.formulas.burst import fragment_speed, gas_energy, thrown_range, throws

G = 9.80665


def greatest_range(speed, inverse):
    """Range over level ground, at the best of many elevations, by DOP853."""

    def rate(t, y):
        pull = inverse * np.hypot(y[2], y[3])
        return [y[2], y[3], -pull * y[2], -pull * y[3] - G]

    def ground(t, y):
        return y[1]

    ground.terminal, ground.direction = True, -1
    best = 0.0
    for angle in np.radians(np.arange(10, 56, 3)):
        start = [0, 0, speed * np.cos(angle), speed * np.sin(angle)]
        path = solve_ivp(
            rate, (0, 1000), start, method="DOP853", rtol=1e-8, events=ground
        )
        best = max(best, path.y[0, -1])
    return best


@pytest.mark.parametrize("speed", [10.0, 60.0, 200.0])
@pytest.mark.parametrize("stopping", [5.0, 50.0, 1000.0])
def test_bound_holds_and_is_of_use(speed, stopping):
    bound = float(thrown_range(speed, 1.225 * stopping / 2, 1.0, 1.225))
    got = greatest_range(speed, 1 / stopping)
    assert got <= bound
    assert bound < 1.8 * got
    assert bound <= speed**2 / G * (1 + 1e-12)


def test_vacuum():
    """100 m/s at 45 deg flies 1019.716213 m (textbook, computed)."""
    assert thrown_range(100.0, 1.0, 0.0, 1.225) == pytest.approx(1019.716213, abs=5e-7)
    assert thrown_range(100.0, 1.0, 1e-13, 1.225) == pytest.approx(1019.716213)


def test_energy_budget():
    """7 MPa over 0.4 l, ratio 1.2: 14 kJ; a quarter in 0.5 kg is 118.3 m/s, by hand."""
    energy = gas_energy(7e6, 0.4e-3)
    assert energy == pytest.approx(14_000)
    speed = fragment_speed(energy, 0.25, 0.5)
    assert 0.5 * speed**2 / 2 == pytest.approx(0.25 * 14_000)
    assert speed == pytest.approx(118.32, abs=5e-3)


def test_throws_cover_the_upper_half_evenly():
    v = throws(np.full(40_000, 50.0), np.random.default_rng(4))
    assert v.shape == (3, 40_000)
    assert np.sqrt((v**2).sum(0)) == pytest.approx(50)
    # the mean of an even half sphere is (0, 0, 1/2); components have sd 0.58 and 0.29
    assert np.all(np.abs(v.mean(1) / 50 - [0, 0, 0.5]) < 5 * 0.58 / np.sqrt(40_000))
    assert v[2].min() >= 0
