"""The local frame against published geodesics on the WGS 84 ellipsoid.

Sources
-------
- GeodTest: C. F. F. Karney, "Test set for geodesics", 2010,
  :doi:`10.5281/zenodo.32156` (DOI from memory), lines 76 m and 249 m long; coordinates in degrees.
- Vincenty's line Flinders Peak to Buninyong as given by Geoscience Australia for GRS 80
  (read in a secondary copy):
  54,972.271 m, azimuths 306° 52' 05.37" and 127° 10' 25.07". GRS 80 and WGS 84 differ by
  0.1 mm in the semi-minor axis.
- Lines L1 to L7 and the two of 3 and 5 km: computed with geographiclib 2.1, printed to
  1e-9 or 1e-8 deg; the same algorithm as PROJ's, so they check our use, not the algorithm.
- Metres per degree at the equator: from a and e² of WGS 84 (NIMA TR8350.2).
"""

import math

import pytest

from driftmap.ground.projection import to_local, to_lonlat

LINES = [
    # start (lat, lon), azimuth [deg], distance [m], end (lat, lon), tolerance [deg]
    ((19.707097385334, 0), 20.996796804557, 76.1478894,
     (19.707739582810257, 0.000260256428101053), 5e-12),
    ((23.104245923137, 0), 108.788775202534, 249.4508219,
     (23.103520430280492, 0.002305237470119087), 5e-12),
    ((40, -119), 0, 1000, (40.009006192, -119), 5e-10),
    ((40, -119), 90, 1000, (39.999999408, -118.988289556), 5e-10),
    ((40, -119), 225, 3000, (39.980892274, -119.024834683), 5e-10),
    ((-31, 151), 180, 2500, (-31.022549001, 151), 5e-10),
    ((40, -105), 90, 3000, (39.99999468, -104.96486867), 5e-9),
    ((35.35, -117.81), 45, 5000, (35.38186053, -117.77108899), 5e-9),
]  # fmt: skip


@pytest.mark.parametrize(("start", "azimuth", "distance", "end", "close"), LINES)
def test_short_lines(
    start: tuple, azimuth: float, distance: float, end: tuple, close: float
) -> None:
    origin, bearing = (start[1], start[0]), math.radians(azimuth)
    lon, lat = to_lonlat(
        origin, distance * math.sin(bearing), distance * math.cos(bearing)
    )
    # half the last printed digit; GeodTest prints the length to 1e-7 m, 1e-12 deg
    assert float(lat) == pytest.approx(end[0], abs=close)
    assert float(lon) == pytest.approx(end[1], abs=close)
    east, north = to_local(origin, end[1], end[0])
    # the same half digit as a length: 1 deg is 111,694 m at most
    assert math.hypot(east, north) == pytest.approx(distance, abs=close * 111_694 * 1.5)


def test_l7_inverse() -> None:
    east, north = to_local((-119, 40), -118.99, 40.01)
    assert math.hypot(east, north) == pytest.approx(1400.7055, abs=5e-5)
    assert math.degrees(math.atan2(east, north)) == pytest.approx(37.557693, abs=5e-7)


def dms(degrees: int, minutes: int, seconds: float) -> float:
    return math.copysign(abs(degrees) + minutes / 60 + seconds / 3600, degrees)


def test_flinders_peak_to_buninyong() -> None:
    flinders = (dms(144, 25, 29.52440), dms(-37, 57, 3.72030))
    buninyong = (dms(143, 55, 35.38390), dms(-37, 39, 10.15610))
    for one, two, azimuth in (
        (flinders, buninyong, dms(306, 52, 5.37)),
        (buninyong, flinders, dms(127, 10, 25.07)),
    ):
        east, north = to_local(one, *two)
        assert math.hypot(east, north) == pytest.approx(54_972.271, abs=5e-4)
        bearing = math.degrees(math.atan2(east, north)) % 360
        assert bearing == pytest.approx(azimuth, abs=0.005 / 3600)


def test_one_degree_along_the_equator() -> None:
    # 111,319.491 m: the equator is a geodesic.
    east, north = to_local((0, 0), 1.0, 0.0)
    assert float(east) == pytest.approx(111_319.491, abs=5e-4)
    assert float(north) == pytest.approx(0, abs=1e-9)


def test_longitude_comes_first() -> None:
    # A point east of the pad has a greater longitude and lies toward +east.
    east, north = to_local((-119.0, 40.0), -118.99, 40.0)
    assert float(east) > 800
    assert abs(float(north)) < 1
