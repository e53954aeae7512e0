"""Opening loads and outcomes against the equation of motion and closed forms."""

from math import pi

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.stats import norm

from driftmap.formulas.opening import Inflation, load_reduction, opening_load
from driftmap.formulas.strength import (
    HOLDS,
    LINKS,
    RIPS_OFF,
    TEARS,
    breaking_chances,
    rope_stiffness,
    snatch_load,
)

G = 9.80665


def peak_load(mass, speed, density, area, time, exponent, *, gravity=0.0):
    """Greatest drag while the drag area grows with time, by DOP853."""

    def drag(t, v):
        return density / 2 * area * (t / time) ** exponent * v**2

    path = solve_ivp(
        lambda t, v: gravity - drag(t, v) / mass,
        (0, time),
        [speed],
        method="DOP853",
        rtol=1e-11,
        atol=1e-11,
        dense_output=True,
    )
    t = np.linspace(0, time, 20_001)
    return drag(t, path.sol(t)[0]).max()


def peak_load_by_distance(mass, speed, density, area, way, exponent):
    """As above for a vertical fall whose drag area grows with the way fallen."""

    def rate(t, y):
        grown = area * min(y[0] / way, 1.0) ** exponent
        return [y[1], G - density / 2 * grown * y[1] ** 2 / mass]

    def full(t, y):
        return y[0] - way

    full.terminal = True
    path = solve_ivp(
        rate, (0, 100), [0, speed], method="DOP853", rtol=1e-10, atol=1e-10,
        events=full, dense_output=True,
    )  # fmt: skip
    s, v = path.sol(np.linspace(0, path.t[-1], 5001))
    return (density / 2 * area * np.clip(s / way, 0, 1) ** exponent * v**2).max()


