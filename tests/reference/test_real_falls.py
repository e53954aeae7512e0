"""A real fall under a parachute and a real ascent, second by second.

Data: package eurec4a-snd 2.1.5 (PyPI, MIT), see tests/data/falls/SOURCES.md.
"""

from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import trapezoid

from driftmap.air.atmosphere import air_density
from driftmap.air.column import Sky, mean_air
from driftmap.air.wind import WindProfile, components_from
from driftmap.core.units import STANDARD_GRAVITY
from driftmap.ground.projection import to_local
from driftmap.trajectory.descent import fall
from driftmap.trajectory.motion import Motion

DATA = Path(__file__).parents[1] / "data" / "falls"


def read(name):
    """Columns t, h, lat, lon, from [rad], speed."""
    rows = np.genfromtxt(DATA / name, delimiter=",", skip_header=1)
    rows = rows[np.isfinite(rows).all(axis=1)]
    t, h, lat, lon, bearing, speed = rows.T
    return t, h, lat, lon, np.radians(bearing), speed


@pytest.fixture(scope="module")
def sonde():
    return read("dropsonde_2019-05-16.csv")


def sea_level_speed(t, h):
    """Fall speed reduced to 1.225 kg/m³, averaged over the fall [m/s]."""
    rho = air_density((h[1:] + h[:-1]) / 2)
    return float(np.sum(-np.diff(h) * np.sqrt(rho / 1.225)) / (t[-1] - t[0]))


def wind_of(sonde, ground):
    """The measured wind as a profile over the sea, one level every 20 m or so."""
    _, h, _, _, bearing, speed = sonde
    order = np.argsort(h)[::2]
    east, north = components_from(bearing[order], speed[order])
    height, keep = np.unique(h[order] - ground, return_index=True)
    zero = np.zeros(keep.size)
    return WindProfile(height, east[keep], north[keep], zero)


@pytest.mark.parametrize("top", [3000.0, 1500.0, 6000.0])
def test_canopy_lands_where_the_sonde_did(sonde, top):
    """Last 3 km: 3.4 km of drift, within 2 % of it."""
    t, h, lat, lon, _, _ = sonde
    start = int(np.argmin(np.abs(h - top)))
    ground = float(h[-1])
    v0 = sea_level_speed(t[start:], h[start:])
    wind = wind_of(sonde, ground)
    mass = 0.4
    drag_area = 2 * mass * STANDARD_GRAVITY / (1.225 * v0**2)
    east, north = wind.at(h[start] - ground)
    rate = v0 * np.sqrt(1.225 / air_density(h[start]))
    values = (0.0, 0.0, h[start] - ground, float(east), float(north), -float(rate), 0.0)
    release = Motion(*(np.array([float(v)]) for v in values))
    air = mean_air(wind, Sky(ground), 8000.0)
    landed = fall(release, mass, drag_area, air)
    # The sonde's own way, in metres about its release point.
    e, n = to_local((lon[start], lat[start]), lon[-1], lat[-1])
    way = np.hypot(e, n)
    miss = np.hypot(landed.east[0] - e, landed.north[0] - n)
    assert miss < 0.02 * way
    assert landed.time[0] == pytest.approx(t[-1] - t[start], rel=0.01)
    if top == 3000.0:
        assert way == pytest.approx(3400, abs=60)


def test_fall_speed_goes_with_the_root_of_density(sonde):
    """v sqrt(rho/1.225) stays within 2 % of its mean over 1 to 6 km, in 1 km parts.

    The file has no temperature, so standard air stands for that day's; above 6 km the two
    part by more than the sonde does (2.04 % at 6 to 7 km).
    """
    t, h, *_ = sonde
    speeds = []
    for low in range(1000, 6000, 1000):
        part = (h >= low) & (h < low + 1000)
        speeds.append(sea_level_speed(t[part], h[part]))
    speeds = np.array(speeds)
    assert np.abs(speeds / speeds.mean() - 1).max() < 0.02
    assert speeds.mean() == pytest.approx(10.1, abs=0.1)


def test_balloon_goes_where_its_wind_blows():
    """Wind integrated over the ascent's own times gives its displacement to 3 km."""
    t, h, lat, lon, bearing, speed = read("radiosonde_ascent_2019-02-10.csv")
    up = h <= 3000
    east, north = components_from(bearing[up], speed[up])
    e, n = (trapezoid(v, t[up]) for v in (east, north))
    true_e, true_n = to_local((lon[0], lat[0]), lon[up][-1], lat[up][-1])
    way = np.hypot(true_e, true_n)
    assert way == pytest.approx(5966, abs=30)
    # 34 m were measured with all rows; every fifth row is kept here.
    assert np.hypot(e - true_e, n - true_n) < 0.01 * way
