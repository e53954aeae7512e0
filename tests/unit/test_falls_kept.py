"""Where each stage of a fall begins is kept on request, and changes nothing."""

import numpy as np

from driftmap import fly, read_wind


def test_falls_end_where_the_columns_say_and_change_no_number(willet):
    wind = read_wind("8 mph from 240", site_altitude=1200.0)
    plain = fly(willet, wind, 1200.0, samples=300, seed=2)
    kept = fly(willet, wind, 1200.0, samples=300, seed=2, keep_falls=True)
    assert np.array_equal(plain.east, kept.east)
    assert not plain.falls
    for part in kept.parts:
        time, east, north, height, _ = kept.falls[part.case, part.body][-1]
        shape = (part.count, part.flights)
        assert np.allclose(height, 0, atol=0.05)
        for knot, column in ((time, kept.time), (east, kept.east), (north, kept.north)):
            # Kept as float32.
            assert np.allclose(
                knot, column[part.rows].reshape(shape), rtol=1e-6, atol=1e-3
            )


def test_the_first_stage_begins_at_apogee_where_recovery_works(willet):
    wind = read_wind("8 mph from 240", site_altitude=1200.0)
    cloud = fly(willet, wind, 1200.0, samples=300, seed=2, keep_falls=True)
    time, _, _, height, _ = cloud.falls["recovery works", "rocket"][0]
    assert np.allclose(height[0], cloud.apogee.height, rtol=1e-6)
    assert np.allclose(time[0], cloud.apogee.time, rtol=1e-6)
