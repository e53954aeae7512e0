"""Flutter speed against the criterion of NACA TN 4197.

Source: D. J. Martin, NACA TN 4197, 1958, Eq. (18), from memory; worked values computed.
The constants printed there, 39.3 and 14.7 lbf/in², are 24 ε γ p0 / π rounded.
"""

import numpy as np
import pytest

from driftmap.formulas.flutter import FinPlanform, flutter_speed

PSI = 6894.757293168  # Pa
FOOT = 0.3048
SMALL = FinPlanform(0.15, 0.075, 0.075, 0.003175)
LARGE = FinPlanform(0.20, 0.10, 0.10, 0.006)


@pytest.mark.parametrize(
    ("fin", "modulus", "sound", "pressure", "speed", "ratio"),
    [
        (SMALL, 4.136e9, 340.294, 101_325.0, 448.5294, 1.31806),
        (SMALL, 4.136e9, 336.4347, 89_876.3, 470.8397, 1.39950),
        (LARGE, 0.62e9, 338.37, 95_461.3, 300.1800, 0.88714),
    ],
)
def test_worked_values(fin, modulus, sound, pressure, speed, ratio):
    got = flutter_speed(fin, modulus, pressure, sound)
    assert got == pytest.approx(speed, abs=1e-3)
    assert got / sound == pytest.approx(ratio, abs=5e-6)


def test_planform():
    assert SMALL.area == pytest.approx(0.0084375)
    assert LARGE.area == pytest.approx(0.015)
    assert SMALL.aspect_ratio == pytest.approx(0.666667, abs=5e-7)


def test_english_units_as_printed():
    """V = a sqrt(G / (39.3 A³ / ((t/c)³ (A+2)) (λ+1)/2 p/p0)), lbf/in² and ft/s."""
    a, thin = 2 / 3, 0.003175 / 0.15
    x = 39.3 * a**3 / (thin**3 * (a + 2)) * 1.5 / 2
    printed = 1116.45 * np.sqrt(600_000 / x)
    assert printed == pytest.approx(1471.6, abs=0.1)
    got = flutter_speed(SMALL, 600_000 * PSI, 101_325.0, 1116.45 * FOOT) / FOOT
    # 39.3 and 14.7 are rounded to three digits
    assert got == pytest.approx(printed, rel=2e-4)


def test_not_the_form_that_is_high_by_the_square_root_of_two():
    """With 1.337 in place of 2.6738 and the half kept, row 1 would read 634 m/s."""
    x = 1.337 * 101_325 * (2 / 3) ** 3 / ((0.003175 / 0.15) ** 3 * (8 / 3)) * 0.75
    trap = 340.294 * np.sqrt(4.136e9 / x)
    assert trap == pytest.approx(634, abs=0.5)
    assert trap / flutter_speed(SMALL, 4.136e9, 101_325.0, 340.294) == pytest.approx(
        np.sqrt(2), rel=1e-3
    )


def test_printed_fin():
    whole = flutter_speed(SMALL, 1e9, 1e5, 340.0)
    half = flutter_speed(SMALL, 1e9, 1e5, 340.0, knock_down=0.5)
    assert half / whole == pytest.approx(np.sqrt(0.5))
