"""What must hold for any fall, whatever the numbers."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from driftmap.air.column import AirColumn
from driftmap.trajectory.descent import fall
from driftmap.trajectory.motion import Motion

HEIGHTS = np.array([0.0, 10.0, 60.0, 150.0, 300.0, 600.0, 1200.0, 2500.0])

winds = st.lists(
    st.tuples(st.floats(-15, 15), st.floats(-15, 15)), min_size=8, max_size=8
).map(np.array)
bodies = st.tuples(
    st.floats(0.02, 20),  # mass
    st.floats(5, 120),  # terminal speed
    st.floats(1, 800),  # height
    st.floats(-80, 80),  # sideways
    st.floats(-80, 150),  # up
)


def come_down(body, wind, height=None):
    mass, terminal, own_height, east, up = body
    rho = 1.2 * np.exp(-HEIGHTS / 8500)
    air = AirColumn(
        HEIGHTS, rho, np.full(8, 340.0), wind[:, :1].copy(), wind[:, 1:].copy()
    )
    area = 2 * mass * 9.80665 / (1.2 * terminal**2)
    values = (0.0, 0.0, own_height if height is None else height, east, 0.0, up, 0.0)
    start = Motion(*(np.array([v], float) for v in values))
    return fall(start, mass, area, air)


@given(bodies, winds)
@settings(max_examples=60)
def test_every_body_comes_down_in_one_piece(body, wind):
    landed = come_down(body, wind)
    assert np.isfinite(landed.rows()).all()
    assert landed.height[0] == 0.0
    assert landed.time[0] > 0
    assert landed.v_up[0] < 0


@given(bodies, winds, st.floats(-np.pi, np.pi))
@settings(max_examples=40)
def test_turned_wind_turns_the_landing(body, wind, angle):
    """With no sideways speed of its own, the landing turns with the wind."""
    body = (*body[:3], 0.0, body[4])
    cos, sin = np.cos(angle), np.sin(angle)
    turned = wind @ np.array([[cos, sin], [-sin, cos]])
    one, two = come_down(body, wind), come_down(body, turned)
    e, n = one.east[0], one.north[0]
    # Rounding only: both runs take the same steps.
    assert two.east[0] == pytest.approx(cos * e - sin * n, abs=1e-3, rel=1e-5)
    assert two.north[0] == pytest.approx(sin * e + cos * n, abs=1e-3, rel=1e-5)


@given(bodies, winds, st.floats(-20, 20), st.floats(-20, 20))
@settings(max_examples=40)
def test_moving_air_mass_only_adds_its_own_way(body, wind, east, north):
    """Galileo: everything carried along by a uniform wind shifts by wind times time."""
    calm = come_down(body, wind)
    mass, terminal, height, sideways, up = body
    moved = come_down(
        (mass, terminal, height, sideways + east, up), wind + np.array([east, 0.0])
    )
    t = calm.time[0]
    assert moved.time[0] == pytest.approx(t, abs=2e-3, rel=1e-5)
    assert moved.east[0] == pytest.approx(calm.east[0] + east * t, abs=0.05, rel=1e-4)


@given(bodies, winds)
@settings(max_examples=40)
def test_mirror_of_the_wind_mirrors_the_landing(body, wind):
    body = (*body[:3], 0.0, body[4])
    one, two = come_down(body, wind), come_down(body, -wind)
    assert two.east[0] == pytest.approx(-one.east[0], abs=1e-6, rel=1e-9)
    assert two.north[0] == pytest.approx(-one.north[0], abs=1e-6, rel=1e-9)


@given(bodies, st.tuples(st.floats(-15, 15), st.floats(-15, 15)), st.floats(1.0, 400.0))
@settings(max_examples=40)
def test_higher_release_lands_later_in_a_wind_alike_at_all_heights(body, wind, more):
    """Where the wind changes with height it need not: it holds up who is let go into it."""
    wind = np.tile(wind, (8, 1))
    low = come_down(body, wind)
    high = come_down(body, wind, height=body[2] + more)
    assert high.time[0] > low.time[0]
