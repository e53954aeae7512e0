"""Ground out of reach: the bound against tails that are known in closed form."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
import shapely

from driftmap import read_flight, read_site
from driftmap.air.wind import WindProfile
from driftmap.ground.site import Area
from driftmap.hazard.reach import (
    LEAST,
    TIMES,
    clear_from,
    farthest,
    unseen_beyond,
)
from driftmap.montecarlo.cloud import fly
from driftmap.verdict.check import Kind
from driftmap.verdict.limits import read_limits
from driftmap.verdict.people_checks import area_hits, people_checks

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


def test_it_is_twice_the_farthest_of_all(cloud):
    far = farthest(cloud)
    assert far >= np.hypot(cloud.east, cloud.north).max()
    assert clear_from(cloud) == TIMES * far


def test_a_case_flown_too_seldom_says_nothing(cloud):
    parts = [dataclasses.replace(p, flights=LEAST - 1) for p in cloud.parts[:1]]
    few = dataclasses.replace(cloud, parts=(*parts, *cloud.parts[1:]))
    assert clear_from(few) == np.inf


def test_a_church_miles_away_holds_nobody_up(cloud):
    """None seen in 500 flights is no reason to hold where no piece can come."""
    site = read_site(ROOT / "sites" / "saltgrass-flat.geojson")
    limits = read_limits(cloud.plan.flight, site)
    found = {}
    for name, share in (("far", 1.05), ("near", 0.95)):
        middle = clear_from(cloud) * share + 40.0
        church = Area(name, "spectators", shapely.Point(middle, 0).buffer(30), people=9)
        own = dataclasses.replace(site, areas=(church,))
        hits = area_hits(cloud, own, {})
        for check in people_checks(cloud, own, hits, limits):
            found[name, check.kind] = check.outcome
    assert found["far", Kind.LANDS_IN] == found["far", Kind.AMONG_PEOPLE] == "pass"
    assert found["near", Kind.LANDS_IN] == found["near", Kind.AMONG_PEOPLE] == "warn"


def test_landings_that_are_not_finite_are_refused(cloud):
    east = cloud.east.copy()
    east[0] = np.nan
    with pytest.raises(ValueError, match="finite"):
        farthest(dataclasses.replace(cloud, east=east))
