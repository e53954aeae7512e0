"""Gusts drawn in height: their strength, correlation and the drift they cause.

Seeds are fixed; tolerances are five standard errors, so that another seed fails in one of
two million comparisons.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from scipy.integrate import trapezoid

from driftmap.air.column import AirColumn
from driftmap.air.convection import SUNNY, Convection, convection, rising_sd
from driftmap.air.turbulence import gusts, thermals, turbulence
from driftmap.trajectory.descent import fall
from driftmap.trajectory.motion import Motion

COUNT = 20_000
HEIGHTS = np.array([0.0, 5, 10, 20, 35, 60, 100, 180, 260, 340, 500, 700, 900])


@pytest.fixture(scope="module")
def drawn():
    return gusts(HEIGHTS, 8.0, COUNT, np.random.default_rng(7))


def test_strength_by_height(drawn):
    sigma = turbulence(HEIGHTS, 8.0).sideways
    for part in drawn:
        assert part.shape == (HEIGHTS.size, COUNT)
        # error of a standard deviation: sigma / sqrt(2 n)
        assert np.all(np.abs(part.std(1) / sigma - 1) < 5 / np.sqrt(2 * COUNT))
        assert np.all(np.abs(part.mean(1)) < 5 * sigma / np.sqrt(COUNT))


def test_correlation_in_height(drawn):
    """exp(-∫dz/L) between any two heights, the inverse of L linear between levels."""
    pace = 1 / turbulence(HEIGHTS, 8.0).length
    steps = np.diff(HEIGHTS) * (pace[1:] + pace[:-1]) / 2
    depth = np.concatenate([[0.0], np.cumsum(steps)])
    expected = np.exp(-np.abs(depth[:, None] - depth))
    for part in drawn:
        assert np.abs(np.corrcoef(part) - expected).max() < 5 / np.sqrt(COUNT)


def test_east_and_north_are_independent(drawn):
    for a, b in zip(*drawn, strict=True):
        assert abs(np.corrcoef(a, b)[0, 1]) < 5 / np.sqrt(COUNT)


def test_drift_through_even_turbulence():
    """Above 2000 ft strength and length are constant, and the closed form holds."""
    heights = np.linspace(700, 2700, 201)
    east, _ = gusts(heights, 10.0, COUNT, np.random.default_rng(8))
    drift = trapezoid(east, heights, axis=0) / 6.0
    # The double integral of exp(-|z - z'| / L) over the fall (textbook).
    length, depth = 533.4, 2000.0
    form = depth / length + np.expm1(-depth / length)
    expected = length / 6.0 * np.sqrt(2 * form)
    assert drift.std() == pytest.approx(expected, rel=5 / np.sqrt(2 * COUNT))


def test_thick_layers_change_the_drift_little():
    """Layers of 90 m, the widest of a column of air, lose under 1 % of the drift."""
    spread = []
    for levels in (23, 661):
        heights = np.linspace(700, 2680, levels)
        east, _ = gusts(heights, 10.0, COUNT // 4, np.random.default_rng(8))
        spread.append(trapezoid(east, heights, axis=0).std())
    # The luck is the same in both, but for what lies between the heights of the mesh.
    assert spread[0] == pytest.approx(spread[1], rel=0.01)


def test_a_wind_for_each_flight():
    east, _ = gusts(HEIGHTS, [0.0, 10.0], 2, np.random.default_rng(1))
    assert np.all(east[:, 0] == 0)
    assert np.all(east[:, 1] != 0)


def test_gusts_have_the_same_luck_however_the_air_is_cut_into_layers():
    """Other levels, and a higher top, leave the gusts at the levels in common as they are."""
    few, many = (
        np.array([0.0, 50, 400, 900]),
        np.union1d(np.arange(0, 1500, 37), HEIGHTS),
    )
    many = np.union1d(many, few)
    one = np.stack(gusts(few, 8.0, 500, np.random.default_rng(3)))
    other = np.stack(gusts(many, 8.0, 500, np.random.default_rng(3)))
    at = np.searchsorted(many, few)
    for i in range(few.size):
        # Only the luck between the heights of the mesh is drawn anew.
        alike = np.corrcoef(one[:, i].ravel(), other[:, at[i]].ravel())[0, 1]
        assert alike > 0.85
    shorter = np.stack(gusts(many[many < 800], 8.0, 500, np.random.default_rng(3)))
    assert np.allclose(shorter[:, :-3], other[:, : shorter.shape[1] - 3], atol=0.2)


NOON = Convection(2.0, 1500.0)


def test_thermals_have_the_published_strength_by_height():
    up = thermals(HEIGHTS, NOON, COUNT, np.random.default_rng(8))
    # Each flight has 0.6 to 1.3 times the strength: a mean square of 0.9431.
    spread = np.sqrt((1.3**3 - 0.6**3) / 0.7 / 3)
    assert spread == pytest.approx(np.sqrt(0.9433), abs=1e-3)
    by_hand = np.sqrt(1.8) * 2.0 * np.cbrt(500 / 1500) * (1 - 0.8 * 500 / 1500)
    assert rising_sd(500.0, NOON) == pytest.approx(by_hand)
    wide = up.std(1)[1:] / (spread * rising_sd(HEIGHTS[1:], NOON))
    assert wide == pytest.approx(np.ones(wide.size), abs=0.03)
    assert np.all(up[0] == 0)  # none through the ground
    alike = np.corrcoef(up[7], up[9])[0, 1]  # 160 m apart of 450 m
    assert alike == pytest.approx(np.exp(-160 / 450), abs=0.03)


def test_air_stirred_to_the_sides_adds_to_the_gusts():
    east, north = gusts(HEIGHTS, 8.0, COUNT, np.random.default_rng(7), NOON)
    sigma = turbulence(HEIGHTS, 8.0).sideways
    high = HEIGHTS >= 60
    for part in (east, north):
        wanted = np.sqrt(sigma[high] ** 2 + 1.2**2)
        assert part.std(1)[high] == pytest.approx(wanted, rel=0.03)
        # What was read on the ground has it in its error.
        assert part.std(1)[0] == pytest.approx(sigma[0], rel=0.03)


@pytest.mark.parametrize(
    ("lift", "times"), [(1.5, 4 / 3), (-1.5, 0.8), (30.0, 1 / 0.3)]
)
def test_rising_air_holds_up_what_sinks(lift, times):
    """By hand: 6 m/s through the air in 1.5 m/s of lift is 4.5 over the ground."""
    height = np.linspace(0, 1000, 21)
    level, wind = np.ones(21), 5.0 * np.ones((21, 1))
    still = AirColumn(height, 1.1 * level, 340.0 * level, wind, 0 * wind)
    start = Motion(*np.array([[0, 0, 900.0, 5.0, 0, -6.0, 0]]).T)
    drag = 2 * 9.80665 / (1.1 * 36)  # 1 kg sinks at 6 m/s
    one = fall(start, 1.0, drag, still)
    two = fall(start, 1.0, drag, replace(still, up=0 * wind + lift))
    assert one.time == pytest.approx(150, rel=1e-3)
    assert two.time / one.time == pytest.approx(times, rel=1e-6)
    assert two.east / one.east == pytest.approx(times, rel=1e-6)
    assert two.speed == one.speed


def test_the_sun_stirs_by_hour_and_cloud():
    """By hand at an equinox noon on the equator: 990 - 30 W/m², 6 h of a sine before."""
    noon = datetime(2026, 3, 20, 12, 7, tzinfo=UTC)
    air = convection(noon, 0.0, 0.0, None)
    flux = 0.35 * 960 / 1200
    since = 0.35 / 1200 * (990 * 2 / np.pi - 30) * 6 * 3600  # of a sine over 6 hours
    depth = np.sqrt(2 * 1.4 * since / 0.005)
    assert air.depth == pytest.approx(depth, rel=0.01)
    assert air.speed == pytest.approx(
        (9.80665 / 295 * flux * depth) ** (1 / 3), rel=0.01
    )
    grey = convection(noon, 0.0, 0.0, 1.0)
    assert grey.speed == pytest.approx(air.speed * 0.25**0.5, rel=0.01)
    early = convection(noon - timedelta(hours=5), 0.0, 0.0, None)
    assert early.depth < 0.3 * air.depth
    assert early.speed < 0.5 * air.speed
    assert convection(noon + timedelta(hours=7), 0.0, 0.0, None) is None


def test_where_no_place_is_told_the_air_is_as_stirred_as_it_ever_is():
    """So what is not told errs to the wider; every hour of every month and many latitudes."""
    most = [
        air
        for latitude in range(-60, 66, 6)
        for month in range(1, 13)
        for hour in range(6, 22)
        if (
            air := convection(
                datetime(2026, month, 15, hour, tzinfo=UTC), latitude, 0.0, None
            )
        )
    ]
    assert 0.95 * SUNNY.speed < max(air.speed for air in most) <= SUNNY.speed
    assert 0.95 * SUNNY.depth < max(air.depth for air in most) <= SUNNY.depth
