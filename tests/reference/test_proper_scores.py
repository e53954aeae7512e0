"""Proper scores against scoringrules, an independent library from the registry."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from driftmap.logbook.verification import energy_score, log_score, normal_energy

scoringrules = pytest.importorskip("scoringrules", reason="pip install -e '.[dev]'")


@pytest.mark.parametrize("seed", range(5))
def test_energy_score_is_that_of_scoringrules(seed):
    rng = np.random.default_rng(seed)
    found = rng.normal(0, 100, 2)
    forecast = rng.normal(20, 80, (2, 150))
    theirs = scoringrules.es_ensemble(found, forecast.T, estimator="nrg")
    assert energy_score(found, forecast) == pytest.approx(float(theirs), rel=1e-9)


def test_even_points_stand_for_a_normal_cloud():
    rng = np.random.default_rng(1)
    mean, cov = np.array([10.0, -5.0]), np.array([[900.0, 200.0], [200.0, 400.0]])
    points = rng.multivariate_normal(mean, cov, 2000).T
    for found in ([10.0, -5.0], [60.0, 0.0], [-80.0, 90.0]):
        theirs = scoringrules.es_ensemble(np.array(found), points.T, estimator="nrg")
        assert normal_energy(found, mean, cov) == pytest.approx(float(theirs), rel=0.02)


def test_log_score_nears_that_of_the_normal_it_is_drawn_from():
    rng = np.random.default_rng(2)
    cov = np.array([[900.0, 200.0], [200.0, 400.0]])
    points = rng.multivariate_normal([0, 0], cov, 20_000).T
    for found in ([0.0, 0.0], [30.0, 0.0], [-20.0, 20.0]):
        theirs = -multivariate_normal([0, 0], cov).logpdf(found)
        # A kernel of width n^(-1/6) widens a normal cloud by a few percent.
        assert log_score(found, points) == pytest.approx(theirs, abs=0.06)
