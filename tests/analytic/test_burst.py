"""Thrown fragments against numerical trajectories and closed forms."""

from math import sqrt

import numpy as np
import pytest

from driftmap import fly
from driftmap.air.wind import WindProfile
from driftmap.formulas.fragments import fragment_speed, gas_energy, throws
from driftmap.rocket.pieces import Burst

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


def _fragments(flight):
    """Distance from the pad and speed of each copy's landings, shape (2, copies, n)."""
    calm = WindProfile(np.array([0.0, 4000.0]), [0.0, 0.0], [0.0, 0.0], [0.0, 0.0])
    cloud = fly(flight, calm, 0.0, samples=800, seed=3)
    part = next(p for p in cloud.of("motor bursts") if p.body == "fragment")
    away = np.hypot(cloud.east[part.rows], cloud.north[part.rows])
    landed = np.stack([away, cloud.speed[part.rows]])
    return landed.reshape(2, part.count, part.flights)


def test_two_of_the_fragments_assumed_are_ends_and_fly_farther(willet):
    """A closure of 40 kg/m², C_D 0.9, against a wall of 8 kg/m² that shows half of its face."""
    away, speed = np.median(_fragments(willet), axis=2)
    falls = sqrt(2 * G * 40 / (1.225 * 0.9)), sqrt(2 * G * 8 / (1.225 * 1.17 / 2))
    # Thrown low they come in faster than they would sink, half of them: up to a third.
    assert speed[:2] == pytest.approx(falls[0] * 1.1, rel=0.15)
    assert speed[2:] == pytest.approx(falls[1] * 1.05, rel=0.15)
    # Far is in lengths of stopping, m/(rho C_D S): three times as long, and some more lofted.
    assert np.all((away[:2] > 2.0 * away[2:].max()) & (away[:2] < 3.3 * away[2:].min()))


def test_fragments_whose_area_is_stated_are_alike(willet):
    """What a file tells of them is flown as it stands."""
    told = Burst(
        pressure=1e7, volume=1e-4, fragments=4, fragment_mass=0.03, fragment_area=4e-3
    )
    away, speed = np.median(
        _fragments(willet.model_copy(update={"burst": told})), axis=2
    )
    assert away == pytest.approx(away.mean(), rel=0.15)
    assert speed == pytest.approx(speed.mean(), rel=0.1)
