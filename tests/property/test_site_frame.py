"""Properties of the local frame that hold at any place."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from driftmap.ground.projection import to_local, to_lonlat

LONGITUDE = st.floats(-180, 180)
LATITUDE = st.floats(-84, 84)
METRES = st.floats(-20_000, 20_000)


@given(LONGITUDE, LATITUDE, METRES, METRES)
def test_round_trip_within_a_millimetre(
    lon: float, lat: float, east: float, north: float
) -> None:
    back = to_local((lon, lat), *to_lonlat((lon, lat), east, north))
    assert np.hypot(back[0] - east, back[1] - north) < 1e-3


@given(LONGITUDE, LATITUDE)
def test_the_pad_is_the_origin(lon: float, lat: float) -> None:
    assert np.hypot(*to_local((lon, lat), lon, lat)) < 1e-6


@given(st.floats(-179, 179), LATITUDE, st.floats(1, 20_000))
def test_north_is_north_and_east_is_east(lon: float, lat: float, step: float) -> None:
    up = to_lonlat((lon, lat), 0.0, step)
    right = to_lonlat((lon, lat), step, 0.0)
    assert float(up[1]) > lat
    assert abs(float(up[0]) - lon) < 6e-9  # deg; 1e-10 rad, under which pyproj takes 0
    assert float(right[0]) > lon


@given(st.floats(-179, 179), LATITUDE, METRES, METRES)
def test_arrays_are_the_same_as_numbers(
    lon: float, lat: float, east: float, north: float
) -> None:
    one = to_lonlat((lon, lat), east, north)
    many = to_lonlat((lon, lat), np.full((2, 3), east), np.full((2, 3), north))
    assert many[0].shape == (2, 3)
    assert np.all(many[0] == one[0])
    assert np.all(many[1] == one[1])
