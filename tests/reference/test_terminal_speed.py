"""Terminal speeds against handbook arithmetic and an independent library.

Balance of weight and drag, v = sqrt(2 m g / (rho Cd A)): worked values of section-type
handbook arithmetic (computed to the digits shown), Taylor's baseball (J. R. Taylor,
*Classical Mechanics*, example 2.5, from memory: about 35 m/s), and falling spheres of the
library fluids (MIT licence), which finds its own drag coefficient from the Reynolds
number.
"""

import numpy as np
import pytest
from fluids.drag import drag_sphere, v_terminal

from driftmap.air.column import AirColumn
from driftmap.trajectory.descent import fall
from driftmap.trajectory.motion import Motion


def dropped(mass, drag_area, density, height=9000.0):
    h = np.linspace(0, height, 41)  # enough for the fastest to settle to 1e-7
    still = np.zeros((41, 1))
    air = AirColumn(h, np.full(41, density), np.full(41, 340.0), still, still)
    start = Motion(*(np.array([v]) for v in (0.0, 0.0, height, 0.0, 0.0, 0.0, 0.0)))
    return float(fall(start, mass, drag_area, air).speed[0])


@pytest.mark.parametrize(
    ("mass", "drag_area", "density", "speed"),
    [
        (5.0, 1.413717, 1.225, 7.525080),
        (10.0, 2.513274, 1.112, 8.377280),
        (2.0, 0.05, 1.225, 25.306803),
        (4.0, 1.2 * 0.15, 1.225, 18.862577),
        (1.0, 0.027 + 0.045, 1.225, 14.912177),
        (1.0, 0.5 * 0.004418, 1.225, 85.135253),
    ],
)
def test_worked_values(mass, drag_area, density, speed):
    assert dropped(mass, drag_area, density) == pytest.approx(speed, rel=2e-6)


def test_baseball():
    """0.15 kg, 0.07 m, drag 0.25 D² v²: 34.641 m/s with g = 9.8, 'about 35' in print."""
    drag_area = 2 * 0.25 * 0.07**2 / 1.225
    assert dropped(0.15, drag_area, 1.225) == pytest.approx(
        34.641016 * np.sqrt(9.80665 / 9.8), rel=1e-6
    )


@pytest.mark.parametrize(
    ("diameter", "density"), [(0.01, 1000), (0.05, 1000), (0.1, 100), (0.005, 1000)]
)
def test_spheres_of_the_library(diameter, density):
    speed = v_terminal(D=diameter, rhop=density, rho=1.225, mu=1.79e-5)
    cd = drag_sphere(1.225 * speed * diameter / 1.79e-5)
    # The library takes off buoyancy; so do we, in the mass, for this comparison.
    mass = (density - 1.225) * np.pi * diameter**3 / 6
    area = cd * np.pi * diameter**2 / 4
    assert dropped(mass, area, 1.225) == pytest.approx(speed, rel=2e-5)
