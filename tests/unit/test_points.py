"""Radii and contours: shapes, weights, degenerate clouds, bad input."""

import numpy as np
import pytest
import shapely

from driftmap.core.points import mean_point, radii
from driftmap.ground.contours import containment

RNG = np.random.default_rng(7)
CLOUD = RNG.normal([[2000], [-500]], [[300], [100]], (2, 5000))


def test_weights_count_as_repeats() -> None:
    count = RNG.integers(1, 4, CLOUD.shape[1])
    repeated = np.repeat(CLOUD, count, axis=1)
    assert radii(*CLOUD, weights=count) == pytest.approx(radii(*repeated))
    assert mean_point(*CLOUD, weights=count) == pytest.approx(mean_point(*repeated))
    for contour in containment(*CLOUD, weights=count):
        inside = shapely.intersects_xy(contour.shape, *CLOUD)
        # half a per cent: chords of the lattice, and single points of weight 3
        assert count[inside].sum() / count.sum() == pytest.approx(
            contour.share, abs=0.005
        )


def test_points_without_weight_do_not_matter() -> None:
    far = np.append(CLOUD, CLOUD + 1e5, axis=1)
    weights = np.repeat([1.0, 0.0], CLOUD.shape[1])
    for one, two in zip(
        containment(*CLOUD), containment(*far, weights=weights), strict=True
    ):
        assert two.area == pytest.approx(one.area, rel=0.02)


DEGENERATE = {
    "one": [[7.0], [8.0]],
    "two": [[0.0, 900.0], [0.0, 0.0]],
    "equal": np.full((2, 1000), 1234.5),
    "two spots": np.repeat([[0.0, 500.0], [0.0, 0.0]], 500, axis=1),
    "line": np.stack([np.linspace(0, 1000, 2000)] * 2),
    "line north": np.stack([np.zeros(2000), RNG.normal(0, 400, 2000)]),
}


@pytest.mark.parametrize("cloud", DEGENERATE.values(), ids=DEGENERATE)
def test_degenerate_clouds_still_have_ground(cloud: object) -> None:
    east, north = np.asarray(cloud)
    points = shapely.points(east, north)
    contours = containment(east, north)
    for contour in contours:
        assert contour.area == contour.shape.area > 0.05
        assert contour.shape.is_valid
        # each point stands for a disc of half a metre
        inside = shapely.dwithin(contour.shape, points, 0.5).mean()
        assert inside >= contour.share - 0.005
    low, high = np.min(cloud, axis=1), np.max(cloud, axis=1)
    room = 0.6 * np.hypot(*(high - low)) + 5
    assert shapely.box(*(low - room), *(high + room)).covers(contours[-1].shape)


def test_shares_in_any_order_and_alone() -> None:
    most, half = containment(*CLOUD, (0.9, 0.5))
    assert (most.share, half.share) == (0.9, 0.5)
    assert most.area > half.area
    assert len(containment(*CLOUD, (0.5,))) == 1


def test_same_points_give_the_same_contours() -> None:
    one, two = containment(*CLOUD), containment(*CLOUD)
    assert all(a.shape.equals(b.shape) for a, b in zip(one, two, strict=True))


FUNCTIONS = (containment, radii, mean_point)


@pytest.mark.parametrize("function", FUNCTIONS, ids=lambda f: f.__name__)
@pytest.mark.parametrize(
    ("east", "north", "weights", "part"),
    [
        ([], [], None, "at least one"),
        ([np.nan, 1.0], [0.0, 1.0], None, "finite .1 of 2"),
        ([0.0, 1.0], [np.inf, np.nan], None, "finite .2 of 2"),
        ([0.0, 1.0], [0.0, 1.0], [1.0], "one for each point"),
        ([0.0, 1.0], [0.0, 1.0], [-1.0, 2.0], "not negative"),
        ([0.0, 1.0], [0.0, 1.0], [0.0, 0.0], "not all zero"),
        ([0.0, 1.0], [0.0, 1.0], [np.nan, 1.0], "not negative"),
        ([0.0, 1.0], [0.0, 1.0], [np.inf, 1.0], "finite"),
    ],
)
def test_bad_clouds_are_refused(
    function: object, east: list, north: list, weights: object, part: str
) -> None:
    with pytest.raises(ValueError, match=part):
        function(east, north, weights=weights)


@pytest.mark.parametrize("shares", [(), (0.0,), (1.0,), (50,), (np.nan,)])
def test_bad_shares_are_refused(shares: tuple) -> None:
    for function in (containment, radii):
        with pytest.raises(ValueError, match="between 0 and 1"):
            function(*CLOUD, shares)
