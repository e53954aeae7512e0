"""A rare hit known from steered flights, against plain flights by the hundred thousand."""

import numpy as np
import pytest
import shapely

from driftmap.air.wind import WindProfile
from driftmap.ground.areas import Area
from driftmap.hazard.harm import PERSON_RADIUS
from driftmap.hazard.precise import sharpen, steered_hit
from driftmap.hazard.probability import inside, mixture, reached, struck
from driftmap.montecarlo.cloud import fly, fly_again

WIND = WindProfile(
    np.array([0.0, 10.0, 600.0, 3000.0]),
    np.array([2.0, 4.0, 6.0, 8.0]),
    np.array([0.0, 0.0, 1.0, 2.0]),
    np.array([1.1, 1.1, 1.2, 1.4]),
)


@pytest.fixture(scope="module")
def pilot(willet):
    return fly(willet, WIND, 0.0, samples=4096, seed=1)


@pytest.fixture(scope="module")
def spot(pilot):
    """A square of 34 m beyond the 99 % line of the landings."""
    rows = pilot.parts[0].rows
    x, y = pilot.east[rows], pilot.north[rows]
    middle = np.array([np.quantile(x, 0.9), np.quantile(y, 0.9)])
    return Area("spot", "camp", shapely.box(*(middle - 17), *(middle + 17)), people=1)


@pytest.mark.long
@pytest.mark.slow
def test_within_a_factor_of_two_of_brute_force(willet, pilot, spot):
    plain = fly(willet, WIND, 0.0, samples=150_000, seed=9)
    truth = mixture(plain, reached(plain, spot.shape, beyond=PERSON_RADIUS))
    assert 2e-5 < truth.estimate < 1e-3  # a rare hit, or the test says nothing
    found = [
        steered_hit(pilot, fly_again(pilot, WIND), spot, 16_384, seed=s)
        for s in range(20, 26)
    ]
    for one in found:
        assert 0.5 < one.estimate / truth.estimate < 2.0
        assert one.lower < truth.upper
        assert one.upper > truth.lower
    # The mean of the runs is nearer still: nothing is skewed.
    mean = np.mean([one.estimate for one in found])
    assert mean == pytest.approx(truth.estimate, rel=0.25)


@pytest.mark.slow  # as the rope, whose hits are known
def test_plain_and_steered_agree_where_hits_are_common(pilot):
    rows = pilot.parts[0].rows
    middle = np.array([pilot.east[rows].mean(), pilot.north[rows].mean()])
    area = Area("field", "camp", shapely.Point(middle).buffer(150.0), people=1)
    plain = mixture(pilot, reached(pilot, area.shape, beyond=PERSON_RADIUS))
    steered = steered_hit(pilot, fly_again(pilot, WIND), area, 8192)
    error = (plain.upper - plain.lower) / 2 + (steered.upper - steered.lower) / 2
    assert steered.estimate == pytest.approx(plain.estimate, abs=error)


def test_people_along_a_rope_are_hit_by_whatever_touches_them(pilot):
    rows = pilot.parts[0].rows
    x, y = pilot.east[rows].mean(), pilot.north[rows].mean()
    rope = Area("rope", "spectators", shapely.box(x - 0.05, y - 150, x + 0.05, y + 150))
    touched = mixture(pilot, reached(pilot, rope.shape, beyond=PERSON_RADIUS))
    wide = shapely.box(x - 25, y - 150, x + 25, y + 150)  # the rope's ground, and likes
    drawn = mixture(pilot, struck(pilot, inside(wide))).estimate * 0.1 / 50
    steered = steered_hit(pilot, fly_again(pilot, WIND), rope, 8192)
    assert 0.4 < steered.estimate / touched.estimate < 2.5
    assert steered.lower > 3 * drawn


def test_where_nothing_is_seen_to_hit_a_bound_is_told(pilot):
    """Whatever one flight may add is one hit: 3.69 of n are the most that none seen shows."""
    far = Area("far", "camp", shapely.box(50_000, 0, 50_100, 100), people=1)
    told = steered_hit(pilot, fly_again(pilot, WIND), far, 1024)
    assert (told.estimate, told.lower) == (0.0, 0.0)
    assert told.upper >= 3.68 / 1024


@pytest.mark.slow  # many flights
def test_sharpening_says_whether_it_got_there(pilot, spot):
    easy = sharpen(pilot, fly_again(pilot, WIND), [spot], relative=1.0, limit=0.9)[0]
    assert easy.reached
    assert easy.estimate.lower <= easy.estimate.estimate <= easy.estimate.upper
