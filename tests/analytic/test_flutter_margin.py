"""Flutter margins of flights whose margin is known in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from driftmap.formulas.flutter import (
    FinPlanform,
    flutter_margin,
    flutter_speed,
    shear_modulus,
)


def test_flights_of_known_margin():
    """Speed 300 sin(pi t / 10) against a limit of 200: passed at t = asin(2/3) 10/pi."""
    time = np.linspace(0, 10, 2001)[:, None] + np.zeros(3)
    speed = 300 * np.sin(np.pi * time / 10) * np.array([1.0, 0.5, 0.0])
    margin = flutter_margin(np.maximum(speed, 0), np.full(speed.shape, 200.0), time)
    assert margin.least == pytest.approx([2 / 3, 4 / 3, np.inf])
    assert margin.when[:2] == pytest.approx([5, 5])
    # a line between steps of 5 ms: second order
    assert margin.first[0] == pytest.approx(10 / np.pi * np.arcsin(2 / 3), abs=1e-5)
    assert np.all(np.isinf(margin.first[1:]))


def test_first_step_may_already_be_too_fast():
    margin = flutter_margin([[300.0], [200.0]], [[250.0], [250.0]], [[1.0], [2.0]])
    assert margin.first[0] == 1.0
    assert margin.least[0] == pytest.approx(250 / 300)


def test_thinner_air_stands_more():
    fin = FinPlanform(0.15, 0.075, 0.075, 0.003175)
    low, high = flutter_speed(fin, 4e9, [101_325.0, 50_000.0], 340.0)
    assert high / low == pytest.approx(np.sqrt(101_325 / 50_000))


def test_history_of_many_flights():
    fin = FinPlanform(0.15, 0.0, 0.075, 0.003175)
    pressure, sound = (
        np.linspace(1e5, 8e4, 5)[:, None] * np.ones(4),
        np.full((5, 4), 340.0),
    )
    limit = flutter_speed(fin, 4e9, pressure, sound, knock_down=[1.0, 0.5, 0.5, 0.3])
    assert limit.shape == (5, 4)
    assert limit[0, 3] / limit[0, 0] == pytest.approx(np.sqrt(0.3))


def test_shear_modulus():
    assert shear_modulus(69e9, 0.33) == pytest.approx(25.94e9, rel=1e-3)
