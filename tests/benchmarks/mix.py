"""A standard mix of falling bodies: half canopies, half ballistic, each with its own wind.

Bodies released near 900 m above a field at 1,200 m, each with its own drag, release
height, wind scale, wind turn and sideways speed, fall through twelve wind levels in the
density of the standard troposphere. SI units, heights above the field.
"""

import numpy as np
from scipy.integrate import solve_ivp

from driftmap.air.column import AirColumn, column_heights
from driftmap.air.wind import WindProfile
from driftmap.trajectory.motion import Motion

GRAVITY = 9.80665
FIELD_ALTITUDE = 1200.0
LEVEL = np.array([0, 10, 100, 250, 500, 750, 1000, 1500, 2000, 2500, 3000, 4000.0])
SPEED = np.array([2.5, 4, 6, 7, 9, 10, 11, 13, 15, 17, 18, 22.0])
FROM = np.deg2rad([200, 205, 210, 215, 225, 230, 235, 240, 250, 255, 260, 265.0])
WIND_EAST, WIND_NORTH = -SPEED * np.sin(FROM), -SPEED * np.cos(FROM)


def density(height):
    """Standard-troposphere density [kg m⁻³] at a height above the field [m]."""
    return 1.225 * (1 - 2.25577e-5 * (height + FIELD_ALTITUDE)) ** 4.25588


def bodies(n, seed=0):
    """Mass, drag area, release height, wind scale, wind turn, sideways velocity (n, 2)."""
    rng = np.random.default_rng(seed)
    canopy = np.arange(n) % 2 == 0
    drag_area = np.where(canopy, 0.8 * 0.16, 0.45 * 0.0023) * rng.lognormal(0, 0.15, n)
    return (
        np.full(n, 2.0),
        drag_area,
        900 + 60 * rng.standard_normal(n),
        rng.normal(1, 0.15, n),
        rng.normal(0, 0.15, n),
        rng.normal(0, 8, (n, 2)),
    )


def engine_input(n, seed=0):
    """The mix as `driftmap.trajectory.descent.fall` wants it: start, mass, drag area, air."""
    mass, drag_area, height, scale, turn, sideways = bodies(n, seed)
    known = WindProfile(LEVEL, WIND_EAST, WIND_NORTH, np.zeros(len(LEVEL)))
    levels = column_heights(known, max(1300.0, float(height.max()) + 1))
    cos, sin = scale * np.cos(turn), scale * np.sin(turn)
    east = np.interp(levels, LEVEL, WIND_EAST)[:, None]
    north = np.interp(levels, LEVEL, WIND_NORTH)[:, None]
    air = AirColumn(
        levels,
        density(levels),
        np.full(levels.size, 340.0),
        east * cos - north * sin,
        east * sin + north * cos,
    )
    zero = np.zeros(n)
    start = Motion(zero, zero, height, sideways[:, 0], sideways[:, 1], zero, zero)
    return start, mass, drag_area, air


def one_by_one(n, seed=0, *, tight=False):
    """East, north [m], time [s], speed [m s⁻¹] of each body by scipy, shape (n, 4)."""
    mass, drag_area, height, scale, turn, sideways = bodies(n, seed)
    options = {"method": "RK45", "rtol": 1e-6, "atol": 1e-6}
    if tight:
        options = {"method": "DOP853", "rtol": 1e-10, "atol": 1e-10, "max_step": 1.0}
    found = np.empty((n, 4))
    for i in range(n):
        cos, sin = np.cos(turn[i]), np.sin(turn[i])
        ballistic = drag_area[i] / (2 * mass[i])

        def rate(t, y, cos=cos, sin=sin, ballistic=ballistic, scale=scale[i]):
            u = np.interp(y[2], LEVEL, WIND_EAST) * scale
            v = np.interp(y[2], LEVEL, WIND_NORTH) * scale
            rx, ry, rz = y[3] - (cos * u - sin * v), y[4] - (sin * u + cos * v), y[5]
            q = ballistic * density(y[2]) * np.sqrt(rx * rx + ry * ry + rz * rz)
            return [y[3], y[4], y[5], -q * rx, -q * ry, -q * rz - GRAVITY]

        def ground(t, y):
            return y[2]

        ground.terminal, ground.direction = True, -1
        start = [0, 0, height[i], *sideways[i], 0.0]
        run = solve_ivp(rate, (0, 2000), start, events=ground, **options)
        end = run.y_events[0][0]
        found[i] = end[0], end[1], run.t_events[0][0], np.linalg.norm(end[3:])
    return found
