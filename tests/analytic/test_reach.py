"""Ground out of reach: the bound against tails that are known in closed form."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
import shapely

from driftmap import read_flight
from driftmap.air.wind import WindProfile
from driftmap.hazard.reach import (
    LEAST,
    TIMES,
    beyond_reach,
    farthest,
    unseen_beyond,
)
from driftmap.montecarlo.cloud import fly

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("flights", [500, 3000, 20_000])
@pytest.mark.parametrize(
    "survival",
    [
        lambda r: np.exp(-r),
        lambda r: np.exp(-(r**2) / 2),
        lambda r: (1 + r) * np.exp(-r),
    ],
    ids=["exponential", "two normal errors", "a sum of two exponentials"],
)
def test_twice_the_farthest_is_passed_no_oftener_than_the_bound(survival, flights):
    """At the distance whose own chance is the bound for none seen, and at any farther."""
    r = np.linspace(0.01, 60, 20_000)
    seen = survival(r) <= unseen_beyond(flights).upper ** 0.5
    assert np.all(
        survival(TIMES * r[seen]) <= unseen_beyond(flights).upper * (1 + 1e-9)
    )


def test_a_tail_without_an_end_would_pass_it():
    """The argument needs its premise: a power law does not keep the bound."""
    survival = (1 + np.float64(40.0)) ** -2
    assert survival**2 < (1 + TIMES * 40.0) ** -2


def test_far_flights_never_came_twice_as_far_as_few():
    """Ten thousand normal drifts against the farthest of 500, again and again."""
    rng = np.random.default_rng(4)
    few = np.hypot(*rng.normal(size=(2, 200, LEAST))).max(axis=1)
    many = np.hypot(*rng.normal(size=(2, 10_000))).max()
    assert np.all(many < TIMES * few)


@pytest.fixture(scope="module")
def cloud():
    wind = WindProfile([0, 3000], [3, 3], [0, 0], [1, 1])
    flight = read_flight(ROOT / "examples" / "dunlin.toml")
    return fly(flight, wind, 300.0, samples=LEAST, seed=2)


def test_only_ground_all_of_which_lies_far_enough_is_out_of_reach(cloud):
    far = farthest(cloud)
    assert far >= np.hypot(cloud.east, cloud.north).max()
    ring = shapely.Point(0, 0).buffer(TIMES * far * 1.01, 256).boundary
    assert beyond_reach(cloud, ring)
    assert not beyond_reach(cloud, shapely.Point(TIMES * far * 0.99, 0))
    assert not beyond_reach(cloud, shapely.LineString([(0, 0), (9e5, 0)]))
    # A direction nothing flies to is no farther away for that.
    assert not beyond_reach(cloud, shapely.Point(-far, 0))


def test_a_case_flown_too_seldom_says_nothing(cloud):
    parts = [dataclasses.replace(p, flights=LEAST - 1) for p in cloud.parts[:1]]
    few = dataclasses.replace(cloud, parts=(*parts, *cloud.parts[1:]))
    assert not beyond_reach(few, shapely.Point(1e6, 0))


def test_landings_that_are_not_finite_are_refused(cloud):
    east = cloud.east.copy()
    east[0] = np.nan
    with pytest.raises(ValueError, match="finite"):
        farthest(dataclasses.replace(cloud, east=east))
