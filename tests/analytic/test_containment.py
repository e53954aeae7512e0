"""Radii and contours of clouds whose shape is known in closed form.

A Gaussian cloud of deviations s1, s2 has p of its points inside the ellipse of scale
k = sqrt(-2 ln(1-p)) (chi-square with two degrees of freedom), of area pi k² s1 s2; a
round one has Rayleigh radii k s: 1.177410 s at 50 %, 2.447747 s at 95 %, 3.034854 s at
99 % (textbook).

The random clouds are fixed by their seeds. Tolerances are five standard errors, so that
another seed fails in one of two million comparisons.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from driftmap.ground.contours import Contour, containment
from driftmap.ground.grid import mean_point, probability_grid, radii

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
    for contour in containment(*cloud, SHARES):
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
    for contour in containment(*cloud):
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


def test_grid_holds_the_probability_of_a_gaussian() -> None:
    cloud = gaussian(COUNT, 300, 100, 0.0)
    grid = probability_grid(*cloud, cell=100)
    east, north = np.meshgrid(grid.east, grid.north)
    near = np.hypot(east - 1500, north + 700) < 200
    # P(r < 200 m | 300, 100) = 0.42256571 (computed); cells of 100 m make it coarse,
    # so compare cell by cell with the density, the midpoint rule being good to 5 %
    density = np.exp(-((east - 1500) ** 2) / 18e4 - (north + 700) ** 2 / 2e4)
    expected = density * 100**2 / (2 * np.pi * 300 * 100)
    error = np.sqrt(expected / COUNT)
    assert near.sum() >= 12
    assert np.all(
        np.abs(grid.probability - expected)[near]
        < K * error[near] + 0.05 * expected[near]
    )
