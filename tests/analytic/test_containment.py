"""Radii and contours of clouds whose shape is known in closed form.

A Gaussian cloud of deviations s1, s2 has p of its points inside the ellipse of scale
k = sqrt(-2 ln(1-p)) (chi-square with two degrees of freedom), of area pi k² s1 s2; a
round one has Rayleigh radii k s: 1.177410 s at 50 %, 2.447747 s at 95 %, 3.034854 s at
99 % (textbook).

The random clouds are fixed by their seeds. Tolerances are five standard errors, so that
another seed fails in one of two million comparisons.
"""

import numpy as np
import pytest
import shapely

from driftmap.core.estimate import binomial, weighted_share
from driftmap.core.points import mean_point, radii
from driftmap.core.spread import quantile
from driftmap.ground.contours import Contour, containment

SHARES = np.array([0.5, 0.9, 0.95, 0.99])
K = 5
COUNT = 100_000


def gaussian(
    count: int, s1: float, s2: float, turn: float, seed: int = 3
) -> np.ndarray:
    rng = np.random.default_rng(seed)
    c, s = np.cos(turn), np.sin(turn)
    spread = np.array([[c, -s], [s, c]]) @ np.diag([s1, s2])
    return spread @ rng.standard_normal((2, count)) + [[1500.0], [-700.0]]


def inside(contour: Contour, cloud: np.ndarray) -> float:
    return float(shapely.intersects_xy(contour.shape, *cloud).mean())


def scale(share: np.ndarray) -> np.ndarray:
    return np.sqrt(-2 * np.log(1 - share))


def test_rayleigh_radii() -> None:
    cloud = gaussian(COUNT, 100, 100, 0)
    shares = np.array([0.5, 0.95, 0.99])
    expected = 100 * np.array([1.177410, 2.447747, 3.034854])
    # error of a quantile: sqrt(p q / n) / density, the density being k q / s
    error = 100 * np.sqrt(shares / (1 - shares) / COUNT) / scale(shares)
    assert np.all(np.abs(radii(*cloud, shares) - expected) < K * error)


def test_mean_point() -> None:
    mean = mean_point(*gaussian(COUNT, 300, 100, 0))
    assert mean[0] == pytest.approx(1500, abs=K * 300 / np.sqrt(COUNT))
    assert mean[1] == pytest.approx(-700, abs=K * 100 / np.sqrt(COUNT))


@pytest.mark.parametrize(("s1", "s2"), [(100, 100), (300, 100), (3000, 20)])
@pytest.mark.parametrize("turn", [0.0, 0.7, 2.5])
def test_ellipse_areas_of_gaussian_clouds(s1: float, s2: float, turn: float) -> None:
    cloud = gaussian(COUNT, s1, s2, turn)
    contours = containment(*cloud, SHARES)
    assert [contour.share for contour in contours] == list(SHARES)
    for contour in contours:
        p = contour.share
        expected = np.pi * scale(p) ** 2 * s1 * s2
        # d(area)/dp = 2 pi s1 s2 / q; and the smoothing of single points, which
        # draws the 99 % line in by up to 1 % at this count (stated in the notes)
        error = np.sqrt(p / (1 - p) / COUNT) / -np.log(1 - p)
        assert contour.area == pytest.approx(expected, rel=K * error + 0.01)


def test_contour_is_the_ellipse_itself() -> None:
    cloud = gaussian(COUNT, 300, 100, 0.0)
    (contour,) = containment(*cloud, (0.5,))
    ring = np.linspace(0, 2 * np.pi, 361)[:, None]
    k = scale(np.array(0.5))
    ellipse = shapely.Polygon(
        np.hstack([1500 + k * 300 * np.cos(ring), -700 + k * 100 * np.sin(ring)])
    )
    # the two outlines differ by noise of the density; 5 % of the area lies between
    difference = contour.shape.symmetric_difference(ellipse).area
    assert difference < 0.05 * ellipse.area


