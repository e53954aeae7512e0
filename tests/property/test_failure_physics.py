"""Properties of opening, flutter, scatter and the day's air that hold for any input."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from driftmap.air.day import AirDay
from driftmap.formulas.drag import drag_rise
from driftmap.formulas.flutter import FinPlanform, flutter_speed
from driftmap.formulas.fragments import strike_offsets
from driftmap.formulas.opening import (
    Inflation,
    load_reduction,
    opening_load,
)
from driftmap.formulas.strength import HOLDS, RIPS_OFF, breaking_chances


@given(st.floats(1e-4, 1e4), st.sampled_from([0.5, 1.0, 2.0]))
def test_reduction_is_a_share_and_grows_with_mass(parameter, exponent):
    one, more = load_reduction([parameter, parameter * 1.1], exponent)
    assert 0 < one < more <= 1


@given(st.floats(0.1, 50), st.floats(0.1, 200), st.floats(0.3, 1.3), st.floats(-1, 1))
def test_load_goes_as_speed_squared_and_dives_add(mass, speed, density, dive):
    canopy = Inflation(1.5, 1.3, 1.7, 8)
    load = opening_load(canopy, mass, speed, density)
    twice = opening_load(canopy, mass, 2 * speed, density)
    assert np.isclose(twice, 4 * load)
    assert load <= density / 2 * 1.3 * speed**2 * 1.7  # if nothing slowed down
    assert opening_load(canopy, mass, speed, density, dive=dive) >= load


@given(st.floats(1, 1e4), st.floats(1.0, 3.0), st.floats(0, 1e4))
def test_a_harder_opening_is_never_better(load, factor, snatch):
    strength = {"canopy": (800.0, 0.15), "lines": (900.0, 0.4), "cord": (700.0, 0.2)}
    mild, hard = breaking_chances([load, load * factor], strength, snatch=snatch).T
    assert np.isclose(mild.sum(), 1)
    assert np.isclose(hard.sum(), 1)
    assert hard[HOLDS] <= mild[HOLDS] + 1e-12
    assert hard[RIPS_OFF] >= mild[RIPS_OFF] - 1e-12


@given(st.floats(100, 2000), st.floats(0.1, 1.0))
def test_a_weaker_link_is_never_better(load, factor):
    sound = {"lines": (600.0, 0.15), "cord": (700.0, 0.15)}
    weak = {**sound, "cord": (700.0 * factor, 0.15)}
    one, two = (breaking_chances([load], links)[:, 0] for links in (sound, weak))
    assert two[HOLDS] <= one[HOLDS] + 1e-12
    assert two[RIPS_OFF] >= one[RIPS_OFF] - 1e-12


@given(st.floats(1.05, 3.0))
def test_flutter_speed_goes_as_thickness_to_three_halves(factor):
    thin = FinPlanform(0.15, 0.075, 0.075, 0.003)
    thick = FinPlanform(0.15, 0.075, 0.075, 0.003 * factor)
    low, high = (float(flutter_speed(f, 4e9, 1e5, 340.0)) for f in (thin, thick))
    assert np.isclose(high / low, factor**1.5)


@given(st.floats(0, 5), st.floats(1.6, 2.2), st.floats(0.5, 1.0))
def test_drag_rise_stays_below_its_peak_and_is_continuous(mach, peak, decay):
    here, near = drag_rise([mach, min(mach + 1e-6, 5.0)], peak, decay)
    assert 0 < here <= peak * (1 + 1e-12)
    assert abs(near - here) < 1e-4


@given(st.floats(0, 150), st.integers(0, 99))
def test_scatter_grows_as_the_square_of_speed(speed, seed):
    one = strike_offsets(np.full(5, speed), np.random.default_rng(seed))
    two = strike_offsets(np.full(5, 2 * speed), np.random.default_rng(seed))
    assert np.allclose(two[:2], 4 * np.array(one[:2]))
    assert np.allclose(two.speed, 2 * one.speed)


@given(
    st.floats(240, 320), st.floats(75e3, 105e3), st.floats(0, 1), st.floats(-100, 2500)
)
def test_air_thins_with_altitude(kelvin, pascal, humidity, altitude):
    day = AirDay(kelvin, pascal, humidity, altitude)
    density = day.density(np.linspace(altitude, 18_000, 200))
    assert np.all(np.diff(density) < 0)
    assert np.all(day.speed_of_sound(np.linspace(0, 18_000, 20)) > 250)
