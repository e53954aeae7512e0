"""Thrown fragments against numerical trajectories and closed forms."""

import numpy as np
import pytest

from driftmap.formulas.fragments import fragment_speed, gas_energy, throws

G = 9.80665


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
