"""Gusts drawn in height: their strength, correlation and the drift they cause.

Seeds are fixed; tolerances are five standard errors, so that another seed fails in one of
two million comparisons.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import trapezoid

from driftmap.air.turbulence import gusts, turbulence

COUNT = 20_000
HEIGHTS = np.array([0.0, 5, 10, 20, 35, 60, 100, 180, 260, 340, 500, 700, 900])


@pytest.fixture(scope="module")
def drawn():
    return gusts(HEIGHTS, 8.0, COUNT, np.random.default_rng(7))


def test_strength_by_height(drawn):
    sigma = turbulence(HEIGHTS, 8.0).sideways
    for part in drawn:
        assert part.shape == (HEIGHTS.size, COUNT)
        # error of a standard deviation: sigma / sqrt(2 n)
        assert np.all(np.abs(part.std(1) / sigma - 1) < 5 / np.sqrt(2 * COUNT))
        assert np.all(np.abs(part.mean(1)) < 5 * sigma / np.sqrt(COUNT))


def test_correlation_in_height(drawn):
    """exp(-∫dz/L) between any two heights, the inverse of L linear between levels."""
    pace = 1 / turbulence(HEIGHTS, 8.0).length
    steps = np.diff(HEIGHTS) * (pace[1:] + pace[:-1]) / 2
    depth = np.concatenate([[0.0], np.cumsum(steps)])
    expected = np.exp(-np.abs(depth[:, None] - depth))
    for part in drawn:
        assert np.abs(np.corrcoef(part) - expected).max() < 5 / np.sqrt(COUNT)


def test_east_and_north_are_independent(drawn):
    for a, b in zip(*drawn, strict=True):
        assert abs(np.corrcoef(a, b)[0, 1]) < 5 / np.sqrt(COUNT)


def test_drift_through_even_turbulence():
    """Above 2000 ft strength and length are constant, and the closed form holds."""
    heights = np.linspace(700, 2700, 201)
    east, _ = gusts(heights, 10.0, COUNT, np.random.default_rng(8))
    drift = trapezoid(east, heights, axis=0) / 6.0
    # The double integral of exp(-|z - z'| / L) over the fall (textbook).
    length, depth = 533.4, 2000.0
    form = depth / length + np.expm1(-depth / length)
    expected = length / 6.0 * np.sqrt(2 * form)
    assert drift.std() == pytest.approx(expected, rel=5 / np.sqrt(2 * COUNT))


def test_thick_layers_change_the_drift_little():
    """Layers of 90 m, the widest of a column of air, lose under 1 % of the drift."""
    spread = {}
    for levels in (23, 661):
        heights = np.linspace(700, 2680, levels)
        gap = heights[1] - heights[0]
        weight = np.full(levels, gap)
        weight[[0, -1]] = gap / 2
        alike = np.exp(-np.abs(heights[:, None] - heights) / 533.4)
        spread[levels] = np.sqrt(weight @ alike @ weight)
    assert spread[23] == pytest.approx(spread[661], rel=0.01)


def test_a_wind_for_each_flight():
    east, _ = gusts(HEIGHTS, [0.0, 10.0], 2, np.random.default_rng(1))
    assert np.all(east[:, 0] == 0)
    assert np.all(east[:, 1] != 0)


def test_spectrum_of_the_chain_is_drydens():
    """2 L σ² / (π (1 + (L Ω)²)) is the Fourier transform of σ² exp(-|z| / L)."""
    length, omega = 250.0, np.array([0.0, 1e-3, 4e-3, 2e-2])
    z = np.linspace(0, 40 * length, 400_001)
    chain = np.exp(-z / length)
    got = [2 / np.pi * trapezoid(chain * np.cos(w * z), z) for w in omega]
    dryden = 2 * length / np.pi / (1 + (length * omega) ** 2)
    assert got == pytest.approx(dryden, rel=1e-5)


def test_gusts_have_the_same_luck_however_the_air_is_cut_into_layers():
    """Other levels, and a higher top, leave the gusts at the levels in common as they are."""
    few, many = (
        np.array([0.0, 50, 400, 900]),
        np.union1d(np.arange(0, 1500, 37), HEIGHTS),
    )
    many = np.union1d(many, few)
    one = np.stack(gusts(few, 8.0, 500, np.random.default_rng(3)))
    other = np.stack(gusts(many, 8.0, 500, np.random.default_rng(3)))
    at = np.searchsorted(many, few)
    for i in range(few.size):
        # Only the luck between the heights of the mesh is drawn anew.
        alike = np.corrcoef(one[:, i].ravel(), other[:, at[i]].ravel())[0, 1]
        assert alike > 0.85
    shorter = np.stack(gusts(many[many < 800], 8.0, 500, np.random.default_rng(3)))
    assert np.allclose(shorter[:, :-3], other[:, : shorter.shape[1] - 3], atol=0.2)