def mixture(name: str) -> np.ndarray:
    rng, n = np.random.default_rng(11), 20_000
    cloud = gaussian(n, 100, 100, 0, seed=5)
    if name == "two modes":
        cloud[0, : n // 2] += 3000
    if name == "canopy and ballistic":
        cloud[:, : n // 20] *= 0.2
    if name == "far outliers":
        cloud[:, :80] += 20_000
    if name == "scattered outliers":
        cloud[:, :80] += rng.normal(0, 20_000, (2, 80))
    if name == "ring":
        angle = rng.uniform(0, 2 * np.pi, n)
        cloud = (500 + 20 * rng.standard_normal(n)) * [np.cos(angle), np.sin(angle)]
    if name == "heavy tails":
        cloud = 50 * rng.standard_t(2, (2, n))
    return cloud


NAMES = (
    "one mode",
    "two modes",
    "canopy and ballistic",
    "far outliers",
    "scattered outliers",
    "ring",
    "heavy tails",
)


@pytest.mark.parametrize("name", NAMES)
def test_share_of_points_inside(name: str) -> None:
    cloud = mixture(name)
    contours = containment(*cloud)
    assert len(contours) > 1
    for contour in contours:
        p = contour.share
        error = np.sqrt(p * (1 - p) / cloud.shape[1])
        assert contour.shape.is_valid
        # the level is set from these very points: within two standard errors of the
        # share, though only chords of the lattice part the two
        assert inside(contour, cloud) == pytest.approx(p, abs=2 * error)


@pytest.mark.parametrize("name", NAMES)
def test_contours_are_nested(name: str) -> None:
    shapes = [contour.shape for contour in containment(*mixture(name))]
    for inner, outer in zip(shapes, shapes[1:], strict=False):
        # a micrometre for the rounding of shared edges
        assert outer.buffer(1e-6).covers(inner)


def test_fresh_points_fall_inside_as_often_as_promised() -> None:
    cloud, fresh = (gaussian(COUNT, 300, 100, 0.7, seed=s) for s in (1, 2))
    for contour in containment(*cloud):
        p = contour.share
        # two samples, so sqrt(2) of the error of one
        error = np.sqrt(2 * p * (1 - p) / COUNT)
        assert inside(contour, fresh) == pytest.approx(p, abs=K * error)


def test_outliers_do_not_swell_the_contours() -> None:
    plain, strewn = mixture("one mode"), mixture("scattered outliers")
    for one, two in zip(containment(*plain), containment(*strewn), strict=True):
        # 0.4 % of the points gone far: 99 % of all is 99.4 % of the rest, and an
        # ellipse of 99.4 % is ln(0.006)/ln(0.01) = 1.11 times as large
        assert 0.97 < two.area / one.area < 1.16


def test_a_weighted_point_counts_as_so_many_in_lines_radii_and_quantiles():
    """Points that stand for 1 or 3 others, against the cloud that holds those others."""
    rng = np.random.default_rng(4)
    east, north = rng.normal(0, [[100], [40]], (2, 6000))
    weight = np.where(east > 50, 3.0, 1.0)
    times = weight.astype(int)
    told = containment(east, north, (0.5, 0.9), weights=weight)
    listed = containment(np.repeat(east, times), np.repeat(north, times), (0.5, 0.9))
    for one, other in zip(told, listed, strict=True):
        apart = one.shape.symmetric_difference(other.shape).area
        assert apart < 0.06 * other.area  # smoothed a little differently
    at = (0.05, 0.5, 0.9)
    assert np.allclose(
        quantile(east, at, weights=weight),
        np.quantile(np.repeat(east, times), at),
        atol=1,
    )
    assert quantile(east, 0.5, weights=weight) > np.median(east) + 5


def test_the_share_of_flights_that_stand_for_others_holds_what_it_promises():
    """Rare flights flown more often: the interval holds the true share 19 times in 20."""
    rng = np.random.default_rng(5)
    true, held = 0.3, 0
    for _ in range(400):
        # Half of the flights are one in ten of all, and hit more often.
        rare = rng.random(300) < 0.5
        hit = rng.random(300) < np.where(rare, 0.75, 0.25)
        p = weighted_share(hit, np.where(rare, 1.0, 9.0))
        held += p.lower <= true <= p.upper
    assert held >= 0.93 * 400  # 370 of 400 fails once in a hundred at 95 %
    last_digit = np.where(np.arange(300) % 2, 7.0, np.nextafter(7.0, 8.0))
    for same in (np.full(300, 7.0), last_digit):
        assert weighted_share(np.arange(300) < 12, same) == binomial(12, 300)
    none = weighted_share(np.zeros(300, bool), np.where(np.arange(300) < 30, 9.0, 1.0))
    assert none.upper > binomial(0, 300).upper


def test_a_quantile_of_what_is_not_known_is_not_known():
    """As numpy's own: beside one, those of the largest would be too small."""
    for row in ([3.0, 1.0, 2.0], [1.0, 2.0, np.nan]):
        for at in (0.5, [0.05, 0.95]):
            assert quantile(row, at) == pytest.approx(np.quantile(row, at), nan_ok=True)
