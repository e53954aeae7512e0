"""Slides, bounces, early openings and barometer errors against textbook arithmetic.

Point mechanics with g = 9.80665 m/s²; values computed to the digits shown. The break-up
pattern is common practice, no source: most printed fins within 5 ft, some 30 to 45 ft off.
"""

from __future__ import annotations

import numpy as np
import pytest

from driftmap.formulas.opening import barometer_error, speed_off_apogee
from driftmap.formulas.scatter import bounces, breakup_offsets, slide_distance

FOOT = 0.3048


@pytest.mark.parametrize(
    ("speed", "friction", "way"), [(20, 0.4, 50.98581), (15, 0.6, 19.11968)]
)
def test_slide(speed, friction, way):
    assert slide_distance(speed, friction) == pytest.approx(way, abs=5e-6)


def test_bounces():
    hops = bounces(10.0, 5.0, 0.3)
    assert hops.total == pytest.approx(4.370212, abs=5e-7)
    assert hops.first == pytest.approx(3.059149, abs=5e-7)
    assert hops.height == pytest.approx(0.458872, abs=5e-7)


def test_bounces_are_the_sum_of_hops():
    hops = bounces(10.0, 5.0, 0.3)
    each = [2 * 0.3**k * 10 * 5 / 9.80665 for k in range(1, 40)]
    assert hops.total == pytest.approx(sum(each), rel=1e-12)


def test_speed_off_apogee():
    assert speed_off_apogee(10.0, 2.0) == pytest.approx(22.015484, abs=5e-7)
    assert speed_off_apogee(10.0, -2.0) == speed_off_apogee(10.0, 2.0)


@pytest.mark.parametrize(
    ("coefficient", "speed", "height"),
    [(0.02, 100, 10.197), (0.05, 200, 101.972), (-0.02, 100, -10.197)],
)
def test_barometer_error(coefficient, speed, height):
    assert barometer_error(coefficient, speed) == pytest.approx(height, abs=5e-4)


def test_breakup_pattern():
    east, north = breakup_offsets(np.full(100_000, 60.0), np.random.default_rng(1))
    reach = np.hypot(east, north) / FOOT
    far = (reach >= 30) & (reach <= 45)
    # 25 % far (five standard errors of a share of 1e5), 90 % of the rest within 5 ft
    assert far.mean() == pytest.approx(0.25, abs=0.007)
    assert (reach[~far] <= 5).mean() == pytest.approx(0.90, abs=0.006)
    assert reach.max() <= 45
    # opposite directions are as likely: the mean is none (sd of a component about 19 ft / 2)
    assert np.hypot(east.mean(), north.mean()) / FOOT < 5 * 14 / np.sqrt(100_000)
