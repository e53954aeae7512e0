"""Koopman's laws of detection against independent forms.

B. O. Koopman, *Search and Screening*, 1946, is not at hand: what is checked here are facts that
pin the formulas down, each computed another way.
"""

import numpy as np
import pytest
from scipy.integrate import quad

from driftmap.observations.observation import parallel_sweeps, random_search


@pytest.mark.parametrize("coverage", [0.2, 0.5, 1.0, 2.0])
def test_random_search_is_the_limit_of_many_independent_short_tracks(coverage):
    # Each of n tracks covers coverage / n of the ground, at random.
    many = 1 - (1 - coverage / 10**6) ** 10**6
    assert float(random_search(coverage, 1.0)) == pytest.approx(many, abs=1e-6)


@pytest.mark.parametrize("spacing", [0.5, 1.0, 2.0])
def test_parallel_sweeps_sum_the_inverse_cube_law_over_all_tracks(spacing):
    # One track at distance x gives a potential k/x²; its sweep width is the integral of
    # 1 - exp(-k/x²), 2 sqrt(pi k). The mean over x between tracks is the formula.
    width = 1.0
    k = (width / 2) ** 2 / np.pi
    tracks = np.arange(-4000, 4001) * spacing

    def seen(x):
        return 1 - np.exp(-np.sum(k / (x - tracks) ** 2))

    mean = quad(seen, 1e-9, spacing / 2, limit=200)[0] * 2 / spacing
    assert float(parallel_sweeps(width, spacing)) == pytest.approx(mean, abs=2e-4)


def test_ragged_walking_never_finds_more():
    spacing = np.linspace(0.2, 20, 200)
    assert np.all(random_search(1.0, spacing) <= parallel_sweeps(1.0, spacing))
