"""What one more reading would buy: held against winds really read, and flown anew."""

import math
from datetime import UTC, datetime

import numpy as np
import pytest

from driftmap.air.wind import WindLevel, direction_and_speed
from driftmap.air.winderror import draw_wind, error_modes
from driftmap.montecarlo.cloud import fly
from driftmap.montecarlo.sensitivity import influences
from driftmap.verdict.reading_value import (
    _levels_of_bulletin,
    _noise,
    dwell,
    more_wind,
    worths,
)
from driftmap.winds.merge import merge
from driftmap.winds.plain_words import read_words
from driftmap.winds.reading import Reading, Setting

NOON = datetime(2026, 6, 13, 19, tzinfo=UTC)
SETTING = Setting(0.0, when=NOON, now=NOON, place=(41.6, -118.0))
HEIGHTS = np.arange(75.0, 1100.0, 150.0)
KNOTS = np.array([[0.0, 1100.0], [183.0, 0.0]])  # 6 m/s all the way


def _words():
    return read_words("9 mph from 240", SETTING)


def _balloon(wind, seed):
    """Let a balloon go in one of the winds that may be."""
    rng = np.random.default_rng(seed)
    east, north = (part[:, 0] for part in draw_wind(wind, HEIGHTS, 1, rng))
    speed = np.hypot(east, north)
    error = np.hypot(0.8, 0.12 * speed)
    off = error * rng.standard_normal((2, HEIGHTS.size))
    ways, speeds = direction_and_speed(east + off[0], north + off[1])
    levels = tuple(
        WindLevel(float(z), float(d), float(v), None, "balloon", error=float(e))
        for z, d, v, e in zip(HEIGHTS, ways, speeds, error, strict=True)
    )
    return Reading("balloon", "aloft", levels, SETTING.when, away=0.0)


def test_the_seconds_of_a_fall_are_all_counted():
    heights = np.array([0.0, 10.0, 100.0, 400.0, 2000.0])
    seconds = dwell(heights, KNOTS)
    assert seconds.sum() == pytest.approx(183.0)
    assert seconds[0] == pytest.approx(5.0 / 1100.0 * 183.0)
    # What is flown above the highest height counts there.
    assert dwell(np.array([0.0, 10.0]), KNOTS)[1] == pytest.approx(183.0 * 1095 / 1100)


def test_a_balloon_is_worth_what_balloons_tell():
    before = merge([_words()], SETTING)

    def drift(wind):
        return np.sum((dwell(wind.height, KNOTS) @ error_modes(wind, wind.height)) ** 2)

    told = {
        w.reading: w.left for w in worths(before, dwell(before.height, KNOTS), 1.0, 0.0)
    }
    after = [
        drift(merge([_words(), _balloon(before, seed)], SETTING)) / drift(before)
        for seed in range(30)
    ]
    # Of single balloons some lie oddly and tell less; over thirty the mean is known to 0.1.
    assert told["balloon"] == pytest.approx(np.mean(after), rel=0.35)
    assert told["balloon"] < told["bulletin"] < told["ground"] <= 1.0


@pytest.mark.parametrize(
    ("top", "altitude", "levels"),
    [
        (800.0, 0.0, [914.4]),
        (1000.0, 0.0, [914.4, 1828.8]),
        (9000.0, 0.0, [914.4, 1828.8, 2743.2, 3657.6, 5486.4]),
        (800.0, 464.3, [450.1, 1364.5]),
        (800.0, 464.5, [1364.3]),
    ],
)
def test_a_bulletin_tells_levels_from_450_m_up_to_one_above_the_top(
    top, altitude, levels
):
    """Of 3, 6, 9, 12 and 18 thousand feet; none within 1,500 ft of the ground (from memory)."""
    assert _levels_of_bulletin(top, altitude) == pytest.approx(levels)


def test_levels_of_a_bulletin_err_alike():
    """So much at one level, and of that an e-th at two levels a kilometre apart."""
    high, low = np.array([900.0, 1900.0]), np.array([6.0, 6.0])
    noise = _noise("bulletin", high, low)
    assert noise[0, 1] / noise[0, 0] == pytest.approx(math.exp(-1))
    assert noise[0, 0] == noise[1, 1] == pytest.approx(2.3**2 + (0.10 * 6.0) ** 2)


@pytest.mark.slow  # what one more reading buys, flown
def test_the_line_flown_anew_shrinks_as_told(willet):
    before = merge([_words()], SETTING)
    cloud = fly(willet, before, 0.0, samples=1500, seed=1)
    told = more_wind(cloud, before, influences(cloud))
    assert told[0].reading == "balloon"

    def area(cloud):
        rows = next(cloud.of("recovery works")).rows
        return math.sqrt(np.linalg.det(np.cov(cloud.east[rows], cloud.north[rows])))

    anew = [
        area(
            fly(
                willet,
                merge([_words(), _balloon(before, seed)], SETTING),
                0.0,
                samples=500,
                seed=1,
            )
        )
        for seed in (1, 2, 3)
    ]
    # Three balloons, each of which may lie oddly: the ground is told within a factor of 1.6.
    assert 1 / 1.6 < np.mean(anew) / area(cloud) / told[0].left < 1.6


def test_few_flights_tell_nothing(willet):
    wind = merge([_words()], SETTING)
    cloud = fly(willet, wind, 0.0, samples=50, seed=1)
    assert more_wind(cloud, wind, influences(cloud)) == ()
