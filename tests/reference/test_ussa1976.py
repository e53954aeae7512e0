"""The standard atmosphere against the published table and an independent library.

Table: NOAA, NASA, USAF, *U.S. Standard Atmosphere, 1976*, table I (from memory to the
digits shown). Library: fluids, ``ATMOSPHERE_1976`` (MIT licence), geometric altitude.
"""

import numpy as np
import pytest
from fluids.atmosphere import ATMOSPHERE_1976

from driftmap.air.atmosphere import air_density, pressure, speed_of_sound, temperature

TABLE = [  # geometric altitude m, T K, p Pa, density, speed of sound
    (0, 288.150, 101325.0, 1.2250, 340.294),
    (1000, 281.651, 89876.0, 1.1117, 336.435),
    (2000, 275.154, 79501.0, 1.0066, 332.532),
    (3000, 268.659, 70121.0, 0.90925, 328.584),
    (5000, 255.676, 54048.0, 0.73643, 320.545),
    (10000, 223.252, 26500.0, 0.41351, 299.532),
    (11000, 216.774, 22700.0, 0.36480, 295.154),
    (15000, 216.650, 12112.0, 0.19476, 295.069),
]


@pytest.mark.parametrize(("z", "t", "p", "rho", "a"), TABLE)
def test_published_table(z, t, p, rho, a):
    assert temperature(z) == pytest.approx(t, abs=6e-4)
    assert pressure(z) == pytest.approx(p, rel=2e-5)
    assert air_density(z) == pytest.approx(rho, rel=6e-5)
    assert speed_of_sound(z) == pytest.approx(a, abs=1.1e-3)


@pytest.mark.parametrize("z", range(-600, 20_001, 400))
def test_independent_library(z):
    other = ATMOSPHERE_1976(float(z))
    # Both use R* = 8314.32; the libraries agree among themselves to 4e-6.
    assert air_density(z) == pytest.approx(other.rho, rel=4e-6)
    assert temperature(z) == pytest.approx(other.T, rel=1e-7)
    assert speed_of_sound(z) == pytest.approx(other.v_sonic, rel=4e-6)


def test_geometric_is_not_geopotential():
    """Taking 10,000 m as geopotential would give 223.150 K."""
    assert temperature(10_000.0) == pytest.approx(223.2521, abs=1e-4)


@pytest.mark.parametrize("z", [-611.0, 20_100.0, np.nan, np.inf])
def test_out_of_range_is_refused(z):
    with pytest.raises(ValueError, match="altitude"):
        air_density([0.0, z])
