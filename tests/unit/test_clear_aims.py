"""The aim told beside people under a fall really keeps that fall off them."""

import re
from dataclasses import replace
from math import radians
from pathlib import Path

import numpy as np
import pytest
import shapely

from driftmap.ground.areas import Area
from driftmap.ground.site import read_site
from driftmap.montecarlo.cloud import fly
from driftmap.rocket.fields import Uncertain
from driftmap.verdict.assessment import assess
from driftmap.verdict.check import Kind
from driftmap.winds.profile import read_wind

pytestmark = pytest.mark.usefixtures("advised")

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def leaning(willet):
    """The Willet off a rail 8° toward the east, in next to no wind."""
    turned = {"angle": Uncertain(radians(8.0)), "azimuth": radians(90.0)}
    rail = willet.rail.model_copy(update=turned)
    return willet.model_copy(update={"rail": rail})


def told(flight, *areas):
    site = read_site(ROOT / "sites" / "saltgrass-flat.geojson")
    bare = replace(site, rules="", areas=areas)
    wind = read_wind("1 mph from 90", site_altitude=site.elevation)
    found = assess(flight, bare, wind, samples=500)
    return [c for c in found.checks if c.kind is Kind.UNDER_THE_FALL]


def crowd_under_the_fall(flight):
    site = read_site(ROOT / "sites" / "saltgrass-flat.geojson")
    wind = read_wind("1 mph from 90", site_altitude=site.elevation)
    cloud = fly(flight, wind, site.elevation, samples=500, seed=1)
    part = next(cloud.of("nothing deploys"))
    east = float(np.median(cloud.east[part.rows]))
    north = float(np.median(cloud.north[part.rows]))
    middle = shapely.Point(east, north)
    return Area("Crowd", "spectators", middle.buffer(20.0), people=20)


def test_the_aim_told_clears_the_crowd(leaning):
    crowd = crowd_under_the_fall(leaning)
    (check,) = (c for c in told(leaning, crowd) if c.case == "nothing deploys")
    assert (check.outcome, check.area) == ("warn", "Crowd")
    tilt, azimuth = map(
        float, re.search(r"(\d+)° .* toward (\d+)°", check.note).groups()
    )
    turned = {"angle": Uncertain(radians(tilt)), "azimuth": radians(azimuth)}
    away = leaning.model_copy(update={"rail": leaning.rail.model_copy(update=turned)})
    assert "nothing deploys" not in {c.case for c in told(away, crowd)}


@pytest.mark.slow  # one more search of aims
def test_a_crowd_all_round_leaves_no_aim(leaning):
    ring = shapely.Point(0, 0).buffer(1500) - shapely.Point(0, 0).buffer(40)
    crowd = Area("Crowd", "spectators", ring, people=500)
    (check,) = (c for c in told(leaning, crowd) if c.case == "nothing deploys")
    assert "no other aim" in check.note