@pytest.mark.parametrize("exponent", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("mass", [0.3, 2.0, 10.0, 200.0])
def test_reduction_is_that_of_the_equation_of_motion(mass, exponent):
    area, way, v, rho = 0.8 * pi, 16.0, 30.0, 1.112
    got = load_reduction(2 * mass / (rho * area * way), exponent)
    peak = peak_load(mass, v, rho, area, way / v, exponent)
    # 20 001 samples of the peak
    assert got == pytest.approx(peak / (rho / 2 * area * v**2), rel=1e-6)


def test_worked_example_with_and_without_gravity():
    """10 kg, 2 m, 30 m/s: 428.36 N level; falling 545.86 N, 22 % over Pflanz."""
    area = 0.8 * pi
    given = (10.0, 30.0, 1.112, area, 16 / 30, 2.0)
    assert peak_load(*given) == pytest.approx(428.36, abs=5e-3)
    assert peak_load(*given, gravity=G) == pytest.approx(545.86, abs=5e-3)
    canopy = Inflation(2.0, area, 1.0, 8)
    assert opening_load(canopy, 10, 30, 1.112) == pytest.approx(428.36, abs=5e-3)
    dive = float(opening_load(canopy, 10, 30, 1.112, dive=1.0))
    assert 545.86 < dive < 1.08 * 545.86


@pytest.mark.parametrize(
    ("exponent", "weights"), [(0.5, 1.125), (1, 1.285), (2, 1.631)]
)
def test_greatest_load_by_gravity_alone(exponent, weights):
    """Peak of z^j u where u' = 1 - z^j u from rest: ours is that, rounded up."""
    path = solve_ivp(
        lambda z, u: 1 - z**exponent * u, (0, 8), [0.0], rtol=1e-10, dense_output=True
    )
    z = np.linspace(0, 8, 50_001)
    peak = (z**exponent * path.sol(z)[0]).max()
    assert weights - 1e-3 < peak <= weights
    # at rest gravity is all there is
    load = opening_load(Inflation(1, 0.6, 1, 8, exponent), 2.0, 0.0, 1.2, dive=1.0)
    assert load == pytest.approx(weights * 2 * G)


@pytest.mark.parametrize("exponent", [0.5, 1.0, 2.0])
@pytest.mark.parametrize(
    "mass", [0.1, 20.0, *(pytest.param(m, marks=pytest.mark.slow) for m in (0.5, 3.0))]
)
@pytest.mark.parametrize("speed", [0.5, 5.0, 15.0, 40.0, 100.0])
def test_dive_bounds_the_load_of_a_vertical_fall(speed, mass, exponent):
    diameter, n, rho = 1.2, 8, 1.1
    area, way = 0.75 * pi / 4 * diameter**2, n * diameter
    canopy = Inflation(diameter, area, 1.0, n, exponent)
    bound = float(opening_load(canopy, mass, speed, rho, dive=1.0))
    by_way = peak_load_by_distance(mass, speed, rho, area, way, exponent)
    assert by_way <= bound
    by_time = peak_load(mass, speed, rho, area, way / speed, exponent, gravity=G)
    assert by_time <= bound


def test_no_speed_no_load_and_a_climb_is_level():
    canopy = Inflation(1.0, 0.6, 1.7, 8)
    assert opening_load(canopy, 1.0, 0.0, 1.2) == 0
    level = opening_load(canopy, 1.0, 30.0, 1.2)
    assert opening_load(canopy, 1.0, 30.0, 1.2, dive=-0.8) == level


def drawn(load, strength, snatch, count=200_000):
    """The same by drawing every strength and asking what is loaded beyond it."""
    rng = np.random.default_rng(5)
    ratio = np.full((4, count), -np.inf)
    for i, link in enumerate(LINKS):
        if link in strength:
            median, spread = strength[link]
            broken = median * np.exp(spread * rng.standard_normal(count))
            ratio[i] = (load if link == "canopy" else max(load, snatch)) / broken
    soft, hard = ratio[:2].max(0), ratio[2:].max(0)
    holds, tears = (soft <= 1) & (hard <= 1), (soft > 1) & (soft <= 1.5) & (hard <= 1)
    return np.array([holds.mean(), tears.mean(), (~holds & ~tears).mean()])


@pytest.mark.parametrize("load", [60.0, 100.0, 120.0, 200.0])
def test_chances_of_one_link(load):
    """Lognormal strength: P(load / strength <= r) = Phi(ln(r S / load) / sd)."""
    below = [norm.cdf(np.log(r * 100 / load) / 0.15) for r in (1, 1.5)]
    expected = [below[0], below[1] - below[0], 1 - below[1]]
    got = breaking_chances([load], {"canopy": (100.0, 0.15)})[:, 0]
    assert got == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("load", [80.0, 105.0, 140.0])
@pytest.mark.parametrize("snatch", [0.0, 130.0])
def test_chances_of_all_links_are_those_of_drawn_strengths(load, snatch):
    strength = {
        "canopy": (120.0, 0.15),
        "lines": (130.0, 0.3),
        "cord": (110.0, 0.15),
        "attachment": (150.0, 0.2),
    }
    got = breaking_chances([load], strength, snatch=snatch)[:, 0]
    # four standard errors of 200 000 draws
    assert got == pytest.approx(drawn(load, strength, snatch), abs=0.005)


def test_hard_links_do_not_tear():
    for name in LINKS:
        torn = breaking_chances([120.0], {name: (100.0, 0.01)})[:, 0]
        soft = name in ("canopy", "lines")
        assert torn[TEARS if soft else RIPS_OFF] == pytest.approx(1)
        assert breaking_chances([160.0], {name: (100.0, 0.01)})[
            RIPS_OFF, 0
        ] == pytest.approx(1)
        assert breaking_chances([90.0], {name: (100.0, 0.01)})[
            HOLDS, 0
        ] == pytest.approx(1)


def test_snatch_is_that_of_two_bodies_on_a_spring():
    """Two masses part at 18 m/s and stretch a rope between them: peak by DOP853."""
    m1, m2, k, v = 0.12, 1.6, 2100.0, 18.0
    path = solve_ivp(
        lambda _, y: [y[1], -k * y[0] * (1 / m1 + 1 / m2)],
        (0, 0.05),
        [0.0, v],
        method="DOP853",
        rtol=1e-10,
        atol=1e-12,
        dense_output=True,
    )
    pulled = k * path.sol(np.linspace(0, 0.05, 50_001))[0].max()
    assert snatch_load(v, m1 * m2 / (m1 + m2), k) == pytest.approx(pulled, rel=1e-6)


def test_stiffness_breaks_at_a_quarter_of_lengthening():
    assert rope_stiffness(6000.0, 12.0) * 12.0 / 4 == pytest.approx(6000.0)
