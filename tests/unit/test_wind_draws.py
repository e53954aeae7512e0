"""Drawn winds: ensembles member by member, and the profile's own checks."""

import numpy as np
import pytest

from driftmap.air.wind import WindProfile
from driftmap.air.winderror import draw_wind


def _profile(**more):
    return WindProfile([0.0, 100.0], [0.0, 0.0], [0.0, 0.0], [0.0, 0.0], **more)


def test_every_member_is_flown_equally_often():
    members = np.zeros((4, 2, 2))
    members[:, 0] = np.arange(4)[:, None] * 10.0
    members[:, 1, 1] = 7.0
    wind = _profile(members=members)
    east, north = draw_wind(wind, [0.0, 50.0, 100.0], 1000, np.random.default_rng(1))
    values, counts = np.unique(east, return_counts=True)
    assert values.tolist() == [0.0, 10.0, 20.0, 30.0]
    assert set(counts) == {750}
    # A flight stays with its member from the ground up, linear between levels.
    assert np.all(east[0] == east[2])
    assert np.allclose(north, np.array([[0.0], [3.5], [7.0]]))


def test_the_order_of_members_is_not_that_of_the_flights():
    members = np.zeros((2, 2, 2))
    members[1] = 1.0
    east, _ = draw_wind(_profile(members=members), [0.0], 64, np.random.default_rng(2))
    assert not np.array_equal(east[0], np.arange(64) % 2)


def test_error_is_added_to_each_member():
    members = np.zeros((2, 2, 2))
    wind = WindProfile([0, 100], [0, 0], [0, 0], [2.0, 2.0], members=members)
    east, north = draw_wind(wind, [0.0, 100.0], 20_000, np.random.default_rng(3))
    # Standard error of a standard deviation from 20,000: 0.5 %; four of them.
    assert np.std(east, axis=1) == pytest.approx([2.0, 2.0], rel=0.02)
    assert np.std(north, axis=1) == pytest.approx([2.0, 2.0], rel=0.02)


@pytest.mark.parametrize(
    "more",
    [
        {"members": np.zeros((2, 2, 3))},
        {"members": np.zeros((0, 2, 2))},
        {"members": np.zeros((2, 2))},
        {"members": np.full((1, 2, 2), np.nan)},
        {"age": -1.0},
        {"age": np.nan},
        {"age": np.inf},
    ],
)
def test_bad_profiles(more):
    with pytest.raises(ValueError, match=r"'members'|'age'"):
        _profile(**more)
