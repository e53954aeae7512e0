"""A club's own picture: laid where its points say, its error told, refused where it does not fit."""

import base64
import io
import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from driftmap.core.errors import SiteError
from driftmap.ground.georeference import fit_picture
from driftmap.ground.site import read_site
from driftmap.ground.underlay import underlay, underlay_in_metres

SITE = Path(__file__).parents[2] / "sites" / "saltgrass-flat.geojson"
PIXELS = np.array([[100.0, 80.0], [900.0, 120.0], [850.0, 700.0], [60.0, 640.0]])


def turned(pixels, scale=2.0, angle=0.3, shift=(40.0, -70.0)):
    """Where pixels lie on the ground when a picture is turned and scaled; rows run down."""
    x, y = scale * pixels[:, 0], -scale * pixels[:, 1]
    cos, sin = math.cos(angle), math.sin(angle)
    return np.c_[cos * x - sin * y + shift[0], sin * x + cos * y + shift[1]]


@pytest.mark.parametrize("points", [3, 4])
def test_a_turn_and_a_scale_come_back(points):
    pixels = PIXELS[:points]
    east, north, error = fit_picture(pixels, turned(pixels))
    corner = turned(np.zeros((1, 2)))[0]
    assert (east[2], north[2]) == pytest.approx(tuple(corner))
    assert east[:2] == pytest.approx((2 * math.cos(0.3), 2 * math.sin(0.3)))
    assert north[:2] == pytest.approx((2 * math.sin(0.3), -2 * math.cos(0.3)))
    assert error == pytest.approx(0.0, abs=1e-6)


def test_a_slanted_view_needs_four_points():
    slanted = turned(PIXELS) @ np.array([[1.0, 0.2], [0.0, 0.7]])
    assert fit_picture(PIXELS, slanted)[2] == pytest.approx(0.0, abs=1e-6)
    assert fit_picture(PIXELS[:3], slanted[:3])[2] > 20


@pytest.mark.parametrize("points", [3, 4, 6])
def test_the_error_told_is_that_of_the_points(points):
    """Points strewn by 5 m show an error of that size, three of them too."""
    rng = np.random.default_rng(2)
    pixels = rng.uniform(0, 1000, (points, 2))
    told = [
        fit_picture(pixels, turned(pixels) + rng.normal(0, 5, (points, 2)))[2]
        for _ in range(200)
    ]
    # Each is the root of summed squares over the degrees left, 5 m a component, or more.
    assert 4 < np.sqrt(np.mean(np.square(told))) < 9


@pytest.mark.parametrize(
    ("pixels", "told"),
    [
        (PIXELS[:2], "3 points or more (got 2)"),
        (np.array([[0.0, 0.0], [10.0, 10.0], [20.0, 20.0]]), "one line"),
    ],
)
def test_points_that_tie_nothing_are_refused(pixels, told):
    with pytest.raises(ValueError, match="must tie") as problem:
        fit_picture(pixels, turned(pixels))
    assert told in str(problem.value)


@pytest.fixture
def pictured(tmp_path):
    """Write the demo site with a picture that has one red spot; give a writer of its points."""
    site = read_site(SITE)
    shot = Image.new("RGB", (1000, 800), "#b0b0b0")
    shot.paste((255, 0, 0), (480, 380, 520, 420))
    shot.save(tmp_path / "field.jpg", quality=95)
    places = turned(PIXELS)
    lon, lat = site.to_lonlat(places[:, 0], places[:, 1])
    points = [
        {"pixel": pixel.tolist(), "at": [float(a), float(b)]}
        for pixel, a, b in zip(PIXELS, lon, lat, strict=True)
    ]

    def write(**changed):
        told = json.loads(SITE.read_text("utf-8"))
        told["picture"] = {"file": "field.jpg", "points": points, **changed}
        path = tmp_path / "site.geojson"
        path.write_text(json.dumps(told), "utf-8")
        return path

    return write, points


def test_the_spot_lies_where_it_should(pictured):
    site = read_site(pictured[0]())
    laid = underlay(site)
    assert site.picture.error < 0.1
    assert len(laid["data"]) < 600_000
    data = base64.b64decode(laid["data"].partition(",")[2])
    shot = np.asarray(Image.open(io.BytesIO(data)).convert("RGBA")).astype(int)
    red = (shot[..., 0] > 180) & (shot[..., 1] < 90) & (shot[..., 3] > 200)
    rows, columns = np.nonzero(red)
    (south, west), (north, east) = laid["bounds"]
    lat = north - (rows.mean() + 0.5) / shot.shape[0] * (north - south)
    lon = west + (columns.mean() + 0.5) / shot.shape[1] * (east - west)
    spot = np.ravel(site.to_local(lon, lat))
    there = turned(np.array([[500.0, 400.0]]))[0]
    assert spot == pytest.approx(there, abs=3.0)
    # On the dial it lies in metres, north before east.
    own = underlay_in_metres(site)
    (south, west), (north, east) = own["bounds"]
    assert own["data"] == laid["data"]
    north -= (rows.mean() + 0.5) / shot.shape[0] * (north - south)
    west += (columns.mean() + 0.5) / shot.shape[1] * (east - west)
    assert (west, north) == pytest.approx(there, abs=4.0)


def test_a_site_without_a_picture_has_none_on_the_dial():
    assert underlay_in_metres(read_site(SITE)) is None


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"file": "none.jpg"}, "No such file"),
        ({"file": "site.geojson"}, "is no JPEG, PNG or WebP"),
        ({"points": []}, "3 points or more (got 0)"),
        ({"points": [{"pixel": [1, 2]}]}, "point 1 must be"),
        ({"points": [{"pixel": [1, True], "at": [0, 0]}]}, "point 1 must be"),
        ({"file": 7}, 'a text as "file"'),
        ({"scale": 2}, 'an object with "file" and "points"'),
    ],
)
def test_a_picture_that_cannot_be_used_is_one_line(pictured, changed, told):
    with pytest.raises(SiteError) as problem:
        read_site(pictured[0](**changed))
    assert "picture" in str(problem.value)
    assert told in str(problem.value)


def test_points_that_do_not_fit_or_lie_outside_are_refused(pictured):
    write, points = pictured
    far = [
        *points[:3],
        {**points[3], "at": [points[3]["at"][0] + 0.01, points[3]["at"][1]]},
    ]
    with pytest.raises(SiteError, match="do not fit"):
        read_site(write(points=far))
    out = [*points[:3], {**points[3], "pixel": [2000, 5]}]
    with pytest.raises(SiteError, match="point 4 must lie in the picture"):
        read_site(write(points=out))


def test_a_site_without_one_has_none():
    site = read_site(SITE)
    assert site.picture is None
    assert underlay(replace(site)) is None
