"""A flight whose rail follows the wind, turned with it, against one flown in that wind.

Nothing but the wind and a rail of fixed bearing tells one direction from another (isotropy
of the equations of motion; common practice, no source).
"""

import dataclasses
import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from shapely import affinity

from driftmap.air.wind import WindProfile
from driftmap.core.points import turn
from driftmap.ground.areas import Area
from driftmap.hazard.exposure import harm_of
from driftmap.montecarlo.cloud import fly
from driftmap.planning.assumed_winds import Supposition, suppose

ANGLE = math.radians(247.0)
HEIGHT = np.array([0.0, 10.0, 600.0, 3000.0])
EAST, NORTH = np.array([0.5, 1.0, 4.0, 8.0]), np.array([-2.0, -4.0, -6.0, -3.0])
ERROR = np.array([1.1, 1.1, 1.2, 1.4])
WIND = WindProfile(HEIGHT, EAST, NORTH, ERROR)
TURNED = WindProfile(HEIGHT, *turn(EAST, NORTH, ANGLE), ERROR)


@pytest.fixture(scope="module")
def clouds(willet):
    """Turned, and flown in the turned wind on luck of its own."""
    first = fly(willet, WIND, 100.0, samples=6000, seed=1)
    return first.turned(ANGLE), fly(willet, TURNED, 100.0, samples=6000, seed=2)


def test_every_piece_lands_alike(clouds):
    turned, flown = clouds
    assert [(p.case, p.body) for p in turned.parts] == [
        (p.case, p.body) for p in flown.parts
    ]
    for one, other in zip(turned.parts, flown.parts, strict=True):
        a, b = (
            np.stack([c.east[p.rows][: p.flights], c.north[p.rows][: p.flights]])
            for c, p in ((turned, one), (flown, other))
        )
        # Five standard errors of a difference of two means: with some thirty figures a
        # false alarm in 60,000 runs.
        error = np.sqrt(a.var(axis=1) / a.shape[1] + b.var(axis=1) / b.shape[1])
        assert np.all(np.abs(a.mean(axis=1) - b.mean(axis=1)) < 5 * error), one
        # A mirrored or half-turned cloud may keep its mean; it does not keep these.
        if one.flights < 1000:  # fins that flutter off: too few for what follows
            continue
        np.testing.assert_allclose(
            np.cov(a), np.cov(b), atol=0.17 * np.trace(np.cov(b)), err_msg=str(one)
        )


def test_apogee_way_and_inputs_turn_along(clouds):
    turned, flown = clouds
    for name in ("east", "north", "v_east", "v_north"):
        a, b = (getattr(c.apogee, name) for c in clouds)
        error = math.sqrt((a.var() + b.var()) / a.size)
        assert abs(a.mean() - b.mean()) < 5 * error, name
    np.testing.assert_allclose(turned.way[-1, 0], turned.apogee.east, rtol=1e-4)
    np.testing.assert_allclose(turned.way[-1, 1], turned.apogee.north, rtol=1e-4)
    for name in ("wind east", "wind north"):
        a, b = turned.draws[name], flown.draws[name]
        assert a.mean() == pytest.approx(b.mean(), abs=0.05), name


def test_the_plan_is_that_of_the_turned_wind(clouds):
    turned, flown = (c.plan for c in clouds)
    assert turned.apogee == pytest.approx(flown.apogee, rel=1e-12)
    assert turned.azimuth % math.tau == pytest.approx(flown.azimuth % math.tau)
    assert turned.assumed == flown.assumed


def test_a_full_turn_changes_nothing(clouds):
    turned, _ = clouds
    again = turned.turned(math.pi).turned(math.pi)
    np.testing.assert_allclose(again.east, turned.east, atol=1e-9)
    np.testing.assert_allclose(again.north, turned.north, atol=1e-9)
    assert again.plan.assumed == turned.plan.assumed


def test_a_rail_with_a_bearing_is_not_turned(willet):
    fixed = willet.rail.model_copy(update={"azimuth": 1.0})
    cloud = fly(
        willet.model_copy(update={"rail": fixed}), WIND, 0.0, samples=20, seed=1
    )
    with pytest.raises(ValueError, match="follows the wind"):
        cloud.turned(1.0)


@pytest.mark.parametrize("members", [None, [[EAST, NORTH], [EAST + 1, NORTH - 2]]])
def test_supposed_winds_differ_by_a_turn_alone(members):
    shape = dataclasses.replace(WIND, members=members)
    supposition = Supposition(0.0, shape)
    first, other = (suppose(supposition, at, 6.0) for at in (0.0, 130.0))
    angle = math.radians(130.0)
    np.testing.assert_allclose(
        turn(first.east, first.north, angle), (other.east, other.north), atol=1e-12
    )
    np.testing.assert_allclose(first.error, other.error)
    if members is not None:
        ways = turn(first.members[:, 0], first.members[:, 1], angle)
        np.testing.assert_allclose(np.stack(ways, axis=1), other.members, atol=1e-12)


@pytest.mark.parametrize("degrees", [17.0, 45.0, 200.0])
def test_risk_to_one_person_does_not_hang_on_the_compass(clouds, degrees):
    """The day turned about the pad, people with it: the same figure and the same spot."""
    cloud, angle = clouds[0], np.radians(degrees)
    crowd = Area("crowd", "spectators", shapely.box(-250, 60, 40, 130), 60, "open")
    line = Area("line", "flight line", shapely.box(30, -90, 90, 20), 8, "open")

    def harm(turned, areas):
        found = [affinity.rotate(a.shape, -turned, origin=(0, 0)) for a in areas]
        laid = tuple(replace(a, shape=s) for a, s in zip(areas, found, strict=True))
        whole = cloud.turned(np.radians(turned)) if turned else cloud
        return harm_of(whole, SimpleNamespace(areas=laid))

    before, after = harm(0.0, (crowd, line)), harm(degrees, (crowd, line))
    assert before.worst.risk.estimate > 0
    for one, two in zip(
        (*before.spots, before.worst), (*after.spots, after.worst), strict=True
    ):
        assert two.area == one.area
        assert two.risk.estimate == pytest.approx(one.risk.estimate, rel=1e-9)
        assert two.risk.upper == pytest.approx(one.risk.upper, rel=1e-9)
        spot = turn(one.east, one.north, angle)
        assert [two.east, two.north] == pytest.approx(
            [float(way) for way in spot], abs=1e-4
        )


@pytest.mark.parametrize(
    ("speed", "told", "anywhere"),
    [(0.0, None, True), (0.5, 4.0, True), (0.9, 4.0, True), (1.1, 4.0, False),
     (0.5, None, False), (3.0, None, False)],
)  # fmt: skip
def test_a_rail_leans_anywhere_in_a_wind_from_all_sides(dunlin, speed, told, anywhere):
    """Of which less than a quarter is a mean: it has no direction to lean into."""
    wind = WindProfile([0, 3000], [speed] * 2, [0, 0], [0, 0], strongest=told)
    cloud = fly(dunlin, wind, 0.0, samples=200, seed=3)
    assert cloud.plan.leans_anywhere == anywhere
    tops = cloud.way[-1, :2]
    share = np.hypot(*tops.mean(axis=1)) / np.hypot(*tops).mean()
    assert (share < 0.5) == anywhere
