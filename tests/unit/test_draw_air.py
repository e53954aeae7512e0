"""The air that flights are flown through: gusts told make it rougher."""

import numpy as np
import pytest

from driftmap.air.column import Sky, draw_air
from driftmap.air.turbulence import REFERENCE_HEIGHT, mean_behind, turbulence
from driftmap.air.wind import WindProfile


def _drawn(speed, gust, members=None):
    wind = WindProfile(
        [0, 1000], [speed] * 2, [0, 0], [0, 0], gust=gust, members=members
    )
    return draw_air(wind, Sky(0.0), 500.0, 20_000, np.random.default_rng(2))


def test_gusts_told_make_turbulence_as_strong_as_they_are():
    steady, gusty = (_drawn(1.5, gust).east.std(axis=1) for gust in (0.0, 7.5))
    usual = float(turbulence(REFERENCE_HEIGHT, 1.5).sideways)
    i = np.searchsorted(_drawn(1.5, 0.0).height, 10.0)
    assert steady[i] == pytest.approx(usual, rel=0.1)
    # Three standard deviations are the gust (20,000 flights: 1 % is two standard errors).
    assert gusty[1] == pytest.approx(7.5 / 3, rel=0.1)
    assert np.all(gusty > 4 * steady)


def test_usual_gusts_change_nothing():
    assert mean_behind(0.0) == 0.0
    few = _drawn(8.0, 0.9 * 8.0 * 3 * float(turbulence(REFERENCE_HEIGHT, 1).sideways))
    assert np.array_equal(few.east, _drawn(8.0, 0.0).east)


def test_members_that_blow_against_each_other_are_no_calm():
    members = np.array([[[9.0, 9.0], [0.0, 0.0]], [[-9.0, -9.0], [0.0, 0.0]]])
    across = _drawn(0.0, 0.0, members).north.std(axis=1)
    assert np.allclose(across, _drawn(9.0, 0.0).north.std(axis=1), rtol=0.03)
